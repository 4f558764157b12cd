"""The type faces: their characters, the widths of lines, line breaks.

The four faces are in `fonts/`, made by scripts/make_fonts.py. Letters that they lack are drawn by
other faces (`letters`); one that nothing can draw would silently be missing on the page, so every
printed text passes `require_glyphs` first.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from functools import cache, lru_cache
from importlib.resources import files
from struct import iter_unpack, unpack_from

from compliance.errors import SheetError
from compliance.pictures.directions import MARKS, balanced, without_marks
from compliance.pictures.letters import current_letters
from compliance.pictures.scripts import JOINERS, may_break, pieces

SANS = "SheetSans"
BOLD = "SheetSans-Bold"
SERIF = "SheetSerif"
MONO = "SheetMono"
FACES = (SANS, BOLD, SERIF, MONO)

MARKS_SET = frozenset(MARKS)
JOINER = frozenset(JOINERS)
MISSING = 0xFFFF
"""Not a character; each face prints it as its sign for a missing character."""
INVISIBLE = dict.fromkeys(
    (0x00AD, 0x061C, 0x200B, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2060, 0x2070), 0xFEFF)
)
"""What prints nothing or changes directions. The marks of directions are put in when a text is set:
nobody else's get there."""


def font_file(face: str) -> bytes:
    """The TrueType file of a face."""
    return (files("compliance.pictures") / "fonts" / f"{face}.ttf").read_bytes()


@cache
def glyph_widths(face: str) -> Mapping[int, float]:
    """Width of each character of a face by its code point, in thousandths of the type size.

    Read from the tables `head`, `hhea`, `hmtx` and `cmap` of the font (ISO/IEC 14496-22), the
    last in format 4 and with glyphs in the characters' order, as scripts/make_fonts.py writes it.
    """
    data = font_file(face)
    (table_count,) = unpack_from(">H", data, 4)
    directory = iter_unpack(">4sIII", data[12 : 12 + 16 * table_count])
    start = {tag: offset for tag, _, offset, _ in directory}
    (units_per_em,) = unpack_from(">H", data, start[b"head"] + 18)
    (glyph_count,) = unpack_from(">H", data, start[b"hhea"] + 34)
    metrics = unpack_from(f">{2 * glyph_count}H", data, start[b"hmtx"])
    (subtable,) = unpack_from(">I", data, start[b"cmap"] + 8)
    characters = start[b"cmap"] + subtable
    (twice_segments,) = unpack_from(">H", data, characters + 6)
    lasts, firsts, shifts = (
        unpack_from(f">{twice_segments // 2}H", data, characters + offset)
        for offset in (14, 16 + twice_segments, 16 + 2 * twice_segments)
    )
    return {
        character: metrics[2 * ((character + shift) % 0x10000)] * 1000 / units_per_em
        for first, last, shift in zip(firsts, lasts, shifts, strict=True)
        for character in range(first, last + 1)
    }


def normalise(text: str) -> str:
    """`text` as one line: composed (NFC), white space of any kind as single spaces."""
    composed = unicodedata.normalize("NFC", text).translate(INVISIBLE)
    held = composed.replace("\u00a0", "\x00")
    line = " ".join(held.split()).replace("\x00", "\u00a0") if held else ""
    return line if JOINER.isdisjoint(line) else "".join(_without_idle_joiners(line))


def _without_idle_joiners(line: str) -> Iterator[str]:
    """Yield the characters of a line; joiners only behind letters of other faces."""
    own, before = own_characters(), " "
    for character in line:
        if character not in JOINER or before not in own:
            yield character
        before = character


@cache
def own_characters(face: str = SANS) -> frozenset[str]:
    """The characters of a face, and the marks of directions, which it need not draw."""
    return frozenset(map(chr, glyph_widths(face).keys() - {MISSING})) | frozenset(MARKS)


def is_plain(text: str) -> bool:
    """Whether this program's own faces draw a text as it stands, from left to right."""
    return _plain_characters().issuperset(text)


@cache
def _plain_characters() -> frozenset[str]:
    return own_characters() - MARKS_SET


def require_glyphs(text: str, face: str = SANS) -> str:
    """`text` unchanged; raises SheetError for the first character that nothing can draw."""
    if own_characters(face).issuperset(text):
        return text
    letters, own = current_letters(), own_characters(face)
    for piece in pieces(text, own_characters()):
        if letters.has(piece.text) if piece.foreign else piece.text in own:
            continue
        shown = piece.text if piece.text.isprintable() else "?"
        codes = " ".join(f"U+{ord(character):04X}" for character in piece.text)
        raise SheetError(
            f"'{text[:60]}': the sheet's fonts have no '{shown}' ({codes}); "
            "give a face that has it with --font FILE"
        )
    return text


def face_with_glyphs(text: str, face: str) -> str:
    """`face` if it has all characters of `text` that the sans serif has, else the sans serif."""
    own = own_characters() & frozenset(normalise(text))
    return face if own <= own_characters(face) else SANS


def width(text: str, face: str, size: float) -> float:
    """Printed width of `text` in points."""
    try:
        return sum(map(_widths_by_character(face).__getitem__, text)) * size / 1000
    except KeyError:
        return _mixed_width(text, face) * size / 1000


