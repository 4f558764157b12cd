"""Whatever the readings: their order changes no finding, and no finding holds a NaN."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from helpers import simulated
from helpers.good_displays import good
from helpers.shipped import RULES, graded, ideal, shipped_rule

from compliance.model import Assessment, Finding, Rule, Value, Verdict


def shuffled(shown: list[simulated.Shown], seed: int) -> list[simulated.Shown]:
    order = np.random.RandomState(seed).permutation(len(shown))
    return [shown[place] for place in order]


def imperfect(rule: Rule, seed: int) -> list[simulated.Shown]:
    return good(rule, np.random.RandomState(seed))


def findings(assessment: Assessment) -> tuple[Finding, ...]:
    return assessment.state.findings


@pytest.mark.parametrize("name", RULES)
def test_the_order_of_rows_changes_no_finding(name: str) -> None:
    rule = shipped_rule(name)
    shown = imperfect(rule, 5)
    expected = findings(graded(rule, shown))
    for seed in range(3):
        assert findings(graded(rule, shuffled(shown, seed))) == expected


@pytest.mark.parametrize("name", RULES)
@pytest.mark.parametrize("light", [0.0, -0.005, 1e-6])
def test_a_display_that_shows_nothing_is_no_pass(name: str, light: float) -> None:
    """All readings at or below black: no NaN, and nothing is passed that needs light."""
    rule = shipped_rule(name)
    shown = [replace(one, xyz=np.full(3, light)) for one in ideal(rule)]
    for one in findings(graded(rule, shown)):
        for value in (one.value, *(point.value for point in one.points)):
            assert all(math.isfinite(number) for number in numbers(value)), one.id
        if one.quantity == "declared":
            continue
        if "white" in one.id or one.quantity in ("contrast", "gamut-coverage", "fitted-exponent"):
            assert one.verdict is not Verdict.PASS, one.id


@pytest.mark.parametrize("name", RULES)
def test_readings_of_half_the_plan_lose_no_finding(name: str) -> None:
    rule = shipped_rule(name)
    shown = shuffled(imperfect(rule, 6), 1)
    for half in (shown[::2], shown[1::2]):
        found = findings(graded(rule, half))
        assert [one.id for one in found] == [one.id for one in rule.requirements]
        for one in found:
            for value in (one.value, *(point.value for point in one.points)):
                assert all(math.isfinite(number) for number in numbers(value)), one.id


def numbers(value: Value | None) -> tuple[float, ...]:
    if value is None:
        return ()
    return value if isinstance(value, tuple) else (value,)
