"""Perceptual quantizer. Source: ITU-R BT.2100 Table 4; SMPTE ST 2084."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colour.arrays import Array, as_array

M1 = 2610 / 16384
M2 = 2523 / 4096 * 128
C1 = 3424 / 4096
C2 = 2413 / 4096 * 32
C3 = 2392 / 4096 * 32
PEAK = 10_000.0
"""cd/m² of full signal."""


def pq(signal: ArrayLike) -> Array:
    """Luminance (...) in cd/m² of normalised signal (...), the eotf; odd below zero."""
    value = as_array(signal)
    root = np.abs(value) ** (1 / M2)
    linear = (np.maximum(root - C1, 0) / (C2 - C3 * root)) ** (1 / M1)
    return as_array(np.where(value < 0, -PEAK, PEAK) * linear)


def pq_inverse(luminance: ArrayLike) -> Array:
    """Normalised signal (...) of luminance (...) in cd/m²; odd below zero.

    Zero gives C1^M2 = 7.3e-7, as the formula does.
    """
    value = as_array(luminance)
    power = (np.abs(value) / PEAK) ** M1
    signal = ((C1 + C2 * power) / (1 + C3 * power)) ** M2
    return as_array(np.where(value < 0, -signal, signal))
