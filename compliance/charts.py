"""What the sheet's pictures show, computed from a case and its findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colorimetry import spaces
from compliance.grading.case import Case
from compliance.model import (
    Charts,
    ColourPoint,
    DifferencePoint,
    Finding,
    GreyPoint,
    LevelPoint,
    Limits,
    Pair,
    Triple,
)
from compliance.quantities.bind import COMPUTE, Options, Roles
from compliance.quantities.view import NOWHERE

__all__ = ["charts"]

Array = NDArray[np.float64]
COLOUR_SETS = ("hues", "saturations", "list")


def charts(case: Case, findings: Sequence[Finding]) -> Charts:
    """Pictures of one set of readings; what was not measured is left out."""
    quantity, title = "delta-e-2000", "ΔE 2000"
    if case.plan.model.curve in ("pq", "hlg"):
        quantity, title = "delta-e-itp", "ΔE ITP"
    neutrals, colours = _neutrals(case), _colours(case)
    return Charts(
        levels=tuple(_levels(case, neutrals, findings)),
        target_triangle=_triangle(case.plan.model.from_target.T),
        measured_triangle=_measured_triangle(case),
        target_white=_uv(case.plan.model.white_xyz),
        measured_white=_measured_white(case),
        colours=tuple(_colour_points(case, colours)),
        differences=tuple(_differences(case, colours, quantity, findings)),
        difference_name=title,
        greys=tuple(_greys(case, neutrals)),
    )


def _uv(xyz: Array) -> Pair:
    u, v = (float(value) for value in spaces.xyz_to_uv(xyz))
    return u, v


def _triangle(xyz: Array) -> tuple[Pair, Pair, Pair]:
    return _uv(xyz[0]), _uv(xyz[1]), _uv(xyz[2])


def _main(case: Case, index: int) -> bool:
    """Whether a patch was shown at the centre, at the rule's window, at once."""
    there = case.patches.stimulus[index]
    full = abs(there.window - case.rule.window) <= 1e-6 and there.pattern != "checkerboard"
    return there.position == "centre" and full and there.seconds == 0


def _has_target(case: Case, index: int) -> bool:
    """Whether all that the target is fitted to was measured."""
    view, model = case.view, case.plan.model
    white = not model.relative or view.white[index] != NOWHERE
    black = model.blackless or not np.isnan(model.black_luminance)
    return bool(white and (black or view.black[index] != NOWHERE))


def _neutrals(case: Case) -> list[int]:
    patches = case.patches
    usable = np.flatnonzero(patches.neutral & ~patches.beyond & ~patches.above)
    found = [int(i) for i in usable if _main(case, int(i)) and _has_target(case, int(i))]
    return sorted(found, key=lambda i: patches.level[i])


def _colours(case: Case) -> list[tuple[int, str]]:
    """Coloured patches of the rule's sets that were measured, in the order of the sets."""
    found: dict[int, str] = {}
    for name, patch_set in case.rule.sets.items():
        if patch_set.kind not in COLOUR_SETS:
            continue
        for planned in case.plan.patches(name):
            index = case.matcher.find(planned)
            if index is None or case.patches.neutral[index] or not _has_target(case, index):
                continue
            bright = case.view.xyz[index, 1] >= case.chromaticity_floor
            if bright and not (case.patches.unreachable[index] or case.patches.above[index]):
                found.setdefault(index, planned.name)
    return list(found.items())


def _limits(findings: Iterable[Finding], quantity: str) -> Mapping[Triple, Limits]:
    """Limits on a quantity by patch, of the strictest level that has one."""
    limits: dict[Triple, Limits] = {}
    for one in sorted(findings, key=lambda finding: finding.level.value == "should"):
        if one.quantity == quantity and one.statistic == "each":
            for point in one.points:
                if point.limits is not None:
                    limits.setdefault(point.patch, point.limits)
    return limits


def _levels(case: Case, neutrals: list[int], findings: Sequence[Finding]) -> Iterable[LevelPoint]:
    if not neutrals:
        return
    index = np.array(neutrals, dtype=np.int64)
    target = case.view.target(index)[..., 1]
    limits = _limits(findings, "luminance-error")
    above = {
        requirement.above_black
        for requirement in case.rule.requirements
        if requirement.quantity == "luminance-error"
    }
    black = case.view.measured_black(index) if above == {True} else np.zeros(len(index))
    for place, patch in enumerate(neutrals):
        wanted = float(target[place])
        banded = limits.get(case.patches.triple(patch))
        low, high = (banded.minimum, banded.maximum) if banded else (None, None)
        lifted = wanted - float(black[place])
        yield LevelPoint(
            name=f"{100 * case.patches.level[patch]:.4g} %",
            target=wanted,
            measured=float(case.view.xyz[patch, 1]),
            low=None if low is None else wanted + lifted * low / 100,
            high=None if high is None else wanted + lifted * high / 100,
        )


def _measured_triangle(case: Case) -> tuple[Pair, Pair, Pair] | None:
    name = case.plan.hue_set()
    if name is None:
        return None
    planned = {patch.name: patch for patch in case.plan.patches(name)}
    found = [case.matcher.find(planned[hue]) for hue in ("red", "green", "blue")]
    if any(index is None for index in found):
        return None
    return _triangle(case.view.xyz[[index for index in found if index is not None]])


def _measured_white(case: Case) -> Pair | None:
    planned = case.plan.patches("white")[0]
    index = case.matcher.find(planned)
    return None if index is None else _uv(case.view.xyz[index])


def _colour_points(case: Case, colours: list[tuple[int, str]]) -> Iterable[ColourPoint]:
    for index, name in colours:
        target = case.view.target(np.array([index]))[0]
        yield ColourPoint(name, _uv(target), _uv(case.view.xyz[index]))


def _differences(
    case: Case, colours: list[tuple[int, str]], quantity: str, findings: Sequence[Finding]
) -> Iterable[DifferencePoint]:
    if not colours:
        return
    index = np.array([index for index, _ in colours], dtype=np.int64)
    values = COMPUTE[quantity](case.view, Roles(index, {}), Options())
    limits = _limits(findings, quantity)
    for (patch, name), value in zip(colours, values, strict=True):
        limit = limits.get(case.patches.triple(patch))
        yield DifferencePoint(name, float(value), limit.maximum if limit else None)


def _greys(case: Case, neutrals: list[int]) -> Iterable[GreyPoint]:
    for index in neutrals:
        white = int(case.view.white[index])
        dark = case.view.xyz[index, 1] < case.chromaticity_floor
        if white == NOWHERE or dark:
            continue
        offset = spaces.xyz_to_uv(case.view.xyz[index]) - spaces.xyz_to_uv(case.view.xyz[white])
        target = float(targets.nominal_xyz(case.patches.signal[[index]], case.plan.model)[0, 1])
        yield GreyPoint(target, float(offset[0]), float(offset[1]))
