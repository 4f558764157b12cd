"""The last digit of readings: as the meter's file states it, else detected from the readings."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ENOUGH = 5
"""Smallest number of readings in a decade from which a step is detected."""
DIFFERENT = 2
"""Smallest number of different values among them."""
DIGITS = 9
"""Significant digits below which no step is looked for."""
ROUNDING = 1e-6
"""Share of a step by which a multiple of it may differ, after binary rounding."""


class Resolution(NamedTuple):
    """The last digit of R readings."""

    step: Array
    """(R,) of Y in cd/m²; NaN if neither stated nor detectable"""
    apart: Flags
    """(R,) whether X and Z are rounded to the same step; else they follow Y"""

    def at(self, rows: NDArray[np.int64]) -> Resolution:
        """The last digit of some of the readings."""
        return Resolution(self.step[rows], self.apart[rows])

    @property
    def known(self) -> Flags:
        """(R,)"""
        return np.asarray(np.isfinite(self.step))


def resolution_of(xyz: Array, stated: float | None) -> Resolution:
    """The last digit of readings (R, 3) in cd/m².

    Unless stated, it is the coarsest power of ten of which all Y of the same decade are multiples,
    from five readings on of which two differ.
    """
    step = _detected(xyz[:, 1]) if stated is None else np.full(len(xyz), stated)
    usable = np.where(np.isfinite(step) & (step > 0), step, 1.0)[:, None]
    apart = _multiples(xyz[:, [0, 2]], usable).all(axis=1) & (step > 0)
    return Resolution(step, apart)


def _multiples(values: Array, step: Array | float) -> Flags:
    share = values / step
    return np.asarray(np.abs(share - np.round(share)) <= ROUNDING)


def _detected(luminance: Array) -> Array:
    step = np.full(len(luminance), np.nan)
    size = np.abs(luminance)
    lit = size > 0
    decade = np.floor(np.log10(np.where(lit, size, 1.0)) + ROUNDING).astype(np.int64)
    for each in np.unique(decade[lit]):
        members = lit & (decade == each)
        values = np.unique(luminance[members])
        if members.sum() >= ENOUGH and len(values) >= DIFFERENT:
            step[members] = _coarsest(values, int(each))
    return step


def _coarsest(values: Array, decade: int) -> float:
    """The coarsest power of ten of which all values of a decade are multiples; 0 if none is."""
    for exponent in range(decade, decade - DIGITS, -1):
        step = float(f"1e{exponent}")
        if _multiples(values, step).all():
            return step
    return 0.0
