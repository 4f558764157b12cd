"""Checks of the readings: what each finds, what it lets pass, and that no verdict changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from helpers import builders, faulty_displays, shipped, simulated
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess, graded_state
from compliance.grading.match import match_readings
from compliance.model import (
    ENCODINGS,
    Job,
    Measurement,
    Meter,
    Readings,
    ReadingsEntry,
    Room,
)
from compliance.remarks.expected_light import itp
from compliance.report.words import remark_text
from compliance.rules.library import shipped_rules

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
Array = NDArray[np.float64]
CHECKS = {"out-of-order", "observer", "saturation", "floor", "repeatability", "ambient-light"}
CHECKS |= {"encoding", "backgrounds", "alike", "dimmed-by-area", "dimmed-in-time"}


def read(rule: str = "sdr-broadcast", seed: int = 5) -> Readings:
    """A good display of the rule, read with a meter's noise."""
    return faulty_displays.readings(shipped_rule(rule), (), np.random.RandomState(seed))


def noted(
    readings: Readings,
    rule: str = "sdr-broadcast",
    *,
    meter: Meter | None = None,
    job: Job | None = None,
) -> dict[str, str]:
    """The remarks of checks, by kind."""
    measurement = Measurement(shipped_rule(rule), readings, meter=meter, job=job)
    found = graded_state(measurement, now=NOW, seed=0, draws=0)
    return {one.kind: remark_text(one) for one in found.remarks if one.kind in CHECKS}


def with_light(readings: Readings, changes: Mapping[int, Array]) -> Readings:
    xyz = readings.xyz.copy()
    for row, light in changes.items():
        xyz[row] = light
    return replace(readings, xyz=xyz)


def nominal(readings: Readings, rule: str) -> dict[int, float]:
    """cd/m² that the rule asks for, by rows at the centre in full field."""
    patches = match_readings(shipped_rule(rule), readings).patches
    return {
        int(row): float(patches.nominal[patch])
        for row, patch in zip(patches.order, patches.rows, strict=True)
        if patches.stimulus[patch].position == "centre"
        and patches.stimulus[patch].pattern == "full"
    }


def greys(readings: Readings) -> list[int]:
    """Rows of the neutral patches at the centre, the brightest first."""
    same = np.ptp(readings.codes, axis=1) == 0
    rows = [int(row) for row in np.flatnonzero(same) if readings.position[row] == "centre"]
    return sorted(rows, key=lambda row: -int(readings.codes[row, 0]))


@pytest.mark.parametrize("rule", shipped_rules())
def test_a_good_session_has_nothing_to_note(rule: str) -> None:
    assert not noted(read(rule), rule)


# ---------------------------------------------------------------- order


def neighbours(readings: Readings) -> tuple[int, int]:
    """Two rows that follow each other and show different greys of some light."""
    for row in greys(readings):
        unlike = row + 1 in greys(readings) and np.ptp(readings.codes[[row, row + 1], 0]) > 0
        if unlike and readings.xyz[[row, row + 1], 1].min() > 5:
            return row, row + 1
    raise AssertionError("no neighbours")


def test_two_readings_exchanged() -> None:
    good = read()
    one, other = neighbours(good)
    found = noted(with_light(good, {one: good.xyz[other], other: good.xyz[one]}))
    text = found["out-of-order"]
    assert f"line {good.lines[one]} fits the patch of line {good.lines[other]}" in text
    assert f"line {good.lines[other]} fits the patch of line {good.lines[one]}" in text


def test_white_and_black_exchanged() -> None:
    """The two that every target is fitted to."""
    good = read()
    white, black = greys(good)[0], greys(good)[-1]
    order = [white, black, *(row for row in range(len(good)) if row not in (white, black))]
    xyz = good.xyz[order]
    xyz[[0, 1]] = xyz[[1, 0]]
    text = noted(replace(simulated.picked(good, order), xyz=xyz))["out-of-order"]
    assert "line 2 fits the patch of line 3" in text


def nearly(fits: Array, own: Array, share: float) -> Array:
    """Light between two, at that share of their distance from the first, in ITP."""
    ways = fits + np.linspace(0, 1, 2001)[:, None] * (own - fits)
    near, far = (np.linalg.norm(itp(ways) - itp(end), axis=-1) for end in (fits, own))
    return np.asarray(ways[np.argmin(abs(near / np.maximum(far, 1e-9) - share))])


