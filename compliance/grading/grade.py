"""One finding for each requirement. None is dropped, and a NaN is never a pass."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, compress
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from compliance.grading import eligibility
from compliance.grading.decide import inside, plain_statement
from compliance.grading.eligibility import finding, limits_of, not_judged, point, target_luminances
from compliance.grading.match import MatchedReadings, SelectedPatch
from compliance.grading.patch_roles import PatchRoles, select_roles
from compliance.grading.samples import Graded, SampledQuantity, decided_by_points
from compliance.model import (
    Finding,
    Limits,
    NotJudged,
    Point,
    Reason,
    Requirement,
    Statement,
    Value,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES, Quantity, differences
from compliance.quantities.measured import Measured, Roles

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Shown(TypedDict):
    """What a finding shows of its patches."""

    points: tuple[Point, ...]
    not_judged: tuple[NotJudged, ...]
    missing: tuple[str, ...]


KIND = "the display's technology (display.technology in the job)"
"""Listed as missing if the display's technology is not known."""


def not_applicable_finding(requirement: Requirement, case: MatchedReadings) -> Finding | None:
    """The finding if a requirement is for another kind of display, or the kind is not known."""
    if requirement.displays is None:
        return None
    technology = case.stated.technology
    if technology is None:
        return finding(
            requirement, Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS, missing=(KIND,)
        )
    if requirement.applies_to(technology):
        return None
    return finding(
        requirement,
        Verdict.NOT_ASSESSED,
        reason=Reason.NOT_APPLICABLE,
        note=Statement("other-display", {"displays": requirement.displays}),
    )


def grade_declared(requirement: Requirement, quantity: Quantity, case: MatchedReadings) -> Finding:
    """The finding on a condition that the job records or the facility declares."""
    name = requirement.field or requirement.declaration or ""
    stated = case.stated.recorded if requirement.field else case.stated.declared
    value = stated.get(name)
    limits = requirement.limits
    if value is None or limits is None:
        return finding(
            requirement,
            Verdict.NOT_ASSESSED,
            reason=Reason.MISSING_READINGS,
            missing=(f"{name} ({quantity.name} in the job)",),
        )
    return finding(requirement, plain_statement(value, limits), value=value)


def _value(row: NDArray[np.float64]) -> Value:
    if row.ndim:
        return float(row[0]), float(row[1])
    return float(row)


def _judged(
    requirement: Requirement, quantity: Quantity, case: MatchedReadings, parts: PatchRoles
) -> tuple[dict[int, Point], Shown]:
    """The points of the patches that have a value, by index, and the fields of the finding.

    A point has limits and a verdict of its own if each patch is decided separately.
    """
    each = requirement.statistic == "each"
    judged, left_out = eligibility.split_judgeable(requirement, case, parts)
    roles = eligibility.roles_of(judged)
    values = eligibility.values_of(requirement, case.view, roles) if judged else np.empty(0)
    limits = [
        limits_of(requirement, case, patch) if each else requirement.limits or Limits()
        for patch in judged
    ]
    targets = target_luminances(requirement, case, roles)
    points: dict[int, Point] = {}
    for place, patch in enumerate(judged):
        value, own = _value(values[place]), limits[place]
        why = eligibility.reason_not_finite(value)
        if why is None and each:
            why = eligibility.reason_below_meter(requirement, case, patch.index, value, own)
        if why is not None:
            left_out.append(not_judged(case, patch, why))
            continue
        counts = each and not eligibility.is_zero_by_construction(requirement, case, patch.index)
        points[patch.index] = point(
            case,
            patch,
            targets[place],
            value=value,
            limits=own if each else None,
            verdict=plain_statement(value, own) if counts else None,
        )
    return points, _shown(points.values(), left_out, parts)


def _shown(points: Iterable[Point], left_out: Iterable[NotJudged], parts: PatchRoles) -> Shown:
    return Shown(points=tuple(points), not_judged=tuple(left_out), missing=parts.missing)


def grade_per_patch(
    requirement: Requirement, quantity: Quantity, case: MatchedReadings, parts: PatchRoles
) -> Graded:
    """Decide each patch separately; the finding is that of the patch with the least margin."""
    points, shown = _judged(requirement, quantity, case, parts)
    bare = finding(requirement, Verdict.NOT_ASSESSED, **shown)
    question = _question(requirement, quantity, points)
    return Graded(requirement, decided_by_points(bare), question, tuple(points))


