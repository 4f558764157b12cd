"""What greys and primaries do not show: colours that stop below the peak, and mixed colours off.

A panel may reach its white through a white subpixel or a clear segment that its colours lack; a
table of three dimensions may be right on the axes and wrong between them (practice, no source).
"""

from __future__ import annotations

import numpy as np
import pytest
from helpers import simulated
from helpers.shipped import (
    RULES,
    edge_share,
    edges,
    graded,
    ideal,
    native,
    outside,
    shipped_rule,
    technologies,
)
from numpy.typing import NDArray

from compliance.grading.match import DeclaredFacts, match_readings
from compliance.grading.patches import PlannedPatch
from compliance.model import Level, Rule
from compliance.planning.confusion import ASPECTS, aspects_of
from compliance.planning.stimuli import ideal_readings

Array = NDArray[np.float64]

BRIGHT = tuple(name for name in RULES if "bright" in shipped_rule(name).sets)
MIXED = tuple(name for name in RULES if {"memory", "mixed"} & shipped_rule(name).sets.keys())
HDR = tuple(name for name in RULES if name.startswith("hdr-"))
LOOSE = {"hdr-hlg-grade-2": 0.15, "hdr-hlg-grade-3": 0.15}
"""Share of light by which a mixed colour is off in rules for displays that are only looked at."""


def with_white_subpixel(rule: Rule, stop: float) -> simulated.Fault:
    """What is not neutral in a colour stops at the drive of a white of `stop` cd/m²."""
    into, out = np.linalg.inv(native(rule)), native(rule)

    def fault(_patch: PlannedPatch, xyz: Array) -> Array:
        drive = into @ xyz
        white = drive.min()
        return np.asarray(out @ (white + np.minimum(drive - white, stop)))

    return fault


def off_between(rule: Rule, share: float) -> simulated.Fault:
    """The middle channel of a colour whose three drives all differ is off by a share."""
    into, out = np.linalg.inv(native(rule)), native(rule)

    def fault(_patch: PlannedPatch, xyz: Array) -> Array:
        drive = into @ xyz
        order = np.argsort(drive)
        low, middle, high = drive[order]
        if low < 0.02 * high or middle - low < 0.05 * high or high - middle < 0.05 * high:
            return xyz
        drive[order[1]] *= 1 + share
        return np.asarray(out @ drive)

    return fault


def missed(rule: Rule, fault: simulated.Fault) -> set[str]:
    even = edges(edge_share(rule))
    return outside(graded(rule, ideal(rule, fault=simulated.in_turn(even, fault))))


def test_each_hdr_rule_has_bright_colours() -> None:
    assert BRIGHT == HDR
    assert set(MIXED) == set(RULES)


@pytest.mark.parametrize("name", BRIGHT)
@pytest.mark.parametrize("stop", [250.0, 400.0])
def test_colours_that_stop_below_the_peak_fail(name: str, stop: float) -> None:
    assert missed(shipped_rule(name), with_white_subpixel(shipped_rule(name), stop)) == {
        "colours-bright"
    }


@pytest.mark.parametrize("name", MIXED)
@pytest.mark.parametrize("sign", [-1, 1])
def test_mixed_colours_off_by_10_percent_fail(name: str, sign: int) -> None:
    rule = shipped_rule(name)
    (named,) = {"memory", "mixed"} & rule.sets.keys()
    share = sign * LOOSE.get(name, 0.1)
    assert missed(rule, off_between(rule, share)) == {f"{named}-colours"}


@pytest.mark.parametrize("name", RULES)
def test_each_rule_judges_greys_and_colours_in_lightness_and_colour(name: str) -> None:
    """By its shalls alone, for each kind of display."""
    rule = shipped_rule(name)
    readings = ideal_readings(rule, rule.encoding, 0.0)
    for kind in technologies(rule):
        case = match_readings(rule, readings, stated=DeclaredFacts(kind))
        judged = {
            aspect
            for requirement in rule.requirements
            if requirement.level is Level.SHALL
            and requirement.displays
            in (None, "projector" if kind == "projector" else "direct-view")
            for aspect in aspects_of(requirement, case)
        }
        assert judged == set(ASPECTS), kind
