"""Readings to index arrays: which patch is what, what is missing, what is out of reach.

Equal stimuli are repeats of one patch. Everything is decided once, on the
nominal target, and kept for every draw of the same readings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colorimetry import codes
from compliance.model import Integers, Over, Readings, Triple
from compliance.patches import EDGE, Plan, PlannedPatch, default_pattern

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stimulus:
    """What makes a patch that patch, besides its codes."""

    position: str
    window: float
    pattern: str
    background: str
    seconds: float


@dataclass(frozen=True)
class Patches:
    """The distinct patches of a set of readings; P of them, from R readings."""

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
        red, green, blue = (int(code) for code in self.codes[index])
        return red, green, blue

    def mean(self, xyz: Array) -> Array:
        """Means of repeats: (..., R, 3) in canonical order to (..., P, 3)."""
        total = np.zeros((*xyz.shape[:-2], len(self), 3))
        for row, patch in enumerate(self.rows):
            total[..., patch, :] += xyz[..., row, :]
        return total / self.count[:, None]

    def like(self, index: int, **changes: object) -> int | None:
        """The patch with the same codes but for what `changes` says of its stimulus."""
        wanted = replace(self.stimulus[index], **changes)  # type: ignore[arg-type]
        for other in np.flatnonzero(np.all(self.codes == self.codes[index], axis=1)):
            if self.stimulus[other] == wanted:
                return int(other)
        return None


def canonical_order(readings: Readings, window: float) -> list[int]:
    """Rows sorted by stimulus, then by X, Y, Z, so that the order in the file is no matter."""
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
    """Group equal stimuli and work out what the rule's target makes of each."""
    sizes = _windows(readings, plan.rule.window)
    order = canonical_order(readings, plan.rule.window)
    found: dict[tuple[object, ...], int] = {}
    rows = [found.setdefault(_stimulus_key(readings, sizes, row), len(found)) for row in order]
    triples = np.array([key[:3] for key in found], dtype=np.int64).reshape(-1, 3)
    stimulus = tuple(Stimulus(*key[3:]) for key in found)  # type: ignore[arg-type]
    encoding, model = plan.encoding, plan.model
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow), dtype=np.float64)
    return Patches(
        codes=triples,
        signal=signal,
        stimulus=stimulus,
        rows=np.array(rows, dtype=np.int64),
        order=np.array(order, dtype=np.int64),
        count=np.bincount(rows, minlength=len(found)).astype(np.int64),
        level=targets.level(signal, model),
        neutral=targets.neutral(signal, model),
        nominal=targets.nominal_xyz(signal, model)[:, 1],
        unreachable=targets.unreachable(signal, model),
        above=targets.above_peak(signal, model),
        beyond=targets.beyond_nominal(signal, model),
    )


@dataclass(frozen=True, slots=True)
class Chosen:
    """A patch of the readings that plays a part in a requirement."""

    index: int
    name: str
    planned: str = ""
    """Name of the planned patch it stands for, by which limits and exceptions go."""


@dataclass(frozen=True, slots=True)
class Selection:
    """The patches a requirement is about, and what it misses."""

    chosen: tuple[Chosen, ...]
    missing: tuple[str, ...]


class Matcher:
    """Finds planned patches among the readings of one slot."""

    def __init__(self, plan: Plan, patches: Patches) -> None:
        self.plan = plan
        self.patches = patches
        self._tolerance = plan.half_code * (1 + EDGE) + 1e-12

    # -- single patches

    def find(self, planned: PlannedPatch) -> int | None:
        """The patch that shows `planned`, the nearest if several do."""
        away = np.abs(self.patches.signal - np.array(planned.signal)).max(axis=-1)
        tolerance = max(self._tolerance, planned.slack * (1 + EDGE) + 1e-12)
        if self.plan.model.kind == "xyz" and self._is_neutral(planned):
            tolerance = max(tolerance, self.plan.model.step * (1 + EDGE))
        near = [i for i in _true(away <= tolerance) if self._same_place(i, planned)]
        return min(near, key=lambda i: (away[i], i)) if near else None

    def _is_neutral(self, planned: PlannedPatch) -> bool:
        return bool(targets.neutral(np.array([planned.signal]), self.plan.model)[0])

    def _same_place(self, index: int, planned: PlannedPatch) -> bool:
        there = self.patches.stimulus[index]
        return (
            there.position == planned.position
            and abs(there.window - planned.window) <= 1e-6
            and there.pattern == planned.pattern
            and there.seconds == planned.seconds
        )

    def built_in(
        self, name: str, *, window: float, pattern: str, position: str = "centre"
    ) -> int | None:
        """White, black or peak at a window, pattern and place."""
        planned = self.plan.patches(name)[0]
        return self.find(replace(planned, window=window, pattern=pattern, position=position))

    # -- sets

    def select(self, over: Over, *, all_neutrals: bool) -> Selection:
        """The patches of `over`; with `all_neutrals` a ramp takes every neutral in range."""
        chosen: dict[int, Chosen] = {}
        missing: list[str] = []
        for name in over.patches:
            planned = self.plan.asked(name, over)
            is_ramp = bool(planned) and planned[0].neutral_ramp
            if is_ramp:
                found = self._ramp(planned, over, missing, all_neutrals=all_neutrals)
            else:
                found = self._single(planned, missing)
            for one in found:
                chosen.setdefault(one.index, one)
        ordered = tuple(chosen[index] for index in sorted(chosen))
        return Selection(ordered, tuple(dict.fromkeys(missing)))

    def _single(self, planned: list[PlannedPatch], missing: list[str]) -> list[Chosen]:
        """Patches that have to be met by their own codes."""
        found = []
        for patch in planned:
            index = self.find(patch)
            if index is None:
                missing.append(self.described(patch))
                continue
            if self.patches.count[index] < patch.count:
                missing.append(f"{self.described(patch)} ({patch.count} readings)")
            found.append(Chosen(index, patch.name, patch.name))
        return found

    def _ramp(
        self, planned: list[PlannedPatch], over: Over, missing: list[str], *, all_neutrals: bool
    ) -> list[Chosen]:
        """Neutrals in range: all of them, or the one nearest to each planned level.

        A planned level is met by any neutral within half a step. Each neutral belongs to
        the level it is nearest to, and goes where `only` and `except` send that level.
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
        found = []
        for patch, indices in members.items():
            for index in indices:
                if not in_range[index] or not (all_neutrals or index in nearest):
                    continue
                label = f"{patch.set} {100 * self.patches.level[index]:.4g} %"
                name = patch.name if index == indices[0] else label
                found.append(Chosen(index, name, patch.name))
        return found

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
