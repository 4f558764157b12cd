"""The facility acts for its client, or packs a delivery that says more than its sheets.

| attack | line that refuses it |
|---|---|
| accepts with its own key or organisation | accepts peak-level ..., a facility cannot accept |
| accepts under the client's name, by its own authority too | signed with another key |
| a deviation after its time, before it was given | was accepted until; after the sheet was signed |
| a deviation of another slot or of a better value | is for slot 5; do not follow |
| a deviation of a requirement by another name | do not follow |
| a delivery without the failing sheet, or names swapped | stated but not found |
| a delivery with a number twice | 2 sheets have the number |
| sheets under each other's names | its name belongs to |
| a delivery with another index, table or list | does not agree with the sheets |
| another index, said to be another program's | not compared with the sheets (exit 3) |
| a delivery with files of no sheet | belongs to no sheet; does not belong to a delivery |
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

import pytest
from adversary.forging import (
    HOUR,
    Desk,
    Files,
    accepted,
    assessed,
    delivery,
    failing,
    failing_sheet,
    other_sheet,
    person,
    refused,
    sheet_with,
    words,
)
from helpers.authorities import issued, middle, root
from helpers.deliveries import as_folder, resealed
from helpers.signing import SIGNED, identity

from compliance.delivery.build import build_delivery, sign_delivery
from compliance.delivery.contents import packed_sheet
from compliance.verification import verify_sheet


def test_control_of_a_deviation(desk: Desk) -> None:
    found = desk.verify(sheet_with(accepted(identity("Cleo Client"))))
    assert found.returncode == 0
    assert "peak-level, accepted by Cleo Client" in words(found)


# ---------------------------------------------------------------- for the client


def test_accepts_with_its_own_key(desk: Desk) -> None:
    refused(
        desk.verify(sheet_with(accepted(identity()))),
        "accepts peak-level with the key that signs the sheet; a facility cannot accept",
    )


@pytest.mark.parametrize("name", ["Low House", "LOW  house"])
def test_accepts_with_another_of_its_organisation(desk: Desk, name: str) -> None:
    colleague = person("Second Person", name)
    refused(desk.verify(sheet_with(accepted(colleague))), "deviation-1.json: accepts peak-level")


def test_accepts_by_its_authority(desk: Desk) -> None:
    """A certificate of the client's name, of the authority that is trusted for the facility."""
    (desk.folder / "root.pem").write_bytes(root().pem)
    forged = sheet_with(accepted(issued("Cleo Client", middle()).identity))
    line = "signed with another key under the same name"
    refused(desk.verify(forged, "--trust", "root.pem"), line)


def test_accepts_under_the_clients_name(desk: Desk) -> None:
    forged = sheet_with(accepted(person("Cleo Client", "Tidal Pictures")))
    refused(desk.verify(forged), "signed with another key under the same name")


def test_a_deviation_after_its_time(desk: Desk) -> None:
    over = accepted(identity("Cleo Client"), until=date(2026, 11, 20))
    refused(
        desk.verify(sheet_with(over, now=SIGNED + 30 * HOUR)),
        "peak-level was accepted until 2026-11-20, but the sheet was signed on 2026-11-21",
    )


def test_a_deviation_before_it_was_given(desk: Desk) -> None:
    later = accepted(identity("Cleo Client"), accepted=SIGNED + 9 * HOUR)
    refused(desk.verify(sheet_with(later)), "after the sheet was signed, 2026-11-20 18:00 UTC")


def test_a_deviation_of_another_slot(desk: Desk) -> None:
    other = accepted(identity("Cleo Client"), assessed(slot="5"))
    refused(desk.verify(sheet_with(other)), "deviation-1.json: is for slot 5, not for 3")


def test_a_deviation_of_a_better_value(desk: Desk) -> None:
    better = accepted(identity("Cleo Client"), assessed(930.0))
    line = "stated deviations do not follow from the attached ones"
    refused(desk.verify(sheet_with(better)), line)


def test_a_deviation_of_a_requirement_by_another_name(desk: Desk) -> None:
    """The facility gives its client a document without a signature to accept from."""
    slot = failing()
    findings = tuple(
        replace(each, title="Light of the room", unit="lx") if each.id == "peak-level" else each
        for each in slot.state.findings
    )
    renamed = replace(slot, state=replace(slot.state, findings=findings))
    forged = sheet_with(accepted(identity("Cleo Client"), renamed))
    refused(desk.verify(forged), "stated deviations do not follow from the attached ones")


