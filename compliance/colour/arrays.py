"""Shared numpy helpers: the array types and functions defined for all numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]


def as_array(values: ArrayLike) -> Array:
    """`values` as an array of float64, copied only where needed."""
    return np.asarray(values, dtype=np.float64)


def quotient(numerator: ArrayLike, denominator: ArrayLike) -> Array:
    """Numerator over denominator; NaN, without a warning, if the denominator is zero."""
    below = as_array(denominator)
    if below.all():
        return as_array(as_array(numerator) / below)
    return as_array(as_array(numerator) / np.where(below == 0, np.nan, below))


def odd_power(base: ArrayLike, exponent: ArrayLike) -> Array:
    """|base|^exponent with the sign of the base, so that noise below zero stays a number."""
    value = as_array(base)
    return as_array(np.sign(value) * np.abs(value) ** as_array(exponent))


def stack(*components: Array) -> Array:
    """Components of shape (...) as one array (..., n)."""
    return np.stack(np.broadcast_arrays(*components), axis=-1)
