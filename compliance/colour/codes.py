"""Code values and normalised signal.

Source: ITU-R BT.2100 Table 9. Narrow: round((219·E′ + 16)·2^(n−8)), full:
round((2^n − 1)·E′), where round(x) is floor(x + .5).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colour.arrays import Array, Integers, as_array

NARROW_BLACK = 16
NARROW_SPAN = 219


def decode(codes: ArrayLike, bits: int, narrow: bool) -> Array:
    """Integer codes (...) as normalised signal (...): nominal black 0, nominal peak 1.

    Narrow codes beyond the nominal ones give a signal below 0 or above 1; nothing is clipped.
    """
    values = as_array(codes)
    if narrow:
        unit = 2.0 ** (bits - 8)
        return as_array((values - NARROW_BLACK * unit) / (NARROW_SPAN * unit))
    return as_array(values / (2**bits - 1))


def encode(signal: ArrayLike, bits: int, narrow: bool) -> Integers:
    """Normalised signal (...) as the nearest integer codes (...), halves upwards.

    Nothing is clipped: a signal outside 0 to 1 gives a code beyond the nominal ones.
    """
    values = as_array(signal)
    if narrow:
        scaled = (NARROW_SPAN * values + NARROW_BLACK) * 2.0 ** (bits - 8)
    else:
        scaled = values * (2**bits - 1)
    return np.floor(scaled + 0.5).astype(np.int64)


def step(bits: int, narrow: bool) -> float:
    """The step of one code in normalised signal."""
    return 1 / (NARROW_SPAN * 2.0 ** (bits - 8)) if narrow else 1 / (2**bits - 1)