def test_two_that_fit_each_others_may_fit_less_well_than_one_alone() -> None:
    good = read()
    one, other = neighbours(good)
    changes = {
        one: nearly(good.xyz[other], good.xyz[one], 0.18),
        other: nearly(good.xyz[one], good.xyz[other], 0.18),
    }
    assert "out-of-order" in noted(with_light(good, changes))
    for row in (one, other):
        assert "out-of-order" not in noted(with_light(good, {row: changes[row]}))


@pytest.mark.parametrize(("count", "expected"), [(7, False), (8, True)])
def test_of_a_few_readings_no_order_can_be_told(count: int, expected: bool) -> None:
    good = read()
    one, other = neighbours(good)
    white, *_, black = greys(good)
    rest = [row for row in range(len(good)) if row not in (white, black, one, other)]
    few = simulated.picked(good, [white, black, *rest[: count - 4], one, other])
    xyz = few.xyz.copy()
    xyz[[-1, -2]] = xyz[[-2, -1]]
    assert ("out-of-order" in noted(replace(few, xyz=xyz))) == expected


def test_a_meter_that_was_one_patch_behind() -> None:
    good = read()
    late = replace(good, xyz=np.vstack([good.xyz[:1], good.xyz[:-1]]))
    assert "out of step" in noted(late)["out-of-order"]


def test_one_reading_of_the_patch_before() -> None:
    good = read()
    one, other = neighbours(good)
    found = noted(with_light(good, {other: good.xyz[one] * 1.001}))
    assert f"line {good.lines[other]}" in found["out-of-order"]


def test_a_display_at_fault_is_not_out_of_order() -> None:
    rule = shipped_rule("sdr-broadcast")
    for fault in (
        faulty_displays.swapped(2, 1, 0),
        faulty_displays.bent(0.6, 0.5),
        faulty_displays.power(1.8),
    ):
        wrong = faulty_displays.readings(rule, (fault,), np.random.RandomState(3))
        assert "out-of-order" not in noted(wrong), fault.strength


# ---------------------------------------------------------------- repeatability


def repeated(scatter: float, seed: int = 2) -> Readings:
    """White three times at once, scattering by a share."""
    good = read()
    white = [row for row in greys(good) if good.codes[row, 0] == good.codes[greys(good)[0], 0]]
    random = np.random.RandomState(seed)
    return with_light(
        good, {row: good.xyz[white[0]] * (1 + scatter * random.normal()) for row in white}
    )


def test_readings_that_scatter_more_than_the_meter() -> None:
    meter = builders.meter()  # 0.3 % as a standard deviation
    found = noted(repeated(0.02), meter=meter)
    assert "times what the meter's file states" in found["repeatability"]
    assert "repeatability" not in noted(repeated(0.003), meter=meter)
    assert "repeatability" not in noted(repeated(0.02))


@pytest.mark.parametrize(("times", "expected"), [(2.2, False), (3.0, True)])
def test_how_much_scatter_is_noted(times: float, expected: bool) -> None:
    """Two differences, as a standard deviation √2 times the meter's 0.3 % if by chance.

    By chance their mean square passes 2.6 times that in one of a thousand (χ² of 2: 13.8).
    """
    good = read()
    first, second, third, *_ = [row for row in greys(good) if good.codes[row, 0] == 940]
    assert (second, third) == (first + 1, first + 2)
    light = good.xyz[first]
    step = 1 + times * 0.003 * np.sqrt(2)
    unsteady = with_light(good, {first: light, second: light * step, third: light})
    assert ("repeatability" in noted(unsteady, meter=builders.meter())) == expected


def test_white_that_drifts_is_no_scatter() -> None:
    good = read()
    first, *others = [row for row in greys(good) if good.codes[row, 0] == 940]
    drift = {row: good.xyz[first] * (1 + 0.001 * (row - first)) for row in others}
    assert max(others) - first > 50
    assert "repeatability" not in noted(with_light(good, drift), meter=builders.meter())


def test_chance_is_not_called_scatter() -> None:
    """Readings that scatter as the meter's file says: hardly ever noted."""
    meter = builders.meter()
    told = [
        seed for seed in range(30) if "repeatability" in noted(repeated(0.003, seed), meter=meter)
    ]
    assert not told


# ---------------------------------------------------------------- reach


def test_a_meter_at_its_upper_end() -> None:
    good = read()
    top = [int(row) for row in np.flatnonzero(good.xyz[:, 1] > 70)]
    found = noted(with_light(good, dict.fromkeys(top, good.xyz[top[-1]])))
    assert "the same to the last digit" in found["saturation"]


