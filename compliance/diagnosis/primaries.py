"""Signals taken for those of other primaries, or shown on others."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from compliance.colorimetry.spaces import PRIMARIES, xy_to_uv, xyz_to_uv, xyz_to_xy
from compliance.diagnosis.display import Display, shown
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Change, Option
from compliance.diagnosis.matrices import matrices, primaries_of
from compliance.diagnosis.told import Told, cause, number
from compliance.model import Cause

__all__ = ["primaries_options", "tell_primaries"]

SAME = 0.004
"""x, y within which two sets of primaries are one."""
NEAR = 0.015
"""Δu'v' within which each primary as read is that of a named set."""
FAR = 0.12
"""Δu'v' from which what is read is no such primary at all."""
BETTER = 0.5
"""Share of the distance without a set that may be left with it."""
HUES = ("red", "green", "blue")
NAMES = {
    "bt709": "BT.709",
    "bt2020": "BT.2020",
    "p3": "P3",
    "adobe-rgb": "Adobe RGB",
    "bt601-525": "BT.601 with 525 lines",
    "bt601-625": "BT.601 with 625 lines",
}


def primaries_options(facts: Facts) -> Iterator[Option]:
    """Each named set that is not the rule's, for the display and for the signal, and the display's
    as they were read."""
    own = primaries_of(facts.model.from_target)
    signal = primaries_of(facts.model.from_signal) if facts.model.kind == "rgb" else own
    for name, primaries in PRIMARIES.items():
        points = np.array(primaries)
        if np.abs(points - own).max() > SAME:
            yield _shown(name, points, facts)
        if np.abs(own - signal).max() > SAME and np.abs(points - signal).max() > SAME:
            yield _taken(name, points, facts)
    read = _read(facts)
    if read is not None:
        read = _nearest(read, own)
        away = np.linalg.norm(xy_to_uv(read) - xy_to_uv(own), axis=-1)
        if NEAR < away.max() < FAR:
            yield _measured(read)


def _read(facts: Facts) -> Array | None:
    """(3, 2) x, y of the patches in which one primary shines alone, black taken off."""
    if np.any(facts.hues < 0):
        return None
    light = facts.xyz[facts.hues] - facts.black
    return None if np.any(light.sum(axis=1) <= 0) else np.asarray(xyz_to_xy(light))


def _nearest(read: Array, own: Array) -> Array:
    """Primaries as read in the order that is nearest to the display's, whichever the channels'."""
    orders = [list(order) for order in itertools.permutations(range(3))]
    there = xy_to_uv(own)
    return min(
        (read[order] for order in orders),
        key=lambda one: float(np.linalg.norm(xy_to_uv(one) - there, axis=-1).sum()),
    )


def _borne(display: Display, without: Display, facts: Facts) -> bool:
    """Whether red, green and blue as read are those of a display, and not as well those of one
    without its set of primaries."""
    hues = facts.hues[facts.hues >= 0]
    if not len(hues):
        return True
    there = xyz_to_uv(facts.xyz[hues])
    off, before = (
        np.linalg.norm(xyz_to_uv(shown(one, facts).xyz[0, hues]) - there, axis=-1)
        for one in (display, without)
    )
    return bool(off.max() <= NEAR and off.sum() <= BETTER * before.sum())


def _with(points: Array) -> Change:
    return lambda display, values: display._replace(primaries=points[None])


def _shown(name: str, points: Array, facts: Facts) -> Option:
    def tells(value: Array, display: Display) -> bool:
        own = primaries_of(facts.model.from_target)[None]
        return _borne(display, display._replace(primaries=own), facts)

    return Option("primaries", f"shown-{name}", _with(points), NOTHING, (), 0.0, tells)


def _taken(name: str, points: Array, facts: Facts) -> Option:
    white = np.asarray(xyz_to_xy(facts.model.white_xyz))[None]
    taken = matrices(points[None], white)

    def change(display: Display, values: Array) -> Display:
        return display._replace(taken=taken)

    def tells(value: Array, display: Display) -> bool:
        return _borne(display, display._replace(taken=facts.model.from_signal[None]), facts)

    return Option("primaries", f"taken-{name}", change, NOTHING, (), 0.0, tells)


def _measured(points: Array) -> Option:
    return Option("primaries", "measured", _with(points), NOTHING, (), 0.35)


def _name(points: Array) -> str:
    """A set's name, or its x, y."""
    for name, primaries in PRIMARIES.items():
        if np.abs(np.array(primaries) - points).max() <= 1e-6:
            return NAMES[name]
    return "those of the rule"


def tell_primaries(told: Told) -> Cause:
    model = told.facts.model
    if told.variant == "measured":
        return _tell_measured(told)
    how, _, name = told.variant.partition("-")
    there = np.array(PRIMARIES[name])
    own = primaries_of(model.from_target)
    if how == "taken":
        own = primaries_of(model.from_signal)
        return cause(
            told,
            f"The signal is taken for {NAMES[name]}, not {_name(own)}",
            f"The colours fit a display that reads the signal as {NAMES[name]}.",
            f"Set the display's input, or what converts before it, to {_name(own)}, and read red, "
            "green and blue again.",
            ("largest distance of the two sets", _apart(there, own), "Δu'v'"),
        )
    return cause(
        told,
        f"The colours are those of {NAMES[name]}, not {_name(own)}",
        f"Red, green and blue and the colours between fit the primaries of {NAMES[name]}.",
        f"Choose {_name(own)} as the display's gamut and as the calibration's target, check that "
        "the slot's table is the one in use, and calibrate again.",
        ("largest distance of the two sets", _apart(there, own), "Δu'v'"),
    )


def _tell_measured(told: Told) -> Cause:
    """Primaries that have no name, each as it was read."""
    own = primaries_of(told.facts.model.from_target)
    there = told.display.primaries[0]
    away = np.linalg.norm(xy_to_uv(there) - xy_to_uv(own), axis=-1)
    read = ", ".join(
        f"{name} reads x {number(x)}, y {number(y)}"
        for name, (x, y) in zip(HUES, there.tolist(), strict=True)
    )
    return cause(
        told,
        f"The colours are those of none of the known sets of primaries, nor of {_name(own)}",
        f"{read.capitalize()}; the colours between fit these.",
        f"Choose {_name(own)} as the display's gamut and as the calibration's target; if that is "
        "what it is set to, let the calibration make them of the panel's own, and check that the "
        "meter's correction is the one for this display.",
        *(
            (f"{name} from the rule's", float(one), "Δu'v'")
            for name, one in zip(HUES, away, strict=True)
        ),
    )


def _apart(one: Array, other: Array) -> float:
    return float(np.linalg.norm(xy_to_uv(one) - xy_to_uv(other), axis=-1).max())
