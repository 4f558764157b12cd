"""The archival file: outside validators, attachments, metadata, reproducibility."""

from __future__ import annotations

import struct
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from fontTools.ttLib import TTFont
from helpers.signing import ATTACHED, SIGNED, archived, findings_of_level_b, run, tool

from compliance.pictures import fonts
from compliance.pictures.pdf_canvas import PdfCanvas


def test_a_second_library_finds_it_to_be_pdf_a(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(archived())
    assert findings_of_level_b(path) == []


def test_qpdf_has_no_complaint(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(archived())
    done = run([tool("qpdf"), "--check", path])
    assert done.returncode == 0
    assert "No syntax or stream encoding errors found" in done.stdout
    assert "WARNING" not in done.stdout + done.stderr


def test_poppler_lists_the_attachments(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(archived())
    done = run([tool("pdfdetach"), "-list", path])
    assert all(name in done.stdout for name in ATTACHED)


def test_attachments_are_associated_files() -> None:
    with pikepdf.open(BytesIO(archived())) as pdf:
        assert {name: each.get_file().read_bytes() for name, each in pdf.attachments.items()} == (
            ATTACHED
        )
        relations = {
            str(each.UF): str(each.AFRelationship)
            for each in pdf.Root.AF  # type: ignore[attr-defined]
        }
        assert relations == {"assessment.json": "/Data", "readings.csv": "/Source"}
        kinds = {name: each.get_file().mime_type for name, each in pdf.attachments.items()}
        assert kinds == {"assessment.json": "application/json", "readings.csv": "text/csv"}


def test_metadata_says_the_same_twice() -> None:
    with pikepdf.open(BytesIO(archived())) as pdf:
        assert pdf.pdf_version == "1.7"
        assert str(pdf.docinfo.Title) == "Sheet <1> & more"
        assert str(pdf.docinfo.CreationDate) == "D:20261120160000+00'00'"
        with pdf.open_metadata() as xmp:
            assert xmp["dc:title"] == "Sheet <1> & more"
            assert xmp["dc:creator"] == ["Low House"]
            assert xmp["xmp:CreateDate"] == "2026-11-20T16:00:00+00:00"
            assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("3", "A")


def test_same_input_gives_the_same_bytes() -> None:
    assert archived() == archived()


@pytest.mark.parametrize("face", fonts.FACES)
def test_widths_stated_and_embedded_agree(face: str) -> None:
    """ISO 19005-3, 6.2.11.5; a face whose glyphs are all of one width is the hard case."""
    canvas = PdfCanvas(200, 200, created=SIGNED)
    canvas.text(10, 10, "iW.0123456789 abcdef ±≤Δ", face=face, size=10)
    canvas.end_page()
    with pikepdf.open(BytesIO(canvas.finish())) as pdf:
        (font,) = (
            font
            for font in pdf.pages[0].Resources.Font.values()
            if str(font.BaseFont).endswith(f"+{face}")
        )
        embedded = TTFont(BytesIO(font.FontDescriptor.FontFile2.read_bytes()))
        first = int(font.FirstChar)
        widths = [float(width) for width in font.Widths]
    metrics, unit = embedded["hmtx"].metrics, embedded["head"].unitsPerEm
    glyphs = embedded["cmap"].tables[0].cmap
    assert len(glyphs) > 20
    for code, glyph in glyphs.items():
        if 0 <= code - first < len(widths):
            assert metrics[glyph][0] * 1000 / unit == pytest.approx(widths[code - first], abs=1)


def test_the_colour_profile_is_srgb() -> None:
    """Tags as ICC.1:2001-04 lays them out; primaries of IEC 61966-2-1 adapted to D50."""
    data = files("compliance.sheet").joinpath("srgb.icc").read_bytes()
    assert (data[12:16], data[16:20], data[36:40]) == (b"mntr", b"RGB ", b"acsp")
    count = struct.unpack(">I", data[128:132])[0]
    tags = {
        data[at : at + 4]: struct.unpack(">II", data[at + 4 : at + 12])
        for at in range(132, 132 + 12 * count, 12)
    }
    start, size = tags[b"cprt"]
    assert data[start + 8 : start + size] == b"no copyright, use freely\x00"
    start, _ = tags[b"rXYZ"]
    red = [number / 65536 for number in struct.unpack(">3i", data[start + 8 : start + 20])]
    assert red == pytest.approx([0.4360, 0.2225, 0.0139], abs=2e-4)
