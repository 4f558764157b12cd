"""Match readings with a rule: known patches, missing patches, patches out of reach.

Equal stimuli are repeats of one patch. Everything is decided once, on the
nominal target, and kept for all draws of the same readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import codes
from compliance.grading.hlg_target import SystemGamma, system_gamma, with_form_of_black
from compliance.grading.patches import EDGE, Plan, PlannedPatch, default_pattern
from compliance.grading.resolution import Resolution, resolution_of
from compliance.model import (
    CHROMATICITY_FLOOR,
    Integers,
    Measurement,
    Meter,
    Over,
    Place,
    Readings,
    Rule,
    Triple,
)
from compliance.quantities.measured import NOWHERE, Array, Index, Measured

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stimulus:
    """The identity of a patch, besides its codes."""

    position: str
    window: float
    pattern: str
    background: str
    seconds: float


@dataclass(frozen=True)
class Patches:
    """The P distinct patches of a set of R readings."""

    codes: Integers
    """(P, 3)"""
    signal: Array
    """(P, 3), not clipped"""
    stimulus: tuple[Stimulus, ...]
    rows: Integers
    """(R,) the patch each reading belongs to, readings in canonical order"""
    order: Integers
    """(R,) canonical order of the readings as rows of the file"""
    count: Integers
    """(P,) readings per patch"""
    level: Array
    neutral: Flags
    nominal: Array
    """(P,) cd/m²"""
    unreachable: Flags
    above: Flags
    beyond: Flags

    def __len__(self) -> int:
        return len(self.codes)

    def triple(self, index: int) -> Triple:
        """Code values of a patch."""
        return self._triples[index]

    def place(self, index: int) -> Place:
        """The key of a patch in the points of findings."""
        stimulus = self.stimulus[index]
        return self.triple(index), stimulus.position, stimulus.window

    def readings_of(self, index: int | np.int64) -> slice:
        """The readings of a patch, which follow each other in canonical order."""
        first = int(self._first[index])
        return slice(first, first + int(self.count[index]))

    @cached_property
    def _first(self) -> Integers:
        """(P,) place of the first reading of each patch."""
        return np.cumsum(self.count) - self.count

    def only(self, patches: Index) -> Patches:
        """Some of the patches (n,), in ascending order."""
        kept = np.isin(self.rows, patches)
        return replace(
            self,
            codes=self.codes[patches],
            signal=self.signal[patches],
            stimulus=tuple(self.stimulus[patch] for patch in patches.tolist()),
            rows=np.searchsorted(patches, self.rows[kept]),
            order=self.order[kept],
            count=self.count[patches],
            level=self.level[patches],
            neutral=self.neutral[patches],
            nominal=self.nominal[patches],
            unreachable=self.unreachable[patches],
            above=self.above[patches],
            beyond=self.beyond[patches],
        )

    def mean(self, xyz: Array) -> Array:
        """Means of repeats: (..., R, 3) in canonical order to (..., P, 3)."""
        total = np.zeros((*xyz.shape[:-2], len(self), 3))
        for repeat in range(int(self.count.max(initial=0))):
            more = np.flatnonzero(self.count > repeat)
            total[..., more, :] += xyz[..., self._first[more] + repeat, :]
        return total / self.count[:, None]

    def like(self, **changes: object) -> list[int | None]:
        """For each patch, that with the same codes, and the same stimulus apart from `changes`."""
        there = {key: at for at, key in enumerate(zip(self._triples, self.stimulus, strict=True))}
        wanted = {
            stimulus: replace(stimulus, **changes)  # type: ignore[arg-type]
            for stimulus in set(self.stimulus)
        }
        return [
            there.get((triple, wanted[stimulus]))
            for triple, stimulus in zip(self._triples, self.stimulus, strict=True)
        ]

    @cached_property
    def _triples(self) -> list[Triple]:
        return [(red, green, blue) for red, green, blue in self.codes.tolist()]


def canonical_order(readings: Readings, window: float) -> list[int]:
    """Rows sorted by stimulus, then by X, Y, Z, independent of the order in the file."""
    sizes = _windows(readings, window)

    def key(row: int) -> tuple[object, ...]:
        return (*_stimulus_key(readings, sizes, row), *(float(v) for v in readings.xyz[row]))

    return sorted(range(len(readings)), key=key)


def _windows(readings: Readings, window: float) -> Array:
    return np.where(np.isnan(readings.window), window, readings.window)


def _stimulus_key(readings: Readings, sizes: Array, row: int) -> tuple[object, ...]:
    triple = tuple(int(code) for code in readings.codes[row])
    return (
        *triple,
        readings.position[row],
        float(sizes[row]),
        readings.pattern[row] or default_pattern(float(sizes[row])),
        readings.background[row],
        float(readings.seconds[row]),
    )


def distinct_patches(readings: Readings, plan: Plan) -> Patches:
    """Group equal stimuli and compute the rule's target for each."""
    sizes = _windows(readings, plan.rule.window)
    order = canonical_order(readings, plan.rule.window)
    places: dict[tuple[object, ...], int] = {}
    rows = [places.setdefault(_stimulus_key(readings, sizes, row), len(places)) for row in order]
    triples = np.array([key[:3] for key in places], dtype=np.int64).reshape(-1, 3)
    stimulus = tuple(Stimulus(*key[3:]) for key in places)  # type: ignore[arg-type]
    encoding, model = plan.encoding, plan.model
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow), dtype=np.float64)
    return Patches(
        codes=triples,
        signal=signal,
        stimulus=stimulus,
        rows=np.array(rows, dtype=np.int64),
        order=np.array(order, dtype=np.int64),
        count=np.bincount(rows, minlength=len(places)).astype(np.int64),
        level=targets.level(signal, model),
        neutral=targets.neutral(signal, model),
        nominal=targets.nominal_xyz(signal, model)[:, 1],
        unreachable=targets.unreachable(signal, model),
        above=targets.above_peak(signal, model),
        beyond=targets.beyond_nominal(signal, model),
    )


