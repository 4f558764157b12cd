"""The patches of several rules as one list of stimuli, in a good order of measuring.

- The rule's white is read at the start, in the middle and at the end, or as often as a rule
  asks or the length of the plan, evenly spread, so that drift shows.
- In between, patches alternate: one of the darker half, one of the brighter, the brightest of
  all spread evenly and each followed by the darkest. A panel neither heats nor ages needlessly,
  and a limiter of its power recovers.
- What is read again after a time stays on the screen meanwhile.
- Places other than the centre follow the white in the middle, one after the other on a way
  around the screen, so that the meter is moved no more often than it must be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.grading.patches import Plan, PlannedPatch, default_pattern
from compliance.model import (
    POSITION_GROUPS,
    Encoding,
    Over,
    PatchSet,
    Readings,
    Requirement,
    Rule,
    Triple,
)
from compliance.quantities.catalogue import QUANTITIES, is_stated


def planned(rule: Rule, encoding: Encoding | None = None) -> list[PlannedPatch]:
    """The patches to measure for a rule, each stimulus once, with how often it is to be read."""
    plan = Plan(rule, encoding or rule.encoding)
    found: dict[tuple[object, ...], PlannedPatch] = {}
    for patch in _asked(rule, plan):
        place = (patch.position, patch.window, patch.pattern, patch.seconds)
        key = (*patch.signal, *place)
        count = max(patch.count, found[key].count if key in found else 1)
        found[key] = replace(found.get(key, patch), count=count)
    return list(found.values())


def _asked(rule: Rule, plan: Plan) -> Iterator[PlannedPatch]:
    yield from plan.patches("white")
    yield from plan.patches("black")
    for requirement in rule.requirements:
        if is_stated(requirement.quantity):
            continue
        for patch in _patches_of(requirement, plan):
            yield patch
            yield from _company(requirement, plan, patch)


def _patches_of(requirement: Requirement, plan: Plan) -> Iterator[PlannedPatch]:
    """The patches a requirement is about."""
    over, quantity = requirement.over, QUANTITIES[requirement.quantity]
    if quantity.ratio:
        pattern = quantity.pattern or (over.pattern if over else None)
        place = replace(over or Over(()), pattern=pattern)
        yield from plan.asked("white", place)
        yield from plan.asked("black", place)
    elif quantity.hues:
        yield from _primaries(requirement, plan)
    elif over is not None:
        for name in over.patches:
            yield from plan.asked(name, over)


def _primaries(requirement: Requirement, plan: Plan) -> Iterator[PlannedPatch]:
    """Red, green and blue, and where it takes part the white of the same drive and the black."""
    patch_set = plan.primaries_of(requirement.over)
    hues = plan.hues_of(requirement.over)
    yield from hues
    if "white" in QUANTITIES[requirement.quantity].roles and hues:
        yield plan.white_of_drive(patch_set, hues[0])
        yield replace(hues[0], name="black", signal=(0.0, 0.0, 0.0))


def _company(requirement: Requirement, plan: Plan, patch: PlannedPatch) -> Iterator[PlannedPatch]:
    """What is compared with a patch: white and black of its window, the centre, the start."""
    quantity = QUANTITIES[requirement.quantity]
    centre = replace(patch, position="centre", varies=(), name=patch.name.split(",")[0])
    if quantity.compares == "centre" and patch.seconds:
        yield replace(patch, seconds=0.0)
    elif quantity.compares == "centre" or requirement.reference == "centre":
        yield centre
    if quantity.target or quantity.company:
        pattern = default_pattern(patch.window)
        for name in ("white", "black"):
            yield replace(plan.patches(name)[0], window=patch.window, pattern=pattern)


def ideal_readings(rule: Rule, encoding: Encoding, black: float) -> Readings:
    """What a display that is exactly the rule's target shows for the plan, black in cd/m²."""
    plan = Plan(rule, encoding)
    patches = planned(rule, encoding)
    rows = [patch for patch in patches for _ in range(patch.count)]
    triples = np.array(
        [codes.encode(np.array(row.signal), encoding.bits, encoding.narrow) for row in rows]
    )
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow), dtype=np.float64)
    level = np.full(len(rows), plan.model.white_luminance)
    light = targets.target_xyz(signal, plan.model, level, np.full(len(rows), black))
    darkest = black * plan.model.white_xyz
    return Readings(
        encoding=encoding,
        codes=triples.astype(np.int64),
        xyz=np.where(light[:, 1:2] < black, darkest, light),
        position=tuple(row.position for row in rows),
        window=np.array([row.window for row in rows]),
        pattern=tuple(row.pattern for row in rows),
        background=("",) * len(rows),
        seconds=np.array([row.seconds for row in rows]),
        deviation=np.full(len(rows), np.nan),
        lines=tuple(range(2, len(rows) + 2)),
        file="ideal",
        data=b"",
        sha256="",
    )