@cache
def _widths_by_character(face: str) -> Mapping[str, float]:
    return {chr(code): extent for code, extent in glyph_widths(face).items()}


def _mixed_width(text: str, face: str) -> float:
    """Width of a text with foreign letters, in thousandths of the type size."""
    letters, widths = current_letters(), glyph_widths(face)
    total = 0.0
    for piece in pieces(text, own_characters()):
        if piece.foreign and letters.has(piece.text):
            total += letters.width(piece.text)
        elif piece.text not in MARKS_SET:
            total += widths.get(ord(piece.text[0]), widths[MISSING])
    return total


ELLIPSIS = "…"
SOFT_BREAKS = "-/_.,;:@·"
BREAK = re.compile(r"(?<!\d) | (?!(?:cd/m²|%|K|lx|nits|bit|h|min|s)(?!\w))")
"""A space where a line may end: not between a number and its unit."""


def wrap(text: str, face: str, size: float, measure: float, most: int | None = None) -> list[str]:
    """`text` broken into lines of at most `measure` points; long words are broken too.

    With `most`, a text of more lines is cut and ends with an ellipsis.
    """
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines.extend(_lines(_ready(paragraph, face), face, size, measure))
    if most is not None and len(lines) > most:
        lines[most - 1 :] = [ellipsize(" ".join(lines[most - 1 :]), face, size, measure)]
    return lines


def _ready(text: str, face: str) -> str:
    """`text` as one line that can be drawn, its directions marked."""
    return require_glyphs(current_letters().marked(normalise(text)), face)


def _lines(text: str, face: str, size: float, measure: float) -> Sequence[str]:
    if is_plain(text):
        return _wrap_line(text, face, size, measure)
    return balanced(_broken(text, face, size, measure))


@lru_cache(maxsize=8192)
def _wrap_line(text: str, face: str, size: float, measure: float) -> tuple[str, ...]:
    """A line of this program's own letters, broken; the widths of others depend on the sheet."""
    return tuple(_broken(text, face, size, measure))


def _broken(text: str, face: str, size: float, measure: float) -> Sequence[str]:
    lines: list[str] = []
    line = ""
    for space, word in _parts(text):
        trial = f"{line}{space}{word}" if line else word
        if width(trial, face, size) <= measure:
            line = trial
            continue
        if line:
            lines.append(line)
        broken = _break_word(word, face, size, measure)
        lines.extend(broken[:-1])
        line = broken[-1]
    lines.append(line)
    return lines


def _parts(text: str) -> Iterator[tuple[str, str]]:
    """Yield what a line may not be broken in, each with the space before it, if there is one."""
    for word in BREAK.split(text):
        space, start = " ", 0
        if not word.isascii():
            for place in range(1, len(word)):
                if may_break(word[place - 1], word[place]):
                    yield space, word[start:place]
                    space, start = "", place
        yield space, word[start:]


def _break_word(word: str, face: str, size: float, measure: float) -> list[str]:
    """A word wider than the measure, broken after a soft break if there is one near the end."""
    broken: list[str] = []
    while word and width(word, face, size) > measure:
        count = max(_first(word), _fitting(word, face, size, measure))
        joint = max((word.rfind(mark, 0, count) for mark in SOFT_BREAKS), default=-1) + 1
        if joint > count // 2:
            count = joint
        broken.append(word[:count])
        word = word[count:]
    if broken and not without_marks(word):
        broken[-1] += word
    else:
        broken.append(word)
    return broken


def _first(word: str) -> int:
    """How many characters the first cluster has, with the marks before it."""
    count = 0
    for cluster in _clusters(word):
        count += len(cluster)
        if cluster not in MARKS_SET:
            break
    return count


def _clusters(text: str) -> list[str]:
    return [piece.text for piece in pieces(text, own_characters())]


def _fitting(text: str, face: str, size: float, measure: float) -> int:
    """How many characters, in whole clusters, are as wide as the measure at most."""
    total, count = 0.0, 0
    for cluster in _clusters(text):
        total += width(cluster, face, size)
        if total > measure:
            return count
        count += len(cluster)
    return count


def ellipsize(text: str, face: str, size: float, measure: float) -> str:
    """`text` on one line, its end replaced by an ellipsis if it is too long."""
    text = _ready(text, face)
    if width(text, face, size) <= measure:
        return balanced([text])[0]
    room = measure - width(ELLIPSIS, face, size)
    return balanced([text[: _fitting(text, face, size, room)].rstrip() + ELLIPSIS])[0]


def fit_middle(text: str, face: str, size: float, measure: float) -> str:
    """`text` on one line, its middle replaced by an ellipsis if it is too long; both ends stay."""
    text = _ready(text, face)
    clusters = _clusters(text)
    cut = len(clusters)
    while cut > 2 and width(text, face, size) > measure:
        cut -= 2
        half = cut // 2
        start, end = "".join(clusters[:half]), "".join(clusters[-half:])
        shown = balanced([f"{start}{ELLIPSIS}{end}"])[0]
        if width(shown, face, size) <= measure:
            return shown
    return text
