"""Every patch that a rule's requirements ask for, with the whites and blacks they lean on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.grading.patches import Plan, PlannedPatch, default_pattern
from compliance.model import Encoding, Over, Readings, Requirement, Rule
from compliance.quantities.catalogue import QUANTITIES, is_stated


def planned(rule: Rule, encoding: Encoding | None = None) -> list[PlannedPatch]:
    """The patches to measure for a rule, each stimulus once, with how often it is to be read."""
    plan = Plan(rule, encoding or rule.encoding)
    found: dict[tuple[object, ...], PlannedPatch] = {}
    for patch in _asked(rule, plan):
        place = (patch.position, patch.window, patch.pattern, patch.seconds)
        key = (*patch.signal, *place)
        count = max(patch.count, found[key].count if key in found else 1)
        found[key] = replace(found.get(key, patch), count=count)
    return list(found.values())


def _asked(rule: Rule, plan: Plan) -> Iterator[PlannedPatch]:
    yield from plan.patches("white")
    yield from plan.patches("black")
    for requirement in rule.requirements:
        if is_stated(requirement.quantity):
            continue
        for patch in _of(requirement, plan):
            yield patch
            yield from _company(requirement, plan, patch)


def _of(requirement: Requirement, plan: Plan) -> Iterator[PlannedPatch]:
    """The patches a requirement is about."""
    over, quantity = requirement.over, QUANTITIES[requirement.quantity]
    if quantity.ratio:
        pattern = quantity.pattern or (over.pattern if over else None)
        place = replace(over or Over(()), pattern=pattern)
        yield from plan.asked("white", place)
        yield from plan.asked("black", place)
    elif quantity.hues:
        yield from _primaries(requirement, plan)
    elif over is not None:
        for name in over.patches:
            yield from plan.asked(name, over)


def _primaries(requirement: Requirement, plan: Plan) -> Iterator[PlannedPatch]:
    """Red, green and blue, and where it takes part the white of the same drive and the black."""
    patch_set = plan.primaries_of(requirement.over)
    hues = plan.hues_of(requirement.over)
    yield from hues
    if "white" in QUANTITIES[requirement.quantity].roles and hues:
        yield plan.white_of_drive(patch_set, hues[0])
        yield replace(hues[0], name="black", signal=(0.0, 0.0, 0.0))


def _company(requirement: Requirement, plan: Plan, patch: PlannedPatch) -> Iterator[PlannedPatch]:
    """What is compared with a patch: white and black of its window, the centre, the start."""
    quantity = QUANTITIES[requirement.quantity]
    centre = replace(patch, position="centre", varies=(), name=patch.name.split(",")[0])
    if quantity.compares == "centre" and patch.seconds:
        yield replace(patch, seconds=0.0)
    elif quantity.compares == "centre" or requirement.reference == "centre":
        yield centre
    if quantity.target or quantity.company:
        pattern = default_pattern(patch.window)
        for name in ("white", "black"):
            yield replace(plan.patches(name)[0], window=patch.window, pattern=pattern)


def ideal_readings(rule: Rule, encoding: Encoding, black: float) -> Readings:
    """What a display that is exactly the rule's target shows for the plan, black in cd/m²."""
    plan = Plan(rule, encoding)
    patches = planned(rule, encoding)
    rows = [patch for patch in patches for _ in range(patch.count)]
    triples = np.array(
        [codes.encode(np.array(row.signal), encoding.bits, encoding.narrow) for row in rows]
    )
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow), dtype=np.float64)
    level = np.full(len(rows), plan.model.white_luminance)
    light = targets.target_xyz(signal, plan.model, level, np.full(len(rows), black))
    darkest = black * plan.model.white_xyz
    return Readings(
        encoding=encoding,
        codes=triples.astype(np.int64),
        xyz=np.where(light[:, 1:2] < black, darkest, light),
        position=tuple(row.position for row in rows),
        window=np.array([row.window for row in rows]),
        pattern=tuple(row.pattern for row in rows),
        background=("",) * len(rows),
        seconds=np.array([row.seconds for row in rows]),
        deviation=np.full(len(rows), np.nan),
        lines=tuple(range(2, len(rows) + 2)),
        file="ideal",
        data=b"",
        sha256="",
    )


def readings_at_limit(
    requirement: Requirement, ideal: Readings, rule: Rule, limit: float
) -> Readings:
    """The ideal display with one requirement's value moved to a one-sided limit.

    Luminances are moved by their own patches, contrasts by the black, ranges by one of
    the readings; of other quantities the ideal display stands for the one on the limit.
    """
    plan = Plan(rule, ideal.encoding)
    xyz = ideal.xyz.copy()
    rows = [_rows(ideal, patch) for patch in _of(requirement, plan)]
    quantity = QUANTITIES[requirement.quantity]
    if quantity.reading:
        for mine in rows:
            xyz[mine] *= limit / xyz[mine, 1][0] if xyz[mine, 1][0] else 0.0
    elif quantity.ratio:
        white, black = rows[0], rows[-1]
        xyz[black] = plan.model.white_xyz * xyz[white, 1][0] / limit
    elif quantity.compares == "centre":
        for mine in rows:
            if not (np.array(ideal.position)[mine] == "centre").all() or ideal.seconds[mine].any():
                xyz[mine] *= limit / 100
    elif quantity.extreme is not None and quantity.extreme.kind == "range":
        last = np.flatnonzero(rows[-1])[-1]
        xyz[last] *= 1 - limit / 100
    return replace(ideal, xyz=xyz)


def _rows(readings: Readings, patch: PlannedPatch) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(R,) which readings show a planned patch."""
    encoding = readings.encoding
    triple = codes.encode(np.array(patch.signal), encoding.bits, encoding.narrow)
    same = np.all(readings.codes == triple, axis=1)
    same &= (np.array(readings.position) == patch.position) & (readings.window == patch.window)
    same &= (np.array(readings.pattern) == patch.pattern) & (readings.seconds == patch.seconds)
    return np.asarray(same)
