"""The table of simulated faults: every cause at several strengths, and indistinguishable pairs.

The rule must find each of these faults: at these strengths a limit is missed.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.diagnose import Diagnosis, diagnose
from compliance.grading.match import match_readings
from compliance.model import Rule
from helpers import faulty_displays
from helpers.faulty_displays import Fault
from helpers.shipped import shipped_rule

RULES = ("sdr-broadcast", "web-srgb", "hdr-pq-1000", "cinema-review-room", "hdr-hlg-1000")
WINDOWS = (2.0, 5.0, 10.0, 25.0, 50.0, 100.0)
"""% of area, read in addition to the plan if a limiter is simulated."""

CURVES = {
    "bt1886": (1.8, 2.0, 2.2, 2.6, "srgb", "pq", "hlg"),
    "srgb": (1.8, 2.0, 2.4, 2.6, "pq", "hlg"),
    "pq": (2.2, 2.4, "srgb", "hlg"),
    "hlg": (2.2, 2.4, "pq"),
    "dcdm": (2.2, 2.4, 2.8),
}
SYSTEM_GAMMAS = (1.0, 1.1, 1.35, 1.45)
CHANNEL_TOPS = (4.0, 8.0)
"""Times the rule's peak at which the channels of a PQ panel clip."""
ADDED = {
    "bt1886": (0.08, 0.2, 0.5),
    "srgb": (0.8, 1.5),
    "pq": (0.02, 0.1),
    "hlg": (0.02, 0.1),
    "dcdm": (0.05, 0.1),
}
"""cd/m² of the room"""
LIFTED = {
    "bt1886": (0.08, 0.12),
    "srgb": (0.12, 0.16),
    "pq": (0.01, 0.02),
    "hlg": (0.01, 0.02),
    "dcdm": (0.08, 0.12),
}
"""Share of full drive that raises the black beyond its limit."""
UNNAMED = ((0.69, 0.31), (0.215, 0.72), (0.148, 0.046))
PRIMARIES = {
    "bt1886": ("p3", "bt2020", "adobe-rgb"),
    "srgb": ("p3", "bt2020", "adobe-rgb"),
    "pq": ("bt709", "bt2020", "adobe-rgb"),
    "hlg": ("bt709", "bt2020", "adobe-rgb"),
    "dcdm": ("bt709", "bt2020", "adobe-rgb"),
}
WHITES = {
    "d50": (0.3457, 0.3585),
    "d55": (0.3324, 0.3474),
    "d65": (0.3127, 0.3290),
    "d93": (0.2831, 0.2971),
    "dci": (0.314, 0.351),
    "5800 K": (0.3264, 0.3419),
    "7200 K": (0.3045, 0.3205),
    "8500 K": (0.2898, 0.3043),
}
ORDERS = ((0, 2, 1), (1, 0, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1))

ONE = (
    {"white", "gain"},
    {"limiter", "highlights"},
)
"""Indistinguishable pairs: a channel's gain moves the white to another white, and a limiter clips
the bright greys."""


def _one(first: Fault, second: Fault) -> bool:
    """Whether one fault hides the other: both move the black level, or both clip the highlights;
    or a very large contrast hides a black."""
    two = {first.cause: first.strength, second.cause: second.strength}
    ranged, raised, top = "range" in two, "raised-black" in two, "highlights" in two
    sunk = "sunk" in two.get("blacks", "")
    if two.get("curve", "").startswith("pq"):
        return raised or top
    return ranged + raised + sunk > 1 or (two.get("range") == "stretched" and top)


