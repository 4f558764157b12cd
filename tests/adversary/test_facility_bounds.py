"""The facility fills its signature or document, so that a verification takes for ever.

| attack | line that refuses it |
|---|---|
| twelve certificates of one authority, each of which may have issued the others | more than 6 |
| thousands of type faces that are not here, or of letters | expected at most |
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from adversary.forging import Desk, drawn, evidence, failing, mended, refused, sealed, words
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


FACE: Mapping[str, Any] = {
    "name": "DejaVuSans",
    "version": "",
    "sha256": "0" * 64,
    "index": 0,
    "units": 1000,
    "shaper": "",
    "glyphs": {},
}
LETTERED: Mapping[str, tuple[list[Mapping[str, Any]], str]] = {
    "faces": ([FACE] * 5000, "faces: there are 5000; expected at most 40"),
    "clusters": (
        [{**FACE, "glyphs": {f"letter {number}": [] for number in range(10_001)}}],
        "faces: draw 10001 clusters; expected at most 10000",
    ),
}


@pytest.mark.parametrize("what", LETTERED)
def test_more_letters_than_a_sheet_has(desk: Desk, what: str) -> None:
    """Each face is looked for in the system's file of that name, and each cluster is shaped."""
    faces, line = LETTERED[what]
    files = mended(evidence(failing()), lambda document: document.update(faces=faces))
    refused(desk.verify(sealed(drawn(failing(), files))), line)
