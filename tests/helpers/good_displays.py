"""Invented displays for each family of rules: well calibrated ones with spreads, and wrong ones.

The spreads are standard deviations of the errors after calibration. They are invented, not
measured; they show whether a rule's limits can be met by a display that is as good
as its kind, and are missed by one that is set up for something else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from compliance.colour.spaces import PRIMARIES, rgb_to_xyz_matrix
from compliance.colour.transfer import DCDM_EXPONENT, DCDM_PEAK
from compliance.grading.patches import PlannedPatch
from compliance.model import Rule
from helpers import shipped, simulated

Array = NDArray[np.float64]
Primaries = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Spread:
    """Standard deviations of a family's good displays."""

    level: float = 0.012
    """White luminance (PQ: gain of all light), as a share."""
    black: float = 0.08
    """Black luminance, as a share."""
    white: float = 0.0006
    """x and y of white."""
    primaries: float = 0.0015
    """x and y of each primary."""
    exponent: float = 0.003
    """Exponent on light, all channels together, as a share."""
    channel: float = 0.0006
    """The same of each channel on top: the greys' colour."""
    edge: float = 0.01
    """Light beside the centre, as a share."""
    noise: float = 0.001
    """Of the meter: Y, as a share of each reading."""
    tint: float = 0.0002
    """Of the meter: X and Z on top."""


FALL_OFF = 0.97
"""Share of the centre's light at other places, if a rule states none."""

FAMILIES: Mapping[str, Spread] = {
    "SDR broadcast": Spread(white=0.0004),
    "web and stills": Spread(black=0.15),
    "cinema": Spread(level=0.007, white=0.0005, primaries=0.0005, exponent=0.0012),
    "cinema, high range": Spread(
        level=0.007, black=0.06, white=0.0005, primaries=0.0005, exponent=0.0012
    ),
    "HDR, PQ": Spread(level=0.007, black=0.2),
    "HDR, HLG": Spread(black=0.2),
}
"""Families of rules and the spreads of their good displays. A cinema screen's primaries are set
through a matrix, not left as built; cinema has tighter limits than the others, and absolute ones
(DCI CTP 1.4, 7.5.11 and 7.5.12), and its screens are assumed to be set up with more care."""


def family(rule: Rule) -> str:
    """The family of a rule, by its target."""
    curve, exponent = rule.target.curve, rule.target.exponent or 0
    if curve == "pq":
        return "cinema, high range" if rule.encoding.kind == "xyz" else "HDR, PQ"
    if curve == "hlg":
        return "HDR, HLG"
    if curve == "bt1886":
        return "SDR broadcast"
    return "cinema" if exponent > 2.5 else "web and stills"


def _near(
    primary: tuple[float, float], spread: float, random: np.random.RandomState
) -> tuple[float, float]:
    """A chromaticity close by that a light can have: z is never below 0."""
    x, y = (value + spread * float(random.normal()) for value in primary)
    return x, min(y, 1 - x)


def good_fault(
    rule: Rule, random: np.random.RandomState, primaries: Primaries | None = None
) -> simulated.Fault:
    """The small errors of a well calibrated display and a meter.

    `primaries` are the display's instead of the rule's, with the same drive.
    """
    spread = FAMILIES[family(rule)]
    about = primaries or rule.target.primaries
    own = tuple(_near(one, spread.primaries, random) for one in about)
    white = rule.target.white + spread.white * random.normal(size=2)
    gain = 1 + spread.level * random.normal() if rule.target.curve == "pq" else 1.0
    peak = rule.target.luminance_peak
    into = np.linalg.inv(shipped.native(rule)) / peak
    out = rgb_to_xyz_matrix(own, white) * peak * gain  # type: ignore[arg-type]
    exponent = 1 + spread.exponent * random.normal() + spread.channel * random.normal(size=3)
    free = not np.isfinite(shipped.edge_limits(rule, shipped.technology(rule))).any()
    middle = FALL_OFF if free else shipped.edge_share(rule)
    edge = min(middle + spread.edge * float(random.normal()), 1.0)

    def fault(_patch: PlannedPatch, xyz: Array) -> Array:
        return np.asarray(out @ np.maximum(into @ xyz, 0) ** exponent)

    noise = simulated.noisy(random, spread.noise, spread.tint)
    return simulated.in_turn(fault, shipped.edges(edge), noise)


