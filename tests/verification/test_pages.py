"""Step 6: pages that do not show what the evidence says, by somebody who holds the key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from helpers.evidence_of_a_slot import assessment, evidence, mended, sealed, with_assessment
from helpers.signing import countersigned, countersigned_elsewhere, identity
from pikepdf import Array, Dictionary, Name, String

import compliance.sheet.make_sheet
from compliance.model.results import Verification
from compliance.model.stated import ENGINE
from compliance.report.verification import step_details, step_text
from compliance.sheet import Drawing
from compliance.sheet.make_sheet import archival_sheet, write_sheet
from compliance.verification import verify_sheet
from compliance.verification.compare_pages import CLOSE, _close

ME = [identity().pem]


def forged(change: Callable[[pikepdf.Pdf], object], page: str = "a4") -> Verification:
    """A sheet changed before its own facility signed it."""
    honest = archival_sheet

    def dishonest(*arguments: Any, **named: Any) -> Drawing:
        sheet = honest(*arguments, **named)
        with pikepdf.open(BytesIO(sheet.pdf)) as pdf:
            change(pdf)
            out = BytesIO()
            pdf.save(out, fix_metadata_version=False, force_version="1.7")
        return replace(sheet, pdf=out.getvalue())

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.sheet.make_sheet, "archival_sheet", dishonest)
        data = write_sheet(assessment(), identity=identity(), page=page)
    with pytest.MonkeyPatch.context() as patch:
        # Computing it again has tests of its own and would take most of the time.
        patch.setattr("compliance.verification._again", lambda *_: assessment())
        return verify_sheet(data, trust=ME)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_an_honest_sheet_is_the_same_again(page: str) -> None:
    data = write_sheet(assessment(), identity=identity(), page=page)
    for each in (data, countersigned(data)):
        step = verify_sheet(each, trust=ME).steps[5]
        assert (step.status, step_text(step)) == (
            "ok",
            "the same as drawn again from the evidence",
        )


def test_a_box_that_another_program_drew_is_not_compared() -> None:
    """Its metadata after the facility's are no fault, but its box may show anything."""
    data = countersigned_elsewhere(write_sheet(assessment(), identity=identity()))
    found = verify_sheet(data, trust=ME, client_trust=[identity("Cleo Client").pem])
    assert [str(step.status) for step in found.steps[:6]] == [*["ok"] * 5, "not done"]
    assert step_text(found.steps[5]).startswith(
        "the box of the countersignature was not compared: drawn by another program; this is "
    )
    assert found.exit_code == 3


def rewritten(pdf: pikepdf.Pdf) -> None:
    """COMPLIANT for whatever stood there: another number would do as well."""
    stream = pdf.pages[0].Contents
    text = stream.read_bytes()
    assert b"Low House" in text
    stream.write(text.replace(b"Low House", b"Law House"))


def painted_over(pdf: pikepdf.Pdf) -> None:
    more = pdf.make_stream(b"q 1 1 1 rg 0 0 595 842 re f Q")
    pdf.pages[1].Contents = Array([pdf.pages[1].Contents, more])


def another_font(pdf: pikepdf.Pdf) -> None:
    """The same text in letters that look otherwise."""
    fonts = pdf.pages[0].Resources.Font
    names = [name for name in fonts if "/FontDescriptor" in fonts[name]]
    one, other = names[:2]
    fonts[one].FontDescriptor.FontFile2 = fonts[other].FontDescriptor.FontFile2


def a_page_more(pdf: pikepdf.Pdf) -> None:
    pdf.add_blank_page()


def a_page_less(pdf: pikepdf.Pdf) -> None:
    del pdf.pages[-2]


def pages_in_another_order(pdf: pikepdf.Pdf) -> None:
    pages = list(pdf.pages)
    pages[1:3] = pages[2:0:-1]
    pdf.Root.Pages.Kids = Array([page.obj for page in pages])


def a_note(pdf: pikepdf.Pdf) -> None:
    note = Dictionary(
        Type=Name.Annot, Subtype=Name.FreeText, Rect=[0, 0, 300, 300], Contents=String("passes")
    )
    pdf.pages[0].Annots = Array([*pdf.pages[0].Annots, pdf.make_indirect(note)])


