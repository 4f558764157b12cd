"""The facility fills its signature with certificates, so that finding a way up takes for ever.

| attack | line that refuses it |
|---|---|
| twelve certificates of one authority, each of which may have issued the others | more than 6 |
"""

from __future__ import annotations

from dataclasses import replace

from adversary.forging import Desk, drawn, failing, refused, sealed, words
from helpers.authorities import Holder, issued, middle, root

MANY = 12
"""Certificates of one name and key: the library would try 12! ways through them."""


def test_control_of_an_authority(desk: Desk) -> None:
    (desk.folder / "root.pem").write_bytes(root().pem)
    signer = issued("Ada Quill", middle()).identity
    found = desk.verify(sealed(drawn(failing()), who=signer), "--trust", "root.pem")
    assert found.returncode == 0
    assert "issued under Kelp Authority" in words(found)


def test_authorities_that_issued_each_other(desk: Desk) -> None:
    (desk.folder / "root.pem").write_bytes(root().pem)
    first = issued("Mesh", ca=True)
    mesh = [first, *(issued("Mesh", first, ca=True, key=first.key) for _ in range(MANY - 1))]
    signer: Holder = issued("Ada Quill", first)
    above = tuple(each.certificate for each in mesh)
    forged = sealed(drawn(failing()), who=replace(signer, above=above).identity)
    found = desk.verify(forged, "--trust", "root.pem")
    refused(found, "more than 6 certificates could be above one with it")
