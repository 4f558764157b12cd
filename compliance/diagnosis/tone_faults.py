"""Faults of the tone scale: another transfer function, mixed-up range, bent highlights, blacks
that are cut off, lowered, or raised by light or by the drive."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from compliance.colour import transfer
from compliance.colour.codes import encode
from compliance.diagnosis.causes import (
    FitContext,
    fitted_cause,
    number,
    target_level,
    target_levels,
)
from compliance.diagnosis.faulty_display import PQ_PEAK, Display, has_swapped_channels, simulate
from compliance.diagnosis.fitting import NOTHING, Array, Option
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause, Evidence, Facts
from compliance.quantities.fits import power_exponent

# ------------------------------------------------------------ curve


EXPONENTS = np.arange(1.4, 3.21, 0.1)[:, None]
LEAST = 0.06
"""Exponents nearer than this to the rule's count as the rule's."""
LEVELS = np.linspace(0.1, 0.9, 17)
"""Signals for converting an exponent from one form to another."""
OVERHEAD = 1.005
"""A PQ signal is clipped at the display's peak, by this factor above its brightest reading."""


def curve_options(inputs: Inputs) -> Iterator[Option]:
    """Power functions of any exponent, and each named curve that is not the rule's."""
    model = inputs.model
    for way in ("lift", "add") if model.lift or model.curve == "hlg" else ("add",):
        yield _power(way, inputs)
    if model.kind == "xyz":
        yield Option(
            "curve", "power", "drive", _of_own_drive(model.exponent), EXPONENTS, (0.1,), 0.03,
            _other(model.exponent),
        )  # fmt: skip
        return
    if model.curve != "srgb":
        yield Option("curve", "srgb", "", _srgb, NOTHING)
    if model.curve != "pq":
        yield Option("curve", "pq", "", clipped_pq(inputs), NOTHING)
        yield Option("curve", "pq", "channels", clipped_pq(inputs, by_channel=True), NOTHING)
    gammas = np.arange(0.9, 1.51, 0.1)[:, None]
    own = model.system_gamma if model.curve == "hlg" else np.nan
    form = "add" if model.curve == "hlg" and not model.lift else "lift"
    shown = _of_exponent("hlg", form)
    yield Option("curve", "hlg", "", shown, gammas, (0.1,), 0.03, _other(own))


def _other(*own: float) -> Callable[[Array, Display], bool]:
    """A test whether an exponent differs from the rule's own."""
    return lambda value, display: not any(abs(value[0] - exponent) < LEAST for exponent in own)


def _own(black: str, inputs: Inputs) -> tuple[float, ...]:
    """The rule's exponent, if it has one, also converted to the other form of the black."""
    model = inputs.model
    if model.curve not in ("bt1886", "power", "dcdm"):
        return ()
    if black == "lift" or not model.lift:
        return (model.exponent,)
    white, dark = np.array(inputs.white), np.array(inputs.black[1])
    light = transfer.bt1886(LEVELS, white, dark, model.exponent)
    return model.exponent, float(power_exponent(LEVELS, light, white, dark))


def _plausible_white(display: Display) -> tuple[float, float]:
    """Range of white: any white if the rule's curve gives cd/m² and the new one does not."""
    return (0.0, np.inf) if display.absolute else display.plausible_white


def with_curve(display: Display, curve: str, black: str, exponent: Array) -> Display:
    """The display with another curve, which is relative to its white."""
    return display._replace(
        curve=curve,
        black=black,
        exponent=exponent,
        absolute=False,
        plausible_white=_plausible_white(display),
    )


def _of_exponent(curve: str, black: str) -> Callable[[Display, Array], Display]:
    return lambda display, values: with_curve(display, curve, black, values[:, 0])


def _power(black: str, inputs: Inputs) -> Option:
    return Option(
        "curve",
        "power",
        black,
        _of_exponent("power", black),
        EXPONENTS,
        (0.1,),
        0.03,
        _other(*_own(black, inputs)),
    )


def _of_own_drive(exponent: float) -> Callable[[Display, Array], Display]:
    """Another exponent of the display's own channels, the signal being decoded as it should."""
    return lambda display, values: display._replace(bend=values[:, 0] / exponent - 1)


def _srgb(display: Display, values: Array) -> Display:
    return with_curve(display, "srgb", "add", np.ones(1))


