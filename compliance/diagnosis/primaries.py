"""Signals taken for those of other primaries, or shown on others."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.colorimetry.spaces import PRIMARIES, xy_to_uv
from compliance.diagnosis.display import Display, matrices, primaries_of
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Option
from compliance.diagnosis.told import Told, cause
from compliance.model import Cause

__all__ = ["primaries_options", "tell_primaries"]

SAME = 0.004
"""x, y within which two sets of primaries are one."""
NAMES = {
    "bt709": "BT.709",
    "bt2020": "BT.2020",
    "p3": "P3",
    "adobe-rgb": "Adobe RGB",
    "bt601-525": "BT.601 with 525 lines",
    "bt601-625": "BT.601 with 625 lines",
}


def primaries_options(facts: Facts) -> Iterator[Option]:
    """Each named set that is not the rule's, for the display and for the signal."""
    own = primaries_of(facts.model.from_target)
    signal = primaries_of(facts.model.from_signal) if facts.model.kind == "rgb" else own
    for name, primaries in PRIMARIES.items():
        points = np.array(primaries)
        if np.abs(points - own).max() > SAME:
            yield _shown(name, points)
        if np.abs(own - signal).max() > SAME and np.abs(points - signal).max() > SAME:
            yield _taken(name, points)


def _shown(name: str, points: Array) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(primaries=points[None])

    return Option("primaries", f"shown-{name}", change, NOTHING)


def _taken(name: str, points: Array) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(taken=matrices(points[None], display.white))

    return Option("primaries", f"taken-{name}", change, NOTHING)


def _name(points: Array) -> str:
    """A set's name, or its x, y."""
    for name, primaries in PRIMARIES.items():
        if np.abs(np.array(primaries) - points).max() <= 1e-6:
            return NAMES[name]
    return "those of the rule"


def tell_primaries(told: Told) -> Cause:
    model = told.facts.model
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


def _apart(one: Array, other: Array) -> float:
    return float(np.linalg.norm(xy_to_uv(one) - xy_to_uv(other), axis=-1).max())