def readings_at_limit(
    requirement: Requirement, ideal: Readings, rule: Rule, limit: float
) -> Readings:
    """The ideal display with one requirement's value moved to a one-sided limit.

    Luminances are moved by their own patches, contrasts by the black, ranges by one of
    the readings; of other quantities the ideal display stands for the one on the limit.
    """
    plan = Plan(rule, ideal.encoding)
    xyz = ideal.xyz.copy()
    rows = [_rows(ideal, patch) for patch in _patches_of(requirement, plan)]
    quantity = QUANTITIES[requirement.quantity]
    if quantity.reading:
        for mine in rows:
            xyz[mine] *= limit / xyz[mine, 1][0] if xyz[mine, 1][0] else 0.0
    elif quantity.ratio:
        white, black = rows[0], rows[-1]
        xyz[black] = plan.model.white_xyz * xyz[white, 1][0] / limit
    elif quantity.compares == "centre":
        for mine in rows:
            if not (np.array(ideal.position)[mine] == "centre").all() or ideal.seconds[mine].any():
                xyz[mine] *= limit / 100
    elif quantity.extreme is not None and quantity.extreme.kind == "range":
        last = np.flatnonzero(rows[-1])[-1]
        xyz[last] *= 1 - limit / 100
    return replace(ideal, xyz=xyz)


def _rows(readings: Readings, patch: PlannedPatch) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(R,) which readings show a planned patch."""
    encoding = readings.encoding
    triple = codes.encode(np.array(patch.signal), encoding.bits, encoding.narrow)
    same = np.all(readings.codes == triple, axis=1)
    same &= (np.array(readings.position) == patch.position) & (readings.window == patch.window)
    same &= (np.array(readings.pattern) == patch.pattern) & (readings.seconds == patch.seconds)
    return np.asarray(same)


COLUMNS_OF_GRID = range(2, 34)
"""Points a grid may have along each channel."""
POINTS: Mapping[int, str] = {5: "5-points", 9: "9-points", 13: "13-points"}
"""How many points of the screen white may be read at (EBU Tech 3325)."""
WINDOWS = (1.0, 4.0, 10.0, 25.0, 81.0, 100.0)
"""% of area at which a peak is read (practice)."""
SUSTAINED = (0.0, 60.0)
"""s for which each of them has been shown when it is read (practice)."""


@dataclass(frozen=True, slots=True)
class ExtraPatches:
    """What is measured of a slot beside what its rules ask for."""

    points: int = 0
    """Points of the screen at which white is read: of `POINTS`, 0 for none."""
    windows: bool = False
    """The peak, of standard range the white, in each of `WINDOWS`, at once and sustained."""


@dataclass(frozen=True, slots=True)
class Stimulus:
    """One patch to show and read."""

    codes: Triple
    position: str
    window: float
    """% of area"""
    pattern: str
    seconds: float
    """How long it has been shown when it is read."""
    level: float
    """Nominal luminance in cd/m², the highest that one of the rules asks for."""
    name: str
    anchor: bool = False
    """The rule's white at the centre: read again and again, for stability."""
    count: int = 1
    """How often it is read."""

    @property
    def shown(self) -> tuple[Triple, str, float, str]:
        """What is on the screen, whenever it is read."""
        return self.codes, self.position, self.window, self.pattern

    @property
    def identity(self) -> tuple[object, ...]:
        """What makes two readings repeats of each other."""
        return (*self.shown, self.seconds)


def merged(
    rules: Sequence[Rule],
    encoding: Encoding,
    *,
    technology: str | None = None,
    points: int = 0,
    further: ExtraPatches | None = None,
) -> tuple[Stimulus, ...]:
    """Every patch that the rules ask for on a display of that technology, each once.

    `points` adds a grid of that many points for each channel of RGB, `further` what is
    measured beside the rules; both are shown as by the first of them. Raises RuleError where a
    rule and the encoding do not go together.
    """
    found: dict[tuple[object, ...], Stimulus] = {}
    for rule in rules:
        for one in _stimuli_of(rule, encoding, technology):
            _add(found, one)
    for one in _beside(rules[0], encoding, further or ExtraPatches()):
        _add(found, one)
    if points:
        for one in grid(rules[0], encoding, points):
            _add(found, one)
    return tuple(found.values())


