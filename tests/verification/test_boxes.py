"""Step 6: boxes of signatures drawn again, and what is hidden in a file, by who holds the key."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from helpers.evidence_of_a_slot import assessment, document
from helpers.signing import countersigned, identity
from pikepdf import Name
from pyhanko.pdf_utils import generic
from pyhanko.sign import fields
from pyhanko.sign.signers.pdf_byterange import SignatureObject

import compliance.sheet.make_sheet
import compliance.signing.sign
from compliance.model.results import Step
from compliance.report.verification import step_details, step_text
from compliance.sheet import Drawing
from compliance.sheet.make_sheet import archival_sheet, draw_stamp, write_sheet
from compliance.signing.read import read_signatures
from compliance.verification.page_check import check_pages


@cache
def drawn() -> Drawing:
    """The sheet before it is signed; drawing takes most of the time of these tests."""
    return archival_sheet(assessment())


@pytest.fixture(autouse=True)
def _drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = drawn()
    monkeypatch.setattr(compliance.sheet.make_sheet, "archival_sheet", lambda *_, **__: sheet)


def checked(data: bytes) -> Step:
    """Step 6 of a sheet whose evidence comes out as stated."""
    seal = read_signatures(data)
    assert seal.all_faults == ()
    return check_pages(data, seal, document(), assessment())


def sheet() -> bytes:
    """The slot's sheet as the program writes it, with what the test changes."""
    return write_sheet(assessment(), identity=identity())


def refused(data: bytes, words: str) -> None:
    step = checked(data)
    assert step.status == "fail", step_text(step)
    assert any(words in line for line in step_details(step)), step_details(step)


def test_honest_boxes() -> None:
    assert checked(sheet()).status == "ok"
    assert checked(countersigned(sheet(), role="Supervising engineer")).status == "ok"


# ---------------------------------------------------------------- boxes


def claiming(text: str) -> Callable[..., bytes]:
    """Draw a box with another name than the signer's."""

    def draw(signer: Any, *arguments: Any, **named: Any) -> bytes:
        return draw_stamp(replace(signer, name=text), *arguments, **named)

    return draw


def test_a_facilitys_box_with_another_name() -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.sheet.make_sheet, "draw_stamp", claiming("The Laboratory"))
        data = sheet()
    refused(data, "the box of FacilitySignature shows something else than its signature states")


def test_a_clients_box_with_another_name() -> None:
    data = sheet()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.sheet.make_sheet, "draw_stamp", claiming("The Laboratory"))
        data = countersigned(data)
    refused(data, "the box of Countersignature shows something else than its signature states")


def test_a_box_of_other_libraries_is_not_compared() -> None:
    other = compliance.signing.sign.BuildProps("deliverable-compliance", revision="9.0.0 (other)")
    honest = sheet()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.signing.sign, "DRAWN_BY", other)
        patch.setattr(compliance.sheet.make_sheet, "draw_stamp", claiming("Other letters"))
        both = [sheet(), countersigned(honest)]
    for data, words in zip(both, ("not compared: drawn by 9.0.0 (other)", "9.0.0 (other); this"),
                           strict=True):  # fmt: skip
        step = checked(data)
        assert (step.status, words in step_text(step)) == ("not done", True), step_text(step)


def test_an_empty_box_is_empty() -> None:
    """What stands in the client's box before anybody countersigned."""

    with pikepdf.open(BytesIO(drawn().pdf)) as document:
        for field in document.Root.AcroForm.Fields:
            field.AP.N.write(b"0 0 200 50 re f")
        out = BytesIO()
        document.save(out, fix_metadata_version=False, force_version="1.7")
    with pytest.MonkeyPatch.context() as patch:
        changed = replace(drawn(), pdf=out.getvalue())
        patch.setattr(compliance.sheet.make_sheet, "archival_sheet", lambda *_, **__: changed)
        data = sheet()
    refused(data, "the box of Countersignature shows something else")


def test_a_signature_for_another_reason() -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            compliance.sheet.make_sheet, "signature_texts", lambda _: ("Approved by all", "Moon")
        )
        data = sheet()
    refused(data, "the facility's signature states another reason or place")


# ---------------------------------------------------------------- fields


def with_fields(change: Callable[[Any], object]) -> bytes:
    """A sheet whose fields were changed before the facility signed them."""
    honest = fields.enumerate_sig_fields
    changed = set()

    def found(writer: Any, *arguments: Any, **named: Any) -> Iterator[Any]:
        for field, value, place in honest(writer, *arguments, **named):
            if field not in changed:
                changed.add(field)
                change(place.get_object())
                writer.mark_update(place)
            yield field, value, place

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fields, "enumerate_sig_fields", found)
        return sheet()