@dataclass(frozen=True, slots=True)
class SelectedPatch:
    """A patch of the readings that a requirement uses."""

    index: int
    name: str
    planned: str = ""
    """Name of its planned patch, used for limits and exceptions."""


@dataclass(frozen=True, slots=True)
class Selection:
    """The patches of a requirement, and the missing ones."""

    chosen: tuple[SelectedPatch, ...]
    missing: tuple[str, ...]


class Matcher:
    """Find planned patches among the readings of one slot."""

    def __init__(self, plan: Plan, patches: Patches) -> None:
        self.plan = plan
        self.patches = patches
        self._tolerance = plan.half_code * (1 + EDGE) + 1e-12
        self._by_first = np.argsort(patches.signal[:, 0], kind="stable")
        self._first = patches.signal[self._by_first, 0]
        self._selected: dict[tuple[Over, bool], Selection] = {}

    # -- single patches

    def find(self, planned: PlannedPatch) -> int | None:
        """The patch that matches `planned`, the nearest of several.

        X'Y'Z' codes match within one code: published tables differ in the last digit.
        """
        tolerance = max(self._tolerance, planned.slack * (1 + EDGE) + 1e-12)
        if self.plan.model.kind == "xyz":
            tolerance = max(tolerance, self.plan.model.step * (1 + EDGE))
        some = self._alike_in_first(planned.signal[0], tolerance)
        apart = np.abs(self.patches.signal[some] - np.array(planned.signal))
        away = apart.max(axis=-1)
        near = [
            (round(float(away[at]), 9), float(apart[at].sum()), int(some[at]))
            for at in _true(away <= tolerance)
            if self._same_place(int(some[at]), planned)
        ]
        return min(near)[2] if near else None

    def _alike_in_first(self, signal: float, tolerance: float) -> NDArray[np.intp]:
        """The patches whose first channel is within a tolerance of a signal, or just beyond it."""
        width = tolerance * (1 + EDGE) + 1e-12
        start = np.searchsorted(self._first, signal - width, side="left")
        return self._by_first[start : np.searchsorted(self._first, signal + width, side="right")]

    def _same_place(self, index: int, planned: PlannedPatch) -> bool:
        there = self.patches.stimulus[index]
        return (
            there.position == planned.position
            and abs(there.window - planned.window) <= 1e-6
            and there.pattern == planned.pattern
            and there.seconds == planned.seconds
        )

    def at_window(self, name: str, window: float) -> int | None:
        """White, black or peak at the centre, in a window in % of area."""
        planned = self.plan.patches(name)[0]
        pattern = default_pattern(window)
        return self.find(replace(planned, window=window, pattern=pattern, position="centre"))

    # -- sets

    def select(self, over: Over, *, all_neutrals: bool) -> Selection:
        """The patches of `over`; with `all_neutrals` a ramp includes every neutral in range."""
        if (key := (over, all_neutrals)) not in self._selected:
            self._selected[key] = self._select(over, all_neutrals=all_neutrals)
        return self._selected[key]

    def _select(self, over: Over, *, all_neutrals: bool) -> Selection:
        chosen: dict[int, SelectedPatch] = {}
        missing: list[str] = []
        for name in over.patches:
            planned = self.plan.asked(name, over)
            is_ramp = bool(planned) and planned[0].neutral_ramp
            if is_ramp:
                selected = self._ramp(planned, over, missing, all_neutrals=all_neutrals)
            else:
                selected = self._single(planned, missing)
            for patch in selected:
                chosen.setdefault(patch.index, patch)
        ordered = tuple(chosen[index] for index in sorted(chosen))
        return Selection(ordered, tuple(dict.fromkeys(missing)))

    def _single(self, planned: list[PlannedPatch], missing: list[str]) -> list[SelectedPatch]:
        """Patches that must be measured with their own codes."""
        selected = []
        for patch in planned:
            index = self.find(patch)
            if index is None:
                missing.append(self.described(patch))
                continue
            if self.patches.count[index] < patch.count:
                missing.append(f"{self.described(patch)} ({patch.count} readings)")
            selected.append(SelectedPatch(index, patch.name, patch.name))
        return selected

    def _ramp(
        self, planned: list[PlannedPatch], over: Over, missing: list[str], *, all_neutrals: bool
    ) -> list[SelectedPatch]:
        """Neutrals in range: all of them, or the one nearest to each planned level.

        Any neutral within half a step matches a planned level. Each neutral belongs to
        its nearest level, and `only` and `except` apply to it as to that level.
        """
        members = self._members(planned[0].set, over)
        nearest: list[int] = []
        for patch in planned:
            met = members.get(patch, [])
            if not met:
                missing.append(self.described(patch))
            else:
                nearest.append(met[0])
        in_range = self.plan.in_range(self.patches.level, self.patches.nominal, over)
        selected = []
        for patch, indices in members.items():
            for index in indices:
                if not in_range[index] or not (all_neutrals or index in nearest):
                    continue
                label = f"{patch.set} {100 * self.patches.level[index]:.4g} %"
                name = patch.name if index == indices[0] else label
                selected.append(SelectedPatch(index, name, patch.name))
        return selected

    def _members(self, name: str, over: Over) -> dict[PlannedPatch, list[int]]:
        """Neutrals within half a step of each level of a ramp, the nearest first."""
        ramp = self.plan.rule.sets[name]
        levels = self.plan.ramp_levels(ramp)
        half_step = 0.5 * abs(levels[1] - levels[0]) * (1 + EDGE)
        low, high = min(levels) - self.plan.half_code, max(levels) + self.plan.half_code
        patches = self.patches
        usable = (
            patches.neutral & ~patches.beyond & (patches.level >= low) & (patches.level <= high)
        )
        members: dict[PlannedPatch, list[int]] = {}
        for patch in self.plan.asked(name, replace(over, signal=None, target=None)):
            wanted = float(targets.level(np.array([patch.signal]), self.plan.model)[0])
            away = np.abs(patches.level - wanted)
            near = [i for i in _true(usable & (away <= half_step)) if self._same_place(i, patch)]
            members[patch] = sorted(near, key=lambda i: (away[i], i))
        return members

    def described(self, patch: PlannedPatch) -> str:
        """A planned patch in words, for lists of what is missing."""
        words = [patch.name]
        if patch.position != "centre" and patch.position not in patch.name:
            words.append(patch.position)
        if patch.window != self.plan.rule.window and "window" not in patch.varies:
            words.append(f"{patch.window:g} % window")
        if patch.pattern == "checkerboard":
            words.append(patch.pattern)
        if patch.seconds:
            words.append(f"after {patch.seconds:g} s")
        return ", ".join(words)


