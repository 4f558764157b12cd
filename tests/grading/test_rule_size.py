"""Rules that ask for more than any sheet: refused before anything is computed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from helpers import builders
from helpers.shipped import shipped_rule

from compliance.errors import RuleError
from compliance.grading.match import MatchedReadings, match_readings
from compliance.grading.monte_carlo import findings_of
from compliance.grading.rule_size import (
    MOST_DRAWN,
    MOST_PLANNED,
    MOST_REQUIREMENTS,
    check_drawn,
    check_rule_size,
)
from compliance.model import Meter, PatchSet, Rule

RULE = shipped_rule("sdr-broadcast")


def with_requirements(count: int) -> Rule:
    """The rule with its tracking required so many times."""
    tracking = next(each for each in RULE.requirements if each.id == "tracking")
    many = (replace(tracking, id=f"tracking-{number}") for number in range(count))
    return replace(RULE, requirements=tuple(many))


def test_requirements_are_bounded() -> None:
    check_rule_size(RULE)
    check_rule_size(with_requirements(MOST_REQUIREMENTS))
    with pytest.raises(RuleError, match="has 101 requirements; expected at most 100"):
        check_rule_size(with_requirements(MOST_REQUIREMENTS + 1))


@pytest.mark.parametrize(
    "parts",
    [
        {"steps": MOST_PLANNED},
        {"kind": "saturations", "steps": MOST_PLANNED // 2, "hues": ("red", "green", "blue")},
        {"kind": "repeats", "repeats": MOST_PLANNED + 1},
        {"kind": "list", "patches": ((("a", (1, 2, 3)),) * (MOST_PLANNED + 1))},
    ],
)
def test_patches_that_requirements_name_are_bounded(parts: dict[str, Any]) -> None:
    sets = {**RULE.sets, "grey": replace(RULE.sets["grey"], **parts)}
    with pytest.raises(RuleError, match=r"names \d+ patches in all its requirements together"):
        check_rule_size(replace(RULE, sets=sets))


def test_values_from_draws_are_bounded() -> None:
    check_drawn(RULE, MOST_DRAWN)
    with pytest.raises(RuleError, match="needs 701 values computed from draws"):
        check_drawn(RULE, MOST_DRAWN + 1)


def many(count: int, quantity: str, correlation: float | None) -> tuple[MatchedReadings, Meter]:
    """A case whose one requirement judges so many colours, all read once, and white and black."""
    codes = [[9 + number % 90, 9 + number // 90, 77] for number in range(count)]
    patches = tuple((f"p{number}", tuple(code)) for number, code in enumerate(codes))
    own = PatchSet(name="own", kind="list", patches=patches)
    needed = builders.requirement(quantity, "own")
    rule = builders.rule(builders.target(), needed, sets=(own,))
    meter = builders.meter(correlation)
    every = [*codes, [255] * 3, [0] * 3]
    xyz = np.random.RandomState(0).uniform(5, 50, (len(every), 3))
    return match_readings(rule, builders.readings(every, xyz), meter=meter), meter


@pytest.mark.parametrize(
    ("quantity", "correlation", "most"),
    [("delta-e-2000", 0.3, 349), ("luminance", 0.3, 349), ("delta-e-2000", None, 115),
     ("luminance", None, 173), ("duv", 0.3, 232)],
)  # fmt: skip
def test_as_many_patches_as_draws_allow(
    quantity: str, correlation: float | None, most: int
) -> None:
    for count, fits in ((most, True), (most + 1, False)):
        case, meter = many(count, quantity, correlation)
        assert meter.uncertainty is not None
        if fits:
            findings_of(case, meter.uncertainty, count=2, seed=0)
            continue
        with pytest.raises(RuleError, match="values computed from draws"):
            findings_of(case, meter.uncertainty, count=2, seed=0)
