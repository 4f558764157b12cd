"""The roles of patches in a requirement, and the patches that it misses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from compliance import targets
from compliance.errors import Problem, RuleError
from compliance.grading.match import MatchedReadings, SelectedPatch
from compliance.grading.patches import PlannedPatch, default_pattern
from compliance.model import PatchSet, Requirement
from compliance.quantities.catalogue import QUANTITIES
from compliance.quantities.measured import NOWHERE, Index, Roles

EVERY_NEUTRAL = ("each", "spread", "pairwise")
RGB = ("red", "green", "blue")


class PatchRoles(NamedTuple):
    """The patches of a requirement."""

    chosen: tuple[SelectedPatch, ...]
    """In canonical order."""
    roles: Roles
    missing: tuple[str, ...]


def select_roles(requirement: Requirement, case: MatchedReadings) -> PatchRoles:
    """Find the patches of a requirement that needs readings; see `quantities.catalogue`."""
    quantity = QUANTITIES[requirement.quantity]
    if quantity.ratio and quantity.pattern is not None:
        return _fields(requirement, case, quantity.pattern)
    if quantity.ratio:
        return _contrast(requirement, case)
    if quantity.hues:
        return _hues(requirement, case)
    over = requirement.over
    if over is None:
        raise RuleError(
            Problem(case.rule.id, "the quantity needs patches", field=requirement.id + ".over")
        )
    every = quantity.values == "point" and requirement.statistic in EVERY_NEUTRAL
    selection = case.matcher.select(over, all_neutrals=every)
    missing = list(selection.missing)
    chosen = _with_company(requirement, case, selection.chosen, missing)
    if quantity.compares == "steps":
        chosen = tuple(sorted(chosen, key=lambda patch: case.patches.level[patch.index]))
    if quantity.one_window:
        _check_one_window(requirement, case, chosen)
    indices = _indices(chosen)
    if quantity.compares == "repeats":
        indices = _readings_of(requirement, case, chosen)
    if len(indices) < quantity.fewest and not missing:
        missing.append(f"{quantity.fewest} readings at least")
    return PatchRoles(chosen, Roles(indices, {}), tuple(missing))


def rule_error(
    requirement: Requirement, case: MatchedReadings, field: str, message: str
) -> RuleError:
    """An error in a field of a requirement that appears only when readings are graded."""
    return RuleError(Problem(case.rule.id, message, field=f"requirements.{requirement.id}.{field}"))


def _indices(chosen: Sequence[SelectedPatch]) -> Index:
    return np.array([patch.index for patch in chosen], dtype=np.int64)


def _check_one_window(
    requirement: Requirement, case: MatchedReadings, chosen: Sequence[SelectedPatch]
) -> None:
    shown = {case.patches.stimulus[patch.index] for patch in chosen}
    along = QUANTITIES[requirement.quantity].compares == "steps"
    places = {
        (each.window, each.pattern, each.seconds, each.position if along else "") for each in shown
    }
    if len(places) > 1:
        message = (
            f"{requirement.quantity} compares patches of one window"
            f"{' and position' if along else ''}; write one requirement for each"
        )
        raise rule_error(requirement, case, "over", message)


def _readings_of(
    requirement: Requirement, case: MatchedReadings, chosen: Sequence[SelectedPatch]
) -> Index:
    if len(chosen) > 1:
        message = f"{requirement.quantity} needs one repeated patch; name a set of repeats"
        raise rule_error(requirement, case, "over", message)
    rows = np.flatnonzero(np.isin(case.view.rows, _indices(chosen)))
    return rows.astype(np.int64)


def _with_company(
    requirement: Requirement,
    case: MatchedReadings,
    chosen: Sequence[SelectedPatch],
    missing: list[str],
) -> tuple[SelectedPatch, ...]:
    """Leave out patches if their white, black, centre or first reading was not measured."""
    view, kept = case.view, []
    for patch in chosen:
        absent = []
        if needs_white(requirement, case) and view.white[patch.index] == NOWHERE:
            absent.append(_at_window(case, patch.index, "white"))
        if needs_black(requirement, case) and view.black[patch.index] == NOWHERE:
            absent.append("black")
        if QUANTITIES[requirement.quantity].compares == "centre":
            if by_time(requirement) and view.start[patch.index] == NOWHERE:
                absent.append(f"{patch.name} at 0 s")
            if not by_time(requirement) and view.centre[patch.index] == NOWHERE:
                absent.append(_the_same_at_the_centre(patch.name))
        if requirement.reference == "centre" and view.centre[patch.index] == NOWHERE:
            absent.append(_the_same_at_the_centre(patch.name))
        if absent:
            missing.extend(name for name in absent if name not in missing)
        else:
            kept.append(patch)
    return tuple(kept)


def by_time(requirement: Requirement) -> bool:
    """Whether a relative luminance refers to the same patch at 0 s, not at the centre."""
    return requirement.over is not None and requirement.over.seconds is not None


def _the_same_at_the_centre(name: str) -> str:
    return f"{name.split(',')[0]}, centre"


def _at_window(case: MatchedReadings, index: int, name: str) -> str:
    window = case.patches.stimulus[index].window
    return name if window == case.rule.window else f"{name}, {window:g} % window"


def needs_white(requirement: Requirement, case: MatchedReadings) -> bool:
    """Whether a requirement uses the measured white of the same window."""
    company = QUANTITIES[requirement.quantity].company
    if requirement.reference in ("white", "adapted") or "white" in company:
        return True
    return _needs_light_of_target(requirement) and scaled_to_white(requirement, case)


def scaled_to_white(requirement: Requirement, case: MatchedReadings) -> bool:
    """Whether the target is fitted to the measured white."""
    return targets.scaled(case.plan.model, requirement.scale).relative


def _needs_light_of_target(requirement: Requirement) -> bool:
    """Whether a requirement uses the target fitted to the readings."""
    target = QUANTITIES[requirement.quantity].target
    own = requirement.reference in ("target", "adapted")
    return target == "light" or (target == "chromaticity" and own)


def needs_black(requirement: Requirement, case: MatchedReadings) -> bool:
    """Whether a requirement uses the measured black."""
    model = case.plan.model
    if requirement.above_black:
        return True
    if model.blackless:
        return False
    if "black" in QUANTITIES[requirement.quantity].company:
        return True
    return _needs_light_of_target(requirement) and bool(np.isnan(model.black_luminance))


# ------------------------------------------------------------ fixed roles


def _place(requirement: Requirement, case: MatchedReadings) -> dict[str, object]:
    """Window, pattern and position of `over`; default: the rule's window at the centre."""
    over = requirement.over
    windows = over.window if over and over.window else (case.rule.window,)
    positions = over.position if over and over.position else ("centre",)
    if len(windows) > 1 or len(positions) > 1:
        message = "contrast needs one window and one position; write one requirement for each"
        raise rule_error(requirement, case, "over", message)
    pattern = over.pattern if over and over.pattern else default_pattern(windows[0])
    return {"window": windows[0], "pattern": pattern, "position": positions[0]}