def _add(found: dict[tuple[object, ...], Stimulus], one: Stimulus) -> None:
    before = found.get(one.identity, one)
    found[one.identity] = replace(
        before,
        level=max(before.level, one.level),
        anchor=before.anchor or one.anchor,
        count=max(before.count, one.count),
    )


def _stimuli_of(rule: Rule, encoding: Encoding, technology: str | None) -> Iterator[Stimulus]:
    asked = tuple(
        requirement
        for requirement in rule.requirements
        if technology is None or requirement.applies_to(technology)
    )
    plan = Plan(rule, encoding)
    (white,) = plan.patches("white")
    patches = planned(replace(rule, requirements=asked), encoding)
    for patch, level in zip(patches, _levels_of(plan, patches), strict=True):
        anchor = patch.signal == white.signal and _place(patch) == _place(white)
        yield _stimulus(patch, encoding, level, anchor=anchor)


def _beside(rule: Rule, encoding: Encoding, further: ExtraPatches) -> Iterator[Stimulus]:
    """The stimuli that are measured beside what the rule asks for."""
    plan = Plan(rule, encoding)
    patches: list[PlannedPatch] = []
    if further.points:
        places = POSITION_GROUPS[POINTS[further.points]]
        patches += plan.expanded(PatchSet("points", "positions", positions=places, of="white"))
    if further.windows:
        sizes = plan.expanded(PatchSet("windows", "windows", windows=WINDOWS, of="peak"))
        patches += [replace(one, seconds=time) for one in sizes for time in SUSTAINED]
    for patch, level in zip(patches, _levels_of(plan, patches), strict=True):
        yield _stimulus(patch, encoding, level)


def _place(patch: PlannedPatch) -> tuple[object, ...]:
    return patch.position, patch.window, patch.pattern, patch.seconds


def _levels_of(plan: Plan, patches: Sequence[PlannedPatch]) -> list[float]:
    return _levels(plan, np.array([patch.signal for patch in patches]))


