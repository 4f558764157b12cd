"""Which other displays a rule lets pass: neighbouring deliverables and common wrong settings.

A slot loaded for another deliverable is the commonest fault. Each rule is graded on the light that
ideal displays of other targets show for its own patches. A neighbour that passes must have a
reason: in everything that the rule judges by its target, it is as near as the target itself, or
nearer than a display that the rule accepts by intent, within the uncertainty of a reference meter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.colour.hlg import hlg_system_gamma
from compliance.colour.spaces import PRIMARIES, WHITES
from compliance.grading.decide import margin
from compliance.grading.grade import evaluate
from compliance.grading.match import DeclaredFacts, MatchedReadings, match_readings
from compliance.model import (
    ENCODINGS,
    Array,
    Encoding,
    Finding,
    Level,
    Limits,
    Readings,
    Requirement,
    Rule,
    Target,
    Value,
    Verdict,
)
from compliance.planning.stimuli import ideal_readings, no_darker
from compliance.quantities.catalogue import QUANTITIES, is_stated

BLACKS = (0.0, 0.0005, 0.005, 0.02, 0.05, 0.1, 0.3)
"""cd/m² of the displays' blacks."""
ASPECTS = ("greys' lightness", "greys' colour", "colours' colour", "colours' lightness")
"""What a rule may judge by its target."""
WIDE = 0.1
"""Half width of a rule's white, as a share of its middle, from which its ends are tried too."""
TECHNOLOGIES = ("lcd", "projector")
"""One direct view and one projector, where a requirement is for one kind."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """An ideal display of another target."""

    name: str
    target: Target
    whites: tuple[float, ...]
    """cd/m² at which it is tried."""
    set_up_for: Target | None = None
    """Of a wrong setting: the target that the display takes itself for."""


class Distance(NamedTuple):
    """How far a display is from the target."""

    share: float
    """Of the limit."""
    uncertainty: float
    """Of two such distances together, expanded, as a share of the limit."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule makes of a neighbour with one black."""

    neighbour: str
    black: float
    failed: str | None
    """The first shall that is outside its limits; None: it passes."""
    distances: Mapping[str, Distance] | None = None
    """Of one that passes: the largest in each aspect."""
    reason: tuple[str, ...] | None = None
    """Names of accepted displays that are no nearer to the target; None: there are none."""

    @property
    def unexplained(self) -> bool:
        """Whether it passes without a reason."""
        return self.failed is None and self.reason is None


SAME = "the target itself"

# ---------------------------------------------------------------- neighbours


def neighbours(rule: Rule, others: Iterable[Rule]) -> Iterator[Neighbour]:
    """Ideal displays of other rules, each target once, then wrong settings of the rule's own."""
    known = {_key(rule.target)}
    for other in others:
        if _key(other.target) not in known:
            known.add(_key(other.target))
            yield Neighbour(f"as for {other.id}", other.target, _whites(rule, other.target))
    for name, target in _wrong_settings(rule.target):
        if _key(target) not in known:
            known.add(_key(target))
            yield Neighbour(name, target, _whites(rule, target), rule.target)


def accepted(rule: Rule) -> tuple[Neighbour, ...]:
    """The target itself, then the displays that the rule accepts by intent."""
    known = {_key(target): name for name, target in _wrong_settings(rule.target)}
    found = [Neighbour(SAME, rule.target, _whites(rule, rule.target))]
    for number, each in enumerate(rule.accepts, start=1):
        name = known.get(_key(each.target), f"accepted display {number}")
        whites = _whites(rule, each.target)
        found.append(Neighbour(name, each.target, whites, rule.target))
    return tuple(found)


def _key(target: Target) -> Target:
    """A target without what only names or plans it."""
    peak = target.luminance_peak if target.curve == "pq" else target.luminance_white
    light = 0.0 if target.curve == "pq" else target.luminance_white
    return replace(
        target,
        primaries_name=None,
        white_name=None,
        container_name=None,
        container=target.container or target.primaries,
        luminance_white=light,
        luminance_peak=peak,
        curve="power" if target.curve == "dcdm" else target.curve,
    )


