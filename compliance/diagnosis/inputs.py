"""The data that models of faults are fitted to: one slot's patches at the centre, as arrays."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.grading.decide import OUTSIDE
from compliance.grading.grade import evaluate, not_applicable_finding
from compliance.grading.match import MatchedReadings
from compliance.model import Level, Limits
from compliance.targets import TargetModel, target_linear

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

FLOOR = 0.05
"""cd/m² of the nominal target below which a patch is not used."""
VEIL = 0.02
"""cd/m²"""
GREY = spaces.xy_to_xyz(np.array(spaces.WHITES["d65"]), np.ones(()))
LIT = 0.05
"""Share of the brightest neutral target from which neutrals are used for white's luminance."""
BRIGHT = 0.2
"""Share of the brightest neutral target from which neutrals are used for white's chromaticity."""
LEAST = 8
"""Smallest number of patches for a diagnosis."""
ALONE = 0.01
"""Largest light of the other two primaries in a patch of one, as a share of its light."""
ABOUT = 0.1
"""Share by which white may differ from the rule's, if the rule has no limit on it."""
MOST = 250
"""Largest number of coloured patches that faults are fitted to: many more than they have values."""


class Inputs(NamedTuple):
    """The P patches at the centre, in the rule's window, without a delay."""

    model: TargetModel
    patches: NDArray[np.int64]
    """(P,) of the case"""
    signal: Array
    """(P, 3)"""
    xyz: Array
    """(P, 3) as read, cd/m²"""
    itp: Array
    """(P, 3)"""
    nominal: Array
    """(P,) cd/m²"""
    neutral: Flags
    black: Array
    """(3,) XYZ of the measured black; 0 if it was not measured"""
    signals: Array
    """(P + 1, 3), that of black last"""
    bright: Flags
    """(P,) neutrals that the white is fitted to"""
    white_uv: Array
    """(2,) u'v' of the brighter neutral readings"""
    white: float
    """Measured luminance of the rule's white; the rule's value if it was not measured."""
    span: tuple[float, float]
    """Range of white luminance in cd/m² that is not a fault."""
    darkest: float
    """Largest black luminance in cd/m² that is not a fault; a white that is too dark does not
    lower it."""
    greys: Array
    """(G, 2) level and luminance in cd/m² of every measured neutral, the darkest first"""
    top: float
    """cd/m² of the brightest reading"""
    window: float
    """% of the screen's area"""
    hues: NDArray[np.int64]
    """(3,) places among the P patches of the pure red, green and blue; -1: not measured"""
    exponent: Exponent | None
    """None if the rule has no limit on it."""


class Exponent(NamedTuple):
    """The exponent in the rule's own form, as its requirement measures it."""

    value: float
    kept: bool
    """Whether it is within its limits."""


def itp(xyz: Array) -> Array:
    """XYZ (..., 3) in cd/m² to I, T, P in just noticeable differences (ITU-R BT.2124-0).

    A little grey is added, so that the meter's noise in the dark counts little.
    """
    return np.asarray(720 * spaces.xyz_to_itp(xyz + VEIL * GREY))


def gather(case: MatchedReadings) -> Inputs | None:
    """The inputs of a case; None if too little was measured to tell faults apart."""
    patches, model = case.patches, case.view.model
    usable = ~(patches.beyond | patches.above | patches.unreachable)
    usable &= patches.nominal >= max(FLOOR, 3 * case.lowest)
    plain = np.array([_plain(case, index) for index in range(len(patches))])
    usable &= plain
    white, black = case.built_in("white"), case.built_in("black")
    if black is not None and case.view.xyz[black, 1] > case.lowest:
        usable[black] = True
    index = np.flatnonzero(usable)
    if len(index) < LEAST or np.count_nonzero(patches.neutral[index]) < LEAST // 2:
        return None
    xyz = case.view.xyz[index]
    dark = np.zeros(3) if black is None else np.maximum(case.view.xyz[black], 0.0)
    level = model.white_luminance if white is None else max(float(case.view.xyz[white, 1]), 1e-6)
    signal = patches.signal[index]
    there = np.flatnonzero(plain)
    nominal, neutral = patches.nominal[index], patches.neutral[index]
    return Inputs(
        model=model,
        patches=index.astype(np.int64),
        signal=signal,
        xyz=xyz,
        itp=itp(xyz),
        nominal=nominal,
        neutral=neutral,
        black=dark,
        signals=np.vstack([signal, np.zeros(3)]),
        bright=neutral & (nominal >= LIT * nominal[neutral].max()),
        white_uv=white_of(xyz, neutral, nominal),
        white=level,
        span=_span(case),
        darkest=_darkest(case, max(level, model.white_luminance)),
        greys=_greys(case, there),
        window=case.rule.window,
        top=float(case.view.xyz[there, 1].max()),
        hues=_hues(signal, model),
        exponent=_exponent(case),
    )