def faults(rule: Rule) -> Iterator[Fault]:
    """The whole table for a rule."""
    target = rule.target
    yield faulty_displays.squeezed()
    yield faulty_displays.stretched()
    for curve in CURVES[target.curve]:
        yield (
            faulty_displays.curve(curve) if isinstance(curve, str) else faulty_displays.power(curve)
        )
    if target.curve in ("bt1886", "srgb"):
        yield from (faulty_displays.pq_by_channel(top) for top in CHANNEL_TOPS)
    if target.curve == "hlg":
        yield from (faulty_displays.system_gamma(gamma) for gamma in SYSTEM_GAMMAS)
    for name in PRIMARIES[target.curve]:
        yield faulty_displays.primaries(name)
    yield faulty_displays.unnamed("by none", *UNNAMED)
    if target.curve in ("pq", "hlg"):
        yield faulty_displays.taken("p3")
        yield faulty_displays.taken("bt709")
    for order in ORDERS:
        yield faulty_displays.swapped(*order)
    for name, xy in WHITES.items():
        if np.abs(np.array(xy) - target.white).max() > 0.004:
            yield faulty_displays.white(name, xy)
    yield from (faulty_displays.clipped(share) for share in (0.93, 0.85, 0.7))
    yield from (faulty_displays.capped(share) for share in (0.9, 0.7))
    yield faulty_displays.bent(0.6, 0.5)
    yield faulty_displays.bent(0.75, 0.3)
    yield from (faulty_displays.crushed(level) for level in (0.12, 0.2, 0.3))
    yield from (faulty_displays.sunk(level) for level in (0.03, 0.06, 0.1))
    yield from (faulty_displays.lit_room(level) for level in ADDED[target.curve])
    yield from (faulty_displays.lifted(by) for by in LIFTED[target.curve])
    for channel in range(3):
        yield from (faulty_displays.gained(channel, factor) for factor in (0.7, 0.85, 0.92, 1.1))
        yield from (faulty_displays.shifted(channel, by) for by in (-0.04, 0.02, 0.04))
        yield faulty_displays.shifted(channel, 0.03, exponent=2.2)
    yield from (faulty_displays.drifting(share) for share in (0.03, 0.05, 0.1, -0.04))
    budget = target.luminance_peak * rule.window / 100
    yield from (faulty_displays.limited(share * budget) for share in (0.5, 0.6, 0.7, 0.85))


class Trial(NamedTuple):
    """One simulated slot."""

    rule: str
    faults: tuple[Fault, ...]
    seed: int

    @property
    def name(self) -> str:
        return " + ".join([self.rule, *(f"{one.cause} {one.strength}" for one in self.faults)])

    @property
    def wanted(self) -> list[str]:
        return [one.cause for one in self.faults]


def singles(rules: Sequence[str], seeds: int, *, each: int | None = None) -> Iterator[Trial]:
    """Every fault of the table alone; of each cause only the first `each`, if given."""
    for name in rules:
        shown: dict[str, int] = {}
        for fault in faults(shipped_rule(name)):
            shown[fault.cause] = shown.get(fault.cause, 0) + 1
            if each is None or shown[fault.cause] <= each:
                yield from (Trial(name, (fault,), seed) for seed in range(seeds))


def pairs(rules: Sequence[str], count: int, seed: int) -> Iterator[Trial]:
    """Each two causes in turn, at strengths drawn at random, `count` times for each rule."""
    for name in rules:
        by_cause: dict[str, list[Fault]] = {}
        for fault in faults(shipped_rule(name)):
            by_cause.setdefault(fault.cause, []).append(fault)
        combinations = [two for two in itertools.combinations(by_cause, 2) if set(two) not in ONE]
        random = np.random.RandomState(seed)
        start = int(random.randint(len(combinations)))
        for turn in range(count):
            two = combinations[(start + turn * 7) % len(combinations)]
            first, second = (by_cause[one][random.randint(len(by_cause[one]))] for one in two)
            if _one(first, second):
                continue
            trial = Trial(name, (first, second), int(random.randint(1 << 30)))
            if not _idle(trial):
                yield trial


def _idle(trial: Trial) -> bool:
    """Whether a limiter has nothing to dim, because the other fault leaves less than it allows."""
    others = [one for one in trial.faults if one.cause != "limiter"]
    if len(others) == len(trial.faults):
        return False
    rule = shipped_rule(trial.rule)
    dimmed, whole = (
        faulty_displays.readings(rule, these, np.random.RandomState(trial.seed), WINDOWS).xyz[:, 1]
        for these in (trial.faults, others)
    )
    return bool(np.all(dimmed > 0.95 * whole))


def diagnosed(trial: Trial) -> Diagnosis:
    """The diagnosis of a simulated slot, for any verdict."""
    rule = shipped_rule(trial.rule)
    windows = WINDOWS if any(one.cause == "limiter" for one in trial.faults) else ()
    random = np.random.RandomState(trial.seed)
    read = faulty_displays.readings(rule, trial.faults, random, windows)
    return diagnose(match_readings(rule, read), read)
