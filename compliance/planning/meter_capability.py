"""Can this meter prove this rule? Answered before anything is measured.

A display that is exactly the rule's target is drawn with the meter's uncertainty. The scatter
of each requirement is then compared with its limits:
two-sided limits by C_m = (TU − TL)/(2U) (JCGM 106:2012, 7.6.3), distances by the limit
over the 95 % quantile of a perfect display, other one-sided limits by
the guard band against the limit itself, or against the room below a perfect display.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from compliance.grading import eligibility
from compliance.grading.grade import grade
from compliance.grading.match import DeclaredFacts, MatchedReadings, match_readings
from compliance.grading.measurement_model import Draws
from compliance.grading.monte_carlo import sample_requirements, silent_keys
from compliance.grading.rule_size import check_moved
from compliance.grading.samples import Graded, SampleCounts, nearest_alone
from compliance.model import (
    Encoding,
    Level,
    Limits,
    Meter,
    Readings,
    Requirement,
    Rule,
    Statement,
    Uncertainty,
)
from compliance.model.results import Adequacy, Capability
from compliance.planning.stimuli import ideal_readings, moves_display, readings_at_limit
from compliance.quantities.catalogue import QUANTITIES, is_stated

Array = NDArray[np.float64]

ADEQUATE, MARGINAL = 3.0, 1.0
DRAWS, SEED = 4000, 0
EXPANDED = 2.0
DARK = 5000.0
"""White over black of the ideal display, if the rule has no limit on its black."""


def capability(
    rule: Rule, meter: Meter, encoding: Encoding | None = None
) -> tuple[Capability, ...]:
    """One row for each requirement that needs readings.

    Raises ValueError if the meter's file states no uncertainty of luminance, RuleError if the
    rule has too many limits.
    """
    return tuple(_rows(rule, meter, encoding or rule.encoding, frozenset(Level)))


@lru_cache(maxsize=64)
def inadequate(rule: Rule, meter: Meter, encoding: Encoding) -> tuple[Requirement, ...]:
    """The shall requirements that a meter cannot prove; none if it states no uncertainty."""
    if meter.uncertainty is None or not meter.uncertainty.luminance:
        return ()
    rows = _rows(rule, meter, encoding, {Level.SHALL})
    return tuple(row.requirement for row in rows if row.adequacy is Adequacy.INADEQUATE)


def _rows(
    rule: Rule, meter: Meter, encoding: Encoding, levels: Container[Level]
) -> Iterator[Capability]:
    """The rows of some levels; draws include all levels, so that each row stays the same.

    Raises ValueError if the meter's file states no uncertainty of luminance.
    """
    uncertainty = meter.uncertainty
    if uncertainty is None or not uncertainty.luminance:
        raise ValueError("the meter's file states no measurement uncertainty")
    readings = ideal_readings(rule, encoding, _black(rule))
    bench = _Bench(rule, meter, uncertainty, readings)
    taking = [
        requirement for requirement in rule.requirements if not is_stated(requirement.quantity)
    ]
    for graded, tallies in zip(*bench.drawn(taking, levels), strict=True):
        if graded.requirement.level in levels:
            yield _row(bench, graded, tallies)


def _black(rule: Rule) -> float:
    """Half of the rule's limit, so that the ideal display is well inside."""
    allowed = [
        requirement.limits.maximum
        for requirement in rule.requirements
        if requirement.quantity == "luminance"
        and requirement.over is not None
        and requirement.over.patches == ("black",)
        and requirement.over.pattern != "checkerboard"
        and requirement.limits is not None
        and requirement.limits.maximum is not None
    ]
    return min(allowed) / 2 if allowed else rule.target.luminance_white / DARK


@dataclass(frozen=True)
class _Bench:
    """A rule, a meter and the ideal display's readings."""

    rule: Rule
    meter: Meter
    uncertainty: Uncertainty
    ideal: Readings

    def drawn(
        self, requirements: Sequence[Requirement], levels: Container[Level]
    ) -> tuple[list[Graded], list[list[SampleCounts]]]:
        """Requirements graded on the ideal display, and the counts of their draws."""
        grades, tallies = [], []
        for displays in dict.fromkeys(requirement.displays for requirement in requirements):
            chosen = [
                requirement for requirement in requirements if requirement.displays == displays
            ]
            case = _shown_on(self._ideal_case, displays)
            some = [grade(requirement, case) for requirement in chosen]
            grades += some
            tallies += self._sampled(some, case, levels)
        order = [requirements.index(graded.requirement) for graded in grades]
        places = sorted(range(len(order)), key=order.__getitem__)
        return [grades[i] for i in places], [tallies[i] for i in places]

    def _sampled(
        self, grades: Sequence[Graded], case: MatchedReadings, levels: Container[Level]
    ) -> list[list[SampleCounts]]:
        return sample_requirements(
            grades,
            case,
            self.uncertainty,
            count=DRAWS,
            seed=SEED,
            own_scatter=False,
            levels=levels,
        )

    def silent_keys(self, graded: Graded) -> tuple[str, ...]:
        """Keys that the meter's file lacks for a requirement on the ideal display."""
        return silent_keys(graded, self._single_draw)

    @cached_property
    def _ideal_case(self) -> MatchedReadings:
        return match_readings(self.rule, self.ideal, meter=self.meter)

    @cached_property
    def _single_draw(self) -> Draws:
        return Draws(self._ideal_case, self.uncertainty, count=1, seed=SEED, own_scatter=False)

    def at_limit(self, requirement: Requirement, limit: float, ideal: SampleCounts) -> Array:
        """Drawn values of a display with a value on a one-sided limit; none if unreadable.

        All values of a requirement with that limit share them. `ideal` are those of the ideal
        display, if that is taken.
        """
        if not moves_display(QUANTITIES[requirement.quantity]):
            return ideal.samples(ideal.worst)[:, 0]
        key = requirement.id, limit
        if key not in self._at_limits:
            check_moved(self.rule, (len(self._at_limits) + 1) * len(self.ideal.codes))
            self._at_limits[key] = self._drawn_at(requirement, limit)
        return self._at_limits[key]

    @cached_property
    def _at_limits(self) -> dict[tuple[str, float], Array]:
        return {}

    def _drawn_at(self, requirement: Requirement, limit: float) -> Array:
        readings = readings_at_limit(requirement, self.ideal, self.rule, limit)
        matched = match_readings(self.rule, readings, meter=self.meter)
        case = _shown_on(matched, requirement.displays)
        graded = nearest_alone(grade(requirement, case))
        (tallies,) = self._sampled([graded], case, frozenset(Level))
        return tallies[0].samples(tallies[0].worst)[:, 0] if tallies else np.empty(0)


