"""Faults of colour: other primaries, another white."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

import numpy as np

from compliance.colour.spaces import PRIMARIES, WHITES, uv_to_xy, xy_to_uv, xyz_to_uv, xyz_to_xy
from compliance.diagnosis.cause_text import FitContext, cause, number, plain_cause
from compliance.diagnosis.faulty_display import Display, matrices, primaries_of, simulate
from compliance.diagnosis.fitting import NOTHING, Array, Change, Option
from compliance.diagnosis.inputs import Facts
from compliance.model import Cause

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
        np.linalg.norm(xyz_to_uv(simulate(one, facts).xyz[0, hues]) - there, axis=-1)
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


def describe_primaries(told: FitContext) -> Cause:
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


def _tell_measured(told: FitContext) -> Cause:
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


SAME_WHITE = 0.0015
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
        if np.linalg.norm(xy_to_uv(white) - own) > SAME_WHITE:
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


def any_white_options(facts: Facts) -> Iterator[Option]:
    """White wherever the brighter neutral readings are: no cause, but nothing else then."""
    there = np.asarray(uv_to_xy(facts.white_uv))

    def change(display: Display, values: Array) -> Display:
        return display._replace(white=there[None])

    yield Option("white-elsewhere", "free", change, NOTHING, (), 0.35)


def describe_elsewhere(facts: Facts) -> Cause:
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


def describe_white(told: FitContext) -> Cause:
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