def _question(
    requirement: Requirement, quantity: Quantity, points: Mapping[int, Point]
) -> SampledQuantity | None:
    """The quantity to sample: the values of the points that count."""
    counts = [point.verdict is not None for point in points.values()]
    if not any(counts):
        return None
    roles = eligibility.roles_at(list(compress(points, counts)))

    def values(view: Measured) -> Array:
        return eligibility.values_of(requirement, view, roles)

    limits = tuple(point.limits or Limits() for point in compress(points.values(), counts))
    places = tuple(compress(range(len(points)), counts))
    return SampledQuantity(values, limits, places, one_sided=quantity.distance)


DARKEST = 1e-9
"""cd/m² below which a black counts as zero, and a contrast has no value."""


# ------------------------------------------------------------ statistics over patches


def grade_statistic(
    requirement: Requirement, quantity: Quantity, case: MatchedReadings, parts: PatchRoles
) -> Graded:
    """Decide a mean, percentile, spread or pairwise statistic: one value of all patches."""
    points, shown = _judged(requirement, quantity, case, parts)
    limits = requirement.limits or Limits()
    kept = [
        index
        for index in points
        if not eligibility.is_zero_by_construction(requirement, case, index)
    ]
    least = 2 if requirement.statistic in ("spread", "pairwise") else 1
    if parts.missing or len(kept) < least or eligibility.limited_by_meter(shown["not_judged"]):
        return Graded(requirement, _open(requirement, parts, shown))
    summary = _summary(requirement, quantity, case.view, eligibility.roles_at(kept))
    value = float(summary(case.view))
    sizes = quantity.signed and requirement.statistic in ("mean", "percentile")
    question = SampledQuantity(
        values=lambda view: summary(view)[..., None],
        limits=(limits,),
        places=(),
        one_sided=quantity.distance or sizes,
    )
    decided = finding(requirement, plain_statement(value, limits), value=value, **shown)
    return Graded(requirement, decided, question, tuple(kept))


def _open(requirement: Requirement, parts: PatchRoles, shown: Shown) -> Finding:
    reason = Reason.MISSING_READINGS if parts.missing else Reason.METER
    return finding(requirement, Verdict.NOT_ASSESSED, reason=reason, **shown)


def _summary(
    requirement: Requirement, quantity: Quantity, measured: Measured, roles: Roles
) -> Callable[[Measured], Array]:
    """Function from a view to the summary (...,); patches of an extreme are fixed on the measured
    values."""
    first = eligibility.values_of(requirement, measured, roles)

    def values(view: Measured) -> Array:
        taken = eligibility.values_of(requirement, view, roles)
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
    return _farthest(requirement, quantity, measured, roles)


def _farthest(
    requirement: Requirement, quantity: Quantity, measured: Measured, roles: Roles
) -> Callable[[Measured], Array]:
    """Function from a view to the difference of the pair with the largest measured difference."""
    options = eligibility.options_of(requirement)
    pairs = np.array(list(combinations(roles.over, 2)), dtype=np.int64)
    apart = differences(quantity, measured, pairs[:, 0], pairs[:, 1], options)
    first, second = pairs[int(apart.argmax())][:, None]
    return lambda view: np.asarray(differences(quantity, view, first, second, options)[..., 0])


# ------------------------------------------------------------ whole quantities


def grade_aggregate(
    requirement: Requirement, quantity: Quantity, case: MatchedReadings, parts: PatchRoles
) -> Graded:
    """Decide a quantity that is one value of all its patches."""
    judged, left_out = eligibility.split_judgeable(requirement, case, parts)
    shown = _shown(_parts_shown(case, judged), left_out, parts)
    if parts.missing or left_out:
        return Graded(requirement, _open(requirement, parts, shown))
    limits = requirement.limits or Limits()
    nothing = eligibility.reason_black_zero(requirement, case, parts)
    bound = eligibility.contrast_is_bound(requirement, case, parts)
    if nothing is not None and not bound:
        return Graded(requirement, _unfit(requirement, nothing, shown))
    roles = parts.roles
    if quantity.extreme is not None:
        roles = quantity.extreme.settle(case.view, roles)
    question = _whole_question(requirement, quantity, limits, roles, case if bound else None)
    patches = tuple(patch.index for patch in judged)
    value = float(question.values(case.view)[..., 0])
    if bound:
        decided = _contrast_bound(requirement, case, value, limits, shown)
        known = decided.verdict is not Verdict.NOT_ASSESSED
        return Graded(requirement, decided, question if known else None, patches)
    why = eligibility.reason_not_finite(value)
    if why is not None:
        return Graded(requirement, _unfit(requirement, why, shown))
    decided = finding(requirement, plain_statement(value, limits), value=value, **shown)
    single = quantity.compares == "repeats"
    return Graded(requirement, decided, question, patches, single_readings=single)


