"""Changes that make a physical fault of a slot, of its meter or of its readings.

Each changes one stage of a slot (`spectral_slot.py`) or what was read; `faults.py` names them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from outside.bad import shifted
from outside.displays import PRIMARIES, Array, Pair
from outside.ideal import ADOBE_RGB, Target
from outside.rulebook import Rulebook
from outside.spectral_meters import Correction
from outside.spectral_slot import Rows, Slot, Step

Generator = np.random.Generator
ReadStep = Callable[[Array, Rulebook, Generator], Array]
PUBLISHED_WHITES: dict[str, Pair] = {  # CIE 15; DCI: SMPTE RP 431-2
    "D50": (0.3457, 0.3585),
    "D55": (0.3324, 0.3474),
    "DCI": (0.314, 0.351),
    "D93": (0.2831, 0.2971),
    "D65": (0.3127, 0.3290),
}


@dataclass(frozen=True)
class Case:
    """A slot, how its meter is corrected, and what happens to readings."""

    slot: Slot
    correction: Correction | None = None
    """Of a colorimeter that is a fault; None: a good meter is drawn."""
    filters: float = 1.0
    """How far its filters are off; 1 is an f1' of some 3 %."""
    readings: tuple[ReadStep, ...] = ()
    never_loaded: bool = False


Change = Callable[[Case, Generator], Case]


def of_slot(change: Callable[[Slot, Generator], Slot]) -> Change:
    """Give the change of a case that changes its slot."""
    return lambda case, generator: replace(case, slot=change(case.slot, generator))


def at_stage(stage: str, step: Step) -> Change:
    """Give the change that adds a step to a stage of the slot."""
    return of_slot(lambda slot, generator: slot.with_step(stage, step))


def rgb(slot: Slot) -> bool:
    """Say whether the rule's signal is R'G'B'."""
    return slot.book.target.container is not None


def windows(slot: Slot) -> bool:
    """Say whether the rule is read in windows."""
    return slot.book.window < 50


def emissive_or_lit(slot: Slot) -> bool:
    """Say whether the supply of the screen itself may be limited: not of a projector."""
    return slot.panel.technology != "projector"


# Signal


def of_signal(change: Callable[[Array], Array]) -> Change:
    """Change the signal 0..1 before it is decoded; of X'Y'Z' relative to the white's code."""

    def make(slot: Slot, generator: Generator) -> Slot:
        target = slot.book.target

        def step(codes: Array, rows: Rows) -> Array:
            if target.container is None:
                top = slot.book.white_code[1]
                return np.asarray(change(codes / top) * top)
            _, bits, span = target.encoding.split("-")
            scale = 2.0 ** (int(bits) - 8)
            low, range_ = (16 * scale, 219 * scale) if span == "narrow" else (0.0, 256 * scale - 1)
            return np.asarray(change((codes - low) / range_) * range_ + low)

        return slot.with_step("codes", step)

    return of_slot(make)


def permuted(order: Sequence[int]) -> Change:
    """Swap channels of the signal."""
    return at_stage("codes", lambda codes, rows: codes[:, list(order)])


NARROW_AS_FULL = of_signal(lambda v: (219 * np.clip(v, 0, 1) + 16) / 255)
FULL_AS_NARROW = of_signal(lambda v: np.clip((255 * v - 16) / 219, 0, 1))


def crushed(share: float) -> Change:
    """Lose the signal up to a share of full scale."""
    return of_signal(lambda v: np.maximum(0, (v - share) / (1 - share)))


def lifted(share: float) -> Change:
    """Lift the signal of black by a share of full scale."""
    return of_signal(lambda v: share + (1 - share) * v)


# Table


def curve(name: str) -> tuple[Change, Callable[[Slot], bool]]:
    """Give another transfer function of the table, and where it is another."""

    def power(exponent: float, form: str = "add") -> tuple[Change, Callable[[Slot], bool]]:
        def make(slot: Slot, generator: Generator) -> Slot:
            target = slot.book.target
            if target.container is None:
                step: Step = lambda amounts, rows: amounts ** (exponent / target.exponent)  # noqa: E731
                return slot.with_step("amounts", step)
            kind = "bt1886" if form == "lift" else "power"
            return replace(
                slot, table=replace(slot.table, curve=kind, exponent=exponent, form=form)
            )

        def other(slot: Slot) -> bool:
            target = slot.book.target
            if target.curve in ("pq", "hlg"):
                return exponent == 2.4
            if target.container is None and form == "lift":
                return False
            return target.curve == "srgb" or abs(target.exponent - exponent) > 0.03

        return of_slot(make), other

    if name.startswith("power"):
        return power(float(name.split()[1]))
    if name == "bt1886":
        return power(2.4, "lift")
    if name == "srgb":
        change = of_slot(
            lambda slot, g: replace(slot, table=replace(slot.table, curve="srgb", form="add"))
        )
        return change, lambda slot: slot.book.target.curve not in ("srgb", "pq", "hlg", "dcdm")
    if name in ("pq", "hlg"):
        form = "none" if name == "pq" else "lift"
        change = of_slot(
            lambda slot, g: replace(slot, table=replace(slot.table, curve=name, form=form))
        )
        return change, lambda slot: rgb(slot) and slot.book.target.curve != name
    factor = float(name.split()[1])
    change = of_slot(lambda slot, g: replace(slot, gamma=(slot.gamma or 1.2) * factor))
    return change, lambda slot: slot.book.target.curve == "hlg"


