"""Simulated displays with known faults, for tests of the diagnosis.

A display is a well calibrated one of its kind (`good_displays`) with faults at the place where they
happen in a real one: in the signal, in the target it was set up to, in the light of its
own channels, or in the light that the meter sees, row by row. All of it is invented.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import codes, pq
from compliance.colour.spaces import PRIMARIES, rgb_to_xyz_matrix
from compliance.colour.transfer import DCDM_EXPONENT
from compliance.grading.patches import PlannedPatch
from compliance.model import Readings, Rule, Target
from compliance.targets import target_model
from helpers import good_displays, shipped, simulated
from helpers.simulated import Shown

Array = NDArray[np.float64]
Pair = tuple[float, float]
Patch = PlannedPatch

DARK_NOISE = 0.0003
"""cd/m², of the meter."""


ORDER = (
    "range", "channels", "blacks", "raised-black", "curve", "primaries", "white", "highlights",
    "offset", "gain", "clipping", "tint", "crosstalk", "deliverable", "luminance", "limiter",
    "drift",
)  # fmt: skip
"""The order in which faults of one display are applied."""


def _same(value: Any, *_: Any) -> Any:
    return value


@dataclass(frozen=True)
class Fault:
    """One fault, by the stage at which it happens; `cause` is the expected diagnosis."""

    cause: str
    strength: str
    signal: Callable[[Array, Rule], Array] = _same
    target: Callable[[Target], Target] = _same
    primaries: tuple[Pair, ...] | None = None
    white: Pair | None = None
    native: Callable[[Array, Target], Array] = _same
    """(R, 3) light of the display's own channels, a share of the peak"""
    light: Callable[[Array, Sequence[Patch]], Array] = _same
    """(R, 3) XYZ in cd/m², row by row"""


def rows_of(rule: Rule, windows: Sequence[float] = ()) -> list[PlannedPatch]:
    """The plan in the order of showing: white at the start, in the middle and at the end."""
    patches = [patch for patch in simulated.planned(rule) for _ in range(patch.count)]
    white = patches[0]
    middle = len(patches) // 2
    rows = [*patches[:middle], white, *patches[middle:], white]
    brightest = max(patches, key=lambda patch: sum(patch.signal))
    for size in windows:
        pattern = "full" if size == 100 else "window"
        rows.append(replace(brightest, window=size, pattern=pattern))
    return rows


def readings(
    rule: Rule,
    faults: Sequence[Fault],
    random: np.random.RandomState,
    windows: Sequence[float] = (),
) -> Readings:
    """Readings of a well calibrated display with faults."""
    rows = rows_of(rule, windows)
    encoding = rule.encoding
    triples = [codes.encode(np.array(row.signal), encoding.bits, encoding.narrow) for row in rows]
    light = display_light(rule, faults, random, np.array(triples), rows)
    dark = DARK_NOISE * random.normal(size=light.shape)
    light = light * (1 + 0.001 * random.normal(size=(len(rows), 1)))
    light = light * (1 + 0.0002 * random.normal(size=light.shape)) + dark
    shown = [
        Shown(replace(row, count=1), (int(triple[0]), int(triple[1]), int(triple[2])), xyz)
        for row, triple, xyz in zip(rows, triples, light, strict=True)
    ]
    return simulated.readings(shown, encoding)


def display_light(
    rule: Rule,
    faults: Sequence[Fault],
    random: np.random.RandomState,
    triples: Array,
    rows: Sequence[PlannedPatch],
) -> Array:
    """(R, 3) XYZ of a good display of the rule's kind with the faults."""
    faults = sorted(faults, key=lambda fault: ORDER.index(fault.cause))
    spread = good_displays.FAMILIES[good_displays.family(rule)]
    encoding = rule.encoding
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow), dtype=np.float64)
    target = rule.target
    for fault in faults:
        signal = fault.signal(signal, rule)
        target = fault.target(target)
    model = target_model(replace(rule, target=target), encoding)
    settings = good_displays.good_settings(rule, random)
    level = float(settings.get("white", model.white_luminance))  # type: ignore[arg-type]
    if rule.target.curve == "pq" and target.curve != "pq":
        level = target.luminance_white
    black = float(settings["black"])  # type: ignore[arg-type]
    shape = len(rows)
    xyz = targets.target_xyz(signal, model, np.full(shape, level), np.full(shape, black))
    if model.curve == "pq":
        xyz = np.where(xyz[:, 1:2] < black, black * model.white_xyz, xyz)
    peak = rule.target.luminance_peak
    lit = np.maximum(xyz @ np.linalg.inv(shipped.native(rule)).T / peak, 0)
    for fault in faults:
        lit = fault.native(lit, target)
    lit = lit ** (1 + spread.exponent * random.normal() + spread.channel * random.normal(size=3))
    primaries, white = rule.target.primaries, rule.target.white
    for fault in faults:
        primaries = fault.primaries or primaries
        white = fault.white or white
    own = [good_displays._near(one, spread.primaries, random) for one in primaries]
    point = np.array(white) + spread.white * random.normal(size=2)
    gain = 1 + spread.level * random.normal() if rule.target.curve == "pq" else 1.0
    light = lit @ rgb_to_xyz_matrix(own, tuple(point)).T * peak * gain
    edge = np.array([1.0 if row.position == "centre" else shipped.edge_share(rule) for row in rows])
    light = light * edge[:, None]
    for fault in faults:
        light = fault.light(light, rows)
    return np.asarray(light)


