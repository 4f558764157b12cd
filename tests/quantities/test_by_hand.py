"""Every quantity of the catalogue on readings whose value is known by other means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers import builders
from numpy.typing import NDArray

from compliance import model, targets
from compliance.colour import pq, spaces, transfer
from compliance.grading.grade import evaluate
from compliance.grading.match import match_readings
from compliance.grading.patches import Plan
from compliance.model import (
    Certificate,
    Finding,
    Limits,
    Meter,
    Over,
    PatchSet,
    Readings,
    Reason,
    Rule,
    Target,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES
from compliance.report.words import reason_text

Array = NDArray[np.float64]
WHITE = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
LEVELS = np.arange(0, 256, 15)


def meter(lowest: float) -> Meter:
    return Meter(
        name="m",
        kind="colorimeter",
        make=None,
        model=None,
        serial=None,
        certificate=Certificate(None, None, None, None),
        uncertainty=None,
        stated_lowest=lowest,
        settle=None,
        reading_time=(),
        correction=None,
        document={},
        file="m.yaml",
        sha256="",
    )


def graded(rule: Rule, readings: Readings, lowest: float = 0.0) -> Finding:
    return evaluate(
        rule.requirements[0],
        match_readings(rule, readings, meter=meter(lowest) if lowest else None),
    )


def greys(luminance: Array, levels: Array = LEVELS) -> Readings:
    return builders.readings(levels[:, None] * [1, 1, 1], luminance[:, None] * WHITE)


def single(
    quantity: str, target: Target, over: Over | str | None, *sets: PatchSet, **changes: object
) -> Rule:
    changes.setdefault("limits", Limits(maximum=1e9))
    return builders.rule(target, builders.requirement(quantity, over, **changes), sets=sets)


def test_every_quantity_that_takes_readings_has_a_function() -> None:
    taken = {name for name, row in QUANTITIES.items() if row.values != "stated"}
    assert taken == {name for name, row in QUANTITIES.items() if row.compute is not None}


@pytest.mark.parametrize("gamma", [1.8, 2.2, 2.4, 2.6])
@pytest.mark.parametrize("black", [0.0, 0.05, 0.5])
def test_the_fitted_exponent_is_found_again(gamma: float, black: float) -> None:
    """BT.1886's form and the power law, each made by its own formula."""
    signal = LEVELS / 255
    over = Over(("grey",), signal=(0.1, 0.9))
    lifted = transfer.bt1886(signal, 100.0, black, gamma)
    one = graded(
        single("fitted-exponent", builders.target(), over, builders.ramp(18)), greys(lifted)
    )
    assert one.value == pytest.approx(gamma, abs=1e-9)
    added = black + (100 - black) * signal**gamma
    power = builders.target("power", exponent=2.2)
    one = graded(single("fitted-exponent", power, over, builders.ramp(18)), greys(added))
    assert one.value == pytest.approx(gamma, abs=1e-9)


@pytest.mark.parametrize("gamma", [1.03, 1.2, 1.33])
def test_the_fitted_system_gamma_is_found_again(gamma: float) -> None:
    signal, white, black = LEVELS / 255, 1000.0, 0.02
    beta = np.sqrt(3 * (black / white) ** (1 / gamma))
    lifted = (1 - beta) * signal + beta
    scene = np.where(
        lifted <= 0.5,
        lifted**2 / 3,
        (np.exp((lifted - 0.55991073) / 0.17883277) + 0.28466892) / 12,
    )
    hlg = builders.target("hlg", luminance_white=1000.0, container=builders.BT2020)
    over = Over(("grey",), signal=(0.1, 0.9))
    one = graded(
        single("fitted-exponent", hlg, over, builders.ramp(18)), greys(white * scene**gamma)
    )
    assert one.value == pytest.approx(gamma, abs=1e-6)


def test_ends_of_a_signal_range_admit_half_a_code() -> None:
    """10 and 90 % of 8 bits are 25.5 and 229.5: codes 25 and 230 are still in the range."""
    levels = np.array([0, 24, 25, 26, 128, 229, 230, 231, 255])
    rule = single(
        "luminance", builders.target(), Over(("grey",), signal=(0.1, 0.9)), builders.ramp(3)
    )
    one = graded(rule, greys(100 * (levels / 255) ** 2.4, levels))
    assert [point.patch[0] for point in one.points] == [25, 26, 128, 229, 230]


