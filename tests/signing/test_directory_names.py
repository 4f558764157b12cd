"""Names in certificates that are written in both directions, and others."""

from __future__ import annotations

import pytest
from asn1crypto.x509 import Name
from helpers.signing import BOX, COUNTER_BOX, MADE, PASSWORD, SIGNED, archived, identity

from compliance.sheet.make_sheet import draw_stamp
from compliance.signing.keys import load_identity, new_identity
from compliance.signing.read import read_signatures
from compliance.signing.sign import sign

BOTH = ("סרטי 4K", "استوديو ٤", "Studio الملح", "الرقم SY-0412")


def named(text: str) -> Name:
    return Name.build({"organization_name": text})


@pytest.mark.parametrize("text", BOTH)
def test_names_in_both_directions_are_compared(text: str) -> None:
    assert named(text) == named(text.upper())
    assert named(text) != named(f"{text} 2")
    assert named(text).hashable != named(text[:-1]).hashable


def test_other_names_are_compared_as_before() -> None:
    assert named("Low  House") == named("low house")
    assert named("בית") == named(" בית")
    with pytest.raises(ValueError, match="private use"):
        assert named("סרטי 4K\ue000") == named("סרטי 4K\ue000")


def test_a_signer_whose_name_is_in_both_directions() -> None:
    data = new_identity(BOTH[0], BOTH[1], "a@example.org", PASSWORD, MADE)
    pdf = sign(
        archived(),
        load_identity(data, PASSWORD),
        when=SIGNED,
        box=BOX,
        counter_box=COUNTER_BOX,
        appearance=draw_stamp(identity().signer, SIGNED, width=200, height=60),
        reason="Assessment X",
        location=BOTH[2],
    )
    (found,) = read_signatures(pdf).signatures
    assert found.faults == ()