def _whites(rule: Rule, target: Target) -> tuple[float, ...]:
    """The target's white; where it is the rule's, also the ends that the rule leaves wide."""
    nominal = target.luminance_white
    if nominal != rule.target.luminance_white:
        return (nominal,)
    for requirement in rule.requirements:
        over, limits = requirement.over, requirement.limits
        if requirement.quantity != "luminance" or over is None or over.patches != ("white",):
            continue
        if limits is None or limits.minimum is None or limits.maximum is None:
            continue
        if limits.maximum - limits.minimum > 2 * WIDE * nominal:
            return (limits.minimum, nominal, limits.maximum)
    return (nominal,)


CURVES: Mapping[str, Mapping[str, object]] = {
    "gamma 2.2": {"curve": "power", "exponent": 2.2},
    "gamma 2.4": {"curve": "power", "exponent": 2.4},
    "gamma 2.6": {"curve": "power", "exponent": 2.6},
    "sRGB curve": {"curve": "srgb", "exponent": None},
    "BT.1886": {"curve": "bt1886", "exponent": None, "black": "lift"},
}
"""Relative curves that a slot is set to by mistake."""
PEAKS = (400.0, 600.0, 1000.0, 1500.0, 2000.0, 4000.0)
"""cd/m² of displays of high dynamic range (practice)."""
LEVELS = (48.0, 80.0, 100.0, 120.0, 160.0, 200.0, 300.0)
"""cd/m² of whites of other deliverables (practice)."""
GAMMA_STEP = 0.1
"""How far a wrong system gamma is from the right one."""


def _wrong_settings(own: Target) -> Iterator[tuple[str, Target]]:
    relative = own.curve not in ("pq", "hlg")
    plain = {"scale": "relative", "system_gamma": None, "luminance_peak": own.luminance_white}
    for name, changes in CURVES.items():
        yield name, replace(own, **{"black": "add", **plain, **changes})  # type: ignore[arg-type]
    for name, white in WHITES.items():
        yield f"white {name.upper()}", replace(own, white=white)
    for name, primaries in PRIMARIES.items():
        signal = own.container or own.primaries
        wide = signal != own.primaries
        yield f"primaries {name}", replace(own, primaries=primaries, container=primaries)
        if wide:
            yield f"primaries {name}, signal right", replace(own, primaries=primaries)
    for level in LEVELS if relative else ():
        yield f"white {level:g} cd/m²", replace(own, luminance_white=level, luminance_peak=level)
    for peak in PEAKS if not relative else ():
        yield f"peak {peak:g} cd/m²", _with_peak(own, peak)
    if own.curve == "hlg" and own.system_gamma is not None:
        for gamma in (own.system_gamma - GAMMA_STEP, own.system_gamma + GAMMA_STEP):
            yield f"system gamma {gamma:.3g}", replace(own, system_gamma=gamma)
        for peak in PEAKS:
            wrong = replace(_with_peak(own, peak), system_gamma=own.system_gamma)
            yield f"peak {peak:g} cd/m², system gamma {own.system_gamma:.3g}", wrong


def _with_peak(own: Target, peak: float) -> Target:
    if own.curve == "pq":
        return replace(own, luminance_peak=peak)
    gamma = own.system_gamma
    if own.surround is not None:
        gamma = float(hlg_system_gamma(peak, own.surround))
    return replace(own, luminance_white=peak, luminance_peak=peak, system_gamma=gamma)


# ---------------------------------------------------------------- the light of a neighbour


def shown(rule: Rule, display: Neighbour, white: float, black: float) -> Readings:
    """Readings of the rule's patches on an ideal display of another target.

    The display takes the codes as it would its own: X'Y'Z' codes as RGB where it knows no other.
    """
    plan = _planned(rule)
    encoding = _encoding_of(rule.encoding, display.target)
    model = targets.target_model(replace(rule, target=display.target), encoding)
    signal = np.clip(codes.decode(plan.codes, encoding.bits, encoding.narrow), 0.0, 1.0)
    level, dark = np.full(len(signal), white), np.full(len(signal), black)
    light = targets.target_xyz(signal, model, level, dark)
    meant = model
    if encoding.kind == "xyz" and display.set_up_for is not None:
        meant = targets.target_model(replace(rule, target=display.set_up_for), encoding)
    drive = light @ np.linalg.inv(meant.from_target).T
    light = _within_reach(drive, display.target) @ model.from_target.T
    return replace(plan, xyz=no_darker(light, black, model))


