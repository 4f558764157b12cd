"""The exponent that a neutral ramp shows, by the form of each transfer function."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import transfer

Array = NDArray[np.float64]

ROUNDS = 12
STEP = 1e-4
SETTLED = 1e-11
"""A change of every exponent that is no change any more."""


def power_exponent(signal: Array, luminance: Array, white: Array, black: Array) -> Array:
    """γ of (Y − Yk)/(Yw − Yk) = V^γ, least squares in the log.

    Signal (n,), luminance (..., n), white and black (...,) in cd/m².
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.log((luminance - black[..., None]) / (white - black)[..., None])
    base = np.log(signal)
    return np.asarray(np.sum(base * share, axis=-1) / np.sum(base * base))


def bt1886_exponent(signal: Array, luminance: Array, white: Array, black: Array) -> Array:
    """γ of the form of ITU-R BT.1886 Annex 1 with measured white and black (...,)."""

    def model(gamma: Array) -> Array:
        return np.asarray(
            transfer.bt1886(signal, white[..., None], black[..., None], gamma[..., None])
        )

    return _least_squares(model, luminance, np.shape(white), 2.4)


def hlg_system_gamma(signal: Array, luminance: Array, white: Array, black: Array) -> Array:
    """System gamma of ITU-R BT.2100 HLG, black lift included, measured white and black (...,)."""

    def model(gamma: Array) -> Array:
        exponent = gamma[..., None]
        beta = transfer.hlg_black_lift(white[..., None], black[..., None], exponent)
        scene = transfer.hlg_inverse_oetf(np.maximum(0.0, (1 - beta) * signal + beta))
        return np.asarray(white[..., None] * scene**exponent)

    return _least_squares(model, luminance, np.shape(white), 1.2)


def _least_squares(
    model: Callable[[Array], Array], luminance: Array, shape: tuple[int, ...], start: float
) -> Array:
    """Gauss-Newton on the residuals of log luminance, one exponent per leading index."""
    gamma = np.full(shape, start)
    with np.errstate(divide="ignore", invalid="ignore"):
        measured = np.log(luminance)
        for _ in range(ROUNDS):
            here = np.log(model(gamma))
            slope = (np.log(model(gamma + STEP)) - np.log(model(gamma - STEP))) / (2 * STEP)
            change = np.sum(slope * (measured - here), axis=-1) / np.sum(slope * slope, axis=-1)
            gamma = gamma + np.clip(change, -0.5, 0.5)
            if not np.any(np.abs(change) >= SETTLED):  # none that is a number
                break
    return gamma
