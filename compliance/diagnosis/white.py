"""White at another standard white, or on the daylight locus."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from compliance.colorimetry.spaces import WHITES, uv_to_xy, xy_to_uv, xyz_to_uv, xyz_to_xy
from compliance.diagnosis.display import Display
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Option
from compliance.diagnosis.told import Told, cause, number, plain_cause
from compliance.model import Cause

__all__ = [
    "daylight",
    "free_white",
    "nearest_daylight",
    "tell_elsewhere",
    "tell_white",
    "white_options",
]

SAME = 0.0015
"""Δu'v' within which two whites are one."""
COLDEST, HOTTEST = 4000.0, 25000.0
"""K between which daylight is defined (CIE 15:2018, 4.1.2)."""
BESIDE = 0.05
"""Δu'v' from the daylight locus up to which a white is said to lie beside it; correlated colour
temperature has a meaning up to there (CIE 15:2018, 9.5)."""
NEAR_LOCUS = 0.003
"""Δu'v' from the daylight locus up to which a white is told by a temperature."""

NAMED: Mapping[str, tuple[float, float]] = {
    **WHITES,
    "d60": (0.32163, 0.33774),
    "d75": (0.29902, 0.31485),
    "d93": (0.28315, 0.29711),
}
"""Named whites; D60, D75 and D93 of the daylight formula at 6000, 7500 and 9300 K, the first
two times 1.4388/1.438 (CIE 15:2018, 4.1.2)."""
WORDS = {"dci": "the cinema's white", "e": "the equal-energy white"}


def daylight(kelvin: Array) -> Array:
    """x, y (..., 2) of daylight of 4000 to 25000 K; CIE 15:2018, 4.1.2."""
    t = 1000 / np.asarray(kelvin, dtype=np.float64)
    near = 0.244063 + 0.09911 * t + 2.9678 * t**2 - 4.6070 * t**3
    far = 0.237040 + 0.24748 * t + 1.9018 * t**2 - 2.0064 * t**3
    x = np.where(np.asarray(kelvin) <= 7000, near, far)
    return np.stack([x, -3 * x**2 + 2.87 * x - 0.275], axis=-1)


def _kelvin(values: Array) -> Array:
    """From 10⁶/K, in which equal steps look equal."""
    return np.clip(1e6 / values[:, 0], COLDEST, HOTTEST)


def white_options(facts: Facts) -> Iterator[Option]:
    """Each named white that is not the rule's, and daylight of any temperature."""
    own = np.asarray(xyz_to_uv(facts.model.white_xyz))
    for name, white in NAMED.items():
        if np.linalg.norm(xy_to_uv(white) - own) > SAME:
            yield _at(name, np.array(white))

    def locus(display: Display, values: Array) -> Display:
        return display._replace(white=daylight(_kelvin(values)))

    yield Option("white", "daylight", locus, np.arange(50.0, 250.0, 5.0)[:, None], (5.0,), 0.03)


def _at(name: str, point: Array) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(white=point[None])

    return Option("white", name, change, NOTHING)


def nearest_daylight(uv: Array) -> float:
    """Temperature in K, to 10, of the daylight whose u'v' is nearest to a white (2,)."""
    kelvin = np.arange(COLDEST, HOTTEST + 1, 10.0)
    away = np.linalg.norm(xy_to_uv(daylight(kelvin)) - uv, axis=-1)
    return float(kelvin[np.argmin(away)])


def free_white(facts: Facts) -> Iterator[Option]:
    """White wherever the brighter neutral readings are: no cause, but nothing else then."""
    there = np.asarray(uv_to_xy(facts.white_uv))

    def change(display: Display, values: Array) -> Display:
        return display._replace(white=there[None])

    yield Option("white-elsewhere", "free", change, NOTHING, (), 0.35)


def tell_elsewhere(facts: Facts) -> Cause:
    """A white that is none of the known ones."""
    read, own = uv_to_xy(facts.white_uv), xyz_to_uv(facts.model.white_xyz)
    away = float(np.linalg.norm(own - facts.white_uv))
    kelvin = nearest_daylight(facts.white_uv)
    beside = facts.white_uv - xy_to_uv(daylight(np.array(kelvin)))
    hue, off = "green" if beside[1] > 0 else "magenta", float(np.linalg.norm(beside))
    where = (
        f"The nearest daylight is that of {number(kelvin, 2)}\u00a0K, from which it lies Δu'v' "
        f"{number(off, 2)} towards {hue}."
        if COLDEST < kelvin < HOTTEST and off <= BESIDE
        else "It is far from daylight of any temperature."
    )
    return plain_cause(
        "white",
        f"White is off by Δu'v' {number(away, 2)}",
        f"White reads x {read[0]:.4f}, y {read[1]:.4f}, and nothing else explains it. {where}",
        "Set the white with the gains of two channels, or calibrate it again, and check that the "
        "meter's correction is the one for this display.",
        ("x of white as read", float(read[0]), "1"),
        ("y", float(read[1]), "1"),
        ("from the rule's white", away, "Δu'v'"),
        ("temperature of the nearest daylight", kelvin, "K"),
        ("from that daylight", off, "Δu'v'"),
    )


def tell_white(told: Told) -> Cause:
    facts = told.facts
    read = uv_to_xy(facts.white_uv)
    there, own = told.display.white[0], xyz_to_xy(facts.model.white_xyz)
    away = float(np.linalg.norm(xy_to_uv(own) - facts.white_uv))
    kelvin = nearest_daylight(facts.white_uv)
    nearest = daylight(np.array(kelvin))
    if told.variant == "daylight":
        there = nearest
    missed = round(float(np.linalg.norm(xy_to_uv(there) - facts.white_uv)), 6)
    evidence = [
        ("x of white as read", float(read[0]), "1"),
        ("y", float(read[1]), "1"),
        ("from the rule's white", away, "Δu'v'"),
        ("from the white named", missed, "Δu'v'"),
    ]
    if np.linalg.norm(xy_to_uv(nearest) - facts.white_uv) <= NEAR_LOCUS:
        evidence.insert(0, ("temperature of the nearest daylight", kelvin, "K"))
    name = WORDS.get(told.variant, told.variant.upper())
    if told.variant == "daylight":
        name = f"daylight of {number(kelvin, 2)}\u00a0K"
    return cause(
        told,
        f"White is that of {name}",
        f"White reads x {read[0]:.4f}, y {read[1]:.4f}: Δu'v' "
        f"{number(missed, 2)} from {name}, {number(away, 2)} from the rule's white.",
        "Choose the rule's white in the display's set-up and in the calibration's target, and "
        "check that the meter's correction is the one for this display; then calibrate again.",
        *evidence,
    )
