"""One channel that leaves the others along the greys: it ends below white, or bends in the middle.

Found from the balance of the channels in the neutral readings, because it shows in few patches.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.causes import number
from compliance.diagnosis.colour_faults import CHANNELS
from compliance.diagnosis.faulty_display import PANEL, Display, level_of
from compliance.diagnosis.fitting import Array
from compliance.diagnosis.inputs import Flags, Inputs
from compliance.model import Cause
from compliance.targets import level, target_linear

LEAST = 0.012
"""Smallest departure of a channel that is looked for, as a logarithm of its light."""
CLEAR = 4.0
"""Times the scatter about a pattern by which the pattern must stand out."""
OF_ALL = 0.5
"""Largest scatter about a pattern, as a share of that about a constant balance."""
OF_OTHERS = 0.9
"""Largest scatter about a pattern, as a share of that about any other."""
ENOUGH = 8
"""Neutral readings needed."""
DARK = 0.03
"""Largest share of black in the light of a grey that is used."""
TOPS = np.linspace(0.5, 0.985, 98)
CENTRES, WIDTHS = np.arange(0.15, 0.81, 0.05), (0.1, 0.15, 0.2, 0.27)
ENDS = 0.3
"""Largest share of a bend that is left at the brightest and the darkest grey."""
OFFSETS = np.concatenate([-np.geomspace(0.002, 0.1, 20), np.geomspace(0.002, 0.1, 20)])


class ChannelFault(NamedTuple):
    """A channel that leaves the others, and displays with it."""

    change: Callable[[Display], Display]
    cause: Cause
    departs: float
    """Largest departure of the channel, as a logarithm of its light."""


class Pattern(NamedTuple):
    """The best of one kind of pattern."""

    scatter: float
    """Root mean square about it."""
    depth: float
    """Largest departure, below 0 for less light."""
    value: tuple[float, ...]


class Balance(NamedTuple):
    """One channel's light beside the other two, along the greys."""

    level: Array
    """(G,) as `level_of` tells it"""
    signal: Array
    """(G,) level of the signal"""
    share: Array
    """(G,) light of the other two, 1 at the brightest grey"""
    apart: Array
    """(G,) logarithm of the channel's light over that of the others"""


def find_channel_fault(inputs: Inputs) -> ChannelFault | None:
    """The channel that departs most along the greys; None if none does clearly."""
    found = [fault for channel in range(3) for fault in _of_channel(channel, inputs)]
    return max(found, key=lambda fault: fault.departs, default=None)


def _topped(channel: int, top: float, inputs: Inputs) -> Flags:
    """(all patches of the case,) whether a channel's light is nearer to its end than to what the
    rule asks for."""
    peak = inputs.model.peak_luminance / inputs.model.white_luminance
    asked = target_linear(inputs.signal, inputs.model)[:, channel] / peak
    own = (inputs.xyz - inputs.black) @ np.linalg.inv(inputs.model.from_target).T
    brightest = int(np.argmax(np.where(inputs.neutral, inputs.xyz[:, 1], 0)))
    light = own[:, channel] / np.delete(own[brightest], channel).mean()
    middle = np.sqrt(np.maximum(asked, 1e-9) * top)
    topped = np.zeros(int(inputs.patches.max()) + 1, dtype=np.bool_)
    topped[inputs.patches] = inputs.neutral | ((asked > top) & (light < middle))
    return topped


def _of_channel(channel: int, inputs: Inputs) -> Iterator[ChannelFault]:
    balance = _balance(channel, inputs)
    if balance is None:
        return
    constant = float(np.std(balance.apart))
    top, bend, dark = _ended(balance), _bent(balance), _of_offset(balance)
    for own, others, fault in (
        (top, (bend, dark), clipping_fault),
        (bend, (top, dark), tint_fault),
    ):
        rival = min(constant * OF_ALL / OF_OTHERS, *(other.scatter for other in others))
        stands_out = abs(own.depth) >= max(LEAST, CLEAR * own.scatter)
        if stands_out and own.scatter <= OF_OTHERS * rival:
            yield fault(channel, own, inputs)


