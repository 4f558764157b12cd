"""The sheet's own fonts, and the guard that no character is lost.

Four faces lie beside this file; scripts/make_fonts.py made them. A character that
they lack would vanish from the page without a word, so every printed string
passes `guard` first.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib.resources import files

from compliance.errors import SheetError

SANS = "SheetSans"
BOLD = "SheetSans-Bold"
SERIF = "SheetSerif"
MONO = "SheetMono"
FACES = (SANS, BOLD, SERIF, MONO)

INVISIBLE = {0x00AD: None, 0x200B: None, 0xFEFF: None}
"""Soft hyphen, zero-width space and byte-order mark print nothing anyway."""


@cache
def register() -> None:
    """Make the faces known to reportlab; once per process."""
    from io import BytesIO

    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = files("compliance.pictures") / "fonts"
    for name in FACES:
        data = (folder / f"{name}.ttf").read_bytes()
        pdfmetrics.registerFont(TTFont(name, BytesIO(data)))


@cache
def _face(name: str) -> tuple[frozenset[int], dict[int, float], float]:
    register()
    from reportlab.pdfbase import pdfmetrics

    face = pdfmetrics.getFont(name).face
    return frozenset(face.charToGlyph), face.charWidths, face.defaultWidth


def normalise(text: str) -> str:
    """`text` as one line: composed (NFC), white space of any kind as single spaces."""
    composed = unicodedata.normalize("NFC", text).translate(INVISIBLE)
    held = composed.replace("\u00a0", "\x00")
    return " ".join(held.split()).replace("\x00", "\u00a0") if held else ""


def require_glyphs(text: str, face: str = SANS) -> str:
    """`text` unchanged; a `SheetError` names the first character that has no glyph."""
    glyphs = _face(face)[0]
    for character in text:
        if ord(character) not in glyphs:
            shown = character if character.isprintable() else "?"
            raise SheetError(
                f"'{text[:60]}': the sheet's fonts have no '{shown}' (U+{ord(character):04X}); "
                f"they hold Latin, Greek and Cyrillic letters: write it with those"
            )
    return text


def face_with_glyphs(text: str, face: str) -> str:
    """`face` if it has all of `text`, else the sans serif, which has the most glyphs."""
    glyphs = _face(face)[0]
    return face if all(ord(character) in glyphs for character in normalise(text)) else SANS


def width(text: str, face: str, size: float) -> float:
    """Printed width of `text` in points."""
    _, widths, default = _face(face)
    return sum(widths.get(ord(character), default) for character in text) * size / 1000
