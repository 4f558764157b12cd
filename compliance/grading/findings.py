"""Findings and points with what each of them carries filled in."""

from __future__ import annotations

import math

import numpy as np

from compliance.errors import Problem, RuleError
from compliance.grading.case import Case
from compliance.matching import Chosen
from compliance.model import Finding, Limits, NotJudged, Point, Requirement, Verdict
from compliance.quantities.bind import Roles
from compliance.quantities.table import QUANTITIES, RECORDED_FIELDS, Quantity
from compliance.quantities.view import NOWHERE

__all__ = ["finding", "limits_of", "not_judged", "point", "target_luminances"]


def finding(requirement: Requirement, verdict: Verdict, **fields: object) -> Finding:
    """A finding of a requirement with what every finding carries filled in."""
    quantity = QUANTITIES[requirement.quantity]
    unit = quantity.unit
    if requirement.quantity == "recorded" and requirement.field:
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


def limits_of(requirement: Requirement, case: Case, one: Chosen) -> Limits:
    """Limits that hold for one patch: by name, by band of nominal target, or the same for all."""
    if requirement.by_patch:
        name = one.planned or one.name
        if name not in requirement.by_patch:
            raise RuleError(
                Problem(
                    case.rule.id,
                    f"no limits for patch '{name}'; add it, or leave it out with `except`",
                    field=f"requirements.{requirement.id}.by_patch",
                )
            )
        return requirement.by_patch[name]
    if requirement.bands:
        nominal = float(case.patches.nominal[one.index])
        for band in requirement.bands:
            if band.upto is None or nominal <= band.upto * (1 + 1e-9):
                return band.limits
        raise RuleError(
            Problem(
                case.rule.id,
                f"no band for {nominal:g} cd/m²; leave `upto` out of the last band",
                field=f"requirements.{requirement.id}.bands",
            )
        )
    return requirement.limits or Limits()


def not_judged(case: Case, one: Chosen, why: str) -> NotJudged:
    """A measured patch that cannot be judged, and why."""
    there = case.patches.stimulus[one.index]
    return NotJudged(case.patches.triple(one.index), one.name, there.position, there.window, why)


def point(case: Case, one: Chosen, target: float | None, **fields: object) -> Point:
    """A patch in a finding."""
    there = case.patches.stimulus[one.index]
    return Point(
        patch=case.patches.triple(one.index),
        name=one.name,
        position=there.position,
        window=there.window,
        target=target,
        **fields,  # type: ignore[arg-type]
    )


def target_luminances(quantity: Quantity, case: Case, roles: Roles) -> list[float | None]:
    """Luminance the target shows for each patch, where the quantity uses the target."""
    if not quantity.target or not len(roles.over):
        return [None] * len(roles.over)
    view, model = case.view, case.view.model
    fitted = np.ones(len(roles.over), dtype=np.bool_)
    if model.relative:
        fitted &= view.white[roles.over] != NOWHERE
    if not model.blackless and np.isnan(model.black_luminance):
        fitted &= view.black[roles.over] != NOWHERE
    found: list[float | None] = [None] * len(roles.over)
    for place, value in zip(
        np.flatnonzero(fitted), view.target(roles.over[fitted])[..., 1], strict=True
    ):
        found[place] = float(value) if math.isfinite(value) else None
    return found
