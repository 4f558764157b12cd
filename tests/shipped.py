"""Shipped rules on simulated displays: what the tests of each rule file share."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import simulated
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.colorimetry.spaces import rgb_to_xyz_matrix
from compliance.model import (
    ENCODINGS,
    Assessment,
    Display,
    Finding,
    Job,
    Level,
    People,
    Room,
    Rule,
    Slot,
    Verdict,
)
from compliance.patches import PlannedPatch

Array = NDArray[np.float64]

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
RULES = ("cinema-review-room", "hdr-pq-1000", "sdr-broadcast", "web-srgb")

# Black of an ordinary good display for each, cd/m²: invented.
BLACK = {
    "cinema-review-room": 0.02,
    "hdr-pq-1000": 0.001,
    "sdr-broadcast": 0.03,
    "web-srgb": 0.25,
}
SURROUND = {"sdr-broadcast": 10.0, "hdr-pq-1000": 5.0}
TECHNOLOGY = {"cinema-review-room": "projector"}


def job(rule: Rule, technology: str | None = None) -> Job:
    """A job of one slot in the room and on the kind of display that the rule is for."""
    display = Display(technology=technology or TECHNOLOGY.get(rule.id, "lcd"))
    slot = Slot(name="1", deliverables=(rule.id,), display=display, meter=None)
    return Job(
        reference="T-1",
        title=None,
        client=None,
        facility=None,
        suite=None,
        room=Room(surround=SURROUND.get(rule.id)),
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
) -> Assessment:
    """The assessment of simulated readings."""
    read = simulated.readings(shown, ENCODINGS[encoding] if encoding else rule.encoding)
    return assess(rule, read, job=job(rule, technology), before=None, meter=None, now=NOW)


def ideal(rule: Rule, **how: object) -> list[simulated.Shown]:
    how.setdefault("black", BLACK[rule.id])
    return simulated.ideal(rule, **how)  # type: ignore[arg-type]


def finding(assessment: Assessment, name: str) -> Finding:
    (found,) = (one for one in assessment.state.findings if one.id == name)
    return found


def outside(assessment: Assessment, level: Level | None = Level.SHALL) -> set[str]:
    """Ids of the requirements whose limits are missed."""
    return {
        one.id
        for one in assessment.state.findings
        if one.verdict is Verdict.FAIL and (level is None or one.level is level)
    }


# ---------------------------------------------------------------- faults


def edges(share: float) -> simulated.Fault:
    return lambda patch, xyz: xyz if patch.position == "centre" else xyz * share


def _native(rule: Rule) -> Array:
    return np.asarray(rgb_to_xyz_matrix(rule.target.primaries, rule.target.white))


def other_primaries(
    primaries: tuple[tuple[float, float], ...], rule: Rule, white: tuple[float, float] | None = None
) -> simulated.Fault:
    """The same drive on other primaries, or to another white."""
    turned = rgb_to_xyz_matrix(primaries, white or rule.target.white) @ np.linalg.inv(_native(rule))
    return lambda _patch, xyz: turned @ xyz


def tinted(white: tuple[float, float], rule: Rule) -> simulated.Fault:
    return other_primaries(rule.target.primaries, rule, white)


def good_white(rule: Rule, random: np.random.RandomState) -> float | None:
    if rule.target.curve == "pq":
        return None
    return rule.target.luminance_white * (1 + 0.012 * float(random.normal()))


def _near(primary: tuple[float, float], random: np.random.RandomState) -> tuple[float, float]:
    """A chromaticity close by that a light can have: z is never below 0."""
    x, y = (value + 0.0015 * float(random.normal()) for value in primary)
    return x, min(y, 1 - x)


def good(rule: Rule, random: np.random.RandomState) -> simulated.Fault:
    """A well calibrated display: small errors of white, primaries, tracking, place and meter."""
    primaries = tuple(_near(primary, random) for primary in rule.target.primaries)
    x, y = rule.target.white
    white = (x + 0.0006 * random.normal(), y + 0.0006 * random.normal())
    into = np.linalg.inv(_native(rule)) / rule.target.luminance_peak
    out = rgb_to_xyz_matrix(primaries, white) * rule.target.luminance_peak
    exponent = 1 + 0.003 * random.normal() + 0.0006 * random.normal(size=3)
    edge = 0.85 if rule.id == "cinema-review-room" else 0.97

    def fault(_patch: PlannedPatch, xyz: Array) -> Array:
        return np.asarray(out @ np.maximum(into @ xyz, 0) ** exponent)

    return simulated.in_turn(fault, edges(edge), simulated.noisy(random))
