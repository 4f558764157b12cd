"""Readings at the limits of the meter: saturation, floor, observer, repeatability."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from compliance.colour import spaces
from compliance.grading.match import MatchedReadings
from compliance.model import Meter, Readings, Remark, RepeatabilityBand
from compliance.remarks.expected_light import Row, primary_patches

STEP = 1.03
"""Smallest ratio of two targets that must read differently."""
ABOVE = 2.0
"""A target of this many times the floor must read above it."""
LEAST = 3
"""Smallest number of patches at the floor for a remark."""


def all_identical(readings: Readings, rows: Sequence[Row]) -> Remark | None:
    """A remark if every patch reads exactly the same: the meter did not read the screen."""
    read = readings.xyz[[row.row for row in rows]]
    if len({row.patch for row in rows}) < LEAST or np.ptp(read, axis=0).any():
        return None
    return Remark("alike", {"count": len(rows), "luminance": rows[0].luminance})


def saturation(case: MatchedReadings, readings: Readings, rows: Sequence[Row]) -> Remark | None:
    """A remark on brighter patches that all read exactly the same highest value."""
    if not rows:
        return None
    top = max(rows, key=lambda row: row.luminance)
    same = _reading_as(top, rows, readings)
    levels = [float(case.patches.nominal[row.patch]) for row in same]
    if len({row.patch for row in same}) < 2 or max(levels) < STEP * min(levels):
        return None
    return Remark(
        "saturation",
        {
            "count": len(same),
            "lowest": min(levels),
            "highest": max(levels),
            "luminance": top.luminance,
        },
    )


def _reading_as(row: Row, rows: Sequence[Row], readings: Readings) -> list[Row]:
    """The rows that read exactly the same as one of them."""
    same = np.all(readings.xyz[[each.row for each in rows]] == readings.xyz[row.row], axis=1)
    return [each for each, alike in zip(rows, same, strict=True) if alike]


def floor(case: MatchedReadings, readings: Readings, rows: Sequence[Row]) -> Remark | None:
    """A remark on patches that should read above black and do not."""
    lowest = case.lowest
    if lowest > 0:
        under = [
            row
            for row in rows
            if case.patches.nominal[row.patch] >= ABOVE * lowest and row.luminance < lowest
        ]
        if len({row.patch for row in under}) >= LEAST:
            return Remark("floor", {"count": len(under), "lowest": lowest}, variant="below")
    dark = min(rows, key=lambda row: row.luminance, default=None)
    if dark is None:
        return None
    same = _reading_as(dark, rows, readings)
    levels = [float(case.patches.nominal[row.patch]) for row in same]
    if len({row.patch for row in same}) < LEAST or sorted(levels)[1] < 0.001:
        return None
    return Remark(
        "floor",
        {"count": len(same), "highest": max(levels), "luminance": dark.luminance},
        variant="alike",
    )


TEN_DEGREES = np.array(
    [
        (0.880, 0.088, 0.013),
        (0.004, 0.947, 0.039),
        (0.014, -0.031, 0.987),
    ]
)
"""XYZ of the CIE 1931 2° observer to XYZ of the CIE 1964 10° observer, for the light of
displays: the mean over six sets of primaries from wide phosphors to lasers, each with its
white at D65 (computed with colour-science; `tests/remarks/test_observer.py` does so again)."""

BLUE = 0.03
"""Smallest Δu'v' of blue from its target."""
BETTER = 0.6
"""Largest remaining share of the distance, over red, green and blue together."""
EACH = 0.7
"""The same for blue and for green alone."""


def observer(case: MatchedReadings) -> Remark | None:
    """A remark if red, green and blue fit the target of the 10° observer."""
    primaries = primary_patches(case)
    if primaries is None:
        return None
    read = spaces.xyz_to_uv(case.view.xyz[primaries])
    target = case.plan.model.from_target.T
    two = np.linalg.norm(read - spaces.xyz_to_uv(target), axis=-1)
    ten = np.linalg.norm(read - spaces.xyz_to_uv(target @ TEN_DEGREES.T), axis=-1)
    if two[2] < BLUE or np.linalg.norm(ten) > BETTER * np.linalg.norm(two):
        return None
    if not np.all(ten[1:] <= EACH * two[1:]):
        return None
    return Remark("observer", {"away": float(two[2])})


LIT = 1.0
"""cd/m² from which readings of the same patch are compared."""
ONE = 0.15
"""Share within which they count as the same patch (practice)."""
UNSTEADY = 0.4
"""The same for the repeated white, which may have drifted."""
SEVERAL = 3
"""From so many patches on, no meter repeats every reading exactly."""
APART = 3
"""Rows within which two readings of a patch differ by scatter, not by drift."""
LEAST_REPEATS = 2
"""Smallest number of differences for a remark."""
WORSE = 2.0
"""Times the meter's stated repeatability."""
UNLIKELY = 3.09
"""Normal quantile of 99.9 %."""