def _true(flags: Flags) -> list[int]:
    return [int(index) for index in np.flatnonzero(flags)]


class DeclaredFacts(NamedTuple):
    """Facts that the job states and no reading shows."""

    technology: str | None = None
    recorded: Mapping[str, float | None] = {}
    """Fields of `RECORDED_FIELDS`; None if not stated."""
    declared: Mapping[str, float] = {}
    nominal_peak: float | None = None
    """cd/m²"""


@dataclass(frozen=True)
class MatchedReadings:
    """Rule, readings, meter and job of one assessment, matched."""

    rule: Rule
    plan: Plan
    patches: Patches
    matcher: Matcher
    system_gamma: SystemGamma | None
    """of an HLG target; the view's model has it, the plan's keeps that of the rule"""
    view: Measured
    lowest: float
    """the meter's lowest luminance in cd/m²; 0 without a meter"""
    lowest_stated: bool
    """whether the meter's file states it itself"""
    chromaticity_floor: float
    stated: DeclaredFacts
    resolution: Resolution
    deviation: Array
    """(R,) stated deviation of each reading's Y in %, canonical order; NaN if not stated"""

    def built_in(self, name: str) -> int | None:
        """Patch index of the rule's own `white`, `black` or `peak`; None if not measured."""
        return self.matcher.find(self.plan.patches(name)[0])

    def luminance(self, name: str) -> float | None:
        """Measured cd/m² of the rule's own `white`, `black` or `peak`; None if not measured."""
        index = self.built_in(name)
        return None if index is None else float(self.view.xyz[index, 1])

    @property
    def hidden_blacks(self) -> Flags:
        """(P,) blacks that read less than the meter's lowest luminance."""
        return _hidden_blacks(self.view, self.patches, self.plan)

    def only(self, patches: Index) -> MatchedReadings:
        """The case, had only some of its patches (n,) been read; in ascending order.

        They keep their whites, blacks, centres and first readings only if these are among them.
        """
        narrowed = self.patches.only(patches)
        rows = np.flatnonzero(np.isin(self.patches.rows, patches))
        place = np.full(len(self.patches) + 1, NOWHERE, dtype=np.int64)
        place[patches] = np.arange(len(patches))
        view = self.view
        greys = {int(place[each]): place[some] for each, some in view.greys.items()}
        exponents = {int(place[each]): told for each, told in view.exponents.items()}
        return replace(
            self,
            patches=narrowed,
            matcher=Matcher(self.plan, narrowed),
            deviation=self.deviation[rows],
            resolution=self.resolution.at(rows),
            view=view._replace(
                xyz=view.xyz[patches],
                readings=view.readings[rows],
                rows=narrowed.rows,
                signal=narrowed.signal,
                level=narrowed.level,
                white=place[view.white[patches]],
                black=place[view.black[patches]],
                centre=place[view.centre[patches]],
                start=place[view.start[patches]],
                black_hidden=view.black_hidden[patches],
                greys={each: some[some != NOWHERE] for each, some in greys.items()},
                exponents=exponents,
            ),
        )

    def with_readings(self, readings: Array) -> MatchedReadings:
        """The case, had the meter read (R, 3) XYZ in cd/m² in canonical order."""
        view = self.view._replace(readings=readings, xyz=self.patches.mean(readings))
        return replace(self, view=_with_blacks(view, self.patches, self.matcher))


