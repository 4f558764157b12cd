"""Channels swapped, one of them with a gain or an offset of its own, or all of them too bright."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from compliance.diagnosis.causes import FitContext, fitted_cause, number
from compliance.diagnosis.faulty_display import Display, has_swapped_channels, matrices
from compliance.diagnosis.fitting import NOTHING, Array, Option
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause

ORDERS = ((0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0))
CHANNELS = ("red", "green", "blue")
SIGNALS = ("X'", "Y'", "Z'")
TOP = 0.5
"""Share of the brightest neutral target from which a gain must be seen in the greys."""
NEAR = 0.05
"""Of the logarithm of a gain, by which what was read and what was fitted may differ."""
Change = Callable[[Display, Array], Display]


def _beyond(least: float) -> Callable[[Array, Display], bool]:
    return lambda value, display: bool(abs(value[0]) >= least)


# ------------------------------------------------------------ swapped


def swap_options(inputs: Inputs) -> Iterator[Option]:
    """Every other order of the signal's channels, and of the display's where they are not one."""
    for place, order in enumerate(ORDERS):
        yield Option("channels", "signal", str(place), _ordered(order), NOTHING)
        if inputs.model.kind == "xyz":
            yield Option("channels", "drive", str(place), _driven(order), NOTHING)


def _ordered(order: tuple[int, int, int]) -> Change:
    return lambda display, values: display._replace(order=order)


def _driven(order: tuple[int, int, int]) -> Change:
    return lambda display, values: display._replace(drive_order=order)


def swap_cause(fit: FitContext) -> Cause:
    of_signal = fit.variant == "signal"
    names = SIGNALS if fit.inputs.model.kind == "xyz" and of_signal else CHANNELS
    order = fit.display.order if of_signal else fit.display.drive_order
    moved = tuple(
        (names[channel], names[place]) for place, channel in enumerate(order) if channel != place
    )
    return fitted_cause(fit, {"moved": moved})


# ------------------------------------------------------------ gain and offset


def gain_options(inputs: Inputs) -> Iterator[Option]:
    """One channel's light raised or lowered."""
    grid = np.arange(-0.7, 0.71, 0.05)[:, None]
    for channel, name in enumerate(CHANNELS):
        tells = _seen(0.03, _beside(channel, inputs, inputs.model.from_target))
        yield Option("gain", "", name, _gained(channel), grid, (0.05,), 0.09, tells)


def _beside(channel: int, inputs: Inputs, turned: Array) -> float:
    """Logarithm of a channel's light over that of the other two, in the brightest greys as read;
    `turned` (3, 3) makes XYZ of the channels' light."""
    level = inputs.nominal[inputs.neutral].max()
    bright = inputs.neutral & (inputs.nominal >= TOP * level)
    light = inputs.xyz[bright] @ np.linalg.inv(turned).T
    others = np.delete(light, channel, axis=1).mean(axis=1)
    shares = light[:, channel] / np.maximum(others, 1e-9)
    return float(np.log(np.median(np.maximum(shares, 1e-6))))


def _seen(least: float, beside: float) -> Callable[[Array, Display], bool]:
    """Whether a gain is enough, and of the sign that the greys have where they are greys."""

    def tells(value: Array, display: Display) -> bool:
        return bool(
            abs(value[0]) >= least and (has_swapped_channels(display) or value[0] * beside > 0)
        )

    return tells


def _gained(channel: int) -> Change:
    def change(display: Display, values: Array) -> Display:
        gain = np.ones((len(values), 3)) * display.gain
        gain[:, channel] = np.exp(values[:, 0])
        return display._replace(gain=gain)

    return change


def _gain_read(fit: FitContext) -> float:
    """Logarithm of a gain as the brightest greys show it, where they show about what was fitted:
    that leaves a part of it to the tolerance of a good display's white."""
    display = fit.display
    turned = matrices(display.primaries, display.white)[0]
    read = _beside(CHANNELS.index(fit.subject), fit.inputs, turned)
    fitted = float(fit.value[0])
    return read if abs(read - fitted) <= NEAR and not has_swapped_channels(display) else fitted


def gain_cause(fit: FitContext) -> Cause:
    channel, share = fit.subject, float(np.exp(_gain_read(fit))) - 1
    light = number("gain", 100 * (1 + share), "%", {"channel": channel})
    return fitted_cause(fit, {"channel": channel, "share": share}, (light,))


def offset_options(inputs: Inputs) -> Iterator[Option]:
    """One channel's drive raised or lowered, on panels of several exponents."""
    shifts = np.arange(-0.12, 0.121, 0.01)
    grid = np.array([(shift, exponent) for exponent in (2.2, 2.4, 2.6) for shift in shifts])
    for channel, name in enumerate(CHANNELS):
        change = _shifted(channel)
        yield Option("offset", "", name, change, grid, (0.01, 0.1), 0.03, _beyond(0.006))


def _shifted(channel: int) -> Change:
    def change(display: Display, values: Array) -> Display:
        offset = np.zeros((len(values), 3)) + display.offset
        offset[:, channel] = values[:, 0]
        return display._replace(offset=offset, panel_exponent=values[:, 1])

    return change


def offset_cause(fit: FitContext) -> Cause:
    channel, shift = fit.subject, float(fit.value[0])
    offset = number("offset", 100 * shift, "%", {"channel": channel})
    return fitted_cause(fit, {"channel": channel, "shift": shift}, (offset,))


# ------------------------------------------------------------ all light


def luminance_options(inputs: Inputs) -> Iterator[Option]:
    """All light raised or lowered: white is set to another luminance than the rule's."""
    yield Option("luminance", "", "", _free, NOTHING, (), 0.03)


def _free(display: Display, values: Array) -> Display:
    return display._replace(absolute=False, plausible_white=(0.0, np.inf))


def luminance_cause(inputs: Inputs) -> Cause:
    """White that is read outside of what the rule admits."""
    asked = float(np.clip(inputs.model.white_luminance, *inputs.span))
    return Cause(
        "luminance",
        {"white": inputs.white, "asked": asked},
        evidence=(
            number("white", inputs.white, "cd/m²"),
            number("white-asked", asked, "cd/m²"),
        ),
    )