def clipped_pq(inputs: Inputs, *, by_channel: bool = False) -> Callable[[Display, Array], Display]:
    """PQ, clipped at the brightest reading, as a whole or for each channel."""
    top = np.array([OVERHEAD * float(inputs.xyz[:, 1].max())])

    def change(display: Display, values: Array) -> Display:
        made = display._replace(
            curve="pq",
            black="add",
            exponent=np.ones(1),
            absolute=False,
            plausible_white=(0.0, np.inf),
        )
        if by_channel:
            return made._replace(channel_cap=top / PQ_PEAK)
        return made._replace(luminance_cap=np.minimum(display.luminance_cap, top))

    return change


def curve_cause(fit: FitContext) -> Cause:
    model, measured = fit.inputs.model, fit.inputs.exponent
    facts: Facts = {
        "rule": model.curve,
        "rule_exponent": model.exponent,
        "measured": None if measured is None else measured.value,
    }
    evidence: tuple[Evidence, ...] = ()
    if measured is not None:
        evidence = (number("exponent-in-rule's-form", measured.value, "1"),)
    fitted = float(fit.value[0]) if len(fit.value) else np.nan
    if fit.variant == "power":
        return fitted_cause(
            fit,
            {**facts, "form": fit.subject, "exponent": fitted},
            (number("exponent", fitted, "1"), *evidence),
            variant="gamma",
        )
    if fit.variant == "hlg":
        evidence = (number("system-gamma", fitted, "1"), *evidence)
        if model.curve == "hlg":
            gammas = {"gamma": fitted, "rule_gamma": model.system_gamma}
            return fitted_cause(
                fit, {**gammas, "measured": facts["measured"]}, evidence, variant="system-gamma"
            )
    return fitted_cause(fit, {**facts, "curve": fit.variant}, evidence)


BLACK, WHITE = 16, 235
"""8-bit narrow range; more bits are multiples (ITU-R BT.2100, table 9)."""

# ------------------------------------------------------------ range


def _narrow(bits: int) -> tuple[float, float]:
    """Narrow range's black and white as shares of the full range of the same bits."""
    full, scale = 2**bits - 1, 2 ** (bits - 8)
    return BLACK * scale / full, WHITE * scale / full


def range_options(inputs: Inputs) -> Iterator[Option]:
    """The signal stretched to the full range once too often, or once too little."""
    low, high = _narrow(inputs.model.bits)
    size = high - low

    def stretched(display: Display, values: Array) -> Display:
        return display._replace(low=np.array([low]), high=np.array([high]))

    def squeezed(display: Display, values: Array) -> Display:
        return display._replace(low=np.array([-low / size]), high=np.array([(1 - low) / size]))

    yield Option("range", "stretched", "", stretched, NOTHING)
    yield Option("range", "squeezed", "", squeezed, NOTHING)


def range_cause(fit: FitContext) -> Cause:
    model = fit.inputs.model
    low, high = (int(code) for code in encode(_narrow(model.bits), model.bits, model.narrow))
    stretched = fit.variant == "stretched"
    return fitted_cause(
        fit,
        {"low": low, "high": high, "full": 2**model.bits - 1},
        (
            number("black-code" if stretched else "code-of-black", low, "1"),
            number("white-code" if stretched else "code-of-white", high, "1"),
        ),
        variant=fit.variant,
    )


# ------------------------------------------------------------ highlights

TOP_CLIPPED, TOP_BENT = 0.98, 0.97
"""Share of full signal above which clipped or bent highlights are not reported."""
ALIKE = 0.015
"""Share within which luminances count as the same."""


