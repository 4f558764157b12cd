"""From spectral radiance to X, Y, Z.

X, Y, Z are 683 lm/W times the integral of the spectrum over the observer's functions, in
cd/m² for the 2° observer (CIE 15:2018, 7.1; ISO/CIE 11664-3). The spectrum is first
interpolated to steps of 1 nm, by Sprague's polynomial if evenly spaced, else by a cubic spline,
and is zero outside the measured range. colour-science does both; since both are linear in
the spectrum, they are done once for each set of wavelengths, as a table of weights.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np

from compliance.errors import UsageError
from compliance.model import Array
from compliance.readings.raw_table import NUMBER
from compliance.readings.text import Place
from compliance.readings.validate import OBSERVER
from compliance.yaml_nodes.messages import did_you_mean, quoted

KM = 683.0
"""lm/W, luminous efficacy of 540 THz (The International System of Units)."""
FROM, TO = 380.0, 730.0
"""nm that a spectrum must cover at least."""
WIDEST = 5.0
"""nm between two values at most: a display's primaries are narrow (CIE 15:2018, 7.1)."""
MOST_WAVELENGTHS = 2000
EVEN = 1e-6
"""nm by which steps may differ and count as equal."""

OBSERVERS: Mapping[str, str] = {
    OBSERVER: "CIE 1931 2 Degree Standard Observer",
    "cie-1964-10": "CIE 1964 10 Degree Standard Observer",
    "cie-2015-2": "CIE 2015 2 Degree Standard Observer",
    "cie-2015-10": "CIE 2015 10 Degree Standard Observer",
}
"""Our names, and those of the tables in colour-science. Rules use the first."""

EVERY_NM = "W/(sr·m²·nm)"
UNITS: Mapping[str, float] = {EVERY_NM: 1.0, "mW/(sr·m²·nm)": 1e-3}
"""Units of spectral radiance, each with its factor to W/(sr·m²·nm)."""
DIVISOR = re.compile(r"/\(([a-z0-9.]+)\)|/([a-z0-9]+)|\.([a-z]+)-([12])")
"""A divisor: `/(sr.m2)`, `/nm` or `.nm-1`."""
DIVISORS = ["m2", "nm", "sr"]


def unit_of(text: str) -> str | None:
    """The unit of spectral radiance that a text means; None if it is not one."""
    plain = text.strip().replace("²", "2").replace("⁻", "-").replace("¹", "1")
    plain = re.sub(r"[·*\s]+", ".", plain).replace("^", "")
    match = re.fullmatch(r"(m?)W(.+)", plain)
    if match is None or DIVISOR.sub("", match[2]):
        return None
    names: list[str] = []
    for several, single, base, times in DIVISOR.findall(match[2]):
        names += several.split(".") if several else [single or base + times.replace("1", "")]
    return match[1] + EVERY_NM if sorted(names) == DIVISORS else None


def stated_unit(text: str, place: Place) -> str | None:
    """The unit of spectral radiance that a text means; None if it is not one, which is noted."""
    unit = unit_of(text)
    if unit is None:
        what = "no unit is stated"
        if text:
            what = f"{quoted(text)} is not a unit of spectral radiance"
        place.add(f"{what}; expected {' or '.join(UNITS)}")
    return unit


def check_wavelengths(wavelengths: Sequence[float], place: Place) -> bool:
    """Whether a spectrum at these wavelengths (nm) can be used; notes what is wrong."""
    fault = _fault(wavelengths)
    if fault:
        place.add(fault)
    return not fault


def _fault(wavelengths: Sequence[float]) -> str:
    if not 2 < len(wavelengths) <= MOST_WAVELENGTHS:
        return f"{len(wavelengths)} wavelengths; expected 3 to {MOST_WAVELENGTHS}, in nm"
    steps = [after - before for before, after in pairwise(wavelengths)]
    if min(steps) <= 0:
        after = wavelengths[steps.index(min(steps)) + 1]
        return f"the wavelength {after:g} nm is not above the one before; expected rising order"
    first, last = wavelengths[0], wavelengths[-1]
    if first > FROM or last < TO:
        return f"{first:g} to {last:g} nm; expected at least {FROM:g} to {TO:g} nm"
    inside = [
        step
        for step, start in zip(steps, wavelengths, strict=False)
        if step > WIDEST * (1 + 1e-9) and start < TO and start + step > FROM
    ]
    if inside:
        return f"steps of {max(inside):g} nm; expected {WIDEST:g} nm or less"
    return ""


@lru_cache(maxsize=8)
def weights(wavelengths: tuple[float, ...], observer: str = OBSERVER) -> Array:
    """Weights (N, 3) from radiance in W/(sr·m²·nm) at N wavelengths (nm) to X, Y, Z.

    Raises UsageError for an unknown observer.
    """
    if observer not in OBSERVERS:
        hint = did_you_mean(observer, OBSERVERS)
        raise UsageError(f"unknown observer {quoted(observer)}; {hint}")
    with warnings.catch_warnings():  # it warns that its optional plotting is missing
        warnings.simplefilter("ignore")
        import colour

    functions = colour.MSDS_CMFS[OBSERVERS[observer]]
    nodes = np.asarray(wavelengths)
    # Integer wavelengths, not counted in floating-point steps.
    inner = np.arange(math.ceil(nodes[0]), math.floor(nodes[-1]) + 1, dtype=np.float64)
    inner = inner[(inner >= functions.wavelengths[0]) & (inner <= functions.wavelengths[-1])]
    table = functions.values[np.searchsorted(functions.wavelengths, inner)]
    steps = np.diff(nodes)
    if np.ptp(steps) <= EVEN:
        make, nodes = colour.SpragueInterpolator, np.linspace(nodes[0], nodes[-1], len(nodes))
    else:
        make = colour.CubicSplineInterpolator
    unit = np.eye(len(nodes))
    weighed = [
        make(nodes, impulse)(np.clip(inner, nodes[0], nodes[-1])) @ table for impulse in unit
    ]
    return KM * np.array(weighed, dtype=np.float64)


def tristimulus_cells(
    wavelengths: Sequence[float],
    numbers: Sequence[str],
    unit: str,
    observer: str,
    place: Place,
) -> dict[str, str]:
    """X, Y, Z in cd/m² of one spectrum, as cells; empty if it is faulty, which is noted.

    With an observer other than the one that rules use, a further cell names it.
    """
    xyz = ["", "", ""]
    if check_wavelengths(wavelengths, place):
        values = radiances(numbers, wavelengths, place)
        if values is not None:
            light = UNITS[unit] * values @ weights(tuple(wavelengths), observer)
            xyz = [repr(float(value)) for value in light]
    cells = dict(zip("XYZ", xyz, strict=True))
    return cells if observer == OBSERVER else {**cells, "observer": observer}


def radiances(numbers: Sequence[str], wavelengths: Sequence[float], place: Place) -> Array | None:
    """The values of a spectrum; None if one is not a number, which is noted."""
    for text, wavelength in zip(numbers, wavelengths, strict=True):
        if not NUMBER.fullmatch(text) or not math.isfinite(float(text)):
            what = f"{quoted(text)} is not a finite number" if text else "the cell is empty"
            here = place.problems.at(place.line, f"{place.field} {wavelength:g} nm")
            here.add(f"{what}; expected spectral radiance")
            return None
    return np.array([float(text) for text in numbers])
