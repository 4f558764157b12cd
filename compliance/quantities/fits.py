"""Fits of a curve to greys: its exponent, the form of its black, a black that the meter cannot see.

All in the logarithm of luminance, signals (n,) and luminances (..., n) in cd/m², one fit for each
leading index.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import hlg

Array = NDArray[np.float64]

ROUNDS = 12
STEP = 1e-4
SETTLED = 1e-11
"""Changes of exponents below this count as none."""


def power_exponent(base: Array, luminance: Array, white: Array, black: Array) -> Array:
    """γ of (Y − Yk)/(Yw − Yk) = base^γ, least squares in the log; white and black (...,).

    `base` (n,) is the signal, for HLG the scene light.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.log((luminance - black[..., None]) / (white - black)[..., None])
    log = np.log(base)
    return np.asarray(np.sum(log * share, axis=-1) / np.sum(log * log))


# ------------------------------------------------------------ curves with a lifted black
#
# Both forms are Y/Yw = s(lift + (1 − lift)·V)^γ with Yk/Yw = s(lift)^γ, so that for a given lift
# the best γ follows directly: s is the identity for ITU-R BT.1886 Annex 1, and HLG's inverse OETF
# for ITU-R BT.2100, where the lift is β.

STARTS = {"bt1886": 2.4, "hlg": 1.2}
"""Exponents with which a fit begins."""


def _scene(curve: str, lifted: Array) -> Array:
    return lifted if curve == "bt1886" else hlg.hlg_inverse_oetf(lifted)


def _shape(curve: str, lift: Array, signal: Array) -> Array:
    """(..., n) log of s at signals, for a lift (...,)."""
    lifted = np.maximum(0.0, lift[..., None] + (1 - lift[..., None]) * signal)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(_scene(curve, lifted)))


def _lift_of(curve: str, share: Array, exponent: Array | float) -> Array:
    """The lift (...,) of a black, as a share of white; odd for a black below zero."""
    if curve == "hlg":
        return np.asarray(hlg.hlg_black_lift(np.ones_like(share), share, exponent))
    return np.asarray(np.sign(share) * np.abs(share) ** (1 / exponent))


def lifted_exponent(
    curve: str, signal: Array, luminance: Array, white: Array, black: Array
) -> Array:
    """γ of the curve with measured white and black (...,), by Gauss and Newton."""
    return _lifted_fit(curve, signal, luminance, white, black).exponent


class _Fit(NamedTuple):
    """An exponent, and the sum of squared residuals that it leaves, both (...,)."""

    exponent: Array
    residual: Array


def _lifted_fit(curve: str, signal: Array, luminance: Array, white: Array, black: Array) -> _Fit:
    with np.errstate(divide="ignore", invalid="ignore"):
        share = black / white

    def model(exponent: Array) -> Array:
        lift = _lift_of(curve, share, exponent)
        return np.asarray(exponent[..., None] * _shape(curve, lift, signal))

    return _fitted(curve, model, luminance, white)


def _added_fit(curve: str, signal: Array, luminance: Array, white: Array, black: Array) -> _Fit:
    """The fit of a curve to which the black is added as light."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (black / white)[..., None]
        base = np.log(_scene(curve, signal))

    def model(exponent: Array) -> Array:
        return np.asarray(np.log(share + (1 - share) * np.exp(exponent[..., None] * base)))

    return _fitted(curve, model, luminance, white)


def _fitted(curve: str, model: Callable[[Array], Array], luminance: Array, white: Array) -> _Fit:
    """The exponent with which a model of log(Y/Yw), (...,) to (..., n), fits luminances best."""
    gamma = np.full(np.shape(white), STARTS[curve])
    with np.errstate(divide="ignore", invalid="ignore"):
        measured = np.log(luminance / white[..., None])
        for _ in range(ROUNDS):
            slope = (model(gamma + STEP) - model(gamma - STEP)) / (2 * STEP)
            rest = measured - model(gamma)
            change = np.sum(slope * rest, axis=-1) / np.sum(slope * slope, axis=-1)
            gamma = gamma + np.clip(change, -0.5, 0.5)
            if not np.any(np.abs(change) >= SETTLED):  # NaN counts as settled
                break
        rest = measured - model(gamma)
    return _Fit(gamma, np.sum(rest * rest, axis=-1))


LARGEST_EXPONENT = 4.0
"""Of a fit with a free black."""
GRID = 17
"""Places tried first, over all lifts allowed."""
GOLDEN = (5**0.5 - 1) / 2
SECTIONS = 36
"""Golden sections of the best place's neighbourhood, to 10⁻⁸ of the range."""