def _contrast(requirement: Requirement, case: MatchedReadings) -> PatchRoles:
    place = _place(requirement, case)
    parts, chosen, missing = {}, [], []
    for name in ("white", "black"):
        planned = replace(case.plan.patches(name)[0], **place)  # type: ignore[arg-type]
        index = case.matcher.find(planned)
        if index is None:
            missing.append(case.matcher.described(planned))
        else:
            parts[name] = np.array([index], dtype=np.int64)
            chosen.append(SelectedPatch(index, name))
    return PatchRoles(tuple(chosen), Roles(_indices(chosen), parts), tuple(missing))


def _fields(requirement: Requirement, case: MatchedReadings, pattern: str) -> PatchRoles:
    """Fields of a pattern, at the places of `over` (default: all); both colours are needed."""
    over = requirement.over
    positions = over.position if over else None
    windows = over.window if over else None
    parts: dict[str, Index] = {}
    chosen: list[SelectedPatch] = []
    missing = []
    for name in ("white", "black"):
        planned = replace(case.plan.patches(name)[0], pattern=pattern)
        fields = [
            index
            for index, stimulus in enumerate(case.patches.stimulus)
            if stimulus.pattern == pattern
            and (positions is None or stimulus.position in positions)
            and (windows is None or stimulus.window in windows)
            and index
            == case.matcher.find(
                replace(planned, position=stimulus.position, window=stimulus.window)
            )
        ]
        if not fields:
            missing.append(f"{name} fields of a {pattern}")
        parts[name] = np.array(fields, dtype=np.int64)
        chosen.extend(
            SelectedPatch(index, f"{name}, {case.patches.stimulus[index].position}")
            for index in fields
        )
    return PatchRoles(tuple(chosen), Roles(_indices(chosen), parts), tuple(missing))


def _hues(requirement: Requirement, case: MatchedReadings) -> PatchRoles:
    """Red, green and blue, and if the quantity uses them the white of the same drive and black."""
    quantity = QUANTITIES[requirement.quantity]
    patch_set = _hue_set(requirement, case)
    planned = {patch.name: patch for patch in case.plan.hues_of(requirement.over)}
    wanted: list[PlannedPatch] = [planned[hue] for hue in RGB if hue in planned]
    missing = [hue for hue in RGB if hue not in planned]
    if "white" in quantity.roles and wanted:
        wanted.append(case.plan.white_of_drive(patch_set, wanted[0]))
        wanted.append(replace(wanted[0], name="black", signal=(0.0, 0.0, 0.0)))
    parts, chosen = {}, []
    for patch in wanted:
        index = case.matcher.find(patch)
        if index is None:
            missing.append(case.matcher.described(patch))
            continue
        parts[patch.name] = np.array([index], dtype=np.int64)
        chosen.append(SelectedPatch(index, patch.name))
    if quantity.target == "light":
        _with_company(requirement, case, chosen, missing)
    return PatchRoles(tuple(chosen), Roles(_indices(chosen), parts), tuple(missing))


def _hue_set(requirement: Requirement, case: MatchedReadings) -> PatchSet:
    try:
        return case.plan.primaries_of(requirement.over)
    except KeyError:
        name = requirement.over.patches[0] if requirement.over else ""
        message = f"'{name}' has no red, green and blue; name a set of hues"
        raise rule_error(requirement, case, "over", message) from None