def test_one_patch_read_alike_again_is_no_upper_end() -> None:
    good = read()
    white = [row for row in greys(good) if good.codes[row, 0] == 940]
    same = with_light(good, dict.fromkeys(white, good.xyz[white[0]] * 1.01))
    assert len(white) > 1
    assert "saturation" not in noted(same)
    near = [row for row in greys(good) if good.codes[row, 0] != 940][:1]
    codes = good.codes.copy()
    codes[near] = 932  # 99 % of the signal, 98 % of the light
    almost = replace(same, codes=codes)
    assert "saturation" not in noted(with_light(almost, {near[0]: same.xyz[white[0]]}))


def test_a_display_that_clips_is_not_a_meter_at_its_end() -> None:
    rule = shipped_rule("sdr-broadcast")
    clipped = faulty_displays.readings(
        rule, (faulty_displays.capped(0.7),), np.random.RandomState(3)
    )
    assert "saturation" not in noted(clipped)


def test_a_meter_at_its_lower_end() -> None:
    good = read()
    dark = [int(row) for row in np.flatnonzero(good.xyz[:, 1] < 2.5)]
    same = np.array([0.0143, 0.015, 0.0163])
    found = noted(with_light(good, dict.fromkeys(dark, same)))
    assert "lower end" in found["floor"]


def test_readings_under_what_the_meter_can_tell() -> None:
    meter = replace(builders.meter(), stated_lowest=0.02)
    good = read("cinema-review-room")
    dark = good.xyz[:, 1] < 1.0
    xyz = np.where(dark[:, None], np.minimum(good.xyz, 0.01), good.xyz)
    found = noted(replace(good, xyz=xyz), "cinema-review-room", meter=meter)
    text = found["floor"]
    assert "the least that the meter can tell from dark" in text
    asked = nominal(good, "cinema-review-room")
    sunk = [row for row, level in asked.items() if level >= 0.04 and good.xyz[row, 1] < 1]
    assert text.startswith(f"{len(sunk)} readings of patches brighter than that are below 0.02")


@pytest.mark.parametrize(("share", "expected"), [(0.9, True), (1.1, False)])
def test_a_patch_must_be_clearly_above_the_meters_least(share: float, expected: bool) -> None:
    """Twice as bright as that, by the rule's target, and read below."""
    good = read("cinema-review-room")
    asked = nominal(good, "cinema-review-room")
    dark = sorted((row for row in asked if asked[row] > 0.1), key=lambda row: asked[row])[:3]
    assert len({asked[row] for row in dark}) == 3
    meter = replace(builders.meter(), stated_lowest=share * asked[dark[0]] / 2)
    sunk = with_light(good, {row: good.xyz[row] * 0.1 for row in dark})
    assert ("floor" in noted(sunk, "cinema-review-room", meter=meter)) == expected


@pytest.mark.parametrize("light", [0.02, 50.0])
def test_readings_that_are_all_the_same(light: float) -> None:
    """Not at the meter's end: a meter that was not before the screen, or a file made up."""
    good = read()
    found = noted(replace(good, xyz=np.full_like(good.xyz, light)))
    assert "are the same to the last digit" in found["alike"]
    assert not {"saturation", "floor"} & set(found)
    assert "alike" not in noted(good)


# ---------------------------------------------------------------- room


def job(light: float | None, technology: str = "lcd", **entry: Any) -> Job:
    rule = shipped_rule("sdr-broadcast")
    made = shipped.job(rule, technology)
    place = ReadingsEntry(made.file, "r.csv", NOW, rule.encoding, **entry)
    slot = replace(made.slots[0], readings=place)
    return replace(made, room=Room(surround=10.0, ambient=light), slots=(slot,))


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        (job(4.0), True),
        (job(4.0, ambient="on"), True),
        (job(4.0, ambient="off"), False),
        (job(4.0, geometry="contact"), False),
        (job(400.0), False),  # with that light on, black would read far more than it does
        (job(0.05), False),
        (job(None), False),
    ],
)
def test_light_of_the_room_in_the_black(stated: Job, expected: bool) -> None:
    found = noted(read(), job=stated)
    assert ("ambient-light" in found) == expected


def test_a_lightless_black_that_gives_light() -> None:
    found = noted(read(), job=job(None, "oled"))
    assert "whose black gives no light" in found["ambient-light"]


# ---------------------------------------------------------------- encoding


