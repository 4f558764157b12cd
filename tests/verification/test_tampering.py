"""What can be done to a sheet, each with the words in which it is refused."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from helpers import byte_flips
from helpers.authorities import Within, issued
from helpers.evidence_of_a_slot import (
    assessment,
    evidence,
    mended,
    sealed,
    with_assessment,
    with_reading,
)
from helpers.signing import SIGNED, byte_ranges, container, countersigned, identity
from helpers.tampering import (
    new_annotation,
    new_attachment,
    new_packet,
    new_text,
    new_title,
    nothing_but_written,
    updated,
)
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields

import compliance.signing.sign
from compliance.model.results import Verification
from compliance.report.verification import step_details, step_text
from compliance.sheet.make_sheet import write_sheet
from compliance.verification import verify_sheet

TRUST, CLIENTS = [identity().pem], [identity("Cleo Client").pem]


@cache
def sheet() -> bytes:
    return write_sheet(assessment(), identity=identity())


@cache
def twice() -> bytes:
    return countersigned(sheet())


@cache
def stamped() -> bytes:
    return write_sheet(assessment(), identity=identity(), stamper=Within())


def everything(found: Verification) -> str:
    return "\n".join(
        f"{step.number} {step.status} {line}"
        for step in found.steps
        for line in (step_text(step), *step_details(step))
    )


# ---------------------------------------------------------------- the container


def hole(data: bytes) -> tuple[int, int]:
    """Where the digits of the first signature begin, and where its filling ends."""
    _, before, after, _ = byte_ranges(data)[0]
    return before + 1, after - 1


def filling() -> bytes:
    _, end = hole(sheet())
    return sheet()[: end - 1] + b"1" + sheet()[end:]


def capitals() -> bytes:
    start, end = hole(sheet())
    digits = sheet()[start:end]
    first = next(at for at, digit in enumerate(digits) if chr(digit).isalpha())
    return byte_flips._with(sheet(), start + first, digits[first] ^ 0x20)


def another_certificate() -> bytes:
    """In the container the signer's certificate replaced by another of the same name and size."""
    start, _ = hole(sheet())
    other = identity.__wrapped__()
    mine = identity().signer.certificate
    content = container(sheet())
    assert content.count(mine) == 1
    at = content.index(mine)
    changed = content[:at] + other.signer.certificate[: len(mine)].ljust(len(mine), b"\0")
    changed += content[at + len(mine) :]
    return sheet()[:start] + changed.hex().encode() + sheet()[start + 2 * len(changed) :]


def broken_stamp() -> bytes:
    """The last byte of the container changed: it is of the time stamp's own signature."""
    start, _ = hole(stamped())
    last = start + 2 * len(container(stamped())) - 1
    return byte_flips._with(stamped(), last, ord("1" if stamped()[last] == ord("0") else "0"))


# ---------------------------------------------------------------- the file


def certification_gone() -> bytes:
    """Only the second signature is left: the first field emptied, the file written anew."""
    with pikepdf.open(BytesIO(twice())) as pdf:
        for field in pdf.Root.AcroForm.Fields:
            if str(field.T) == "FacilitySignature":
                del field.V
        del pdf.Root.Perms
        out = BytesIO()
        pdf.save(out)
    return out.getvalue()


def countersigned_alone() -> bytes:
    """Never signed by the facility: the countersignature is the first."""
    unsigned = write_sheet(assessment())
    writer = IncrementalPdfFileWriter(BytesIO(unsigned))
    for name in ("FacilitySignature", "Countersignature"):
        fields.append_signature_field(writer, fields.SigFieldSpec(name, box=(10, 10, 200, 60)))
    out = BytesIO()
    writer.write(out)
    return countersigned(out.getvalue())


def within_the_countersignature(change: Callable[[Any], None]) -> bytes:
    """Written in one go with the second signature, which covers it."""

    class Writer(IncrementalPdfFileWriter):
        def _update_meta(self) -> None:
            return

        def __init__(self, *arguments: Any) -> None:
            super().__init__(*arguments)
            change(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.signing.sign, "KeepingWriter", Writer)
        return countersigned(sheet())


def script(writer: Any) -> None:
    writer.root["/OpenAction"] = generic.DictionaryObject(
        {
            generic.NameObject("/S"): generic.NameObject("/JavaScript"),
            generic.NameObject("/JS"): generic.TextStringObject("app.beep()"),
        }
    )
    writer.update_root()


def store(writer: Any) -> None:
    """What archives use for certificates of later (ISO 32000-2, 12.8.4.3)."""
    writer.root["/DSS"] = writer.add_object(generic.DictionaryObject())
    writer.update_root()


def third_field(writer: Any) -> None:
    fields.append_signature_field(writer, fields.SigFieldSpec("Third", box=(10, 10, 60, 60)))


# ---------------------------------------------------------------- the evidence


def of_another_sheet() -> bytes:
    """A true assessment, of other readings."""
    other = mended(with_reading())
    files = {**evidence(), "assessment.json": other["assessment.json"]}
    return sealed(files)


def swapped() -> bytes:
    files = dict(evidence())
    files["readings.csv"], files["before.csv"] = files["before.csv"], files["readings.csv"]
    return sealed(files)