def highlight_options(inputs: Inputs) -> Iterator[Option]:
    """Highlights that are clipped at a level or a luminance, or bend from a level."""

    def clipped(display: Display, values: Array) -> Display:
        return display._replace(knee=values[:, 0], slope=np.zeros(len(values)))

    def ended(value: Array, display: Display) -> bool:
        return _ended(value, display, inputs)

    levels = np.linspace(0.4, 0.98, 30)[:, None]
    yield Option("highlights", "clipped", "", clipped, levels, (0.02,), 0.03, ended)

    def bent(display: Display, values: Array) -> Display:
        return display._replace(knee=values[:, 0], slope=np.clip(values[:, 1], 0.0, 1.0))

    pairs = [(level, slope) for level in np.linspace(0.3, 0.95, 14) for slope in (0.2, 0.45, 0.7)]
    yield Option("highlights", "bent", "", bent, np.array(pairs), (0.05, 0.25), 0.08, _bent_below)

    def dimmed(display: Display, values: Array) -> Display:
        begins = target_levels(values[:, 0], inputs)
        return display._replace(shoulder=begins, shoulder_slope=np.clip(values[:, 1], 0.0, 1.0))

    yield Option(
        "highlights", "bent", "luminance", dimmed, np.array(pairs), (0.05, 0.25), 0.08, _bent_below
    )

    def capped(display: Display, values: Array) -> Display:
        return display._replace(
            luminance_cap=np.minimum(display.luminance_cap, np.exp(values[:, 0]))
        )

    top = np.log(max(float(inputs.xyz[:, 1].max()), 1e-3))
    caps = (top + np.linspace(-0.1, 0.02, 13))[:, None]

    def alike(value: Array, display: Display) -> bool:
        return _alike(float(np.exp(value[0])), display, inputs)

    yield Option("highlights", "capped", "", capped, caps, (0.01,), 0.03, alike)


def _bent_below(value: Array, display: Display) -> bool:
    """Whether highlights bend below the very top, where a bend cannot be seen."""
    return bool(value[0] <= TOP_BENT)


def _alike(cap: float, display: Display, inputs: Inputs) -> bool:
    """Whether all patches that would be above a luminance read the same, and none is above it."""
    uncapped = simulate(display._replace(luminance_cap=np.array([np.inf])), inputs).xyz[0, :, 1]
    beyond = inputs.xyz[uncapped > cap * (1 + ALIKE), 1]
    return bool(np.all(beyond >= inputs.top * (1 - ALIKE)) and inputs.top <= cap * (1 + ALIKE))


def _ended(value: Array, display: Display, inputs: Inputs) -> bool:
    """Whether the clipped greys read the same, and the level is not at the very top."""
    made, free = (simulate(shown, inputs).xyz[0, :, 1] for shown in (display, _unbent(display)))
    clipped = inputs.neutral & (free > made * (1 + ALIKE))
    ratio = inputs.xyz[clipped, 1] / made[clipped]
    alike = not len(ratio) or ratio.min() >= ratio.max() * (1 - ALIKE)
    return bool(value[0] <= TOP_CLIPPED and alike)


def _unbent(display: Display) -> Display:
    return display._replace(knee=np.array([2.0]))


def highlights_cause(fit: FitContext) -> Cause:
    top = fit.inputs.top
    if fit.variant == "capped":
        return fitted_cause(fit, {"top": top}, (number("top", top, "cd/m²"),), variant="capped")
    level = float(fit.value[0])
    target = target_level(level, fit.inputs)
    facts: Facts = {"level": level, "target": target}
    evidence = (
        number("highlights-level", 100 * level, "%"),
        number("target", target, "cd/m²"),
        number("brightest", top, "cd/m²"),
    )
    if fit.variant == "clipped":
        return fitted_cause(fit, facts, evidence, variant="clipped")
    slope = float(np.clip(fit.value[1], 0.0, 1.0))
    return fitted_cause(
        fit,
        {**facts, "slope": slope, "top": top},
        (*evidence, number("slope", 100 * slope, "%")),
        variant="bent",
    )


SLACK = 0.003
"""Tolerance of a fitted level, as a share of the signal."""
AS_BLACK = 1.25
"""A grey counts as black up to this times the black reading, plus `DARK`."""
DARK = 0.003
"""cd/m²"""


def black_options(inputs: Inputs) -> Iterator[Option]:
    """Blacks lost below a level, of the signal or of the display's own drive: everything below is
    cut off, or the whole signal is lowered by it."""

    def low(value: Array, display: Display) -> bool:
        return bool(simulate(display, inputs).black[0] <= inputs.darkest)

    def cut_off(value: Array, display: Display) -> bool:
        black = (
            has_swapped_channels(display)
            or _black_grey(float(value[0]), display, inputs) is not None
        )
        return low(value, display) and black

    lowered = np.concatenate([[0.006, 0.01, 0.015], np.linspace(0.02, 0.25, 24)])[:, None]
    yield Option("blacks", "lowered", "", _lowered, lowered, (0.005,), 0.08, low)
    dark = np.linspace(0.03, 0.4, 38)[:, None]
    if inputs.model.kind == "rgb":
        yield Option("blacks", "signal", "", _floored, dark, (0.01,), 0.03, cut_off)
    if not np.allclose(inputs.model.from_signal, inputs.model.from_target):
        yield Option("blacks", "drive", "", _crushed, dark, (0.01,), 0.03, cut_off)