def a_script(pdf: pikepdf.Pdf) -> None:
    pdf.Root.OpenAction = Dictionary(S=Name.JavaScript, JS=String("app.alert('compliant')"))


def a_layer(pdf: pikepdf.Pdf) -> None:
    pdf.Root.OCProperties = Dictionary(OCGs=Array([]), D=Dictionary())


def named_scripts(pdf: pikepdf.Pdf) -> None:
    pdf.Root.Names.JavaScript = Dictionary(Names=Array([]))


def another_title(pdf: pikepdf.Pdf) -> None:
    pdf.docinfo["/Title"] = String("Another rule: another number")


def other_metadata(pdf: pikepdf.Pdf) -> None:
    text = pdf.Root.Metadata.read_bytes()
    pdf.Root.Metadata.write(text.replace(b"SDR broadcast", b"HDR broadcast"))


def with_exponents(pdf: pikepdf.Pdf) -> None:
    """Viewers stop reading the page there, and show the rest of it blank."""
    stream = pdf.pages[0].Contents
    text = stream.read_bytes()
    assert text.startswith(b"1 0 0 1 0 0 cm")
    stream.write(text.replace(b"1 0 0 1 0 0 cm", b"1e0 0 0 1e0 0 0 cm", 1))


def described_otherwise(pdf: pikepdf.Pdf) -> None:
    pdf.Root.AF[0].Desc = String("Calibrated and approved by the manufacturer")


def of_another_relationship(pdf: pikepdf.Pdf) -> None:
    pdf.Root.AF[0].AFRelationship = Name.Alternative


def of_another_date(pdf: pikepdf.Pdf) -> None:
    pdf.Root.AF[0].EF.F.Params.ModDate = String("D:20200101000000Z")


def turned(pdf: pikepdf.Pdf) -> None:
    pdf.pages[0].Rotate = 180


def cropped(pdf: pikepdf.Pdf) -> None:
    pdf.pages[0].CropBox = Array([0, 400, 595, 842])


def elements(pdf: pikepdf.Pdf, role: Name) -> list[Any]:
    """The elements of that role, in the order of the file's objects."""
    return [
        each
        for each in pdf.objects
        if isinstance(each, Dictionary) and each.get("/S") == role and "/P" in each
    ]


def figure_told_otherwise(pdf: pikepdf.Pdf) -> None:
    elements(pdf, Name.Figure)[-1].Alt = String("All values are inside their limits.")


def heading_told_otherwise(pdf: pikepdf.Pdf) -> None:
    elements(pdf, Name.H2)[0].ActualText = String("Compliant")


def cells_in_another_order(pdf: pikepdf.Pdf) -> None:
    row = next(each for each in elements(pdf, Name.TR) if len(each.K) == 5)
    row.K = Array([row.K[at] for at in (0, 1, 3, 2, 4)])


def nothing_told(pdf: pikepdf.Pdf) -> None:
    pdf.Root.StructTreeRoot.K = Array([])


def of_another_stretch(pdf: pikepdf.Pdf) -> None:
    """The tree reads one cell's text in another."""
    one, other = [each for each in elements(pdf, Name.TD) if isinstance(each.get("/K"), int)][:2]
    one.K, other.K = other.K, one.K


def of_another_page(pdf: pikepdf.Pdf) -> None:
    elements(pdf, Name.H2)[-1].Pg = pdf.pages[0].obj


def numbered_otherwise(pdf: pikepdf.Pdf) -> None:
    """The marks in the page are exchanged, not those in the tree."""
    stream = pdf.pages[0].Contents
    text = stream.read_bytes()
    swapped = text.replace(b"/MCID 1>>", b"/MCID x>>").replace(b"/MCID 2>>", b"/MCID 1>>")
    assert b"/MCID x>>" in swapped
    stream.write(swapped.replace(b"/MCID x>>", b"/MCID 2>>"))


def numbered_by_a_fraction(pdf: pikepdf.Pdf) -> None:
    stream = pdf.pages[0].Contents
    stream.write(stream.read_bytes().replace(b"/MCID 1>>", b"/MCID 1.01>>"))


def field_of_another_element(pdf: pikepdf.Pdf) -> None:
    pdf.Root.AcroForm.Fields[0].StructParent = 0


def in_another_language(pdf: pikepdf.Pdf) -> None:
    pdf.Root.Lang = String("fi")


