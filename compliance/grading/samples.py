"""A requirement graded on the measured values, and the counts of its draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from compliance.grading.decide import OUTSIDE, inside, margin, statement, worst
from compliance.grading.eligibility import limited_by_meter
from compliance.model import (
    Finding,
    Interval,
    Limits,
    Point,
    Reason,
    Requirement,
    Statement,
    Value,
    Verdict,
)
from compliance.quantities.measured import Measured

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

COVERAGE = 0.95
"""Of every interval."""

MOST_INTERVALS = 500
"""With more points in a finding, only the worst has an interval."""


@dataclass(frozen=True)
class SampledQuantity:
    """The quantity to compute from each draw of the readings."""

    values: Callable[[Measured], Array]
    """Drawn view to values (draws, n) or (draws, n, 2)"""
    limits: tuple[Limits, ...]
    """Of each of the n values"""
    places: tuple[int, ...]
    """The point of the finding for each value; empty if there is one value of all points"""
    one_sided: bool
    """The value is a distance: its interval begins at 0"""
    conforms: Callable[[Measured], Flags] | None = None
    """(draws, n) conformity, if it is not decided by the values"""


@dataclass(frozen=True)
class Graded:
    """A finding on the measured values alone, and the quantity to sample for its probability."""

    requirement: Requirement
    finding: Finding
    question: SampledQuantity | None = None
    """None if nothing can be sampled: probability stays null."""
    patches: tuple[int, ...] = ()
    """Patches in use, without their whites and blacks."""
    single_readings: bool = False
    """The quantity needs readings before averaging."""


@dataclass
class SampleCounts:
    """Values and counts of the draws, gathered chunk by chunk."""

    question: SampledQuantity
    worst: int
    """Place of the value with the least margin"""
    known: tuple[bool, ...]
    """Of each value, whether the meter's file states all that its probability needs"""
    draws: int = 0
    joint: int = 0
    inside: Array | None = None
    kept: list[Array] = field(default_factory=list)

    def add(self, view: Measured) -> None:
        """Count one chunk of draws."""
        values = self.question.values(view)
        conforms = self.question.conforms
        within = conforms(view) if conforms else _within(values, self.question.limits)
        counted = within.sum(axis=0).astype(np.float64)
        self.inside = counted if self.inside is None else self.inside + counted
        self.joint += int(within.all(axis=1).sum())
        self.draws += len(values)
        self.kept.append(values if self._keeps_all else values[:, [self.worst]])

    @property
    def _keeps_all(self) -> bool:
        return len(self.question.limits) <= MOST_INTERVALS

    def probability(self, place: int) -> float:
        """Share of draws with a conforming value."""
        counted = 0.0 if self.inside is None else float(self.inside[place])
        return counted / self.draws

    def samples(self, place: int) -> Array:
        """(draws, 1) or (draws, 2) drawn values that are numbers; none if they were not kept."""
        if not self._keeps_all and place != self.worst:
            return np.empty((0, 1))
        column = place if self._keeps_all else 0
        values = np.concatenate([chunk[:, column] for chunk in self.kept])
        flat = values.reshape(len(values), -1)
        return np.asarray(flat[np.isfinite(flat).all(axis=1)])

    def interval(self, place: int) -> Interval | None:
        """Coverage interval of a value, without the draws that give no number."""
        flat = self.samples(place)
        if not len(flat):
            return None
        sided = 1 if self.question.one_sided else 2
        tail = (1 - COVERAGE) / sided
        high = np.quantile(flat, 1 - tail, axis=0)
        low = np.zeros_like(high) if sided == 1 else np.quantile(flat, tail, axis=0)
        return Interval(_value(low), _value(high), COVERAGE, sided)


def _within(values: Array, limits: Sequence[Limits]) -> Flags:
    """(draws, n): inside the limits, both coordinates of a box in the same draw."""
    if values.ndim == 2 and not any(own.box or own.exclusive for own in limits):
        low, high = (np.array([getattr(own, end) for own in limits]) for end in ("low", "high"))
        return np.asarray((values >= low) & (values <= high))
    result = np.empty(values.shape[:2], dtype=np.bool_)
    for place, own in enumerate(limits):
        result[:, place] = _inside_one(values[:, place], own)
    return result


