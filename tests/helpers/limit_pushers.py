"""A rule's ideal display pushed just past one limit after another.

`pushes` gives, for one requirement, the readings of the ideal display changed just so much that the
requirement is missed by 2 % of its limits' size: the luminance of one patch, the white of all, the
black, a primary, depending on the quantity. A quantity that is new to the library must be added
here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from compliance.colour.spaces import xy_to_xyz, xyz_to_xy
from compliance.grading.decide import margin
from compliance.grading.grade import evaluate
from compliance.grading.match import DeclaredFacts, match_readings
from compliance.model import Job, Limits, Point, Requirement, Rule
from helpers import shipped, simulated

Array = NDArray[np.float64]
Move = Callable[[float], Array]
"""Function from a distance to the XYZ (S, 3) of all readings; 0 is the ideal display."""

BEYOND = -0.02
"""Margin to stop at: past the limit by this share of the limits' size."""
CLOSE = 0.015
WHITES = (("white",), ("peak",))
PLAIN = ("luminance-error", "relative-luminance", "luminance")
LIT = ("delta-e-2000", "delta-e-uv", "delta-e-ab")
"""Differences that are pushed in lightness, which other limits may not see."""
COLOUR = ("chromaticity", "chromaticity-difference", "delta-uv-star", "delta-e-itp", *LIT)


@dataclass(frozen=True)
class Push:
    """Readings, or a job, that miss one limit."""

    name: str
    shown: list[simulated.Shown]
    job: Job


class Bench:
    """The ideal display of a rule, and its readings matched once for all pushes."""

    def __init__(self, rule: Rule, kind: str) -> None:
        self.rule, self.kind = rule, kind
        self.job = shipped.job(rule, kind)
        self.edges = shipped.edges(shipped.edge_share(rule, kind))
        self.black, self.white = shipped.black(rule, kind), shipped.white(rule)
        self.shown = [
            replace(one, patch=replace(one.patch, count=1))
            for one in self._ideal()
            for _ in range(one.patch.count)
        ]
        self.xyz = np.array([one.xyz for one in self.shown])
        stated = DeclaredFacts(kind, shipped.recorded(rule), shipped.declared(rule))
        self.case = match_readings(
            rule, simulated.readings(self.shown, rule.encoding), stated=stated
        )
        self._places = self.case.patches.order
        patches = zip(self._places, self.case.view.rows, strict=True)
        self.whites = {int(row) for row, patch in patches if patch in self.case.view.white}

    def _ideal(self, **how: object) -> list[simulated.Shown]:
        how = {"black": self.black, **how}
        if self.rule.target.curve != "pq":
            how.setdefault("white", self.white)
        fault = how.pop("fault", None)
        faults = [fault, self.edges] if fault else [self.edges]
        return shipped.ideal(self.rule, fault=simulated.in_turn(*faults), **how)  # type: ignore[arg-type]

    def another(self, **how: object) -> Array:
        """(S, 3) of another ideal display, repeats as in `shown`."""
        shown = self._ideal(**how)
        return np.array([one.xyz for one in shown for _ in range(one.patch.count)])

    def with_xyz(self, xyz: Array) -> list[simulated.Shown]:
        return [replace(one, xyz=row) for one, row in zip(self.shown, xyz, strict=True)]

    def margin(self, requirement: Requirement, xyz: Array) -> float:
        """The margin of the requirement's finding on other readings of the same patches."""
        ordered = xyz[self._places]
        view = self.case.view._replace(xyz=self.case.patches.mean(ordered), readings=ordered)
        finding = evaluate(requirement, replace(self.case, view=view))
        if finding.value is None or finding.limits is None:
            return float("inf")
        return margin(finding.value, finding.limits)

    def rows(self, requirement: Requirement, point: Point) -> list[int]:
        """Readings of a point of the requirement's finding."""
        over = requirement.over
        patterned = over is not None and over.pattern is not None
        return [
            row
            for row, one in enumerate(self.shown)
            if one.codes == point.patch
            and one.patch.position == point.position
            and one.patch.window == point.window
            and (one.patch.pattern == "checkerboard") is patterned
        ]


