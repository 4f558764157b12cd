"""The parts of the measurement model one by one, and its traps."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from unittest.mock import patch

import numpy as np
import pytest
from helpers import builders
from numpy.typing import NDArray

import compliance.grading.measurement_model
import compliance.grading.monte_carlo
from compliance import model
from compliance.assessment import assess
from compliance.documents import assessment_document
from compliance.grading.match import match_readings
from compliance.grading.measurement_model import Draws
from compliance.grading.monte_carlo import findings_of
from compliance.grading.resolution import resolution_of
from compliance.model import (
    ChromaticityBand,
    Finding,
    Limits,
    Linearity,
    LuminanceBand,
    Measurement,
    Meter,
    Outcome,
    Over,
    PatchSet,
    Readings,
    Reason,
    RepeatabilityBand,
    Requirement,
    Rule,
    Saturated,
    Verdict,
)
from compliance.plain_data import canonical_bytes
from compliance.quantities.measured import Measured

Array = NDArray[np.float64]
NOW = datetime(2026, 11, 20, tzinfo=UTC)
D65 = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
QUIET = {"repeatability": ()}


def screen(black: float = 0.05, white: float = 100.0) -> Readings:
    return builders.readings([[255] * 3, [0] * 3], np.array([white, black])[:, None] * D65)


def rule(*requirements: Requirement, **changes: object) -> Rule:
    return builders.rule(builders.target(), *requirements, sets=(builders.HUES,), **changes)  # type: ignore[arg-type]


def found(requirement: Requirement, readings: Readings, meter: Meter, **more: int) -> Finding:
    case = match_readings(rule(requirement), readings, meter=meter)
    count, seed = more.get("count", 4000), more.get("seed", 0)
    return findings_of(case, meter.uncertainty, count=count, seed=seed)[0]


def view_of(readings: Readings, meter: Meter, count: int = 4000) -> Measured:
    case = match_readings(rule(), readings, meter=meter)
    assert meter.uncertainty is not None
    draws = Draws(case, meter.uncertainty, count=count, seed=0)
    parts = [views[0] for views in draws.views(range(len(case.patches)), range(len(case.patches)))]
    joined = np.concatenate([view.xyz for view in parts])
    single = np.concatenate([view.readings for view in parts])
    return parts[0]._replace(xyz=joined, readings=single)


CONTRAST = builders.requirement("contrast", None, limits=Limits(minimum=1000))
LEVEL = builders.requirement("luminance", "white", limits=Limits(95, 105))
SHIFT = builders.requirement("chromaticity-difference", "white", limits=Limits(maximum=0.004))


def test_contrast_of_single_readings_without_repeatability_has_no_probability() -> None:
    one = found(CONTRAST, screen(), builders.meter(0.0, **QUIET))
    assert (one.verdict, one.probability, one.interval) == (Verdict.PASS, None, None)
    assert found(CONTRAST, screen(), builders.meter(0.0)).probability == 1.0


def test_a_single_value_needs_repeatability_too() -> None:
    """Left out, a share of the uncertainty would make the value look surer."""
    assert found(LEVEL, screen(), builders.meter(0.0, **QUIET)).probability is None
    four = builders.readings(
        [[255] * 3] * 4 + [[0] * 3], np.array([99.8, 100, 100.1, 100.2, 0.05])[:, None] * D65
    )
    assert found(LEVEL, four, builders.meter(0.0, **QUIET)).probability is not None


@pytest.mark.parametrize("reference", ["white", "target"])
def test_a_reference_that_is_measured_needs_repeatability(reference: str) -> None:
    hue = builders.requirement(
        "chromaticity-difference", "primaries", reference=reference, limits=Limits(maximum=1)
    )
    readings = builders.readings(
        [[255] * 3, [0] * 3, [255, 0, 0], [0, 255, 0], [0, 0, 255]],
        [100 * D65, 0.05 * D65, [41, 21, 2], [36, 72, 12], [18, 7, 95]],
    )
    silent = found(hue, readings, builders.meter(0.0, **QUIET))
    assert silent.probability is None, "a relative target is scaled to the measured white"
    assert found(hue, readings, builders.meter(0.0)).probability is not None


def test_a_meter_that_says_nothing_of_chromaticity() -> None:
    meter = builders.meter(0.0, chromaticity=())
    assert found(SHIFT, screen(), meter).probability is None
    assert found(LEVEL, screen(), meter).probability is not None


def test_nothing_stated_leaves_plain_verdicts() -> None:
    meter = replace(builders.meter(0.0), uncertainty=None)
    one = found(LEVEL, screen(), meter)
    assert (one.verdict, one.probability, one.interval, one.joint) == (
        Verdict.PASS,
        None,
        None,
        None,
    )


def test_a_dark_black_keeps_its_mean() -> None:
    """Black .0005 with a dark uncertainty of .001: clipping at 0 would raise it to .0007."""
    meter = builders.meter(0.0, luminance=(LuminanceBand(0.0001, 2.0),))
    black = view_of(screen(0.0005), meter, 20_000).xyz[:, 0, 1]
    assert black.mean() == pytest.approx(0.0005, abs=3e-5)
    assert (black < 0).any()
    assert np.maximum(black, 0).mean() > 0.0006


def test_a_red_on_the_edge_of_the_diagram_is_not_refused() -> None:
    """P3 red has x + y = 1 and Z = 0: half of the draws have a negative Z, all count."""
    red = np.array([0.680 / 0.320, 1.0, 0.0]) * 22
    readings = builders.readings([[255] * 3, [0] * 3, [255, 0, 0]], [100 * D65, 0.05 * D65, red])
    drawn = view_of(readings, builders.meter(0.0)).xyz
    place = int(np.argmax(drawn[0, :, 0] / drawn[0].sum(axis=-1) > 0.5))
    assert np.isfinite(drawn).all()
    assert 0.4 < (drawn[:, place, 2] < 0).mean() < 0.6


def test_below_the_floor_x_y_and_z_have_a_dark_part_each() -> None:
    meter = replace(builders.meter(0.0), stated_lowest=0.1)
    dim = builders.readings([[255] * 3, [9] * 3], np.array([100, 0.01])[:, None] * D65)
    black = view_of(dim, meter, 20_000).xyz[:, 0]
    assert np.corrcoef(black.T)[0, 2] < 0.2
    assert black.std(axis=0) == pytest.approx([0.001] * 3, rel=0.05)


def test_what_is_saturated_is_less_sure() -> None:
    """The part per hue is full at a primary and nothing at white (DESIGN of the meter file)."""
    readings = builders.readings(
        [[255] * 3, [0] * 3, [255, 0, 0]], [100 * D65, 0.05 * D65, [41.24, 21.26, 1.93]]
    )
    spread, light = {}, {}
    for name, saturated in (("plain", None), ("more", Saturated(0.01, 0.01, 3.0))):
        drawn = view_of(readings, builders.meter(0.0, saturated=saturated), 20_000).xyz
        xy = drawn[..., :2] / drawn.sum(axis=-1, keepdims=True)
        spread[name], light[name] = xy.std(axis=0), drawn[..., 1].std(axis=0)
    white, red = 2, 1
    assert spread["more"][white] == pytest.approx(spread["plain"][white], rel=0.02)
    expected = np.hypot(spread["plain"][red], 0.005)
    assert spread["more"][red] == pytest.approx(expected, rel=0.03)
    relative = light["more"][red] / light["plain"][red]
    assert relative == pytest.approx(np.sqrt(0.01**2 + 0.015**2) / 0.01, rel=0.05)


def test_a_rows_own_deviation_comes_first() -> None:
    readings = replace(screen(), deviation=np.array([1.5, np.nan]))
    meter = builders.meter(0.0, luminance=(LuminanceBand(0.001, 0.0),), dark=0.0)
    drawn = view_of(readings, meter, 20_000).xyz[..., 1]
    assert drawn.std(axis=0) == pytest.approx([0.05 * 0.003, 1.5], rel=0.03)


def test_repeats_tell_their_own_scatter_with_student_draws() -> None:
    """Five readings: s/√n · t with 4 degrees of freedom (JCGM 101, 6.4.9)."""
    whites = np.array([99.0, 100.0, 101.0, 100.5, 99.5])
    readings = builders.readings(
        [[255] * 3] * 5 + [[0] * 3], np.append(whites, 0.05)[:, None] * D65
    )
    meter = builders.meter(0.0, luminance=(LuminanceBand(0.001, 0.0),), dark=0.0)
    drawn = view_of(readings, meter, 40_000).xyz[:, 1, 1]
    scale = whites.std(ddof=1) / np.sqrt(5)
    low, high = np.quantile(drawn, (0.025, 0.975))
    assert (high - low) / 2 == pytest.approx(2.776 * scale, rel=0.03), "t(.975, 4) = 2.776"


@pytest.mark.parametrize("black", [95.0, 10.0, 1.0])
def test_levels_err_apart_the_more_the_farther_they_lie(black: float) -> None:
    """u 1 % of each level, correlated exp(−decades); repeatability .3 % of each reading."""
    drawn = view_of(screen(black), builders.meter(0.0, dark=0.0), 20_000).xyz[..., 1]
    decades = np.log10(100 / black)
    expected = np.sqrt(2 * 0.01**2 * (1 - np.exp(-decades)) + 2 * 0.003**2)
    assert drawn[:, 1].std() / drawn[:, 1].mean() == pytest.approx(np.hypot(0.01, 0.003), rel=0.02)
    assert np.log(drawn[:, 1] / drawn[:, 0]).std() == pytest.approx(expected, rel=0.03)


def test_with_a_stated_linearity_the_rest_is_common() -> None:
    meter = builders.meter(0.0, dark=0.0, linearity=Linearity(relative=0.4))
    drawn = view_of(screen(1.0), meter, 20_000).xyz[..., 1]
    expected = np.sqrt(2 * 0.002**2 * (1 - np.exp(-2)) + 2 * 0.003**2)
    assert np.log(drawn[:, 1] / drawn[:, 0]).std() == pytest.approx(expected, rel=0.03)
    assert drawn[:, 1].std() / drawn[:, 1].mean() == pytest.approx(np.hypot(0.01, 0.003), rel=0.02)


@pytest.mark.parametrize(("linearity", "apart"), [(Linearity(), 1 / 3), (Linearity(xy=0.001), 0.5)])
def test_a_part_of_chromaticity_errs_by_level(linearity: Linearity, apart: float) -> None:
    """Of U(x) = .002 a third, or the stated .001, differs from level to level."""
    meter = builders.meter(0.0, linearity=linearity, repeatability=(RepeatabilityBand(0, 0, 0, 0),))
    drawn = view_of(screen(1.0), meter, 20_000).xyz
    x = drawn[..., 0] / drawn.sum(axis=-1)
    assert x.std(axis=0) == pytest.approx([0.001, 0.001], rel=0.02)
    expected = apart * 0.001 * np.sqrt(2 * (1 - np.exp(-2)))
    assert (x[:, 1] - x[:, 0]).std() == pytest.approx(expected, rel=0.03)


def test_a_patch_more_changes_no_other_draw() -> None:
    few, more = (
        screen(),
        builders.readings(
            [[255] * 3, [0] * 3, [99] * 3], np.array([100.0, 0.05, 12.0])[:, None] * D65
        ),
    )
    meter = builders.meter(0.2)
    one, two = view_of(few, meter, 500).xyz, view_of(more, meter, 500).xyz
    assert np.array_equal(one[:, 0], two[:, 0]) and np.array_equal(one[:, 1], two[:, 2])


def test_equal_repeats_share_the_error_of_their_last_digit() -> None:
    """±.005 uniform is .00289; of two different readings half each, of five equal ones whole."""
    quiet = {"luminance": (LuminanceBand(0.0, 0.0),), "dark": 0.0, "resolution": 0.01}
    meter = builders.meter(0.0, **quiet, repeatability=(RepeatabilityBand(0, 0, 0, 0),))
    for reads, share in (([0.05] * 5, 1.0), ([0.05, 0.06], np.sqrt(0.5))):
        readings = builders.readings(
            [[0] * 3] * len(reads) + [[255] * 3], np.append(reads, 100.0)[:, None] * np.ones(3)
        )
        drawn = view_of(readings, meter, 20_000).xyz[:, 0, 1]
        assert drawn.std() == pytest.approx(share * 0.01 / np.sqrt(12), rel=0.02)
        assert abs(drawn - np.mean(reads)).max() <= 0.005 + 1e-12


HUNDREDS = [100.1, 112.5, 130.3, 150.9, 180.2]
UNITS = [1.13, 2.27, 3.38, 4.49, 5.57]


@pytest.mark.parametrize(
    ("others", "read", "step", "known"),
    [
        (UNITS, 1.5, 0.01, True),
        (UNITS, 0.35, 0.01, False),  # as many decimals as the units, and it is a multiple of that
        (UNITS, 0.3512, 0.0001, False),  # no multiple of more
        (UNITS, 35.0, 0.1, False),  # as many digits as the units
        (UNITS, 35.27, 0.01, False),
        (HUNDREDS, 30.0, 0.1, False),
        (HUNDREDS, 100.0, 0.1, True),
        ([], 100.0, 1.0, False),  # three digits
        ([], 100.03, 0.01, False),
        ([], 0.35, 0.001, False),
    ],
)
def test_a_last_digit_is_not_finer_than_readings_allow(
    others: list[float], read: float, step: float, known: bool
) -> None:
    light = np.array([*others, read])
    found = resolution_of(light[:, None] * D65, None)
    assert found.step[-1] == pytest.approx(step)
    assert found.known[-1] == known


def test_a_coarse_last_digit_counts_where_it_is_not_told() -> None:
    """A white of 35.0 beside units with two decimals: the meter may show three digits, ± .05."""
    quiet = {"luminance": (LuminanceBand(0.0, 0.0),), "dark": 0.0, "resolution": None}
    meter = builders.meter(0.0, **quiet, repeatability=(RepeatabilityBand(0, 0, 0, 0),))
    codes = [[255] * 3, *([60 + 20 * step] * 3 for step in range(5))]
    readings = builders.readings(codes, np.array([35.0, *UNITS])[:, None] * D65)
    drawn = view_of(readings, replace(meter, stated_lowest=0.003), 20_000).xyz[..., 1]
    assert drawn.std(axis=0)[-1] == pytest.approx(0.1 / np.sqrt(12), rel=0.02)
    assert drawn.std(axis=0)[0] == pytest.approx(0.01 / np.sqrt(12), rel=0.02)


def test_repeats_without_scatter_take_the_meters_own() -> None:
    readings = builders.readings(
        [[255] * 3] * 4 + [[0] * 3], np.array([100.0] * 4 + [0.05])[:, None] * D65
    )
    quiet = {"luminance": (LuminanceBand(0.0, 0.0),), "dark": 0.0}
    stated = view_of(readings, builders.meter(0.0, **quiet), 20_000).xyz[:, 1, 1]
    assert stated.std() == pytest.approx(0.3 / 2, rel=0.03)
    assert found(LEVEL, readings, builders.meter(0.0, **quiet, **QUIET)).probability is None


@pytest.mark.parametrize("left_out", ["dark", "resolution"])
def test_what_decides_in_the_dark_is_not_left_out(left_out: str) -> None:
    """Below a hundred times the lowest luminance a probability needs zero and last digit."""
    meter = replace(builders.meter(0.0, **{left_out: None}), stated_lowest=0.01)
    black = builders.requirement("luminance", "black", limits=Limits(maximum=0.1))
    assert found(black, screen(0.05), meter).probability is None
    assert found(black, screen(0.05), replace(builders.meter(0.0), stated_lowest=0.01)).probability
    assert found(LEVEL, screen(), meter).probability is not None


def test_a_black_under_the_lowest_luminance_may_be_anything_up_to_it() -> None:
    meter = replace(builders.meter(0.0), stated_lowest=0.01)
    drawn = view_of(screen(0.004), meter, 20_000).xyz[:, 0, 1]
    assert drawn.min() >= 0 and drawn.max() <= 0.01
    assert drawn.mean() == pytest.approx(0.005, rel=0.02)


def test_a_first_band_says_nothing_of_what_lies_below() -> None:
    meter = replace(builders.meter(0.0, luminance=(LuminanceBand(1.0, 2.0),)), stated_lowest=0.001)
    black = builders.requirement("luminance", "black", limits=Limits(maximum=0.1))
    assert found(black, screen(0.05), meter).probability is None


def test_a_colour_needs_the_error_of_its_hue() -> None:
    red = builders.requirement(
        "luminance", Over(("primaries",), only=("red",)), limits=Limits(10, 30)
    )
    hue = builders.requirement(
        "chromaticity-difference",
        Over(("primaries",), only=("red",)),
        limits=Limits(maximum=0.01),
    )
    readings = builders.readings(
        [[255] * 3, [0] * 3, [255, 0, 0]], [100 * D65, 0.05 * D65, [41.24, 21.26, 1.93]]
    )
    for requirement, saturated, known in (
        (red, None, False),
        (red, Saturated(0.001, 0.001), False),
        (red, Saturated(0.001, 0.001, 1.0), True),
        (hue, None, False),
        (hue, Saturated(0.001, 0.001), True),
    ):
        one = found(requirement, readings, builders.meter(0.0, saturated=saturated))
        assert (one.probability is not None) is known


def test_chunks_do_not_change_the_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = view_of(screen(), builders.meter(0.2), 1000)
    monkeypatch.setattr(compliance.grading.measurement_model, "CHUNK", 2 * 130)
    parts = view_of(screen(), builders.meter(0.2), 1000)
    assert np.array_equal(whole.xyz, parts.xyz)
    assert np.array_equal(whole.readings, parts.readings)


def test_the_stream_is_frozen() -> None:
    """Numbers of a release must come out again: the first draws, to the last digit."""
    drawn = view_of(screen(), builders.meter(0.2), 3).xyz
    assert drawn[:, 1, 1] == pytest.approx(FROZEN, rel=1e-13)


FROZEN = [99.82738374310769, 99.44106485830405, 100.49150106339437]


def test_the_order_of_rows_changes_nothing() -> None:
    forward = builders.readings(
        [[255] * 3, [0] * 3, [255] * 3], np.array([100, 0.05, 101])[:, None] * D65
    )
    order = [2, 1, 0]
    backward = builders.readings(forward.codes[order], forward.xyz[order])
    meter = builders.meter(0.2)
    for requirement in (CONTRAST, LEVEL, SHIFT):
        assert found(requirement, forward, meter) == found(requirement, backward, meter)


def test_same_input_same_document() -> None:
    meter = builders.meter(0.2)
    made = [
        canonical_bytes(
            assessment_document(
                assess(Measurement(rule(LEVEL, CONTRAST), screen(), meter=meter), now=NOW)
            )
        )
        for _ in range(2)
    ]
    assert made[0] == made[1]
    with patch("compliance.assessment.SEED", 1):
        other = assess(Measurement(rule(LEVEL, CONTRAST), screen(), meter=meter), now=NOW)
    assert canonical_bytes(assessment_document(other)) != made[0]


@pytest.mark.parametrize(
    ("white", "acceptance", "expected"),
    [
        (100.0, "guarded", (Outcome.COMPLIANT, None, False)),
        (104.5, "simple", (Outcome.COMPLIANT, None, True)),
        (104.5, "guarded", (Outcome.UNDECIDED, Reason.UNCERTAINTY, False)),
        (105.5, "guarded", (Outcome.NOT_COMPLIANT, None, True)),
        (112.0, "simple", (Outcome.NOT_COMPLIANT, None, False)),
    ],
)
def test_the_decision_rules(white: float, acceptance: str, expected: object) -> None:
    decision = model.Decision(acceptance, 0.95)
    made = assess(
        Measurement(rule(LEVEL, decision=decision), screen(0.05, white), meter=builders.meter(0.2)),
        now=NOW,
    )
    assert (made.verdict, made.state.reason, made.state.conditional) == expected


def test_each_is_decided_point_by_point() -> None:
    """Probability is the smallest of the points', joint the share with all inside at once."""
    some = PatchSet(
        name="some",
        kind="list",
        patches=(("one", (255, 255, 255)), ("two", (200, 200, 200))),
        encoding=model.ENCODINGS["rgb-8-full"],
    )
    requirement = builders.requirement("luminance", "some", limits=Limits(60, 101))
    readings = builders.readings(
        [[255] * 3, [200] * 3, [0] * 3], np.array([100.5, 60.8, 0.05])[:, None] * D65
    )
    meter = builders.meter(0.2)
    case = match_readings(
        builders.rule(builders.target(), requirement, sets=(some,)), readings, meter=meter
    )
    (one,) = findings_of(case, meter.uncertainty, count=20_000, seed=0)
    probabilities = [point.probability for point in one.points]
    assert one.probability == min(p for p in probabilities if p is not None)
    assert one.joint is not None and one.joint < one.probability
    assert one.verdict is Verdict.CONDITIONAL_PASS
    assert one.value == pytest.approx(100.5)


