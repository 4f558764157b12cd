"""What calibration changed in a slot, and whether both sets of readings can be of one slot."""

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
)
from compliance.quantities.catalogue import is_stated
from compliance.report.numbers import format_number, format_plain

COST = 0.12
"""Share of its luminance that a calibration costs, within 10 to 15 % (practice)."""
SHORT = 0.10
"""Share above what is asked for, below which a slot has no headroom (practice)."""
DEAR = 0.20
"""Share of its luminance from which a calibration took a lot (practice)."""
ENDS = 0.98
"""Share of what is asked for, below which a slot ends too dark."""
BRIGHTER = 1.25
WIDER = 0.01
"""Δu'v' by which a primary may lie outside the triangle there was before."""
DARKER = 3.0
ALIKE = 0.2

# ------------------------------------------------------------ what changed


def calibration_change(before: GradedReadings, after: GradedReadings) -> Calibration:
    """What lies between the readings before calibration and those after, per requirement."""
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
    earlier = {one.id: one for one in before}
    for one in after:
        first = earlier[one.id].value
        if one.value is not None and first is not None and not is_stated(one.quantity):
            yield Shift(one.id, one.title, one.unit, first, one.value)


def _aim(rule: Rule) -> tuple[str, Limits | None]:
    """The built-in set whose luminance the rule asks for, and the limits on it."""
    for name in ("peak", "white"):
        for one in rule.requirements:
            mine = one.over is not None and one.over.patches == (name,) and one.over.seconds is None
            if mine and one.quantity == "luminance" and one.level is Level.SHALL and one.limits:
                return name, one.limits
    return "white", None


def _asked(rule: Rule) -> float:
    """cd/m² that a slot shall end at: the limits' centre, or their lower end."""
    _, limits = _aim(rule)
    if limits is not None and limits.nominal is not None:
        return limits.nominal
    if limits is not None and limits.minimum is not None:
        return limits.minimum
    return rule.target.luminance_white


def _aim_luminance(case: MatchedReadings) -> float | None:
    name, _ = _aim(case.rule)
    index = case.built_in(name)
    return None if index is None else float(case.view.xyz[index, 1])


# ------------------------------------------------------------ headroom


def calibration_remarks(measurement: Measurement) -> Iterator[Remark]:
    """Remarks on the readings before calibration, beside those after it where both exist."""
    case, as_found = matched(measurement), measurement.as_found
    if as_found is not None:
        yield from _pair(measurement, as_found)
        yield from _headroom(matched(as_found), case)
    elif measurement.readings is None:
        yield from _headroom(case, None)


def _headroom(earlier: MatchedReadings, case: MatchedReadings | None) -> Iterator[Remark]:
    """Remarks on the luminance before calibration, and on what calibration took."""
    name, _ = _aim(earlier.rule)
    first, asked = _aim_luminance(earlier), _asked(earlier.rule)
    if first is None or first <= 0:
        return
    last = None if case is None else _aim_luminance(case)
    end = f"; it ended at {format_number(last)}\u00a0cd/m²" if last is not None else ""
    gained = last is not None and last > first and last >= ENDS * asked
    if first < asked * (1 + SHORT) and not gained:
        yield Remark(
            "headroom",
            f"Before calibration {name} read {format_number(first)}\u00a0cd/m². Calibration costs "
            f"10 to 15\u00a0% of the luminance (practice), so a slot that shall end at "
            f"{format_plain(asked)}\u00a0cd/m² wants about "
            f"{format_plain(float(f'{asked * (1 + COST):.3g}'))}\u00a0cd/m² to start from{end}.",
        )
    if last is not None and last < min((1 - DEAR) * first, ENDS * asked):
        yield Remark(
            "luminance-lost",
            f"Calibration took {100 * (1 - last / first):.0f}\u00a0% of the luminance of {name}, "
            "more than the usual 10 to 15\u00a0% (practice), and it ends below what is asked for.",
        )


# ------------------------------------------------------------ a pair of one slot


def _pair(after: Measurement, before: Measurement) -> Iterator[Remark]:
    """A remark where readings before and after are hardly of one slot."""
    reasons = list(_reasons(after, before))
    if reasons:
        yield Remark(
            "pair",
            f"The readings before and after calibration are hardly of one slot as it was: "
            f"{'; '.join(reasons)}. Check that both are of this slot and that its settings are "
            "those stated.",
        )


def _reasons(after: Measurement, before: Measurement) -> Iterator[str]:
    case, earlier = matched(after), matched(before)
    if after.graded.sha256 and after.graded.sha256 == before.graded.sha256:
        yield "both files are the same, byte for byte"
    if after.measured and before.measured and before.measured >= after.measured:
        yield "those before are dated no earlier than those after"
    first, last = _aim_luminance(earlier), _aim_luminance(case)
    name, _ = _aim(case.rule)
    if first and last and last > BRIGHTER * first:
        yield (
            f"{name} rose from {format_number(first)} to {format_number(last)}\u00a0cd/m², and "
            "calibration takes light away unless the display itself was set brighter"
        )
    dark, now = _black(earlier), _black(case)
    alike = first and last and abs(last / first - 1) <= ALIKE
    if dark and now and alike and now > case.lowest and now * DARKER < dark:
        yield (
            f"black fell from {format_number(dark)} to {format_number(now)}\u00a0cd/m² at the "
            "same white"
        )
    yield from _gamut(case, earlier)


def _black(case: MatchedReadings) -> float | None:
    index = case.built_in("black")
    return None if index is None else float(case.view.xyz[index, 1])


def _gamut(case: MatchedReadings, earlier: MatchedReadings) -> Iterator[str]:
    """Primaries outside the triangle that was there before."""
    after, before = _primaries(case), _primaries(earlier)
    if after is None or before is None:
        return
    for place, name in enumerate(("red", "green", "blue")):
        away = _outside(after[place], before)
        if away > WIDER:
            yield (
                f"{name} lies Δu'v' {away:.2g} outside the triangle of the primaries before, and a "
                "calibration only makes that smaller"
            )


def _primaries(case: MatchedReadings) -> Array | None:
    """(3, 2) u'v' of red, green and blue as read."""
    name = case.plan.hue_set()
    if name is None:
        return None
    planned = {patch.name: patch for patch in case.plan.patches(name)}
    found = [case.matcher.find(planned[hue]) for hue in ("red", "green", "blue")]
    index = [place for place in found if place is not None]
    return None if len(index) < 3 else spaces.xyz_to_uv(case.view.xyz[index])


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


def _cross(one: Array, other: Array) -> float:
    return float(one[0] * other[1] - one[1] * other[0])
