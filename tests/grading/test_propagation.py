"""Draws against first-order propagation by the library `uncertainties`, and where they must differ.

Linear propagation: JCGM 100, 5.1.2 and 5.2.2. The library gets the same four parts of
the meter's uncertainty and does its own differentiation.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import uncertainties
from helpers import builders
from numpy.typing import NDArray
from uncertainties import correlated_values, ufloat, umath

from compliance import model
from compliance.grading.match import match_readings
from compliance.grading.measurement_model import Draws
from compliance.grading.monte_carlo import findings_of
from compliance.model import Limits, LuminanceBand, Over, PatchSet, Readings, Requirement
from compliance.quantities.measured import Measured

Array = NDArray[np.float64]
COUNT = 60_000
WHITE_XY, GREY_XY = np.array([0.3150, 0.3300]), np.array([0.3300, 0.3450])


def lit(xy: Array, luminance: float) -> Array:
    x, y = xy
    return luminance * np.array([x / y, 1.0, (1 - x - y) / y])


def readings(black: float = 0.05) -> Readings:
    return builders.readings(
        [[255] * 3, [0] * 3, [128] * 3],
        [lit(WHITE_XY, 100.0), lit(WHITE_XY, black), lit(GREY_XY, 20.0)],
    )


LIST = PatchSet(
    name="grey",
    kind="list",
    patches=(("mid", (128, 128, 128)),),
    encoding=model.ENCODINGS["rgb-8-full"],
)


def drawn(correlation: float, **changes: Any) -> Measured:
    """All draws as one view."""
    instrument = builders.meter(correlation, **changes)
    rule = builders.rule(builders.target(), sets=(LIST,))
    case = match_readings(rule, readings(), meter=instrument)
    assert instrument.uncertainty is not None
    draws = Draws(case, instrument.uncertainty, count=COUNT, seed=1)
    parts = [views[0] for views in draws.views(range(len(case.patches)))]
    return parts[0]._replace(xyz=np.concatenate([view.xyz for view in parts]))


def of(view: Measured, code: int) -> Array:
    index = int(np.flatnonzero(np.isclose(view.signal[:, 0], code / 255))[0])
    return np.asarray(view.xyz[:, index, :])


def first_order(correlation: float) -> dict[str, Any]:
    """The same readings as numbers with uncertainty: Y of white, black, grey, and x, y."""
    dark = ufloat(0, 0.001)
    of_white, of_grey, of_black = by_level([0.01, 0.01, 0.02], [100, 20, 0.05])
    white = 100 * (1 + of_white + ufloat(0, 0.003)) + dark
    grey = 20 * (1 + of_grey + ufloat(0, 0.003)) + dark
    black = 0.05 * (1 + of_black + ufloat(0, 0.003)) + dark
    ux, uy = 0.001, 0.0005
    covariance = [[ux**2, correlation * ux * uy], [correlation * ux * uy, uy**2]]
    dx, dy = (np.sqrt(8) / 3 * part for part in correlated_values([0, 0], covariance))
    first, second = by_level([1 / 3, 1 / 3], [100, 20]), by_level([1 / 3, 1 / 3], [100, 20])
    own = [
        (ux * one, uy * (correlation * one + np.sqrt(1 - correlation**2) * other))
        for one, other in zip(first, second, strict=True)
    ]
    white_xy = (
        0.3150 + dx + own[0][0] + ufloat(0, 0.00025),
        0.3300 + dy + own[0][1] + ufloat(0, 0.0002),
    )
    grey_xy = (
        0.3300 + dx + own[1][0] + ufloat(0, 0.00025),
        0.3450 + dy + own[1][1] + ufloat(0, 0.0002),
    )
    return {"white": white, "grey": grey, "black": black, "wxy": white_xy, "gxy": grey_xy}


def by_level(sizes: list[float], levels: list[float]) -> Any:
    """Errors of levels in cd/m² that are correlated by exp(−decades between them)."""
    decades = np.abs(np.subtract.outer(np.log10(levels), np.log10(levels)))
    return correlated_values([0] * len(levels), np.outer(sizes, sizes) * np.exp(-decades))


def uv(xy: tuple[Any, Any]) -> tuple[Any, Any]:
    below = -2 * xy[0] + 12 * xy[1] + 3
    return 4 * xy[0] / below, 9 * xy[1] / below


def uv_of(xyz: Array) -> Array:
    below = xyz @ np.array([1.0, 15.0, 3.0])
    return np.stack([4 * xyz[:, 0] / below, 9 * xyz[:, 1] / below], axis=1)


@pytest.mark.parametrize("correlation", [0.0, 0.6, -0.7])
def test_luminance_and_chromaticity(correlation: float) -> None:
    view, exact = drawn(correlation), first_order(correlation)
    white, grey = of(view, 255), of(view, 128)
    assert white[:, 1].std() == pytest.approx(exact["white"].std_dev, rel=0.02)
    assert of(view, 0)[:, 1].std() == pytest.approx(exact["black"].std_dev, rel=0.02)
    xy = grey[:, :2] / grey.sum(axis=1, keepdims=True)
    for axis in (0, 1):
        assert xy[:, axis].std() == pytest.approx(exact["gxy"][axis].std_dev, rel=0.02)
        assert uv_of(grey)[:, axis].std() == pytest.approx(uv(exact["gxy"])[axis].std_dev, rel=0.02)


@pytest.mark.parametrize("correlation", [0.0, 0.6, -0.7])
def test_differences_far_from_zero(correlation: float) -> None:
    """Δu'v' of grey from white, and from the target; what both share cancels in the first."""
    view, exact = drawn(correlation), first_order(correlation)
    away = uv_of(of(view, 128)) - uv_of(of(view, 255))
    (gu, gv), (wu, wv) = uv(exact["gxy"]), uv(exact["wxy"])
    shared = umath.sqrt((gu - wu) ** 2 + (gv - wv) ** 2)
    assert np.hypot(*away.T).std() == pytest.approx(shared.std_dev, rel=0.02)
    aim = uv_of(np.array([lit(np.array(builders.D65), 1.0)]))[0]
    target = umath.sqrt((gu - aim[0]) ** 2 + (gv - aim[1]) ** 2)
    away = uv_of(of(view, 128)) - aim
    assert np.hypot(*away.T).std() == pytest.approx(target.std_dev, rel=0.02)


def test_contrast_far_from_the_floor() -> None:
    """White over grey as two luminances, .7 decades apart: u 1 % each, repeatability .3 %."""
    view, exact = drawn(0.0), first_order(0.0)
    ratio = of(view, 255)[:, 1] / of(view, 128)[:, 1]
    assert ratio.std() == pytest.approx((exact["white"] / exact["grey"]).std_dev, rel=0.02)
    relative = ratio.std() / ratio.mean()
    level = 2 * 0.01**2 * (1 - np.exp(-np.log10(5)))
    assert relative == pytest.approx(np.sqrt(2 * 0.003**2 + level), rel=0.02)


def test_contrast_near_the_floor_is_not_normal() -> None:
    """Black .004 with u .001: first order is symmetric, the draws rightly are not."""
    rule = builders.rule(builders.target(), sets=(LIST,))
    instrument = builders.meter(0.0, luminance=(LuminanceBand(0.0001, 2.0),))
    case = match_readings(rule, readings(0.004), meter=instrument)
    assert instrument.uncertainty is not None
    draws = Draws(case, instrument.uncertainty, count=COUNT, seed=1)
    view = next(iter(draws.views(range(len(case.patches)))))[0]
    ratio = of(view, 255)[:, 1] / of(view, 0)[:, 1]
    low, middle, high = np.quantile(ratio, (0.025, 0.5, 0.975))
    exact = 100 / (0.004 + 0.001 * np.array([1.96, 0, -1.96]))
    assert [low, middle, high] == pytest.approx(exact, rel=0.04)
    assert (high - middle) / (middle - low) > 2.5, "symmetric first order would give 1"


def test_distances_near_zero_are_not_normal() -> None:
    """A faultless white: first order says 0 ± 0, the draws follow a Rayleigh-like law."""
    requirement = builders.requirement(
        "chromaticity-difference", "white", limits=Limits(maximum=0.01)
    )
    rule = builders.rule(builders.target(), requirement)
    white = builders.readings(
        [[255] * 3, [0] * 3],
        [lit(np.array(builders.D65), 100.0), lit(np.array(builders.D65), 0.05)],
    )
    instrument = builders.meter(0.0)
    (finding,) = findings_of(
        match_readings(rule, white, meter=instrument), instrument.uncertainty, count=COUNT, seed=3
    )
    assert finding.value == pytest.approx(0.0, abs=1e-12)
    assert finding.interval is not None and finding.interval.sided == 1
    assert finding.interval.low == 0.0
    # Rayleigh-like law with the covariance of u', v' by first order, drawn by another generator.
    dx, dy = ufloat(0, np.hypot(0.001, 0.00025)), ufloat(0, np.hypot(0.0005, 0.0002))
    u, v = uv((0.3127 + dx, 0.3290 + dy))
    covariance = np.array(uncertainties.covariance_matrix([u, v]))
    sample = np.random.default_rng(5).multivariate_normal([0, 0], covariance, 400_000)
    assert finding.interval.high == pytest.approx(np.quantile(np.hypot(*sample.T), 0.95), rel=0.02)


def requirement_over(quantity: str, **changes: Any) -> Requirement:
    return builders.requirement(quantity, Over(("grey",)), **changes)


def test_an_unknown_correlation_gives_the_smallest_probability() -> None:
    grey = uv_of(np.array([lit(GREY_XY, 1.0)])) - uv_of(
        np.array([lit(np.array(builders.D65), 1.0)])
    )
    limits = Limits(maximum=float(np.hypot(*grey[0])) + 0.0005)
    requirement = requirement_over("chromaticity-difference", limits=limits)
    rule = builders.rule(builders.target(), requirement, sets=(LIST,))

    def probability(correlation: float | None) -> float:
        instrument = builders.meter(correlation)
        case = match_readings(rule, readings(), meter=instrument)
        (finding,) = findings_of(case, instrument.uncertainty, count=20_000, seed=2)
        assert finding.probability is not None
        return finding.probability

    known = [probability(correlation) for correlation in (-0.9, 0.0, 0.9)]
    assert probability(None) == min(known)
    assert max(known) - min(known) > 0.02
