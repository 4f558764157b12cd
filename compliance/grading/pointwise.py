"""`statistic: each`: every patch decided by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from compliance.decision import OUTSIDE, inside, margin, statement, worst
from compliance.grading import judging
from compliance.grading.case import Case
from compliance.grading.findings import finding, limits_of, not_judged, point, target_luminances
from compliance.grading.roles import Cast
from compliance.model import Finding, Limits, NotJudged, Point, Reason, Requirement, Value, Verdict
from compliance.quantities.table import Quantity

Array = NDArray[np.float64]

__all__ = ["each"]


def _value(values: Array, place: int) -> Value:
    if values.ndim == 2:
        return float(values[place, 0]), float(values[place, 1])
    return float(values[place])


def each(requirement: Requirement, quantity: Quantity, case: Case, parts: Cast) -> Finding:
    """Every patch is decided by itself; the finding is that of the one with least margin."""
    judged, left_out = judging.judgeable(requirement, case, parts)
    roles = judging.roles_of(judged)
    values = judging.values_of(requirement, case.view, roles) if judged else np.empty(0)
    limits = [limits_of(requirement, case, one) for one in judged]
    weighs = judging.black_decides(requirement, case, roles, limits)
    targets = target_luminances(quantity, case, roles)
    points: list[Point] = []
    for place, one in enumerate(judged):
        value = _value(values, place)
        why = judging.no_number(value) or (judging.BLACK_DECIDES if weighs[place] else None)
        why = why or judging.below_reach(requirement, case, value, limits[place])
        if why:
            left_out.append(not_judged(case, one, why))
            continue
        verdict = None
        if not judging.is_anchor(requirement, case, one.index):
            confidence = case.rule.decision.confidence
            verdict = statement(inside(value, limits[place]), None, confidence)
        points.append(
            point(case, one, targets[place], value=value, limits=limits[place], verdict=verdict)
        )
    return _decided_by_points(requirement, points, tuple(left_out), parts.missing)


def _decided_by_points(
    requirement: Requirement,
    points: list[Point],
    left_out: tuple[NotJudged, ...],
    missing: tuple[str, ...],
) -> Finding:
    shown = {"points": tuple(points), "not_judged": left_out, "missing": missing}
    counted = [point for point in points if point.verdict is not None]
    if not counted:
        reason = Reason.MISSING_READINGS if missing else Reason.METER
        return finding(requirement, Verdict.NOT_ASSESSED, reason=reason, **shown)
    nearest = min(counted, key=lambda point: margin(point.value or 0.0, point.limits or Limits()))
    told = {"value": nearest.value, "limits": nearest.limits, **shown}
    verdict = worst(point.verdict for point in counted if point.verdict)
    if missing and verdict not in OUTSIDE:
        return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS, **told)
    return finding(requirement, verdict, **told)
