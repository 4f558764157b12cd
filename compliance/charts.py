"""What the sheet's pictures show, computed from a case and its findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from statistics import NormalDist

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
    Level,
    LevelPoint,
    Limits,
    Pair,
    Point,
    Triple,
)
from compliance.quantities.bind import COMPUTE, Options, Roles
from compliance.quantities.view import NOWHERE

__all__ = ["charts"]

Array = NDArray[np.float64]
EXPANDED = 1.960
"""Two-sided normal quantile of 95 %: half an interval's width in standard uncertainties."""
CHI_SQUARE = 5.991
"""95 % quantile with two degrees of freedom: the size of a 95 % ellipse."""
OUTLINE = 72
"""Points of a round outline."""
WHITE_DIFFERENCES = ("chromaticity", "chromaticity-difference", "delta-uv-star")
Shown = tuple[Triple, str, float]
"""Codes, position and window of a patch."""
COLOUR_SETS = ("hues", "saturations", "list")


def charts(
    case: Case, findings: Sequence[Finding], white_spread: NDArray[np.float64] | None = None
) -> Charts:
    """Pictures of one set of readings; what was not measured is left out.

    `white_spread` is the (2, 2) covariance of the measured white's u'v'.
    """
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
        white_ellipse=_ellipse(_measured_white(case), white_spread),
        white_limit=_white_limit(case, findings),
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


def _shown(case: Case, index: int) -> Shown:
    there = case.patches.stimulus[index]
    return case.patches.triple(index), there.position, there.window


def _points(findings: Iterable[Finding], quantity: str) -> Mapping[Shown, Point]:
    """Points of `each` on a quantity by patch and place, of a shall before a should."""
    points: dict[Shown, Point] = {}
    for one in sorted(findings, key=lambda finding: finding.level is Level.SHOULD):
        if one.quantity == quantity and one.statistic == "each":
            for point in one.points:
                if point.limits is not None:
                    points.setdefault((point.patch, point.position, point.window), point)
    return points


def _levels(case: Case, neutrals: list[int], findings: Sequence[Finding]) -> Iterable[LevelPoint]:
    if not neutrals:
        return
    index = np.array(neutrals, dtype=np.int64)
    target = case.view.target(index)[..., 1]
    points = _points(findings, "luminance-error")
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
            for error in _errors(points.get(_shown(case, patch)), guard)
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
    points = _points(findings, quantity)
    for (patch, name), value in zip(colours, values, strict=True):
        point = points.get(_shown(case, patch))
        limit = point.limits.maximum if point and point.limits else None
        yield DifferencePoint(name, float(value), limit)


def _greys(case: Case, neutrals: list[int]) -> Iterable[GreyPoint]:
    for index in neutrals:
        white = int(case.view.white[index])
        dark = case.view.xyz[index, 1] < case.chromaticity_floor
        if white == NOWHERE or dark:
            continue
        offset = spaces.xyz_to_uv(case.view.xyz[index]) - spaces.xyz_to_uv(case.view.xyz[white])
        target = float(targets.nominal_xyz(case.patches.signal[[index]], case.plan.model)[0, 1])
        yield GreyPoint(target, float(offset[0]), float(offset[1]))


# ------------------------------------------------------------ the white and its limit


def _circle() -> Array:
    turn = np.linspace(0.0, 2 * np.pi, OUTLINE, endpoint=False)
    return np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _outline(points: Array) -> tuple[Pair, ...]:
    return tuple((float(u), float(v)) for u, v in points)


def _ellipse(white: Pair | None, covariance: NDArray[np.float64] | None) -> tuple[Pair, ...]:
    if white is None or covariance is None:
        return ()
    sizes, axes = np.linalg.eigh(covariance)
    reach = np.sqrt(CHI_SQUARE * np.maximum(sizes, 0.0))
    return _outline(np.array(white) + (_circle() * reach) @ axes.T)


def _white_limit(case: Case, findings: Sequence[Finding]) -> tuple[Pair, ...]:
    """The first shall limit on the white's distance from the target's white."""
    index = case.matcher.find(case.plan.patches("white")[0])
    requirements = {one.id: one for one in case.rule.requirements}
    for one in findings:
        requirement = requirements[one.id]
        about_white = [
            point
            for point in one.points
            if index is not None and point.patch == case.patches.triple(index)
        ]
        plain = one.quantity in WHITE_DIFFERENCES and requirement.reference == "target"
        if plain and one.level is Level.SHALL and about_white and about_white[0].limits:
            return _limit_outline(case, one.quantity, about_white[0].limits)
    return ()


def _limit_outline(case: Case, quantity: str, limits: Limits) -> tuple[Pair, ...]:
    white = case.plan.model.white_xyz
    if limits.box is not None:
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * np.array(limits.box)
        return _outline(np.asarray(spaces.xy_to_uv(spaces.xyz_to_xy(white) + corners)))
    if limits.maximum is None:
        return ()
    size = limits.maximum / 1300 if quantity == "delta-uv-star" else limits.maximum
    return _outline(spaces.xyz_to_uv(white) + size * _circle())
