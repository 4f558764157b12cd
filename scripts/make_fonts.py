"""Make the fonts of the sheet: `python scripts/make_fonts.py [FOLDER WITH DEJAVU 2.37]`.

Takes DejaVu 2.37 (Debian packages fonts-dejavu-core and fonts-dejavu-extra), keeps
Latin, Greek, Cyrillic and the signs of the trade, drops hinting and layout tables,
and renames the result, as the licence requires for modified fonts. Needs fontTools.
The same input gives the same bytes.
"""

from __future__ import annotations

import struct
import sys
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont
from fontTools.ttLib.tables.DefaultTable import DefaultTable

SOURCE = Path("/usr/share/fonts/truetype/dejavu")
TARGET = Path(__file__).parents[1] / "compliance" / "pictures" / "fonts"

FACES = {
    "SheetSans": ("DejaVuSansCondensed.ttf", "Sheet Sans", "Regular"),
    "SheetSans-Bold": ("DejaVuSansCondensed-Bold.ttf", "Sheet Sans", "Bold"),
    "SheetSerif": ("DejaVuSerifCondensed.ttf", "Sheet Serif", "Regular"),
    "SheetMono": ("DejaVuSansMono.ttf", "Sheet Mono", "Regular"),
}

RANGES = (
    (0x0020, 0x007E),  # Basic Latin
    (0x00A0, 0x024F),  # Latin-1, Latin Extended-A and -B
    (0x02B0, 0x02FF),  # modifier letters
    (0x0370, 0x03FF),  # Greek
    (0x0400, 0x052F),  # Cyrillic
    (0x1E00, 0x1EFF),  # Latin Extended Additional
    (0x2010, 0x2027),  # dashes, quotes, dots
    (0x202F, 0x203A),  # narrow no-break space, per mille, primes
    (0x2070, 0x2094),  # superscripts, subscripts
    (0x20A0, 0x20BF),  # currencies
    (0x2100, 0x214F),  # letterlike
    (0x2150, 0x215F),  # fractions
    (0x2190, 0x2199),  # arrows
    (0x2200, 0x22FF),  # mathematical operators
    (0x25A0, 0x25FF),  # geometric shapes
    (0x2713, 0x2717),  # check marks
)

KEPT_NAMES = (0, 7, 13, 14)  # copyright, trademark, licence, its address


def characters() -> list[int]:
    """Every code point that the sheet can print, if the face has it."""
    return [code for first, last in RANGES for code in range(first, last + 1)]


def make(name: str, source: Path, family: str, style: str) -> bytes:
    """One subset face, renamed, without hinting; the bytes of the file."""
    options = subset.Options(
        hinting=False,
        layout_features=[],
        notdef_outline=True,
        name_IDs=list(KEPT_NAMES),
        drop_tables=["GSUB", "GPOS", "GDEF", "kern", "FFTM", "gasp", "MATH"],
        recalc_timestamp=False,
    )
    font = TTFont(source, recalcTimestamp=False)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=characters())
    subsetter.subset(font)
    table = font["name"]
    table.names = [record for record in table.names if record.nameID in KEPT_NAMES]
    stated = {
        1: family,
        2: style,
        3: f"{name}; subset of DejaVu 2.37",
        4: family if style == "Regular" else f"{family} {style}",
        5: "Version 2.37; unhinted subset",
        6: name,
    }
    for number, text in stated.items():
        table.setName(text, number, 3, 1, 0x409)
        table.setName(text, number, 1, 0, 0)
    write_out_widths(font)
    target = TARGET / f"{name}.ttf"
    font.save(target)
    return target.read_bytes()


def write_out_widths(font: TTFont) -> None:
    """Give every glyph its own entry in hmtx, as in a face of many widths.

    A face of one width has a single entry for all glyphs. reportlab 5.1 scales that entry
    and then embeds it unscaled, so that the widths in the file disagree.
    """
    names = font.getGlyphOrder()
    metrics = font["hmtx"].metrics
    if metrics[names[-1]][0] != metrics[names[-2]][0]:
        return  # each has its own entry already
    table = DefaultTable("hmtx")
    table.data = b"".join(struct.pack(">Hh", *metrics[name]) for name in names)
    font.recalcBBoxes = False
    font["hhea"].numberOfHMetrics = len(names)
    font["hmtx"] = table


def main() -> None:
    """Write all faces to the folder of their licence."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else SOURCE
    for name, (file, family, style) in FACES.items():
        data = make(name, folder / file, family, style)
        print(f"{name}.ttf: {len(data)} bytes")


if __name__ == "__main__":
    main()
