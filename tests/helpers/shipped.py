"""Shipped rules on simulated displays, shared by the tests of each rule file.

The display and the room of a rule follow from the rule's own limits, so that a rule added to the
library is covered at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.colour.spaces import rgb_to_xyz_matrix
from compliance.grading.decide import outcome
from compliance.grading.match import matched
from compliance.grading.monte_carlo import findings_of
from compliance.model import (
    ENCODINGS,
    Assessment,
    Declaration,
    Display,
    Finding,
    GradedReadings,
    Job,
    Level,
    Limits,
    Measurement,
    People,
    Requirement,
    Room,
    Rule,
    Slot,
    Verdict,
)
from compliance.rules.library import load_rule, shipped_rules
from helpers import simulated

Array = NDArray[np.float64]

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
RULES = tuple(shipped_rules())
HEADROOM = 0.04
"""Share by which a display is above a minimum luminance."""


@cache
def shipped_rule(name: str) -> Rule:
    """A rule of the library, read once in all tests."""
    return load_rule(name)


# ---------------------------------------------------------------- read off a rule's limits


def technology(rule: Rule) -> str:
    """The kind of display of a rule: a projector if limits are only for projectors."""
    return "projector" if any(one.displays == "projector" for one in rule.requirements) else "lcd"


def technologies(rule: Rule) -> tuple[str, ...]:
    """Each kind of display that a rule distinguishes."""
    kinds = {one.displays for one in rule.requirements} - {None}
    return ("projector", "led") if kinds else (technology(rule),)


def applicable(rule: Rule, kind: str) -> Iterator[Requirement]:
    """The requirements that apply to a kind of display."""
    view = "projector" if kind == "projector" else "direct-view"
    return (one for one in rule.requirements if one.displays in (None, view))


def _common(limits: Iterator[Limits]) -> tuple[float, float]:
    """The range common to all limits: lowest and highest."""
    low, high = -math.inf, math.inf
    for one in limits:
        low = max(low, -math.inf if one.minimum is None else one.minimum)
        high = min(high, math.inf if one.maximum is None else one.maximum)
    return low, high


def black(rule: Rule, kind: str | None = None) -> float:
    """Black of an ordinary good display, cd/m²: well inside every limit on it."""
    kind = kind or technology(rule)
    levels, contrast = [], 0.0
    for one in applicable(rule, kind):
        over = one.over
        if one.quantity == "contrast" and one.limits and one.limits.minimum:
            contrast = max(contrast, one.limits.minimum)
        full = over is not None and over.pattern is None
        if one.quantity == "luminance" and full and over.patches == ("black",) and one.limits:
            levels.append(one.limits)
    low, high = _common(iter(levels))
    if contrast:
        high = min(high, rule.target.luminance_white / contrast)
    if low > 0:
        return (low + high) / 2
    return 0.4 * high if math.isfinite(high) else 0.01


def white(rule: Rule) -> float:
    """White of an ordinary good display, cd/m²: the rule's, or a little above its minimum."""
    nominal = rule.target.luminance_white
    levels = [
        one.limits
        for one in rule.requirements
        if one.quantity == "luminance"
        and one.over
        and one.limits
        and one.over.patches in (("white",), ("peak",))
        and rule.target.curve != "pq"
    ]
    low, high = _common(iter(levels))
    if low < nominal * (1 - HEADROOM) and high > nominal * (1 + HEADROOM):
        return nominal
    return min(max(nominal, low) * (1 + HEADROOM), (max(low, 0) + high) / 2)


def edge_limits(rule: Rule, kind: str) -> tuple[float, float]:
    """Lowest and highest share of the centre's light that a rule allows at other places."""
    shares = []
    for one in applicable(rule, kind):
        if one.over is None or one.over.position is None or one.limits is None:
            continue
        whole = {"relative-luminance": 100, "luminance": rule.target.luminance_white}
        if one.quantity in whole:
            low, high = _common(iter([one.limits]))
            shares.append(Limits(low / whole[one.quantity], high / whole[one.quantity]))
    return _common(iter(shares))


def edge_share(rule: Rule, kind: str | None = None) -> float:
    """Share of the centre's light at other places of an ordinary good display."""
    low, high = edge_limits(rule, kind or technology(rule))
    return 1.0 if math.isinf(low) or math.isinf(high) else (low + high) / 2


