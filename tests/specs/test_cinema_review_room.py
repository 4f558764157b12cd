"""The cinema rule in X'Y'Z'; its steps one by one are in test_cinema_steps.py.

Steps: DCI CTP 1.4, Table 7.5.11 (tables/sdr-cinema.csv).
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers import simulated
from helpers.shipped import edges, finding, graded, ideal, other_primaries, outside, shipped_rule
from numpy.typing import NDArray

from compliance.colour.spaces import PRIMARIES
from compliance.model import Assessment, Level, Outcome, Reason

Array = NDArray[np.float64]


TABLES = Path(__file__).parent.parent / "tables"


def _cinema_table() -> list[int]:
    """Y' of the two printed tables."""
    text = (TABLES / "sdr-cinema.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [int(row["code"]) for row in csv.DictReader(lines)]


CINEMA_STEPS = _cinema_table()


def _cinema(fault: simulated.Fault | None = None, black: float = 0.02) -> Assessment:
    rule = shipped_rule("cinema-review-room")
    return graded(rule, ideal(rule, fault=fault, black=black))


def test_the_cinema_steps_have_both_printed_tables() -> None:
    rule = shipped_rule("cinema-review-room")
    listed = [codes[1] for name in ("steps", "dark-steps") for _, codes in rule.sets[name].patches]
    assert sorted(listed) == sorted(CINEMA_STEPS)
    assert len(listed) == 20


def test_cinema_white_is_48_at_its_code() -> None:
    assessment = _cinema()
    white = finding(assessment, "white-level")
    assert white.points[0].patch == (3794, 3960, 3890)
    assert white.value == pytest.approx(48.0, abs=0.005)


@pytest.mark.parametrize("black", [0.0, 0.011, 0.031])
def test_the_cinema_black_is_added(black: float) -> None:
    """Steps are graded with the black subtracted: a black within its limit changes none."""
    assert not {"steps", "steps-darkest"} & outside(_cinema(black=black), None)


def test_nobody_fails_for_being_dark() -> None:
    assessment = _cinema(black=0.002)
    assert assessment.verdict is Outcome.COMPLIANT
    assert "black-level-low" in outside(assessment, None)


def test_xyz_of_equal_codes_is_not_the_cinema_white() -> None:
    """4095 4095 4095 is 52.37 cd/m² at .3333 .3333: it is not taken for the white."""
    rule = shipped_rule("cinema-review-room")
    shown = [one for one in ideal(rule) if one.codes != (3794, 3960, 3890)]
    equal = replace(shown[0], codes=(4095, 4095, 4095), xyz=np.full(3, 52.37))
    equal = replace(equal, patch=replace(equal.patch, position="centre", seconds=0.0))
    assessment = graded(rule, [*shown, equal])
    assert finding(assessment, "white-level").reason is Reason.MISSING_READINGS
    assert assessment.verdict is Outcome.UNDECIDED


@pytest.mark.parametrize(
    ("share", "shall", "should"),
    [
        (0.79, {"edges", "uniformity-projector"}, set()),
        (0.85, set(), set()),
        (0.93, set(), {"edges-high"}),
    ],
)
def test_projected_edges(share: float, shall: set[str], should: set[str]) -> None:
    """ST 431-1: 80 to 90 % of the centre; DCI CTP 1.4, 7.5.15 b: non-uniformity of 20 % at most."""
    assessment = _cinema(edges(share))
    assert outside(assessment) == shall
    assert outside(assessment, Level.SHOULD) == should


def test_direct_view_has_its_own_uniformity() -> None:
    """93 % at the edges is even for a projector, and 7 % off for a panel."""
    rule = shipped_rule("cinema-review-room")
    assessment = graded(rule, ideal(rule, fault=edges(0.93)), technology="led")
    assert outside(assessment) == {"uniformity-direct-view"}
    reasons = {one.id: one.reason for one in assessment.state.findings}
    assert reasons["edges-high"] is Reason.NOT_APPLICABLE
    assert reasons["checkerboard-black"] is Reason.NOT_APPLICABLE


def test_another_primary_fails_the_cinema_colours() -> None:
    rule = shipped_rule("cinema-review-room")
    assessment = _cinema(other_primaries(PRIMARIES["bt709"], rule))
    assert "colours" in outside(assessment)
