"""One value of several patches: mean, percentile, spread, pairwise, and the whole quantities."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from compliance.decision import inside, statement
from compliance.grading import judging
from compliance.grading.case import Case
from compliance.grading.findings import finding, not_judged, point, target_luminances
from compliance.grading.graded import Graded, Question
from compliance.grading.roles import Cast
from compliance.matching import Chosen
from compliance.model import Finding, Limits, Point, Reason, Requirement, Verdict
from compliance.quantities.bind import SETTLE, Roles, between
from compliance.quantities.table import Quantity
from compliance.quantities.view import View

__all__ = ["statistic", "whole"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

DARKEST = 1e-9
"""cd/m² below which a black is none, and a contrast has no value."""


# ------------------------------------------------------------ statistics over patches


def statistic(requirement: Requirement, quantity: Quantity, case: Case, parts: Cast) -> Graded:
    """mean, percentile, spread or pairwise: one value, decided as a whole."""
    judged, left_out = judging.judgeable(requirement, case, parts)
    roles = judging.roles_of(judged)
    values = judging.values_of(requirement, case.view, roles) if judged else np.empty(0)
    limits = requirement.limits or Limits()
    weighs = judging.black_decides(requirement, case, roles, [limits] * len(judged))
    targets = target_luminances(quantity, case, roles)
    points: list[Point] = []
    kept: list[int] = []
    for place, one in enumerate(judged):
        value = float(values[place])
        why = judging.no_number(value) or (judging.BLACK_DECIDES if weighs[place] else None)
        if why:
            left_out.append(not_judged(case, one, why))
            continue
        points.append(point(case, one, targets[place], value=value, limits=None, verdict=None))
        if not judging.is_anchor(requirement, case, one.index):
            kept.append(one.index)
    shown = {"points": tuple(points), "not_judged": tuple(left_out), "missing": parts.missing}
    least = 2 if requirement.statistic in ("spread", "pairwise") else 1
    if parts.missing or len(kept) < least:
        return Graded(requirement, _open(requirement, parts, shown))
    summary = _summary(requirement, quantity, case.view, judging.roles_at(kept))
    value = float(summary(case.view))
    verdict = statement(inside(value, limits), None, case.rule.decision.confidence)
    sizes = quantity.signed and requirement.statistic in ("mean", "percentile")
    question = Question(
        values=lambda view: summary(view)[..., None],
        limits=(limits,),
        places=(),
        one_sided=quantity.distance or sizes,
    )
    decided = finding(requirement, verdict, value=value, **shown)
    return Graded(requirement, decided, question, tuple(kept))


def _open(requirement: Requirement, parts: Cast, shown: Mapping[str, object]) -> Finding:
    reason = Reason.MISSING_READINGS if parts.missing else Reason.METER
    return finding(requirement, Verdict.NOT_ASSESSED, reason=reason, **shown)


def _summary(
    requirement: Requirement, quantity: Quantity, measured: View, roles: Roles
) -> Callable[[View], Array]:
    """View to summary (...,); the patches of an extreme are settled on the measured values."""
    first = judging.values_of(requirement, measured, roles)

    def values(view: View) -> Array:
        taken = judging.values_of(requirement, view, roles)
        sized = quantity.signed and requirement.statistic in ("mean", "percentile")
        return np.abs(taken) if sized else taken

    if requirement.statistic == "mean":
        return lambda view: np.asarray(values(view).mean(axis=-1))
    if requirement.statistic == "percentile":
        rank = max(1, math.ceil((requirement.percentile or 100.0) / 100 * len(first) - 1e-9))
        at = int(np.argsort(values(measured), kind="stable")[rank - 1])
        return lambda view: np.asarray(values(view)[..., at])
    if requirement.statistic == "spread":
        high, low = int(first.argmax()), int(first.argmin())
        return lambda view: np.asarray(values(view)[..., high] - values(view)[..., low])
    return _farthest(requirement, measured, roles)


def _farthest(requirement: Requirement, measured: View, roles: Roles) -> Callable[[View], Array]:
    """The largest difference between any two patches, of the pair that shows it."""
    options = judging.options_of(requirement)
    pairs = np.array(list(combinations(roles.over, 2)), dtype=np.int64)
    apart = between(requirement.quantity, measured, pairs[:, 0], pairs[:, 1], options)
    one, two = pairs[int(apart.argmax())][:, None]
    return lambda view: np.asarray(between(requirement.quantity, view, one, two, options)[..., 0])


# ------------------------------------------------------------ whole quantities


def whole(requirement: Requirement, quantity: Quantity, case: Case, parts: Cast) -> Graded:
    """A quantity that is one value of all its patches."""
    judged, left_out = judging.judgeable(requirement, case, parts)
    points = _parts_shown(case, judged)
    shown = {"points": points, "not_judged": tuple(left_out), "missing": parts.missing}
    if parts.missing or left_out:
        return Graded(requirement, _open(requirement, parts, shown))
    limits = requirement.limits or Limits()
    nothing = judging.black_is_nothing(requirement, case, parts)
    bound = judging.contrast_is_bound(requirement, case, parts)
    if nothing is not None and not bound:
        return Graded(requirement, _unfit(requirement, nothing, shown))
    roles = parts.roles
    if requirement.quantity in SETTLE:
        roles = SETTLE[requirement.quantity](case.view, roles)
    question = _whole_question(requirement, quantity, limits, roles, case if bound else None)
    patches = tuple(one.index for one in judged)
    value = float(question.values(case.view)[..., 0])
    if bound:
        decided = _contrast_bound(requirement, case, value, limits, shown)
        known = decided.verdict is not Verdict.NOT_ASSESSED
        return Graded(requirement, decided, question if known else None, patches)
    why = judging.no_number(value)
    if why is None and judging.black_decides(requirement, case, roles, [limits])[0]:
        why = judging.BLACK_DECIDES
    if why is not None:
        return Graded(requirement, _unfit(requirement, why, shown))
    verdict = statement(inside(value, limits), None, case.rule.decision.confidence)
    decided = finding(requirement, verdict, value=value, **shown)
    single = requirement.quantity == "stability"
    return Graded(requirement, decided, question, patches, single_readings=single)


def _unfit(requirement: Requirement, why: str, shown: Mapping[str, object]) -> Finding:
    return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.METER, note=why, **shown)


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


def _whole_question(
    requirement: Requirement,
    quantity: Quantity,
    limits: Limits,
    roles: Roles,
    bound: Case | None,
) -> Question:
    """Values of a whole; a contrast is tested without a division, Yw − c·Yk ≥ 0."""
    if requirement.quantity not in judging.CONTRASTS:
        return Question(
            values=lambda view: judging.values_of(requirement, view, roles),
            limits=(limits,),
            places=(),
            one_sided=quantity.distance,
        )
    white, black = roles.part["white"], roles.part["black"]

    def bright(view: View) -> Array:
        return np.asarray(view.luminance(white).mean(axis=-1, keepdims=True))

    def dark(view: View) -> Array:
        told = view.luminance(black).mean(axis=-1, keepdims=True)
        return told if bound is None else np.full_like(told, bound.lowest)

    def conforms(view: View) -> Flags:
        lit = bright(view)
        low = 0.0 if limits.minimum is None else limits.minimum
        inside_low = lit - low * dark(view) >= 0
        if limits.maximum is None:
            return np.asarray(inside_low)
        return np.asarray(inside_low & (lit - limits.maximum * dark(view) <= 0))

    def values(view: View) -> Array:
        below = dark(view)
        return np.asarray(bright(view) / np.where(below < DARKEST, np.nan, below))

    return Question(values, (limits,), (), one_sided=False, conforms=conforms)


def _contrast_bound(
    requirement: Requirement,
    case: Case,
    value: float,
    limits: Limits,
    shown: Mapping[str, object],
) -> Finding:
    """Contrast over a black that the meter cannot tell from dark: at least this much."""
    told = finding(
        requirement,
        Verdict.NOT_ASSESSED,
        value=value,
        bound="at-least",
        note=f"black is told as < {case.lowest:g} cd/m², the least the meter can tell",
        **shown,
    )
    if limits.maximum is None and inside(value, limits):
        return replace(told, verdict=Verdict.PASS)
    return replace(told, reason=Reason.METER)
