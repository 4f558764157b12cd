"""Full and narrow range mixed up, highlights clipped or bent, blacks crushed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.diagnosis.display import Display
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Option
from compliance.diagnosis.told import Told, cause, number, percent, target_level
from compliance.model import Cause

__all__ = [
    "black_options",
    "highlight_options",
    "range_options",
    "tell_blacks",
    "tell_highlights",
    "tell_range",
]

BLACK, WHITE = 16, 235
"""8-bit narrow range; more bits are multiples (ITU-R BT.2100, table 9)."""

# ------------------------------------------------------------ range


def _narrow(bits: int) -> tuple[float, float]:
    """Narrow range's black and white as shares of the full range of the same bits."""
    full, scale = 2**bits - 1, 2 ** (bits - 8)
    return BLACK * scale / full, WHITE * scale / full


def range_options(facts: Facts) -> Iterator[Option]:
    """The signal stretched to the full range once too often, or not at all."""
    low, high = _narrow(facts.model.bits)
    size = high - low

    def stretched(display: Display, values: Array) -> Display:
        return display._replace(low=np.array([low]), high=np.array([high]))

    def squeezed(display: Display, values: Array) -> Display:
        return display._replace(low=np.array([-low / size]), high=np.array([(1 - low) / size]))

    yield Option("range", "stretched", stretched, NOTHING)
    yield Option("range", "squeezed", squeezed, NOTHING)


def tell_range(told: Told) -> Cause:
    bits = told.facts.model.bits
    scale, full = 2 ** (bits - 8), 2**bits - 1
    low, high = BLACK * scale, WHITE * scale
    ends = (("code of narrow range's black", low, "1"), ("of its white", high, "1"))
    step = (
        "Set generator, what lies between and the display's input to one range, check the "
        "encoding that the job states for the readings, and read white, black and a mid grey again."
    )
    if told.variant == "stretched":
        return cause(
            told,
            "A full-range signal is shown as narrow range",
            f"What is at or below code {low} of {full} shows as black, what is at or above "
            f"{high} as white, and all between is stretched.",
            step,
            *ends,
        )
    return cause(
        told,
        "A narrow-range signal is shown as full range",
        f"Black shows as if it were code {low} of {full} and white as if it were {high}: blacks "
        "are raised and white stays below what the display can do.",
        step,
        *ends,
    )


# ------------------------------------------------------------ highlights


def highlight_options(facts: Facts) -> Iterator[Option]:
    """Highlights that end at a level or a luminance, or bend from a level."""

    def clipped(display: Display, values: Array) -> Display:
        return display._replace(knee=values[:, 0], slope=np.zeros(len(values)))

    levels = np.linspace(0.4, 0.98, 30)[:, None]
    yield Option("highlights", "clipped", clipped, levels, (0.02,), 0.03)

    def bent(display: Display, values: Array) -> Display:
        return display._replace(knee=values[:, 0], slope=np.clip(values[:, 1], 0.0, 1.0))

    pairs = [(level, slope) for level in np.linspace(0.3, 0.95, 14) for slope in (0.2, 0.45, 0.7)]
    yield Option("highlights", "bent", bent, np.array(pairs), (0.05, 0.25), 0.08)

    def capped(display: Display, values: Array) -> Display:
        return display._replace(cap=np.exp(values[:, 0]))

    top = np.log(max(float(facts.xyz[:, 1].max()), 1e-3))
    caps = (top + np.linspace(-0.1, 0.02, 13))[:, None]
    yield Option("highlights", "capped", capped, caps, (0.01,), 0.03)


def tell_highlights(told: Told) -> Cause:
    facts = told.facts
    top = float(facts.xyz[:, 1].max())
    if told.variant == "capped":
        cap = float(np.exp(told.value[0]))
        return cause(
            told,
            f"Nothing is brighter than {number(cap)}\u00a0cd/m²",
            f"Up to there the display follows; whatever the rule asks for above "
            f"{number(cap)}\u00a0cd/m² shows at that.",
            HIGHLIGHTS,
            ("highest luminance", cap, "cd/m²"),
        )
    level = float(told.value[0])
    at = target_level(level, facts)
    where = f"{percent(level)} of the signal, where the target is {number(at)}\u00a0cd/m²"
    evidence = (
        ("signal from which", 100 * level, "%"),
        ("target there", at, "cd/m²"),
        ("brightest reading", top, "cd/m²"),
    )
    if told.variant == "clipped":
        return cause(
            told,
            f"Highlights are clipped from {percent(level)} of the signal",
            f"They end at {where}; everything brighter shows alike.",
            HIGHLIGHTS,
            *evidence,
        )
    slope = float(np.clip(told.value[1], 0.0, 1.0))
    return cause(
        told,
        f"Highlights are bent from {percent(level)} of the signal",
        f"From {where}, the signal rises only {percent(slope)} as fast as it should; the "
        f"brightest reading is {number(top)}\u00a0cd/m².",
        "Switch off the display's own roll-off or tone mapping, its contrast enhancement and any "
        "knee between generator and display; then read the bright half of the greys again.",
        *evidence,
        ("slope above it", 100 * slope, "%"),
    )


HIGHLIGHTS = (
    "Lower the display's contrast or gain until the brightest steps differ, check that the "
    "display reaches the luminance asked for, and that nothing before it clips the signal."
)

# ------------------------------------------------------------ blacks


def black_options(facts: Facts) -> Iterator[Option]:
    """Blacks that begin above a level, of the signal or of the display's own drive: what is below
    is cut off, or the whole signal is lowered by it."""
    yield Option("blacks", "sunk", _sunk, np.linspace(0.02, 0.25, 24)[:, None], (0.01,), 0.05)
    dark = np.linspace(0.03, 0.4, 38)[:, None]
    if facts.model.kind == "rgb":
        yield Option("blacks", "signal", _floored, dark, (0.01,), 0.03)
    if not np.allclose(facts.model.from_signal, facts.model.from_target):
        yield Option("blacks", "drive", _crushed, dark, (0.01,), 0.03)


def _sunk(display: Display, values: Array) -> Display:
    return display._replace(sunk=values[:, 0])


def _floored(display: Display, values: Array) -> Display:
    return display._replace(floor=values[:, 0])


def _crushed(display: Display, values: Array) -> Display:
    return display._replace(crush=values[:, 0])


def tell_blacks(told: Told) -> Cause:
    level = float(told.value[0])
    at = target_level(level, told.facts)
    text = f"Everything up to there, where the target is {number(at)}\u00a0cd/m², shows as black"
    if told.variant == "sunk":
        text += ", and what is above begins from there: the black level is set too low"
    return cause(
        told,
        f"Blacks are crushed up to {percent(level)} of the signal",
        f"{text}.",
        "Raise the display's black level or brightness until the darkest steps differ, check the "
        "range of the signal, and switch off dynamic contrast and local dimming.",
        ("signal up to which", 100 * level, "%"),
        ("target there", at, "cd/m²"),
    )