def repeatability(case: MatchedReadings, meter: Meter | None) -> Remark | None:
    """A remark if readings taken close to each other differ by more than the meter's file and
    chance allow."""
    uncertainty = meter.uncertainty if meter else None
    if uncertainty is None or not uncertainty.repeatability:
        return None
    patches = case.patches
    shares: list[float] = []
    sizes: list[float] = []
    for patch in range(len(patches)):
        own = _own(uncertainty.repeatability, float(case.view.xyz[patch, 1]))
        if own is None or patches.count[patch] < 2:
            continue
        mine = patches.readings_of(patch)
        in_turn = np.argsort(patches.order[mine])
        level = case.view.readings[mine, 1][in_turn]
        near = np.diff(patches.order[mine][in_turn]) <= APART
        steps = np.diff(level)[near] / level.mean()
        own_share = own / 100 / uncertainty.k
        shares += [float(step) / own_share for step in steps]
        sizes += [float(step) for step in steps]
    count = len(shares)
    if count < LEAST_REPEATS:
        return None
    # Two readings differ by √2 times the scatter of one.
    excess = float(np.sum(np.square(shares)) / 2)
    if excess < count * WORSE**2 or excess <= _chi_square(count):
        return None
    scatter = 100 * float(np.sqrt(np.mean(np.square(sizes)) / 2))
    times = float(np.sqrt(excess / count))
    return Remark("repeatability", {"scatter": scatter, "times": times})


def repeats_disagree(case: MatchedReadings) -> Remark | None:
    """A remark on the patch with readings that can hardly be of the same patch."""
    patches, white = case.patches, case.built_in("white")
    most, remark = ONE, None
    for patch in np.flatnonzero((patches.count > 1) & (case.view.xyz[:, 1] >= LIT)):
        level = case.view.readings[patches.readings_of(patch), 1]
        apart = float(np.ptp(level) / level.mean())
        if apart > most and (patch != white or apart > UNSTEADY):
            most = apart
            remark = Remark(
                "conflicting",
                {
                    "patch": patches.triple(int(patch)),
                    "count": len(level),
                    "lowest": float(level.min()),
                    "highest": float(level.max()),
                },
            )
    return remark


def repeats_identical(case: MatchedReadings) -> Remark | None:
    """A remark if repeated readings of several patches are the same to the last digit."""
    patches = case.patches
    lit = np.flatnonzero((patches.count > 1) & (case.view.xyz[:, 1] >= LIT))
    same = [
        patch
        for patch in lit
        if not np.ptp(case.view.readings[patches.readings_of(patch)], axis=0).any()
    ]
    return Remark("copied", {"count": len(same)}) if len(same) >= SEVERAL else None


def _own(bands: tuple[RepeatabilityBand, ...], luminance: float) -> float | None:
    """Expanded repeatability in % at a luminance; None below the first band."""
    shares = [band.relative for band in bands if band.start <= luminance]
    return shares[-1] if shares and shares[-1] > 0 else None


def _chi_square(freedom: int) -> float:
    """The quantile of 99.9 % (Wilson and Hilferty 1931)."""
    small = 2 / (9 * freedom)
    return float(freedom * (1 - small + UNLIKELY * np.sqrt(small)) ** 3)