def test_a_white_of_100_4_stays_in_the_range_to_100() -> None:
    rule = single(
        "delta-uv-star", builders.target(), Over(("grey",), target=(1, 100)), builders.ramp(18)
    )
    signal = LEVELS / 255
    one = graded(rule, greys(100.4 * signal**2.4))
    assert one.points[-1].patch == (255, 255, 255)
    assert one.points[-1].verdict is Verdict.PASS


def test_grey_is_judged_against_its_own_white() -> None:
    """A white off D65 by Δu'v' .01 whose greys follow it: the greys are faultless."""
    off = np.array([0.93, 1.0, 1.15])
    readings = builders.readings(
        LEVELS[:, None] * [1, 1, 1], (100 * (LEVELS / 255) ** 2.4)[:, None] * off
    )
    over = Over(("grey",), target=(1, 100))
    own = single("delta-uv-star", builders.target(), over, builders.ramp(18), reference="white")
    assert graded(own, readings).value == pytest.approx(0, abs=1e-9)
    aim = single("delta-uv-star", builders.target(), over, builders.ramp(18))
    assert graded(aim, readings).value > 5  # type: ignore[operator]
    lab = single("delta-e-2000", builders.target(), over, builders.ramp(18), reference="white")
    assert graded(lab, readings).value == pytest.approx(0, abs=1e-9)


def test_delta_uv_star_is_13_l_star_delta_uv() -> None:
    """EBU Tech 3320: 1.3 at white is .001 in u'v'."""
    u, v = 0.19783 + 0.001, 0.46832
    xyz = 100 * np.array([9 * u / (4 * v), 1, (12 - 3 * u - 20 * v) / (4 * v)])
    rule = single("delta-uv-star", builders.target(), "white")
    one = graded(rule, builders.readings([[255] * 3, [0] * 3], [xyz, [0.01] * 3]))
    assert one.value == pytest.approx(1.3, abs=0.01)


def test_delta_uv_star_from_the_centre() -> None:
    """EBU Tech 3320, 1.5.14: 1.3 from the centre is .001 in u'v' there, whatever the white is."""
    u, v = 0.21 + 0.001, 0.47
    centre, edge = (
        100 * np.array([9 * one / (4 * v), 1, (12 - 3 * one - 20 * v) / (4 * v)])
        for one in (0.21, u)
    )
    screen = PatchSet(name="screen", kind="positions", positions=("centre", "left"), of="white")
    rule = single("delta-uv-star", builders.target(), "screen", screen, reference="centre")
    where = ("centre", "left", "centre")
    rows = [[255] * 3, [255] * 3, [0] * 3]
    light = [centre, 0.9 * edge, 0.01 * WHITE]
    one = graded(rule, builders.readings(rows, light, position=where))
    assert one.value == pytest.approx(1.3, abs=0.01)
    assert [point.position for point in one.points if point.verdict is not None] == ["left"]


def test_contrast_and_its_bound() -> None:
    def contrast(black: float, lowest: float, minimum: float = 1000.0) -> Finding:
        rule = single("contrast", builders.target(), None, limits=Limits(minimum))
        rows = [[255] * 3, [0] * 3]
        return graded(rule, builders.readings(rows, [100 * WHITE, black * WHITE]), lowest)

    assert contrast(0.08, 0.0).value == pytest.approx(1250)
    told = contrast(0.0005, 0.003)
    assert (told.value, told.bound, told.verdict) == (
        pytest.approx(33333, rel=1e-4),
        "at-least",
        Verdict.PASS,
    )
    short = contrast(0.0005, 0.2)
    assert (short.verdict, short.reason) == (Verdict.NOT_ASSESSED, Reason.METER)
    for nothing in (0.0, -0.002):
        one = contrast(nothing, 0.0)
        assert (one.verdict, one.reason, one.value) == (Verdict.NOT_ASSESSED, Reason.METER, None)


