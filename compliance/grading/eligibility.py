"""Which patches can be judged, and the findings' entries for patches that cannot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from compliance.grading.decide import inside
from compliance.grading.match import MatchedReadings, SelectedPatch
from compliance.grading.patch_roles import (
    PatchRoles,
    by_time,
    needs_white,
    rule_error,
    scaled_to_white,
)
from compliance.grading.patches import EDGE
from compliance.model import (
    Finding,
    Limits,
    NotJudged,
    Point,
    Requirement,
    Statement,
    Value,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS, values_at
from compliance.quantities.measured import NOWHERE, Measured, Options, Roles


def finding(requirement: Requirement, verdict: Verdict, **fields: object) -> Finding:
    """A finding of a requirement, with the fields that every finding has filled in."""
    quantity = QUANTITIES[requirement.quantity]
    unit = quantity.unit
    if requirement.field:
        unit = RECORDED_FIELDS[requirement.field][0]
    fields.setdefault("limits", requirement.limits)
    return Finding(
        id=requirement.id,
        title=requirement.title,
        quantity=requirement.quantity,
        unit=unit,
        level=requirement.level,
        statistic=requirement.statistic,
        basis=requirement.basis,
        clause=requirement.clause,
        verdict=verdict,
        **fields,  # type: ignore[arg-type]
    )


def limits_of(requirement: Requirement, case: MatchedReadings, patch: SelectedPatch) -> Limits:
    """Limits for one patch: by name, by band of nominal target, or the same for all."""
    if requirement.by_patch:
        name = patch.planned or patch.name
        if name not in requirement.by_patch:
            message = f"no limits for patch '{name}'; add it, or leave it out with `except`"
            raise rule_error(requirement, case, "by_patch", message)
        return requirement.by_patch[name]
    if requirement.bands:
        nominal = float(case.patches.nominal[patch.index])
        for band in requirement.bands:
            if band.upto is None or nominal <= band.upto * (1 + 1e-9):
                return band.limits
        message = f"no band for {nominal:g} cd/m²; leave `upto` out of the last band"
        raise rule_error(requirement, case, "bands", message)
    return requirement.limits or Limits()


def not_judged(case: MatchedReadings, patch: SelectedPatch, why: Statement) -> NotJudged:
    """A measured patch that cannot be judged, and why."""
    stimulus = case.patches.stimulus[patch.index]
    triple = case.patches.triple(patch.index)
    return NotJudged(triple, patch.name, stimulus.position, stimulus.window, why)


def point(
    case: MatchedReadings, patch: SelectedPatch, target: float | None, **fields: object
) -> Point:
    """A patch in a finding."""
    stimulus = case.patches.stimulus[patch.index]
    return Point(
        patch=case.patches.triple(patch.index),
        name=patch.name,
        position=stimulus.position,
        window=stimulus.window,
        target=target,
        **fields,  # type: ignore[arg-type]
    )


def target_luminances(
    requirement: Requirement, case: MatchedReadings, roles: Roles
) -> list[float | None]:
    """Luminance of the target for each patch; None if the quantity does not use the target."""
    if not QUANTITIES[requirement.quantity].target or not len(roles.over):
        return [None] * len(roles.over)
    view = case.view.fitted(options_of(requirement))
    model = view.model
    fitted = np.ones(len(roles.over), dtype=np.bool_)
    if model.relative:
        fitted &= view.white[roles.over] != NOWHERE
    if not model.blackless and np.isnan(model.black_luminance):
        fitted &= view.black[roles.over] != NOWHERE
    luminances: list[float | None] = [None] * len(roles.over)
    for place, value in zip(
        np.flatnonzero(fitted), view.target(roles.over[fitted])[..., 1], strict=True
    ):
        luminances[place] = float(value) if math.isfinite(value) else None
    return luminances


Array = NDArray[np.float64]


def options_of(requirement: Requirement) -> Options:
    """The options of a requirement for its quantity."""
    return Options(
        reference=requirement.reference,
        scale=requirement.scale,
        above_black=requirement.above_black,
        ignore_luminance=requirement.ignore_luminance,
        diagram=requirement.diagram,
        by_time=by_time(requirement),
    )


def values_of(requirement: Requirement, view: Measured, roles: Roles) -> Array:
    """(..., n) or (..., n, 2) values of a requirement's quantity."""
    return values_at(QUANTITIES[requirement.quantity], view, roles, options_of(requirement))


