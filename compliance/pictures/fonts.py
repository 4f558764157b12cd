"""The type faces: their characters, the widths of lines, line breaks.

The four faces are in `fonts/`, made by scripts/make_fonts.py. A character that they lack would
silently be missing on the page, so every printed text passes `require_glyphs` first.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import cache, lru_cache
from importlib.resources import files
from struct import iter_unpack, unpack_from

from compliance.errors import SheetError

SANS = "SheetSans"
BOLD = "SheetSans-Bold"
SERIF = "SheetSerif"
MONO = "SheetMono"
FACES = (SANS, BOLD, SERIF, MONO)

MISSING = 0xFFFF
"""Not a character; each face prints it as its sign for a missing character."""
INVISIBLE = {0x00AD: None, 0x200B: None, 0xFEFF: None}
"""Soft hyphen, zero-width space and byte-order mark print nothing anyway."""


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
    return " ".join(held.split()).replace("\x00", "\u00a0") if held else ""


def require_glyphs(text: str, face: str = SANS) -> str:
    """`text` unchanged; raises SheetError for the first character without a glyph."""
    glyphs = glyph_widths(face)
    for character in text:
        if ord(character) not in glyphs:
            shown = character if character.isprintable() else "?"
            raise SheetError(
                f"'{text[:60]}': the sheet's fonts have no '{shown}' (U+{ord(character):04X}); "
                "use Latin, Greek or Cyrillic letters"
            )
    return text


def face_with_glyphs(text: str, face: str) -> str:
    """`face` if it has all characters of `text`, else the sans serif, which has the most glyphs."""
    glyphs = glyph_widths(face)
    return face if all(ord(character) in glyphs for character in normalise(text)) else SANS


def width(text: str, face: str, size: float) -> float:
    """Printed width of `text` in points."""
    widths = glyph_widths(face)
    return sum(widths.get(ord(character), widths[MISSING]) for character in text) * size / 1000


ELLIPSIS = "…"
SOFT_BREAKS = "-/_.,;:@·"


def wrap(text: str, face: str, size: float, measure: float, most: int | None = None) -> list[str]:
    """`text` broken into lines of at most `measure` points; long words are broken too.

    With `most`, a text of more lines is cut and ends with an ellipsis.
    """
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines.extend(_wrap_line(require_glyphs(normalise(paragraph), face), face, size, measure))
    if most is not None and len(lines) > most:
        lines[most - 1 :] = [ellipsize(" ".join(lines[most - 1 :]), face, size, measure)]
    return lines


@lru_cache(maxsize=8192)
def _wrap_line(text: str, face: str, size: float, measure: float) -> tuple[str, ...]:
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        trial = f"{line} {word}" if line else word
        if width(trial, face, size) <= measure:
            line = trial
            continue
        if line:
            lines.append(line)
        pieces = _break_word(word, face, size, measure)
        lines.extend(pieces[:-1])
        line = pieces[-1]
    lines.append(line)
    return tuple(lines)


def _break_word(word: str, face: str, size: float, measure: float) -> list[str]:
    """A word wider than the measure, broken after a soft break if there is one near the end."""
    pieces: list[str] = []
    while word and width(word, face, size) > measure:
        count = max(1, _fitting(word, face, size, measure))
        joint = max((word.rfind(mark, 0, count) for mark in SOFT_BREAKS), default=-1) + 1
        if joint > count // 2:
            count = joint
        pieces.append(word[:count])
        word = word[count:]
    if word or not pieces:
        pieces.append(word)
    return pieces


def _fitting(text: str, face: str, size: float, measure: float) -> int:
    total = 0.0
    for count, character in enumerate(text):
        total += width(character, face, size)
        if total > measure:
            return count
    return len(text)


def ellipsize(text: str, face: str, size: float, measure: float) -> str:
    """`text` on one line, its end replaced by an ellipsis if it is too long."""
    text = require_glyphs(normalise(text), face)
    if width(text, face, size) <= measure:
        return text
    room = measure - width(ELLIPSIS, face, size)
    return text[: _fitting(text, face, size, room)].rstrip() + ELLIPSIS


def fit_middle(text: str, face: str, size: float, measure: float) -> str:
    """`text` on one line, its middle replaced by an ellipsis if it is too long; both ends stay."""
    text = require_glyphs(normalise(text), face)
    cut = len(text)
    while cut > 2 and width(text, face, size) > measure:
        cut -= 2
        half = cut // 2
        shown = f"{text[:half]}{ELLIPSIS}{text[-half:]}"
        if width(shown, face, size) <= measure:
            return shown
    return text