def test_a_luminance_below_the_meters_reach() -> None:
    """.002 read by a meter that begins at .01 is anything below .01."""

    def black(limits: Limits) -> Finding:
        rule = single("luminance", builders.target(), "black", limits=limits)
        return graded(rule, builders.readings([[0] * 3], [0.002 * WHITE]), 0.01)

    assert black(Limits(maximum=0.05)).verdict is Verdict.PASS
    assert black(Limits(minimum=0.02)).verdict is Verdict.FAIL
    assert black(Limits(minimum=0.01)).verdict is Verdict.FAIL
    assert black(Limits(maximum=0.0)).reason is Reason.METER
    assert black(Limits(maximum=0.005)).reason is Reason.METER


def test_a_black_that_the_meter_cannot_see_is_told_by_the_greys() -> None:
    """BT.1886 at black .005 read by a meter that begins at .1: the greys fit black .005 alone."""
    signal = LEVELS / 255
    rule = single(
        "luminance-error",
        builders.target(),
        Over(("grey",), target=(0.1, 100)),
        builders.ramp(18),
        limits=Limits(-10, 10),
    )
    one = graded(rule, greys(transfer.bt1886(signal, 100.0, 0.005), LEVELS), 0.1)
    assert not one.not_judged or {entry.why.kind for entry in one.not_judged} == {"below-meter"}
    worst = max(abs(point.value) for point in one.points if point.value is not None)  # type: ignore[arg-type]
    assert worst < 0.01, "in %: nothing but rounding"
    assert one.points[-1].verdict is None, "the scaling white is an anchor"
    assert one.verdict is Verdict.PASS


def test_too_dark_for_luminance_error_is_listed_not_dropped() -> None:
    signal = LEVELS / 255
    rule = single(
        "luminance-error", builders.target(), "grey", builders.ramp(18), limits=Limits(-5, 5)
    )
    one = graded(rule, greys(transfer.bt1886(signal, 100.0, 0.02)))
    assert [entry.patch[0] for entry in one.not_judged] == [0]
    assert reason_text(one.not_judged[0]) == "target below 0.1 cd/m²"
    assert len(one.points) + len(one.not_judged) == len(LEVELS)


def test_pq_is_judged_from_a_twentieth_of_a_candela_whatever_the_black() -> None:
    codes = np.array([0, 40, 60, 80, 120, 200, 400])
    luminance = np.asarray(pq.pq(codes / 1023))
    luminance[0] = 0.02
    requirement = builders.requirement("luminance-error", "grey", limits=Limits(-5, 5))
    grey = builders.ramp(3, signal=(0.0, 0.4))
    rule = builders.rule(builders.pq(), requirement, encoding="rgb-10-full", sets=(grey,))
    readings = builders.readings(
        np.repeat(codes[:, None], 3, 1),
        luminance[:, None] * WHITE,
        "rgb-10-full",
    )
    one = graded(rule, readings)
    judged = [point.target for point in one.points]
    assert 0.05 <= min(judged) < 0.2  # type: ignore[type-var]
    assert {reason_text(entry) for entry in one.not_judged} == {"target below 0.05 cd/m²"}


def test_non_uniformity_and_relative_luminance() -> None:
    screen = PatchSet(
        name="screen", kind="positions", positions=("centre", "left", "right"), of="white"
    )
    readings = builders.readings(
        [[255] * 3] * 3,
        np.array([100, 84, 91])[:, None] * WHITE,
        position=("centre", "left", "right"),
    )
    one = graded(single("non-uniformity", builders.target(), "screen", screen), readings)
    assert one.value == pytest.approx(16)
    over = Over(("screen",), position=("left", "right"))
    relative = single(
        "relative-luminance", builders.target(), over, screen, limits=Limits(minimum=85)
    )
    one = graded(relative, readings)
    assert (one.value, one.verdict) == (pytest.approx(84), Verdict.FAIL)


def test_relative_luminance_over_time() -> None:
    over = Over(("white",), seconds=(60.0,))
    rule = single("relative-luminance", builders.target(), over, limits=Limits(minimum=90))
    readings = builders.readings(
        [[255] * 3] * 2, np.array([100, 88])[:, None] * WHITE, seconds=[0, 60]
    )
    assert graded(rule, readings).value == pytest.approx(88)
    short = builders.readings([[255] * 3], [100 * WHITE], seconds=[60])
    assert graded(rule, short).missing == ("white at 0 s",)


