"""The data of the pictures, computed from an assessment's readings and findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import spaces
from compliance.grading import eligibility
from compliance.grading.match import MatchedReadings, matched
from compliance.grading.monte_carlo import white_spread
from compliance.model import (
    Assessment,
    Finding,
    GradedReadings,
    Level,
    Limits,
    Pair,
    Place,
    Point,
    Requirement,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES, Quantity, values_at
from compliance.quantities.measured import NOWHERE, Options

Array = NDArray[np.float64]

CHI_SQUARE = 5.991
"""95 % quantile with two degrees of freedom: the size of a 95 % ellipse."""
EXPANDED = 1.960
"""Two-sided normal quantile of 95 %: half an interval's width in standard uncertainties."""
OUTLINE = 72
"""Points of a round outline."""
PICTURED = 2000
"""Draws for the picture of the white, from which no digits are read."""
COLOUR_SETS = ("hues", "saturations", "list")


@dataclass(frozen=True, slots=True)
class LevelPoint:
    """A neutral patch in the tracking chart; cd/m²."""

    name: str
    target: float
    measured: float
    low: float | None
    """Limits on luminance at this level, if a requirement has some."""
    high: float | None
    guard_low: float | None = None
    """Limits narrowed by the guard band of 1.64 u: measured values between them are proven."""
    guard_high: float | None = None

    @property
    def limited(self) -> bool:
        """Whether it has a limit."""
        return self.low is not None or self.high is not None

    @property
    def within(self) -> bool:
        """Whether the measured value is inside its limits, if it has any."""
        above = self.low is None or self.measured >= self.low
        return above and (self.high is None or self.measured <= self.high)

    @property
    def guarded_limits(self) -> list[tuple[float, float]]:
        """Limits with their guarded limits; guarded limits that would cross meet half-way."""
        low, high, inner_low, inner_high = self.low, self.high, self.guard_low, self.guard_high
        if low is None or high is None or inner_low is None or inner_high is None:
            return []
        if inner_low > inner_high:
            inner_low = inner_high = (low + high) / 2
        return [(low, inner_low), (high, inner_high)]


@dataclass(frozen=True, slots=True)
class ColourPoint:
    """A coloured or white patch in the u'v' diagram."""

    name: str
    target: Pair
    measured: Pair


@dataclass(frozen=True, slots=True)
class DifferencePoint:
    """A distance of one patch from its ideal value."""

    name: str
    value: float
    limit: float | None
    bound: float | None = None
    """The true value is below it with 95 %, if that is known."""

    @property
    def over_limit(self) -> bool:
        """Whether it has a limit and is larger."""
        return self.limit is not None and self.value > self.limit


@dataclass(frozen=True, slots=True)
class Differences:
    """The distances of several patches, all of one quantity."""

    patches: Literal["greys", "colours"]
    name: str
    """The quantity's short name, e.g. `ΔE ITP`."""
    points: tuple[DifferencePoint, ...]
    from_white: bool = False
    """Whether it is from the measured white, not from the target."""


@dataclass(frozen=True, slots=True)
class GreyPoint:
    """A neutral patch's offset from the measured white."""

    target: float
    """cd/m²"""
    du: float
    dv: float


@dataclass(frozen=True, slots=True)
class Charts:
    """The data of the sheet's pictures, completely computed."""

    levels: tuple[LevelPoint, ...] = ()
    target_triangle: tuple[Pair, Pair, Pair] | None = None
    """u'v' of red, green, blue."""
    measured_triangle: tuple[Pair, Pair, Pair] | None = None
    target_white: Pair | None = None
    measured_white: Pair | None = None
    colours: tuple[ColourPoint, ...] = ()
    differences: tuple[Differences, ...] = ()
    """Of the greys, for each distance that the rule limits; then of the colours."""
    greys: tuple[GreyPoint, ...] = ()
    white_ellipse: tuple[Pair, ...] = ()
    """u'v' outline that contains the true white with 95 %; empty without uncertainty."""
    white_limit: tuple[Pair, ...] = ()
    """u'v' outline of the shall limit on the white's chromaticity; empty if there is none."""
    white_verdict: Verdict | None = None
    """The verdict under that limit."""

    @property
    def drawable_levels(self) -> list[LevelPoint]:
        """The levels that a logarithmic scale can show, dark to bright."""
        levels = (level for level in self.levels if level.target > 0 and level.measured > 0)
        return sorted(levels, key=lambda level: level.target)

    @property
    def drawable_greys(self) -> list[GreyPoint]:
        """The greys that a logarithmic scale can show, dark to bright."""
        greys = (grey for grey in self.greys if grey.target > 0)
        return sorted(greys, key=lambda grey: grey.target)