def name(text: str) -> generic.NameObject:
    return generic.NameObject(text)


def set_key(key: str, value: Any) -> Callable[[Any], object]:
    return lambda field: field.update({name(key): value})


def action() -> generic.DictionaryObject:
    return generic.DictionaryObject(
        {
            name("/S"): name("/JavaScript"),
            name("/JS"): generic.TextStringObject("app.beep()"),
        }
    )


FIELDS: dict[str, tuple[Callable[[Any], object], str]] = {
    "an action": (set_key("/A", action()), "has /A, as no sheet has"),
    "further actions": (
        set_key("/AA", generic.DictionaryObject({name("/E"): action()})),
        "is a /JavaScript, as no sheet has",
    ),
    "a look of its own": (
        set_key("/MK", generic.DictionaryObject({name("/CA"): generic.TextStringObject("ok")})),
        "the field FacilitySignature has other entries than in a sheet",
    ),
    "hidden": (
        set_key("/F", generic.NumberObject(134)),
        "the field FacilitySignature has other entries than in a sheet",
    ),
    "a label": (
        set_key("/TU", generic.TextStringObject("Signature of the manufacturer")),
        "the field FacilitySignature has another label",
    ),
    "a default look": (
        set_key("/DA", generic.TextStringObject("/Helv 0 Tf")),
        "the field FacilitySignature has other entries than in a sheet",
    ),
    "a layer": (set_key("/OC", generic.DictionaryObject()), "has /OC, as no sheet has"),
}


@pytest.mark.parametrize("case", FIELDS)
def test_fields_have_a_fixed_set_of_keys(case: str) -> None:
    change, words = FIELDS[case]
    refused(with_fields(change), words)


def test_another_look_when_pressed() -> None:
    def pressed(field: Any) -> None:
        if str(field["/T"]) == "Countersignature":
            field["/AP"][name("/D")] = field["/AP"].raw_get("/N")

    refused(with_fields(pressed), "the field Countersignature has other appearances than one")


def test_a_signature_dictionary_has_a_fixed_set_of_keys() -> None:
    honest = SignatureObject.__init__

    def named(self: Any, *arguments: Any, **more: Any) -> None:
        honest(self, *arguments, **more)
        self[name("/Name")] = generic.TextStringObject("The Laboratory")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SignatureObject, "__init__", named)
        data = sheet()
    refused(data, "the signature FacilitySignature has other entries than in a sheet")


# ---------------------------------------------------------------- hidden bytes


def hidden(more: bytes, number: int | None = None) -> bytes:
    """A sheet with bytes before its cross-reference table, which may list them as an object."""
    pdf = drawn().pdf
    table = pdf.rindex(b"\nxref\n") + 1
    tail = re.sub(rb"startxref\n\d+", b"startxref\n%d" % (table + len(more)), pdf[table:])
    if number is not None:
        tail = tail.replace(b"trailer", b"%d 1\n%010d 00000 n \ntrailer" % (number, table))
        tail = re.sub(rb"/Size \d+", b"/Size %d" % (number + 1), tail)
    with pytest.MonkeyPatch.context() as patch:
        changed = replace(drawn(), pdf=pdf[:table] + more + tail)
        patch.setattr(compliance.sheet.make_sheet, "archival_sheet", lambda *_, **__: changed)
        return sheet()


def test_bytes_between_objects() -> None:
    refused(hidden(b"% compliant, says the maker\n"), "there are bytes between its objects")


def test_an_object_that_nothing_uses() -> None:
    data = hidden(b"2000 0 obj\n(another verdict)\nendobj\n", number=2000)
    refused(data, "object 2000 is used by nothing")


def test_more_than_the_content_of_a_stream() -> None:
    """Bytes after the end of what is deflated, in an object that the page does use."""
    pdf = drawn().pdf
    with pikepdf.open(BytesIO(pdf)) as document:
        stream = document.pages[0].obj.Contents
        packed = stream.read_raw_bytes()
        stream.write(packed + b"another verdict", filter=Name.FlateDecode)
        out = BytesIO()
        document.save(out, fix_metadata_version=False, force_version="1.7",
                      stream_decode_level=pikepdf.StreamDecodeLevel.none)  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        changed = replace(drawn(), pdf=out.getvalue())
        patch.setattr(compliance.sheet.make_sheet, "archival_sheet", lambda *_, **__: changed)
        data = sheet()
    refused(data, "is damaged, or has more than its content")