def test_checkerboard() -> None:
    rule = single("checkerboard-contrast", builders.target(), None)
    readings = builders.readings(
        [[255] * 3, [255] * 3, [0] * 3, [0] * 3, [255] * 3],
        np.array([46, 50, 0.4, 0.6, 100])[:, None] * WHITE,
        position=("left", "right", "top", "bottom", "centre"),
        pattern=("checkerboard",) * 4 + ("",),
    )
    assert graded(rule, readings).value == pytest.approx(96)


def test_monotonicity_slope_and_clipping() -> None:
    ramp = builders.ramp(6)
    levels = np.array([0, 51, 102, 153, 204, 255])
    luminance = np.array([0.1, 3, 2.8, 40, 99, 100])
    first = graded(
        single("monotonicity", builders.target(), "grey", ramp), greys(luminance, levels)
    )
    assert first.value == pytest.approx(-0.2)
    second = graded(
        single("slope-monotonicity", builders.target(), "grey", ramp), greys(luminance, levels)
    )
    assert second.value == pytest.approx(min(np.diff(luminance, 2)))
    clipped = graded(
        single("clipping-level", builders.target("power", exponent=2.0), "grey", ramp),
        greys(luminance, levels),
    )
    assert clipped.value == pytest.approx(0.1 + 99.9 * 0.8**2)


def test_stability_is_the_range_of_single_readings() -> None:
    again = PatchSet(name="again", kind="repeats", repeats=3, of="white")
    rule = single("stability", builders.target(), "again", again)
    readings = builders.readings([[255] * 3] * 3, np.array([100, 101, 99])[:, None] * WHITE)
    assert graded(rule, readings).value == pytest.approx(2)
    two = builders.readings([[255] * 3] * 2, np.array([100, 101])[:, None] * WHITE)
    assert graded(rule, two).missing == ("white (3 readings)",)


def test_colour_temperature_of_d65() -> None:
    """CIE 15: D65 has a correlated colour temperature of about 6504 K, Duv about .0032."""
    readings = builders.readings([[255] * 3], [100 * WHITE])
    kelvin = graded(single("correlated-colour-temperature", builders.target(), "white"), readings)
    assert kelvin.value == pytest.approx(6504, abs=3)
    away = graded(single("duv", builders.target(), "white"), readings)
    assert away.value == pytest.approx(0.0032, abs=0.0001)


def shown(target: Target, encoding: str, white: float, black: float, *sets: PatchSet) -> Readings:
    """What an ideal display of the target shows for the sets, white and black."""
    rule = builders.rule(target, encoding=encoding, sets=sets)
    plan = Plan(rule, model.ENCODINGS[encoding])
    names = ["white", "black", *(one.name for one in sets)]
    signal = np.array([patch.signal for name in names for patch in plan.patches(name)])
    light = targets.target_xyz(
        signal, plan.model, np.full(len(signal), white), np.full(len(signal), black)
    )
    bits = model.ENCODINGS[encoding].bits
    return builders.readings(np.rint(signal * (2**bits - 1)), light, encoding)


@pytest.mark.parametrize(
    "target",
    [
        builders.target("bt1886"),
        builders.target("srgb"),
        builders.target(
            "hlg", luminance_white=1000.0, primaries=builders.BT2020, container=builders.BT2020
        ),
        builders.pq(),
    ],
)
def test_additivity_and_coverage_of_an_ideal_display(target: Target) -> None:
    """HLG's OOTF makes red, green and blue add up to less than white: the target's own share."""
    hlg = target.curve == "hlg"
    hues = replace(builders.HUES, neutral=1000.0 if hlg else None)
    readings = shown(target, "rgb-10-full", 1000.0 if hlg else 100.0, 0.01, hues)
    for quantity, ideal, slack in (("additivity", 0.0, 0.5), ("gamut-coverage", 100.0, 0.2)):
        requirement = builders.requirement(quantity, None, limits=Limits(-1e9, 1e9))
        rule = builders.rule(target, requirement, encoding="rgb-10-full", sets=(hues,))
        assert graded(rule, readings).value == pytest.approx(ideal, abs=slack)


