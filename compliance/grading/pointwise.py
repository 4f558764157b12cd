"""`statistic: each`: every patch decided by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from compliance.decision import inside, statement
from compliance.grading import judging
from compliance.grading.case import Case
from compliance.grading.findings import finding, limits_of, not_judged, point, target_luminances
from compliance.grading.graded import Graded, Question, decided_by_points
from compliance.grading.roles import Cast
from compliance.model import Limits, Point, Requirement, Value, Verdict
from compliance.quantities.table import Quantity
from compliance.quantities.view import View

Array = NDArray[np.float64]

__all__ = ["each"]


def _value(values: Array, place: int) -> Value:
    if values.ndim == 2:
        return float(values[place, 0]), float(values[place, 1])
    return float(values[place])


def each(requirement: Requirement, quantity: Quantity, case: Case, parts: Cast) -> Graded:
    """Every patch is decided by itself; the finding is that of the one with least margin."""
    judged, left_out = judging.judgeable(requirement, case, parts)
    roles = judging.roles_of(judged)
    values = judging.values_of(requirement, case.view, roles) if judged else np.empty(0)
    limits = [limits_of(requirement, case, one) for one in judged]
    weighs = judging.black_decides(requirement, case, roles, limits)
    targets = target_luminances(quantity, case, roles)
    points: list[Point] = []
    indices: list[int] = []
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
        indices.append(one.index)
        points.append(
            point(case, one, targets[place], value=value, limits=limits[place], verdict=verdict)
        )
    shown = {
        "points": tuple(points),
        "not_judged": tuple(left_out),
        "missing": parts.missing,
    }
    bare = finding(requirement, Verdict.NOT_ASSESSED, **shown)
    question = _question(requirement, quantity, points, indices)
    return Graded(requirement, decided_by_points(bare), question, tuple(indices))


def _question(
    requirement: Requirement, quantity: Quantity, points: list[Point], indices: list[int]
) -> Question | None:
    """What the draws are asked: the values of the points that count."""
    places = tuple(place for place, one in enumerate(points) if one.verdict is not None)
    if not places:
        return None
    roles = judging.roles_at([indices[place] for place in places])

    def values(view: View) -> Array:
        return judging.values_of(requirement, view, roles)

    limits = tuple(points[place].limits or Limits() for place in places)
    return Question(values, limits, places, one_sided=quantity.distance)
