"""A patch out of order: a reading that fits its neighbour's target clearly better."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from compliance.checks.expected import Array, Row, rows
from compliance.grading.case import Case
from compliance.model import Readings, Remark

__all__ = ["behind", "order"]

FAR = 6.0
"""ΔE ITP from its own target, and between the two targets, below which nothing is said."""
CLEARLY, ALONE_CLEARLY = 0.25, 0.12
"""Share of that distance within which the neighbour's target must be: of two readings that are
each at one with the other's, and of one alone."""
ALONE = 4.0
"""Times that it must be further off than the readings are in the middle."""
LAGGING = 0.8
"""Share of the readings that fit the patch before theirs, of a meter that lags throughout."""
LEAST = 8
NAMED = 4
"""Lines named in one remark."""


def behind(case: Case, readings: Readings) -> Remark | None:
    """Readings that nearly all fit the patch before theirs, or the one after."""
    for step, word in ((-1, "before"), (1, "after")):
        if _lagging(rows(case, readings, shift=step), step):
            return Remark(
                "out-of-order",
                f"Nearly all readings fit the patch {word} theirs better than their own: patches "
                "and readings may have come out of step from the start.",
            )
    return None


def order(shown: Sequence[Row]) -> Remark | None:
    """Readings at odds with their own patch and at one with the one before or after."""
    if len(shown) < LEAST:
        return None
    own = _own(shown)
    usual = float(np.nanmedian(own)) if np.isfinite(own).any() else 0.0
    far = own >= max(FAR, ALONE * (usual + 1))
    found = [
        (one, shown[other])
        for place, one in enumerate(shown)
        if far[place] and (other := _fitting(shown, own, place)) is not None
    ]
    if not found:
        return None
    told = "; ".join(
        f"line {one.line} fits the patch of line {other.line} (ΔE ITP "
        f"{_apart(one, other):.1f}) and not its own ({_apart(one, one):.1f})"
        for one, other in found[:NAMED]
    )
    more = f"; and {len(found) - NAMED} more" if len(found) > NAMED else ""
    return Remark("out-of-order", f"Patches may be out of order in the readings: {told}{more}.")


def _own(shown: Sequence[Row]) -> Array:
    """ΔE ITP of each from its own target; NaN where that is not sure."""
    return np.array([_apart(one, one) if one.sure else np.nan for one in shown])


def _apart(one: Row, other: Row) -> float:
    """ΔE ITP between what was read at one and the target of another."""
    return float(np.linalg.norm(one.read - other.target))


def _fitting(shown: Sequence[Row], own: Array, place: int) -> int | None:
    """The neighbour in the session whose target a reading fits clearly better."""
    one = shown[place]
    fitting = []
    for other in (place - 1, place + 1):
        if not 0 <= other < len(shown):
            continue
        if np.linalg.norm(one.target - shown[other].target) < FAR:
            continue
        mutual = own[other] >= FAR and _apart(shown[other], one) <= CLEARLY * own[other]
        if _apart(one, shown[other]) <= (CLEARLY if mutual else ALONE_CLEARLY) * own[place]:
            fitting.append(other)
    return min(fitting, key=lambda other: _apart(one, shown[other]), default=None)


def _lagging(shown: Sequence[Row], step: int) -> bool:
    """Whether nearly every reading fits the patch `step` places on."""
    fits = told = 0
    for place, one in enumerate(shown):
        at = place + step
        if 0 <= at < len(shown) and np.linalg.norm(one.target - shown[at].target) >= FAR:
            own = _apart(one, one)
            told += 1
            fits += own >= FAR and _apart(one, shown[at]) <= CLEARLY * own
    return told >= LEAST and fits >= LAGGING * told