def white(xy: Pair) -> Change:
    """Set the table up for another white."""
    return of_slot(lambda slot, generator: replace(slot, white_xy=xy))


def white_off(distance: float) -> Change:
    """Set the table up for a white this far away in u'v', in any direction."""

    def make(slot: Slot, generator: Generator) -> Slot:
        angle = float(generator.uniform(0, 2 * np.pi))
        return replace(slot, white_xy=shifted(slot.book.target.white_xy, angle, distance))

    return of_slot(make)


def corners(share: float, name: str) -> Change:
    """Show primaries a share of the way to another set, as far as the panel reaches."""

    def make(slot: Slot, generator: Generator) -> Slot:
        there = slot.panel.corners if name == "native" else {**PRIMARIES, "adobe": ADOBE_RGB}[name]
        here = slot.book.target.primaries
        mixed = [
            tuple((1 - share) * np.array(a) + share * np.array(b))
            for a, b in zip(here, there, strict=True)
        ]
        return replace(slot, corners=tuple(mixed))  # type: ignore[arg-type]

    return of_slot(make)


def other_set(name: str) -> Callable[[Slot], bool]:
    """Say of which slots a named set of primaries is another."""
    there = {**PRIMARIES, "adobe": ADOBE_RGB}[name]
    return lambda slot: slot.book.target.primaries != there


def container(slot: Slot, generator: Generator) -> Slot:
    """Take the signal's primaries for the deliverable's own."""
    return replace(slot, table=replace(slot.table, container=slot.table.primaries))


def luminance(factor: float) -> Change:
    """Set the white's luminance up wrong by a factor."""

    def make(slot: Slot, generator: Generator) -> Slot:
        if slot.book.target.curve == "pq":
            slot = slot.with_step("amounts", lambda amounts, rows: amounts * factor)
            return replace(slot, ceiling=slot.ceiling * max(1.0, factor))
        white = slot.white * factor
        return replace(slot, white=white, ceiling=max(slot.ceiling, white * 1.02))

    return of_slot(make)


def loaded_with(slot: Slot, other: Target) -> Slot:
    """Load another deliverable's table; the signal's range stays that of the display's input."""
    target = slot.book.target
    table = replace(other, encoding=target.encoding)
    top = other.peak if other.curve in ("pq", "hlg") else other.white
    ceiling = max(slot.ceiling, min(top, 1000.0) * 1.12)
    return replace(
        slot,
        table=table,
        ceiling=ceiling,
        table_white=min(other.white, ceiling / 1.12) if other.curve != "pq" else None,
        table_peak=ceiling / 1.12,
        corners=None,
        white_xy=None,
        gamma=None,
    )


def differences(target: Target, other: Target) -> frozenset[str]:
    """Name the kinds of cause that a table's differences from the rule's are."""
    found = set()
    curve = (target.curve, target.exponent if target.curve in ("power", "bt1886") else 0)
    theirs = (other.curve, other.exponent if other.curve in ("power", "bt1886") else 0)
    if curve != theirs:
        found.add("curve")
    if (target.primaries, target.container) != (other.primaries, other.container):
        found.add("primaries")
    if np.hypot(*np.subtract(target.white_xy, other.white_xy)) > 0.001:
        found.add("white")
    if abs(other.white / target.white - 1) > 0.02 and other.curve != "pq":
        found.add("luminance")
    return frozenset(found)


# Channels


def gain(factor: float) -> Change:
    """Change the light of one channel by a share."""

    def make(slot: Slot, generator: Generator) -> Slot:
        gains = np.ones(3)
        gains[generator.integers(3)] += factor
        return slot.with_step("lights", lambda light, rows: light * gains)

    return of_slot(make)


def offset(change: float) -> Change:
    """Change the drive of one channel by a share of full drive."""

    def make(slot: Slot, generator: Generator) -> Slot:
        offsets = np.zeros(3)
        offsets[generator.integers(3)] = change
        return slot.with_step("drives", lambda drive, rows: np.maximum(drive + offsets, 0))

    return of_slot(make)