def other_bookmarks(pdf: pikepdf.Pdf) -> None:
    pdf.Root.Outlines.First.Title = String("Compliant")


def bookmarks_elsewhere(pdf: pikepdf.Pdf) -> None:
    pdf.Root.Outlines.First.Dest[0] = pdf.pages[1].obj


def bookmarks_below_another(pdf: pikepdf.Pdf) -> None:
    first = pdf.Root.Outlines.First
    first.Next.Parent = first


def an_empty_box_cut(pdf: pikepdf.Pdf) -> None:
    field = pdf.Root.AcroForm.Fields[1]
    field.AP.N.BBox = pikepdf.Array([0, 0, 5])


def of_level_b(pdf: pikepdf.Pdf) -> None:
    text = pdf.Root.Metadata.read_bytes()
    pdf.Root.Metadata.write(text.replace(b"conformance>A<", b"conformance>B<"))


TOLD = "read aloud, it says something else"
FORGED = [
    (figure_told_otherwise, TOLD),
    (heading_told_otherwise, TOLD),
    (cells_in_another_order, TOLD),
    (nothing_told, TOLD),
    (of_another_stretch, TOLD),
    (of_another_page, TOLD),
    (field_of_another_element, TOLD),
    (numbered_otherwise, "page 1 shows something else"),
    (numbered_by_a_fraction, "page 1 shows something else"),
    (in_another_language, "the catalog has another Lang"),
    (other_bookmarks, "the catalog has another Outlines"),
    (bookmarks_elsewhere, "the catalog has another Outlines"),
    (bookmarks_below_another, "the catalog has another Outlines"),
    (an_empty_box_cut, "the box of Countersignature shows something else"),
    (of_level_b, "the catalog has another Metadata"),
    (with_exponents, "page 1 shows something else"),
    (described_otherwise, "attachment assessment.json is described otherwise"),
    (of_another_relationship, "attachment assessment.json is described otherwise"),
    (of_another_date, "attachment assessment.json is described otherwise"),
    (rewritten, "page 1 shows something else"),
    (painted_over, "page 2 shows something else"),
    (another_font, "page 1 shows something else"),
    (a_page_more, "pages; expected"),
    (a_page_less, "pages; expected"),
    (pages_in_another_order, "page 2 shows something else"),
    (a_note, "page 1 has a note, which does not belong there"),
    (a_script, "the catalog differs in /OpenAction"),
    (a_layer, "the catalog differs in /OCProperties"),
    (named_scripts, "the catalog names more than attached files"),
    (another_title, "the file has another title"),
    (other_metadata, "the catalog has another Metadata"),
    (turned, "page 1 shows something else"),
    (cropped, "page 1 has other entries"),
]


@pytest.mark.parametrize(("change", "words"), FORGED)
def test_forged_pages_are_found_out(change: Callable[[pikepdf.Pdf], object], words: str) -> None:
    found = forged(change)
    assert [str(step.status) for step in found.steps[:6]] == ["ok"] * 5 + ["fail"]
    assert step_text(found.steps[5]) == "the pages do not show the evidence"
    assert any(words in line for line in step_details(found.steps[5])), step_details(found.steps[5])
    assert found.exit_code == 1


def test_a_box_of_the_signature_elsewhere() -> None:
    """A signature that shows over a whole page, with what it likes in it."""
    honest = compliance.signing.sign.Box.corners.fget
    assert honest is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            compliance.signing.sign.Box, "corners", property(lambda box: (0, 0, *honest(box)[2:]))
        )
        data = write_sheet(assessment(), identity=identity())
    found = verify_sheet(data, trust=ME)
    assert found.steps[5].status == "fail"
    assert any("has FacilitySignature, which" in line for line in step_details(found.steps[5]))