def pushes(bench: Bench, requirement: Requirement) -> Iterator[Push]:
    """The pushes of a requirement past each of its limits in turn."""
    if requirement.quantity in ("recorded", "declared"):
        yield from _stated(bench, requirement)
        return
    for name, move in _moves(bench, requirement):
        xyz = _just_past(bench, requirement, move, name)
        yield Push(name, bench.with_xyz(xyz), bench.job)


def _just_past(bench: Bench, requirement: Requirement, move: Move, name: str) -> Array:
    near, far = 0.0, 0.001
    while bench.margin(requirement, move(far)) > BEYOND:
        near, far = far, far * 1.7
        assert far < 20, f"{requirement.id}, {name}: no push takes it past its limit"
    for _ in range(30):
        middle = (near + far) / 2
        here = bench.margin(requirement, move(middle))
        if abs(here - BEYOND) < CLOSE and here < 0:
            return move(middle)
        near, far = (middle, far) if here > BEYOND else (near, middle)
    return move(far)


# ---------------------------------------------------------------- what moves


def _moves(bench: Bench, requirement: Requirement) -> Iterator[tuple[str, Move]]:
    quantity, over = requirement.quantity, requirement.over
    relative = bench.rule.target.curve != "pq"
    whole_screen = over is not None and over.pattern is None
    if quantity == "luminance" and over and over.patches == ("black",) and whole_screen:
        yield from _each_side(requirement.limits, lambda t: bench.another(black=_grown(bench, t)))
    elif quantity == "luminance" and over and over.patches in WHITES and relative and whole_screen:
        whole = _whole_white(bench)
        yield from _each_side(requirement.limits, whole)
    elif quantity == "contrast":
        yield "black up", lambda t: bench.another(black=_grown(bench, t))
    elif quantity == "fitted-exponent":
        yield from _each_side(requirement.limits, _exponent(bench))
    elif quantity == "gamut-coverage":
        yield "primaries towards white", _shrunk(bench)
    elif quantity == "non-uniformity":
        rows = [row for row, one in enumerate(bench.shown) if one.patch.position != "centre"]
        yield "one place down", lambda t: _scaled(bench, rows[-1:], -t)
    elif quantity == "stability":
        yield "one reading down", lambda t: _scaled(bench, _repeats(bench, requirement)[:1], -t)
    elif quantity == "slope-monotonicity":
        yield "one step up", _one_step_up(bench, requirement)
    elif requirement.statistic == "mean":
        yield "all a little darker", _all_darker(bench, requirement)
    elif quantity in PLAIN:
        for point in _one_of_each_limits(bench, requirement):
            rows = bench.rows(requirement, point)
            for side, move in _each_side(point.limits, _scaling(bench, rows)):
                yield f"{point.name} {point.position} {side}", move
    elif quantity in COLOUR:
        yield from _tints(bench, requirement)
    else:
        raise NotImplementedError(f"say in {__name__}.py how {quantity} is pushed past a limit")


def _each_side(limits: Limits | None, move: Move) -> Iterator[tuple[str, Move]]:
    assert limits is not None
    if limits.maximum is not None:
        yield "up", move
    if limits.minimum is not None:
        yield "down", lambda t: move(-t)


def _grown(bench: Bench, t: float) -> float:
    return bench.black * float(np.exp(t))


def _whole_white(bench: Bench) -> Move:
    return lambda t: bench.another(white=bench.white * float(np.exp(t)))


def _scaled(bench: Bench, rows: list[int], t: float) -> Array:
    xyz = bench.xyz.copy()
    xyz[rows] *= np.exp(t)
    return xyz


def _darker(bench: Bench, rows: list[int]) -> Move:
    return lambda t: _scaled(bench, rows, -t)


def _scaling(bench: Bench, rows: list[int]) -> Move:
    return lambda t: _scaled(bench, rows, t)


def _repeats(bench: Bench, requirement: Requirement) -> list[int]:
    (point, *_) = evaluate(requirement, bench.case).points
    return bench.rows(requirement, point)


def _one_step_up(bench: Bench, requirement: Requirement) -> Move:
    """The darkest step but one of a ramp brighter: of its luminance there is only a should."""
    points = sorted(evaluate(requirement, bench.case).points, key=lambda each: each.patch)
    return _scaling(bench, bench.rows(requirement, points[1]))