def roles_of(chosen: Sequence[SelectedPatch]) -> Roles:
    """Roles of patches without a fixed role."""
    return roles_at([patch.index for patch in chosen])


def roles_at(indices: Sequence[int]) -> Roles:
    """The same, by index."""
    return Roles(np.array(indices, dtype=np.int64), {})


DARKEST_TARGET, DARKEST_PQ = 0.1, 0.05
"""cd/m² of nominal target at which a requirement begins that states no lower end of its own."""

METER_LIMITED = frozenset({"colour-too-dark", "below-meter", "not-a-number", "white-unlit"})
"""Kinds of reasons for which the readings, not the rule, leave a patch without judgement."""


def limited_by_meter(left_out: Iterable[NotJudged]) -> int:
    """Number of patches that a requirement covers and the meter cannot judge."""
    return sum(patch.why.kind in METER_LIMITED for patch in left_out)


def reason_not_covered(
    requirement: Requirement, case: MatchedReadings, index: int
) -> Statement | None:
    """The reason that a requirement does not cover a measured patch; None if it does.

    It depends on rule, code and target, never on what was read.
    """
    quantity = QUANTITIES[requirement.quantity]
    patches = case.patches
    if patches.beyond[index]:
        return Statement("code-beyond-range")
    if quantity.target and patches.above[index] and not quantity.picks_target:
        return Statement("code-above-peak")
    if quantity.target and patches.unreachable[index]:
        return Statement("code-outside-primaries")
    floor = floor_of(requirement, case)
    if quantity.dark and patches.nominal[index] < floor * (1 - EDGE):
        return Statement("target-too-dark", {"floor": floor})
    return None


def floor_of(requirement: Requirement, case: MatchedReadings) -> float:
    """Nominal target in cd/m² at which a requirement begins: the lower end of its range, else its
    floor, else .1, for PQ .05."""
    if requirement.over is not None and requirement.over.target is not None:
        return requirement.over.target[0]
    if requirement.floor is not None:
        return requirement.floor
    return DARKEST_PQ if case.plan.model.curve == "pq" else DARKEST_TARGET


def reason_unreadable(
    requirement: Requirement, case: MatchedReadings, index: int
) -> Statement | None:
    """The reason that the readings leave a patch open that the requirement covers; else None."""
    quantity, luminance = QUANTITIES[requirement.quantity], case.view.xyz[index, 1]
    if needs_white(requirement, case) and not _is_lit(case, index):
        return Statement("white-unlit")
    if quantity.dark == "chromaticity" and luminance < case.chromaticity_floor:
        return Statement("colour-too-dark", {"floor": case.chromaticity_floor})
    bounded = quantity.from_luminance and requirement.statistic == "each"
    exact = quantity.dark == "luminance" or quantity.reading or quantity.by_position
    if exact and not bounded and luminance < case.lowest:
        return Statement("below-meter", {"lowest": case.lowest})
    return None


def split_judgeable(
    requirement: Requirement, case: MatchedReadings, parts: PatchRoles
) -> tuple[list[SelectedPatch], list[NotJudged]]:
    """Split the patches of a requirement into those that can be judged and those that cannot."""
    judged: list[SelectedPatch] = []
    left_out: list[NotJudged] = []
    for patch in parts.chosen:
        why = reason_not_covered(requirement, case, patch.index)
        why = why or reason_unreadable(requirement, case, patch.index)
        if why is None:
            judged.append(patch)
        else:
            left_out.append(not_judged(case, patch, why))
    return judged, left_out