def test_pages_of_another_version_are_not_compared() -> None:
    """It says so, and does not call them valid; a version that never was explains nothing."""

    def of(version: str, engine: int) -> Callable[[dict[str, Any]], None]:
        return lambda stated: stated["tool"].update(version=version, engine=engine)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("compliance.report.numbers.NOT_STATED", "unknown")
        patch.setattr("compliance.sheet.pdfa.CONDITION", "sRGB")
        data = sealed(mended(with_assessment(of("9.0.0", ENGINE))))
        invented = sealed(mended(with_assessment(of("0.0.1", ENGINE))))
    found = verify_sheet(data, trust=ME)
    assert [str(step.status) for step in found.steps[:6]] == ["ok"] * 5 + ["not done"]
    assert step_text(found.steps[5]).startswith("not compared: drawn by version 9.0.0; this is ")
    assert found.exit_code == 3
    found = verify_sheet(invented, trust=ME)
    assert [str(step.status) for step in found.steps[4:6]] == ["unknown", "fail"]


def test_pages_by_other_libraries_are_not_compared() -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("compliance.sheet.pdfa.PRODUCER", "deliverable-compliance 0.1.0 (other 1)")
        patch.setattr("compliance.sheet.pdfa.CONDITION", "sRGB")
        data = write_sheet(assessment(), identity=identity())
    step = verify_sheet(data, trust=ME).steps[5]
    assert step.status == "not done"
    assert step_text(step).startswith(
        "not compared: drawn by deliverable-compliance 0.1.0 (other 1);"
    )


def test_another_last_digit_excuses_pages() -> None:
    """Another machine's arithmetic may turn a printed digit; nobody is accused for it."""

    def drifted(stated: dict[str, Any]) -> None:
        finding = next(each for each in stated["findings"] if each["value"] is not None)
        if isinstance(finding["value"], float):
            finding["value"] *= 1 + 1e-15
        else:
            finding["value"] = [each * (1 + 1e-15) for each in finding["value"]]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("compliance.sheet.pdfa.CONDITION", "sRGB")
        data = sealed(mended(with_assessment(drifted)))
    found = verify_sheet(data, trust=ME)
    assert found.steps[4].status == "ok"
    assert found.steps[5].status == "not done"
    assert "computed again, differ in the last digits" in step_text(found.steps[5])


def test_numbers_may_differ_by_what_nobody_sees() -> None:
    assert _close(b"10.001 20 m (text) Tj", b"10.002 20 m (text) Tj")
    assert not _close(b"10.1 20 m", b"10.2 20 m")
    assert not _close(b"10 20 m (1.001) Tj", b"10 20 m (1.002) Tj")
    assert not _close(b"10 20 m", b"10 20 l")
    assert not _close(b"10 20 m S", b"10 20 m")
    assert not _close(b"10 20 m 1", b"10 20 m")
    assert not _close(b"10 20 m 1", b"10 20 m 1.01")
    assert CLOSE < 0.05


@pytest.mark.parametrize("number", [b"1e0", b"1_0", b"nan", b"1.0.0", b"--1", b"0x1", b"1\x0b0"])
def test_numbers_follow_the_grammar_of_pdf(number: bytes) -> None:
    """Viewers read none of these as 1 or 10, and some show nothing at all."""
    for other in (b"1 0 0 1 10 20 cm", b"10 0 0 1 10 20 cm"):
        assert not _close(number + b" 0 0 1 10 20 cm", other)
    assert not _close(b"0" * 30 + b"1 0 m", b"1 0 m")


def test_factors_and_choices_are_no_places() -> None:
    assert _close(b"1 0 0 1 10.01 20 cm", b"1 0 0 1 10 20 cm")
    assert not _close(b"1.01 0 0 1 10 20 cm", b"1 0 0 1 10 20 cm")
    assert not _close(b"1 0.01 0 1 10 20 Tm", b"1 0 0 1 10 20 Tm")
    assert not _close(b"0.01 Tr", b"0 Tr")
    assert _close(b"[1.01 2] 0 d", b"[1 2] 0 d")


@pytest.mark.parametrize("text", [b"(a  b) Tj", b"(a\nb) Tj", b"<61> Tj", b"(a b)Tj%c\n"])
def test_strings_are_the_same_byte_for_byte(text: bytes) -> None:
    assert not _close(text, b"(a b) Tj")
    assert _close(b"(a b)Tj", b"(a b) Tj")


def test_without_evidence_there_is_nothing_to_compare_with() -> None:
    files = {name: data for name, data in evidence().items() if name != "rule.json"}
    found = verify_sheet(sealed(files), trust=ME)
    assert (found.steps[5].status, step_text(found.steps[5])) == (
        "fail",
        "not possible without the evidence",
    )
