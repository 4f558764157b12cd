"""What the pictures show: limits, guard bands, the white's ellipse and its limit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers import builders

from compliance import model
from compliance.colour import spaces
from compliance.grading.match import MatchedReadings, match_readings
from compliance.grading.monte_carlo import findings_of, white_spread
from compliance.model import Limits, Over, Requirement
from compliance.pictures.data import Charts, picture_data
from compliance.planning.stimuli import ideal_readings
from compliance.rules.library import load_rule

TRACKING = builders.requirement(
    "luminance-error", Over(("grey",), target=(1, 100)), limits=Limits(-5, 5)
)


def drawn(*requirements: Requirement, uncertain: bool = True) -> tuple[MatchedReadings, Charts]:
    rule = builders.rule(builders.target(), *requirements, sets=(builders.ramp(11), builders.HUES))
    meter = builders.meter(0.4)
    readings = ideal_readings(rule, model.ENCODINGS["rgb-10-full"], 0.05)
    case = match_readings(rule, readings, meter=meter)
    known = meter.uncertainty if uncertain else None
    count = 20_000 if uncertain else 0
    findings = findings_of(case, known, count=count, seed=0)
    spread = white_spread(case, known, count=count, seed=0)
    return case, picture_data(case, findings, spread)


def test_limits_and_guard_band_of_the_tracking() -> None:
    """± 5 % of the target, drawn in by 1.645 u: of grey and of white .3 % of repeatability, and 1 %
    each that is correlated by exp(−decades)."""
    _, made = drawn(TRACKING)
    level = min(made.levels, key=lambda point: abs(point.target - 29.3))
    assert level.measured == pytest.approx(level.target)
    assert level.low == pytest.approx(0.95 * level.target)
    assert level.high == pytest.approx(1.05 * level.target)
    decades = np.log10(100 / level.target)
    u = np.sqrt(2 * 0.003**2 + 2 * 0.01**2 * (1 - np.exp(-decades)))
    assert level.guard_high == pytest.approx((1.05 - 1.645 * u) * level.target, rel=5e-4)
    assert level.guard_low == pytest.approx((0.95 + 1.645 * u) * level.target, rel=5e-4)
    dark = made.levels[0]
    assert (dark.low, dark.guard_low) == (None, None)


def test_steps_that_are_absolute_are_drawn_so() -> None:
    """36.497 cd/m² at Y' 3564, DCI CTP 1.4, Table 7.5.11 a, whatever the white."""
    rule = load_rule("cinema-review-room")
    ideal = ideal_readings(rule, rule.encoding, 0.0)
    case = match_readings(rule, replace(ideal, xyz=0.98 * ideal.xyz))
    made = picture_data(case, findings_of(case, None, count=0, seed=0))
    level = min(made.levels, key=lambda point: abs(point.target - 36.5))
    assert level.target == pytest.approx(36.497, abs=0.0005)
    assert level.measured == pytest.approx(0.98 * level.target, rel=1e-4)
    assert level.low == pytest.approx(0.97 * level.target)


def test_without_uncertainty_there_is_no_guard_band_and_no_ellipse() -> None:
    _, made = drawn(TRACKING, uncertain=False)
    assert all(point.guard_low is None for point in made.levels)
    assert made.white_ellipse == ()
    assert any(point.low is not None for point in made.levels)


def test_the_ellipse_holds_95_per_cent() -> None:
    case, made = drawn(TRACKING)
    outline = np.array(made.white_ellipse)
    centre = np.array(made.measured_white)
    assert outline.mean(axis=0) == pytest.approx(centre, abs=1e-9)
    spread = white_spread(case, builders.meter(0.4).uncertainty, count=20_000, seed=0)
    assert spread is not None
    away = outline - centre
    distance = np.einsum("ni,ij,nj->n", away, np.linalg.inv(spread), away)
    assert distance == pytest.approx(np.full(len(outline), 5.991), rel=1e-6)


@pytest.mark.parametrize(
    ("quantity", "limits", "radius"),
    [
        ("chromaticity-difference", Limits(maximum=0.004), 0.004),
        ("delta-uv-star", Limits(maximum=4), 4 / 1300),
    ],
)
def test_the_limit_of_the_white_is_a_circle(quantity: str, limits: Limits, radius: float) -> None:
    _, made = drawn(builders.requirement(quantity, "white", limits=limits))
    away = np.array(made.white_limit) - np.array(made.target_white)
    assert np.hypot(*away.T) == pytest.approx(np.full(len(away), radius))


