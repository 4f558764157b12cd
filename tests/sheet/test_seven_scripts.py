"""Sheets with names in seven scripts: read by poppler, verified with their faces and without."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from helpers import evidence_of_a_slot, seven_scripts
from helpers.signing import SIGNED, countersigned, identity, run, tool

from compliance.documents import numbered
from compliance.errors import SheetError
from compliance.lettering import choose, font_files
from compliance.model.results import Check, Status, Verification
from compliance.pictures.letters import font_name
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.keys import load_identity, new_identity
from compliance.verification import verify_sheet
from compliance.verification.redraw import redrawn_sheet

DIRECTIONS = dict.fromkeys([0x200E, 0x200F, 0x202A, 0x202B, 0x202C, 0x2067, 0x2069])


def flat(text: str) -> str:
    """A text without spaces, directions and presentation forms."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text.translate(DIRECTIONS)))


def check(data: bytes, which: Check) -> tuple[Status, str]:
    found = next(step for step in verified(data).steps if step.check is which)
    return found.status, found.result.kind


def verified(data: bytes) -> Verification:
    return verify_sheet(data, any_signer=True)


@pytest.fixture
def no_faces(monkeypatch: pytest.MonkeyPatch) -> None:
    """A system without any face; the samples are made before."""
    seven_scripts.sheet()
    monkeypatch.setattr(font_files, "_list", lambda pattern: ())


def test_what_was_typed_is_what_poppler_reads(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(seven_scripts.sheet())
    read = flat(run([tool("pdftotext"), "-raw", path, "-"]).stdout)
    assert [text for text in seven_scripts.ALL if flat(text) not in read] == []


def test_with_its_faces_it_is_valid() -> None:
    found = verified(seven_scripts.sheet())
    assert found.exit_code == 0, [step for step in found.steps if step.status is not Status.OK]


def test_without_its_faces_all_but_the_shapes_is_checked(no_faces: None) -> None:
    data = seven_scripts.sheet()
    found = verified(data)
    assert found.exit_code == 3
    assert [step.check for step in found.steps if step.status is not Status.OK] == [Check.PAGES]
    assert check(data, Check.PAGES) == (Status.NOT_DONE, "letters-unsure")
    with pytest.raises(SheetError, match="is not here"):
        redrawn_sheet(data)


def forged(change: Callable[[bytes], bytes]) -> bytes:
    """The sheet as a facility signs it with another font program beside its letters."""
    made = seven_scripts.letters()
    return write_sheet(
        seven_scripts.assessment(),
        identity=seven_scripts.signer(),
        program=lambda face: change(made.program(face)),
    )


def test_a_program_with_other_shapes(monkeypatch: pytest.MonkeyPatch) -> None:
    def other(data: bytes) -> bytes:
        place = len(data) // 2
        return data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]

    data = forged(other)
    assert check(data, Check.PAGES) == (Status.FAIL, "other-pages")
    monkeypatch.setattr(font_files, "_list", lambda pattern: ())
    assert check(data, Check.PAGES) == (Status.NOT_DONE, "letters-unsure")


def test_a_document_with_other_glyphs(monkeypatch: pytest.MonkeyPatch) -> None:
    """A facility that draws another name than the one that it states."""
    first, *others = seven_scripts.assessment().faces
    one, other = [cluster for cluster in first.glyphs if len(cluster) == 1][:2]
    turned = {**first.glyphs, one: first.glyphs[other], other: first.glyphs[one]}
    told = replace(seven_scripts.assessment(), faces=(replace(first, glyphs=turned), *others))
    program = seven_scripts.letters().program
    data = write_sheet(numbered(told), identity=seven_scripts.signer(), program=program)
    found = verified(data)
    assert found.exit_code == 1
    assert check(data, Check.RECOMPUTATION)[0] is Status.FAIL
    monkeypatch.setattr(font_files, "_list", lambda pattern: ())
    assert verified(data).exit_code == 3


def test_a_face_without_its_file_draws_no_sheet() -> None:
    with pytest.raises(SheetError, match="give it with --font FILE"):
        write_sheet(seven_scripts.assessment())


def test_a_sheet_of_our_letters_asks_for_no_faces(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = write_sheet(evidence_of_a_slot.assessment())
    monkeypatch.setattr(font_files, "_list", lambda pattern: pytest.fail("faces were looked for"))
    monkeypatch.setattr(choose, "shaped", lambda *given: pytest.fail("letters were shaped"))
    assert write_sheet(evidence_of_a_slot.assessment()) == plain
    signed = write_sheet(evidence_of_a_slot.assessment(), identity=identity())
    assert verified(countersigned(signed)).exit_code == 0


def test_size_and_fonts() -> None:
    with pikepdf.open(BytesIO(seven_scripts.sheet())) as pdf:
        fonts = pdf.pages[0].Resources.Font
        names = {str(font.BaseFont) for font in fonts.values() if font.Subtype == "/Type0"}
        sizes = [
            len(font.DescendantFonts[0].FontDescriptor.FontFile2.read_raw_bytes())
            for font in fonts.values()
            if font.Subtype == "/Type0"
        ]
    assert names <= {f"/{font_name(face.name)}" for face in seven_scripts.letters().faces}
    assert max(sizes) < 150_000 and len(names) >= 3


def test_a_second_signature_in_another_script(monkeypatch: pytest.MonkeyPatch) -> None:
    name = "محمد علي"
    data = new_identity(name, "Tidal Pictures", "m@example.org", "correct horse battery", SIGNED)
    client = load_identity(data, "correct horse battery")
    signed = write_sheet(evidence_of_a_slot.assessment(), identity=identity())
    seven_scripts.require_faces()
    both = countersigned(signed, client)
    assert verified(both).exit_code == 0
    monkeypatch.setattr(font_files, "_list", lambda pattern: ())
    assert check(both, Check.PAGES) == (Status.NOT_DONE, "box-letters-unsure")