_MATCHED: WeakKeyDictionary[Measurement, MatchedReadings] = WeakKeyDictionary()


def matched(measurement: Measurement) -> MatchedReadings:
    """The graded readings of a measurement matched with its rule, computed only once.

    Raises RuleError if the encoding does not suit the target.
    """
    if measurement not in _MATCHED:
        _MATCHED[measurement] = match_readings(
            measurement.rule,
            measurement.graded,
            meter=measurement.meter,
            stated=_declared_facts(measurement),
        )
    return _MATCHED[measurement]


def _declared_facts(measurement: Measurement) -> DeclaredFacts:
    job, slot, entry = measurement.job, measurement.slot, measurement.entry
    if job is None or slot is None:
        return DeclaredFacts(measurement.technology)
    age = None
    if slot.calibrated is not None and entry is not None:
        passed = (entry.measured - slot.calibrated).total_seconds() / 86400
        age = passed if passed >= 0 else None
    return DeclaredFacts(
        technology=measurement.technology,
        recorded={
            "surround": job.room.surround,
            "ambient": job.room.ambient,
            "warm-up": slot.warm_up,
            "hours": slot.display.hours,
            "calibration-age": age,
        },
        declared={name: declaration.value for name, declaration in slot.declared.items()},
        nominal_peak=slot.nominal_peak,
    )