def charts_of(assessment: Assessment) -> list[Charts]:
    """The pictures' data: of the readings before calibration, if any, then of the present ones."""
    states = (assessment.before, assessment.state)
    return [_charts(assessment, state) for state in states if state is not None]


def _charts(assessment: Assessment, state: GradedReadings) -> Charts:
    case, meter = matched(state.measurement), assessment.meter
    spread = white_spread(
        case,
        meter.uncertainty if meter else None,
        count=min(assessment.draws, PICTURED),
        seed=assessment.seed,
    )
    return picture_data(case, state.findings, spread)


def picture_data(
    case: MatchedReadings,
    findings: Sequence[Finding],
    white_spread: Array | None = None,
) -> Charts:
    """The pictures' data of one set of readings, without parts that were not measured.

    `white_spread` is the (2, 2) covariance of the measured white's u'v'.
    """
    neutrals, colours = _neutrals(case), _colours(case)
    white_limit, white_verdict = _white_limit(case, findings)
    return Charts(
        levels=tuple(_levels(case, neutrals, findings)),
        target_triangle=_triangle(case.plan.model.from_target.T),
        measured_triangle=_measured_triangle(case),
        target_white=_uv(case.plan.model.white_xyz),
        measured_white=_measured_white(case),
        colours=tuple(_colour_points(case, colours)),
        differences=(
            *_grey_differences(case, neutrals, findings),
            *_colour_differences(case, colours, findings),
        ),
        greys=tuple(_greys(case, neutrals)),
        white_ellipse=_white_ellipse(_measured_white(case), white_spread),
        white_limit=white_limit,
        white_verdict=white_verdict,
    )


def _uv(xyz: Array) -> Pair:
    u, v = (float(value) for value in spaces.xyz_to_uv(xyz))
    return u, v


def _triangle(xyz: Array) -> tuple[Pair, Pair, Pair]:
    return _uv(xyz[0]), _uv(xyz[1]), _uv(xyz[2])


# ---------------------------------------------------------------- which patches


def _main(case: MatchedReadings, index: int) -> bool:
    """Whether a patch was shown at the centre, in the rule's window, without a delay."""
    there = case.patches.stimulus[index]
    full = abs(there.window - case.rule.window) <= 1e-6 and there.pattern != "checkerboard"
    return there.position == "centre" and full and there.seconds == 0


def _has_target(case: MatchedReadings, index: int) -> bool:
    """Whether the white and black that the target is fitted to were measured."""
    view, model = case.view, case.plan.model
    white = not model.relative or view.white[index] != NOWHERE
    black = model.blackless or not np.isnan(model.black_luminance)
    return bool(white and (black or view.black[index] != NOWHERE))


def _neutrals(case: MatchedReadings) -> list[int]:
    patches = case.patches
    usable = np.flatnonzero(patches.neutral & ~patches.beyond & ~patches.above)
    neutrals = [i for i in map(int, usable) if _main(case, i) and _has_target(case, i)]
    return sorted(neutrals, key=lambda i: patches.level[i])


def _colours(case: MatchedReadings) -> list[tuple[int, str]]:
    """Coloured patches of the rule's sets that were measured, in the order of the sets."""
    colours: dict[int, str] = {}
    for name, patch_set in case.rule.sets.items():
        if patch_set.kind not in COLOUR_SETS:
            continue
        for planned in case.plan.patches(name):
            index = case.matcher.find(planned)
            if index is None or case.patches.neutral[index] or not _has_target(case, index):
                continue
            bright = case.view.xyz[index, 1] >= case.chromaticity_floor
            if bright and not (case.patches.unreachable[index] or case.patches.above[index]):
                colours.setdefault(index, planned.name)
    return list(colours.items())