# ---------------------------------------------------------------- faults


def _ends(rule: Rule) -> tuple[float, float]:
    bits = rule.encoding.bits
    full = 2**bits - 1
    return 16 * 2 ** (bits - 8) / full, 235 * 2 ** (bits - 8) / full


def stretched() -> Fault:
    """A full-range signal shown as narrow range."""

    def signal(values: Array, rule: Rule) -> Array:
        low, high = _ends(rule)
        return np.clip((values - low) / (high - low), 0, 1)

    return Fault("range", "stretched", signal=signal)


def squeezed() -> Fault:
    """A narrow-range signal shown as full range."""

    def signal(values: Array, rule: Rule) -> Array:
        low, high = _ends(rule)
        return low + values * (high - low)

    return Fault("range", "squeezed", signal=signal)


def power(exponent: float) -> Fault:
    """Another exponent; for X'Y'Z' in the decoding."""

    def target(old: Target) -> Target:
        if old.curve == "dcdm":
            return old
        if old.curve == "bt1886":
            return replace(old, exponent=exponent)
        white = 200.0 if old.curve == "pq" else old.luminance_white
        return replace(
            old, curve="power", exponent=exponent, black="add", scale="relative",
            luminance_white=white,
        )  # fmt: skip

    def signal(values: Array, rule: Rule) -> Array:
        if rule.target.curve != "dcdm":
            return values
        return values ** (exponent / DCDM_EXPONENT)

    return Fault("curve", f"power {exponent}", signal=signal, target=target)


def curve(name: str) -> Fault:
    """Another named curve on a display with a peak of 300 cd/m², 1000 in high range."""

    def target(old: Target) -> Target:
        white = 200.0 if old.curve == "pq" else old.luminance_white
        more: dict[str, Any] = {"black": "add", "scale": "relative", "luminance_white": white}
        if name == "hlg":
            peak = 1000.0 if old.curve == "pq" else max(old.luminance_white, 300.0)
            more |= {"luminance_white": peak, "system_gamma": 1.2, "black": "lift"}
        if name == "pq":
            more |= {"black": "none", "scale": "absolute", "luminance_white": 100.0}
        return replace(old, curve=name, **more)

    def light(xyz: Array, _rows: Sequence[Patch]) -> Array:
        top = np.maximum(xyz[:, 1:2], 1e-9)
        return xyz * np.minimum(1, 400 / top) if name == "pq" else xyz

    return Fault("curve", name, target=target, light=light)


def pq_by_channel(top: float) -> Fault:
    """PQ on a panel with separately clipped channels, at `top` times the rule's peak."""

    def target(old: Target) -> Target:
        return replace(old, curve="pq", black="none", scale="absolute", luminance_white=100.0)

    def native(lit: Array, _target: Target) -> Array:
        return np.minimum(lit, top)

    return Fault("curve", f"pq by channel to {top}", target=target, native=native)


def system_gamma(gamma: float) -> Fault:
    """HLG with another system gamma."""
    return Fault(
        "curve", f"hlg {gamma}", target=lambda old: replace(old, system_gamma=gamma)
    )  # fmt: skip


def primaries(name: str) -> Fault:
    return Fault("primaries", f"shown {name}", primaries=PRIMARIES[name])


def unnamed(name: str, *points: Pair) -> Fault:
    """Primaries that no standard has."""
    return Fault("primaries", f"shown {name}", primaries=points)


def taken(name: str) -> Fault:
    """The signal of a wider container read as another container."""
    return Fault(
        "primaries", f"taken {name}",
        target=lambda old: replace(old, container=PRIMARIES[name], container_name=name),
    )  # fmt: skip


def swapped(*order: int) -> Fault:
    named = " ".join("RGB"[index] for index in order)
    return Fault("channels", named, signal=lambda values, _rule: values[:, order])


def white(name: str, xy: Pair) -> Fault:
    return Fault("white", name, white=xy)