@pytest.mark.parametrize(
    ("meant", "said"),
    [
        ("rgb-8-full", "rgb-10-full"),
        ("rgb-10-narrow", "rgb-10-full"),
        ("rgb-10-full", "rgb-10-narrow"),
        ("rgb-8-narrow", "rgb-8-full"),
        ("rgb-10-full", "rgb-12-full"),
    ],
)
def test_code_values_of_another_encoding(meant: str, said: str) -> None:
    rule = shipped_rule("web-srgb")
    shown = simulated.ideal(rule, encoding=ENCODINGS[meant], black=0.1)
    good = simulated.readings(shown, ENCODINGS[meant])
    assert "encoding" not in noted(good, "web-srgb")
    wrong = noted(replace(good, encoding=ENCODINGS[said]), "web-srgb")
    assert f"as {said}, and" in wrong["encoding"]
    assert f"would be as {meant}: the code values may be in that" in wrong["encoding"]
    assert "out-of-order" not in wrong


@pytest.mark.parametrize("rule", ["web-srgb", "hdr-pq-1000"])
@pytest.mark.parametrize(
    ("meant", "said"), [("rgb-10-narrow", "rgb-10-full"), ("rgb-8-full", "rgb-12-narrow")]
)
def test_a_part_of_a_session_in_another_encoding(rule: str, meant: str, said: str) -> None:
    """The hint needs no whole plan, and is not given to a part in the right encoding."""
    shown = simulated.ideal(shipped_rule(rule), encoding=ENCODINGS[meant], black=0.001)
    whole = simulated.readings(shown, ENCODINGS[meant])
    random = np.random.RandomState(2)
    for share in (0.3, 0.5, 0.8):
        rows = np.sort(random.choice(len(whole), int(share * len(whole)), replace=False))
        part = simulated.picked(whole, [int(row) for row in rows])
        assert "encoding" not in noted(part, rule)
        wrong = noted(replace(part, encoding=ENCODINGS[said]), rule)
        assert f"would be as {meant}: the code values may be in that" in wrong["encoding"]


def test_a_session_cut_short_is_not_in_another_encoding() -> None:
    good = read()
    few = greys(good)[:5]
    assert "encoding" not in noted(simulated.picked(good, few))


# ---------------------------------------------------------------- backgrounds


def test_patches_on_two_backgrounds() -> None:
    good = read()
    count = len(good)
    unlike = {int(good.codes[row, 0]): row for row in greys(good)}
    every = simulated.picked(good, [*range(count), *list(unlike.values())[:3]])
    xyz = every.xyz.copy()
    xyz[count:] /= 2
    twice = replace(every, xyz=xyz, background=("",) * count + ("grey",) * 3)
    found = noted(twice)
    assert found["backgrounds"].startswith(
        "3 patches were read on several backgrounds: none stated, “grey”. Where a requirement takes"
    )
    alone = assess(Measurement(shipped_rule("sdr-broadcast"), good), now=NOW)
    both = assess(Measurement(shipped_rule("sdr-broadcast"), twice), now=NOW)
    values = [
        [one.value for one in made.state.findings if one.id in ("white-level", "contrast")]
        for made in (alone, both)
    ]
    assert values[0] == values[1]  # of the background that comes first, as the remark says
    many = simulated.picked(good, [*range(count), *[greys(good)[0]] * 5])
    names = ("e", "d", "c", "b", "a")
    text = noted(replace(many, background=("",) * count + names))["backgrounds"]
    assert text.startswith(
        "1 patch was read on several backgrounds: none stated, “a”, “b”, “c” and 2 more. Where"
    )
    stated = replace(good, background=("grey",) * count)
    assert "backgrounds" not in noted(stated)


# ---------------------------------------------------------------- remarks only


def test_no_check_changes_a_verdict() -> None:
    good = read()
    one, other = neighbours(good)
    rule, meter = shipped_rule("sdr-broadcast"), builders.meter()
    odd = with_light(good, {one: good.xyz[other], other: good.xyz[one]})
    assert "out-of-order" in noted(odd)
    measurement = Measurement(rule, odd, meter=meter, job=job(12.0))
    shown = graded_state(measurement, now=NOW, seed=0, draws=0)
    plain = graded_state(Measurement(rule, odd), now=NOW, seed=0, draws=0)
    assert shown.verdict == plain.verdict
    assert [one.value for one in shown.findings if one.quantity == "luminance"] == [
        one.value for one in plain.findings if one.quantity == "luminance"
    ]


def test_an_odd_file_is_no_fault_of_the_program() -> None:
    """One reading, all dark, all alike."""
    rule = shipped_rule("web-srgb")
    shown = simulated.ideal(rule, black=0.1)
    one = simulated.readings(shown[:1], rule.encoding)
    noted(one, "web-srgb")
    every = simulated.readings(shown, rule.encoding)
    for light in (0.0, 1e-6, 50.0):
        noted(replace(every, xyz=np.full_like(every.xyz, light)), "web-srgb")
