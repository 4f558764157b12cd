"""The expected light of each reading, and readings that are out of order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import spaces
from compliance.grading.match import MatchedReadings
from compliance.model import Readings, Remark

Array = NDArray[np.float64]
VEIL = 0.02 * np.asarray(spaces.xy_to_xyz(np.array(spaces.WHITES["d65"]), np.ones(())))
"""XYZ in cd/m² added to both sides of a comparison, so that noise in the dark counts little."""


class Row(NamedTuple):
    """A reading at the centre, in the rule's window, and its place in the session."""

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
    """Whether the target is known for this display."""
    luminance: float
    """cd/m²"""


def itp(xyz: Array) -> Array:
    """XYZ (..., 3) in cd/m² to I, T, P in just noticeable differences (ITU-R BT.2124-0)."""
    return np.asarray(720 * spaces.xyz_to_itp(xyz + VEIL))


def primary_patches(case: MatchedReadings) -> list[int] | None:
    """The patches of red, green and blue; None if one of them was not measured."""
    name = case.plan.hue_set()
    if name is None:
        return None
    planned = {patch.name: patch for patch in case.plan.patches(name)}
    indices = [case.matcher.find(planned[hue]) for hue in ("red", "green", "blue")]
    patches = [patch for patch in indices if patch is not None]
    return patches if len(patches) == 3 else None


def rows(
    case: MatchedReadings, readings: Readings, expected: Array | None = None, *, shift: int = 0
) -> list[Row]:
    """The readings that have a target, in the order of the session.

    The target has the luminance of the brighter measured greys; with `shift` of the readings so
    many places later. `expected` (P, 3) is the display's known light instead, NaN if not known.
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


def _session(case: MatchedReadings) -> list[tuple[int, int]]:
    """Rows of the readings with their patches, in the order of the session."""
    patches = case.patches
    usable = ~(patches.beyond | patches.above | patches.unreachable)
    for index, there in enumerate(patches.stimulus):
        same = abs(there.window - case.rule.window) <= 1e-6 and there.seconds == 0
        usable[index] &= same and there.position == "centre"
    pairs = zip(patches.order, patches.rows, strict=True)
    return sorted((int(row), int(patch)) for row, patch in pairs if usable[patch])


def _targets(
    case: MatchedReadings, readings: Readings, session: Sequence[tuple[int, int]], shift: int
) -> Array:
    """(P, 3) XYZ in cd/m² of the rule's target at the measured luminance."""
    patches, model = case.patches, case.view.model
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


FAR = 6.0
"""ΔE ITP from its own target, and between the two targets, below which there is no remark."""
CLEARLY, ALONE_CLEARLY = 0.25, 0.12
"""Largest distance from the neighbour's target, as a share of that from its own: for two readings
that each fit the other's target, and for a single one."""
ALONE = 4.0
"""A reading must be this many times further from its target than the median reading."""
LAGGING = 0.8
"""Share of the readings that must fit the patch before theirs, if a meter lags throughout."""
LEAST = 8


def readings_lag(case: MatchedReadings, readings: Readings) -> Remark | None:
    """A remark if nearly all readings fit the patch before theirs, or nearly all the one after."""
    for step, neighbour in ((-1, "before"), (1, "after")):
        if _lagging(rows(case, readings, shift=step), step):
            return Remark("out-of-order", {"neighbour": neighbour}, variant="all")
    return None


def order(shown: Sequence[Row]) -> Remark | None:
    """A remark on readings that do not fit their own patch but the one before or after."""
    if len(shown) < LEAST:
        return None
    own = _own(shown)
    usual = float(np.nanmedian(own)) if np.isfinite(own).any() else 0.0
    far = own >= max(FAR, ALONE * (usual + 1))
    misplaced = tuple(
        (row.line, other.line, _apart(row, other), _apart(row, row))
        for place, row in enumerate(shown)
        if far[place] and (other := _fitting(shown, own, place)) is not None
    )
    return Remark("out-of-order", {"readings": misplaced}) if misplaced else None


def _own(shown: Sequence[Row]) -> Array:
    """ΔE ITP of each reading from its own target; NaN if that is not known."""
    return np.array([_apart(row, row) if row.sure else np.nan for row in shown])


def _apart(row: Row, other: Row) -> float:
    """ΔE ITP between the reading of one row and the target of another."""
    return float(np.linalg.norm(row.read - other.target))


def _fitting(shown: Sequence[Row], own: Array, place: int) -> Row | None:
    """The neighbour in the session with a target that a reading fits clearly better."""
    row = shown[place]
    fitting = []
    for at in (place - 1, place + 1):
        if not 0 <= at < len(shown):
            continue
        other = shown[at]
        if np.linalg.norm(row.target - other.target) < FAR:
            continue
        mutual = own[at] >= FAR and _apart(other, row) <= CLEARLY * own[at]
        if _apart(row, other) <= (CLEARLY if mutual else ALONE_CLEARLY) * own[place]:
            fitting.append(other)
    return min(fitting, key=lambda other: _apart(row, other), default=None)


def _lagging(shown: Sequence[Row], step: int) -> bool:
    """Whether nearly every reading fits the patch `step` places later."""
    fits = distinct = 0
    for place, row in enumerate(shown):
        at = place + step
        if 0 <= at < len(shown) and np.linalg.norm(row.target - shown[at].target) >= FAR:
            own = _apart(row, row)
            distinct += 1
            fits += own >= FAR and _apart(row, shown[at]) <= CLEARLY * own
    return distinct >= LEAST and fits >= LAGGING * distinct