def _by_place(findings: Iterable[Finding]) -> Mapping[Place, Point]:
    """Points with limits by patch and place; those of a shall come before those of a should."""
    points: dict[Place, Point] = {}
    for finding in sorted(findings, key=lambda finding: finding.level is Level.SHOULD):
        for point in finding.points:
            if point.limits is not None:
                points.setdefault(point.place, point)
    return points


# ---------------------------------------------------------------- tracking and greys


def _levels(
    case: MatchedReadings, neutrals: list[int], findings: Sequence[Finding]
) -> Iterable[LevelPoint]:
    if not neutrals:
        return
    index = np.array(neutrals, dtype=np.int64)
    target = case.view.target(index)[..., 1]
    points = _by_place(
        finding
        for finding in findings
        if finding.statistic == "each" and finding.quantity == "luminance-error"
    )
    guard = NormalDist().inv_cdf(case.rule.decision.confidence)
    above = {
        requirement.above_black
        for requirement in case.rule.requirements
        if requirement.quantity == "luminance-error"
    }
    black = case.view.measured_black(index) if above == {True} else np.zeros(len(index))
    for place, patch in enumerate(neutrals):
        point = points.get(case.patches.place(patch))
        wanted = float(target[place])
        if point is not None and point.target is not None:
            wanted = point.target  # a requirement may have a scale of its own
        lifted = wanted - float(black[place])
        low, high, inner_low, inner_high = (
            None if error is None else wanted + lifted * error / 100
            for error in _errors(point, guard)
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
    """Limits of a luminance error in %, and the same narrowed by `guard` times its u."""
    if point is None or point.limits is None:
        return None, None, None, None
    low, high = point.limits.minimum, point.limits.maximum
    interval = point.interval
    if interval is None or isinstance(interval.low, tuple) or isinstance(interval.high, tuple):
        return low, high, None, None
    band = guard * (interval.high - interval.low) / (2 * EXPANDED)
    inner = None if low is None else low + band
    return low, high, inner, None if high is None else high - band


def _greys(case: MatchedReadings, neutrals: list[int]) -> Iterable[GreyPoint]:
    for index in neutrals:
        white = int(case.view.white[index])
        dark = case.view.xyz[index, 1] < case.chromaticity_floor
        if white == NOWHERE or dark:
            continue
        offset = spaces.xyz_to_uv(case.view.xyz[index]) - spaces.xyz_to_uv(case.view.xyz[white])
        target = float(targets.nominal_xyz(case.patches.signal[[index]], case.plan.model)[0, 1])
        yield GreyPoint(target, float(offset[0]), float(offset[1]))


# ---------------------------------------------------------------- gamut and white


def _measured_triangle(case: MatchedReadings) -> tuple[Pair, Pair, Pair] | None:
    """The triangle of the first set with red, green and blue, of hues or a list of codes."""
    for name in case.rule.sets:
        planned = {patch.name: patch for patch in case.plan.patches(name)}
        if not planned.keys() >= {"red", "green", "blue"}:
            continue
        measured = [case.matcher.find(planned[hue]) for hue in ("red", "green", "blue")]
        indices = [index for index in measured if index is not None]
        return _triangle(case.view.xyz[indices]) if len(indices) == 3 else None
    return None


def _measured_white(case: MatchedReadings) -> Pair | None:
    index = case.built_in("white")
    return None if index is None else _uv(case.view.xyz[index])


def _colour_points(case: MatchedReadings, colours: list[tuple[int, str]]) -> Iterable[ColourPoint]:
    for index, name in colours:
        target = case.view.target(np.array([index]))[0]
        yield ColourPoint(name, _uv(target), _uv(case.view.xyz[index]))


def _circle() -> Array:
    turn = np.linspace(0.0, 2 * np.pi, OUTLINE, endpoint=False)
    return np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _outline(points: Array) -> tuple[Pair, ...]:
    return tuple((float(u), float(v)) for u, v in points)


def _white_ellipse(white: Pair | None, covariance: Array | None) -> tuple[Pair, ...]:
    """The outline that contains the true white with 95 %."""
    if white is None or covariance is None:
        return ()
    sizes, axes = np.linalg.eigh(covariance)
    reach = np.sqrt(CHI_SQUARE * np.maximum(sizes, 0.0))
    return _outline(np.array(white) + (_circle() * reach) @ axes.T)


def _white_limit(
    case: MatchedReadings, findings: Sequence[Finding]
) -> tuple[tuple[Pair, ...], Verdict | None]:
    """The first shall limit on the white's distance from the target's: outline and verdict."""
    index = case.built_in("white")
    if index is None:
        return (), None
    white = case.patches.triple(index)
    references = {requirement.id: requirement.reference for requirement in case.rule.requirements}
    for finding in findings:
        quantity = QUANTITIES[finding.quantity]
        offset = quantity.pair or quantity.uv_scale is not None
        if offset and references[finding.id] == "target" and finding.level is Level.SHALL:
            point = next((point for point in finding.points if point.patch == white), None)
            if point is not None and point.limits is not None:
                return _limit_outline(case, quantity, point.limits), point.verdict
    return (), None


def _limit_outline(case: MatchedReadings, quantity: Quantity, limits: Limits) -> tuple[Pair, ...]:
    white = case.plan.model.white_xyz
    if limits.box is not None:
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * np.array(limits.box)
        return _outline(np.asarray(spaces.xy_to_uv(spaces.xyz_to_xy(white) + corners)))
    if limits.maximum is None:
        return ()
    size = limits.maximum / (quantity.uv_scale or 1.0)
    return _outline(spaces.xyz_to_uv(white) + size * _circle())


# ---------------------------------------------------------------- differences


def _limited(
    case: MatchedReadings, findings: Sequence[Finding]
) -> list[tuple[Requirement, Mapping[Place, Point]]]:
    """A requirement for each kind of distance that the rule limits, with the limited points."""
    graded = {finding.id: finding for finding in findings}
    ways: dict[tuple[str, str, bool], list[Requirement]] = {}
    for row in sorted(case.rule.requirements, key=lambda row: row.level is Level.SHOULD):
        if QUANTITIES[row.quantity].distance and row.statistic == "each" and row.id in graded:
            ways.setdefault((row.quantity, row.reference, row.ignore_luminance), []).append(row)
    return [(rows[0], _by_place(graded[row.id] for row in rows)) for rows in ways.values()]


def _grey_differences(
    case: MatchedReadings, neutrals: list[int], findings: Sequence[Finding]
) -> Iterable[Differences]:
    """Each distance that the rule limits for greys, of the points that count."""
    for requirement, limited in _limited(case, findings):
        points = [limited.get(case.patches.place(index)) for index in neutrals]
        counted = [point for point in points if point is not None and point.verdict is not None]
        if len(counted) > 1:
            name = QUANTITIES[requirement.quantity].symbol
            bars = tuple(_difference(point.name, point.value, point) for point in counted)
            yield Differences("greys", name, bars, requirement.reference == "white")


def _colour_differences(
    case: MatchedReadings, colours: list[tuple[int, str]], findings: Sequence[Finding]
) -> Iterable[Differences]:
    """The distance that the rule limits for most of the colours; a usual one if for none."""
    if not colours:
        return
    places = [case.patches.place(index) for index, _ in colours]
    roles = eligibility.roles_at([index for index, _ in colours])
    best, most = None, 0
    for requirement, limited in _limited(case, findings):
        count = sum(place in limited for place in places)
        if count > most:
            best, most = (requirement, limited), count
    if best is None:
        quantity = "delta-e-itp" if case.plan.model.curve in ("pq", "hlg") else "delta-e-2000"
        values = values_at(QUANTITIES[quantity], case.view, roles, Options())
        limited, white = {}, False
    else:
        requirement, limited = best
        quantity, white = requirement.quantity, requirement.reference == "white"
        values = eligibility.values_of(requirement, case.view, roles)
    bars = tuple(
        _difference(name, float(value), limited.get(place))
        for (_, name), place, value in zip(colours, places, values, strict=True)
    )
    yield Differences("colours", QUANTITIES[quantity].symbol, bars, white)


def _difference(name: str, value: object, point: Point | None) -> DifferencePoint:
    assert isinstance(value, float)
    limit = point.limits.maximum if point and point.limits else None
    bound = point.interval.high if point and point.interval else None
    return DifferencePoint(name, value, limit, bound if isinstance(bound, float) else None)
