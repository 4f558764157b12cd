"""Likely causes on the sheet: each with its next step; said to be none where none is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from helpers.pdf_text import Said, everything

from compliance.model import Assessment, Cause, Texts
from compliance.sheet import draw_sheet

Sample = Callable[[str], Assessment]

CAUSES = (
    Cause(
        "curve",
        Texts("The greys fit.", "The display follows gamma 2.21", "Choose BT.1886."),
        share=80.0,
    ),
    Cause(
        "drift", Texts("Five readings tell.", "The light rose by 4 %", "Let it warm up."), rank=2
    ),
)


def test_causes_stand_in_their_order_with_the_next_step(sample: Sample, said: list[Said]) -> None:
    told = sample("failing")
    draw_sheet(replace(told, state=replace(told.state, causes=CAUSES)), signed=True)
    text = everything(said)
    first = text.index("1. The display follows gamma 2.21")
    second = text.index("2. The light rose by 4 %")
    opinion = text.index("Opinions and interpretations (ISO/IEC 17025:2017, 7.8.7)")
    assert (
        text.index("Likely causes") < opinion < first < text.index("Next: Choose BT.1886.") < second
    )
    assert "Next: Let it warm up." in text
    assert "No known cause" not in text


def test_no_known_cause_is_said(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("failing"), signed=True)
    assert "No known cause" in everything(said)


def test_nothing_is_said_where_nothing_is_outside(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("compliant"), signed=True)
    assert "Likely causes" not in everything(said)
    assert "Opinions" not in everything(said)
