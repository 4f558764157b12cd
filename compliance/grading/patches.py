"""Patch sets of a rule as signals, for the measuring plan and for matching.

Every planned patch is stored in the normalised signal of the readings' encoding,
quantised to the rule's own encoding if both are of the same kind, so that codes
of two encodings agree within half a code of the coarser one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import codes, spaces
from compliance.model import BUILT_IN_SETS, Encoding, Over, PatchSet, Rule
from compliance.targets import TargetModel, target_model

Array = NDArray[np.float64]

HUES = {
    "red": (1, 0, 0),
    "green": (0, 1, 0),
    "blue": (0, 0, 1),
    "cyan": (0, 1, 1),
    "magenta": (1, 0, 1),
    "yellow": (1, 1, 0),
}
"""Linear components of the target's primaries and secondaries at one drive."""

EDGE = 1e-9
"""Relative slack of the ends of a range: a white of 100 stays in `target: [1, 100]`."""

PRIMARIES = PatchSet(name="primaries", kind="hues", hues=("red", "green", "blue"))
"""Used if a rule has no set of hues."""

PEAK_WINDOW = 10.0
"""% of area, of the built-in set `peak`."""

HDR_NEUTRAL = 100.0
"""cd/m², largest neutral drive of hues in PQ and HLG if the set states none."""


class _Plain(TypedDict):
    """Fields that a set gives to all its patches."""

    window: float | None
    pattern: str | None


@dataclass(frozen=True, slots=True)
class PlannedPatch:
    """One stimulus of a set."""

    name: str
    set: str
    signal: tuple[float, float, float]
    position: str
    window: float
    pattern: str
    seconds: float = 0.0
    varies: tuple[str, ...] = ()
    """Dimensions that the set enumerates itself: `position`, `window`."""
    neutral_ramp: bool = False
    count: int = 1
    """Required number of readings."""
    slack: float = 0.0
    """Half a code of its list's encoding, in normalised signal."""


