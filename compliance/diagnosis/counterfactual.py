"""Whether a cause bears on what failed: the readings as they would be without it, graded again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.fitting import Array
from compliance.diagnosis.inputs import Inputs
from compliance.grading.decide import OUTSIDE
from compliance.grading.grade import evaluate
from compliance.grading.match import MatchedReadings
from compliance.model import Finding, Limits, Requirement, Value
from compliance.quantities.measured import NOWHERE

BETTER = 0.1
"""Share of what a value lies outside its limits by which it must come nearer."""
DARK = 1e-6
"""cd/m²"""


class Counterfactual(NamedTuple):
    """Changes of the readings' light, (R, 3) XYZ in cd/m² in canonical order."""

    without: Array
    """The cause is gone, the others stay."""
    alone: Array
    """All others are gone."""
    none: Array
    """All of them are gone."""


def explains_failure(
    undone: Counterfactual, failed: Sequence[Requirement], case: MatchedReadings
) -> bool:
    """Whether one of the requirements comes nearer to its limits without the cause: beside the
    others, or once they are gone."""
    ways = (
        (case, corrected(case, undone.without)),
        (corrected(case, undone.alone), corrected(case, undone.none)),
    )
    return any(
        _bettered(evaluate(requirement, before), evaluate(requirement, after))
        for before, after in ways
        for requirement in failed
    )


def corrected(case: MatchedReadings, change: Array) -> MatchedReadings:
    """The case with changes (R, 3) of its readings."""
    readings = np.maximum(case.view.readings + change, 0.0)
    xyz, black = case.patches.mean(readings), case.view.black
    unseen = (black != NOWHERE) & (xyz[black, 1] < case.lowest)
    view = case.view._replace(readings=readings, xyz=xyz, black_is_zero=unseen)
    return replace(case, view=view)


def change_between(light: Array, then: Array, case: MatchedReadings, inputs: Inputs) -> Array:
    """(R, 3) change of the readings where the inputs' patches go from one light to another, both
    (P, 3). The same codes at another place or window change by the same share."""
    read = case.view.xyz
    change = np.zeros_like(read)
    share = {}
    for place, patch in enumerate(inputs.patches):
        change[patch] = then[place] - light[place]
        share[case.patches.triple(int(patch))] = change[patch] / np.maximum(read[patch], DARK)
    known = set(inputs.patches.tolist())
    for patch in range(len(read)):
        if patch not in known:
            change[patch] = read[patch] * share.get(case.patches.triple(patch), 0.0)
    return np.asarray(change[case.patches.rows])


def _bettered(before: Finding, after: Finding) -> bool:
    if before.verdict not in OUTSIDE:
        return False
    if after.verdict not in OUTSIDE:
        return after.value is not None
    if _missed(after) < _missed(before):
        return True
    return _excess(after) < (1 - BETTER) * _excess(before)


def _missed(finding: Finding) -> int:
    return sum(point.verdict in OUTSIDE for point in finding.points)


def _excess(finding: Finding) -> float:
    """How far the value lies outside its limits, in its unit."""
    if finding.limits is None or finding.value is None:
        return np.inf
    return _beyond(finding.value, finding.limits)


def _beyond(value: Value, limits: Limits) -> float:
    if isinstance(value, tuple):
        assert limits.box is not None
        return max(abs(offset) - half for offset, half in zip(value, limits.box, strict=True))
    return float(max(limits.low - value, value - limits.high, 0.0))
