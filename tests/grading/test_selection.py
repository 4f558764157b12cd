"""Which patches a requirement takes, and which of them count: cases that once went wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from helpers import builders
from numpy.typing import NDArray

from compliance import model, targets
from compliance.colour import pq, spaces
from compliance.errors import RuleError
from compliance.grading.grade import evaluate
from compliance.grading.match import match_readings
from compliance.grading.monte_carlo import findings_of
from compliance.grading.patches import Plan
from compliance.model import (
    ENCODINGS,
    Finding,
    Limits,
    Meter,
    Over,
    PatchSet,
    Readings,
    Reason,
    RepeatabilityBand,
    Requirement,
    Verdict,
)
from compliance.pictures.data import picture_data
from compliance.planning.meter_capability import capability
from compliance.report.words import note_text
from compliance.targets import target_model

D65 = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
LEVELS = np.array([0, 64, 128, 191, 255])
WIDE = Limits(minimum=4.0)
MID = PatchSet(
    "some", "list", patches=(("mid", (128, 128, 128)),), encoding=ENCODINGS["rgb-8-full"]
)


def greys(levels: NDArray[Any] = LEVELS, **more: Any) -> Readings:
    light = np.maximum(100 * (levels / 255) ** 2.4, 0.05)
    return builders.readings(levels[:, None] * [1, 1, 1], light[:, None] * D65, **more)


def found(
    requirement: Requirement,
    readings: Readings,
    *sets: PatchSet,
    meter: Meter | None = None,
    target: Any = None,
    encoding: str = "rgb-8-full",
) -> Finding:
    rule = builders.rule(
        target or builders.target("power", exponent=2.4), requirement, sets=sets, encoding=encoding
    )
    case = match_readings(rule, readings, meter=meter)
    uncertainty = meter.uncertainty if meter else None
    return findings_of(case, uncertainty, count=500 if meter else 0, seed=0)[0]


# ------------------------------------------------------------ ramps


@pytest.mark.parametrize(
    ("narrowing", "names"),
    [
        ({"only": ("grey 50 %",)}, ["grey 50 %"]),
        ({"exclude": ("grey 0 %", "grey 25 %")}, ["grey 50 %", "grey 75 %", "grey 100 %"]),
    ],
)
def test_only_and_except_hold_on_a_ramp(narrowing: dict[str, Any], names: list[str]) -> None:
    over = Over(("grey",), **narrowing)
    one = found(builders.requirement("luminance", over, limits=WIDE), greys(), builders.ramp(5))
    assert [point.name for point in one.points] == names
    assert one.verdict is Verdict.PASS


def test_a_neutral_beside_a_level_goes_with_it() -> None:
    levels = np.array([0, 64, 70, 128, 191, 255])
    names = {name: Limits(0, 200) for name in ("grey 0 %", "grey 25 %", "grey 50 %", "grey 75 %")}
    names["grey 100 %"] = Limits(0, 200)
    by_patch = builders.requirement("luminance", "grey", limits=None, by_patch=names)
    assert len(found(by_patch, greys(levels), builders.ramp(5)).points) == 6
    out = builders.requirement(
        "luminance", Over(("grey",), exclude=("grey 25 %",)), limits=Limits(0, 200)
    )
    codes = [point.patch[0] for point in found(out, greys(levels), builders.ramp(5)).points]
    assert codes == [0, 128, 191, 255]


def test_a_mean_leaves_out_what_is_out_of_range() -> None:
    levels = np.array([0, 64, 105, 191, 255])
    light = np.maximum(100 * (levels / 255) ** 2.4, 0.05)
    light[2] *= 1.5
    readings = builders.readings(levels[:, None] * [1, 1, 1], light[:, None] * D65)
    over = Over(("grey",), target=(13.0, 100.0))
    mean = builders.requirement("luminance-error", over, statistic="mean", limits=Limits(-5, 5))
    one = found(mean, readings, builders.ramp(5))
    assert 105 not in [point.patch[0] for point in one.points]
    assert one.value == pytest.approx(0, abs=0.2)


# ------------------------------------------------------------ places


def coloured(window: float, dull: float) -> Readings:
    hues = 100 * np.array(
        [[0.4124, 0.2126, 0.0193], [0.3576, 0.7152, 0.1192], [0.18, 0.0722, 0.95]]
    )
    grey = np.array([21.3, 71.5, 7.2])[:, None] * D65
    codes = [[255, 0, 0], [0, 255, 0], [0, 0, 255]]
    return builders.readings(
        codes * 2 + [[255] * 3, [0] * 3],
        np.concatenate([hues, (1 - dull) * hues + dull * grey, [100 * D65, 0.01 * D65]]),
        window=[100] * 3 + [window] * 3 + [100] * 2,
    )


def test_coverage_is_taken_where_over_says() -> None:
    over = Over(("primaries",), window=(10.0,))
    limits = Limits(minimum=95)
    small = builders.requirement("gamut-coverage", over, limits=limits)
    large = builders.requirement("gamut-coverage", None, limits=limits)
    assert found(large, coloured(10.0, 0.2), builders.HUES).verdict is Verdict.PASS
    assert found(small, coloured(10.0, 0.2), builders.HUES).verdict is Verdict.FAIL


def test_contrast_takes_one_place() -> None:
    two = builders.requirement("contrast", Over((), position=("centre", "left")), limits=WIDE)
    with pytest.raises(RuleError, match="one window and one position"):
        found(two, greys())


def test_a_checkerboard_keeps_to_its_places() -> None:
    readings = builders.readings(
        [[255] * 3, [0] * 3] * 2,
        np.array([50, 0.25, 50, 1.0])[:, None] * D65,
        position=("centre", "centre", "left", "left"),
        pattern=("checkerboard",) * 4,
    )
    left = builders.requirement(
        "checkerboard-contrast", Over((), position=("left",)), limits=Limits(minimum=100)
    )
    assert found(left, readings).value == pytest.approx(50)
    everywhere = builders.requirement("checkerboard-contrast", None, limits=Limits(minimum=10))
    assert found(everywhere, readings).value == pytest.approx(100 / 1.25)


@pytest.mark.parametrize("quantity", ["fitted-exponent", "monotonicity", "non-uniformity"])
def test_windows_are_not_mixed(quantity: str) -> None:
    both = greys(np.concatenate([LEVELS, LEVELS]), window=[100] * 5 + [10] * 5)
    over = Over(("grey",), window=(10.0, 100.0))
    with pytest.raises(RuleError, match="compares patches of one window"):
        found(builders.requirement(quantity, over, limits=WIDE), both, builders.ramp(5))


# ------------------------------------------------------------ anchors


def screen(values: tuple[float, ...]) -> Readings:
    places = ("centre", "top-left", "top-right", "bottom-left", "bottom-right")
    return builders.readings([[255] * 3] * 5, np.array(values)[:, None] * D65, position=places)


SCREEN = PatchSet(
    name="screen",
    kind="positions",
    positions=("centre", "top-left", "top-right", "bottom-left", "bottom-right"),
    of="white",
)


@pytest.mark.parametrize(
    ("statistic", "expected"),
    [("spread", 15.0), ("pairwise", 15.0), ("mean", (100 + 85 + 86 + 86 + 87) / 5), ("each", 85.0)],
)
def test_the_centre_counts_where_patches_are_compared(statistic: str, expected: float) -> None:
    limits = Limits(maximum=10) if statistic in ("spread", "pairwise") else Limits(minimum=80)
    requirement = builders.requirement(
        "relative-luminance", "screen", statistic=statistic, limits=limits
    )
    one = found(requirement, screen((100, 85, 86, 86, 87)), SCREEN)
    assert one.value == pytest.approx(expected)


def test_pairwise_may_ignore_luminance() -> None:
    requirement = builders.requirement(
        "delta-e-2000",
        "screen",
        statistic="pairwise",
        ignore_luminance=True,
        limits=Limits(maximum=1),
    )
    readings = screen((100, 85, 90, 90, 90))
    full = builders.readings(
        [*readings.codes, [0] * 3],
        [*readings.xyz, [0.01] * 3],
        position=(*readings.position, "centre"),
    )
    assert found(requirement, full, SCREEN).value == pytest.approx(0, abs=1e-6)


def test_white_counts_above_a_stated_black() -> None:
    target = builders.target("power", exponent=2.2, black_level=0.0)
    requirement = builders.requirement(
        "luminance-error", "white", above_black=True, limits=Limits(-1, 1)
    )
    readings = builders.readings([[255] * 3, [0] * 3], np.array([100, 3])[:, None] * D65)
    one = found(requirement, readings, target=target)
    assert (one.verdict, one.value) == (Verdict.FAIL, pytest.approx(-3.0))


def test_only_anchors_say_so() -> None:
    one = found(builders.requirement("luminance-error", "white", limits=Limits(-1, 1)), greys())
    assert one.verdict is Verdict.NOT_ASSESSED
    assert note_text(one) == "every difference here is zero by construction"


# ------------------------------------------------------------ targets and draws


def test_a_target_without_its_black_is_not_told() -> None:
    readings = builders.readings([[128] * 3, [255] * 3], np.array([19, 100])[:, None] * D65)
    requirement = builders.requirement(
        "chromaticity-difference", "some", reference="white", limits=Limits(maximum=1)
    )
    assert found(requirement, readings, MID).points[0].target is None


def test_the_clipping_level_of_an_absolute_target_has_draws() -> None:
    codes = np.arange(0, 1024, 93)
    light = np.minimum(np.asarray(pq.pq(codes / 1023)), 700.0)
    readings = builders.readings(
        np.repeat(codes[:, None], 3, 1), light[:, None] * D65, "rgb-10-full"
    )
    requirement = builders.requirement("clipping-level", "grey", limits=Limits(minimum=600))
    one = found(
        requirement,
        readings,
        builders.ramp(12),
        meter=replace(builders.meter(0.0), stated_lowest=0.001),
        target=builders.pq(),
        encoding="rgb-10-full",
    )
    assert one.verdict is Verdict.PASS, "codes above the peak are what shows the clipping"
    assert one.probability == 1.0


def test_hlg_additivity_needs_the_white_it_is_fitted_to() -> None:
    target = builders.target(
        "hlg", luminance_white=1000.0, primaries=builders.BT2020, container=builders.BT2020
    )
    requirement = builders.requirement("additivity", None, limits=Limits(-5, 5))
    rule = builders.rule(target, requirement, encoding="rgb-10-full", sets=(builders.HUES,))
    plan = Plan(rule, ENCODINGS["rgb-10-full"])
    hues = plan.patches("primaries")
    patches = [*hues, plan.white_of_drive(builders.HUES, hues[0]), *plan.patches("black")]
    signal = np.array([patch.signal for patch in patches])
    light = targets.target_xyz(signal, plan.model, np.full(5, 1000.0), np.full(5, 0.01))
    readings = builders.readings(np.rint(signal * 1023), light, "rgb-10-full")
    assert evaluate(requirement, match_readings(rule, readings)).missing == ("white",)


def test_a_bound_that_proves_nothing_has_no_probability() -> None:
    meter = replace(builders.meter(0.0), stated_lowest=0.06)
    readings = builders.readings([[255] * 3, [0] * 3], np.array([100, 0.02])[:, None] * D65)
    requirement = builders.requirement("contrast", None, limits=Limits(minimum=4000))
    one = found(requirement, readings, meter=meter)
    assert (one.verdict, one.reason) == (Verdict.NOT_ASSESSED, Reason.METER)
    assert (one.probability, one.interval) == (None, None)
    board = builders.readings(
        readings.codes, readings.xyz, pattern=("checkerboard", "checkerboard")
    )
    requirement = builders.requirement("checkerboard-contrast", None, limits=Limits(minimum=4000))
    assert found(requirement, board, meter=meter).reason is Reason.METER


def test_an_added_black_is_fitted_as_it_was_made() -> None:
    target = builders.target("bt1886", black="add")
    signal = LEVELS / 255
    light = 0.3 + 99.7 * signal**2.4
    readings = builders.readings(LEVELS[:, None] * [1, 1, 1], light[:, None] * D65)
    over = Over(("grey",), signal=(0.1, 0.9))
    requirement = builders.requirement("fitted-exponent", over, limits=Limits(2.3, 2.5))
    assert found(requirement, readings, builders.ramp(5), target=target).value == pytest.approx(2.4)


def test_coverage_without_a_repeatable_white() -> None:
    """Red, green and blue read five times each: white takes no part and need not repeat."""
    once = coloured(10.0, 0.0)
    rows = [0, 1, 2] * 5 + [6, 7]
    noise = np.random.default_rng(3).standard_normal((len(rows), 3))
    readings = builders.readings(once.codes[rows], once.xyz[rows] * (1 + 1e-4 * noise))
    requirement = builders.requirement("gamut-coverage", None, limits=Limits(minimum=90))
    meter = builders.meter(0.0, repeatability=())
    assert found(requirement, readings, builders.HUES, meter=meter).probability is not None


def test_percentile_ranks_are_whole_numbers() -> None:
    """28 % of 25 is the 7th; in floating point it is 7.000000000000001."""
    codes = np.arange(200, 225)
    patches = tuple((f"p-{code}", (int(code),) * 3) for code in codes)
    some = PatchSet("some", "list", patches=patches, encoding=ENCODINGS["rgb-8-full"])
    requirement = builders.requirement(
        "luminance", "some", statistic="percentile", percentile=28.0, limits=Limits(0, 100)
    )
    light = np.arange(1.0, 26.0)
    readings = builders.readings(codes[:, None] * [1, 1, 1], light[:, None] * D65)
    assert found(requirement, readings, some).value == 7.0


# ------------------------------------------------------------ signals


def test_neutral_triples_of_a_pq_cinema_signal() -> None:
    """DCI HDR Addendum 1.2, Tables 7 and 8, rows of X″Y″Z″: within a code of the true neutral."""
    target = builders.pq(299.6, luminance_white=299.6, container=None)
    model = target_model(builders.rule(target, encoding="xyz-12-full"), ENCODINGS["xyz-12-full"])
    table = np.array([[250, 255, 265], [603, 614, 632], [1444, 1462, 1492], [2350, 2372, 2408]])
    assert targets.neutral(table / 4095, model).all()
    wrong = np.array([[252, 255, 258], [99, 100, 101], [595, 600, 609]])
    assert not targets.neutral(wrong / 4095, model).any()
    made = targets.neutral_triple(table[:, 1] / 4095, model)
    xy = spaces.xyz_to_xy(targets.nominal_xyz(made, model))
    assert xy == pytest.approx(np.full((4, 2), builders.D65), abs=0.0015)


def test_what_no_cinema_display_shows_is_above_the_peak() -> None:
    model = target_model(
        builders.rule(builders.cinema(), encoding="xyz-12-full"), ENCODINGS["xyz-12-full"]
    )
    codes = np.array([[4095] * 3, [3900, 4071, 3999], [3794, 3960, 3890], [3795, 3961, 3891]])
    assert targets.above_peak(codes / 4095, model).tolist() == [True, True, False, False]


PUBLISHED = {
    "red": (2901, 2171, 0),
    "green": (2417, 3493, 1222),
    "blue": (2014, 1416, 3816),
}
"""X'Y'Z' at 48 cd/m²: red and green computed from SMPTE ST 428-1; blue as published tables have it,
a code up in each channel (SMPTE RP 431-2, from memory)."""


def cinema_colours(codes: NDArray[Any]) -> tuple[Finding, ...]:
    """Luminance errors of the primaries of a rule, of a display that follows ST 428-1 exactly."""
    white = np.array([[3794, 3960, 3890], [0, 0, 0]])
    every = np.vstack([codes, white])
    readings = builders.readings(every, 52.37 * (every / 4095) ** 2.6, "xyz-12-full")
    requirement = builders.requirement("luminance-error", "primaries", limits=Limits(-1e-3, 1e-3))
    rule = builders.rule(
        builders.cinema(), requirement, encoding="xyz-12-full", sets=(builders.HUES,)
    )
    return findings_of(match_readings(rule, readings), None, count=0, seed=0)


def test_published_cinema_codes_are_the_planned_ones_within_a_code() -> None:
    """The target is that of the code that was read: an exact display has no error."""
    (one,) = cinema_colours(np.array(list(PUBLISHED.values())))
    assert (one.verdict, one.missing, len(one.points)) == (Verdict.PASS, (), 3)
    (other,) = cinema_colours(np.array([*list(PUBLISHED.values())[:2], (2015, 1415, 3815)]))
    assert (other.verdict, other.missing) == (Verdict.NOT_ASSESSED, ("blue",))


def test_of_two_neighbouring_cinema_codes_the_nearest_is_taken() -> None:
    primaries = list(PUBLISHED.values())
    exact = (2013, 1415, 3815)
    for order in ([*primaries, exact], [exact, *primaries]):
        (one,) = cinema_colours(np.array(order))
        assert exact in [point.patch for point in one.points]
        assert len(one.points) == 3
    nearer = (2013, 1415, 3816)
    (one,) = cinema_colours(np.array([*primaries, nearer]))
    assert nearer in [point.patch for point in one.points], "one channel is off, not three"


def test_a_list_in_eight_bits_meets_ten_bit_readings() -> None:
    requirement = builders.requirement("luminance", "some", limits=Limits(0, 100))
    for code, met in ((511, False), (512, True), (515, True), (516, False)):
        readings = builders.readings([[code] * 3], [20 * D65], "rgb-10-full")
        one = found(requirement, readings, MID, encoding="rgb-10-full")
        assert (one.missing == ()) is met, code


# ------------------------------------------------------------ pictures and capability


def test_limits_in_the_picture_are_those_of_the_window() -> None:
    small = builders.requirement(
        "luminance-error", Over(("grey",), window=(10.0,)), limits=Limits(-20, 20)
    )
    large = replace(
        builders.requirement("luminance-error", "grey", limits=Limits(-2, 2)), id="large"
    )
    rule = builders.rule(
        builders.target("power", exponent=2.4), small, large, sets=(builders.ramp(5),)
    )
    both = greys(np.concatenate([LEVELS, LEVELS]), window=[100] * 5 + [10] * 5)
    case = match_readings(rule, both)
    made = picture_data(case, findings_of(case, None, count=0, seed=0))
    level = made.levels[2]
    assert level.low == pytest.approx(0.98 * level.target)


@pytest.mark.parametrize("repeats", [3, 4, 6])
def test_capability_takes_repeatability_from_the_file_however_often_white_is_read(
    repeats: int,
) -> None:
    again = PatchSet("again", "repeats", repeats=repeats, of="white")
    requirement = builders.requirement("stability", "again", limits=Limits(maximum=2))
    rule = builders.rule(builders.target(), requirement, sets=(again,))
    meter = builders.meter(0.0, repeatability=(RepeatabilityBand(0.0, 0.1, 0.0, 0.0),))
    (row,) = capability(rule, meter)
    assert row.ratio == pytest.approx(2 / (1.645 * 100 * 2**0.5 * 0.0005), rel=0.05)
    (silent,) = capability(rule, builders.meter(0.0, repeatability=()))
    assert silent.ratio is None


def test_capability_follows_the_rules_confidence() -> None:
    requirement = builders.requirement("luminance", "white", limits=Limits(minimum=80))
    ratios = [
        capability(
            builders.rule(
                builders.target(), requirement, decision=model.Decision("simple", confidence)
            ),
            builders.meter(0.0),
        )[0].ratio
        for confidence in (0.95, 0.99)
    ]
    assert ratios[0] / ratios[1] == pytest.approx(2.326 / 1.645, rel=1e-3)  # type: ignore[operator]
