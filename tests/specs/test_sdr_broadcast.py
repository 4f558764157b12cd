"""The broadcast rule: which displays it must refuse, and which numbers it must not mistake.

A broadcast master is graded to gamma 2.4 at 100 cd/m² and D65: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.shipped import black, finding, graded, ideal, outside, shipped_rule, tinted
from numpy.typing import NDArray

from compliance.colour.spaces import PRIMARIES
from compliance.grading.patches import PlannedPatch
from compliance.model import Outcome, Rule, Verdict

Array = NDArray[np.float64]


def _sdr() -> Rule:
    return shipped_rule("sdr-broadcast")


def test_gamma_2_2_is_no_broadcast_display() -> None:
    rule = _sdr()
    assessment = graded(rule, ideal(rule, wrong_target=replace(rule.target, exponent=2.2)))
    levels = {"gamma", "tracking", "tracking-mean", "tracking-dark"}
    assert levels <= outside(assessment)
    assert finding(assessment, "gamma").value == pytest.approx(2.2, abs=0.005)
    assert outside(assessment) <= levels | {"colours", "memory-colours"}


def test_p3_is_not_bt709() -> None:
    rule = _sdr()
    wide = replace(rule.target, primaries=PRIMARIES["p3"], container=PRIMARIES["p3"])
    assessment = graded(rule, ideal(rule, wrong_target=wide))
    assert outside(assessment) == {"primaries", "colours", "memory-colours"}
    assert assessment.verdict is Outcome.NOT_COMPLIANT


def test_120_is_not_100() -> None:
    rule = _sdr()
    assessment = graded(rule, ideal(rule, white=120.0))
    assert outside(assessment) == {"white-level"}
    assert finding(assessment, "white-level").value == pytest.approx(120.0)


def test_the_ends_of_white_are_within() -> None:
    rule = _sdr()
    for white, ok in ((95.0, True), (105.0, True), (94.99, False), (105.01, False)):
        assessment = graded(rule, ideal(rule, white=white))
        assert (outside(assessment) == set()) is ok, white


@pytest.mark.parametrize("black", [0.0, 0.0005, 0.05, 0.09])
def test_the_black_is_lifted_in_the_target(black: float) -> None:
    """BT.1886's own black must not be held against the display."""
    rule = _sdr()
    assessment = graded(rule, ideal(rule, black=black))
    assert outside(assessment) == set()
    assert finding(assessment, "gamma").value == pytest.approx(2.4, abs=0.003)
    value = finding(assessment, "tracking").value
    assert isinstance(value, float)
    assert abs(value) < 1e-6


def test_an_added_black_is_not_a_lifted_one() -> None:
    """A pure 2.4 power on a black of .1 is 15 % bright at 1 cd/m² as BT.1886 goes."""
    rule = _sdr()
    added = replace(rule.target, curve="power", exponent=2.4, black="add")
    assessment = graded(rule, ideal(rule, wrong_target=added, black=0.1))
    dark = [point for point in finding(assessment, "tracking").points if (point.target or 0) < 3]
    assert dark
    assert all(isinstance(point.value, float) and point.value < -5 for point in dark)


def test_signed_errors_do_not_cancel() -> None:
    """Half the greys 6 % bright and half 6 % dark fail as if all were bright."""
    rule = _sdr()
    turn = iter(range(10_000))

    def zigzag(patch: PlannedPatch, xyz: Array) -> Array:
        if not patch.neutral_ramp or xyz[1] in (100.0, black(rule)):
            return xyz
        return xyz * (1.06 if next(turn) % 2 else 0.94)

    assessment = graded(rule, ideal(rule, fault=zigzag))
    assert "tracking" in outside(assessment)


def test_a_grey_is_judged_against_its_own_white() -> None:
    """A display whose white is off, and its greys with it, has a good grey balance."""
    rule = _sdr()
    shown = ideal(rule, fault=tinted((0.3180, 0.3360), rule))
    assessment = graded(rule, shown)
    assert "white-point" in outside(assessment)
    assert finding(assessment, "grey-balance").verdict is Verdict.PASS
    assert finding(assessment, "grey-balance-grade-1").verdict is Verdict.PASS


def test_a_white_of_100_4_is_still_judged() -> None:
    rule = _sdr()
    assessment = graded(rule, ideal(rule, white=100.4))
    codes = {point.patch for point in finding(assessment, "tracking").points}
    assert (940, 940, 940) in codes
    assert assessment.verdict is Outcome.COMPLIANT
