"""What the sheet's pictures show, computed from a case and its findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.charts.differences import colour_differences, grey_differences
from compliance.charts.places import by_place, shown
from compliance.charts.white import ellipse, white_limit
from compliance.colorimetry import spaces
from compliance.grading.case import Case
from compliance.model import (
    Charts,
    ColourPoint,
    Finding,
    GreyPoint,
    LevelPoint,
    Pair,
    Point,
)
from compliance.quantities.view import NOWHERE

__all__ = ["charts"]

Array = NDArray[np.float64]
EXPANDED = 1.960
"""Two-sided normal quantile of 95 %: half an interval's width in standard uncertainties."""
COLOUR_SETS = ("hues", "saturations", "list")


def charts(
    case: Case, findings: Sequence[Finding], white_spread: NDArray[np.float64] | None = None
) -> Charts:
    """Pictures of one set of readings; what was not measured is left out.

    `white_spread` is the (2, 2) covariance of the measured white's u'v'.
    """
    neutrals, colours = _neutrals(case), _colours(case)
    return Charts(
        levels=tuple(_levels(case, neutrals, findings)),
        target_triangle=_triangle(case.plan.model.from_target.T),
        measured_triangle=_measured_triangle(case),
        target_white=_uv(case.plan.model.white_xyz),
        measured_white=_measured_white(case),
        colours=tuple(_colour_points(case, colours)),
        differences=(
            *grey_differences(case, neutrals, findings),
            *colour_differences(case, colours, findings),
        ),
        greys=tuple(_greys(case, neutrals)),
        white_ellipse=ellipse(_measured_white(case), white_spread),
        white_limit=white_limit(case, findings),
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


def _levels(case: Case, neutrals: list[int], findings: Sequence[Finding]) -> Iterable[LevelPoint]:
    if not neutrals:
        return
    index = np.array(neutrals, dtype=np.int64)
    target = case.view.target(index)[..., 1]
    each = [one for one in findings if one.statistic == "each"]
    points = by_place(one for one in each if one.quantity == "luminance-error")
    guard = NormalDist().inv_cdf(case.rule.decision.confidence)
    above = {
        requirement.above_black
        for requirement in case.rule.requirements
        if requirement.quantity == "luminance-error"
    }
    black = case.view.measured_black(index) if above == {True} else np.zeros(len(index))
    for place, patch in enumerate(neutrals):
        wanted = float(target[place])
        lifted = wanted - float(black[place])
        low, high, inner_low, inner_high = (
            None if error is None else wanted + lifted * error / 100
            for error in _errors(points.get(shown(case, patch)), guard)
        )
        yield LevelPoint(
            name=f"{100 * case.patches.level[patch]:.4g} %",
            target=wanted,
            measured=float(case.view.xyz[patch, 1]),
            low=low,
            high=high,
            guard_low=inner_low,
            guard_high=inner_high,
        )


def _errors(
    point: Point | None, guard: float
) -> tuple[float | None, float | None, float | None, float | None]:
    """Limits of a luminance error in %, and the same drawn in by `guard` times its u."""
    if point is None or point.limits is None:
        return None, None, None, None
    low, high = point.limits.minimum, point.limits.maximum
    interval = point.interval
    if interval is None or isinstance(interval.low, tuple) or isinstance(interval.high, tuple):
        return low, high, None, None
    band = guard * (interval.high - interval.low) / (2 * EXPANDED)
    inner = None if low is None else low + band
    return low, high, inner, None if high is None else high - band


def _measured_triangle(case: Case) -> tuple[Pair, Pair, Pair] | None:
    """Of the first set that has a red, a green and a blue, hues or a list of codes."""
    for name in case.rule.sets:
        planned = {patch.name: patch for patch in case.plan.patches(name)}
        if not planned.keys() >= {"red", "green", "blue"}:
            continue
        found = [case.matcher.find(planned[hue]) for hue in ("red", "green", "blue")]
        indices = [index for index in found if index is not None]
        return _triangle(case.view.xyz[indices]) if len(indices) == 3 else None
    return None


def _measured_white(case: Case) -> Pair | None:
    index = case.built_in("white")
    return None if index is None else _uv(case.view.xyz[index])


def _colour_points(case: Case, colours: list[tuple[int, str]]) -> Iterable[ColourPoint]:
    for index, name in colours:
        target = case.view.target(np.array([index]))[0]
        yield ColourPoint(name, _uv(target), _uv(case.view.xyz[index]))


def _greys(case: Case, neutrals: list[int]) -> Iterable[GreyPoint]:
    for index in neutrals:
        white = int(case.view.white[index])
        dark = case.view.xyz[index, 1] < case.chromaticity_floor
        if white == NOWHERE or dark:
            continue
        offset = spaces.xyz_to_uv(case.view.xyz[index]) - spaces.xyz_to_uv(case.view.xyz[white])
        target = float(targets.nominal_xyz(case.patches.signal[[index]], case.plan.model)[0, 1])
        yield GreyPoint(target, float(offset[0]), float(offset[1]))