def _shown_on(case: MatchedReadings, displays: str | None) -> MatchedReadings:
    """The case on a display of the kind for which a requirement is."""
    technology = {"projector": "projector", "direct-view": "lcd"}
    return replace(case, stated=DeclaredFacts(technology.get(displays or "")))


def _row(bench: _Bench, graded: Graded, tallies: Sequence[SampleCounts]) -> Capability:
    requirement = graded.requirement
    row = Capability(
        requirement=requirement,
        unit=QUANTITIES[requirement.quantity].unit,
        adequacy=Adequacy.INADEQUATE,
        ratio=None,
        uncertainty=None,
        needed=None,
        place=None,
    )
    question = graded.question
    if question is None:
        return replace(row, why=graded.finding.note or Statement("patches-unreadable"))
    unseen = [
        patch.name
        for patch in graded.finding.not_judged
        if patch.why.kind in eligibility.METER_LIMITED
    ]
    if unseen:
        return replace(row, why=Statement("patches-below-meter", {"names": tuple(unseen)}))
    keys = bench.silent_keys(graded)
    if keys:
        why = Statement("certificate-silent", {"keys": keys})
        return replace(row, adequacy=Adequacy.UNKNOWN, why=why)
    rows = [
        _place(bench, row, graded, tally, place, tallies[0])
        for tally in tallies
        for place in range(len(question.limits))
    ]
    return min(rows, key=lambda row: math.inf if row.ratio is None else row.ratio)


def _place(
    bench: _Bench,
    row: Capability,
    graded: Graded,
    tally: SampleCounts,
    place: int,
    ideal: SampleCounts,
) -> Capability:
    """One value of a requirement against its limits; `ideal`: the counts of the first tally."""
    question = tally.question
    limits = question.limits[place]
    if len(question.places) > 1:
        row = replace(row, place=graded.finding.points[question.places[place]].name)
    samples = tally.samples(place)
    if not len(samples):
        return replace(row, why=Statement("draws-give-no-number"))
    if limits.box is not None:
        half = _half_interval(samples)
        axis = int(np.argmin(np.array(limits.box) / half))
        return _rated(row, limits.box[axis], float(half[axis]))
    if limits.minimum is not None and limits.maximum is not None:
        width = (limits.maximum - limits.minimum) / 2
        return _rated(row, width, float(_half_interval(samples)[0]))
    if question.one_sided:
        return _rated(row, limits.maximum or 0.0, float(np.quantile(samples[:, 0], 0.95)))
    return _guarded(bench, row, limits, ideal)


def _half_interval(samples: Array) -> Array:
    """Half the width of the 95 % interval, per coordinate: U of JCGM 100, 6.2."""
    low, high = np.quantile(samples, (0.025, 0.975), axis=0)
    return np.asarray((high - low) / 2)


def _rated(row: Capability, room: float, uncertainty: float) -> Capability:
    """The row, rated adequate if the room for a value is three times its uncertainty."""
    ratio = math.inf if uncertainty == 0 else room / uncertainty
    adequacy = Adequacy.INADEQUATE
    if ratio >= MARGINAL:
        adequacy = Adequacy.ADEQUATE if ratio >= ADEQUATE else Adequacy.MARGINAL
    return replace(
        row, adequacy=adequacy, ratio=ratio, uncertainty=uncertainty, needed=room / ADEQUATE
    )


def _guarded(bench: _Bench, row: Capability, limits: Limits, ideal: SampleCounts) -> Capability:
    """The row of a one-sided limit T, rated by its guard band; T ∓ z·u(T) must be readable."""
    limit = limits.maximum if limits.minimum is None else limits.minimum
    if not limit:
        return replace(row, adequacy=Adequacy.NOT_RATED, why=Statement("limit-zero"))
    requirement, lowest = row.requirement, bench.meter.lowest
    quantity = QUANTITIES[requirement.quantity]
    samples = bench.at_limit(requirement, limit, ideal)
    if not len(samples):
        return replace(row, why=Statement("limit-unreadable", {"lowest": lowest}))
    u = float(samples.std())
    z = NormalDist().inv_cdf(bench.rule.decision.confidence)
    room = abs(limit)
    if limits.maximum is None:
        room = abs(quantity.ceiling - limit)
    row = _rated(row, room, z * u)
    row = replace(row, uncertainty=EXPANDED * u, needed=EXPANDED * room / ADEQUATE / z)
    if quantity.reading and limits.minimum is None and limit - z * u < lowest:
        why = Statement("guarded-limit-below-meter", {"level": limit - z * u})
        return replace(row, why=why, adequacy=Adequacy.INADEQUATE)
    return row
