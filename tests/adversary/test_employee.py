"""Another person of the facility, with a key of their own.

| attack | line that refuses it |
|---|---|
| signs a sheet in place of the trusted person | not among the trusted certificates |
| the same under that person's name | signed with another key under the same name |
| countersigns for the client | for the facility's own organisation (exit 3; with --require 1) |
| countersigns under the client's name | signed with another key under the same name |
| countersigns with a certificate of the facility's authority | exit 3 |
| signs a delivery without the failing sheet | not among the trusted certificates |
"""

from __future__ import annotations

import pytest
from adversary.forging import (
    HOUR,
    Desk,
    delivery,
    drawn,
    honest,
    passing,
    person,
    refused,
    sealed,
    words,
)
from helpers.authorities import issued, middle, root
from helpers.deliveries import as_folder, resealed
from helpers.signing import SIGNED, identity

from compliance.delivery.build import sign_delivery
from compliance.sheet.make_sheet import countersign_sheet
from compliance.signing.keys import Identity


def countersigned(who: Identity) -> bytes:
    return countersign_sheet(honest(), identity=who, role="client", when=SIGNED + HOUR)


def test_control(desk: Desk) -> None:
    found = desk.verify(countersigned(identity("Cleo Client")), "--require", "countersigned")
    assert found.returncode == 0
    assert "countersigned: met" in words(found)


def test_signs_a_sheet(desk: Desk) -> None:
    forged = sealed(drawn(passing()), who=person("Second Person", "Low House"))
    refused(desk.verify(forged), "fail signer: Second Person, Low House, x@y.example (self-issued)")


def test_signs_under_the_trusted_name(desk: Desk) -> None:
    forged = sealed(drawn(passing()), who=person("Ada Quill", "Low House"))
    refused(desk.verify(forged), "signed with another key under the same name")


@pytest.mark.parametrize("organisation", ["Low House", "low  HOUSE"])
def test_countersigns_for_the_client(desk: Desk, organisation: str) -> None:
    forged = countersigned(person("Second Person", organisation))
    line = "countersigned for the facility's own organisation, so not for the client"
    refused(desk.verify(forged), line, 3)
    found = desk.verify(forged, "--require", "countersigned")
    assert found.returncode != 0
    assert "countersigned: met" not in words(found)


def test_countersigns_under_the_clients_name(desk: Desk) -> None:
    forged = countersigned(person("Cleo Client", "Tidal Pictures"))
    refused(desk.verify(forged), "signed with another key under the same name")


def test_countersigns_by_the_facilitys_authority(desk: Desk) -> None:
    """A certificate of the client's name, of the authority that the facility is trusted by."""
    (desk.folder / "root.pem").write_bytes(root().pem)
    forged = countersigned(issued("Cleo Client", middle()).identity)
    found = desk.verify(forged, "--trust", "root.pem", "--require", "countersigned")
    assert found.returncode != 0
    assert "countersigned: met" not in words(found)


def test_signs_a_delivery_without_the_failing_sheet(desk: Desk) -> None:
    kept = {name: data for name, data in delivery().items() if "three" not in name}
    forged = sign_delivery(resealed(kept), person("Second Person", "Low House"), SIGNED)
    found = desk.verify(as_folder(forged, desk.folder / "delivery"))
    refused(found, "fail delivery signed: Second Person")