@lru_cache(maxsize=2)
def _planned(rule: Rule) -> Readings:
    return ideal_readings(rule, rule.encoding, 0.0)


def _encoding_of(encoding: Encoding, target: Target) -> Encoding:
    knows = encoding.kind == "rgb" or target.container is None
    return encoding if knows and encoding.carries(target.curve) else ENCODINGS["rgb-12-full"]


SLACK = 0.01
"""By how much a drive may exceed the peak, as a share: codes of a peak are rounded."""


def _within_reach(drive: Array, target: Target) -> Array:
    """Linear drive (n, 3) in cd/m² without what the display cannot show."""
    lost = drive < targets.REACHABLE * drive.max(axis=-1, keepdims=True)
    drive = np.where(lost, 0.0, drive)
    if target.curve != "pq":
        return drive
    over = drive > target.luminance_peak * (1 + SLACK)
    return np.where(over, target.luminance_peak, drive)


# ---------------------------------------------------------------- judged by the rule


class Judge:
    """A rule, the displays that it accepts, and a reference meter's uncertainty."""

    def __init__(self, rule: Rule, uncertainty: Mapping[str, float]) -> None:
        """`uncertainty` is the expanded one of each requirement, as a share of its limit."""
        self.rule = rule
        self._uncertainty = uncertainty
        self._accepted = accepted(rule)
        self._asked = {requirement.id: requirement for requirement in rule.requirements}
        self._matched: dict[str, MatchedReadings] = {}
        self._theirs: dict[tuple[float, float, str], dict[str, Mapping[str, Distance]]] = {}

    def outcome(self, neighbour: Neighbour, black: float) -> Outcome:
        """What the rule makes of a neighbour; of several whites and kinds, the worst pass."""
        found = [
            self._at(neighbour, white, black, technology)
            for white in neighbour.whites
            for technology in _technologies(self.rule)
        ]
        passed = [each for each in found if not each.failed]
        unexplained = [each for each in passed if each.unexplained]
        return (unexplained or passed or found)[0]

    def _at(self, neighbour: Neighbour, white: float, black: float, technology: str) -> Outcome:
        case = self._case(neighbour, white, black, technology)
        failed, findings = _failed(self.rule, case)
        if failed:
            return Outcome(neighbour.name, black, failed)
        distances = self._distances(findings, case)
        by_aspect = self._by_aspect(distances, case)
        theirs = self._accepted_at(white, black, technology)
        reason = self._reason(distances, case, theirs)
        return Outcome(neighbour.name, black, None, by_aspect, reason)

    def _case(
        self, neighbour: Neighbour, white: float, black: float, technology: str
    ) -> MatchedReadings:
        readings = shown(self.rule, neighbour, white, black)
        known = self._matched.get(technology)
        if known is not None:
            return known.with_readings(readings.xyz[known.patches.order])
        case = match_readings(self.rule, readings, stated=DeclaredFacts(technology))
        case = replace(case, chromaticity_floor=0.0)  # no meter: all light has a colour
        if self.rule.target.curve != "hlg":  # whose system gamma is chosen by what was measured
            self._matched[technology] = case
        return case

    def _accepted_at(
        self, white: float, black: float, technology: str
    ) -> Mapping[str, Mapping[str, Distance]]:
        """By accepted display that passes here, how far it is from the target in each aspect."""
        place = white, black, technology
        if place not in self._theirs:
            self._theirs[place] = {}
            own, *others = self._accepted
            for other in (self._at_peak(own, white), *others):
                case = self._case(other, white, black, technology)
                failed, findings = _failed(self.rule, case)
                if not failed:
                    of = self._by_aspect(self._distances(findings, case), case)
                    self._theirs[place][other.name] = of
        return self._theirs[place]

    def _at_peak(self, own: Neighbour, white: float) -> Neighbour:
        """The target itself; of HLG, whose system gamma follows the peak, at that peak."""
        target = self.rule.target
        if target.curve != "hlg" or target.surround is None or white == target.luminance_white:
            return own
        return replace(own, target=_with_peak(target, white))

    def _reason(
        self,
        distances: Mapping[str, Distance],
        case: MatchedReadings,
        theirs: Mapping[str, Mapping[str, Distance]],
    ) -> tuple[str, ...] | None:
        """Accepted displays that are no nearer to the target, aspect by aspect; None if none is."""
        named: list[str] = []
        for name, distance in distances.items():
            requirement = self._asked[name]
            nearest = distance.share - distance.uncertainty
            for aspect in aspects_of(requirement, case):
                worse = [other for other, of in theirs.items() if of[aspect].share >= nearest]
                if not worse:
                    return None
                named += worse[:1] if not set(worse) & set(named) else []
        return tuple(named)

    def _distances(self, findings: Iterable[Finding], case: MatchedReadings) -> dict[str, Distance]:
        """How far a display is from the target by each requirement."""
        return {
            finding.id: Distance(
                _share_of_limit(self._asked[finding.id], finding),
                math.sqrt(2) * self._uncertainty.get(finding.id, 0.0),
            )
            for finding in findings
            if aspects_of(self._asked[finding.id], case)
        }

    def _by_aspect(
        self, distances: Mapping[str, Distance], case: MatchedReadings
    ) -> dict[str, Distance]:
        found: dict[str, Distance] = {}
        for name, distance in distances.items():
            for aspect in aspects_of(self._asked[name], case):
                found[aspect] = max(found.get(aspect, distance), distance)
        return found


