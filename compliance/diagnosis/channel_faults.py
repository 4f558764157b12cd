"""Channels swapped, one of them with a gain or an offset of its own, or all of them too bright."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from compliance.diagnosis.cause_text import (
    FitContext,
    cause,
    number,
    percent,
    plain_cause,
    too_bright,
)
from compliance.diagnosis.faulty_display import Display, has_swapped_channels, matrices
from compliance.diagnosis.fitting import NOTHING, Array, Option
from compliance.diagnosis.inputs import Facts
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


def swap_options(facts: Facts) -> Iterator[Option]:
    """Every other order of the signal's channels, and of the display's where they are not one."""
    for order in ORDERS:
        yield Option("channels", f"signal {_digits(order)}", _ordered(order), NOTHING)
        if facts.model.kind == "xyz":
            yield Option("channels", f"drive {_digits(order)}", _driven(order), NOTHING)


def _digits(order: tuple[int, int, int]) -> str:
    return "".join(str(channel) for channel in order)


def _ordered(order: tuple[int, int, int]) -> Change:
    return lambda display, values: display._replace(order=order)


def _driven(order: tuple[int, int, int]) -> Change:
    return lambda display, values: display._replace(drive_order=order)


def describe_swap(told: FitContext) -> Cause:
    where, _, digits = told.variant.partition(" ")
    names = SIGNALS if told.facts.model.kind == "xyz" and where == "signal" else CHANNELS
    moved = [
        f"{names[int(digit)]} where {names[place]} belongs"
        for place, digit in enumerate(digits)
        if int(digit) != place
    ]
    told_moved = ", ".join(moved[:-1]) + f" and {moved[-1]}"
    return cause(
        told,
        "Channels are swapped",
        f"The colours fit a display that shows {told_moved}.",
        "Check cables, the order of the channels in generator and converter, and the signal "
        "format of the display's input; then show red, green and blue one by one.",
    )


# ------------------------------------------------------------ gain and offset


def gain_options(facts: Facts) -> Iterator[Option]:
    """One channel's light raised or lowered."""
    grid = np.arange(-0.7, 0.71, 0.05)[:, None]
    for channel, name in enumerate(CHANNELS):
        tells = _seen(0.03, _beside(channel, facts, facts.model.from_target))
        yield Option("gain", name, _gained(channel), grid, (0.05,), 0.09, tells)


def _beside(channel: int, facts: Facts, turned: Array) -> float:
    """Logarithm of a channel's light over that of the other two, in the brightest greys as read;
    `turned` (3, 3) makes XYZ of the channels' light."""
    level = facts.nominal[facts.neutral].max()
    bright = facts.neutral & (facts.nominal >= TOP * level)
    light = facts.xyz[bright] @ np.linalg.inv(turned).T
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


def _gain_read(told: FitContext) -> float:
    """Logarithm of a gain as the brightest greys show it, where they show about what was fitted:
    that leaves a part of it to the tolerance of a good display's white."""
    display = told.display
    turned = matrices(display.primaries, display.white)[0]
    read = _beside(CHANNELS.index(told.variant), told.facts, turned)
    fitted = float(told.value[0])
    return read if abs(read - fitted) <= NEAR and not has_swapped_channels(display) else fitted


def describe_gain(told: FitContext) -> Cause:
    share = float(np.exp(_gain_read(told))) - 1
    word = "strong" if share > 0 else "weak"
    return cause(
        told,
        f"{told.variant.capitalize()} is {percent(abs(share))} too {word}",
        f"At every level {told.variant} gives {percent(1 + share)} of the light that it should "
        "beside the other two.",
        f"Adjust the gain of {told.variant} in the display's set-up, or calibrate its white again; "
        "look whether the panel is even and whether the meter is made for this kind of display.",
        (f"light of {told.variant}", 100 * (1 + share), "%"),
    )


def offset_options(facts: Facts) -> Iterator[Option]:
    """One channel's drive raised or lowered, on panels of several exponents."""
    shifts = np.arange(-0.12, 0.121, 0.01)
    grid = np.array([(shift, native) for native in (2.2, 2.4, 2.6) for shift in shifts])
    for channel, name in enumerate(CHANNELS):
        change = _shifted(channel)
        yield Option("offset", name, change, grid, (0.01, 0.1), 0.03, _beyond(0.006))


def _shifted(channel: int) -> Change:
    def change(display: Display, values: Array) -> Display:
        offset = np.zeros((len(values), 3)) + display.offset
        offset[:, channel] = values[:, 0]
        return display._replace(offset=offset, native=values[:, 1])

    return change


def describe_offset(told: FitContext) -> Cause:
    shift = float(told.value[0])
    word = "raised" if shift > 0 else "lowered"
    return cause(
        told,
        f"{told.variant.capitalize()} is {word} by {percent(abs(shift))} of full drive",
        f"The panel's drive of {told.variant} is {word} by {percent(abs(shift))} of what the "
        "rule's peak takes, at every level, which shows most in the dark.",
        f"Adjust the offset (bias, cut-off) of {told.variant} in the display's set-up, then the "
        "greys again from dark to bright.",
        (f"offset of {told.variant}", 100 * shift, "%"),
    )


# ------------------------------------------------------------ all light


def luminance_options(facts: Facts) -> Iterator[Option]:
    """All light raised or lowered: white is set to another luminance than the rule's."""
    yield Option("luminance", "free", _free, NOTHING, (), 0.03)


def _free(display: Display, values: Array) -> Display:
    return display._replace(absolute=False, prior=(0.0, np.inf))


def describe_luminance(facts: Facts) -> Cause:
    """White that is read outside of what the rule admits."""
    aim = float(np.clip(facts.model.white_luminance, *facts.span))
    return plain_cause(
        "luminance",
        f"White is {too_bright(facts.white, aim)}",
        f"White reads {number(facts.white)}\u00a0cd/m², where the rule asks for "
        f"{number(aim)}\u00a0cd/m², and nothing else explains it.",
        "Set the display's backlight, lamp or luminance so that white is the rule's, then "
        "calibrate again; if it no longer gets there, panel or lamp may be at the end.",
        ("white as read", facts.white, "cd/m²"),
        ("white that the rule asks for", aim, "cd/m²"),
    )
