"""The fonts hold what we print, and a missing character is an error."""

from __future__ import annotations

import ast
from io import BytesIO
from pathlib import Path

import pytest

from compliance.errors import SheetError
from compliance.pictures.fonts import (
    FACES,
    MONO,
    SANS,
    ellipsize,
    face_with_glyphs,
    fit_middle,
    font_file,
    glyph_widths,
    normalise,
    require_glyphs,
    width,
    wrap,
)
from compliance.quantities.catalogue import QUANTITIES

TRADE = "Δ γ σ λ δ μ ′ ″ → ✓ ₀ ₂ ⁻ ő ± − · × ≤ ≥ √ ° ² ³ … – “ ” ’ Σ α β"


@pytest.mark.parametrize("face", FACES)
def test_signs_of_the_trade_are_there(face: str) -> None:
    for sign in TRADE.split():
        if sign != "✓" or face != "SheetSerif":
            assert require_glyphs(sign, face) == sign


def test_names_in_three_alphabets_are_there() -> None:
    for name in ("Žižkov Łódź Ærøskøbing", "Ελλάδα", "Київ Ђорђевић", "Nguyễn Đình"):
        for face in FACES:
            assert require_glyphs(normalise(name), face_with_glyphs(name, face)) == normalise(name)
    assert face_with_glyphs("Žižkov", MONO) == MONO
    assert face_with_glyphs("Nguyễn", MONO) == SANS


def test_the_catalogue_can_be_printed() -> None:
    for row in QUANTITIES.values():
        require_glyphs(normalise(f"{row.title} {row.unit} {row.definition} {row.source}"), SANS)


def test_every_text_in_the_source_can_be_printed(root: Path) -> None:
    package = root / "compliance"
    for file in (*(package / "sheet").glob("*.py"), *(package / "report").glob("*.py")):
        if file.name in ("pdfa.py", "exports.py"):  # not print
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                require_glyphs("".join(sign for sign in node.value if sign >= " "), SANS)


def test_a_missing_glyph_is_named() -> None:
    with pytest.raises(
        SheetError, match=r"no '漢' \(U\+6F22\).*give a face that has it with --font"
    ):
        require_glyphs("漢")
    with pytest.raises(SheetError, match=r"U\+200D"):
        require_glyphs("a\u200db")


def test_text_is_composed_and_set_on_one_line() -> None:
    assert normalise("Z\u030ci\tz\u030c\n  kov\u200b") == "Ži ž kov"
    assert normalise("5\u00a0%") == "5\u00a0%"


def test_lines_stay_within_the_measure() -> None:
    text = "a few words and " + "x" * 300 + " luts/" + "deep/" * 40
    for line in wrap(text, SANS, 8, 100):
        assert width(line, SANS, 8) <= 100
    assert "".join(wrap(text, SANS, 8, 100)).replace(" ", "") == text.replace(" ", "")


def test_a_cut_line_says_so() -> None:
    assert ellipsize("short", SANS, 8, 100) == "short"
    cut = ellipsize("long " * 50, SANS, 8, 100)
    assert cut.endswith("…")
    assert width(cut, SANS, 8) <= 100
    middle = fit_middle("begin" + "x" * 200 + "end", SANS, 8, 100)
    assert middle.startswith("begin")
    assert middle.endswith("end")
    assert width(middle, SANS, 8) <= 100


@pytest.mark.parametrize("face", FACES)
def test_widths_are_those_that_another_library_reads(face: str) -> None:
    ttlib = pytest.importorskip("fontTools.ttLib")
    with ttlib.TTFont(BytesIO(font_file(face))) as font:
        unit, metrics, glyphs = font["head"].unitsPerEm, font["hmtx"], font.getBestCmap()
        stated = {sign: 1000 * metrics[glyph][0] / unit for sign, glyph in glyphs.items()}
        missing = 1000 * metrics[".notdef"][0] / unit
    assert glyph_widths(face) == {**stated, 0xFFFF: missing}


def test_the_licence_lies_beside_the_fonts(root: Path) -> None:
    folder = root / "compliance" / "pictures" / "fonts"
    licence = (folder / "LICENSE.txt").read_text(encoding="utf-8")
    assert "Permission is hereby granted" in licence
    assert {file.stem for file in folder.glob("*.ttf")} == set(FACES)


def test_the_fonts_are_renamed_and_keep_their_notice(root: Path) -> None:
    ttlib = pytest.importorskip("fontTools.ttLib")
    for file in (root / "compliance" / "pictures" / "fonts").glob("*.ttf"):
        with ttlib.TTFont(file) as font:
            for number in (1, 2, 3, 4, 6):
                name = font["name"].getDebugName(number)
                assert "Vera" not in name
                assert "Bitstream" not in name
                assert "Arev" not in name
            assert font["name"].getDebugName(1).startswith("Sheet ")
            assert "Bitstream" in font["name"].getDebugName(0)
            assert "fpgm" not in font
