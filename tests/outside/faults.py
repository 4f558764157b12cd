"""Physical faults of slots, at strengths from mild to strong, and what an engineer wants to hear.

`kinds` are the kinds of cause that point at the fault; more than one where the light is the same.
Strengths are practice: the first is one that a rule may not see, the last one that nobody
overlooks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import yaml

from outside import fault_steps as steps
from outside.fault_steps import Case, Change, Generator
from outside.ideal import Target
from outside.rulebook import SPECS
from outside.spectral_draw import drifting
from outside.spectral_slot import Slot


def _anywhere(slot: Slot) -> bool:
    return True


@dataclass(frozen=True)
class Fault:
    """One fault at one strength; `possible` says of which slots."""

    name: str
    strength: str
    kinds: frozenset[str]
    change: Change
    possible: Callable[[Slot], bool] = _anywhere
    of_meter: bool = False


def _many(
    name: str,
    kinds: str,
    strengths: dict[str, Change],
    possible: Callable[[Slot], bool] = _anywhere,
    *,
    of_meter: bool = False,
) -> Iterator[Fault]:
    accepted = frozenset(kinds.split())
    for strength, change in strengths.items():
        yield Fault(name, strength, accepted, change, possible, of_meter)


def _sized(make: Callable[[float], Change], *sizes: float) -> dict[str, Change]:
    return {f"{size:+.3g}" if min(sizes) < 0 else f"{size:.3g}": make(size) for size in sizes}


def _curves() -> Iterator[Fault]:
    for name in (
        "power 2.3", "power 2.2", "power 2.4", "power 2.5", "power 2.6", "power 2.0", "srgb",
        "bt1886", "pq", "hlg", "gamma 0.93", "gamma 0.85", "gamma 1.08", "gamma 1.2",
    ):  # fmt: skip
        change, possible = steps.curve(name)
        yield Fault("curve", name, frozenset({"curve", "deliverable"}), change, possible)


def _whites() -> Iterator[Fault]:
    kinds = frozenset({"white", "gain", "deliverable"})
    for distance in (0.004, 0.008, 0.014):
        yield Fault("white", f"off {distance}", kinds, steps.white_off(distance))
    for name, xy in steps.PUBLISHED_WHITES.items():

        def other(slot: Slot, xy: tuple[float, float] = xy) -> bool:
            return bool(np.hypot(*np.subtract(slot.book.target.white_xy, xy)) > 0.001)

        yield Fault("white", name, kinds, steps.white(xy), other)


def _primaries() -> Iterator[Fault]:
    kinds = frozenset({"primaries", "deliverable"})
    for share in (0.25, 0.5, 1.0):
        name = f"{share:.0%} to native"
        yield Fault("primaries", name, kinds, steps.corners(share, "native"))
    for name in ("bt709", "p3", "adobe", "bt2020"):
        possible = steps.other_set(name)
        yield Fault("primaries", name, kinds, steps.corners(1.0, name), possible)

    def wide(slot: Slot) -> bool:
        target = slot.book.target
        return target.container is not None and target.container != target.primaries

    yield Fault("primaries", "container unknown", kinds, steps.of_slot(steps.container), wide)


@cache
def _targets() -> dict[str, Target]:
    """Give the targets of shipped rules with an R'G'B' signal."""
    files = sorted(SPECS.glob("*.yaml"))
    found = {
        file.stem: Target.of(yaml.safe_load(file.read_text(encoding="utf-8"))) for file in files
    }
    return {name: target for name, target in found.items() if target.container is not None}


def _loaded(wanted: range) -> Change:
    """Load a table drawn from those of so many differences."""

    def make(slot: Slot, generator: Generator) -> Slot:
        names = deliverables(slot, wanted)
        return steps.loaded_with(slot, _targets()[names[int(generator.integers(len(names)))]])

    return steps.of_slot(make)


def deliverables(slot: Slot, wanted: range) -> list[str]:
    """Name the deliverables whose tables differ from the slot's in so many ways."""
    target = slot.book.target
    return [
        name
        for name, other in _targets().items()
        if len(steps.differences(target, other)) in wanted
        and (other.curve not in ("pq", "hlg") or slot.panel.technology != "projector")
    ]


def _deliverables() -> Iterator[Fault]:
    for label, wanted in (("one difference", range(1, 2)), ("more", range(2, 9))):

        def possible(slot: Slot, wanted: range = wanted) -> bool:
            return steps.rgb(slot) and bool(deliverables(slot, wanted))

        kinds = {"deliverable"}
        if label != "more":
            kinds |= {"curve", "primaries", "white", "luminance"}
        yield Fault("deliverable", label, frozenset(kinds), _loaded(wanted), possible)


def _highlights(slot: Slot) -> bool:
    return slot.book.target.curve != "pq"


