"""The HDR rule: absolute, and P3 inside BT.2020."""

from __future__ import annotations

import numpy as np
import pytest
from helpers import simulated
from helpers.shipped import graded, ideal, other_primaries, outside, shipped_rule
from numpy.typing import NDArray

from compliance.colour.pq import pq
from compliance.colour.spaces import PRIMARIES
from compliance.grading.patches import PlannedPatch
from compliance.model import Outcome, Rule

Array = NDArray[np.float64]


def _hdr() -> Rule:
    return shipped_rule("hdr-pq-1000")


def test_a_peak_of_600_is_not_1000() -> None:
    rule = _hdr()
    assessment = graded(rule, ideal(rule, fault=simulated.clipped(600.0)))
    assert outside(assessment) == {"peak-level", "tracking", "grey", "colours-bright"}


def test_a_black_of_0_03_is_no_hdr_black() -> None:
    rule = _hdr()
    assessment = graded(rule, ideal(rule, black=0.03))
    assert "black-level" in outside(assessment)


def test_bt709_is_not_p3() -> None:
    rule = _hdr()
    assessment = graded(rule, ideal(rule, fault=other_primaries(PRIMARIES["bt709"], rule)))
    colours = {"colours", "colours-bright", "memory-colours"}
    assert outside(assessment) == {"primaries", "coverage"} | colours


def test_hdr_is_absolute() -> None:
    """9 % bright throughout is an error in PQ, though its white and greys agree."""
    rule = _hdr()
    assessment = graded(rule, ideal(rule, fault=simulated.scaled(1.09)))
    assert outside(assessment) == {"tracking", "grey", "memory-colours"}


def test_a_sagging_peak_misses_a_should_only() -> None:
    rule = _hdr()

    def sag(patch: PlannedPatch, xyz: Array) -> Array:
        return xyz * 0.89 if patch.seconds == 60 else xyz

    assessment = graded(rule, ideal(rule, fault=sag))
    assert assessment.verdict is Outcome.COMPLIANT
    assert outside(assessment, None) == {"peak-sustained"}


@pytest.mark.parametrize("rule_id", ["hdr-pq-1000", "hdr-pq-bt2020"])
def test_the_clause_says_why_the_bands_meet_where_they_do(rule_id: str) -> None:
    """SMPTE ST 2084: the grey at 15 % is code 153, and a code above it is 1.012 cd/m²."""
    (tracking,) = (one for one in shipped_rule(rule_id).requirements if one.id == "tracking")
    end = tracking.bands[0].upto
    grey, above = (float(pq(code / 1023)) for code in (153, 154))
    assert grey == pytest.approx(0.99, abs=0.005)
    assert end is not None
    assert above < end
    assert tracking.clause == (
        "no document; the bands meet more than a code above the grey at 0.99 cd/m²"
    )