def match_readings(
    rule: Rule,
    readings: Readings,
    *,
    meter: Meter | None = None,
    stated: DeclaredFacts | None = None,
) -> MatchedReadings:
    """Match readings to the rule; raises RuleError if the encoding does not suit the target."""
    plan = Plan(rule, readings.encoding)
    patches = distinct_patches(readings, plan)
    matcher = Matcher(plan, patches)
    lowest = meter.lowest if meter else 0.0
    stated = stated or DeclaredFacts()
    gamma = _system_gamma(matcher, readings, stated)
    return MatchedReadings(
        rule=rule,
        plan=plan,
        patches=patches,
        matcher=matcher,
        system_gamma=gamma,
        view=_view(matcher, readings, lowest, gamma),
        lowest=lowest,
        lowest_stated=meter is not None and meter.stated_lowest is not None,
        chromaticity_floor=meter.chromaticity_floor if meter else CHROMATICITY_FLOOR,
        stated=stated,
        resolution=resolution_of(
            readings.xyz[patches.order],
            meter.uncertainty.resolution if meter and meter.uncertainty else None,
        ),
        deviation=readings.deviation[patches.order],
    )


def _system_gamma(
    matcher: Matcher, readings: Readings, stated: DeclaredFacts
) -> SystemGamma | None:
    """The system gamma of an HLG target, by the measured peak and the slot's nominal one."""
    plan, patches = matcher.plan, matcher.patches
    if plan.model.curve != "hlg":
        return None
    places = (matcher.find(plan.patches(name)[0]) for name in ("peak", "white"))
    peak = next((place for place in places if place is not None), None)
    measured = None
    if peak is not None:
        rows = patches.order[patches.readings_of(peak)]
        measured = float(readings.xyz[rows, 1].mean())
    return system_gamma(plan.rule, measured, stated.nominal_peak)


def _view(
    matcher: Matcher, readings: Readings, lowest: float, gamma: SystemGamma | None
) -> Measured:
    plan, patches = matcher.plan, matcher.patches
    ordered = readings.xyz[patches.order]
    windows = [stimulus.window for stimulus in patches.stimulus]
    whites = {window: matcher.at_window("white", window) for window in set(windows)}
    blacks = {window: matcher.at_window("black", window) for window in {*windows, plan.rule.window}}
    white = _index(whites[window] for window in windows)
    black = _index(
        blacks[plan.rule.window] if blacks[window] is None else blacks[window] for window in windows
    )
    view = Measured(
        xyz=patches.mean(ordered),
        readings=ordered,
        rows=patches.rows,
        model=plan.model if gamma is None else plan.model._replace(system_gamma=gamma.value),
        signal=patches.signal,
        level=patches.level,
        white=white,
        black=black,
        centre=_index(patches.like(position="centre")),
        start=_index(patches.like(seconds=0.0)),
        black_hidden=np.zeros(len(patches), dtype=np.bool_),
        lowest=lowest,
        greys={},
        exponents={},
    )
    return _with_blacks(view, patches, matcher)


def _with_blacks(view: Measured, patches: Patches, matcher: Matcher) -> Measured:
    """The view, with the form of an HLG display's black, the blacks that the meter cannot see, and
    the greys that tell both."""
    hidden = _hidden_blacks(view, patches, matcher.plan)
    view = view._replace(
        black_hidden=(view.black != NOWHERE) & hidden[view.black],
        greys=_greys_of_whites(view, patches),
    )
    white = matcher.find(matcher.plan.patches("white")[0])
    return with_form_of_black(view, white).with_exponents()


def _hidden_blacks(view: Measured, patches: Patches, plan: Plan) -> Flags:
    return np.asarray((patches.level <= plan.half_code) & (view.xyz[:, 1] < view.lowest))


DARKEST_GREY = 0.1
"""cd/m² of nominal target from which greys tell a lifted black (practice)."""


def _greys_of_whites(view: Measured, patches: Patches) -> Mapping[int, Index]:
    """The greys at the place of each white, by the white's index."""
    white = view.white
    usable = patches.neutral & ~patches.beyond & (view.xyz[:, 1] >= view.lowest)
    usable &= patches.nominal >= DARKEST_GREY * (1 - EDGE)
    plain = [replace(stimulus, window=0.0) for stimulus in patches.stimulus]
    greys: dict[int, Index] = {}
    for each in np.unique(white[white != NOWHERE]):
        beside = [index for index in _true(usable & (white == each)) if plain[index] == plain[each]]
        greys[int(each)] = np.array(beside, dtype=np.int64)
    return greys


def _index(places: Iterable[int | None]) -> Index:
    return np.array([NOWHERE if place is None else place for place in places], dtype=np.int64)