def _balance(channel: int, inputs: Inputs) -> Balance | None:
    used = inputs.neutral & (inputs.black[1] <= DARK * inputs.xyz[:, 1])
    light = (inputs.xyz[used] - inputs.black) @ np.linalg.inv(inputs.model.from_target).T
    if len(light) < ENOUGH or np.any(light <= 0):
        return None
    others = np.log(np.delete(light, channel, axis=1)).mean(axis=1)
    share = np.exp(others - others.max())
    signal = level(inputs.signal[used], inputs.model)
    return Balance(level_of(share, inputs.model), signal, share, np.log(light[:, channel]) - others)


def _about(balance: Balance, patterns: Array) -> Array:
    """(N,) scatter about patterns (N, G), each with a constant of its own."""
    left = balance.apart - patterns
    return np.asarray(np.std(left, axis=1))


def _ended(balance: Balance) -> Pattern:
    patterns = np.minimum(np.log(TOPS[:, None] / balance.share), 0.0)
    scatter = _about(balance, patterns)
    best = int(np.argmin(scatter))
    return Pattern(float(scatter[best]), float(patterns[best].min()), (float(TOPS[best]),))


def _bent(balance: Balance) -> Pattern:
    centre, width = (each.ravel() for each in np.meshgrid(CENTRES, WIDTHS))
    shapes = np.exp(-(((balance.level - centre[:, None]) / width[:, None]) ** 2) / 2)
    ends = shapes[:, [int(np.argmin(balance.level)), int(np.argmax(balance.level))]]
    free = shapes - shapes.mean(axis=1, keepdims=True)
    size = free @ balance.apart / np.maximum((free**2).sum(axis=1), 1e-12)
    scatter = _about(balance, size[:, None] * shapes)
    scatter = np.where(ends.max(axis=1) <= ENDS, scatter, np.inf)
    best = int(np.argmin(scatter))
    depth, middle = float(size[best]), float(centre[best])
    ascending = np.argsort(balance.level)
    signal = float(np.interp(middle, balance.level[ascending], balance.signal[ascending]))
    return Pattern(float(scatter[best]), depth, (depth, middle, float(width[best]), signal))


def _of_offset(balance: Balance) -> Pattern:
    """An offset of the channel's drive, or another exponent of it: what is told elsewhere."""
    drive = balance.share ** (1 / PANEL)
    offsets = PANEL * np.log(np.maximum(1 + OFFSETS[:, None] / drive, 1e-3))
    logs = np.log(balance.share)
    free = logs - logs.mean()
    slope = float(free @ balance.apart / max(float(free @ free), 1e-12)) * logs
    patterns = np.vstack([offsets, slope])
    scatter = _about(balance, patterns)
    best = int(np.argmin(scatter))
    return Pattern(float(scatter[best]), float(np.ptp(patterns[best])), ())


# ------------------------------------------------------------ what they are


def clipping_fault(channel: int, pattern: Pattern, inputs: Inputs) -> ChannelFault:
    (top,) = pattern.value
    topped = _topped(channel, top, inputs)
    name = CHANNELS[channel]
    light = number("channel-top", 100 * top, "%", {"channel": name})
    cause = Cause("clipping", {"channel": name, "top": top}, evidence=(light,))
    ends = np.full((1, 3), np.inf)
    ends[0, channel] = top
    return ChannelFault(
        lambda display: display._replace(top=ends, topped=topped), cause, abs(pattern.depth)
    )


def tint_fault(channel: int, pattern: Pattern, inputs: Inputs) -> ChannelFault:
    depth, centre, width, signal = pattern.value
    size, name = float(np.expm1(depth)), CHANNELS[channel]
    evidence = (
        number("tint", 100 * size, "%", {"channel": name}),
        number("tint-level", 100 * signal, "%"),
    )
    bump = np.zeros((1, 3))
    bump[0, channel] = size
    cause = Cause("tint", {"channel": name, "size": size, "level": signal}, evidence=evidence)
    return ChannelFault(
        lambda display: display._replace(
            bump=bump, bump_centre=np.array([centre]), bump_width=np.array([width])
        ),
        cause,
        abs(depth),
    )