def _technologies(rule: Rule) -> tuple[str, ...]:
    kinds = {requirement.displays for requirement in rule.requirements}
    return TECHNOLOGIES if len(kinds) > 1 else TECHNOLOGIES[:1]


def _failed(rule: Rule, case: MatchedReadings) -> tuple[str | None, list[Finding]]:
    """The first shall that is outside its limits, and the findings up to it."""
    findings = []
    for requirement in rule.requirements:
        if requirement.level is Level.SHALL and not is_stated(requirement.quantity):
            findings.append(evaluate(requirement, case))
            if findings[-1].verdict is Verdict.FAIL:
                return requirement.id, findings
    return None, findings


def _share_of_limit(requirement: Requirement, finding: Finding) -> float:
    """The distance of a finding's value, or its farthest point, from the ideal over the limit's."""
    quantity = QUANTITIES[requirement.quantity]
    values = [(finding.value, finding.limits)]
    if requirement.statistic == "each" and quantity.values == "point":
        values = [(point.value, point.limits) for point in finding.points if point.verdict]
    shares = [
        _share(value, limits, quantity.ceiling)
        for value, limits in values
        if value is not None and limits is not None
    ]
    return max(shares, default=0.0)


def _share(value: Value, limits: Limits, ceiling: float) -> float:
    if limits.maximum is None and limits.box is None and not isinstance(value, tuple):
        return (ceiling - value) / (ceiling - limits.low)
    return 1.0 - margin(value, limits)


def aspects_of(requirement: Requirement, case: MatchedReadings) -> tuple[str, ...]:
    """What a requirement judges by the target, of `ASPECTS`."""
    quantity = QUANTITIES[requirement.quantity]
    if quantity.ideal == "exponent":
        return ASPECTS[:1]
    if quantity.hues:
        return ASPECTS[2:3] if quantity.chromatic else ASPECTS[3:]
    by_patch = quantity.reading and bool(requirement.by_patch)
    if quantity.values != "point" or (quantity.target is None and not by_patch):
        return ()
    if requirement.reference == "centre" or requirement.over is None:
        return ()
    chosen = case.matcher.select(requirement.over, all_neutrals=False).chosen
    neutral = [bool(case.patches.neutral[patch.index]) for patch in chosen]
    light = quantity.target == "light" and quantity.uv_scale is None
    found = []
    if any(neutral):
        found += [ASPECTS[0]] * (light and not requirement.ignore_luminance)
        found += [ASPECTS[1]] * quantity.chromatic
    if not all(neutral):
        found += [ASPECTS[2]] * quantity.chromatic
        found += [ASPECTS[3]] * (by_patch or (light and not requirement.ignore_luminance))
    return tuple(found)