def good_settings(rule: Rule, random: np.random.RandomState) -> dict[str, object]:
    """White and black of a well calibrated display, cd/m²."""
    spread = FAMILIES[family(rule)]
    level = 1 + spread.level * float(random.normal())
    dark = shipped.black(rule) * (1 + spread.black * float(random.normal()))
    settings: dict[str, object] = {"black": max(dark, 0.0)}
    if rule.target.curve != "pq":
        settings["white"] = shipped.white(rule) * level
    return settings


def good(rule: Rule, random: np.random.RandomState) -> list[simulated.Shown]:
    """A well calibrated display's readings of the whole plan."""
    how = good_settings(rule, random)
    return simulated.ideal(rule, fault=good_fault(rule, random), **how)  # type: ignore[arg-type]


# ---------------------------------------------------------------- wrong ones


Wrong = Callable[[Rule], Mapping[str, object]]
"""Arguments of `simulated.ideal` for a wrong display of a rule, plus `then`, a further fault, and
other `primaries`."""


def _power(exponent: float) -> Wrong:
    def another(rule: Rule) -> Mapping[str, object]:
        if rule.target.curve == "dcdm":
            return {"then": _another_power(rule, exponent)}
        curve = "bt1886" if rule.target.curve == "bt1886" else "power"
        return {"wrong_target": replace(rule.target, curve=curve, exponent=exponent)}

    return another


def _another_power(rule: Rule, exponent: float) -> simulated.Fault:
    """X', Y' and Z' decoded with another exponent than 2.6, on top of the same black."""
    black = shipped.black(rule) * shipped.native(rule).sum(axis=1)

    def fault(_patch: PlannedPatch, xyz: Array) -> Array:
        light = np.maximum(xyz - black, 0) / DCDM_PEAK
        return np.asarray(black + DCDM_PEAK * light ** (exponent / DCDM_EXPONENT))

    return fault


def _colour(name: str) -> Wrong:
    return lambda _rule: {"primaries": PRIMARIES[name]}


def _bright(share: float) -> Wrong:
    return lambda rule: {"white": share * rule.target.luminance_white}


def _dim_peak(rule: Rule) -> Mapping[str, object]:
    return {"then": simulated.clipped(0.6 * rule.target.luminance_peak)}


def _dark(level: float) -> Wrong:
    return lambda _rule: {"black": level}


BLACK = "black 0.03 cd/m²"
PEAK = "peak 0.6 of nominal"

WRONG: Mapping[str, Mapping[str, Wrong]] = {
    "SDR broadcast": {"gamma 2.2 for 2.4": _power(2.2), "120 for 100 cd/m²": _bright(1.2)},
    "web and stills": {"gamma 1.8": _power(1.8), "gamma 2.4": _power(2.4)},
    "cinema": {"gamma 2.4 for 2.6": _power(2.4), "60 for 48 cd/m²": _bright(1.25)},
    "cinema, high range": {PEAK: _dim_peak, BLACK: _dark(0.03)},
    "HDR, PQ": {PEAK: _dim_peak, BLACK: _dark(0.03)},
    "HDR, HLG": {PEAK: _dim_peak, BLACK: _dark(0.03)},
}
"""Displays that are well calibrated for another target. Cinema white is wrong at 60 cd/m²:
20 % more than 48, as in the other families, is within a theatre's own limits."""


def wrong_ways(rule: Rule) -> dict[str, Wrong]:
    """Every kind of wrong display for a rule, wrong primaries last."""
    if rule.target.primaries_name == "bt709":
        return {**WRONG[family(rule)], "P3 primaries": _colour("p3")}
    return {**WRONG[family(rule)], "BT.709 primaries": _colour("bt709")}


def wrong(rule: Rule, way: Wrong, random: np.random.RandomState) -> list[simulated.Shown]:
    """The readings of a display that is well calibrated except for one fault."""
    how = {**good_settings(rule, random), **way(rule)}
    fault = good_fault(rule, random, how.pop("primaries", None))  # type: ignore[arg-type]
    then = how.pop("then", None)
    if then is not None:
        fault = simulated.in_turn(fault, then)  # type: ignore[arg-type]
    return simulated.ideal(rule, fault=fault, **how)  # type: ignore[arg-type]