def _unfit(requirement: Requirement, why: Statement, shown: Shown) -> Finding:
    return finding(requirement, Verdict.NOT_ASSESSED, reason=Reason.METER, note=why, **shown)


def _parts_shown(case: MatchedReadings, chosen: Sequence[SelectedPatch]) -> Iterator[Point]:
    """The patches of an aggregate value, with their luminance."""
    for patch in chosen:
        luminance = float(case.view.xyz[patch.index, 1])
        yield point(case, patch, None, value=luminance, limits=None, verdict=None)


def _whole_question(
    requirement: Requirement,
    quantity: Quantity,
    limits: Limits,
    roles: Roles,
    bound: MatchedReadings | None,
) -> SampledQuantity:
    """An aggregate to sample; a contrast is tested without division, Yw − c·Yk ≥ 0."""
    if not quantity.ratio:
        return SampledQuantity(
            values=lambda view: eligibility.values_of(requirement, view, roles),
            limits=(limits,),
            places=(),
            one_sided=quantity.distance,
        )
    white, black = roles.part["white"], roles.part["black"]

    def bright(view: Measured) -> Array:
        return np.asarray(view.luminance(white).mean(axis=-1, keepdims=True))

    def dark(view: Measured) -> Array:
        luminance = view.luminance(black).mean(axis=-1, keepdims=True)
        return luminance if bound is None else np.full_like(luminance, bound.lowest)

    def conforms(view: Measured) -> Flags:
        lit = bright(view)
        low = 0.0 if limits.minimum is None else limits.minimum
        inside_low = lit - low * dark(view) >= 0
        if limits.maximum is None:
            return np.asarray(inside_low)
        return np.asarray(inside_low & (lit - limits.maximum * dark(view) <= 0))

    def values(view: Measured) -> Array:
        below = dark(view)
        return np.asarray(bright(view) / np.where(below < DARKEST, np.nan, below))

    return SampledQuantity(values, (limits,), (), one_sided=False, conforms=conforms)


def _contrast_bound(
    requirement: Requirement,
    case: MatchedReadings,
    value: float,
    limits: Limits,
    shown: Shown,
) -> Finding:
    """The finding on a contrast with a black below the meter's lowest: at least this value."""
    unassessed = finding(
        requirement,
        Verdict.NOT_ASSESSED,
        value=value,
        bound="at-least",
        note=Statement("black-below-meter", {"lowest": case.lowest}),
        **shown,
    )
    if limits.maximum is None and inside(value, limits):
        return replace(unassessed, verdict=Verdict.PASS)
    return replace(unassessed, reason=Reason.METER)


def grade(requirement: Requirement, case: MatchedReadings) -> Graded:
    """Grade one requirement on the measured values, with the quantity to sample.

    Raises RuleError if the rule itself requires something impossible.
    """
    quantity = QUANTITIES[requirement.quantity]
    elsewhere = not_applicable_finding(requirement, case)
    if elsewhere is not None:
        return Graded(requirement, elsewhere)
    if quantity.values == "stated":
        return Graded(requirement, grade_declared(requirement, quantity, case))
    parts = select_roles(requirement, case)
    if quantity.values == "whole":
        return grade_aggregate(requirement, quantity, case, parts)
    if requirement.statistic == "each":
        return grade_per_patch(requirement, quantity, case, parts)
    return grade_statistic(requirement, quantity, case, parts)


def evaluate(requirement: Requirement, case: MatchedReadings) -> Finding:
    """The finding of one requirement without measurement uncertainty."""
    return grade(requirement, case).finding
