"""Blacks that are cut off or begin too low, and blacks raised by light or by the drive."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.diagnosis.causes import FitContext, fitted_cause, number, target_level
from compliance.diagnosis.faulty_display import Display, has_swapped_channels, simulate
from compliance.diagnosis.fitting import Array, Option
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause

# ------------------------------------------------------------ cut off, or too low

SLACK = 0.003
"""Of the signal, by which a level is fitted."""
AS_BLACK = 1.25
"""Times the black reading, and"""
DARK = 0.003
"""cd/m² more, that a grey may read and still be called black."""


def black_options(inputs: Inputs) -> Iterator[Option]:
    """Blacks that begin above a level, of the signal or of the display's own drive: what is below
    is cut off, or the whole signal is lowered by it."""

    def low(value: Array, display: Display) -> bool:
        return bool(simulate(display, inputs).black[0] <= inputs.darkest)

    def cut_off(value: Array, display: Display) -> bool:
        black = (
            has_swapped_channels(display)
            or _black_grey(float(value[0]), display, inputs) is not None
        )
        return low(value, display) and black

    lowered = np.linspace(0.02, 0.25, 24)[:, None]
    yield Option("blacks", "lowered", "", _lowered, lowered, (0.01,), 0.1, low)
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
    """(2,) level and luminance of the brightest grey up to a level, as the display takes it, that
    reads as black with all below it; None where there is none."""
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
    """A signal that is lowered by less than the lowest grey that was read."""
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
"""Share of the black from which it is told as light added."""
APART = 0.3
"""Share by which black must be made up otherwise than the rule has it."""


def raised_options(inputs: Inputs) -> Iterator[Option]:
    """Black that is made up of light added and light of the drive otherwise than the rule has it,
    or that is too bright."""
    if inputs.black[1] <= 0:
        return
    own = 0.0 if inputs.model.lift or inputs.model.blackless else 1.0

    def tells(value: Array, display: Display) -> bool:
        return inputs.black[1] > inputs.darkest or abs(float(value[0]) - own) >= APART

    for variant, least, most, price in (("added", ADDED, 1.0, 0.08), ("driven", 0.0, ADDED, 0.14)):
        shares = np.linspace(least, most, 4)[:, None]
        yield Option("raised-black", variant, "", _made_up, shares, (0.15,), price, tells)


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
    """Black that is read above what the rule admits, both in cd/m²."""
    return Cause(
        "raised-black",
        {"black": black, "most": most},
        "read",
        evidence=(number("black", black, "cd/m²"), number("black-admitted", most, "cd/m²")),
    )
