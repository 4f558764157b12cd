"""Quantities of luminance alone. All arrays in cd/m², patches on the last axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CLIPPED = 0.98
"""A patch within 2 % of the highest counts as clipped (common practice, no source)."""


def ratio(numerator: Array, denominator: Array) -> Array:
    """Quotient (...,); NaN where the denominator is 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        quotient = np.asarray(numerator / denominator)
    return np.where(denominator == 0, np.nan, quotient)


def luminance_error(measured: Array, target: Array) -> Array:
    """100·(Y − Yt)/Yt in %, signed (DCI HDR D-Cinema Addendum 1.2, Annex A)."""
    return 100.0 * ratio(measured - target, target)


def relative_luminance(measured: Array, reference: Array) -> Array:
    """100·Y/Yr in % (SMPTE ST 431-1 for places on a screen)."""
    return 100.0 * ratio(measured, reference)


def non_uniformity(lowest: Array, highest: Array) -> Array:
    """100·(1 − Ymin/Ymax) in % (DCI Direct View Addendum 1.2, 6.6.4)."""
    return 100.0 * (1.0 - ratio(lowest, highest))


def stability(lowest: Array, highest: Array, mean: Array) -> Array:
    """Range of repeated readings in % of their mean."""
    return 100.0 * ratio(highest - lowest, mean)


def additivity(primaries: Array, white: Array, black: Array) -> Array:
    """100·(Σ(Yi − Yk) + Yk − Yw)/(Yw − Yk) in %, primaries (..., 3)."""
    above = np.sum(primaries - black[..., None], axis=-1)
    return 100.0 * ratio(above + black - white, white - black)


def first_differences(luminance: Array) -> Array:
    """(..., n - 1) steps of luminance along a set in order of its signal."""
    return np.asarray(np.diff(luminance, axis=-1))


def second_differences(luminance: Array, level: Array) -> Array:
    """(..., n - 2) second divided differences times the mean step squared, in cd/m².

    Twice the divided difference y[a, b, c], so that equal steps give the plain
    second difference y[a] − 2·y[b] + y[c].
    """
    slope = np.diff(luminance, axis=-1) / np.diff(level)
    span = level[2:] - level[:-2]
    mean_step = (level[-1] - level[0]) / (len(level) - 1)
    return np.asarray(2.0 * np.diff(slope, axis=-1) / span * mean_step**2)


def clipped_from(luminance: Array) -> int:
    """Index of the lowest of patches (n,) in order of signal that is within 2 % of the highest."""
    return int(np.flatnonzero(luminance >= CLIPPED * np.max(luminance))[0])
