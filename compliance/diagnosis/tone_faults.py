"""Faults of the tone scale: another transfer function, mixed-up range, bent highlights."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from compliance.colour import transfer
from compliance.colour.codes import encode
from compliance.diagnosis.cause_text import FitContext, cause, number, percent, target_level
from compliance.diagnosis.faulty_display import PQ_PEAK, Display, simulate
from compliance.diagnosis.fitting import NOTHING, Array, Option
from compliance.diagnosis.inputs import Facts
from compliance.model import Cause
from compliance.quantities.formulas import power_exponent

EXPONENTS = np.arange(1.4, 3.21, 0.1)[:, None]
LEAST = 0.06
"""Exponents nearer to the rule's are its own."""
NAMES = {
    "bt1886": "BT.1886",
    "srgb": "the sRGB curve",
    "pq": "PQ",
    "pq-channels": "PQ",
    "hlg": "HLG",
    "dcdm": "the exponent 2.6 of SDR cinema",
}
FORMS = {
    "power-lift": "BT.1886's form, the black in the drive, with exponent",
    "power-add": "the black and a power of the signal beside it, with exponent",
}
LEVELS = np.linspace(0.1, 0.9, 17)
"""Signals by which an exponent in one form is put into another."""
OVERHEAD = 1.005
"""A PQ signal on a display of less is clipped at what that can do."""


def curve_options(facts: Facts) -> Iterator[Option]:
    """Power functions of any exponent, and each curve with a name that is not the rule's."""
    model = facts.model
    for way in ("lift", "add") if model.lift else ("add",):
        yield _power(way, facts)
    if model.kind == "xyz":
        return
    if model.curve != "srgb":
        yield Option("curve", "srgb", _srgb, NOTHING)
    if model.curve != "pq":
        yield Option("curve", "pq", _pq(facts, by_channel=False), NOTHING)
        yield Option("curve", "pq-channels", _pq(facts, by_channel=True), NOTHING)
    gammas = np.arange(0.9, 1.51, 0.1)[:, None]
    own = model.system_gamma if model.curve == "hlg" else np.nan
    yield Option("curve", "hlg", _hlg, gammas, (0.1,), 0.03, _other(facts, own))


def _other(facts: Facts, *own: float) -> Callable[[Array, Display], bool]:
    """Whether an exponent is none of the rule's own; and none is while the requirement on it is
    kept."""
    kept = facts.exponent is not None and facts.exponent.kept
    return lambda value, display: not (kept or any(abs(value[0] - one) < LEAST for one in own))


def _own(black: str, facts: Facts) -> tuple[float, ...]:
    """The rule's exponent, if it has one, and what it is in another form of the black."""
    model = facts.model
    if model.curve not in ("bt1886", "power", "dcdm"):
        return ()
    if black == "lift" or not model.lift:
        return (model.exponent,)
    white, dark = np.array(facts.white), np.array(facts.black[1])
    light = transfer.bt1886(LEVELS, white, dark, model.exponent)
    return model.exponent, float(power_exponent(LEVELS, light, white, dark))


def _white(display: Display) -> tuple[float, float]:
    """Any white will do where the rule's curve said cd/m² and this one does not."""
    return (0.0, np.inf) if display.absolute else display.prior


def _power(black: str, facts: Facts) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(
            curve="power",
            black=black,
            exponent=values[:, 0],
            absolute=False,
            prior=_white(display),
        )

    return Option(
        "curve",
        f"power-{black}",
        change,
        EXPONENTS,
        (0.1,),
        0.03,
        _other(facts, *_own(black, facts)),
    )


def _srgb(display: Display, values: Array) -> Display:
    return display._replace(
        curve="srgb",
        black="add",
        exponent=np.ones(1),
        absolute=False,
        prior=_white(display),
    )


def _hlg(display: Display, values: Array) -> Display:
    return display._replace(
        curve="hlg",
        black="lift",
        exponent=values[:, 0],
        absolute=False,
        prior=_white(display),
    )


def _pq(facts: Facts, *, by_channel: bool) -> Callable[[Display, Array], Display]:
    """Clipped at the brightest reading, as a whole or each channel by itself."""
    top = np.array([OVERHEAD * float(facts.xyz[:, 1].max())])

    def change(display: Display, values: Array) -> Display:
        made = display._replace(
            curve="pq",
            black="add",
            exponent=np.ones(1),
            absolute=False,
            prior=(0.0, np.inf),
        )
        if by_channel:
            return made._replace(ceiling=top / PQ_PEAK)
        return made._replace(cap=np.minimum(display.cap, top))

    return change


def describe_curve(told: FitContext) -> Cause:
    model = told.facts.model
    own = NAMES.get(model.curve, f"gamma {number(model.exponent)}")
    step = (
        f"Choose {own} in the display's set-up and in the calibration's target, check that the "
        "slot's own table is the one in use, and calibrate again."
    )
    found = float(told.value[0]) if len(told.value) else np.nan
    measured, more = _measured(told.facts)
    if told.variant.startswith("power"):
        return cause(
            told,
            f"The display follows gamma {number(found)}, not {own}",
            f"The greys fit {FORMS[told.variant]} {number(found)}.{measured}",
            step,
            ("exponent", found, "1"),
            *more,
        )
    name = NAMES[told.variant]
    if told.variant == "hlg":
        more = (("system gamma", found, "1"), *more)
        if model.curve == "hlg":
            name, own = f"{name} with system gamma {number(found)}", number(model.system_gamma)
    return cause(
        told,
        f"The display follows {name}, not {own}",
        f"The greys fit {name}.{measured}",
        step,
        *more,
    )


def _measured(facts: Facts) -> tuple[str, tuple[tuple[str, float, str], ...]]:
    """The exponent that the rule's own requirement measures, in words and numbers."""
    if facts.exponent is None:
        return "", ()
    value = facts.exponent.value
    told = f" In the rule's own form the exponent measures {number(value)}."
    return told, (("exponent in the rule's form", value, "1"),)


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


def describe_range(told: FitContext) -> Cause:
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
    uncapped = simulate(display._replace(cap=np.array([np.inf])), facts).xyz[0, :, 1]
    beyond = facts.xyz[uncapped > cap * (1 + ALIKE), 1]
    return bool(np.all(beyond >= facts.top * (1 - ALIKE)) and facts.top <= cap * (1 + ALIKE))


def _ended(value: Array, display: Display, facts: Facts) -> bool:
    """Whether the greys that are clipped read as such, and not at the very top."""
    made, free = (simulate(one, facts).xyz[0, :, 1] for one in (display, _unbent(display)))
    clipped = facts.neutral & (free > made * (1 + ALIKE))
    ratio = facts.xyz[clipped, 1] / made[clipped]
    alike = not len(ratio) or ratio.min() >= ratio.max() * (1 - ALIKE)
    return bool(value[0] <= TOP_CLIPPED and alike)


def _unbent(display: Display) -> Display:
    return display._replace(knee=np.array([2.0]))


def describe_highlights(told: FitContext) -> Cause:
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
