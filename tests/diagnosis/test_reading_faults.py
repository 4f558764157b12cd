"""Faults of the readings themselves: colours that drift, and single readings that are off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import builders, faulty_displays, sample_assessments
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.colour.spaces import PRIMARIES, rgb_to_xyz_matrix, xyz_to_uv
from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.faulty_display import ideal_display, simulate
from compliance.diagnosis.inputs import gather
from compliance.diagnosis.misread import Misreading, find_misreadings
from compliance.diagnosis.session_faults import find_colour_drift, find_drift
from compliance.grading.match import MatchedReadings, match_readings
from compliance.model import Cause, Measurement, Readings
from compliance.report.words import cause_next_step, cause_text, cause_title

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
Array = NDArray[np.float64]
SEEDS = 100
"""For each rule."""
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


# ---------------------------------------------------------------- one reading


def row_of(read: Readings, signal: tuple[int, int, int]) -> int:
    """The first row of a patch at the centre."""
    rows = np.flatnonzero((read.codes == signal).all(axis=1))
    return int(next(row for row in rows if read.position[row] == "centre"))


def spoiled(read: Readings, changes: dict[int, Array]) -> Readings:
    """The readings with other XYZ in some rows."""
    xyz = read.xyz.copy()
    for row, light in changes.items():
        xyz[row] = light
    return replace(read, xyz=xyz)


def misread(case: MatchedReadings) -> list[Misreading]:
    """What is off beside the display that the rule requires."""
    inputs = gather(case)
    assert inputs is not None
    plain = simulate(ideal_display(inputs), inputs).xyz[0]
    return find_misreadings(case, inputs, plain, plain)


GREY, COLOUR = (502, 502, 502), (64, 940, 940)
"""50 % grey, and cyan, in 10-bit narrow range."""


@pytest.mark.parametrize("patch", [GREY, COLOUR])
def test_a_reading_with_something_before_it(patch: tuple[int, int, int]) -> None:
    read = plain("sdr-broadcast")
    row = row_of(read, patch)
    bad = spoiled(read, {row: 0.8 * read.xyz[row]})
    assert told("sdr-broadcast", bad) == ["misread"]
    (cause,) = causes("sdr-broadcast", bad)
    assert cause.variant in ("covered", "unsettled-or-covered")
    assert isinstance(cause.facts, Mapping)
    assert cause.facts["line"] == bad.lines[row]
    assert cause.facts["expected"] == pytest.approx(read.xyz[row, 1], rel=0.02)
    assert cause_title(cause) == f"The reading of patch {patch} is off"
    assert "something may have covered the patch" in cause_text(cause)
    assert "--retake AGAIN --reason TEXT" in cause_next_step(cause)


def test_a_reading_taken_before_the_patch_had_settled() -> None:
    read = plain("sdr-broadcast")
    row = row_of(read, COLOUR)
    assert np.abs(read.codes[row - 1] - read.codes[row]).max() > 100
    late = spoiled(read, {row: 0.7 * read.xyz[row] + 0.3 * read.xyz[row - 1]})
    (cause,) = causes("sdr-broadcast", late)
    (share,) = (one.value for one in cause.evidence if one.kind == "patch-before")
    assert (cause.kind, cause.variant) == ("misread", "unsettled")
    assert share == pytest.approx(30, abs=2)
    assert "30\u00a0% of the light of the patch before it" in cause_text(cause)


def test_one_of_the_repeats_of_white() -> None:
    read = plain("sdr-broadcast")
    middle = int(np.flatnonzero((read.codes == 940).all(axis=1))[1])
    bad = spoiled(read, {middle: 0.85 * read.xyz[middle]})
    (found,) = misread(matched("sdr-broadcast", bad))
    assert [int(matched("sdr-broadcast", bad).patches.order[row]) for row in found.rows] == [middle]
    assert found.xyz[1] == pytest.approx(read.xyz[0, 1], rel=0.01)


def test_of_few_patches_a_black_may_be_the_one_that_is_off() -> None:
    """Its repeats are below the meter's reach: without it seven patches are left."""
    codes = [0, 0, 0, 130, 150, 170, 190, 210, 230, 255]
    light = np.array([0.6, 1e-4, 1e-4, *(80 * (np.array(codes[3:]) / 255) ** 2.4)])
    few = builders.readings([(code,) * 3 for code in codes], np.outer(light, [0.95, 1, 1.09]))
    rule, meter = shipped_rule("sdr-broadcast"), sample_assessments.meter()
    found = diagnose(match_readings(rule, few, meter=meter), few)
    assert "misread" not in {cause.kind for cause in found.causes}


