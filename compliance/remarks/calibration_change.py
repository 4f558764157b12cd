"""Changes by calibration in a slot, and whether both sets of readings can be of the same slot."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.colour import spaces
from compliance.colour.arrays import Array
from compliance.grading.match import MatchedReadings, matched
from compliance.model import (
    Calibration,
    Finding,
    GradedReadings,
    Level,
    Limits,
    Measurement,
    Remark,
    Rule,
    Shift,
    Statement,
)
from compliance.quantities.catalogue import is_stated
from compliance.remarks.expected_light import primary_patches

COST = 0.12
"""Share of luminance that a calibration costs, usually 10 to 15 % (practice)."""
SHORT = 0.10
"""A slot has no headroom below this share above the required luminance (practice)."""
DEAR = 0.20
"""Share of luminance from which a calibration cost a lot (practice)."""
ENDS = 0.98
"""A slot is too dark after calibration below this share of the required luminance."""
BRIGHTER = 1.25
WIDER = 0.01
"""Δu'v' by which a primary may lie outside the triangle before calibration."""
DARKER = 3.0
ALIKE = 0.2

# ------------------------------------------------------------ what changed


def calibration_change(before: GradedReadings, after: GradedReadings) -> Calibration:
    """The change from the readings before calibration to those after it, per requirement."""
    first, last = (_aim_luminance(matched(state.measurement)) for state in (before, after))
    asked = _asked(after.measurement.rule)
    lost = None
    if first and last:
        lost = 100 * (1 - last / first)
    return Calibration(
        white_before=first,
        white_after=last,
        lost=lost,
        asked=asked,
        wanted=asked * (1 + COST),
        shifts=tuple(_shifts(before.findings, after.findings)),
    )


def _shifts(before: tuple[Finding, ...], after: tuple[Finding, ...]) -> Iterator[Shift]:
    earlier = {finding.id: finding.value for finding in before}
    for finding in after:
        first = earlier[finding.id]
        if finding.value is not None and first is not None and not is_stated(finding.quantity):
            yield Shift(finding.id, finding.title, finding.unit, first, finding.value)


def _aim(rule: Rule) -> tuple[str, Limits | None]:
    """The built-in set whose luminance the rule limits, and the limits."""
    for name in ("peak", "white"):
        for row in rule.requirements:
            mine = row.over is not None and row.over.patches == (name,) and row.over.seconds is None
            if mine and row.quantity == "luminance" and row.level is Level.SHALL and row.limits:
                return name, row.limits
    return "white", None


def _asked(rule: Rule) -> float:
    """Required cd/m² of a slot after calibration: the limits' centre, or their lower end."""
    _, limits = _aim(rule)
    if limits is not None and limits.nominal is not None:
        return limits.nominal
    if limits is not None and limits.minimum is not None:
        return limits.minimum
    return rule.target.luminance_white


def _aim_luminance(case: MatchedReadings) -> float | None:
    name, _ = _aim(case.rule)
    return case.luminance(name)


# ------------------------------------------------------------ headroom


def calibration_remarks(measurement: Measurement) -> Iterator[Remark]:
    """Remarks on the readings before calibration, compared with those after it if both exist."""
    case, as_found = matched(measurement), measurement.as_found
    if as_found is not None:
        yield from _pair(measurement, as_found)
        yield from _headroom(matched(as_found), case)
    elif measurement.readings is None:
        yield from _headroom(case, None)


def _headroom(earlier: MatchedReadings, case: MatchedReadings | None) -> Iterator[Remark]:
    """Remarks on the luminance before calibration, and on the luminance lost by it."""
    name, _ = _aim(earlier.rule)
    first, asked = _aim_luminance(earlier), _asked(earlier.rule)
    if first is None or first <= 0:
        return
    last = None if case is None else _aim_luminance(case)
    gained = last is not None and last > first and last >= ENDS * asked
    if first < asked * (1 + SHORT) and not gained:
        yield Remark(
            "headroom",
            {
                "patch": name,
                "luminance": first,
                "asked": asked,
                "wanted": asked * (1 + COST),
                "end": last,
            },
        )
    if last is not None and last < min((1 - DEAR) * first, ENDS * asked):
        yield Remark("luminance-lost", {"patch": name, "lost": 100 * (1 - last / first)})


# ------------------------------------------------------------ a pair of one slot


def _pair(after: Measurement, before: Measurement) -> Iterator[Remark]:
    """A remark if readings before and after are hardly of the same slot."""
    mismatches = tuple(_mismatches(after, before))
    if mismatches:
        yield Remark("pair", {"mismatches": mismatches})


def _mismatches(after: Measurement, before: Measurement) -> Iterator[Statement]:
    case, earlier = matched(after), matched(before)
    if after.graded.sha256 and after.graded.sha256 == before.graded.sha256:
        yield Statement("same-file")
    if after.measured and before.measured and before.measured >= after.measured:
        yield Statement("dates")
    first, last = _aim_luminance(earlier), _aim_luminance(case)
    name, _ = _aim(case.rule)
    if first and last and last > BRIGHTER * first:
        yield Statement("brighter", {"patch": name, "before": first, "after": last})
    dark, now = earlier.luminance("black"), case.luminance("black")
    alike = first and last and abs(last / first - 1) <= ALIKE
    if dark and now and alike and now > case.lowest and now * DARKER < dark:
        yield Statement("darker", {"before": dark, "after": now})
    yield from _wider(case, earlier)


def _wider(case: MatchedReadings, earlier: MatchedReadings) -> Iterator[Statement]:
    """Statements on primaries outside the triangle before calibration."""
    after, before = _primaries(case), _primaries(earlier)
    if after is None or before is None:
        return
    for place, name in enumerate(("red", "green", "blue")):
        away = _outside(after[place], before)
        if away > WIDER:
            yield Statement("wider", {"primary": name, "away": away})


def _primaries(case: MatchedReadings) -> Array | None:
    """(3, 2) u'v' of the measured red, green and blue; None if one is missing."""
    patches = primary_patches(case)
    return None if patches is None else spaces.xyz_to_uv(case.view.xyz[patches])


def _outside(point: Array, triangle: Array) -> float:
    """Distance of a point from a triangle; 0 inside."""
    turn = np.sign(_cross(triangle[1] - triangle[0], triangle[2] - triangle[0]))
    far = 0.0
    for start, end in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        side = end - start
        beyond = -turn * _cross(side, point - start) / np.linalg.norm(side)
        if beyond > 0:
            along = np.clip((point - start) @ side / (side @ side), 0.0, 1.0)
            far = max(far, float(np.linalg.norm(point - start - along * side)))
    return far


def _cross(side: Array, away: Array) -> float:
    return float(side[0] * away[1] - side[1] * away[0])