def _lowered(display: Display, values: Array) -> Display:
    return display._replace(crush_point=values[:, 0])


def _floored(display: Display, values: Array) -> Display:
    return display._replace(floor=values[:, 0])


def _crushed(display: Display, values: Array) -> Display:
    return display._replace(crush=values[:, 0])


def _black_grey(level: float, display: Display, inputs: Inputs) -> Array | None:
    """(2,) level and luminance of the brightest grey, up to a level as the display takes it, that
    reads as black together with all below it; None if there is none."""
    upto = float(display.low[0] + level * (display.high[0] - display.low[0]))
    below = inputs.greys[(inputs.greys[:, 0] > 0) & (inputs.greys[:, 0] <= upto + SLACK)]
    lit = below[:, 1] > AS_BLACK * inputs.black[1] + DARK
    black = below[: int(np.argmax(lit)) if lit.any() else len(below)]
    return np.asarray(black[-1]) if len(black) else None


def blacks_cause(fit: FitContext) -> Cause:
    level = float(fit.value[0])
    black = _black_grey(level, fit.display, fit.inputs)
    if black is None:
        return _lowered_cause(fit, level)
    crushed_to, luminance = (float(value) for value in black)
    target = target_level(crushed_to, fit.inputs)
    return fitted_cause(
        fit,
        {"level": crushed_to, "target": target},
        (
            number("blacks-level", 100 * crushed_to, "%"),
            number("target", target, "cd/m²"),
            number("luminance", luminance, "cd/m²"),
        ),
        variant="crushed-and-lowered" if fit.variant == "lowered" else "crushed",
    )


def _lowered_cause(fit: FitContext, lowered_by: float) -> Cause:
    """The cause of a signal that is lowered by less than the lowest measured grey."""
    greys = fit.inputs.greys
    level, luminance = (float(value) for value in greys[np.argmax(greys[:, 0] > lowered_by)])
    return fitted_cause(
        fit,
        {"lowered_by": lowered_by, "level": level, "luminance": luminance},
        (
            number("lowered-by", 100 * lowered_by, "%"),
            number("lowest-grey", 100 * level, "%"),
            number("luminance", luminance, "cd/m²"),
        ),
        variant="lowered",
    )


# ------------------------------------------------------------ raised

ADDED = 0.5
"""Share of the black from which it is reported as added light."""
APART = 0.3
"""Smallest difference of the added light's share of the black from the rule's."""


def raised_options(inputs: Inputs) -> Iterator[Option]:
    """Black with another share of added light than the rule's, the rest from the drive, or a black
    that is too bright."""
    if inputs.black[1] <= 0:
        return
    own = 0.0 if inputs.model.lift or inputs.model.blackless else 1.0

    def is_supported(value: Array, display: Display) -> bool:
        return inputs.black[1] > inputs.darkest or abs(float(value[0]) - own) >= APART

    for variant, least, most, price in (("added", ADDED, 1.0, 0.08), ("driven", 0.0, ADDED, 0.14)):
        shares = np.linspace(least, most, 4)[:, None]
        yield Option("raised-black", variant, "", _made_up, shares, (0.15,), price, is_supported)


def _made_up(display: Display, values: Array) -> Display:
    return display._replace(added_black_share=np.clip(values[:, 0], 0.0, 1.0))


def raised_cause(fit: FitContext) -> Cause:
    inputs = fit.inputs
    black = float(inputs.black[1])
    evidence = [number("black", black, "cd/m²")]
    if np.isfinite(inputs.darkest):
        evidence.append(number("black-admitted", inputs.darkest, "cd/m²"))
    if fit.variant == "driven":
        return fitted_cause(fit, {"black": black}, tuple(evidence), variant="driven")
    added = min(float(fit.value[0]), 1.0) * black
    return fitted_cause(
        fit,
        {"added": added, "black": black},
        (number("light-added", added, "cd/m²"), *evidence),
        variant="added-within" if black <= inputs.darkest else "added",
    )


def black_cause(black: float, most: float) -> Cause:
    """The cause of a measured black above the rule's limit, both in cd/m²."""
    return Cause(
        "raised-black",
        {"black": black, "most": most},
        "read",
        evidence=(number("black", black, "cd/m²"), number("black-admitted", most, "cd/m²")),
    )