def recorded(rule: Rule) -> dict[str, float]:
    """Fields of a job with a room that meets the rule."""
    fields = {}
    for one in rule.requirements:
        if one.quantity == "recorded" and one.field and one.limits:
            low, high = _common(iter([one.limits]))
            fields[one.field] = (max(low, 0) + (high if math.isfinite(high) else max(low, 0))) / 2
    return fields


def declared(rule: Rule) -> dict[str, float]:
    """Declarations of a facility for a slot that meets the rule."""
    values = {}
    for one in rule.requirements:
        if one.quantity == "declared" and one.declaration and one.limits:
            low, high = _common(iter([one.limits]))
            values[one.declaration] = low if math.isfinite(low) else high
    return values


# ---------------------------------------------------------------- assessing


def job(
    rule: Rule,
    kind: str | None = None,
    *,
    says: Mapping[str, float] | None = None,
    declares: Mapping[str, float] | None = None,
) -> Job:
    """A job of one slot, with a room and a kind of display that fit the rule."""
    says = recorded(rule) if says is None else says
    declares = declared(rule) if declares is None else declares
    display = Display(technology=kind or technology(rule), hours=says.get("hours"))
    slot = Slot(
        name="1",
        deliverables=(rule.id,),
        display=display,
        meter=None,
        warm_up=says.get("warm-up"),
        declared={
            name: Declaration(value, "Jo Heron", NOW.date()) for name, value in declares.items()
        },
    )
    return Job(
        reference="T-1",
        title=None,
        client=None,
        facility=None,
        suite=None,
        room=Room(surround=says.get("surround"), ambient=says.get("ambient")),
        people=People(),
        slots=(slot,),
        file=Path("job.yaml"),
        document={"job": "T-1"},
    )


def judged(
    rule: Rule,
    shown: list[simulated.Shown],
    *,
    encoding: str | None = None,
    technology: str | None = None,
    stated: Job | None = None,
) -> Assessment:
    """The assessment of simulated readings."""
    return assess(_measured(rule, shown, encoding, technology, stated), now=NOW)


def graded(
    rule: Rule,
    shown: list[simulated.Shown],
    *,
    technology: str | None = None,
    stated: Job | None = None,
) -> Assessment:
    """Its findings and verdict without remarks and causes, whose search takes most of the time."""
    measurement = _measured(rule, shown, None, technology, stated)
    findings = findings_of(matched(measurement), None, count=0, seed=0)
    state = GradedReadings(measurement, *outcome(findings, rule.decision), findings, ())
    return Assessment(assessed=NOW, valid_until=None, seed=0, draws=0, state=state)


def _measured(
    rule: Rule,
    shown: list[simulated.Shown],
    encoding: str | None,
    technology: str | None,
    stated: Job | None,
) -> Measurement:
    read = simulated.readings(shown, ENCODINGS[encoding] if encoding else rule.encoding)
    return Measurement(rule, read, job=stated or job(rule, technology))


def ideal(rule: Rule, **how: object) -> list[simulated.Shown]:
    how.setdefault("black", black(rule))
    if rule.target.curve != "pq":
        how.setdefault("white", white(rule))
    return simulated.ideal(rule, **how)  # type: ignore[arg-type]


def finding(assessment: Assessment, name: str) -> Finding:
    (match,) = (one for one in assessment.state.findings if one.id == name)
    return match


def outside(assessment: Assessment, level: Level | None = Level.SHALL) -> set[str]:
    """Ids of the missed requirements."""
    return {
        one.id
        for one in assessment.state.findings
        if one.verdict is Verdict.FAIL and (level is None or one.level is level)
    }


# ---------------------------------------------------------------- faults


def edges(share: float) -> simulated.Fault:
    return lambda patch, xyz: xyz if patch.position == "centre" else xyz * share


def native(rule: Rule) -> Array:
    """(3, 3) linear RGB of the rule's primaries to XYZ."""
    return np.asarray(rgb_to_xyz_matrix(rule.target.primaries, rule.target.white))


def other_primaries(
    primaries: tuple[tuple[float, float], ...], rule: Rule, white: tuple[float, float] | None = None
) -> simulated.Fault:
    """The same drive on other primaries, or to another white."""
    turned = rgb_to_xyz_matrix(primaries, white or rule.target.white) @ np.linalg.inv(native(rule))
    return lambda _patch, xyz: turned @ xyz


def tinted(white: tuple[float, float], rule: Rule) -> simulated.Fault:
    return other_primaries(rule.target.primaries, rule, white)