def test_two_readings_may_be_off_and_three_are_another_fault() -> None:
    read = plain("sdr-broadcast")
    rows = [row_of(read, patch) for patch in (GREY, COLOUR, (721, 721, 721))]
    for count in (2, 3):
        bad = spoiled(read, {row: 0.8 * read.xyz[row] for row in rows[:count]})
        found = misread(matched("sdr-broadcast", bad))
        assert len(found) == (2 if count == 2 else 0)


def test_a_fault_beside_a_misreading_is_told_as_it_is() -> None:
    faults = (faulty_displays.power(2.0),)
    rule = shipped_rule("sdr-broadcast")
    read = faulty_displays.readings(rule, faults, np.random.RandomState(1))
    row = row_of(read, GREY)
    kinds = [one.kind for one in causes("sdr-broadcast", spoiled(read, {row: 0.7 * read.xyz[row]}))]
    assert kinds == ["curve", "misread"]


def test_a_primary_that_its_mixtures_confirm_is_no_misreading() -> None:
    """Red with a fifth less light, alone and in every mixture."""
    faults = (faulty_displays.gained(0, 0.8),)
    rule = shipped_rule("sdr-broadcast")
    read = faulty_displays.readings(rule, faults, np.random.RandomState(1))
    assert "misread" not in {one.kind for one in causes("sdr-broadcast", read)}


def test_a_pure_primary_out_of_reach_is_no_misreading() -> None:
    """Red alone is paler than the rule's, its mixtures are right: a panel that cannot reach it."""
    read = plain("sdr-broadcast")
    row = row_of(read, (940, 64, 64))
    paler = spoiled(read, {row: read.xyz[row] + 0.03 * read.xyz[0]})
    assert misread(matched("sdr-broadcast", paler)) == []


def test_a_primary_that_another_level_shows_is_misread() -> None:
    """The brightest blue of the plan has the light of a green; a darker blue is blue."""
    read = plain("hdr-pq-1000")
    xy = read.xyz[:, :2] / read.xyz.sum(axis=1, keepdims=True)
    greens, blues = (
        np.flatnonzero(np.abs(xy - primary).max(axis=1) < 0.01)
        for primary in ((0.265, 0.69), (0.15, 0.06))
    )
    assert len(blues) > 1
    green, blue = (int(rows[np.argmax(read.xyz[rows, 1])]) for rows in (greens, blues))
    (found,) = misread(matched("hdr-pq-1000", spoiled(read, {blue: read.xyz[green]})))
    assert found.xyz == pytest.approx(read.xyz[blue], rel=0.05)


def test_highlights_that_end_and_blacks_that_are_crushed_are_no_misreading() -> None:
    rule = shipped_rule("sdr-broadcast")
    for fault in (
        *(faulty_displays.clipped(share) for share in (0.97, 0.93, 0.88)),
        *(faulty_displays.crushed(level) for level in (0.12, 0.17, 0.22)),
        *(faulty_displays.sunk(level) for level in (0.05, 0.1)),
    ):
        read = faulty_displays.readings(rule, (fault,), np.random.RandomState(2))
        assert "misread" not in {one.kind for one in causes("sdr-broadcast", read)}, fault.strength


@pytest.mark.parametrize("rule", RULES)
def test_a_noisy_session_is_accused_of_nothing(rule: str) -> None:
    case, random = matched(rule, plain(rule)), np.random.RandomState(7)
    for _ in range(SEEDS):
        read = noisy(case, random)
        assert find_drift(read) is None
        assert find_colour_drift(read) is None
        assert misread(read) == []


@pytest.mark.parametrize("rule", RULES)
def test_readings_of_anything_are_searched(rule: str) -> None:
    """Light in another order, none at all, the same everywhere, or a bright black."""
    read, random = plain(rule), np.random.RandomState(3)
    black = int(np.argmin(read.xyz[:, 1]))
    kinds = [
        *(read.xyz[random.permutation(len(read))] for _ in range(20)),
        np.zeros_like(read.xyz),
        np.full_like(read.xyz, 20.0),
        np.where(np.arange(len(read))[:, None] == black, 2 * read.xyz.max(axis=0), read.xyz),
    ]
    for xyz in kinds:
        case = matched(rule, replace(read, xyz=xyz))
        assert len(misread(case)) <= 2
        find_colour_drift(case)
