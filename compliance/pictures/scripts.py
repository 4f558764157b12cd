"""Letters that this program's own faces lack: their clusters, and where lines may break.

A cluster is the smallest piece that is shaped alone: a letter with its marks, an Indic syllable,
a word of a script whose letters join. Its glyphs do not depend on what stands beside it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from compliance.model.faces import Glyph

JOINERS = "\u200c\u200d"
"""Zero-width non-joiner and joiner, which some scripts need inside of words."""
VIRAMA = 9
"""Canonical combining class of the sign that joins consonants (Unicode Standard, 4.3)."""
AFTER_BASE = "\u0e33\u0eb3"
"""Vowels of Thai and Lao that are drawn on the letter before; their category is of letters."""
LONGEST = 16
"""Characters of a cluster; a longer one, as a very long word of joined letters, is cut, since no
line may hold it."""
JOINED = ("NKO", "ADLAM", "MONGOLIAN", "MANDAIC", "MANICHAEAN", "PHAGS-PA", "PSALTER", "SOGDIAN",
          "OLD SOGDIAN", "HANIFI ROHINGYA", "CHORASMIAN")  # fmt: skip
"""Scripts whose letters join, beside those of the bidirectional class of Arabic letters: how their
characters' names begin (Unicode's Joining_Type, from memory)."""
SELECTORS = ((0xFE00, 0xFE10), (0xE0100, 0xE01F0))
"""Ranges of variation selectors, which choose a form where a face has one."""
MARK_CATEGORIES = frozenset({"Mn", "Mc", "Me"})
WIDE = frozenset({"W", "F"})
"""East Asian widths of ideographs, kana and their punctuation (UAX 11)."""
PRESENTATION = ((0xFB1D, 0xFE00), (0xFE70, 0xFEFD))
"""Ranges of presentation forms of Hebrew and Arabic."""
CLOSING = frozenset({"Pe", "Pf"})
OPENING = frozenset({"Ps", "Pi"})
NO_START = frozenset(
    "、。，．・：；？！ー々ゝゞヽヾぁぃぅぇぉっゃゅょゎァィゥェォッャュョヮヵヶ…‥％"
)
"""Characters that do not begin a line (JIS X 4051 and W3C JLREQ, from memory)."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a text that is drawn as one."""

    text: str
    foreign: bool
    """Whether another face has to draw it."""


def pieces(text: str, own: Container[str]) -> Iterator[Piece]:
    """Cut a text into clusters of foreign letters, and single characters that `own` contains."""
    held = ""
    for character in text:
        if held and _continues(held, character, own):
            held += character
            continue
        if held:
            yield Piece(held, True)
        held = "" if character in own else character
        if not held:
            yield Piece(character, False)
    if held:
        yield Piece(held, True)


def _continues(cluster: str, character: str, own: Container[str]) -> bool:
    """Return whether a character belongs to the cluster of foreign letters before it."""
    if len(cluster) >= LONGEST:
        return False
    if continues(character):
        return True
    if character in own:
        return False
    last = cluster[-1]
    if last == JOINERS[1]:
        return character.isalpha()
    if unicodedata.combining(last) == VIRAMA:
        return unicodedata.category(character) == "Lo"
    return joins(cluster) and joins(character)


def continues(character: str) -> bool:
    """Return whether a character belongs to the letter before it, whatever that is."""
    return unicodedata.category(character) in MARK_CATEGORIES or character in JOINERS + AFTER_BASE


def is_drawn(character: str) -> bool:
    """Return whether a face needs a glyph for a character: not for joiners and selectors."""
    code = ord(character)
    return character not in JOINERS and not any(start <= code < end for start, end in SELECTORS)


def glyph_texts(cluster: str, glyphs: Sequence[Glyph]) -> list[str]:
    """Return what each glyph of a cluster stands for; nothing, if one beside it stands for all.

    Glyphs are from left to right, so those of a script from right to left begin at its end.
    """
    order = list(range(len(glyphs)))
    if runs_right_to_left(cluster):
        order.reverse()
    places: dict[int, list[int]] = {}
    for place in order:
        places.setdefault(glyphs[place].start, []).append(place)
    starts = sorted(places)
    texts = [""] * len(glyphs)
    for start, end in zip(starts, [*starts[1:], len(cluster)], strict=True):
        same = places[start]
        meant = cluster[start:end]
        for place, text in zip(same, meant if len(same) == len(meant) else [meant], strict=False):
            texts[place] = text
    return texts


def as_one_character(text: str) -> str:
    """Return the single character that is compatible with a ligature's text, if there is one.

    Those of Hebrew and Arabic (Unicode's alphabetic presentation forms): a reader that turns
    characters drawn from right to left would turn those of one glyph too.
    """
    return _ligatures().get(text, text) if len(text) > 1 else text


@cache
def _ligatures() -> Mapping[str, str]:
    forms = [chr(code) for start, end in PRESENTATION for code in range(start, end)]
    meanings = [unicodedata.normalize("NFKC", form) for form in forms]
    return dict(reversed(list(zip(meanings, forms, strict=True))))


def joins(cluster: str) -> bool:
    """Return whether a cluster is of a script whose letters join into words, as Arabic."""
    first = cluster[0]
    if unicodedata.bidirectional(first) == "AL":
        return True
    return not first.isascii() and unicodedata.name(first, "").startswith(JOINED)


def runs_right_to_left(text: str) -> bool:
    """Return whether a text has letters that run from right to left."""
    return any(unicodedata.bidirectional(character) in ("R", "AL") for character in text)


def may_break(before: str, after: str) -> bool:
    """Return whether a line may end between two characters that no space parts.

    Between ideographs and kana, not before what closes nor after what opens (UAX 14, simplified);
    Korean lines break at spaces.
    """
    if after in NO_START or continues(after) or unicodedata.category(after) in CLOSING:
        return False
    if unicodedata.category(before) in OPENING:
        return False
    return _ideographic(before) or _ideographic(after)


def _ideographic(character: str) -> bool:
    wide = unicodedata.east_asian_width(character) in WIDE
    return wide and not unicodedata.name(character, "").startswith("HANGUL")