def clipping(share: float) -> Change:
    """Let one channel end at a share of what the white needs: blue in half of the cases."""

    def make(slot: Slot, generator: Generator) -> Slot:
        channel = int(generator.choice([0, 1, 2, 2]))
        most = np.full(3, np.inf)
        most[channel] = share
        return slot.with_step("lights", lambda light, rows: np.minimum(light, most))

    return of_slot(make)


def clipped(share: float) -> Change:
    """Clip all channels at a share of the white."""
    return at_stage("amounts", lambda amounts, rows: np.minimum(amounts, share))


def compressed(knee: float, top: float) -> Change:
    """Bend all channels above a knee, softly up to a top."""

    def step(amounts: Array, rows: Rows) -> Array:
        above = np.maximum(amounts - knee, 0)
        room = top - knee
        soft = knee + room * (1 - np.exp(-above / room))
        return np.where(amounts > knee, soft, amounts)

    return at_stage("amounts", step)


def tint(size: float) -> Change:
    """Bend one channel in the middle of the greys by a share."""

    def make(slot: Slot, generator: Generator) -> Slot:
        channel = np.eye(3)[generator.integers(3)]

        def step(amounts: Array, rows: Rows) -> Array:
            level = np.clip(amounts, 0, 1) ** (1 / 2.4)
            if slot.book.target.curve == "pq":
                level = np.clip(np.log10(np.maximum(amounts, 1e-4)) / 4 + 1, 0, 1)
            return np.asarray(amounts * (1 + size * channel * np.sin(np.pi * level) ** 2))

        return slot.with_step("amounts", step)

    return of_slot(make)


def crosstalk(share: float) -> Change:
    """Have each channel's drive leak into the two others; neutrals stay."""
    mixing = (1 - 3 * share) * np.eye(3) + share
    return at_stage("drives", lambda drive, rows: drive @ mixing.T)


def raised(share: float) -> Change:
    """Add light of a share of the white after the slot was set up."""
    return of_slot(lambda slot, g: replace(slot, raised=slot.raised + share * slot.white))


# Load and time


def limited(full: float) -> Change:
    """Limit the supply so that a white of the whole area has a share of its light."""

    def make(slot: Slot, generator: Generator) -> Slot:
        power = np.array(slot.panel.power)

        def step(light: Array, rows: Rows) -> Array:
            load = (np.minimum(light, 1.2) @ power) * rows.window / 100
            return np.asarray(light * np.minimum(1, full / np.maximum(load, 1e-9))[:, None])

        return slot.with_step("lights", step)

    return of_slot(make)


def full_only(factor: float) -> Change:
    """Dim what is bright where the whole area is lit."""

    def step(light: Array, rows: Rows) -> Array:
        share = np.clip((light.max(axis=1) - 0.3) / 0.4, 0, 1) * (rows.window == 100)
        return np.asarray(light * (1 - share * (1 - factor))[:, None])

    return at_stage("lights", step)


def sag(factor: float) -> Change:
    """Dim what has been shown for a minute."""
    return at_stage(
        "lights", lambda light, rows: light * np.where(rows.seconds >= 60, factor, 1.0)[:, None]
    )


def sags(slot: Slot) -> bool:
    """Say whether the rule reads anything after a minute."""
    return any(row.seconds >= 60 for row in slot.book.rows)


# What was read


def judged_rows(book: Rulebook) -> list[int]:
    """Give rows in the middle of the screen that a shall requirement covers, no white or black."""
    roles = {
        patch for name in ("white", "black", "peak") for _, patch in book.members(name)
    }  # fmt: skip
    judged = {
        patch for requirement in book.requirements if requirement.shall
        for patch in requirement.patches
    }  # fmt: skip
    return [
        i
        for i, patch in enumerate(book.patch_of_row)
        if i > 0
        and int(patch) in judged - roles
        and book.rows[i].position == "centre"
        and book.rows[i].pattern != "checkerboard"
        and np.sum(book.patch_of_row == patch) == 1
    ]


def misread(factor: float | None) -> Change:
    """Misread one patch by a factor; None: read the patch before it once more."""

    def make(xyz: Array, book: Rulebook, generator: Generator) -> Array:
        row = int(generator.choice(judged_rows(book)))
        found = xyz.copy()
        found[row] = xyz[row - 1] if factor is None else xyz[row] * factor
        return found

    return lambda case, generator: replace(case, readings=(*case.readings, make))


def meter(correction: Correction, size: float) -> Change:
    """Read with a colorimeter that does not suit the panel."""
    return lambda case, generator: replace(case, correction=correction, filters=size)


def native(case: Case, generator: Generator) -> Case:
    """Show the panel as it is: its own curve, primaries and white."""
    slot = case.slot
    panel = slot.panel
    table = replace(slot.table, curve="power", exponent=2.2, form="add")
    slot = replace(
        slot, table=table, corners=panel.corners, white_xy=panel.white, ceiling=slot.white
    )
    return replace(case, slot=slot, never_loaded=True)
