"""The patches of several rules as one list of stimuli, in a good order of measuring.

- The rule's white is read at the start, in the middle and at the end, or more often if a rule
  or the length of the plan requires it, evenly spread, so that drift shows.
- In between, patches alternate: one of the darker half, one of the brighter, the brightest of
  all spread evenly and each followed by the darkest. So a panel neither heats nor ages
  needlessly, and a power limiter recovers.
- A patch that is read again after a time stays on the screen meanwhile.
- Places other than the centre follow the white in the middle, one after the other around the
  screen, so that the meter is moved as seldom as possible.
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
    Array,
    Encoding,
    Over,
    PatchSet,
    Readings,
    Requirement,
    Rule,
    Triple,
)
from compliance.quantities.catalogue import QUANTITIES, Quantity, is_stated


def planned(rule: Rule, encoding: Encoding | None = None) -> list[PlannedPatch]:
    """The patches to measure for a rule, each stimulus once, with the number of its readings."""
    plan = Plan(rule, encoding or rule.encoding)
    patches: dict[tuple[object, ...], PlannedPatch] = {}
    for patch in _required(rule, plan):
        place = (patch.position, patch.window, patch.pattern, patch.seconds)
        key = (*patch.signal, *place)
        count = max(patch.count, patches[key].count if key in patches else 1)
        patches[key] = replace(patches.get(key, patch), count=count)
    return list(patches.values())


def _required(rule: Rule, plan: Plan) -> Iterator[PlannedPatch]:
    yield from plan.patches("white")
    yield from plan.patches("black")
    for requirement in rule.requirements:
        if is_stated(requirement.quantity):
            continue
        for patch in _patches_of(requirement, plan):
            yield patch
            yield from _company(requirement, plan, patch)


def _patches_of(requirement: Requirement, plan: Plan) -> Iterator[PlannedPatch]:
    """The patches of a requirement."""
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
    """Red, green and blue, and if the quantity uses them the white of the same drive and black."""
    patch_set = plan.primaries_of(requirement.over)
    hues = plan.hues_of(requirement.over)
    yield from hues
    if "white" in QUANTITIES[requirement.quantity].roles and hues:
        yield plan.white_of_drive(patch_set, hues[0])
        yield replace(hues[0], name="black", signal=(0.0, 0.0, 0.0))


def _company(requirement: Requirement, plan: Plan, patch: PlannedPatch) -> Iterator[PlannedPatch]:
    """The patches to compare a patch with: white and black of its window, the centre, the start."""
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
    """Readings of the plan on a display that is exactly the rule's target, with black in cd/m²."""
    plan = Plan(rule, encoding)
    patches = planned(rule, encoding)
    rows = [patch for patch in patches for _ in range(patch.count)]
    triples = np.array(
        [codes.encode(np.array(row.signal), encoding.bits, encoding.narrow) for row in rows]
    )
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow), dtype=np.float64)
    level = np.full(len(rows), plan.model.white_luminance)
    light = targets.target_xyz(signal, plan.model, level, np.full(len(rows), black))
    return Readings(
        encoding=encoding,
        codes=triples.astype(np.int64),
        xyz=no_darker(light, black, plan.model),
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


def no_darker(light: Array, black: float, model: targets.TargetModel) -> Array:
    """XYZ (n, 3) in cd/m², the black of the white's chromaticity where it is brighter."""
    return np.where(light[:, 1:2] < black, black * model.white_xyz, light)


def moves_display(quantity: Quantity) -> bool:
    """Whether a display on a limit of this quantity is another than the ideal one."""
    by_range = quantity.extreme is not None and quantity.extreme.kind == "range"
    return quantity.reading or quantity.ratio or quantity.compares == "centre" or by_range


def readings_at_limit(
    requirement: Requirement, ideal: Readings, rule: Rule, limit: float
) -> Readings:
    """The ideal display with one requirement's value moved to a one-sided limit.

    Luminances are moved by their own patches, contrasts by the black, ranges by one of
    the readings; other quantities do not move it (`moves_display`).
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
    """(R,) true for the readings of a planned patch."""
    encoding = readings.encoding
    triple = codes.encode(np.array(patch.signal), encoding.bits, encoding.narrow)
    same = np.all(readings.codes == triple, axis=1)
    same &= (np.array(readings.position) == patch.position) & (readings.window == patch.window)
    same &= (np.array(readings.pattern) == patch.pattern) & (readings.seconds == patch.seconds)
    return np.asarray(same)


COLUMNS_OF_GRID = range(2, 34)
"""Possible numbers of points of a grid along each channel."""
POINTS: Mapping[int, str] = {5: "5-points", 9: "9-points", 13: "13-points"}
"""Possible numbers of points of the screen at which white is read (EBU Tech 3325)."""
WINDOWS = (1.0, 4.0, 10.0, 25.0, 81.0, 100.0)
"""% of area at which a peak is read (practice)."""
SUSTAINED = (0.0, 60.0)
"""s from the start of each of them to its reading (practice)."""


@dataclass(frozen=True, slots=True)
class ExtraPatches:
    """Patches of a slot to measure in addition to its rules'."""

    points: int = 0
    """Points of the screen at which white is read: one of `POINTS`, or 0 for none."""
    windows: bool = False
    """The peak (in standard range the white) in each of `WINDOWS`, at once and sustained."""


@dataclass(frozen=True, slots=True)
class Stimulus:
    """One patch to show and read."""

    codes: Triple
    position: str
    window: float
    """% of area"""
    pattern: str
    seconds: float
    """Time from its start to its reading."""
    level: float
    """Nominal luminance in cd/m², the highest among the rules."""
    name: str
    anchor: bool = False
    """The rule's white at the centre, read repeatedly for stability."""
    count: int = 1
    """Number of its readings."""

    @property
    def shown(self) -> tuple[Triple, str, float, str]:
        """The content of the screen, regardless of the time of reading."""
        return self.codes, self.position, self.window, self.pattern

    @property
    def identity(self) -> tuple[object, ...]:
        """The key that two readings share if they are repeats of each other."""
        return (*self.shown, self.seconds)


def merged(
    rules: Sequence[Rule],
    encoding: Encoding,
    *,
    technology: str | None = None,
    points: int = 0,
    further: ExtraPatches | None = None,
) -> tuple[Stimulus, ...]:
    """Every patch that the rules require on a display of that technology, each once.

    `points` adds a grid of that many points for each channel of RGB, `further` other extra
    patches; both are shown as the first rule shows its patches. Raises RuleError if a rule and
    the encoding do not go together.
    """
    stimuli: dict[tuple[object, ...], Stimulus] = {}
    for rule in rules:
        for stimulus in _stimuli_of(rule, encoding, technology):
            _add(stimuli, stimulus)
    for stimulus in _extra(rules[0], encoding, further or ExtraPatches()):
        _add(stimuli, stimulus)
    if points:
        for stimulus in grid(rules[0], encoding, points):
            _add(stimuli, stimulus)
    return tuple(stimuli.values())


def _add(stimuli: dict[tuple[object, ...], Stimulus], stimulus: Stimulus) -> None:
    before = stimuli.get(stimulus.identity, stimulus)
    stimuli[stimulus.identity] = replace(
        before,
        level=max(before.level, stimulus.level),
        anchor=before.anchor or stimulus.anchor,
        count=max(before.count, stimulus.count),
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


def _extra(rule: Rule, encoding: Encoding, further: ExtraPatches) -> Iterator[Stimulus]:
    """The stimuli that are measured in addition to the rule's."""
    plan = Plan(rule, encoding)
    patches: list[PlannedPatch] = []
    if further.points:
        places = POSITION_GROUPS[POINTS[further.points]]
        patches += plan.expanded(PatchSet("points", "positions", positions=places, of="white"))
    if further.windows:
        sizes = plan.expanded(PatchSet("windows", "windows", windows=WINDOWS, of="peak"))
        patches += [replace(patch, seconds=time) for patch in sizes for time in SUSTAINED]
    for patch, level in zip(patches, _levels_of(plan, patches), strict=True):
        yield _stimulus(patch, encoding, level)


def _place(patch: PlannedPatch) -> tuple[object, ...]:
    return patch.position, patch.window, patch.pattern, patch.seconds


def _levels_of(plan: Plan, patches: Sequence[PlannedPatch]) -> list[float]:
    return _levels(plan, np.array([patch.signal for patch in patches]))


def _levels(plan: Plan, signal: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[float]:
    """cd/m² of the rule's display, at most its peak."""
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
    Raises ValueError if the encoding is not RGB or the number of points is not possible.
    """
    if encoding.kind != "rgb":
        raise ValueError(f"{encoding.name} has X′Y′Z′ codes; expected RGB for a grid")
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
"""The order of places."""

Unit = tuple[Stimulus, ...]
"""Stimuli read without another patch in between."""


def ordered(stimuli: Sequence[Stimulus]) -> tuple[Stimulus, ...]:
    """Every reading in the order of measuring, each with a count of 1."""
    anchors = sorted((each for each in stimuli if each.anchor), key=lambda each: each.level)
    units = list(_units(stimuli))
    heat = panel_load(stimuli)
    centre = [unit for unit in units if _at_centre(unit)]
    away = [unit for unit in units if not _at_centre(unit)]
    white = [replace(anchor, count=1) for anchor in anchors]
    often = 1 + math.ceil(len(centre) / MOST_BETWEEN)
    times = max([LEAST_ANCHORS, often, *(anchor.count for anchor in anchors)])
    segments = _dealt(centre, times - 1, heat)
    rows = [*white]
    for number, segment in enumerate(segments, 1):
        rows += _flat(_alternating(segment, heat))
        rows += white
        if number == len(segments) // 2:
            rows += _around(away, heat)
    return tuple(rows)


def panel_load(stimuli: Sequence[Stimulus]) -> dict[tuple[object, ...], float]:
    """The load of each patch on the panel, 0 to 1, by its `shown`.

    The larger of two shares: of the brightest patch's luminance, and of the largest light
    over the whole screen.
    """
    level = max((each.level for each in stimuli), default=0.0) or 1.0
    light = max((each.level * each.window for each in stimuli), default=0.0) or 1.0
    load: dict[tuple[object, ...], float] = {}
    for stimulus in stimuli:
        share = max(stimulus.level / level, stimulus.level * stimulus.window / light)
        load[stimulus.shown] = max(share, load.get(stimulus.shown, 0.0))
    return load


def _units(stimuli: Sequence[Stimulus]) -> Iterator[Unit]:
    """All but the anchors: a unit for each patch, or for each series in time."""
    together: dict[tuple[object, ...], list[Stimulus]] = {}
    for stimulus in stimuli:
        together.setdefault(stimulus.shown, []).append(stimulus)
    for series in together.values():
        series.sort(key=lambda each: each.seconds)
        lasting = any(each.seconds for each in series)
        if lasting or not series[0].anchor:
            yield tuple(replace(each, count=1, anchor=False) for each in series)
        for stimulus in series:
            if not stimulus.anchor:
                yield from [(replace(stimulus, count=1),)] * (stimulus.count - 1)


def _at_centre(unit: Unit) -> bool:
    """Whether a unit is read in turn at the centre; checkerboards are set up separately."""
    return unit[0].position == "centre" and unit[0].pattern != "checkerboard"


def _coolest_first(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Unit]:
    """The units by their heating of the panel, more if they stay on the screen."""

    def key(unit: Unit) -> tuple[float, Triple, float]:
        patch = unit[0]
        return heat[patch.shown] * (1 + unit[-1].seconds / 60), patch.codes, patch.window

    return sorted(units, key=key)


def _dealt(
    units: Sequence[Unit], hands: int, heat: dict[tuple[object, ...], float]
) -> list[list[Unit]]:
    """The units dealt into hands with the same share of bright and dark ones."""
    ranked = _coolest_first(units, heat)
    return [ranked[hand::hands] for hand in range(hands)]


def _alternating(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Unit]:
    """Dark, bright, dark …: the brightest evenly spread, each followed by the darkest left."""
    ranked = _coolest_first(units, heat)
    bright = ranked[::-1][: max(0, (len(ranked) - 1) // 2)]
    dark = ranked[: len(ranked) - len(bright)]
    followers, rest = dark[: len(bright)], dark[len(bright) :]
    order = rest[:1]
    for place in _spread(len(bright)):
        order += [bright[place], followers[place]]
    return order + rest[1:]


def _spread(count: int) -> list[int]:
    """0 … count − 1, the first ones far apart (van der Corput, base 2)."""
    return sorted(range(count), key=_mirrored)


def _mirrored(number: int) -> float:
    """The binary digits of number + 1 behind the point, in reverse."""
    digits = f"{number + 1:b}"[::-1]
    return int(digits, 2) / (1 << len(digits))


def _around(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Stimulus]:
    """The units that are not read at the centre, place by place; checkerboards last."""

    def place(unit: Unit) -> tuple[bool, int]:
        return unit[0].pattern == "checkerboard", WALK.index(unit[0].position)

    rows: list[Stimulus] = []
    for _, some in groupby(sorted(units, key=place), key=place):
        rows += _flat(_alternating(list(some), heat))
    return rows


def _flat(units: Sequence[Unit]) -> list[Stimulus]:
    return [stimulus for unit in units for stimulus in unit]
