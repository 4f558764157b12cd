"""Matching finds the same patches as a plain search through all of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.cubes import cube
from helpers.shipped import shipped_rule
from helpers.simulated import picked
from numpy.typing import NDArray

from compliance.grading.match import MatchedReadings, match_readings
from compliance.grading.patches import PlannedPatch
from compliance.model import ENCODINGS, Readings
from compliance.quantities.measured import NOWHERE

RULES = ("sdr-broadcast", "hdr-pq-1000", "web-srgb")


def mixed(rule: str, seed: int) -> Readings:
    """A cube's readings in any order, some of them several times, some codes a little off."""
    random = np.random.RandomState(seed)
    whole = cube(shipped_rule(rule), ENCODINGS["rgb-10-full"], 5)
    rows = [int(row) for row in random.permutation(len(whole))]
    rows += [int(row) for row in random.choice(len(whole), 60)] + [rows[0]] * 9
    some = picked(whole, rows)
    nudged = random.choice(len(rows), 40, replace=False)
    codes = some.codes.copy()
    codes[nudged] = np.clip(codes[nudged] + random.randint(-2, 3, size=(40, 3)), 0, 1023)
    places = tuple(
        str(place) if far < 0.1 else own
        for own, place, far in zip(
            some.position,
            random.choice(["left", "top"], len(rows)),
            random.uniform(size=len(rows)),
            strict=True,
        )
    )
    noise = 1 + 0.01 * random.normal(size=(len(rows), 1))
    return replace(some, codes=codes, position=places, xyz=some.xyz * noise)


@pytest.fixture(params=[(rule, seed) for rule in RULES for seed in range(3)], ids=str)
def case(request: pytest.FixtureRequest) -> MatchedReadings:
    rule, seed = request.param
    return match_readings(shipped_rule(rule), mixed(rule, seed))


def searched(case: MatchedReadings, planned: PlannedPatch) -> int | None:
    """The nearest patch in signal at the planned place, by looking at every one.

    Near is first the largest distance of a channel, then the sum of all channels' distances:
    with one code of tolerance two patches can be as near by the first.
    """
    patches = case.patches
    apart = np.abs(patches.signal - np.array(planned.signal))
    away = apart.max(axis=1)
    near = []
    for index, there in enumerate(patches.stimulus):
        place = (there.position, there.window, there.pattern, there.seconds)
        asked = (planned.position, planned.window, planned.pattern, planned.seconds)
        if place == asked and away[index] <= max(case.plan.half_code, planned.slack) * (1 + 1e-6):
            near.append((round(away[index], 9), apart[index].sum(), index))
    return min(near)[2] if near else None


def test_planned_patches_are_found(case: MatchedReadings) -> None:
    names = ("white", "black", *case.rule.sets)
    planned = [patch for name in names for patch in case.plan.patches(name)]
    found = [case.matcher.find(patch) for patch in planned]
    assert found == [searched(case, patch) for patch in planned]
    assert None in found
    assert any(index is not None for index in found)


def test_the_same_codes_at_the_centre(case: MatchedReadings) -> None:
    patches, found = case.patches, 0
    for index, there in enumerate(patches.stimulus):
        wanted = replace(there, position="centre")
        same = [
            other
            for other in range(len(patches))
            if patches.triple(other) == patches.triple(index) and patches.stimulus[other] == wanted
        ]
        assert case.view.centre[index] == (same[0] if same else NOWHERE)
        found += bool(same) and same[0] != index
    assert found


def test_repeats_are_averaged_in_canonical_order(case: MatchedReadings) -> None:
    patches = case.patches
    assert patches.count.max() >= 4
    draws: NDArray[np.float64] = np.stack([case.view.readings, 2 * case.view.readings])
    for index, mean in enumerate(case.view.xyz):
        mine = np.flatnonzero(patches.rows == index)
        assert list(range(len(patches.rows))[patches.readings_of(index)]) == mine.tolist()
        total = np.zeros(3)
        for row in mine:
            total += case.view.readings[row]
        assert np.array_equal(mean, total / len(mine))
        assert np.array_equal(patches.mean(draws)[1, index], 2 * total / len(mine))