@cache
def catalogue() -> tuple[Fault, ...]:
    """Give every fault at every strength."""
    sized, many = _sized, _many
    swapped = {"R, G": (1, 0, 2), "R, B": (2, 1, 0), "G, B": (0, 2, 1), "all": (1, 2, 0)}
    permuted = {name: steps.permuted(order) for name, order in swapped.items()}
    drift = lambda change: steps.at_stage("lights", drifting(change))  # noqa: E731
    colour = lambda change: steps.at_stage("lights", drifting(change, (1.0, 0.0, -1.0)))  # noqa: E731
    highlights = {
        "clipped at .9": steps.clipped(0.9),
        "clipped at .75": steps.clipped(0.75),
        "clipped at .5": steps.clipped(0.5),
        "compressed from .6": steps.compressed(0.6, 0.95),
        "compressed from .4": steps.compressed(0.4, 0.85),
    }
    screen = steps.emissive_or_lit
    ranges = {"narrow as full": steps.NARROW_AS_FULL, "full as narrow": steps.FULL_AS_NARROW}
    meters = {
        "none, filters .5": steps.meter("none", 0.5),
        "none, filters 1": steps.meter("none", 1.0),
        "none, filters 2": steps.meter("none", 2.0),
        "other panel": steps.meter("other", 1.0),
        "other panel, filters 2": steps.meter("other", 2.0),
        "other panel, not said": steps.meter("other, not said", 2.0),
    }
    reads = {**sized(steps.misread, 0.9, 1.1, 0.8, 1.3, 0.7), "previous patch": steps.misread(None)}
    return (
        *_curves(),
        *_whites(),
        *_primaries(),
        *_deliverables(),
        *many("range", "range", ranges, steps.rgb),
        *many("channels", "channels", permuted, steps.rgb),
        *many("gain", "gain white", sized(steps.gain, 0.02, -0.02, 0.05, -0.05, 0.1, -0.1)),
        *many("offset", "offset", sized(steps.offset, 0.01, -0.01, 0.02, -0.02, 0.04, -0.04)),
        *many("clipping", "clipping", sized(steps.clipping, 0.97, 0.93, 0.85, 0.7)),
        *many("highlights", "highlights", highlights, _highlights),
        *many("highlights", "highlights luminance", highlights, lambda s: not _highlights(s)),
        *many("blacks crushed", "blacks", sized(steps.crushed, 0.01, 0.02, 0.04, 0.07)),
        *many("black raised by light", "raised-black", sized(steps.raised, 0.001, 0.003, 0.01)),
        *many("black raised by drive", "raised-black", sized(steps.lifted, 0.02, 0.04)),
        # a narrow signal shown as full, at the rule's white: 16/235 of full scale
        *many("black raised by drive", "raised-black range", sized(steps.lifted, 0.07)),
        *many("luminance", "luminance", sized(steps.luminance, 0.93, 1.08, 0.85, 1.2, 0.6, 1.5)),
        *many("limiter", "limiter", sized(steps.limited, 0.85, 0.7, 0.5, 0.3), screen),
        *many(
            "limiter, only full", "limiter", sized(steps.full_only, 0.9, 0.8, 0.5), steps.windows
        ),
        *many("sag", "sag", sized(steps.sag, 0.95, 0.88, 0.75), steps.sags),
        *many("drift", "drift", sized(drift, 0.03, -0.03, 0.06, -0.06, 0.12, -0.12)),
        *many("colour drift", "colour-drift", sized(colour, 0.02, -0.02, 0.04, -0.04, 0.08)),
        *many("tint", "tint", sized(steps.tint, 0.02, -0.02, 0.03, -0.03, 0.05, -0.05)),
        *many("crosstalk", "crosstalk", sized(steps.crosstalk, 0.01, 0.02, 0.04, 0.08)),
        *many("misread", "misread", reads),
        *many("meter", "meter", meters, of_meter=True),
        *many("never loaded", "unloaded", {"native": steps.native}, steps.rgb),
    )  # fmt: skip


@cache
def by_name() -> dict[str, tuple[Fault, ...]]:
    """Give the strengths of each fault."""
    names = dict.fromkeys(fault.name for fault in catalogue())
    return {name: tuple(f for f in catalogue() if f.name == name) for name in names}


def find(name: str, strength: str) -> Fault:
    """Give a fault by name and strength."""
    return next(f for f in catalogue() if (f.name, f.strength) == (name, strength))


def accepted(fault: Fault, slot: Slot, changed: Case) -> frozenset[str]:
    """Give the kinds that point at the fault of this slot: of one difference, that one's too."""
    if fault.name == "deliverable" and fault.strength != "more":
        differing = steps.differences(slot.book.target, changed.slot.table)
        return differing | {"deliverable"}
    return fault.kinds


PAIRS: tuple[tuple[tuple[str, str], tuple[str, str]], ...] = (
    (("curve", "power 2.2"), ("white", "D50")),
    (("curve", "power 2.2"), ("black raised by light", "0.01")),
    (("curve", "power 2.6"), ("luminance", "0.6")),
    (("curve", "gamma 0.85"), ("white", "D50")),
    (("curve", "srgb"), ("gain", "-0.1")),
    (("gain", "+0.1"), ("black raised by light", "0.01")),
    (("primaries", "100% to native"), ("luminance", "0.6")),
    (("primaries", "100% to native"), ("white", "D93")),
    (("drift", "-0.12"), ("gain", "+0.1")),
    (("white", "D93"), ("blacks crushed", "0.04")),
    (("tint", "+0.05"), ("luminance", "0.6")),
    (("misread", "1.3"), ("white", "D50")),
    (("clipping", "0.85"), ("black raised by light", "0.01")),
    (("limiter", "0.5"), ("gain", "+0.1")),
    (("crosstalk", "0.08"), ("white", "D50")),
    (("channels", "R, B"), ("curve", "power 2.2")),
    (("range", "narrow as full"), ("white", "D50")),
    (("sag", "0.75"), ("white", "D50")),
    (("offset", "+0.04"), ("luminance", "0.6")),
)
"""Faults that do not hide each other: they change other stages."""


def both(first: Fault, second: Fault) -> Change:
    """Give the change of both faults."""

    def change(case: Case, generator: Generator) -> Case:
        return second.change(first.change(case, generator), generator)

    return change