class FreeBlack(NamedTuple):
    """What greys tell of a curve whose black the meter cannot see, each (...,)."""

    exponent: Array
    black: Array
    """cd/m²"""
    residual: Array
    """sum of squares in the logarithm"""


def with_free_black(
    curve: str, signal: Array, luminance: Array, white: Array, lowest: float
) -> FreeBlack:
    """The exponent of the curve, with the black from 0 to `lowest` in cd/m² that fits best with it.

    Both are fitted together: fitted after the black, an exponent of 2.2 would read 2.36; and a
    black fitted at the rule's exponent would hide a wrong one.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        measured = np.log(luminance / white[..., None])
        most = _lift_of(curve, np.asarray(lowest / white), LARGEST_EXPONENT)

    def exponent(lift: Array) -> Array:
        shape = _shape(curve, lift, signal)
        return np.asarray(np.sum(shape * measured, axis=-1) / np.sum(shape * shape, axis=-1))

    def black(lift: Array) -> Array:
        with np.errstate(invalid="ignore"):
            return np.asarray(white * _scene(curve, lift) ** exponent(lift))

    def residual(lift: Array) -> Array:
        rest = measured - exponent(lift)[..., None] * _shape(curve, lift, signal)
        return np.where(black(lift) <= lowest, np.sum(rest**2, axis=-1), np.inf)

    lift = _least(residual, most)
    return FreeBlack(exponent(lift), black(lift), residual(lift))


ALIKE = 1e-12
"""Sums of squared residuals that are nearer than this are a tie."""


def is_lifted(
    curve: str, signal: Array, luminance: Array, white: Array, black: Array | None, lowest: float
) -> bool:
    """Whether greys (n,) are fitted better with the black in the signal than with added light.

    The exponent is left free in both; with a fixed one the form would hide a wrong exponent. So
    is a black that the meter cannot see (None), from 0 to `lowest` in cd/m². A tie is not lifted.
    """
    if black is not None:
        lifted = _lifted_fit(curve, signal, luminance, white, black).residual
        added = _added_fit(curve, signal, luminance, white, black).residual
        return bool(lifted < added - ALIKE)

    def with_added(black: Array) -> Array:
        return _added_fit(curve, signal, luminance, white, black).residual

    lifted = with_free_black(curve, signal, luminance, white, lowest).residual
    added = with_added(_least(with_added, np.full(np.shape(white), lowest)))
    return bool(lifted < added - ALIKE)


def black_at_exponent(
    curve: str, signal: Array, luminance: Array, white: Array, lowest: float, exponent: float
) -> Array:
    """Black (...,) from 0 to `lowest` in cd/m² with which a curve of that exponent fits best."""
    with np.errstate(divide="ignore", invalid="ignore"):
        measured = np.log(luminance / white[..., None])
        most = _lift_of(curve, np.asarray(lowest / white), exponent)

    def residual(lift: Array) -> Array:
        rest = measured - exponent * _shape(curve, lift, signal)
        return np.asarray(np.sum(rest**2, axis=-1))

    lift = _least(residual, most)
    return np.asarray(white * _scene(curve, lift) ** exponent)


def _least(residual: Callable[[Array], Array], most: Array) -> Array:
    """The place (...,) from 0 to `most` (...,) with the least residual: by a grid, then by golden
    sections; a residual that is not a number counts as infinite."""

    def found(place: Array) -> Array:
        with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
            rest = residual(place)
        return np.where(np.isfinite(rest), rest, np.inf)

    most = np.where(np.isfinite(most), most, 0.0)
    tried = [found(most * share) for share in np.linspace(0, 1, GRID)]
    best = np.argmin(tried, axis=0)
    low = most * np.maximum(best - 1, 0) / (GRID - 1)
    high = most * np.minimum(best + 1, GRID - 1) / (GRID - 1)
    for _ in range(SECTIONS):
        span = GOLDEN * (high - low)
        left, right = high - span, low + span
        nearer = found(left) <= found(right)
        low, high = np.where(nearer, low, left), np.where(nearer, right, high)
    middle, start = (low + high) / 2, np.zeros_like(most)
    middle = np.where(found(start) <= found(middle), start, middle)
    return np.where(found(most) < found(middle), most, middle)
