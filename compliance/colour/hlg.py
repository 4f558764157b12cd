"""Hybrid log-gamma. Sources: ITU-R BT.2100-3 Table 5 and notes 5e, 5f; ITU-R BT.814-4 Annex 5."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colour.arrays import Array, as_array, odd_power, quotient

A = 0.17883277
B = 1 - 4 * A
"""0.28466892 in print"""
C = 0.5 - A * np.log(4 * A)
"""0.55991073 in print"""
LUMINANCE = np.array([0.2627, 0.6780, 0.0593])
"""Weights of R, G, B in Ys."""
REFERENCE_SURROUND = 5.0
"""cd/m²"""


def hlg_inverse_oetf(signal: ArrayLike) -> Array:
    """Scene light (...), 0 to 1, of normalised signal (...); odd below zero."""
    value = as_array(signal)
    size = np.abs(value)
    upper = (np.exp((np.maximum(size, 0.5) - C) / A) + B) / 12
    return as_array(np.sign(value) * np.where(size <= 0.5, size * size / 3, upper))


def hlg_oetf(scene: ArrayLike) -> Array:
    """Normalised signal (...) of scene light (...), 0 to 1; odd below zero."""
    value = as_array(scene)
    size = np.abs(value)
    upper = A * np.log(np.maximum(12 * size, 1) - B) + C
    return as_array(np.sign(value) * np.where(size <= 1 / 12, np.sqrt(3 * size), upper))


def hlg_ootf(rgb: ArrayLike, white: ArrayLike, gamma: ArrayLike) -> Array:
    """Display light R, G, B (..., 3) in cd/m² of scene light R, G, B (..., 3), 0 to 1.

    F = α·Ys^(γ−1)·E on luminance Ys, not per channel; `white` = α in cd/m² and `gamma`
    broadcast against (...). No light gives no light under any gamma.
    """
    scene = as_array(rgb)
    luminance = np.abs(scene @ LUMINANCE)
    lit = np.where(luminance == 0, 1.0, luminance)
    gain = as_array(white) * np.where(luminance == 0, 0.0, lit ** (as_array(gamma) - 1))
    return as_array(gain[..., np.newaxis] * scene)


def hlg_ootf_inverse(rgb: ArrayLike, white: ArrayLike, gamma: ArrayLike) -> Array:
    """Scene light R, G, B (..., 3), 0 to 1, of display light (..., 3) in cd/m²; see `hlg_ootf`."""
    light = as_array(rgb) / as_array(white)[..., np.newaxis]
    luminance = np.abs(light @ LUMINANCE)
    lit = np.where(luminance == 0, 1.0, luminance)
    exponent = as_array(gamma)
    gain = np.where(luminance == 0, 0.0, lit ** ((1 - exponent) / exponent))
    return as_array(gain[..., np.newaxis] * light)


def hlg_system_gamma(peak: ArrayLike, surround: ArrayLike = REFERENCE_SURROUND) -> Array:
    """System gamma (...) of a display's nominal peak and surround (...), both in cd/m²."""
    level, around = as_array(peak), as_array(surround)
    usual = 1.2 + 0.42 * np.log10(level / 1000)
    extended = 1.2 * 1.111 ** np.log2(level / 1000)
    gamma = np.where((level >= 400) & (level <= 2000), usual, extended)
    return as_array(gamma - 0.076 * np.log10(around / REFERENCE_SURROUND))


def hlg_black_lift(white: ArrayLike, black: ArrayLike, gamma: ArrayLike) -> Array:
    """β (...) of white and black in cd/m² and system gamma (...); odd for a black below zero.

    NaN if the white has no light.
    """
    ratio = quotient(as_array(black), as_array(white))
    return as_array(np.sqrt(3) * odd_power(ratio, 0.5 / as_array(gamma)))
