"""Simulated displays for tests: the readings of a rule's whole plan, ideal or with faults.

An ideal display of a rule shows the light of the rule's target for each code. A wrong one is the
ideal display of another target (`wrong_target`) or shows light changed by `fault`.
All of it is invented.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import codes
from compliance.grading.patches import Plan, PlannedPatch
from compliance.model import Encoding, Over, Readings, Rule, Target
from compliance.quantities.catalogue import QUANTITIES
from compliance.readings.load import readings_from_bytes
from compliance.targets import target_model

Array = NDArray[np.float64]
Fault = Callable[[PlannedPatch, Array], Array]


@dataclass(frozen=True)
class Shown:
    """One simulated reading: a patch as emitted, and its light."""

    patch: PlannedPatch
    codes: tuple[int, int, int]
    xyz: Array


def planned(rule: Rule, encoding: Encoding | None = None) -> list[PlannedPatch]:
    """Every patch of the rule's requirements, each once, with its largest count."""
    plan = Plan(rule, encoding or rule.encoding)
    found: dict[tuple[object, ...], PlannedPatch] = {}
    for patch in _asked(rule, plan):
        place = (patch.position, patch.window, patch.pattern, patch.seconds)
        key = (*patch.signal, *place)
        count = max(patch.count, found[key].count if key in found else 1)
        found[key] = replace(patch, count=count)
    return list(found.values())


def _asked(rule: Rule, plan: Plan) -> Iterator[PlannedPatch]:
    for name in ("white", "black"):
        yield from plan.patches(name)
    for requirement in rule.requirements:
        over = requirement.over
        roles = QUANTITIES[requirement.quantity].roles
        hues = plan.hue_set()
        if "red" in roles and hues is not None:
            yield from plan.asked(hues, Over((hues,)))
        if over is None:
            continue
        for name in over.patches:
            asked = plan.asked(name, over)
            yield from asked
            if requirement.quantity == "checkerboard-contrast":
                yield from (replace(patch, pattern="checkerboard") for patch in asked)


def ideal(
    rule: Rule,
    *,
    encoding: Encoding | None = None,
    wrong_target: Target | None = None,
    white: float | None = None,
    black: float = 0.0,
    fault: Fault | None = None,
) -> list[Shown]:
    """The light of a display for the rule's plan; `white` and `black` in cd/m².

    `wrong_target` is the target of the display instead of the rule's.
    """
    encoding = encoding or rule.encoding
    shown_rule = rule if wrong_target is None else replace(rule, target=wrong_target)
    model = target_model(shown_rule, encoding)
    level = model.white_luminance if white is None else white
    patches = planned(rule, encoding)
    triples = [
        codes.encode(np.array(patch.signal), encoding.bits, encoding.narrow) for patch in patches
    ]
    signal = codes.decode(np.array(triples), encoding.bits, encoding.narrow)
    shape = signal.shape[:-1]
    light = targets.target_xyz(signal, model, np.full(shape, level), np.full(shape, black))
    if model.curve == "pq":
        # No display follows PQ below its own black.
        light = np.where(light[:, 1:2] < black, black * model.white_xyz, light)
    shown = []
    for patch, triple, xyz in zip(patches, triples, light, strict=True):
        red, green, blue = (int(code) for code in triple)
        made = xyz if fault is None else fault(patch, xyz)
        shown.append(Shown(patch, (red, green, blue), made))
    return shown


def csv(shown: list[Shown], encoding: Encoding) -> bytes:
    """The readings as a file, one row per count."""
    head = "c1,c2,c3" if encoding.kind == "xyz" else "r,g,b"
    lines = [f"{head},X,Y,Z,position,window,pattern,seconds"]
    for one in shown:
        numbers = [*map(str, one.codes), *(repr(float(value)) for value in one.xyz)]
        patch = one.patch
        place = [patch.position, f"{patch.window:g}", patch.pattern, f"{patch.seconds:g}"]
        lines += [",".join([*numbers, *place])] * patch.count
    return ("\n".join(lines) + "\n").encode()


def readings(shown: list[Shown], encoding: Encoding) -> Readings:
    """The readings as the program reads them."""
    return readings_from_bytes(csv(shown, encoding), "simulated.csv", encoding)


def picked(readings: Readings, rows: Sequence[int]) -> Readings:
    """These rows alone, in this order."""
    every = np.array(rows)
    return replace(
        readings,
        codes=readings.codes[every],
        xyz=readings.xyz[every],
        position=tuple(readings.position[row] for row in rows),
        window=readings.window[every],
        pattern=tuple(readings.pattern[row] for row in rows),
        background=tuple(readings.background[row] for row in rows),
        seconds=readings.seconds[every],
        deviation=readings.deviation[every],
        lines=tuple(range(2, len(rows) + 2)),
    )


def scaled(factor: float) -> Fault:
    """All light dimmed or raised by a factor."""
    return lambda _patch, xyz: xyz * factor


def clipped(peak: float) -> Fault:
    """No patch above `peak` cd/m²."""
    return lambda _patch, xyz: xyz * min(1.0, peak / xyz[1]) if xyz[1] > 0 else xyz


def noisy(random: np.random.RandomState, relative: float = 0.001, tint: float = 0.0002) -> Fault:
    """A meter's noise: a share of Y, and additional shares of X and Z."""

    def fault(_patch: PlannedPatch, xyz: Array) -> Array:
        level, x, z = random.normal(size=3)
        return xyz * (1 + relative * level) * (1 + tint * np.array([x, 0.0, z]))

    return fault


def in_turn(*faults: Fault) -> Fault:
    """One fault after another."""

    def fault(patch: PlannedPatch, xyz: Array) -> Array:
        for one in faults:
            xyz = one(patch, xyz)
        return xyz

    return fault
