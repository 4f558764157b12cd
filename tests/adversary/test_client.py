"""The client's own person, with the client's key: what was signed is to say something else.

| attack | line that refuses it |
|---|---|
| changes pages or attachments after countersigning, or between the signatures | fail file intact |
| countersigns in somebody else's name, time, or for another reason | shows something else |
| stretches a deviation in value, time or requirement | the signature does not match |
| puts a stretched deviation into the sheet | fail file intact |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from adversary.forging import (
    HOUR,
    NOW,
    Desk,
    accepted,
    failing_sheet,
    refused,
    sheet_with,
    words,
)
from helpers.commands import call
from helpers.signing import SIGNED, identity
from helpers.tampering import (
    new_annotation,
    new_attachment,
    new_text,
    new_title,
    updated,
)
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from compliance.sheet.make_sheet import countersign_sheet, draw_stamp
from compliance.signing.sign import COUNTER_FIELD, countersign, field_size, role_reason

CLIENT = identity("Cleo Client")
WHEN = SIGNED + 3 * HOUR


def countersigned(pdf: bytes) -> bytes:
    return countersign_sheet(pdf, identity=CLIENT, role="client", when=WHEN)


@cache
def both() -> bytes:
    """The failing slot's sheet, signed by both."""
    return countersigned(failing_sheet())


def test_control(desk: Desk) -> None:
    found = desk.verify(both(), "--require", "countersigned")
    assert found.returncode == 0
    assert "The sheet states: not compliant." in words(found)


Update = Callable[[IncrementalPdfFileWriter], None]
UPDATES: Mapping[str, Update] = {
    "text": new_text,
    "annotation": new_annotation,
    "attachment": new_attachment,
    "title": new_title,
}


@pytest.mark.parametrize("what", UPDATES)
def test_changes_after_countersigning(desk: Desk, what: str) -> None:
    refused(desk.verify(updated(both(), UPDATES[what])), "fail file intact:")


@pytest.mark.parametrize("what", UPDATES)
def test_changes_between_the_signatures(desk: Desk, what: str) -> None:
    refused(
        desk.verify(countersigned(updated(failing_sheet(), UPDATES[what]))), "fail file intact:"
    )


def in_box(name: str = "", reason: str = role_reason("client")) -> bytes:
    """Countersigned with another name in the box, or for another reason."""
    width, height = field_size(failing_sheet(), COUNTER_FIELD)
    shown = replace(CLIENT.signer, name=name) if name else CLIENT.signer
    stamp = draw_stamp(shown, WHEN, width=width, height=height, role="client")
    return countersign(failing_sheet(), CLIENT, when=WHEN, appearance=stamp, reason=reason)


def test_control_of_the_box(desk: Desk) -> None:
    assert desk.verify(in_box()).returncode == 0


def test_countersigns_in_somebody_elses_name(desk: Desk) -> None:
    line = "the box of Countersignature shows something else than its signature states"
    refused(desk.verify(in_box(name="Odile Farrowmere")), line)


def test_countersigns_for_another_reason(desk: Desk) -> None:
    refused(desk.verify(in_box(reason="Ada Quill confirms: compliant")), "Countersignature")


# ---------------------------------------------------------------- deviations

STRETCHED: Mapping[str, tuple[bytes, bytes]] = {
    "value": (b'"value": 600.0', b'"value": 400.0'),
    "time": (b'"until": "2026-12-10"', b'"until": "2029-12-10"'),
    "requirement": (b'"id": "peak-level"', b'"id": "grey"'),
    "slot": (b'"slot": "3"', b'"slot": "4"'),
}


@cache
def deviation() -> bytes:
    return accepted(CLIENT)


def checked(desk: Desk, data: bytes) -> tuple[int, str]:
    (desk.folder / "peak.json").write_bytes(data)
    options = ("--client-trust", "client.pem", "--now", NOW.isoformat())
    found = call("deviation", "verify", "peak.json", *options, cwd=desk.folder)
    return found.returncode, words(found)


def test_control_of_a_deviation(desk: Desk) -> None:
    code, said = checked(desk, deviation())
    assert code == 0 and "637" not in said


@pytest.mark.parametrize("what", STRETCHED)
def test_stretches_a_deviation(desk: Desk, what: str) -> None:
    forged = deviation().replace(*STRETCHED[what])
    assert forged != deviation()
    code, said = checked(desk, forged)
    assert code == 1
    assert "the signature does not match: the signed data was changed" in said


def test_puts_a_longer_deviation_into_the_sheet(desk: Desk) -> None:
    """It is signed by the same person and holds by itself; the facility's sheet has another."""
    longer = accepted(CLIENT, until=date(2029, 12, 10))

    def exchange(writer: IncrementalPdfFileWriter) -> None:
        names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
        at = next(place for place, name in enumerate(names) if name == "deviation-1.json")
        stream = names[at + 1]["/EF"].raw_get("/F").get_object()
        stream._data, stream._encoded_data = longer, None
        writer.update_container(stream)

    forged = countersigned(updated(sheet_with(deviation()), exchange))
    refused(desk.verify(forged), "fail file intact:")
