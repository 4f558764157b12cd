"""A face's glyphs as a font of a PDF, addressed by their numbers (ISO 32000-1, 9.7.4).

The font program keeps the numbers of the glyphs of the face's file, so that a page with its
letters does not depend on the program embedded beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from reportlab.pdfbase.pdfdoc import (
    PDFArray,
    PDFDictionary,
    PDFName,
    PDFStream,
    PDFString,
    PDFZCompress,
)

from compliance.model.faces import Face, Glyph
from compliance.pictures.letters import font_name
from compliance.pictures.scripts import as_one_character, glyph_texts

SYMBOLIC = 4
"""Flag of a font whose characters are none of the standard ones (ISO 32000-1, table 123)."""
BOX = (-1000, -1000, 3000, 3000)
"""Roomy for any letter; readers take a letter's own box from the program."""

CMAP = """/CIDInit /ProcSet findresource begin
12 dict begin
begincmap
/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def
/CMapName /Adobe-Identity-UCS def
/CMapType 2 def
1 begincodespacerange
<0000> <FFFF>
endcodespacerange
{ranges}endcmap
CMapName currentdict /CMap defineresource pop
end
end
"""
MOST_IN_BLOCK = 100
"""Entries of a block of a character map (ISO 32000-1, 9.10.3)."""


def pdf_width(face: Face, glyph: Glyph) -> int:
    """Return a glyph's own width in thousandths of the type size, as the font states it."""
    return round(glyph.width * 1000 / face.units)


def show_glyphs(face: Face, glyphs: Sequence[Glyph], size: float) -> Iterator[str]:
    """Yield the operators that show glyphs beside each other, each at its place."""
    pen = _Pen(face, size)
    for glyph in glyphs:
        yield from pen.show(glyph)


def show_backwards(
    face: Face, glyphs: Sequence[Glyph], texts: Sequence[str], size: float
) -> Iterator[str]:
    """Yield the operators that show glyphs of a script from right to left, each with its text.

    Readers put such text in order character by character, from where it is drawn.
    """
    pen = _Pen(face, size)
    for glyph, text in zip(glyphs, texts, strict=True):
        yield begin_stated(as_one_character(text))
        yield from pen.show(glyph)
        yield END_STATED


def begin_stated(text: str) -> str:
    """Return the operator before what stands for a text (ISO 32000-1, 14.9.4)."""
    return f"/Span <</ActualText <{('feff' + text.encode('utf-16-be').hex()).upper()}>>> BDC"


END_STATED = "EMC"


class _Pen:
    """Shows glyphs one after another, and keeps where the next one has to begin."""

    def __init__(self, face: Face, size: float) -> None:
        self._face = face
        self._size = size
        self._ahead = 0.0
        """How far the pen is right of its place, in thousandths of the type size."""

    def show(self, glyph: Glyph) -> Iterator[str]:
        scale = 1000 / self._face.units
        if glyph.dy:
            yield f"{_number(glyph.dy * self._size / self._face.units)} Ts"
        yield self._shown(glyph, self._ahead - glyph.dx * scale)
        if glyph.dy:
            yield "0 Ts"
        self._ahead = pdf_width(self._face, glyph) - (glyph.advance - glyph.dx) * scale

    @staticmethod
    def _shown(glyph: Glyph, back: float) -> str:
        shift = _number(back)
        return f"<{glyph.id:04X}> Tj" if shift == "0" else f"[{shift} <{glyph.id:04X}>] TJ"


def _number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def add_font(document: Any, name: str, face: Face, program: bytes) -> None:
    """Add a font with all glyphs of a face to a document's fonts under `name`."""
    drawn = {glyph.id: glyph for glyphs in face.glyphs.values() for glyph in glyphs}
    called = font_name(face.name)

    def stream(content: str | bytes, **entries: Any) -> Any:
        data = content.encode("ascii") if isinstance(content, str) else content
        made = PDFStream(PDFDictionary(entries), data, filters=[PDFZCompress])
        return document.Reference(made)

    descriptor = PDFDictionary(
        {
            "Type": PDFName("FontDescriptor"),
            "FontName": PDFName(called),
            "Flags": SYMBOLIC,
            "FontBBox": PDFArray(list(BOX)),
            "ItalicAngle": 0,
            "Ascent": 900,
            "Descent": -200,
            "CapHeight": 700,
            "StemV": 80,
            "FontFile2": stream(program, Length1=len(program)),
        }
    )
    descendant = PDFDictionary(
        {
            "Type": PDFName("Font"),
            "Subtype": PDFName("CIDFontType2"),
            "BaseFont": PDFName(called),
            "CIDSystemInfo": PDFDictionary(
                {
                    "Registry": PDFString("Adobe"),
                    "Ordering": PDFString("Identity"),
                    "Supplement": 0,
                }
            ),
            "FontDescriptor": document.Reference(descriptor),
            "DW": 1000,
            "W": PDFArray(
                [
                    part
                    for number, glyph in sorted(drawn.items())
                    for part in (number, PDFArray([pdf_width(face, glyph)]))
                ]
            ),
            "CIDToGIDMap": PDFName("Identity"),
        }
    )
    font = PDFDictionary(
        {
            "Type": PDFName("Font"),
            "Subtype": PDFName("Type0"),
            "BaseFont": PDFName(called),
            "Encoding": PDFName("Identity-H"),
            "DescendantFonts": PDFArray([document.Reference(descendant)]),
            "ToUnicode": stream(CMAP.format(ranges="".join(_blocks(_meanings(face.glyphs))))),
        }
    )
    document.idToObject["BasicFonts"].dict[name] = document.Reference(font)


def _meanings(glyphs: Mapping[str, Sequence[Glyph]]) -> dict[int, str]:
    """Return what each glyph stands for, the first time that it occurs; pages state it beside.

    One that stands for nothing alone stands for its cluster.
    """
    found: dict[int, str] = {}
    for cluster, shown in sorted(glyphs.items()):
        for glyph, text in zip(shown, glyph_texts(cluster, shown), strict=True):
            found.setdefault(glyph.id, text or cluster)
    return found


def _blocks(meanings: Mapping[int, str]) -> Iterator[str]:
    entries = sorted(meanings.items())
    for start in range(0, len(entries), MOST_IN_BLOCK):
        block = entries[start : start + MOST_IN_BLOCK]
        lines = [f"<{number:04X}> <{text.encode('utf-16-be').hex()}>\n" for number, text in block]
        yield f"{len(block)} beginbfchar\n{''.join(lines)}endbfchar\n"
