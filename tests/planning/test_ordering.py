"""The order of a plan: white at start, middle and end; bright patches spread, dark ones after."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from helpers import shipped
from helpers.shipped import shipped_rule

from compliance.planning.plan import measuring_plan
from compliance.planning.stimuli import ExtraPatches, Stimulus, merged, ordered, panel_load

SDR = shipped_rule("sdr-broadcast")
PQ = shipped_rule("hdr-pq-1000")


def stimulus(code: int, level: float, **fields: object) -> Stimulus:
    one = Stimulus((code, code, code), "centre", 100.0, "full", 0.0, level, "grey")
    return replace(one, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", shipped.RULES)
def test_white_at_start_middle_and_end(name: str) -> None:
    rule = shipped_rule(name)
    steps = measuring_plan([rule], rule.encoding).steps
    at = [place for place, step in enumerate(steps) if step.anchor]
    assert at[0] == 0
    assert at[-1] == len(steps) - 1
    assert len(at) >= 3
    assert any(len(steps) / 3 <= place <= 2 * len(steps) / 3 for place in at)


@pytest.mark.parametrize("name", shipped.RULES)
def test_nothing_is_lost_or_added_but_white(name: str) -> None:
    rule = shipped_rule(name)
    asked = merged([rule], rule.encoding)
    steps = ordered(asked)
    counts: dict[object, int] = {}
    for step in steps:
        counts[step.identity] = counts.get(step.identity, 0) + 1
    for one in asked:
        assert counts.pop(one.identity) >= one.count if one.anchor else True
        if not one.anchor:
            assert sum(step.identity == one.identity for step in steps) == one.count
    assert not set(counts) - {one.identity for one in asked}


@pytest.mark.parametrize("name", shipped.RULES)
def test_no_two_of_the_brighter_patches_in_a_row_at_the_centre(name: str) -> None:
    rule = shipped_rule(name)
    asked = merged([rule], rule.encoding)
    heat = panel_load(asked)
    steps = [step for step in ordered(asked) if step.pattern != "checkerboard"]
    centre = sorted(heat[one.shown] for one in asked if one.position == "centre")
    upper = max(0.5, centre[len(centre) // 2])
    for before, after in itertools.pairwise(steps):
        if before.shown == after.shown or "centre" not in (before.position, after.position):
            continue
        if before.position == after.position == "centre":
            assert heat[before.shown] <= upper or heat[after.shown] <= upper, (before, after)


def test_the_peak_is_followed_by_the_darkest() -> None:
    steps = measuring_plan([PQ], PQ.encoding).steps
    last = max(place for place, step in enumerate(steps) if step.name == "peak")
    assert steps[last].seconds == 60
    assert steps[last + 1].level < 0.1
    assert steps[last - 1].shown == steps[last].shown
    assert steps[last - 1].seconds == 0


def test_each_sustained_window_is_followed_by_a_dark_patch() -> None:
    steps = measuring_plan([PQ], PQ.encoding, further=ExtraPatches(windows=True)).steps
    ends = [place for place, step in enumerate(steps) if step.seconds == 60]
    assert len(ends) == 6
    for place in ends:
        assert steps[place - 1].shown == steps[place].shown
        assert steps[place + 1].level < 2


def test_a_grid_spreads_its_brightest() -> None:
    steps = measuring_plan([SDR], SDR.encoding, points=9).steps
    heat = panel_load(steps)
    bright = [step for step in steps if heat[step.shown] > 0.9]
    places = [place for place, step in enumerate(steps) if heat[step.shown] > 0.9]
    centre = [
        place for place, step in zip(places, bright, strict=True) if step.position == "centre"
    ]
    gaps = [after - before for before, after in itertools.pairwise(centre)]
    assert min(gaps) > 1
    assert max(gaps) < 4 * len(steps) / len(centre)


def test_the_meter_moves_once_around() -> None:
    steps = measuring_plan([SDR], SDR.encoding).steps
    places = [step.position for step in steps]
    moves = sum(before != after for before, after in itertools.pairwise(places))
    assert moves == len(set(places))  # to each place, and back to the centre


def test_more_whites_are_spread_evenly() -> None:
    patches = [stimulus(code, code / 10) for code in range(100)]
    steps = ordered([*patches, stimulus(1000, 100, anchor=True, count=5)])
    at = [place for place, step in enumerate(steps) if step.anchor]
    assert at == [0, 26, 52, 78, 104]


def test_repeats_of_others_are_kept_apart_from_each_other() -> None:
    steps = ordered([stimulus(0, 0, count=3), *(stimulus(code, code) for code in range(1, 40))])
    at = [place for place, step in enumerate(steps) if step.codes == (0, 0, 0)]
    assert len(at) == 3
    assert min(after - before for before, after in itertools.pairwise(at)) > 1


def test_a_series_in_time_stays_together() -> None:
    series = [stimulus(1000, 1000, window=10.0, seconds=second) for second in (300.0, 0.0, 60.0)]
    steps = ordered([*series, *(stimulus(code, code) for code in range(20))])
    at = [place for place, step in enumerate(steps) if step.window == 10]
    assert at == list(range(at[0], at[0] + 3))
    assert [steps[place].seconds for place in at] == [0, 60, 300]


def test_nothing_but_white() -> None:
    white = stimulus(940, 100, anchor=True)
    assert [step.codes for step in ordered([white])] == [white.codes] * 3
    assert ordered([]) == ()