# ---------------------------------------------------------------- deliveries


def replaced(name: str, pattern: bytes, text: bytes) -> Callable[[], Files]:
    def change() -> Files:
        files = delivery()
        changed = re.sub(pattern, text, files[name])
        assert changed != files[name]
        return {**files, name: changed}

    return change


def by_another_program() -> Files:
    files = replaced("index.html", rb"(?i)not compliant", b"compliant")()
    info = re.sub(
        rb"(?m)^Bag-Software-Agent: .*$", b"Bag-Software-Agent: zip", files["bag-info.txt"]
    )
    return {**files, "bag-info.txt": info}


DELIVERIES: Mapping[str, tuple[Callable[[], Files], str]] = {
    "a sheet left out": (
        lambda: {name: data for name, data in delivery().items() if "three" not in name},
        "stated but not found: data/sheets/three.pdf",
    ),
    "a number twice": (
        lambda: {**delivery(), "data/sheets/again.pdf": other_sheet()},
        "2 sheets have the number",
    ),
    "another index": (
        replaced("index.html", rb"(?i)not compliant", b"compliant"),
        "index.html: does not agree with the sheets",
    ),
    "another table": (
        replaced("delivery.csv", rb"not-compliant", b"compliant"),
        "delivery.csv: does not agree with the sheets",
    ),
    "another list": (
        replaced("delivery.json", rb"not-compliant", b"compliant"),
        "delivery.json: does not agree with the sheets",
    ),
    "another bag-info": (
        replaced("bag-info.txt", rb"not compliant", b"compliant"),
        "found but not stated: data/sheets/three.pdf",
    ),
    "a page of its own": (
        lambda: {**delivery(), "data/verdict.html": b"<h1>compliant</h1>"},
        "data/verdict.html: belongs to no sheet",
    ),
    "a page beside it": (
        lambda: {**delivery(), "verdict.html": b"<h1>compliant</h1>"},
        "verdict.html: does not belong to a delivery",
    ),
    "other readings": (
        replaced(
            "data/evidence/three/readings.csv", rb"(?m)^769,769,769,.*$", b"769,769,769,1,2,3"
        ),
        "data/evidence/three/readings.csv: is not the file attached to the sheet",
    ),
}


def test_control_of_a_delivery(desk: Desk) -> None:
    whole = sign_delivery(resealed(delivery()), identity(), SIGNED)
    assert desk.verify(as_folder(whole, desk.folder / "delivery")).returncode == 0


def packed_as(first: str, second: str) -> Files:
    """A delivery of the failing and the passing slot's sheets under these names."""
    sheets = ((first, failing_sheet()), (second, other_sheet()))
    trust = (identity().pem,)
    packed = [packed_sheet(name, data, verify_sheet(data, trust=trust)) for name, data in sheets]
    return dict(sign_delivery(build_delivery(packed), identity(), SIGNED))


def test_sheets_under_each_others_names(desk: Desk) -> None:
    names = "QX-9-3-hdr-pq-1000", "QX-9-4-hdr-pq-1000"
    found = desk.verify(as_folder(packed_as(*reversed(names)), desk.folder / "swapped"))
    refused(found, f"but its name belongs to {names[0]}")
    assert desk.verify(as_folder(packed_as(*names), desk.folder / "control")).returncode == 0


@pytest.mark.parametrize("what", DELIVERIES)
def test_a_signed_delivery_that_says_more(desk: Desk, what: str) -> None:
    make, line = DELIVERIES[what]
    forged = sign_delivery(resealed(make()), identity(), SIGNED)
    found = desk.verify(as_folder(forged, desk.folder / "delivery"))
    refused(found, line)


def test_another_index_that_another_program_is_said_to_have_written(desk: Desk) -> None:
    forged = sign_delivery(resealed(by_another_program()), identity(), SIGNED)
    found = desk.verify(as_folder(forged, desk.folder / "delivery"))
    refused(found, "index.html: not compared with the sheets: written by zip", 3)
    assert "Valid" not in words(found)
