"""What each reading should show, as far as checks need it: the rule's target at the light read."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colorimetry import spaces
from compliance.grading.case import Case
from compliance.model import Readings

__all__ = ["Row", "itp", "rows"]

Array = NDArray[np.float64]
VEIL = 0.02 * np.asarray(spaces.xy_to_xyz(np.array(spaces.WHITES["d65"]), np.ones(())))
"""XYZ in cd/m² laid over both sides of a comparison, so that noise in the dark weighs little."""


class Row(NamedTuple):
    """A reading at the centre and the rule's window, in its place in the session."""

    row: int
    """Of the readings."""
    line: int
    """Of the file."""
    patch: int
    """Of the case."""
    read: Array
    """(3,) ITP"""
    target: Array
    """(3,) ITP"""
    luminance: float
    """cd/m²"""


def itp(xyz: Array) -> Array:
    """XYZ (..., 3) in cd/m² to I, T, P in just noticeable differences (ITU-R BT.2124-0)."""
    return np.asarray(720 * spaces.xyz_to_itp(xyz + VEIL))


def rows(case: Case, readings: Readings, expected: Array | None = None) -> list[Row]:
    """The readings that a target can be said for, in the order of the session.

    `expected` (P, 3) is what the display is known to show instead, NaN where it is not.
    """
    patches, model = case.patches, case.plan.model
    usable = ~(patches.beyond | patches.above | patches.unreachable)
    dim = np.full(len(patches), max(float(readings.xyz[:, 1].min(initial=1.0)), 1e-6))
    plain = targets.nominal_xyz(patches.signal, model)
    bright = patches.neutral & usable & (plain[:, 1] >= max(0.05 * plain[:, 1].max(), 1e-6))
    ratio = case.view.xyz[bright, 1] / plain[bright, 1] if bright.any() else np.ones(1)
    level = np.full(len(patches), model.white_luminance * max(float(np.median(ratio)), 1e-3))
    wanted = itp(targets.target_xyz(patches.signal, model, level, dim))
    if expected is not None:
        known = np.isfinite(expected).all(axis=-1)
        wanted[known] = itp(expected[known])
    found = []
    for place, row in enumerate(patches.order):
        patch = int(patches.rows[place])
        there = patches.stimulus[patch]
        same = abs(there.window - case.rule.window) <= 1e-6 and there.seconds == 0
        if usable[patch] and same and there.position == "centre":
            found.append(
                Row(
                    int(row),
                    readings.lines[int(row)],
                    patch,
                    itp(readings.xyz[int(row)]),
                    wanted[patch],
                    float(readings.xyz[int(row), 1]),
                )
            )
    return sorted(found, key=lambda one: one.row)
