"""From readings to likely causes: direct tests, then models of a display with faults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from compliance.diagnosis.display import Display, shown, sound
from compliance.diagnosis.facts import Facts, gather, itp
from compliance.diagnosis.fit import Chosen, applied, errors, loss
from compliance.diagnosis.limits import Limiter, find_limiter, tell_limiter
from compliance.diagnosis.search import Node, cost, price, search
from compliance.diagnosis.session import find_drift, find_unloaded, tell_drift, tell_unloaded
from compliance.diagnosis.table import FITTED
from compliance.diagnosis.told import Told
from compliance.grading.case import Case
from compliance.model import Cause, Finding, Readings, Triple, Verdict

__all__ = ["causes_of", "diagnose"]

Place = tuple[Triple, str, float]
"""Codes, position and window of a patch."""
SEEN = 3.0
"""ΔE ITP by which a cause must change some patch."""
BADLY = 1.5
"""Loss above which, and above half of what there was, nothing fitted is told."""


def causes_of(
    findings: Sequence[Finding], case: Case, readings: Readings, before: Readings | None
) -> tuple[Cause, ...]:
    """Likely causes of the findings outside their limits, the likeliest first; of none, none."""
    touched: set[Place] = {
        (point.patch, point.position, point.window)
        for one in findings
        if one.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
        for point in one.points
    }
    if not touched:
        return ()
    found = diagnose(case, readings, before)
    return tuple(one for one in found if _matters(one, case, touched))


def _matters(cause: Cause, case: Case, patches: set[Place]) -> bool:
    """A limiter is no cause where nothing that failed was dimmed by it."""
    if cause.kind != "limiter":
        return True
    limiter = find_limiter(case)
    if limiter is None or np.isfinite(limiter.cap):
        return True
    stimuli = case.patches.stimulus
    dimmed = {
        (case.patches.triple(index), stimuli[index].position, stimuli[index].window)
        for index in limiter.patches
    }
    return bool(dimmed & patches)


def diagnose(case: Case, readings: Readings, before: Readings | None = None) -> tuple[Cause, ...]:
    """What is likely wrong with a display, whatever its verdict, the likeliest first."""
    unloaded = find_unloaded(readings, before)
    first = [] if unloaded is None else [tell_unloaded(unloaded)]
    limiter = find_limiter(case)
    facts = gather(case)
    if facts is None:
        return (*first, *([] if limiter is None else [tell_limiter(limiter)]))
    return (*first, *_fitted(case, facts, limiter))


def _fitted(case: Case, facts: Facts, limiter: Limiter | None) -> list[Cause]:
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
    return [cause for _, cause in ranked]


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
        if _difference(whole, without, facts) < SEEN:
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
