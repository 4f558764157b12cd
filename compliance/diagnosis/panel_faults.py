"""Faults of a panel's channels that its greys show only in part: one that ends below white, one
that bends in the middle, channels that leak into each other."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from compliance.diagnosis.causes import FitContext, fitted_cause, number
from compliance.diagnosis.colour_faults import CHANNELS
from compliance.diagnosis.faulty_display import Display
from compliance.diagnosis.fitting import Array, Option
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause

# ------------------------------------------------------------ one channel ends below white

TOPS = np.linspace(0.5, 0.98, 17)[:, None]
"""Light of a channel at which it ends, as a share of what the rule's peak takes."""


def clipping_options(inputs: Inputs) -> Iterator[Option]:
    """One channel that gives no more light from a level below the peak's."""
    for channel, name in enumerate(CHANNELS):
        yield Option("clipping", "", name, _ended(channel), TOPS, (0.03,), 0.05, _ends_below)


def _ends_below(value: Array, display: Display) -> bool:
    return bool(value[0] <= 0.985)


def _ended(channel: int) -> Callable[[Display, Array], Display]:
    def change(display: Display, values: Array) -> Display:
        top = np.full((len(values), 3), np.inf)
        top[:, channel] = values[:, 0]
        return display._replace(top=top)

    return change


def clipping_cause(fit: FitContext) -> Cause:
    channel, top = fit.subject, float(fit.value[0])
    light = number("channel-top", 100 * top, "%", {"channel": channel})
    return fitted_cause(fit, {"channel": channel, "top": top}, (light,))


# ------------------------------------------------------------ one channel bends in the middle

LEAST = 0.01
"""Smallest bend that is reported, as a share of the light."""


def tint_options(inputs: Inputs) -> Iterator[Option]:
    """One channel raised or lowered about a level of the greys, black and white kept."""
    sizes = np.array([-0.15, -0.1, -0.06, -0.04, -0.025, 0.025, 0.04, 0.06, 0.1, 0.15])
    grid = np.array([(size, centre) for centre in (0.3, 0.45, 0.6) for size in sizes])
    for channel, name in enumerate(CHANNELS):
        yield Option("tint", "", name, _bumped(channel), grid, (0.015, 0.08), 0.08, _large)


def _large(value: Array, display: Display) -> bool:
    return bool(abs(value[0]) >= LEAST)


def _bumped(channel: int) -> Callable[[Display, Array], Display]:
    def change(display: Display, values: Array) -> Display:
        bump = np.zeros((len(values), 3))
        bump[:, channel] = values[:, 0]
        return display._replace(bump=bump, bump_centre=values[:, 1])

    return change


def tint_cause(fit: FitContext) -> Cause:
    channel, (size, centre) = fit.subject, (float(each) for each in fit.value)
    evidence = (
        number("tint", 100 * size, "%", {"channel": channel}),
        number("tint-level", 100 * centre, "%"),
    )
    return fitted_cause(fit, {"channel": channel, "size": size, "level": centre}, evidence)


# ------------------------------------------------------------ channels leak into each other


def crosstalk_options(inputs: Inputs) -> Iterator[Option]:
    """A share of each channel's drive in the two others; greys stay as they are."""
    shares = np.linspace(0.005, 0.12, 12)
    grid = np.array([(share, exponent) for exponent in (2.2, 2.4) for share in shares])
    yield Option("crosstalk", "", "", _leaking, grid, (0.01, 0.1), 0.05, _leaks)


def _leaks(value: Array, display: Display) -> bool:
    return bool(value[0] >= 0.003)


def _leaking(display: Display, values: Array) -> Display:
    return display._replace(crosstalk=np.clip(values[:, 0], 0.0, 0.3), panel_exponent=values[:, 1])


def crosstalk_cause(fit: FitContext) -> Cause:
    share = float(fit.value[0])
    return fitted_cause(fit, {"share": share}, (number("crosstalk", 100 * share, "%"),))
