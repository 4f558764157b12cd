"""A limiter of the screen's power, read at one window only."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import faulty_displays
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.colour.spaces import PRIMARIES, rgb_to_xyz_matrix
from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.inputs import gather
from compliance.diagnosis.limiter import EXCESS, excess_of_primaries
from compliance.grading.match import match_readings
from compliance.model import Cause, Measurement, Readings
from compliance.report.words import cause_next_step, cause_text, cause_title

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
Array = NDArray[np.float64]
RULES = ("sdr-broadcast", "web-srgb")
TURNED = np.asarray(rgb_to_xyz_matrix(PRIMARIES["bt709"], (0.3127, 0.3290)))
CURRENT, LUMINANCE = np.full(3, 1 / 3), TURNED[1]
"""Power of red, green and blue at full drive, 1 in all: of pixels, and of a backlight."""


def limited(read: Readings, share: float, power: Array) -> Readings:
    """The screen dimmed to a share of the power that white takes."""
    channels = read.xyz @ np.linalg.inv(TURNED).T / read.xyz[:, 1].max()
    taken = np.maximum(channels, 0) @ power
    return replace(read, xyz=read.xyz * np.minimum(1, share / np.maximum(taken, 1e-9))[:, None])


def plain(rule: str, seed: int) -> Readings:
    return faulty_displays.readings(shipped_rule(rule), (), np.random.RandomState(seed))


def causes(rule: str, read: Readings) -> tuple[Cause, ...]:
    return diagnose(match_readings(shipped_rule(rule), read), read).causes


def first_rank(found: tuple[Cause, ...]) -> set[str]:
    return {cause.kind for cause in found if cause.rank == 1}


@pytest.mark.parametrize("share", [0.5, 0.6, 0.7, 0.85])
@pytest.mark.parametrize("rule", RULES)
def test_white_with_less_light_than_its_primaries(rule: str, share: float) -> None:
    read = limited(plain(rule, 3), share, CURRENT)
    found = causes(rule, read)
    assert first_rank(found) == {"limiter"}
    cause = found[0]
    (excess,) = (one.value for one in cause.evidence if one.kind == "primaries-over-white")
    assert excess == pytest.approx(100 * (1 / share - 1), abs=4)
    assert cause_title(cause) == "A limiter seems to take light from white and bright colours"
    assert "in a window of 100 % of the screen" in cause_text(cause)
    assert "compliance plan RULE --windows" in cause_next_step(cause)


@pytest.mark.parametrize("share", [0.6, 0.85])
def test_a_limit_of_luminance_may_be_either(share: float) -> None:
    """Bent highlights and a backlight that is dimmed show the same at one window."""
    read = limited(plain("sdr-broadcast", 4), share, LUMINANCE)
    assert "limiter" in first_rank(causes("sdr-broadcast", read))


def test_what_a_limiter_makes_fail_it_explains() -> None:
    read = limited(plain("sdr-broadcast", 5), 0.6, CURRENT)
    found = assess(Measurement(shipped_rule("sdr-broadcast"), read), now=NOW).state
    assert "limiter" in first_rank(found.causes)


def test_channels_that_are_clipped_are_no_limiter() -> None:
    for share in (0.7, 0.85):
        read = faulty_displays.readings(
            shipped_rule("sdr-broadcast"),
            (faulty_displays.clipped(share),),
            np.random.RandomState(2),
        )
        assert "limiter" not in {one.kind for one in causes("sdr-broadcast", read)}


@pytest.mark.parametrize("rule", RULES)
def test_a_noisy_meter_makes_no_limiter(rule: str) -> None:
    case, random = match_readings(shipped_rule(rule), plain(rule, 1)), np.random.RandomState(6)
    xyz = case.view.readings
    for _ in range(100):
        inputs = gather(case.with_readings(xyz * (1 + 0.005 * random.normal(size=(len(xyz), 1)))))
        assert inputs is not None
        excess = excess_of_primaries(inputs)
        assert excess is not None
        assert abs(excess) < EXCESS
