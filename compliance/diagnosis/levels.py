"""Full and narrow range mixed up, highlights clipped or bent."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.colorimetry.codes import encode
from compliance.diagnosis.display import Display, shown
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Option
from compliance.diagnosis.told import Told, cause, number, percent, target_level
from compliance.model import Cause

__all__ = [
    "highlight_options",
    "range_options",
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
    model = told.facts.model
    full = 2**model.bits - 1
    low, high = (int(code) for code in encode(_narrow(model.bits), model.bits, model.narrow))
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
            ("highest code that shows as black", low, "1"),
            ("lowest code that shows as white", high, "1"),
        )
    return cause(
        told,
        "A narrow-range signal is shown as full range",
        f"Black shows as if it were code {low} of {full} and white as if it were {high}: blacks "
        "are raised and white stays below what the display can do.",
        step,
        ("code that black shows as", low, "1"),
        ("code that white shows as", high, "1"),
    )


# ------------------------------------------------------------ highlights

TOP_CLIPPED, TOP_BENT = 0.98, 0.97
"""Share of full signal from which highlights that end or bend are not told."""
ALIKE = 0.015
"""Share within which luminances are one."""


def highlight_options(facts: Facts) -> Iterator[Option]:
    """Highlights that end at a level or a luminance, or bend from a level."""

    def clipped(display: Display, values: Array) -> Display:
        return display._replace(knee=values[:, 0], slope=np.zeros(len(values)))

    def ended(value: Array, display: Display) -> bool:
        return _ended(value, display, facts)

    levels = np.linspace(0.4, 0.98, 30)[:, None]
    yield Option("highlights", "clipped", clipped, levels, (0.02,), 0.03, ended)

    def bent(display: Display, values: Array) -> Display:
        return display._replace(knee=values[:, 0], slope=np.clip(values[:, 1], 0.0, 1.0))

    pairs = [(level, slope) for level in np.linspace(0.3, 0.95, 14) for slope in (0.2, 0.45, 0.7)]
    yield Option("highlights", "bent", bent, np.array(pairs), (0.05, 0.25), 0.08, _bent_below)

    def capped(display: Display, values: Array) -> Display:
        return display._replace(cap=np.minimum(display.cap, np.exp(values[:, 0])))

    top = np.log(max(float(facts.xyz[:, 1].max()), 1e-3))
    caps = (top + np.linspace(-0.1, 0.02, 13))[:, None]

    def alike(value: Array, display: Display) -> bool:
        return _alike(float(np.exp(value[0])), display, facts)

    yield Option("highlights", "capped", capped, caps, (0.01,), 0.03, alike)


def _bent_below(value: Array, display: Display) -> bool:
    """Whether highlights bend below the very top, where there is no telling it."""
    return bool(value[0] <= TOP_BENT)


def _alike(cap: float, display: Display, facts: Facts) -> bool:
    """Whether all that would be brighter than a luminance reads alike, and nothing is brighter."""
    uncapped = shown(display._replace(cap=np.array([np.inf])), facts).xyz[0, :, 1]
    beyond = facts.xyz[uncapped > cap * (1 + ALIKE), 1]
    return bool(np.all(beyond >= facts.top * (1 - ALIKE)) and facts.top <= cap * (1 + ALIKE))


def _ended(value: Array, display: Display, facts: Facts) -> bool:
    """Whether the greys that are clipped read as such, and not at the very top."""
    made, free = (shown(one, facts).xyz[0, :, 1] for one in (display, _unbent(display)))
    clipped = facts.neutral & (free > made * (1 + ALIKE))
    ratio = facts.xyz[clipped, 1] / made[clipped]
    alike = not len(ratio) or ratio.min() >= ratio.max() * (1 - ALIKE)
    return bool(value[0] <= TOP_CLIPPED and alike)


def _unbent(display: Display) -> Display:
    return display._replace(knee=np.array([2.0]))


def tell_highlights(told: Told) -> Cause:
    facts = told.facts
    top = facts.top
    if told.variant == "capped":
        return cause(
            told,
            f"Nothing is brighter than {number(top)}\u00a0cd/m²",
            f"Up to there the display follows; whatever the rule asks for above "
            f"{number(top)}\u00a0cd/m² shows at that.",
            HIGHLIGHTS,
            ("highest luminance", top, "cd/m²"),
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