def _all_darker(bench: Bench, requirement: Requirement) -> Move:
    """All that a mean is of but white, which the target may be scaled to."""
    points = evaluate(requirement, bench.case).points
    rows = [row for point in points for row in bench.rows(requirement, point)]
    return _darker(bench, [row for row in rows if row not in bench.whites])


def _exponent(bench: Bench) -> Move:
    target = bench.rule.target

    def move(t: float) -> Array:
        share = float(np.exp(t))
        if target.system_gamma is not None:
            other = replace(target, system_gamma=target.system_gamma * share)
        else:
            other = replace(target, exponent=(target.exponent or 2.4) * share)
        return bench.another(wrong_target=other)

    return move


def _shrunk(bench: Bench) -> Move:
    white = np.array(bench.rule.target.white)

    def move(t: float) -> Array:
        primaries = [one + min(t, 0.9) * (white - one) for one in bench.rule.target.primaries]
        return bench.another(
            fault=shipped.other_primaries(tuple(map(tuple, primaries)), bench.rule)
        )

    return move


def _one_of_each_limits(bench: Bench, requirement: Requirement) -> Iterator[Point]:
    """A point in the middle of those that share limits; of named patches each."""
    groups: dict[object, list[Point]] = {}
    for point in evaluate(requirement, bench.case).points:
        if point.verdict is not None:
            key = point.name if requirement.by_patch else point.limits
            groups.setdefault(key, []).append(point)
    for points in groups.values():
        points.sort(key=lambda point: point.target or 0.0)
        yield points[len(points) // 2]


# ---------------------------------------------------------------- colours


def _tints(bench: Bench, requirement: Requirement) -> Iterator[tuple[str, Move]]:
    over = requirement.over
    relative = bench.rule.target.curve != "pq"
    if over and over.patches in WHITES and relative and not over.position:
        for name, way in _ways(requirement):
            yield f"white {name}", _another_white(bench, way)
        return
    for point in _one_of_each_limits(bench, requirement):
        rows = bench.rows(requirement, point)
        if requirement.quantity in LIT:
            yield f"{point.name} darker", _darker(bench, rows)
            continue
        place = f"{point.name} {point.position}"
        inwards = np.array(bench.rule.target.white) - xyz_to_xy(bench.xyz[rows[0]])
        if np.abs(inwards).max() > 0.02:
            # A saturated colour has not room on every side.
            way = 0.01 * inwards / np.abs(inwards).max()
            yield f"{place} towards white", _tint(bench, rows, way)
            continue
        for name, way in _ways(requirement):
            yield f"{place} {name}", _tint(bench, rows, way)


def _ways(requirement: Requirement) -> Iterator[tuple[str, Array]]:
    yield "x up", np.array([0.01, 0.0])
    if requirement.quantity == "chromaticity":
        yield "x down", np.array([-0.01, 0.0])
        yield "y up", np.array([0.0, 0.01])
        yield "y down", np.array([0.0, -0.01])


def _another_white(bench: Bench, way: Array) -> Move:
    def move(t: float) -> Array:
        x, y = np.array(bench.rule.target.white) + t * way
        return bench.another(fault=shipped.tinted((float(x), float(y)), bench.rule))

    return move


def _tint(bench: Bench, rows: list[int], way: Array) -> Move:
    """The same luminance in another chromaticity."""

    def move(t: float) -> Array:
        xyz = bench.xyz.copy()
        xyz[rows] = xy_to_xyz(xyz_to_xy(xyz[rows]) + t * way, xyz[rows, 1])
        return xyz

    return move


# ---------------------------------------------------------------- what the job says


def _stated(bench: Bench, requirement: Requirement) -> Iterator[Push]:
    limits = requirement.limits
    assert limits is not None
    for end, sign in ((limits.minimum, -1), (limits.maximum, 1)):
        if end is None:
            continue
        value = end + sign * (0.02 * abs(end) or 0.02)
        says, declares = shipped.recorded(bench.rule), shipped.declared(bench.rule)
        if requirement.field:
            says[requirement.field] = value
        else:
            declares[requirement.declaration or ""] = value
        job = shipped.job(bench.rule, bench.kind, says=says, declares=declares)
        yield Push("down" if sign < 0 else "up", bench.shown, job)