def thinned(inputs: Inputs) -> Inputs:
    """The inputs with every neutral and pure hue, and at most `MOST` of the other patches, evenly
    chosen in their order."""
    kept = inputs.neutral.copy()
    kept[inputs.hues[inputs.hues >= 0]] = True
    others = np.flatnonzero(~kept)
    if len(others) <= MOST:
        return inputs
    kept[others[np.linspace(0, len(others) - 1, MOST).astype(np.int64)]] = True
    place = np.cumsum(kept) - 1
    return inputs._replace(
        patches=inputs.patches[kept],
        signal=inputs.signal[kept],
        xyz=inputs.xyz[kept],
        itp=inputs.itp[kept],
        nominal=inputs.nominal[kept],
        neutral=inputs.neutral[kept],
        signals=inputs.signals[np.append(kept, True)],
        bright=inputs.bright[kept],
        hues=np.where(inputs.hues >= 0, place[inputs.hues], -1),
    )


def _greys(case: MatchedReadings, there: NDArray[np.intp]) -> Array:
    """(G, 2) level and luminance of the neutrals among patches, the darkest first."""
    patches = case.patches
    grey = there[patches.neutral[there] & ~patches.beyond[there]]
    grey = grey[np.argsort(patches.level[grey], kind="stable")]
    return np.stack([patches.level[grey], case.view.xyz[grey, 1]], axis=-1)


def _hues(signal: Array, model: TargetModel) -> NDArray[np.int64]:
    """(3,) the brightest patch of each of the target's primaries, (almost) without the others."""
    light = target_linear(signal, model)
    brightest = []
    for channel in range(3):
        others = np.abs(np.delete(light, channel, axis=1)).max(axis=1)
        alone = np.where(others <= ALONE * light[:, channel], light[:, channel], 0.0)
        brightest.append(int(np.argmax(alone)) if alone.max() > 0 else -1)
    return np.array(brightest, dtype=np.int64)


def _exponent(case: MatchedReadings) -> Exponent | None:
    for requirement in case.rule.requirements:
        if requirement.quantity == "fitted-exponent" and requirement.level is Level.SHALL:
            finding = evaluate(requirement, case)
            if isinstance(finding.value, float):
                return Exponent(finding.value, finding.verdict not in OUTSIDE)
    return None


def white_of(xyz: Array, neutral: Flags, nominal: Array) -> Array:
    """(2,) u'v' of the brighter neutrals among patches, given as XYZ (P, 3), neutral or not (P,),
    and nominal luminances (P,)."""
    bright = neutral & (nominal >= BRIGHT * nominal[neutral].max())
    return np.asarray(np.median(spaces.xyz_to_uv(xyz[bright]), axis=0))


def _plain(case: MatchedReadings, index: int) -> bool:
    """Whether a patch was shown at the centre, in the rule's window, without a delay."""
    there = case.patches.stimulus[index]
    same = abs(there.window - case.rule.window) <= 1e-6 and there.pattern != "checkerboard"
    return there.position == "centre" and same and there.seconds == 0


def _span(case: MatchedReadings) -> tuple[float, float]:
    """Range of white within the rule's shall limits, or near its white if it has none."""
    nominal = case.rule.target.luminance_white
    low, high = nominal * (1 - ABOUT), nominal * (1 + ABOUT)
    for limits in _limits(case, "luminance", "white"):
        low = limits.minimum if limits.minimum is not None else low
        high = limits.maximum if limits.maximum is not None else high
    return low, high


def _darkest(case: MatchedReadings, white: float) -> float:
    """Largest black within the rule's shall limits on black and contrast, for a white in cd/m²."""
    levels = [limits.maximum for limits in _limits(case, "luminance", "black")]
    for limits in _limits(case, "contrast", None):
        levels.append(white / limits.minimum if limits.minimum else None)
    return min((level for level in levels if level is not None), default=np.inf)


def _limits(case: MatchedReadings, quantity: str, over: str | None) -> list[Limits]:
    """The shall limits that are judged for the display's kind."""
    return [
        row.limits
        for row in case.rule.requirements
        if row.quantity == quantity
        and not_applicable_finding(row, case) is None
        and row.level is Level.SHALL
        and row.limits is not None
        and (over is None or (row.over is not None and row.over.patches == (over,)))
    ]