class Plan:
    """The sets of a rule for readings in one encoding, and the tolerance of codes."""

    def __init__(self, rule: Rule, encoding: Encoding) -> None:
        self.rule = rule
        self.encoding = encoding
        self.model = target_model(rule, encoding)
        self._emitting = self._emitting_model()
        same_kind = rule.encoding.kind == encoding.kind
        rule_step = float(codes.step(rule.encoding.bits, rule.encoding.narrow))
        self.half_code = 0.5 * max(self.model.step, rule_step if same_kind else 0.0)
        """Half a code of the coarser encoding, in normalised signal."""
        self._known: dict[str, tuple[PlannedPatch, ...]] = {}

    def _emitting_model(self) -> TargetModel:
        """The model with the quantisation of the planned codes."""
        rule, encoding = self.rule, self.encoding
        return target_model(
            rule, rule.encoding if rule.encoding.kind == encoding.kind else encoding
        )

    def patches(self, name: str) -> tuple[PlannedPatch, ...]:
        """The patches of a built-in or named set, in order."""
        if name not in self._known:
            self._known[name] = self._built(name)
        return self._known[name]

    def _built(self, name: str) -> tuple[PlannedPatch, ...]:
        if name in BUILT_IN_SETS:
            window = PEAK_WINDOW if name == "peak" else self.rule.window
            return (self._patch(name, name, self.signal_of_built_in(name), window=window),)
        return self.expanded(self.rule.sets[name])

    def expanded(self, patch_set: PatchSet) -> tuple[PlannedPatch, ...]:
        """The patches of a set, in order."""
        return tuple(self._expand(patch_set))

    def asked(self, name: str, over: Over) -> list[PlannedPatch]:
        """The patches of a set, narrowed or moved by `over`."""
        patches = list(self.patches(name))
        if over.only is not None:
            patches = [patch for patch in patches if patch.name in over.only]
        patches = [patch for patch in patches if patch.name not in over.exclude]
        if over.signal is not None or over.target is not None:
            signal = np.array([patch.signal for patch in patches]).reshape(-1, 3)
            level = targets.level(signal, self.model)
            nominal = targets.nominal_xyz(signal, self.model)[:, 1]
            inside = self.in_range(level, nominal, over)
            patches = [patch for patch, keep in zip(patches, inside, strict=True) if keep]
        patches = _aimed(patches, "position", over.position)
        patches = _aimed(patches, "window", over.window)
        patches = _aimed(patches, "seconds", over.seconds)
        return _aimed(patches, "pattern", None if over.pattern is None else (over.pattern,))

    def in_range(self, level: Array, nominal: Array, over: Over) -> NDArray[np.bool_]:
        """(P,): signal level and nominal target (P,) lie in the ranges of `over`, ends included.

        The ends of a signal range include half a code more.
        """
        inside = np.ones(np.shape(level), dtype=np.bool_)
        if over.signal is not None:
            slack = self.half_code * (1 + EDGE)
            inside &= (level >= over.signal[0] - slack) & (level <= over.signal[1] + slack)
        if over.target is not None:
            low, high = over.target
            inside &= (nominal >= low * (1 - EDGE)) & (nominal <= high * (1 + EDGE))
        return inside

    def signal_of_built_in(self, name: str) -> Array:
        """(3,) signal of `white`, `black` or `peak` in the readings' encoding."""
        if name == "white":
            return targets.white_signal(self.model)
        if name == "peak":
            return targets.peak_signal(self.model)
        return np.zeros(3)

    def hue_set(self) -> str | None:
        """The first set of hues with red, green and blue."""
        for name, patch_set in self.rule.sets.items():
            if patch_set.kind == "hues" and {"red", "green", "blue"} <= set(patch_set.hues):
                return name
        return None

    def primaries_of(self, over: Over | None) -> PatchSet:
        """The set of hues of `over`, else the rule's first, else plain red, green, blue.

        Raises KeyError if `over` names a set that the rule does not have.
        """
        name = over.patches[0] if over else self.hue_set()
        return PRIMARIES if name is None else self.rule.sets[name]

    def hues_of(self, over: Over | None) -> list[PlannedPatch]:
        """Red, green and blue of `primaries_of`, at the places of `over`."""
        patch_set = self.primaries_of(over)
        whole = over is None or patch_set is PRIMARIES
        shown = self.expanded(patch_set) if whole else self.asked(patch_set.name, over or Over(()))
        return [patch for patch in shown if patch.name in PRIMARIES.hues]

    def white_of_drive(self, patch_set: PatchSet, like: PlannedPatch) -> PlannedPatch:
        """The neutral patch at the drive of a set of hues, at the place of one of them."""
        red, green, blue = targets.neutral_signal(self.drive(patch_set), self.model)
        return replace(like, name="white", signal=(float(red), float(green), float(blue)))

    def drive(self, patch_set: PatchSet) -> float:
        """cd/m² on the neutral axis of the drive of a set of hues."""
        if patch_set.neutral is not None:
            return patch_set.neutral
        white = self.rule.target.luminance_white
        return min(white, HDR_NEUTRAL) if self.rule.target.curve in ("pq", "hlg") else white

    # -- the kinds of sets

    def _expand(self, patch_set: PatchSet) -> Iterable[PlannedPatch]:
        name = patch_set.name
        plain = _Plain(window=patch_set.window, pattern=patch_set.pattern)
        if patch_set.kind == "ramp":
            for level in self.ramp_levels(patch_set):
                signal = self._neutral(level)
                yield self._patch(f"{name} {100 * level:.4g} %", name, signal, ramp=True, **plain)
        elif patch_set.kind == "hues":
            for hue in patch_set.hues:
                yield self._patch(hue, name, self._hue(hue, 1.0, patch_set), **plain)
        elif patch_set.kind == "saturations":
            steps = patch_set.steps or 1
            for hue in patch_set.hues:
                for step in range(1, steps + 1):
                    signal = self._hue(hue, step / steps, patch_set)
                    label = f"{hue} {100 * step / steps:.3g} %"
                    yield self._patch(label, name, signal, **plain)
        elif patch_set.kind == "list":
            encoding = patch_set.encoding or self.rule.encoding
            same_kind = encoding.kind == self.encoding.kind
            slack = codes.step(encoding.bits, encoding.narrow) / 2 if same_kind else 0.0
            for label, triple in patch_set.patches:
                patch = self._patch(label, name, self._listed(triple, patch_set), **plain)
                yield replace(patch, slack=float(slack))
        else:
            yield from self._repeated(patch_set)

    def _repeated(self, patch_set: PatchSet) -> Iterable[PlannedPatch]:
        """The patches of a set of one built-in patch at several places, sizes or times."""
        of = patch_set.of or "white"
        signal = self.signal_of_built_in(of)
        window = patch_set.window
        if window is None and of == "peak":
            window = PEAK_WINDOW
        base = self._patch(of, patch_set.name, signal, window=window, pattern=patch_set.pattern)
        if patch_set.kind == "positions":
            for position in patch_set.positions:
                yield replace(
                    base, name=f"{of}, {position}", position=position, varies=("position",)
                )
        elif patch_set.kind == "windows":
            for size in patch_set.windows:
                pattern = patch_set.pattern or default_pattern(size)
                yield replace(
                    base, name=f"{of}, {size:g} %", window=size, pattern=pattern, varies=("window",)
                )
        else:
            yield replace(base, count=patch_set.repeats or 1)

    def ramp_levels(self, patch_set: PatchSet) -> list[float]:
        """Signal levels of a neutral ramp, both ends included."""
        first, last = patch_set.signal or (0.0, 1.0)
        return [float(level) for level in np.linspace(first, last, patch_set.steps or 2)]

    # -- signals

    def _neutral(self, level: float) -> Array:
        model = self._emitting
        if model.kind == "xyz":
            return targets.neutral_triple(level * targets.white_signal(model)[1], model)
        return targets.quantised(level * np.ones(3), model)

    def _hue(self, hue: str, saturation: float, patch_set: PatchSet) -> Array:
        """A hue of the target's primaries, or a step in u'v' from white towards it."""
        model = self._emitting
        pure = model.from_target @ np.array(HUES[hue], dtype=np.float64)
        white_uv = spaces.xyz_to_uv(model.white_xyz)
        uv = white_uv + saturation * (spaces.xyz_to_uv(pure) - white_uv)
        xyz = np.asarray(spaces.xy_to_xyz(spaces.uv_to_xy(uv), 1.0))
        linear = xyz @ np.linalg.inv(model.from_target).T
        share = self.drive(patch_set) / model.white_luminance
        light = (linear / np.max(linear) * share) @ model.from_target.T
        return targets.quantised(targets.signal_of(light, model), model)

    def _listed(self, triple: tuple[int, int, int], patch_set: PatchSet) -> Array:
        encoding = patch_set.encoding or self.rule.encoding
        signal = np.asarray(
            codes.decode(np.array(triple), encoding.bits, encoding.narrow), dtype=np.float64
        )
        if encoding.kind == self.encoding.kind:
            return signal
        listed = target_model(self.rule, encoding)
        light = targets.nominal_xyz(signal, listed._replace(black_luminance=np.nan))
        share = light / self.model.white_luminance
        return targets.quantised(targets.signal_of(share, self.model), self.model)

    def _patch(
        self,
        name: str,
        set_name: str,
        signal: Array,
        *,
        window: float | None = None,
        pattern: str | None = None,
        ramp: bool = False,
    ) -> PlannedPatch:
        size = self.rule.window if window is None else window
        red, green, blue = (float(component) for component in signal)
        return PlannedPatch(
            name,
            set_name,
            (red, green, blue),
            "centre",
            size,
            pattern or default_pattern(size),
            neutral_ramp=ramp,
        )


def default_pattern(window: float) -> str:
    """`full` for the whole screen, `window` for less."""
    return "full" if window >= 100 else "window"


def _aimed(
    patches: list[PlannedPatch], dimension: str, values: tuple[str, ...] | tuple[float, ...] | None
) -> list[PlannedPatch]:
    """Narrow sets that vary the dimension; move patches of other sets to the values."""
    if values is None:
        return patches
    aimed: list[PlannedPatch] = []
    for patch in patches:
        if dimension in patch.varies:
            if getattr(patch, dimension) in values:
                aimed.append(patch)
            continue
        for value in values:
            changes: dict[str, object] = {dimension: value}
            if dimension == "window":
                changes["pattern"] = default_pattern(float(value))
            if len(values) > 1:
                changes["name"] = f"{patch.name}, {value}"
            aimed.append(replace(patch, **changes))  # type: ignore[arg-type]
    return aimed