def with_anothers_number() -> bytes:
    def numbered(stated: dict[str, Any]) -> None:
        stated["number"] = "QX-1-1-sdr-broadcast-0123abcd"

    return sealed(with_assessment(numbered))


def anothers() -> bytes:
    """Signed by somebody of the same name."""
    return sealed(evidence(), identity.__wrapped__())


def issued_by_a_stranger() -> bytes:
    return sealed(evidence(), issued("Ada Quill", issued("Other", ca=True)).identity)


ADDED = "data was added after it"
REWRITTEN = "it was changed without being signed"

TABLE: dict[str, tuple[Callable[[], bytes], str]] = {
    "a byte more": (lambda: sheet() + b"\n", ADDED),
    "filling": (filling, "other data follows the signature"),
    "letter case": (capitals, "the gap between the signed bytes contains more"),
    "another certificate": (another_certificate, "1 fail"),
    "a broken stamp": (broken_stamp, "its time stamp was not made with the key of its"),
    "title by an update": (lambda: updated(sheet(), new_title), REWRITTEN),
    "title, twice signed": (lambda: updated(twice(), new_title), "title was changed since it was"),
    "metadata by an update": (lambda: updated(sheet(), new_packet), REWRITTEN),
    "nothing but written": (lambda: updated(sheet(), nothing_but_written), ADDED),
    "text by an update": (
        lambda: updated(sheet(), new_text),
        "in a way that the signature forbids",
    ),
    "a note": (lambda: updated(sheet(), new_annotation), "the signature forbids"),
    "an attachment": (lambda: updated(sheet(), new_attachment), "the signature forbids"),
    "title, then countersigned": (
        lambda: countersigned(updated(sheet(), new_title)),
        "has 4 revisions for 2 signature(s)",
    ),
    "title with the countersignature": (
        lambda: within_the_countersignature(new_title),
        "the file's title was changed since it was certified",
    ),
    "metadata with the countersignature": (
        lambda: within_the_countersignature(new_packet),
        "the file's metadata were changed since it was certified",
    ),
    "text with the countersignature": (
        lambda: within_the_countersignature(new_text),
        "in a way that the signature forbids",
    ),
    "a note with the countersignature": (
        lambda: within_the_countersignature(new_annotation),
        "in a way that the signature forbids",
    ),
    "a script with the countersignature": (
        lambda: within_the_countersignature(script),
        "/OpenAction was added to the file's catalog since it was certified",
    ),
    "a store with the countersignature": (
        lambda: within_the_countersignature(store),
        "/DSS was added to the file's catalog since it was certified",
    ),
    "a field with the countersignature": (
        lambda: within_the_countersignature(third_field),
        "signature fields Countersignature, FacilitySignature, Third; expected",
    ),
    "the certification stripped": (certification_gone, "the facility's own signature is missing"),
    "never certified": (
        countersigned_alone,
        "the first signature is in the field Countersignature",
    ),
    "half of it": (lambda: sheet()[: len(sheet()) // 2], "cannot be read as a signed PDF"),
    "another sheet's assessment": (of_another_sheet, "readings.csv: the readings were changed"),
    "attachments swapped": (swapped, "before.csv: the readings before calibration were changed"),
    "another's number": (with_anothers_number, "its number is QX-1-1-sdr-broadcast-0123abcd, but"),
    "another of that name": (anothers, "not among the trusted certificates"),
    "by a strange authority": (issued_by_a_stranger, "not among the trusted certificates"),
}


EVIDENCE = {words for make, words in TABLE.values() if make in (of_another_sheet, swapped)}


@pytest.mark.parametrize("name", TABLE)
def test_it_is_refused_in_so_many_words(name: str) -> None:
    make, words = TABLE[name]
    data = make()
    with pytest.MonkeyPatch.context() as patch:
        if words not in EVIDENCE:
            # Computing and drawing again would take most of the time.
            patch.setattr("compliance.verification._again", lambda *_: ValueError("left out"))
        found = verify_sheet(data, trust=TRUST, client_trust=CLIENTS)
    assert found.exit_code == 1, everything(found)
    assert words in everything(found)


@pytest.mark.parametrize("make", [sheet, twice, stamped])
def test_what_was_tampered_with_was_sound_before(make: Callable[[], bytes]) -> None:
    found = verify_sheet(make(), trust=TRUST, client_trust=CLIENTS)
    assert found.exit_code == 0, everything(found)


def test_a_stripped_countersignature_leaves_what_was_there_before() -> None:
    """Nothing in the file can tell: how many signatures there were has to stand elsewhere."""
    assert twice()[: len(sheet())] == sheet()
    assert [each.role for each in verify_sheet(twice()).signatures] == ["facility", "client"]
    assert verify_sheet(sheet()).signatures[0].claimed == SIGNED


@pytest.mark.parametrize("name", byte_flips.FILES)
def test_no_byte_can_be_changed(name: str) -> None:
    """Over a fixed sample; with LONG_TESTS=1 over 2,000 places, as `flipped.py` by hand."""
    long = os.environ.get("LONG_TESTS") == "1"
    assert byte_flips.let_pass(name, 2000 if long else 40, 3) == []
