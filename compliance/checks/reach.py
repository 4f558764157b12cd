"""Readings at the ends of what the meter can tell, saturation and floor, or of nothing at all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from compliance.checks.expected import Row
from compliance.grading.case import Case
from compliance.model import Readings, Remark
from compliance.wording import format_number

__all__ = ["alike", "floor", "saturation"]

STEP = 1.03
"""Ratio of two targets that are to read differently."""
ABOVE = 2.0
"""Times the floor that a target must be for its reading not to be there."""
LEAST = 3
"""Readings at the floor without which nothing is said."""


def alike(readings: Readings, rows: Sequence[Row]) -> Remark | None:
    """Every patch reads the very same: what was read was not the screen."""
    read = readings.xyz[[one.row for one in rows]]
    if len({one.patch for one in rows}) < LEAST or np.ptp(read, axis=0).any():
        return None
    return Remark(
        "alike",
        f"All {len(rows)} readings of different patches are the same to the last digit, "
        f"{format_number(rows[0].luminance)}\u00a0cd/m²: the meter can hardly have read the "
        "screen.",
    )


def saturation(case: Case, readings: Readings, rows: Sequence[Row]) -> Remark | None:
    """Brighter patches that all read the very same highest value."""
    if not rows:
        return None
    top = max(rows, key=lambda one: one.luminance)
    same = [one for one in rows if np.array_equal(readings.xyz[one.row], readings.xyz[top.row])]
    levels = [float(case.patches.nominal[one.patch]) for one in same]
    if len({one.patch for one in same}) < 2 or max(levels) < STEP * min(levels):
        return None
    return Remark(
        "saturation",
        f"{len(same)} readings of different patches, of targets from "
        f"{format_number(min(levels))} to {format_number(max(levels))}\u00a0cd/m², are the same to "
        f"the last digit, {format_number(top.luminance)}\u00a0cd/m²: the meter may have been at "
        "its upper end.",
    )


def floor(case: Case, readings: Readings, rows: Sequence[Row]) -> Remark | None:
    """Patches that should be told from black and are not."""
    lowest = case.lowest
    asked = [float(case.patches.nominal[one.patch]) for one in rows]
    if lowest > 0:
        under = [
            one
            for one, nominal in zip(rows, asked, strict=True)
            if nominal >= ABOVE * lowest and one.luminance < lowest
        ]
        if len({one.patch for one in under}) >= LEAST:
            return Remark(
                "floor",
                f"{len(under)} readings of patches brighter than that are below "
                f"{format_number(lowest)}\u00a0cd/m², the least that the meter can tell from dark.",
            )
    dark = min(rows, key=lambda one: one.luminance, default=None)
    if dark is None:
        return None
    same = [one for one in rows if np.array_equal(readings.xyz[one.row], readings.xyz[dark.row])]
    levels = [float(case.patches.nominal[one.patch]) for one in same]
    if len({one.patch for one in same}) < LEAST or sorted(levels)[1] < 0.001:
        return None
    return Remark(
        "floor",
        f"{len(same)} readings of different patches, of targets up to "
        f"{format_number(max(levels))}\u00a0cd/m², are the same to the last digit, "
        f"{format_number(dark.luminance)}\u00a0cd/m²: the meter may have been at its lower end.",
    )
