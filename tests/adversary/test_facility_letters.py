"""The facility has its own text cover what else the page says.

| attack | line that refuses it |
|---|---|
| forty marks on a letter of the client's name, over the text above | would cover other text |
| forty signs below a letter, over the text below | would cover other text |
"""

from __future__ import annotations

from unittest.mock import patch

import pytest
from adversary.forging import Desk, assessed, refused
from helpers.seven_scripts import THAI, require_faces
from helpers.signing import SIGNED, identity

from compliance.assessment import assess
from compliance.lettering.choose import lettering
from compliance.lettering.texts import texts_of
from compliance.sheet.make_sheet import write_sheet


def named(client: str) -> bytes:
    """The failing slot's sheet for a client of that name, by a program that draws anything."""
    require_faces()
    measurement = assessed(client={"name": client}).state.measurement
    with patch("compliance.lettering.shape.FURTHEST", 100):
        letters = lettering(texts_of(measurement))
        slot = assess(measurement, now=SIGNED, faces=letters.faces)
        return write_sheet(slot, identity=identity(), program=letters.program)


def test_control_of_a_name(desk: Desk) -> None:
    assert desk.verify(named(THAI)).returncode == 0


@pytest.mark.parametrize("mark", ["\u0e49", "\u0e38"])
def test_marks_that_cover_other_text(desk: Desk, mark: str) -> None:
    refused(desk.verify(named(("\u0e01" + 40 * mark) * 7)), "where it would cover other text")
