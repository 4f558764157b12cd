"""Repeated readings that scatter more than the meter does by itself."""

from __future__ import annotations

import numpy as np

from compliance.grading.case import Case
from compliance.model import Meter, Remark, RepeatabilityBand
from compliance.wording import format_number, format_plain

__all__ = ["conflicting", "copied", "repeatability"]

LIT = 1.0
"""cd/m² from which readings of one patch are held against each other."""
ONE = 0.15
"""Share within which they are of one patch (practice)."""
UNSTEADY = 0.4
"""The same of the repeated white, which may have drifted."""
SEVERAL = 3
"""Patches whose repeats no meter reads all the same."""
APART = 3
"""Rows within which two readings of a patch tell scatter and no drift."""
LEAST = 2
"""Differences without which nothing is said."""
WORSE = 2.0
"""Times the meter's own."""
UNLIKELY = 3.09
"""Normal quantile of 99.9 %."""


def repeatability(case: Case, meter: Meter | None) -> Remark | None:
    """A remark where readings taken close to each other differ by more than the meter's file
    and chance allow."""
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
        mine = np.flatnonzero(patches.rows == patch)
        mine = mine[np.argsort(patches.order[mine])]
        level = case.view.readings[mine, 1]
        near = np.diff(patches.order[mine]) <= APART
        steps = np.diff(level)[near] / level.mean()
        own_share = own / 100 / uncertainty.k
        shares += [float(step) / own_share for step in steps]
        sizes += [float(step) for step in steps]
    count = len(shares)
    if count < LEAST:
        return None
    # Two readings differ by √2 times what one scatters.
    excess = float(np.sum(np.square(shares)) / 2)
    if excess < count * WORSE**2 or excess <= _chi_square(count):
        return None
    scatter = 100 * float(np.sqrt(np.mean(np.square(sizes)) / 2))
    times = float(np.sqrt(excess / count))
    return Remark(
        "repeatability",
        f"Readings repeated at once scatter by {format_plain(float(f'{scatter:.2g}'))}\u00a0% "
        f"(standard deviation), {format_plain(float(f'{times:.2g}'))} times what the meter's file "
        "states: display or conditions were unsteady, or the meter was.",
    )


def conflicting(case: Case) -> Remark | None:
    """A remark on the patch whose readings can hardly be of one patch."""
    patches, white = case.patches, case.built_in("white")
    most, told = ONE, ""
    for patch in np.flatnonzero((patches.count > 1) & (case.view.xyz[:, 1] >= LIT)):
        level = case.view.readings[patches.rows == patch, 1]
        apart = float(np.ptp(level) / level.mean())
        if apart > most and (patch != white or apart > UNSTEADY):
            most = apart
            told = (
                f"Patch {patches.triple(int(patch))} was read {len(level)} times, as "
                f"{format_number(float(level.min()))} to {format_number(float(level.max()))}"
                "\u00a0cd/m²: these can hardly be of one patch, and their mean is judged."
            )
    return Remark("conflicting", told) if told else None


def copied(case: Case) -> Remark | None:
    """A remark where readings of several patches were repeated to the last digit."""
    patches = case.patches
    lit = np.flatnonzero((patches.count > 1) & (case.view.xyz[:, 1] >= LIT))
    same = [
        patch
        for patch in lit
        if not np.ptp(case.view.readings[patches.rows == patch], axis=0).any()
    ]
    if len(same) < SEVERAL:
        return None
    return Remark(
        "copied",
        f"{len(same)} patches were read several times, each the same to the last digit: rows may "
        "have been copied.",
    )


def _own(bands: tuple[RepeatabilityBand, ...], luminance: float) -> float | None:
    """Expanded repeatability in % at a luminance; None below the first band."""
    found = [band.relative for band in bands if band.start <= luminance]
    return found[-1] if found and found[-1] > 0 else None


def _chi_square(freedom: int) -> float:
    """The quantile of 99.9 % (Wilson and Hilferty 1931)."""
    small = 2 / (9 * freedom)
    return float(freedom * (1 - small + UNLIKELY * np.sqrt(small)) ** 3)