def _is_lit(case: MatchedReadings, index: int) -> bool:
    white = case.view.white[index]
    return bool(white == NOWHERE or case.view.xyz[white, 1] > 0)


def reason_not_finite(value: Value) -> Statement | None:
    """The reason that a value cannot be judged, if it is not a finite number."""
    numbers = value if isinstance(value, tuple) else (value,)
    return None if all(map(math.isfinite, numbers)) else Statement("not-a-number")


def is_zero_by_construction(requirement: Requirement, case: MatchedReadings, index: int) -> bool:
    """Whether the difference is zero by construction: shown, not counted.

    Pairwise compares the patches with each other, so that each of them counts, and so does a
    spread but of distances.
    """
    view = case.view
    distance = QUANTITIES[requirement.quantity].distance
    if requirement.statistic == "pairwise" or (requirement.statistic == "spread" and not distance):
        return False
    is_white = view.white[index] == index
    if requirement.reference == "white":
        return bool(is_white)
    if requirement.reference == "adapted" and scaled_to_white(requirement, case):
        return bool(is_white)
    apart = requirement.statistic in ("each", "spread")
    if apart and _is_own_reference(requirement, case, index):
        return True
    if not QUANTITIES[requirement.quantity].anchored:
        return False
    measured_black = bool(np.isnan(view.model.black_luminance))
    is_black = view.black[index] == index and not view.model.blackless and measured_black
    white_is_zero = scaled_to_white(requirement, case) and (
        measured_black or not requirement.above_black
    )
    return bool((white_is_zero and is_white) or is_black)


def _is_own_reference(requirement: Requirement, case: MatchedReadings, index: int) -> bool:
    """Whether a patch would be compared with itself: the centre, or the first in time."""
    view = case.view
    if requirement.reference == "centre":
        return bool(view.centre[index] == index)
    if QUANTITIES[requirement.quantity].compares != "centre":
        return False
    return bool((view.start if by_time(requirement) else view.centre)[index] == index)


def reason_below_meter(
    requirement: Requirement, case: MatchedReadings, index: int, value: Value, limits: Limits
) -> Statement | None:
    """The reason that a value of a luminance below the meter's `lowest` cannot be judged.

    The luminance may be anything from 0 to `lowest`; if all these values are inside the limits,
    or none of them, the value can be judged.
    """
    quantity = QUANTITIES[requirement.quantity]
    if not quantity.from_luminance or isinstance(value, tuple):
        return None
    if case.view.xyz[index, 1] >= case.lowest:
        return None
    low, high = (_value_at(requirement, case, index, level) for level in (0.0, case.lowest))
    all_inside = inside(low, limits) and inside(high, limits)
    all_outside = limits.low >= high or limits.high < low
    if all_inside or all_outside:
        return None
    return Statement("below-meter", {"lowest": case.lowest})


def _value_at(
    requirement: Requirement, case: MatchedReadings, index: int, luminance: float
) -> float:
    """The value of a patch, were its luminance another one in cd/m²."""
    xyz = case.view.xyz.copy()
    xyz[index] = luminance * case.view.model.white_xyz
    view = case.view._replace(xyz=xyz)
    return float(values_of(requirement, view, roles_at([index]))[0])


def reason_black_zero(
    requirement: Requirement, case: MatchedReadings, parts: PatchRoles
) -> Statement | None:
    """The reason that a contrast cannot be judged, if its black reads 0 or less."""
    if not QUANTITIES[requirement.quantity].ratio:
        return None
    black = float(case.view.luminance(parts.roles.part["black"]).mean())
    return None if black > 0 else Statement("black-zero", {"black": black})


def contrast_is_bound(requirement: Requirement, case: MatchedReadings, parts: PatchRoles) -> bool:
    """Whether a contrast's black is below the meter's lowest luminance."""
    if not QUANTITIES[requirement.quantity].ratio or case.lowest == 0:
        return False
    return bool(case.view.luminance(parts.roles.part["black"]).mean() < case.lowest)
