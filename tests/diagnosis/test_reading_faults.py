"""Faults of the readings themselves: colours that drift in the course of the session."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import faulty_displays
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.colour.spaces import PRIMARIES, rgb_to_xyz_matrix, xyz_to_uv
from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.session_faults import find_colour_drift, find_drift
from compliance.grading.match import MatchedReadings, match_readings
from compliance.model import Cause, Measurement, Readings
from compliance.report.words import cause_next_step, cause_text, cause_title

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
Array = NDArray[np.float64]
SEEDS = 200
RULES = ("sdr-broadcast", "hdr-pq-1000")


def plain(rule: str, seed: int = 1) -> Readings:
    """A well calibrated display, read as the plan says with white at start, middle and end."""
    return faulty_displays.readings(shipped_rule(rule), (), np.random.RandomState(seed))


def matched(rule: str, read: Readings) -> MatchedReadings:
    return match_readings(shipped_rule(rule), read)


def causes(rule: str, read: Readings) -> tuple[Cause, ...]:
    return diagnose(matched(rule, read), read).causes


def told(rule: str, read: Readings) -> list[str]:
    """Kinds of causes that explain what failed."""
    found = assess(Measurement(shipped_rule(rule), read), now=NOW)
    return [cause.kind for cause in found.state.causes]


def noisy(case: MatchedReadings, random: np.random.RandomState) -> MatchedReadings:
    """The case read with a meter's noise of .2 % in Y, and .1 % in each of X, Y and Z."""
    xyz = case.view.readings
    level = 1 + 0.002 * random.normal(size=(len(xyz), 1))
    tint = 1 + 0.001 * random.normal(size=xyz.shape)
    return case.with_readings(xyz * level * tint + 0.0003 * random.normal(size=xyz.shape))


# ---------------------------------------------------------------- colour drift


BT709 = np.asarray(rgb_to_xyz_matrix(PRIMARIES["bt709"], (0.3127, 0.3290)))


def channels_drifting(read: Readings, shares: Array) -> Readings:
    """The light of red, green and blue (3,) changed to these shares, the more the later."""
    at = np.linspace(0, 1, len(read))[:, None]
    channels = read.xyz @ np.linalg.inv(BT709).T
    return replace(read, xyz=(channels * (1 + at * (shares - 1))) @ BT709.T)


def moved(read: Readings) -> float:
    """Δu'v' between white read first and last."""
    uv = xyz_to_uv(read.xyz[[0, len(read) - 1]])
    return float(np.linalg.norm(uv[1] - uv[0]))


@pytest.mark.parametrize(
    ("shares", "towards"),
    [((1.0, 1.0, 0.9), "yellow"), ((1.0, 1.0, 1.15), "blue"), ((0.9, 1.0, 1.0), "cyan")],
)
def test_a_white_that_changes_its_colour(shares: tuple[float, ...], towards: str) -> None:
    read = channels_drifting(plain("sdr-broadcast"), np.array(shares))
    cause = next(one for one in causes("sdr-broadcast", read) if one.kind == "colour-drift")
    (size,) = (one.value for one in cause.evidence if one.kind == "colour-drift")
    assert size == pytest.approx(moved(read), rel=0.1)
    assert f"towards {towards} during the session" in cause_title(cause)
    assert "early and late" in cause_text(cause)
    assert "warm up" in cause_next_step(cause)


def test_of_a_drift_of_colour_alone_nothing_else_is_told() -> None:
    """Blue falls from 107 to 93 %: its mean is right, and so is the rest."""
    read = channels_drifting(plain("sdr-broadcast"), np.array([1.0, 1.0, 0.93 / 1.07]))
    middle = read.xyz @ np.linalg.inv(BT709).T * np.array([1.0, 1.0, 1.07]) @ BT709.T
    assert told("sdr-broadcast", replace(read, xyz=middle)) == ["colour-drift"]


def test_light_and_colour_drift_side_by_side() -> None:
    read = channels_drifting(plain("sdr-broadcast"), np.array([0.96, 0.95, 0.8]))
    kinds = {one.kind for one in causes("sdr-broadcast", read)}
    assert kinds >= {"drift", "colour-drift"}


def test_a_white_that_went_and_came_back_did_not_drift() -> None:
    read = plain("sdr-broadcast")
    there = channels_drifting(read, np.array([1.0, 1.0, 0.9]))
    xyz = there.xyz.copy()
    xyz[-1] = read.xyz[-1]
    assert find_colour_drift(matched("sdr-broadcast", replace(read, xyz=xyz))) is None


def test_another_white_throughout_did_not_drift() -> None:
    faults = (faulty_displays.white("d50", (0.3457, 0.3585)),)
    read = faulty_displays.readings(shipped_rule("sdr-broadcast"), faults, np.random.RandomState(1))
    assert find_colour_drift(matched("sdr-broadcast", read)) is None


@pytest.mark.parametrize("rule", RULES)
def test_a_noisy_session_does_not_drift(rule: str) -> None:
    case, random = matched(rule, plain(rule)), np.random.RandomState(7)
    cases = [noisy(case, random) for _ in range(SEEDS)]
    assert not [1 for each in cases if find_colour_drift(each) or find_drift(each)]
