"""From readings to likely causes: direct tests, then models of a display with faults."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.display import Display, shown, sound
from compliance.diagnosis.facts import Facts, gather, itp
from compliance.diagnosis.fit import Array, Chosen, applied, errors, loss
from compliance.diagnosis.limits import Limiter, find_limiter, tell_limiter
from compliance.diagnosis.search import Node, cost, price, search
from compliance.diagnosis.session import find_drift, find_unloaded, tell_drift, tell_unloaded
from compliance.diagnosis.table import FITTED
from compliance.diagnosis.told import Told
from compliance.grading.case import Case
from compliance.model import Cause, Finding, Readings, Triple, Verdict

__all__ = ["Diagnosis", "diagnose", "diagnosis_of"]

Place = tuple[Triple, str, float]
"""Codes, position and window of a patch."""
SEEN = 3.0
"""ΔE ITP by which a cause must change some patch."""
BADLY = 1.5
"""Loss above which, and above half of what there was, nothing fitted is told."""


class Diagnosis(NamedTuple):
    """What is likely wrong, and what a display that is so would show."""

    causes: tuple[Cause, ...]
    """The likeliest first."""
    expected: Array | None = None
    """(P, 3) XYZ in cd/m² of the case's patches, NaN where nothing is said; None: the target"""


def diagnosis_of(
    findings: Sequence[Finding], case: Case, readings: Readings, before: Readings | None
) -> Diagnosis:
    """Likely causes of the findings outside their limits; where none is, nothing is sought."""
    failed = [one for one in findings if one.verdict in OUTSIDE and one.points]
    if not failed:
        return Diagnosis(())
    found = diagnose(case, readings, before)
    limiter = find_limiter(case)
    if limiter is None or _matters(limiter, case, failed):
        return found
    return found._replace(causes=tuple(one for one in found.causes if one.kind != "limiter"))


OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


def _matters(limiter: Limiter, case: Case, failed: Sequence[Finding]) -> bool:
    """Whether something that failed was dimmed by a limiter."""
    if limiter.along == "seconds":
        timed = {one.id for one in case.rule.requirements if one.over and one.over.seconds}
        return any(one.id in timed for one in failed)
    if np.isfinite(limiter.cap):
        return True
    stimuli = case.patches.stimulus
    dimmed: set[Place] = {
        (case.patches.triple(index), stimuli[index].position, stimuli[index].window)
        for index in limiter.patches
    }
    judged = {(point.patch, point.position, point.window) for one in failed for point in one.points}
    return bool(dimmed & judged)


def diagnose(case: Case, readings: Readings, before: Readings | None = None) -> Diagnosis:
    """What is likely wrong with a display, whatever its verdict."""
    unloaded = find_unloaded(readings, before)
    first = [] if unloaded is None else [tell_unloaded(unloaded)]
    limiter = find_limiter(case)
    facts = gather(case)
    if facts is None:
        return Diagnosis((*first, *([] if limiter is None else [tell_limiter(limiter)])))
    found, light = _fitted(case, facts, limiter)
    expected = np.full((len(case.patches), 3), np.nan)
    expected[facts.patches] = light
    return Diagnosis((*first, *found), expected)


def _fitted(case: Case, facts: Facts, limiter: Limiter | None) -> tuple[list[Cause], Array]:
    """Causes told by models of a display, and the light of the one they make together."""
    drift = find_drift(case, facts)
    plain = sound(facts)
    start = plain
    if drift is not None:
        start = start._replace(ripple=drift.ripple)
    if limiter is not None and np.isfinite(limiter.cap):
        start = start._replace(cap=np.array([limiter.cap]))
    options = [option for row in FITTED.values() for option in row.options(facts)]
    node = search(facts, start, options)
    ranked: list[tuple[float, Cause]] = []
    if limiter is not None:
        gain = _worth(applied(start._replace(cap=plain.cap), node.chosen), node, facts)
        ranked.append((gain, tell_limiter(limiter)))
    if drift is not None:
        gain = _worth(applied(start._replace(ripple=plain.ripple), node.chosen), node, facts)
        ranked.append((gain, tell_drift(drift)))
    base = float(loss(plain, facts)[0])
    if node.loss <= max(BADLY, base / 2):
        ranked += _told(node, start, facts)
    ranked.sort(key=lambda each: -each[0])
    return [cause for _, cause in ranked], shown(applied(start, node.chosen), facts).xyz[0]


def _worth(without: Display, node: Node, facts: Facts) -> float:
    """What the loss falls by with the last part of the explanation."""
    return float(loss(without, facts)[0]) - node.loss


def _told(node: Node, start: Display, facts: Facts) -> list[tuple[float, Cause]]:
    """Each chosen option that is still worth its price beside the others, with its worth."""
    told = []
    whole = applied(start, node.chosen)
    error = float(errors(whole, facts)[0].mean())
    for one in node.chosen:
        tell = FITTED[one.option.cause].tell
        without = applied(start, _others(node.chosen, one))
        unseen = _difference(whole, without, facts) < SEEN
        if unseen and one.option.cause != "luminance":  # which is fitted to the white either way
            continue
        value = float(loss(without, facts)[0])
        if tell is None or cost(value) - cost(node.loss) < price(one):
            continue
        missing = float(errors(without, facts)[0].mean())
        told.append((value - node.loss, tell(Told(one, facts, whole, without, error, missing))))
    return told


def _difference(one: Display, other: Display, facts: Facts) -> float:
    """Largest ΔE ITP between two displays over the patches."""
    away = itp(shown(one, facts).xyz) - itp(shown(other, facts).xyz)
    return float(np.linalg.norm(away, axis=-1).max())


def _others(chosen: Sequence[Chosen], one: Chosen) -> list[Chosen]:
    return [each for each in chosen if each is not one]
