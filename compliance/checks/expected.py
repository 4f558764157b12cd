"""What each reading should show, as far as checks need it: the rule's target at the light read."""

from __future__ import annotations

from collections.abc import Sequence
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
    sure: bool
    """Whether the target is what this display is known to show."""
    luminance: float
    """cd/m²"""


def itp(xyz: Array) -> Array:
    """XYZ (..., 3) in cd/m² to I, T, P in just noticeable differences (ITU-R BT.2124-0)."""
    return np.asarray(720 * spaces.xyz_to_itp(xyz + VEIL))


def rows(
    case: Case, readings: Readings, expected: Array | None = None, *, shift: int = 0
) -> list[Row]:
    """The readings that a target can be said for, in the order of the session.

    The target has the luminance of the brighter greys as read; with `shift` of those that were
    read so many places on. `expected` (P, 3) is what the display is known to show instead, NaN
    where it is not.
    """
    session = _session(case)
    wanted = itp(_targets(case, readings, session, shift))
    known: NDArray[np.bool_] = np.ones(len(wanted), dtype=np.bool_)
    if expected is not None:
        known = np.asarray(np.isfinite(expected).all(axis=-1))
        wanted[known] = itp(expected[known])
    read = itp(readings.xyz)
    return [
        Row(
            row,
            readings.lines[row],
            patch,
            read[row],
            wanted[patch],
            bool(known[patch]),
            float(readings.xyz[row, 1]),
        )
        for row, patch in session
    ]


def _session(case: Case) -> list[tuple[int, int]]:
    """Rows of the readings with their patches, in the order of the session."""
    patches = case.patches
    usable = ~(patches.beyond | patches.above | patches.unreachable)
    for index, there in enumerate(patches.stimulus):
        same = abs(there.window - case.rule.window) <= 1e-6 and there.seconds == 0
        usable[index] &= same and there.position == "centre"
    pairs = zip(patches.order, patches.rows, strict=True)
    return sorted((int(row), int(patch)) for row, patch in pairs if usable[patch])


def _targets(
    case: Case, readings: Readings, session: Sequence[tuple[int, int]], shift: int
) -> Array:
    """(P, 3) XYZ in cd/m² of the rule's target at the light that was read."""
    patches, model = case.patches, case.plan.model
    plain = targets.nominal_xyz(patches.signal, model)[:, 1]
    bright = patches.neutral & (plain >= max(0.05 * plain.max(), 1e-6))
    ratios = [
        readings.xyz[row, 1] / plain[patch]
        for (row, _), (_, patch) in zip(
            session[max(-shift, 0) :], session[max(shift, 0) :], strict=False
        )
        if bright[patch]
    ]
    ratio = max(float(np.median(ratios)) if ratios else 1.0, 1e-3)
    dark = max(float(readings.xyz[:, 1].min(initial=1.0)), 1e-6)
    level = np.full(len(patches), model.white_luminance * ratio)
    return targets.target_xyz(patches.signal, model, level, np.full(len(patches), dark))