CONTAINED = {"primaries": builders.P3, "container": builders.BT2020}


@pytest.mark.parametrize("black", [0.0, 0.0005, 0.005, 0.05, 0.3])
@pytest.mark.parametrize("neutral", [None, 40.0])
@pytest.mark.parametrize(
    "target",
    [
        builders.target("bt1886"),
        builders.target("bt1886", **CONTAINED),
        builders.target("bt1886", black="add", **CONTAINED),
        builders.target("power", exponent=2.2, **CONTAINED),
        builders.target("srgb", **CONTAINED),
        builders.target("hlg", luminance_white=1000.0, **CONTAINED),
        builders.target("hlg", black="none", luminance_white=1000.0, **CONTAINED),
        builders.target("dcdm", exponent=2.6, luminance_white=48.0, **CONTAINED),
        builders.pq(),
    ],
    ids=lambda target: f"{target.curve}-{target.black}-{target.container == target.primaries}",
)
def test_an_ideal_display_is_as_additive_as_its_target(
    target: Target, neutral: float | None, black: float
) -> None:
    """An added black is light on every patch; a lifted one is in the target's own channels."""
    hues = replace(builders.HUES, neutral=neutral)
    drive = PatchSet("drive", "hues", hues=("red", "green", "blue"), neutral=neutral)
    plan = Plan(builders.rule(target, encoding="rgb-12-full", sets=(hues,)), TWELVE)
    signal = [plan.signal_of_built_in(name) for name in ("white", "black", "peak")]
    signal += [np.array(patch.signal) for patch in plan.patches("primaries")]
    signal.append(np.array(plan.white_of_drive(drive, plan.patches("primaries")[0]).signal))
    signal += [targets.quantised(level * np.ones(3), plan.model) for level in (0.2, 0.4, 0.6, 0.8)]
    white = target.luminance_white
    light = targets.target_xyz(
        np.array(signal), plan.model, np.full(len(signal), white), np.full(len(signal), black)
    )
    if target.black == "none":
        light = light + black * WHITE
    readings = builders.readings(np.rint(np.array(signal) * 4095), light, TWELVE)
    requirement = builders.requirement("additivity", None, limits=Limits(-1e9, 1e9))
    rule = builders.rule(target, requirement, encoding="rgb-12-full", sets=(hues,))
    # HLG's constants, printed to 8 decimals, put its full signal 1e-8 beside white.
    assert graded(rule, readings).value == pytest.approx(0.0, abs=1e-6)


TWELVE = model.ENCODINGS["rgb-12-full"]


@pytest.mark.parametrize("black", [0.0, 0.05, 0.3, 1.0])
def test_a_lifted_black_in_a_wider_container_is_no_fault_of_additivity(black: float) -> None:
    """ITU-R BT.1886 Annex 1 in each channel of a P3 display in BT.2020, white 100 cd/m².

    A display has its black in its own channels, those of P3, not in those of the signal.
    """
    own = spaces.rgb_to_xyz_matrix(builders.P3, builders.D65)
    inside = np.linalg.inv(spaces.rgb_to_xyz_matrix(builders.BT2020, builders.D65)) @ own
    codes = np.rint(
        4095 * np.clip(np.vstack([inside.T, np.ones(3), np.zeros(3)]), 0, 1) ** (1 / 2.4)
    )
    root, dark = 100 ** (1 / 2.4), black ** (1 / 2.4)
    linear = np.maximum((codes / 4095) ** 2.4 @ np.linalg.inv(inside).T, 0.0)
    light = ((root - dark) * linear ** (1 / 2.4) + dark) ** 2.4 @ own.T
    requirement = builders.requirement("additivity", None, limits=Limits(-1, 1))
    rule = builders.rule(
        builders.target("bt1886", **CONTAINED),
        requirement,
        encoding="rgb-12-full",
        sets=(builders.HUES,),
    )
    found = graded(rule, builders.readings(codes, light, TWELVE))
    assert found.value == pytest.approx(0.0, abs=1e-9)
    assert found.verdict is Verdict.PASS