def _inside_one(values: Array, limits: Limits) -> Flags:
    if values.ndim == 2:
        within = np.abs(values) <= np.array(limits.box or (0.0, 0.0))
        return np.asarray(within.all(axis=1))
    if limits.exclusive:
        return np.asarray((values > limits.low) & (values < limits.high))
    return np.asarray((values >= limits.low) & (values <= limits.high))


def _value(values: Array) -> Value:
    if len(values) == 2:
        return float(values[0]), float(values[1])
    return float(values[0])


# ------------------------------------------------------------ from tallies to findings


def apply_samples(graded: Graded, tallies: Sequence[SampleCounts], confidence: float) -> Finding:
    """The finding with the result of the draws; of several tallies the least favourable counts.

    There are several if the correlation of x and y is not known.
    """
    question = graded.question
    if question is None or not tallies:
        return graded.finding
    if not question.places:
        return _settled_whole(graded.finding, tallies, confidence)
    points = list(graded.finding.points)
    known = tallies[0].known
    for place, index in enumerate(question.places):
        if known[place]:
            points[index] = _settled_point(points[index], tallies, place, confidence)
    finding = decided_by_points(replace(graded.finding, points=tuple(points)))
    joint = min(tally.joint / tally.draws for tally in tallies)
    return replace(finding, joint=joint if all(known) else None)


def _least(tallies: Sequence[SampleCounts], place: int) -> SampleCounts:
    return min(tallies, key=lambda tally: tally.probability(place))


def _settled_point(
    point: Point, tallies: Sequence[SampleCounts], place: int, confidence: float
) -> Point:
    tally = _least(tallies, place)
    probability = tally.probability(place)
    verdict = point.verdict
    if verdict is not None and point.value is not None and point.limits is not None:
        verdict = statement(inside(point.value, point.limits), probability, confidence)
    return replace(point, interval=tally.interval(place), probability=probability, verdict=verdict)


def _settled_whole(finding: Finding, tallies: Sequence[SampleCounts], confidence: float) -> Finding:
    tally = _least(tallies, 0)
    probability = tally.probability(0)
    verdict = finding.verdict
    if verdict is not Verdict.NOT_ASSESSED and finding.value is not None and finding.limits:
        verdict = statement(inside(finding.value, finding.limits), probability, confidence)
    return replace(finding, interval=tally.interval(0), probability=probability, verdict=verdict)


def decided_by_points(finding: Finding) -> Finding:
    """A finding of `each` from its points: the value with the least margin, the worst verdict."""
    counted = [point for point in finding.points if point.verdict is not None]
    if not counted:
        reason = Reason.MISSING_READINGS if finding.missing else Reason.METER
        note = Statement("zero-by-construction") if finding.points else None
        return replace(finding, verdict=Verdict.NOT_ASSESSED, reason=reason, note=note)
    nearest = counted[nearest_of(counted)]
    probabilities = [point.probability for point in counted if point.probability is not None]
    decided = replace(
        finding,
        value=nearest.value,
        limits=nearest.limits,
        interval=nearest.interval,
        probability=min(probabilities, default=None),
        verdict=worst(point.verdict for point in counted if point.verdict),
        reason=None,
    )
    if decided.verdict in OUTSIDE:
        return decided
    if finding.missing:
        return replace(decided, verdict=Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS)
    if limited_by_meter(finding.not_judged):
        return replace(decided, verdict=Verdict.NOT_ASSESSED, reason=Reason.METER)
    return decided


def nearest_of(points: Sequence[Point]) -> int:
    """Place of the point with the least margin; of equal ones the first in canonical order."""
    margins = [margin(point.value or 0.0, point.limits or Limits()) for point in points]
    return min(range(len(points)), key=margins.__getitem__)


def nearest_alone(graded: Graded) -> Graded:
    """Of a finding with a value for each point, that with the least margin alone."""
    question = graded.question
    if question is None or not question.places:
        return graded
    worst = nearest_of([graded.finding.points[place] for place in question.places])
    place = question.places[worst]
    alone = replace(
        question,
        values=lambda view: question.values(view)[:, [worst]],
        limits=(question.limits[worst],),
        places=(0,),
    )
    finding = replace(graded.finding, points=(graded.finding.points[place],))
    return replace(graded, finding=finding, question=alone, patches=(graded.patches[place],))