def _levels(plan: Plan, signal: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[float]:
    """cd/m² that the rule's display shows; no more than its peak."""
    nominal = targets.nominal_xyz(signal.reshape(-1, 3), plan.model)[:, 1]
    return [min(float(level), plan.model.peak_luminance) for level in nominal]


def _stimulus(
    patch: PlannedPatch, encoding: Encoding, level: float, *, anchor: bool = False
) -> Stimulus:
    triple = codes.encode(np.array(patch.signal), encoding.bits, encoding.narrow)
    red, green, blue = (int(code) for code in triple)
    return Stimulus(
        codes=(red, green, blue),
        position=patch.position,
        window=patch.window,
        pattern=patch.pattern,
        seconds=patch.seconds,
        level=level,
        name=patch.name,
        anchor=anchor,
        count=patch.count,
    )


def grid(rule: Rule, encoding: Encoding, points: int) -> tuple[Stimulus, ...]:
    """Points³ stimuli: every mixture of equally spaced signals of R, G and B.

    The signals run from 0 to 1, in PQ to the rule's peak, shown as the rule shows its patches.
    ValueError where the encoding is not RGB or has fewer codes than points.
    """
    if encoding.kind != "rgb":
        raise ValueError(f"a grid is one of RGB; {encoding.name} has X′Y′Z′ codes")
    if points not in COLUMNS_OF_GRID:
        first, last = COLUMNS_OF_GRID[0], COLUMNS_OF_GRID[-1]
        raise ValueError(f"{points} points for each channel; expected {first} to {last}")
    plan = Plan(rule, encoding)
    top = float(targets.peak_signal(plan.model)[0]) if rule.target.curve == "pq" else 1.0
    steps = np.linspace(0.0, top, points)
    signal = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    quantised = np.asarray(
        codes.decode(
            codes.encode(signal, encoding.bits, encoding.narrow), encoding.bits, encoding.narrow
        )
    )
    levels = _levels(plan, quantised)
    pattern = default_pattern(rule.window)
    return tuple(
        _stimulus(
            PlannedPatch("grid", "grid", (row[0], row[1], row[2]), "centre", rule.window, pattern),
            encoding,
            level,
        )
        for row, level in zip(quantised.tolist(), levels, strict=True)
    )


LEAST_ANCHORS = 3
MOST_BETWEEN = 100
"""Patches from one reading of white to the next (practice): about a quarter of an hour."""
WALK = (
    "centre", "inner-top-left", "inner-top-right", "inner-bottom-right", "inner-bottom-left",
    "left", "top-left", "top", "top-right", "right", "bottom-right", "bottom", "bottom-left",
)  # fmt: skip
"""From place to place."""

Unit = tuple[Stimulus, ...]
"""What is read without another patch in between."""


def ordered(stimuli: Sequence[Stimulus]) -> tuple[Stimulus, ...]:
    """Every reading in the order of measuring, each with a count of 1."""
    anchors = sorted((one for one in stimuli if one.anchor), key=lambda one: one.level)
    units = list(_units(stimuli))
    heat = panel_load(stimuli)
    centre = [unit for unit in units if _at_centre(unit)]
    away = [unit for unit in units if not _at_centre(unit)]
    white = [replace(one, count=1) for one in anchors]
    often = 1 + math.ceil(len(centre) / MOST_BETWEEN)
    times = max([LEAST_ANCHORS, often, *(one.count for one in anchors)])
    segments = _dealt(centre, times - 1, heat)
    rows = [*white]
    for number, segment in enumerate(segments, 1):
        rows += _flat(_alternating(segment, heat))
        rows += white
        if number == len(segments) // 2:
            rows += _around(away, heat)
    return tuple(rows)


def panel_load(stimuli: Sequence[Stimulus]) -> dict[tuple[object, ...], float]:
    """How much each patch works the panel, 0 to 1, by its `shown`.

    The larger of two shares: of the brightest patch's luminance, and of the largest light
    over the whole screen.
    """
    level = max((one.level for one in stimuli), default=0.0) or 1.0
    light = max((one.level * one.window for one in stimuli), default=0.0) or 1.0
    found: dict[tuple[object, ...], float] = {}
    for one in stimuli:
        share = max(one.level / level, one.level * one.window / light)
        found[one.shown] = max(share, found.get(one.shown, 0.0))
    return found


def _units(stimuli: Sequence[Stimulus]) -> Iterator[Unit]:
    """What is left beside the anchors: a patch each, a series in time together."""
    together: dict[tuple[object, ...], list[Stimulus]] = {}
    for one in stimuli:
        together.setdefault(one.shown, []).append(one)
    for series in together.values():
        series.sort(key=lambda one: one.seconds)
        lasting = any(one.seconds for one in series)
        if lasting or not series[0].anchor:
            yield tuple(replace(one, count=1, anchor=False) for one in series)
        for one in series:
            if not one.anchor:
                yield from [(replace(one, count=1),)] * (one.count - 1)


def _at_centre(unit: Unit) -> bool:
    """Whether a unit takes its turn at the centre; checkerboards are set up apart."""
    return unit[0].position == "centre" and unit[0].pattern != "checkerboard"


def _coolest_first(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Unit]:
    """The units by how much they heat the panel, more for what stays on the screen."""

    def key(unit: Unit) -> tuple[float, Triple, float]:
        patch = unit[0]
        return heat[patch.shown] * (1 + unit[-1].seconds / 60), patch.codes, patch.window

    return sorted(units, key=key)


def _dealt(
    units: Sequence[Unit], hands: int, heat: dict[tuple[object, ...], float]
) -> list[list[Unit]]:
    """The units in that many hands with the same share of bright and dark ones."""
    ranked = _coolest_first(units, heat)
    return [ranked[hand::hands] for hand in range(hands)]


def _alternating(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Unit]:
    """Dark, bright, dark …: the brightest evenly spread, each followed by the darkest there is."""
    ranked = _coolest_first(units, heat)
    bright = ranked[::-1][: max(0, (len(ranked) - 1) // 2)]
    dark = ranked[: len(ranked) - len(bright)]
    followers, rest = dark[: len(bright)], dark[len(bright) :]
    found = rest[:1]
    for place in _spread(len(bright)):
        found += [bright[place], followers[place]]
    return found + rest[1:]


def _spread(count: int) -> list[int]:
    """0 … count − 1, so that the first ones stand far apart (van der Corput, base 2)."""
    return sorted(range(count), key=_mirrored)


def _mirrored(number: int) -> float:
    """The binary digits of number + 1 behind the point, in reverse."""
    digits = f"{number + 1:b}"[::-1]
    return int(digits, 2) / (1 << len(digits))


def _around(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Stimulus]:
    """What is not read at the centre, place by place; checkerboards last."""

    def place(unit: Unit) -> tuple[bool, int]:
        return unit[0].pattern == "checkerboard", WALK.index(unit[0].position)

    rows: list[Stimulus] = []
    for _, some in groupby(sorted(units, key=place), key=place):
        rows += _flat(_alternating(list(some), heat))
    return rows


def _flat(units: Sequence[Unit]) -> list[Stimulus]:
    return [one for unit in units for one in unit]