def test_additivity_by_hand() -> None:
    """A white 10 % short of the sum of red, green and blue, black 1."""
    readings = builders.readings(
        [[255, 0, 0], [0, 255, 0], [0, 0, 255], [255] * 3, [0] * 3],
        np.array([22, 72, 9, 91, 1])[:, None] * WHITE,
    )
    rule = single("additivity", builders.target(), None, builders.HUES, limits=Limits(-99, 99))
    assert graded(rule, readings).value == pytest.approx(100 * (100 + 1 - 91) / 90)


def test_luminance_that_is_ignored() -> None:
    """Half the light at the right chromaticity is no difference when luminance is ignored."""
    readings = builders.readings(
        [[255] * 3, [128] * 3, [0] * 3], np.array([100, 9, 0])[:, None] * WHITE
    )
    for ignore, expected in ((True, 0.0), (False, None)):
        rule = single(
            "delta-e-2000",
            builders.target("srgb"),
            "grey",
            builders.ramp(3),
            ignore_luminance=ignore,
        )
        one = graded(rule, readings)
        if expected is None:
            assert one.value > 5  # type: ignore[operator]
        else:
            assert one.value == pytest.approx(expected, abs=1e-9)


def test_the_target_is_fitted_to_the_white_of_the_same_window() -> None:
    sizes = PatchSet(
        name="sizes",
        kind="list",
        window=10.0,
        patches=(("mid", (128,) * 3),),
        encoding=model.ENCODINGS["rgb-8-full"],
    )
    rule = single(
        "luminance-error",
        builders.target("power", exponent=2.0),
        "sizes",
        sizes,
        limits=Limits(-5, 5),
    )
    luminance = np.array([100, 0, 150, 150 * (128 / 255) ** 2])
    readings = builders.readings(
        [[255] * 3, [0] * 3, [255] * 3, [128] * 3],
        luminance[:, None] * WHITE,
        window=[100, 100, 10, 10],
    )
    assert graded(rule, readings).value == pytest.approx(0, abs=1e-9)
    alone = builders.readings(
        readings.codes[[0, 1, 3]], readings.xyz[[0, 1, 3]], window=[100, 100, 10]
    )
    assert graded(rule, alone).missing == ("white, 10 % window",)


def test_eight_bit_readings_meet_a_ten_bit_narrow_rule() -> None:
    """A plan's code and the nearest 8-bit code are at most half an 8-bit code apart."""
    sweep = PatchSet(name="sweep", kind="saturations", hues=("red", "blue"), steps=4)
    rule = builders.rule(builders.target(), encoding="rgb-10-narrow", sets=(sweep,))
    narrow = Plan(rule, model.ENCODINGS["rgb-10-narrow"])
    signal = np.array([patch.signal for patch in narrow.patches("sweep")])
    full = np.rint(np.clip(signal, 0, 1) * 255)
    requirement = builders.requirement("luminance", "sweep", limits=Limits(0, 1e9))
    rule = replace(rule, requirements=(requirement,))
    readings = builders.readings(full, np.ones((len(full), 3)))
    one = graded(rule, readings)
    assert one.missing == ()
    assert len(one.points) == 8


def test_no_value_is_ever_nan() -> None:
    """All readings nothing at all: every quantity says why it cannot be judged."""
    names = [
        "luminance-error",
        "chromaticity-difference",
        "delta-uv-star",
        "delta-e-itp",
        "delta-e-2000",
        "delta-e-uv",
        "delta-e-ab",
        "relative-luminance",
    ]
    dark = builders.readings(LEVELS[:, None] * [1, 1, 1], np.zeros((len(LEVELS), 3)))
    for name in names:
        one = graded(single(name, builders.target(), "grey", builders.ramp(18)), dark)
        assert one.verdict is Verdict.NOT_ASSESSED, name
        assert one.not_judged, name
    for name in ("contrast", "gamut-coverage", "additivity", "fitted-exponent", "stability"):
        over = {"fitted-exponent": "grey", "stability": "again"}.get(name)
        again = PatchSet(name="again", kind="repeats", repeats=1, of="white")
        one = graded(
            single(name, builders.target(), over, builders.ramp(18), builders.HUES, again), dark
        )
        assert one.verdict is Verdict.NOT_ASSESSED, name
