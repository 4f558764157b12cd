"""One value of several patches: mean, percentile, spread, pairwise, and the whole quantities."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from compliance.decision import inside, statement
from compliance.grading import judging
from compliance.grading.case import Case
from compliance.grading.findings import finding, not_judged, point, target_luminances
from compliance.grading.roles import Cast
from compliance.matching import Chosen
from compliance.model import Finding, Limits, Point, Reason, Requirement, Verdict
from compliance.quantities.bind import SETTLE, Roles, between
from compliance.quantities.table import Quantity
from compliance.quantities.view import View

__all__ = ["statistic", "whole"]

Array = NDArray[np.float64]


def statistic(requirement: Requirement, quantity: Quantity, case: Case, parts: Cast) -> Finding:
    """mean, percentile, spread or pairwise: one value, decided as a whole."""
    judged, left_out = judging.judgeable(requirement, case, parts)
    roles = judging.roles_of(judged)
    values = judging.values_of(requirement, case.view, roles) if judged else np.empty(0)
    limits = requirement.limits or Limits()
    weighs = judging.black_decides(requirement, case, roles, [limits] * len(judged))
    targets = target_luminances(quantity, case, roles)
    points, kept = [], []
    for place, one in enumerate(judged):
        value = float(values[place])
        why = judging.no_number(value) or (judging.BLACK_DECIDES if weighs[place] else None)
        if why:
            left_out.append(not_judged(case, one, why))
            continue
        points.append(point(case, one, targets[place], value=value, limits=None, verdict=None))
        if not judging.is_anchor(requirement, case, one.index):
            kept.append(place)
    shown = {"points": tuple(points), "not_judged": tuple(left_out), "missing": parts.missing}
    least = 2 if requirement.statistic in ("spread", "pairwise") else 1
    if parts.missing or len(kept) < least:
        reason = Reason.MISSING_READINGS if parts.missing else Reason.METER
        return finding(requirement, Verdict.NOT_ASSESSED, reason=reason, **shown)
    chosen = judging.roles_of([judged[place] for place in kept])
    value = _summary(requirement, quantity, case.view, chosen, values[kept])
    verdict = statement(inside(value, limits), None, case.rule.decision.confidence)
    return finding(requirement, verdict, value=value, **shown)


def _summary(
    requirement: Requirement, quantity: Quantity, view: View, roles: Roles, values: Array
) -> float:
    sizes = np.abs(values) if quantity.signed else values
    if requirement.statistic == "mean":
        return float(sizes.mean())
    if requirement.statistic == "percentile":
        rank = max(1, math.ceil((requirement.percentile or 100.0) / 100 * len(sizes)))
        return float(np.sort(sizes)[rank - 1])
    if requirement.statistic == "spread":
        return float(values.max() - values.min())
    pairs = np.array(list(combinations(roles.over, 2)), dtype=np.int64)
    apart = between(
        requirement.quantity, view, pairs[:, 0], pairs[:, 1], judging.options_of(requirement)
    )
    return float(apart.max())


def whole(requirement: Requirement, quantity: Quantity, case: Case, parts: Cast) -> Finding:
    judged, left_out = judging.judgeable(requirement, case, parts)
    points = _parts_shown(case, judged)
    shown = {"points": points, "not_judged": tuple(left_out), "missing": parts.missing}
    if parts.missing:
        return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS, **shown)
    if left_out:
        return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.METER, **shown)
    limits = requirement.limits or Limits()
    if judging.contrast_is_bound(requirement, case, parts):
        return _contrast_bound(requirement, case, parts, limits, shown)
    roles = parts.roles
    if requirement.quantity in SETTLE:
        roles = SETTLE[requirement.quantity](case.view, roles)
    value = float(judging.values_of(requirement, case.view, roles)[0])
    why = judging.black_is_nothing(requirement, case, parts) or judging.no_number(value)
    if why is None and judging.black_decides(requirement, case, roles, [limits])[0]:
        why = judging.BLACK_DECIDES
    if why is not None:
        return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.METER, note=why, **shown)
    verdict = statement(inside(value, limits), None, case.rule.decision.confidence)
    return finding(requirement, verdict, value=value, **shown)


def _parts_shown(case: Case, chosen: Sequence[Chosen]) -> tuple[Point, ...]:
    """The patches a whole was computed from, with their luminance."""
    return tuple(
        point(
            case,
            one,
            None,
            value=float(case.view.xyz[one.index, 1]),
            limits=None,
            verdict=None,
        )
        for one in chosen
    )


def _contrast_bound(
    requirement: Requirement, case: Case, parts: Cast, limits: Limits, shown: Mapping[str, object]
) -> Finding:
    """Contrast over a black that the meter cannot tell from dark: at least this much."""
    white = float(case.view.luminance(parts.roles.part["white"])[0])
    value = white / case.lowest
    told = {
        "value": value,
        "bound": "at-least",
        "note": f"black is told as < {case.lowest:g} cd/m², the least the meter can tell",
        **shown,
    }
    if limits.maximum is None and inside(value, limits):
        return finding(requirement, Verdict.PASS, **told)
    return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.METER, **told)
