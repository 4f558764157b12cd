"""The last digit of readings: as the meter's file states it, else detected from the readings."""

from __future__ import annotations

from collections.abc import Mapping
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
FEWEST_DIGITS = 3
"""Significant digits that any meter shows (practice)."""
ROUNDING = 1e-6
"""Share of a step by which a multiple of it may differ, after binary rounding."""


class Resolution(NamedTuple):
    """The last digit of R readings."""

    step: Array
    """(R,) of Y in cd/m²; where it is not known, the coarsest that the readings allow"""
    known: Flags
    """(R,) whether it is stated or detected"""
    apart: Flags
    """(R,) whether X and Z are rounded to the same step; else they follow Y"""

    def at(self, rows: NDArray[np.int64]) -> Resolution:
        """The last digit of some of the readings."""
        return Resolution(self.step[rows], self.known[rows], self.apart[rows])


def resolution_of(xyz: Array, stated: float | None) -> Resolution:
    """The last digit of readings (R, 3) in cd/m².

    Unless stated, it is the coarsest power of ten of which all Y of the same decade are multiples,
    from five readings on of which two differ; of fewer, that is a bound on it.
    """
    if stated is not None:
        step, known = np.full(len(xyz), stated), np.ones(len(xyz), dtype=np.bool_)
    else:
        step, known = _detected(xyz[:, 1])
    usable = np.where(known & (step > 0), step, 1.0)[:, None]
    apart = _multiples(xyz[:, [0, 2]], usable).all(axis=1) & known & (step > 0)
    return Resolution(step, known, apart)


def _multiples(values: Array, step: Array | float) -> Flags:
    share = values / step
    return np.asarray(np.abs(share - np.round(share)) <= ROUNDING)


def _detected(luminance: Array) -> tuple[Array, Flags]:
    """(R,) step of each reading, and whether it is known; 0 of a reading without light."""
    step, known = np.zeros(len(luminance)), np.zeros(len(luminance), dtype=np.bool_)
    size = np.abs(luminance)
    lit = size > 0
    decade = np.floor(np.log10(np.where(lit, size, 1.0)) + ROUNDING).astype(np.int64)
    told: dict[int, float] = {}
    open_decades: dict[int, Flags] = {}
    for each in np.unique(decade[lit]).tolist():
        members = lit & (decade == each)
        values = np.unique(luminance[members])
        step[members] = _coarsest(values, each)
        if members.sum() >= ENOUGH and len(values) >= DIFFERENT:
            told[each] = float(step[members][0])
            known |= members
        else:
            open_decades[each] = members
    for each, members in open_decades.items():
        step[members] = np.minimum(step[members], _plausible(each, told))
    return step, known


def _plausible(decade: int, told: Mapping[int, float]) -> float:
    """The coarsest step of a decade's readings, after those told by readings of other decades.

    A meter shows as many decimals as in the nearest of them, or as many digits; the coarser counts.
    """
    if not told:
        return float(f"1e{decade - FEWEST_DIGITS + 1}")
    nearest = min(told, key=lambda other: abs(other - decade))
    return told[nearest] * 10.0 ** max(0, decade - nearest)


def _coarsest(values: Array, decade: int) -> float:
    """The coarsest power of ten of which all values of a decade are multiples; 0 if none is."""
    for exponent in range(decade, decade - DIGITS, -1):
        step = float(f"1e{exponent}")
        if _multiples(values, step).all():
            return step
    return 0.0
