"""Which requirements a cause explains: readings without it are graded again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.fitting import Array
from compliance.diagnosis.inputs import Inputs
from compliance.grading.decide import OUTSIDE
from compliance.grading.grade import evaluate
from compliance.grading.match import MatchedReadings
from compliance.model import Explained, Finding, Limits, Requirement, Value
from compliance.quantities.catalogue import QUANTITIES

HALF = 0.5
"""Share of a value's distance outside its limits that may be left without the cause."""
NORMAL = 1.96 / 1.645
"""Two-sided over one-sided coverage factor for 95 % of a normal distribution."""
NO_LIGHT = 1e-6
"""cd/m²"""


class Counterfactual(NamedTuple):
    """Changes of the readings' light, (R, 3) XYZ in cd/m² in canonical order."""

    without: Array
    """Without the cause, with the others."""
    alone: Array
    """With the cause, without the others."""
    none: Array
    """Without any of them."""


class Missed(NamedTuple):
    """A requirement with its finding, which is outside its limits."""

    requirement: Requirement
    finding: Finding


def missed(case: MatchedReadings, findings: Sequence[Finding]) -> tuple[Missed, ...]:
    """The measured requirements that are outside their limits."""
    rows = {row.id: row for row in case.rule.requirements}
    return tuple(
        Missed(rows[finding.id], finding)
        for finding in findings
        if finding.verdict in OUTSIDE and finding.points
    )


def explained_by(
    undone: Counterfactual | None, outside: Sequence[Missed], case: MatchedReadings
) -> tuple[Explained, ...]:
    """The requirements that a cause explains, with their values without it.

    Without the cause, or without it and the others together, a value is inside its limits or not
    half as far outside, and moves by more than its expanded uncertainty. Of a cause that is
    known only from readings before and after (None) it is every calibrated quantity, without a
    value.
    """
    if undone is None:
        return tuple(
            Explained(finding.id, finding.level, finding.value, None)
            for _, finding in outside
            if finding.value is not None and QUANTITIES[finding.quantity].calibrated
        )
    freed = corrected(case, undone.without)
    found, others = [], None
    for requirement, finding in outside:
        expanded = expanded_uncertainty(finding)
        after = evaluate(requirement, freed)
        together = not bettered(finding, after, expanded)
        if together:
            others = others or (corrected(case, undone.alone), corrected(case, undone.none))
            before, after = (evaluate(requirement, other) for other in others)
            if not bettered(before, after, expanded):
                continue
        assert finding.value is not None
        inside = after.verdict not in OUTSIDE
        found.append(
            Explained(finding.id, finding.level, finding.value, after.value, together, inside)
        )
    return tuple(found)


def bettered(before: Finding, after: Finding, expanded: float) -> bool:
    """Whether a value outside comes inside or half way there, by more than `expanded`."""
    if before.verdict not in OUTSIDE or before.value is None or after.value is None:
        return False
    if not _moved(before.value, after.value) > expanded:
        return False
    return after.verdict not in OUTSIDE or _excess(after) <= HALF * _excess(before)


def expanded_uncertainty(finding: Finding) -> float:
    """U of a finding's value in its unit, k = 2, from its interval; 0 if it is not known."""
    interval, value = finding.interval, finding.value
    if interval is None or value is None:
        return 0.0
    low, high, own = (np.atleast_1d(each) for each in (interval.low, interval.high, value))
    half = (high - low) / 2 if interval.sided == 2 else NORMAL * (high - own)
    return float(np.max(half, initial=0.0))


def _moved(value: Value, other: Value) -> float:
    return float(np.max(np.abs(np.subtract(value, other))))


def _excess(finding: Finding) -> float:
    """The value's distance outside its limits, in its unit."""
    if finding.limits is None or finding.value is None:
        return np.inf
    return _beyond(finding.value, finding.limits)


def _beyond(value: Value, limits: Limits) -> float:
    if isinstance(value, tuple):
        assert limits.box is not None
        return max(abs(offset) - half for offset, half in zip(value, limits.box, strict=True))
    return float(max(limits.low - value, value - limits.high, 0.0))


# ---------------------------------------------------------------- readings without a cause


def corrected(case: MatchedReadings, change: Array) -> MatchedReadings:
    """The case with changes (R, 3) of its readings."""
    readings = np.maximum(case.view.readings + change, 0.0)
    return case.with_readings(readings)


def change_between(light: Array, then: Array, case: MatchedReadings, inputs: Inputs) -> Array:
    """(R, 3) change of the readings if the inputs' patches change from one light to another, both
    (P, 3). The same codes at another place or window change by the same share."""
    read = case.view.xyz
    change = np.zeros_like(read)
    known = inputs.patches
    change[known] = then - light
    shares = change[known] / np.maximum(read[known], NO_LIGHT)
    share = {
        case.patches.triple(patch): own for patch, own in zip(known.tolist(), shares, strict=True)
    }
    for patch in set(range(len(read))).difference(known.tolist()):
        change[patch] = read[patch] * share.get(case.patches.triple(patch), 0.0)
    return np.asarray(change[case.patches.rows])


def scaled_back(light: Array, shares: Mapping[int, float], case: MatchedReadings) -> Array:
    """(R, 3) change of light (R, 3) if each of these patches had it divided by its share."""
    change = np.zeros_like(light)
    for patch, share in shares.items():
        rows = case.patches.readings_of(patch)
        change[rows] = light[rows] * (1 / share - 1)
    return change
