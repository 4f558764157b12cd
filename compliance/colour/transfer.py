"""Electro-optical transfer functions: normalised signal to light. PQ and HLG are in own files.

Sources: ITU-R BT.1886 Annex 1; IEC 61966-2-1; SMPTE ST 428-1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colour.arrays import Array, as_array, odd_power

DCDM_PEAK = 52.37
"""cd/m² of code 4095 in each of X′, Y′, Z′."""
DCDM_EXPONENT = 2.6


def bt1886(
    signal: ArrayLike, white: ArrayLike, black: ArrayLike, exponent: ArrayLike = 2.4
) -> Array:
    """Luminance (...) in cd/m² of signal (...) on a display of that white and black in cd/m².

    a·max(V + b, 0)^γ of ITU-R BT.1886 Annex 1, written without its division:
    max(V·(w − k) + k, 0)^γ with w and k the γ-th roots of white and black. The roots are odd,
    so a black below zero, caused by noise, stays a number.
    """
    gamma = as_array(exponent)
    high, low = odd_power(white, 1 / gamma), odd_power(black, 1 / gamma)
    return as_array(np.maximum(as_array(signal) * (high - low) + low, 0) ** gamma)


def srgb(signal: ArrayLike) -> Array:
    """Linear light (...), 0 to 1, of normalised signal (...); IEC 61966-2-1, odd below zero."""
    value = as_array(signal)
    size = np.abs(value)
    return as_array(
        np.sign(value) * np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    )


def srgb_inverse(light: ArrayLike) -> Array:
    """Normalised signal (...) of linear light (...), 0 to 1; inverse of `srgb`, odd below zero."""
    value = as_array(light)
    size = np.abs(value)
    return as_array(
        np.sign(value)
        * np.where(size <= 0.04045 / 12.92, size * 12.92, 1.055 * size ** (1 / 2.4) - 0.055)
    )


def power(signal: ArrayLike, exponent: ArrayLike) -> Array:
    """Linear light (...), 0 to 1, of normalised signal (...): V^exponent, odd below zero."""
    return odd_power(signal, exponent)


def dcdm(signal: ArrayLike) -> Array:
    """X, Y or Z (...) in cd/m² of X′, Y′ or Z′ = code/4095 (...); SMPTE ST 428-1."""
    return DCDM_PEAK * odd_power(signal, DCDM_EXPONENT)


def dcdm_inverse(light: ArrayLike) -> Array:
    """X′, Y′ or Z′ = code/4095 (...) of X, Y or Z (...) in cd/m²; inverse of `dcdm`."""
    return odd_power(as_array(light) / DCDM_PEAK, 1 / DCDM_EXPONENT)