def test_only_what_requirements_use_is_drawn_of_very_many_patches(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same findings to the last bit, with a lifted black that the meter cannot see."""
    codes = np.array(
        [[level] * 3 for level in range(0, 256, 5)] + [[200, 10, n] for n in range(99)]
    )
    signal = codes / 255
    light = 100 * (signal * 0.99 + 0.01) ** 2.4
    readings = builders.readings(codes, light @ np.diag(D65))
    requirements = (
        LEVEL,
        replace(CONTRAST, id="contrast"),
        replace(
            builders.requirement(
                "luminance-error", Over(("grey",), target=(0.1, 100)), limits=Limits(-5, 5)
            ),
            id="tracking",
        ),
        replace(
            builders.requirement(
                "luminance-error", "grey", statistic="mean", limits=Limits(maximum=3)
            ),
            id="mean",
        ),
    )
    rule = builders.rule(builders.target(), *requirements, sets=(builders.ramp(11),))
    meter = replace(builders.meter(0.1), stated_lowest=0.01)
    case = match_readings(rule, readings, meter=meter)
    assert case.hidden_blacks.any()
    whole = findings_of(case, meter.uncertainty, count=500, seed=0)
    monkeypatch.setattr(compliance.grading.monte_carlo, "MANY_PATCHES", 10)
    assert findings_of(case, meter.uncertainty, count=500, seed=0) == whole
    assert all(one.probability is not None for one in whole)


def test_a_grey_without_light_is_not_dropped() -> None:
    """A reading of 0 0 0 has no chromaticity; the other greys alone must not pass."""
    codes = np.array([[level] * 3 for level in (0, 76, 128, 255)])
    light = np.array([0.0, 0.0, 22.0, 100.0])
    bands = (ChromaticityBand(0.0, 0.002, 0.002),)
    meter = builders.meter(0.0, luminance=(LuminanceBand(0.0, 2.0),), chromaticity=bands)
    some = PatchSet(
        name="some",
        kind="list",
        patches=(("dark", (76, 76, 76)), ("mid", (128, 128, 128))),
        encoding=model.ENCODINGS["rgb-8-full"],
    )
    requirement = builders.requirement(
        "chromaticity-difference", "some", limits=Limits(maximum=0.01)
    )
    case = match_readings(
        builders.rule(builders.target(), requirement, sets=(some,)),
        builders.readings(codes, light[:, None] * D65),
        meter=meter,
    )
    (one,) = findings_of(case, meter.uncertainty, count=500, seed=0)
    assert (one.verdict, one.reason) == (Verdict.NOT_ASSESSED, Reason.METER)


@pytest.mark.parametrize(
    ("quantity", "statistic"), [("luminance", "mean"), ("luminance", "spread")]
)
def test_below_the_lowest_luminance_no_statistic_is_taken(quantity: str, statistic: str) -> None:
    requirement = builders.requirement(
        quantity, "grey", statistic=statistic, limits=Limits(maximum=200)
    )
    readings = builders.readings(
        [[0] * 3, [128] * 3, [255] * 3], np.array([0.004, 22.0, 100.0])[:, None] * D65
    )
    rule = builders.rule(builders.target(), requirement, sets=(builders.ramp(3),))
    meter = replace(builders.meter(0.0), stated_lowest=0.01)
    case = match_readings(rule, readings, meter=meter)
    (one,) = findings_of(case, meter.uncertainty, count=500, seed=0)
    assert (one.verdict, one.reason) == (Verdict.NOT_ASSESSED, Reason.METER)


def test_a_deviation_of_zero_states_nothing() -> None:
    readings = replace(screen(), deviation=np.array([0.0, 0.0]))
    drawn = view_of(readings, builders.meter(0.0), 20_000).xyz[..., 1]
    plain = view_of(screen(), builders.meter(0.0), 20_000).xyz[..., 1]
    assert np.array_equal(drawn, plain)
    assert found(LEVEL, readings, builders.meter(0.0, **QUIET)).probability is None


def test_a_lowest_of_zero_is_no_perfect_zero() -> None:
    black = builders.requirement("luminance", "black", limits=Limits(maximum=0.1))
    assert found(black, screen(), builders.meter(0.0, dark=None)).probability is None


def test_few_greys_tell_no_hidden_black() -> None:
    """White and one grey are one datum for two unknowns: the black is drawn instead."""
    meter = replace(builders.meter(0.0), stated_lowest=0.01)
    for codes, told in (([128], False), ([60, 90, 128, 200], True)):
        levels = np.array([0, *codes, 255])
        light = 100 * (0.99 * levels / 255 + 0.01) ** 2.4
        light[0] = 0.003
        readings = builders.readings(levels[:, None] * [1, 1, 1], light[:, None] * D65)
        case = match_readings(rule(), readings, meter=meter)
        assert bool(case.view.exponents) is told