def gained(channel: int, factor: float) -> Fault:
    """One channel's light."""
    gain = np.ones(3)
    gain[channel] = factor
    return Fault("gain", f"{'RGB'[channel]} {factor}", native=lambda lit, _target: lit * gain)


def _native(target: Target) -> float:
    """Exponent of the panel's own drive."""
    return 2.6 if target.curve == "dcdm" else 2.4


def shifted(channel: int, by: float, exponent: float | None = None) -> Fault:
    """An offset on one channel of the panel's own drive, for any curve of the signal."""
    offset = np.zeros(3)
    offset[channel] = by

    def native(lit: Array, target: Target) -> Array:
        gamma = exponent or _native(target)
        return np.asarray(np.maximum(lit ** (1 / gamma) + offset, 0) ** gamma)

    name = "" if exponent is None else f" at {exponent}"
    return Fault("offset", f"{'RGB'[channel]} {by:+}{name}", native=native)


PQ_DRIVE = 1000.0
"""cd/m² of the drive of a display with a PQ curve."""


def _drive(lit: Array, target: Target) -> Array:

    if target.curve == "pq":
        return np.asarray(pq.pq_inverse(lit * PQ_DRIVE))
    return np.asarray(lit ** (1 / _native(target)))


def _lit(drive: Array, target: Target) -> Array:

    if target.curve == "pq":
        return np.asarray(pq.pq(drive)) / PQ_DRIVE
    return np.asarray(np.maximum(drive, 0) ** _native(target))


def clipped(share: float) -> Fault:
    """Each channel is clipped at a share of its drive."""

    def native(lit: Array, target: Target) -> Array:
        top = _drive(lit.max(keepdims=True)[0], target) * share
        return np.minimum(lit, _lit(top, target))

    return Fault("highlights", f"clipped {share}", native=native)


def capped(share: float) -> Fault:
    """No patch above a share of the peak luminance."""

    def light(xyz: Array, _rows: Sequence[Patch]) -> Array:
        top = share * xyz[:, 1].max()
        return np.asarray(xyz * np.minimum(1, top / np.maximum(xyz[:, 1:2], 1e-9)))

    return Fault("highlights", f"capped {share}", light=light)


def bent(start: float, slope: float) -> Fault:
    """Highlights are bent above a share of the drive."""

    def native(lit: Array, target: Target) -> Array:
        drive = _drive(lit, target)
        knee = float(_drive(lit.max(keepdims=True)[0], target)[0]) * start
        return _lit(np.where(drive > knee, knee + slope * (drive - knee), drive), target)

    return Fault("highlights", f"bent {start} {slope}", native=native)


def crushed(level: float) -> Fault:
    """Nothing but black up to a level of the signal."""

    def signal(values: Array, rule: Rule) -> Array:
        return np.where(values <= level, 0.0, values) if rule.encoding.kind == "rgb" else values

    def native(lit: Array, target: Target) -> Array:
        if target.curve != "dcdm":
            return lit
        return np.where(_drive(lit, target) <= level, lit.min(axis=0), lit)

    return Fault("blacks", f"crushed {level}", signal=signal, native=native)


def sunk(level: float) -> Fault:
    """The black level set too low: the signal begins there."""

    def signal(values: Array, _rule: Rule) -> Array:
        return np.maximum(values - level, 0.0) / (1 - level)

    return Fault("blacks", f"sunk {level}", signal=signal)


def lit_room(level: float) -> Fault:
    """Added light of the room, in cd/m² of a slightly warm grey."""
    stray = level * np.array([0.98, 1.0, 0.95])
    return Fault("raised-black", f"{level} cd/m² added", light=lambda xyz, _rows: xyz + stray)


def lifted(by: float) -> Fault:
    """The black level set too high: the panel's own drive begins there."""

    def native(lit: Array, target: Target) -> Array:
        gamma = _native(target)
        return np.asarray((lit ** (1 / gamma) * (1 - by) + by) ** gamma)

    return Fault("raised-black", f"drive from {by}", native=native)


def drifting(share: float) -> Fault:
    """Light that rises by a share of its end while the display warms up."""

    def light(xyz: Array, rows: Sequence[Patch]) -> Array:
        at = np.arange(len(rows)) / len(rows)
        return np.asarray(xyz * (1 - share * np.exp(-3 * at))[:, None])

    return Fault("drift", f"{share:.0%}", light=light)


def limited(budget: float) -> Fault:
    """A power limiter: luminance times area above a budget in cd/m² of the whole screen."""

    def light(xyz: Array, rows: Sequence[Patch]) -> Array:
        area = np.array([row.window / 100 for row in rows])
        allowed = budget / area
        return np.asarray(xyz * np.minimum(1, allowed / np.maximum(xyz[:, 1], 1e-9))[:, None])

    return Fault("limiter", f"{budget}", light=light)