def test_the_limit_of_the_white_is_a_box() -> None:
    _, made = drawn(
        builders.requirement("chromaticity", "white", limits=Limits(box=(0.002, 0.003)))
    )
    corners = np.asarray(spaces.uv_to_xy(np.array(made.white_limit)))
    assert corners == pytest.approx(
        np.array(builders.D65) + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [0.002, 0.003]
    )


def test_triangles_and_differences_of_an_ideal_display() -> None:
    coverage = builders.requirement("gamut-coverage", None, limits=Limits(minimum=97))
    _, made = drawn(TRACKING, coverage)
    assert np.array(made.measured_triangle) == pytest.approx(
        np.array(made.target_triangle), abs=1e-3
    )
    (colours,) = made.differences
    assert [point.name for point in colours.points] == ["red", "green", "blue"]
    assert max(point.value for point in colours.points) == pytest.approx(0, abs=1e-9)
    assert (colours.name, {point.limit for point in colours.points}) == ("ΔE 2000", {None})
    assert all(abs(grey.du) + abs(grey.dv) < 1e-9 for grey in made.greys)


def test_greys_are_shown_with_the_limit_that_the_rule_sets_on_them() -> None:
    """The 95 % bound of each is that of its point; white, an anchor, is no bar."""
    balance = builders.requirement(
        "delta-uv-star", Over(("grey",), target=(1, 100)), limits=Limits(maximum=1),
        reference="white", id="balance",
    )  # fmt: skip
    case, made = drawn(TRACKING, balance)
    greys = made.differences[0]
    assert (greys.patches, greys.name, greys.from_white) == ("greys", "Δu*v*", True)
    uncertainty = builders.meter(0.4).uncertainty
    (finding,) = (
        one
        for one in findings_of(case, uncertainty, count=20_000, seed=0)
        if one.quantity == "delta-uv-star"
    )
    counted = [point for point in finding.points if point.verdict is not None]
    assert len(counted) == len(finding.points) - 1
    assert [bar.name for bar in greys.points] == [point.name for point in counted]
    assert {bar.limit for bar in greys.points} == {1}
    bounds = [point.interval.high for point in counted if point.interval]
    assert [bar.bound for bar in greys.points] == bounds
    _, unsure = drawn(balance, uncertain=False)
    assert {bar.bound for bar in unsure.differences[0].points} == {None}


def test_colours_are_shown_by_the_distance_that_is_limited_for_most_of_them() -> None:
    one = builders.requirement(
        "delta-e-2000", Over(("primaries",), only=("red",)), limits=Limits(maximum=3)
    )
    all_three = builders.requirement(
        "chromaticity-difference", "primaries", limits=Limits(maximum=0.008), id="hues"
    )
    _, made = drawn(one, all_three)
    (colours,) = made.differences
    assert colours.name == "Δu′v′"
    assert [(bar.name, bar.limit) for bar in colours.points] == [
        ("red", 0.008), ("green", 0.008), ("blue", 0.008)
    ]  # fmt: skip
    coverage = builders.requirement(
        "gamut-coverage", None, limits=Limits(minimum=97), id="coverage"
    )
    _, made = drawn(one, coverage)
    assert [bar.limit for bar in made.differences[0].points] == [3, None, None]


def test_each_distance_that_greys_are_held_to_has_a_picture(root: Path) -> None:
    told = {}
    for name in ("hdr-pq-1000", "web-srgb", "sdr-broadcast"):
        rule = load_rule(root / "specs" / f"{name}.yaml")
        case = match_readings(rule, ideal_readings(rule, rule.encoding, 0.0))
        made = picture_data(case, findings_of(case, None, count=0, seed=0))
        told[name] = [
            (each.patches, each.name, {bar.limit for bar in each.points})
            for each in made.differences
        ]
    assert told == {
        "hdr-pq-1000": [("greys", "ΔE ITP", {5}), ("colours", "ΔE ITP", {6, 8, 12})],
        "web-srgb": [
            ("greys", "ΔE 2000", {3}),
            ("greys", "Δu′v′", {0.004}),
            ("colours", "ΔE 2000", {3.5, 4}),
        ],
        "sdr-broadcast": [
            ("greys", "Δu*v*", {1}),
            ("colours", "ΔE 2000", {2.5, 3}),
        ],
    }
