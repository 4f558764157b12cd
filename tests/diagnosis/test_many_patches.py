"""Of very many patches faults are fitted to a part, and explain all of them."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.cubes import cube
from helpers.shipped import shipped_rule

from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.inputs import MOST, Inputs, gather, thinned
from compliance.grading.match import MatchedReadings, match_readings
from compliance.model import ENCODINGS, Readings

BENT = 0.93


def readings(rule: str, points: int) -> Readings:
    return cube(shipped_rule(rule), ENCODINGS["rgb-10-full"], points, BENT)


def matched(rule: str, points: int) -> MatchedReadings:
    return match_readings(shipped_rule(rule), readings(rule, points))


def inputs_of(rule: str, points: int) -> Inputs:
    inputs = gather(matched(rule, points))
    assert inputs is not None
    return inputs


def test_few_patches_are_all_used() -> None:
    inputs = inputs_of("sdr-broadcast", 5)
    assert thinned(inputs) is inputs


@pytest.mark.parametrize("rule", ["sdr-broadcast", "hdr-pq-1000"])
def test_neutrals_and_pure_hues_stay(rule: str) -> None:
    whole = inputs_of(rule, 11)
    some = thinned(whole)
    assert MOST <= np.count_nonzero(~some.neutral) <= MOST + 3 < np.count_nonzero(~whole.neutral)
    assert some.patches[some.neutral].tolist() == whole.patches[whole.neutral].tolist()
    assert some.patches[some.hues].tolist() == whole.patches[whole.hues].tolist()
    assert some.patches[some.bright].tolist() == whole.patches[whole.bright].tolist()
    there = np.searchsorted(whole.patches, some.patches)
    for field in ("signal", "xyz", "itp", "nominal"):
        assert np.array_equal(getattr(some, field), getattr(whole, field)[there])
    assert np.array_equal(some.signals, np.vstack([some.signal, np.zeros(3)]))


def test_every_part_of_the_cube_is_in_it() -> None:
    signal = thinned(inputs_of("sdr-broadcast", 17)).signal
    corners = (signal > 0.5) @ np.array([4, 2, 1])
    assert np.bincount(corners, minlength=8).min() >= MOST // 16


def test_the_cause_is_that_of_the_plan_alone() -> None:
    """The curve found in 17³ patches is that found in 3³."""
    (few,), (many,) = (
        diagnose(matched("sdr-broadcast", points), readings("sdr-broadcast", points)).causes
        for points in (3, 17)
    )
    assert (many.kind, many.variant) == (few.kind, few.variant) == ("curve", few.variant)
    one, other = (
        {each.kind: each.value for each in cause.evidence if not each.kind.startswith("error")}
        for cause in (few, many)
    )
    assert one
    assert other == pytest.approx(one, abs=0.02)


def test_all_patches_have_their_expected_light() -> None:
    case = matched("sdr-broadcast", 11)
    expected = diagnose(case, readings("sdr-broadcast", 11)).expected
    assert expected is not None
    known = np.isfinite(expected).all(axis=1)
    assert np.count_nonzero(known) > 2 * MOST
    assert np.allclose(expected[known], case.view.xyz[known], rtol=0.05, atol=0.05)
