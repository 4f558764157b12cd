"""From an assessment to the finished sheet: archival, with its evidence, signed or not."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from helpers.evidence_of_a_slot import assessment, evidence
from helpers.signing import MADE, PASSWORD, findings_of_level_b, identity, run, tool

from compliance.errors import SheetError
from compliance.sheet.make_sheet import KINDS, write_sheet
from compliance.signing.attached_files import read_attachments
from compliance.signing.keys import load_identity, new_identity


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_an_unsigned_sheet_is_pdf_a(page: str, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(write_sheet(assessment(), page=page))
    assert findings_of_level_b(path) == []


def test_a_signed_sheet_breaks_nothing_of_pdf_a(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(write_sheet(assessment(), identity=identity()))
    assert all(each.kind == "unsupported" for each in findings_of_level_b(path))
    assert run([tool("qpdf"), "--check", path]).returncode == 0


def test_the_evidence_travels_inside() -> None:
    assert set(evidence()) <= set(KINDS)
    for data in (write_sheet(assessment()), write_sheet(assessment(), identity=identity())):
        assert read_attachments(data, largest=lambda _: 1 << 20) == evidence()


def test_the_same_assessment_gives_the_same_bytes() -> None:
    assert write_sheet(assessment()) == write_sheet(assessment())


def test_metadata_names_the_sheet_and_the_facility() -> None:
    with pikepdf.open(BytesIO(write_sheet(assessment()))) as pdf:
        assert str(pdf.docinfo.Title).endswith(assessment().number)
        assert str(pdf.docinfo.Author) == "Low House"
        assert str(pdf.docinfo.CreationDate) == "D:20261120160000+00'00'"


def test_a_signed_sheet_shows_its_signer_and_is_not_marked_unsigned(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"

    def text(data: bytes) -> str:
        path.write_bytes(data)
        return run([tool("pdftotext"), "-layout", path, "-"]).stdout

    bare, signed = (
        text(write_sheet(assessment())),
        text(write_sheet(assessment(), identity=identity())),
    )
    assert "NOT SIGNED" in bare and "Signed by" not in bare
    assert "NOT SIGNED" not in signed and "Signed by Ada Quill" in signed


def test_a_signer_whose_name_cannot_be_printed() -> None:
    data = new_identity("河川", "Low House", "a@example.org", PASSWORD, MADE)
    with pytest.raises(SheetError, match=r"the sheet's fonts have no '河'"):
        write_sheet(assessment(), identity=load_identity(data, PASSWORD))
