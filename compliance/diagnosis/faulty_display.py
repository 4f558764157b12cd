"""A display with faults: signals to light, any number of displays at a time.

Every part of a `Display` has a leading axis K of displays, or 1. Signals pass: order of
the channels, range, curve, the primaries assumed for them, levels of each channel, gain
of each channel, the primaries and the white of the panel, its luminance.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import hlg, pq, spaces, transfer
from compliance.diagnosis.inputs import Flags, Inputs
from compliance.targets import TargetModel

Array = NDArray[np.float64]


def primaries_of(matrix: Array) -> Array:
    """(3, 2) x, y of the primaries of a matrix (3, 3)."""
    return np.asarray(spaces.xyz_to_xy(matrix.T))


def matrices(primaries: Array, white: Array) -> Array:
    """(K, 3, 3) linear R, G, B to XYZ with Y = 1 for white; SMPTE RP 177."""
    columns = np.swapaxes(_unit(primaries), -1, -2)
    return _mixed(columns, _inverse(columns), _unit(white))


def _inverse(matrix: Array) -> Array:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _mixed(columns: Array, inverse: Array, white: Array) -> Array:
    """(K, 3, 3) primaries as columns, scaled so that their sum is a white (K, 3) XYZ."""
    return np.asarray(columns * (inverse @ white[..., None]).swapaxes(-1, -2))


def _unit(xy: Array) -> Array:
    """XYZ (..., 3) of x, y (..., 2) at Y = 1."""
    x, y = xy[..., 0], xy[..., 1]
    xyz = np.ones((*x.shape, 3))
    xyz[..., 0], xyz[..., 2] = x / y, (1 - x - y) / y
    return xyz


PQ_PEAK = 10_000.0
"""cd/m²"""
MOST = 0.5
"""Largest lift, as a share of the drive."""


class Curve(NamedTuple):
    """The function from drive to light."""

    name: str
    """A target's curve, or `power`."""
    exponent: Array
    """(K,)"""
    panel_exponent: Array
    """(K,) exponent of the panel's own drive"""


def light_of(drive: Array, curve: Curve, model: TargetModel) -> Array:
    """Light per channel as a share of the rule's white, (K, P, 3), of drive (K, P, 3),
    at least 0."""
    if curve.name == "pq":
        return np.asarray(pq.pq(drive)) / _full(model)
    if curve.name == "srgb":
        return np.asarray(transfer.srgb(drive))
    if curve.name == "hlg":
        scene = np.asarray(hlg.hlg_inverse_oetf(drive))
        return np.asarray(hlg.hlg_ootf(scene, 1.0, curve.exponent[:, None]))
    return np.asarray(drive ** curve.exponent[:, None, None])


def drive_of(light: Array, curve: Curve, model: TargetModel) -> Array:
    """The inverse of `light_of` for the curves that act on each channel by itself."""
    if curve.name == "pq":
        return np.asarray(pq.pq_inverse(light * _full(model)))
    if curve.name == "srgb":
        return np.asarray(transfer.srgb_inverse(light))
    return np.asarray(light ** (1 / curve.exponent[:, None, None]))


def _full(model: TargetModel) -> float:
    """cd/m² of a share of 1 if the curve is PQ."""
    return model.white_luminance if model.curve == "pq" else PQ_PEAK


def _peak(curve: Curve, model: TargetModel) -> float:
    """The rule's peak as a share of the luminance that is 1 in `light_of`."""
    whole = _full(model) if curve.name == "pq" else model.white_luminance
    return model.peak_luminance / whole


def shifted(light: Array, offset: Array, curve: Curve, model: TargetModel) -> Array:
    """Light (K, P, 3) with an offset (K, 3) on the panel's own drive.

    That drive has its own exponent and is 1 at the rule's peak, for any curve of the signal.
    """
    peak, exponent = _peak(curve, model), curve.panel_exponent[:, None, None]
    drive = (light / peak) ** (1 / exponent) + offset[:, None, :]
    return np.asarray(peak * np.maximum(drive, 0.0) ** exponent)


PANEL = 2.4
"""Exponent of the drive in which a level is told, for all curves but PQ, whose signal tells it."""


def level_of(share: Array, model: TargetModel) -> Array:
    """Level of a channel's light, any shape, as a share of that for the rule's peak."""
    if model.curve == "pq":
        return np.asarray(pq.pq_inverse(share * model.peak_luminance))
    return np.asarray(share ** (1 / PANEL))


def _bumped(light: Array, display: Display, model: TargetModel) -> Array:
    """Light (K, P, 3) of channels with their bumps."""
    curve = _curve(display)
    share = np.clip(light / _peak(curve, model), 0.0, 1.0)
    level = level_of(share, model)
    centre, width = (each[:, None, None] for each in (display.bump_centre, display.bump_width))
    bump = np.exp(-(((level - centre) / width) ** 2) / 2)
    return np.asarray(light * (1 + display.bump[:, None, :] * bump))


def _leaked(light: Array, display: Display, model: TargetModel) -> Array:
    """Light (K, P, 3) of channels whose own drive leaks into the others."""
    peak, exponent = _peak(_curve(display), model), display.leak_exponent[:, None, None]
    drive = (np.maximum(light, 0.0) / peak) ** (1 / exponent)
    share = display.crosstalk[:, None, None]
    mixed = (1 - 3 * share) * drive + share * drive.sum(axis=-1, keepdims=True)
    return np.asarray(peak * transfer.power(mixed, exponent))


def lift_of(black: Array, curve: Curve, model: TargetModel) -> Array:
    """(K,) lift of the drive that makes black a share (K,) of the white: of the signal's drive, or
    of the panel's own if the signal is PQ."""
    share = np.maximum(black, 0.0)
    if curve.name == "hlg":
        lift = np.sqrt(3 * share ** (1 / curve.exponent))
    elif curve.name == "pq":
        lift = (share / _peak(curve, model)) ** (1 / curve.panel_exponent)
    else:
        lift = drive_of(share[:, None, None], curve, model)[:, 0, 0]
    return np.clip(lift, 0.0, MOST)


def lifted(lift: Array, curve: Curve, model: TargetModel) -> Array:
    """(K,) black with a lift (K,), as a share of the white; the inverse of `lift_of`."""
    if curve.name == "hlg":
        return np.asarray((lift**2 / 3) ** curve.exponent)
    if curve.name == "pq":
        return np.asarray(_peak(curve, model) * lift**curve.panel_exponent)
    return np.asarray(light_of(lift[:, None, None], curve, model)[:, 0, 0])


NEAR = 0.0012
"""Error of a well set up display's white, in Δu'v'."""
HIGH = 0.001
"""Share of white from which black in the drive also raises the greys to which white is fitted."""
SECANTS = 3
"""Steps to find a lift if black also has other light."""
GAIN = 0.04
"""Error, as a share, of the light of a well set up display with an absolute curve."""


class Display(NamedTuple):
    """K displays of one kind of curve."""

    curve: str
    """A target's curve, or `power`."""
    black: str
    """`lift`, `add` or `none`."""
    added_black_share: Array
    """(K,) share of the measured black that is added light, at any level, the rest being in the
    drive; below 0: as `black` states"""
    exponent: Array
    """(K,)"""
    absolute: bool
    """The curve gives cd/m²; else a share of the white, which is fitted to the readings."""
    order: tuple[int, int, int]
    """The channel of the signal that each channel shows."""
    drive_order: tuple[int, int, int]
    """The same for the display's own red, green and blue, if the signal is X'Y'Z'."""
    low: Array
    high: Array
    """(K,) signals shown as 0 and as 1"""
    assumed_primaries: Array
    """(K, 3, 3) light of the signal's channels to XYZ, as the display assumes it"""
    primaries: Array
    """(K, 3, 2) x, y of its red, green and blue"""
    white: Array
    """(K, 2) x, y"""
    crush_point: Array
    """(K,) signal shown as 0 after that, the white unchanged"""
    floor: Array
    """(K,) signal at and below which nothing is shown"""
    crush: Array
    """(K,) the same for the drive"""
    knee: Array
    """(K,) drive from which highlights are bent"""
    slope: Array
    """(K,) of the drive above the knee"""
    shoulder: Array
    """(K,) luminance in cd/m² from which a patch is dimmed as a whole, its hue unchanged"""
    shoulder_slope: Array
    """(K,) of the logarithm of the luminance above it"""
    luminance_cap: Array
    """(K,) largest luminance in cd/m²"""
    channel_cap: Array
    """(K,) largest light of a channel, as a share of the rule's white"""
    power_cap: Array
    """(K,) largest sum of the channels' light by their power, as a share of the rule's white; above
    it a patch is dimmed as a whole"""
    even_power: Array
    """(K,) share of the power that is the same for each channel, the rest being as its luminance"""
    offset: Array
    """(K, 3) added to the panel's own drive"""
    panel_exponent: Array
    """(K,) exponent of that drive"""
    bend: Array
    """(K,) exponent on the light of the display's own channels, less 1"""
    crosstalk: Array
    """(K,) share of each channel's own drive in each of the two others; greys keep theirs"""
    leak_exponent: Array
    """(K,) exponent of that drive"""
    bump: Array
    """(K, 3) share by which a channel's light is raised about `bump_centre`"""
    bump_centre: Array
    bump_width: Array
    """(K,) levels"""
    top: Array
    """(K, 3) largest light of a channel, as a share of that for the rule's peak"""
    topped: Flags
    """() or (all patches of the case,) to which that applies: a panel's own channel need not end in
    saturated colours"""
    gain: Array
    """(K, 3) on the light"""
    ripple: Array
    """() or (all patches of the case,) share of the light: drift"""
    plausible_white: tuple[float, float]
    """Range of its white in cd/m² that costs nothing."""


def has_swapped_channels(display: Display) -> bool:
    """Whether channels are swapped; then its greys are coloured."""
    return (*display.order, *display.drive_order) != (0, 1, 2, 0, 1, 2)


def ideal_display(inputs: Inputs) -> Display:
    """The display that the rule requires."""
    model = inputs.model
    one = np.ones(1)
    return Display(
        curve=model.curve,
        black="none" if model.blackless else "lift" if model.lift else "add",
        added_black_share=-one,
        exponent=np.array([model.system_gamma if model.curve == "hlg" else model.exponent]),
        absolute=not model.relative,
        order=(0, 1, 2),
        drive_order=(0, 1, 2),
        low=0 * one,
        high=one,
        assumed_primaries=model.from_signal[None],
        primaries=primaries_of(model.from_target)[None],
        white=np.asarray(spaces.xyz_to_xy(model.white_xyz))[None],
        crush_point=0 * one,
        floor=-one,
        crush=-one,
        knee=2 * one,
        slope=one,
        shoulder=np.inf * one,
        shoulder_slope=one,
        luminance_cap=np.inf * one,
        channel_cap=np.inf * one,
        power_cap=np.inf * one,
        even_power=one,
        offset=np.zeros((1, 3)),
        panel_exponent=(2.6 if model.curve == "dcdm" else 2.4) * one,
        bend=0 * one,
        crosstalk=0 * one,
        leak_exponent=2.4 * one,
        bump=np.zeros((1, 3)),
        bump_centre=0.5 * one,
        bump_width=0.2 * one,
        top=np.full((1, 3), np.inf),
        topped=np.ones((), dtype=np.bool_),
        gain=np.ones((1, 3)),
        ripple=np.ones(()),
        plausible_white=inputs.span,
    )


# ------------------------------------------------------------ light


class Shown(NamedTuple):
    """The light of K displays."""

    xyz: Array
    """(K, P, 3) cd/m²"""
    white: Array
    """(K,) cd/m² of full drive, as fitted"""
    black: Array
    """(K,) cd/m² of no drive, as fitted, without faults that raise it; 0 if any black is allowed"""


def simulate(display: Display, inputs: Inputs) -> Shown:
    """The light of the displays for the patches.

    White's luminance is fitted to the neutral readings, within bounds if the curve is
    absolute, and the black to the black reading, within the rule's limits.
    """
    turned = np.swapaxes(_turned(display, inputs), -1, -2)
    lit, lift = _lit(inputs), np.zeros(1)
    share = _channels(display, lit, lift) @ turned
    added = _added(display)
    glow = added * inputs.black[1]
    for _ in range(2 if np.any(added) else 1):
        scale = _scale(share[:, :-1], glow, display, lit)
        dark = share[:, -1, 1] * scale
        rest = np.maximum(inputs.black[1] - dark, 0.0)
        own, glow = (1 - added) * rest, added * rest
    admitted = min(inputs.darkest, inputs.white)
    raised = _raised(admitted, turned, scale, display, inputs) - dark
    most = np.where(display.added_black_share < 0, np.maximum(raised, admitted), inputs.white)
    black = own + glow
    lifts = display.black != "none" or bool(np.any(display.added_black_share >= 0))
    if lifts and np.any(own > 0):
        for _ in range(2 if inputs.black[1] > HIGH * inputs.white else 1):
            lift = _lift(own, dark, turned, scale, display, inputs)
            black = scale * lifted(lift, _curve(display), inputs.model) + glow
            lift = np.minimum(lift, lift_of(most / scale, _curve(display), inputs.model))
            share = _channels(display, lit, lift) @ turned
            scale = _scale(share[:, :-1], glow, display, lit)
    light = (_channels(display, inputs, lift) @ turned)[:, :-1] * scale[:, None, None]
    hue = inputs.black / max(inputs.black[1], 1e-12)
    if not lifts:
        own = np.minimum(own, most)[:, None, None]
        light = np.where(light[..., 1:2] < own, own * hue, light)
    light = light + np.minimum(glow, most)[:, None, None] * hue
    black = np.where(display.added_black_share < 0, black * admitted / np.maximum(most, 1e-12), 0.0)
    light = light * _ripple(display, inputs)[..., None]
    if np.isfinite(display.shoulder).any():
        over = np.maximum(light[..., 1:2] / display.shoulder[:, None, None], 1.0)
        light = light * over ** (display.shoulder_slope[:, None, None] - 1)
    if np.isfinite(display.luminance_cap).any():
        over = display.luminance_cap[:, None, None] / np.maximum(light[..., 1:2], 1e-12)
        light = light * np.minimum(over, 1.0)
    return Shown(light, scale, black)


def _lit(inputs: Inputs) -> Inputs:
    """The patches that the white is fitted to, and black, in what a scale is found from."""
    bright = inputs.bright
    return inputs._replace(
        patches=inputs.patches[bright],
        xyz=inputs.xyz[bright],
        signals=inputs.signals[np.append(bright, True)],
    )


def _ripple(display: Display, inputs: Inputs) -> Array:
    """(P,) or () share of the light of the inputs' patches."""
    return display.ripple[inputs.patches] if display.ripple.ndim else display.ripple


def _topped(display: Display, inputs: Inputs) -> Flags:
    """(N, 1) or () of the signals, black included or alone: whether `top` applies."""
    if not display.topped.ndim:
        return display.topped
    patches = display.topped[inputs.patches]
    return np.append(patches, False)[-len(inputs.signals) :, None]


def _raised(black: float, turned: Array, scale: Array, display: Display, inputs: Inputs) -> Array:
    """(K,) cd/m² of a black in cd/m² if channels are raised."""
    if not np.any(display.offset > 0):
        return np.full_like(scale, black)
    share = np.ones(3) * (black / scale)[:, None, None]
    light = shifted(share, np.maximum(display.offset, 0.0), _curve(display), inputs.model)
    return np.asarray((light @ turned)[:, 0, 1] * scale)


def _added(display: Display) -> Array:
    """(K,) share of the black that is added light."""
    share = display.added_black_share
    return np.where(share < 0, float(display.black == "add"), share)


def _channels(display: Display, inputs: Inputs, lift: Array) -> Array:
    """Light (K, P + 1, 3) of the displays' own channels as a share of the white's, for the
    patches and for black; `lift` (K,) raises the drive, or the panel's own if the signal is PQ."""
    model = inputs.model
    ordered = inputs.signals[:, display.order]
    span = (display.high - display.low)[:, None, None]
    drive = np.clip((ordered - display.low[:, None, None]) / span, 0.0, 1.0)
    if np.any(display.crush_point):
        crushed = display.crush_point[:, None, None]
        drive = np.maximum(drive - crushed, 0.0) / (1 - crushed)
    if np.any(display.floor >= 0):
        drive = np.where(drive <= display.floor[:, None, None], 0.0, drive)
    offset = display.offset
    if display.curve == "pq":
        offset, lift = offset + lift[:, None], np.zeros(1)
    light = _own(drive, display, lift[:, None, None], model)
    if np.any(display.bend):
        peak = _peak(_curve(display), model)
        light = peak * transfer.power(light / peak, 1 + display.bend[:, None, None])
    if np.any(offset):
        light = shifted(light, offset, _curve(display), model)
    if np.any(display.crosstalk):
        light = _leaked(light, display, model)
    if np.any(display.bump):
        light = _bumped(light, display, model)
    if np.isfinite(display.top).any():
        most = _peak(_curve(display), model) * display.top[:, None, :]
        light = np.where(_topped(display, inputs), np.minimum(light, most), light)
    if np.isfinite(display.channel_cap).any():
        light = np.minimum(light, display.channel_cap[:, None, None])
    if np.isfinite(display.power_cap).any():
        even = display.even_power[:, None, None]
        power = even * light.mean(axis=-1, keepdims=True)
        power = power + (1 - even) * (light @ model.from_target[1])[..., None]
        light = light * np.minimum(display.power_cap[:, None, None] / np.maximum(power, 1e-12), 1)
    return light


def _curve(display: Display) -> Curve:
    return Curve(display.curve, display.exponent, display.panel_exponent)


def _own(drive: Array, display: Display, lift: Array, model: TargetModel) -> Array:
    """Light of the displays' own channels for the drive of the signal's channels."""
    kind = (_curve(display), model)
    assumed = display.assumed_primaries
    own = len(assumed) == 1 and np.array_equal(assumed[0], model.from_target)
    if own or display.curve == "hlg":
        light = light_of(_levels(drive, display, lift), *kind)
        return light if own else _native(light, display, model)
    light = light_of(drive, *kind)
    if display.curve == "dcdm":
        light = light * (transfer.DCDM_PEAK / model.white_luminance)
    drive = drive_of(_native(light, display, model), *kind)[..., display.drive_order]
    return light_of(_levels(drive, display, lift), *kind)


def _turned(display: Display, inputs: Inputs) -> Array:
    """(K, 3, 3) light of the display's channels to XYZ; its white is moved towards the measured
    one, by a well set up display's error at most."""
    columns = np.swapaxes(_unit(display.primaries), -1, -2)
    inverse = _inverse(columns)
    plain = _mixed(columns, inverse, _unit(display.white)) * display.gain[:, None, :]
    white = plain.sum(axis=-1)
    there = spaces.xyz_to_uv(white)
    away = inputs.white_uv - there
    size = np.linalg.norm(away, axis=-1, keepdims=True)
    there = there + away * np.minimum(1.0, NEAR / np.maximum(size, 1e-12))
    turned = _mixed(columns, inverse, _unit(spaces.uv_to_xy(there)))
    return np.asarray(turned * white[:, 1, None, None])


def _native(light: Array, display: Display, model: TargetModel) -> Array:
    """Light of the signal's channels as light of the display's own, at least 0."""
    into = np.linalg.inv(model.from_target) @ display.assumed_primaries
    return np.asarray(np.maximum(light @ np.swapaxes(into, -1, -2), 0.0))


def _levels(drive: Array, display: Display, lift: Array) -> Array:
    """The drive of each channel after crush, knee and lift."""
    if np.any(display.crush >= 0):
        drive = np.where(drive <= display.crush[:, None, None], 0.0, drive)
    if np.any(display.knee <= 1):
        knee = display.knee[:, None, None]
        bent = knee + display.slope[:, None, None] * (drive - knee)
        drive = np.where(drive > knee, bent, drive)
    if np.any(lift > 0):
        drive = drive * (1 - lift) + lift
    return drive


def _scale(share: Array, glow: Array, display: Display, lit: Inputs) -> Array:
    """(K,) cd/m² of a share of 1: the rule's white, or fitted to the brighter neutral readings
    `lit` with `glow` (K,) cd/m² subtracted."""
    below = np.maximum(share[..., 1], 1e-12)
    read = lit.xyz[:, 1]
    if display.ripple.ndim:
        read = read / _ripple(display, lit)
    ratio = np.maximum(read - glow[:, None], 1e-6) / below
    if np.isfinite(display.luminance_cap).any():
        ratio = np.where(read >= 0.98 * display.luminance_cap[:, None], np.nan, ratio)
        ratio = np.where(np.isnan(ratio).all(axis=1, keepdims=True), 1.0, ratio)
    scale = _median(ratio)
    if display.absolute:
        nominal = lit.model.white_luminance
        scale = np.clip(scale, nominal * (1 - GAIN), nominal * (1 + GAIN))
    return np.asarray(scale)


def _median(values: Array) -> Array:
    """(K,) median of values (K, n) without those that are NaN, at least one of each row not."""
    ordered = np.sort(values, axis=1)
    known = values.shape[1] - np.isnan(ordered).sum(axis=1)
    rows = np.arange(len(values))
    return np.asarray((ordered[rows, (known - 1) // 2] + ordered[rows, known // 2]) / 2)


def _lift(
    own: Array, dark: Array, turned: Array, scale: Array, display: Display, inputs: Inputs
) -> Array:
    """(K,) lift of the drive with which black has `own` (K,) cd/m² more than `dark` (K,), its light
    without a lift."""
    wanted = own + dark
    curve = _curve(display)
    before, lift = (lift_of(level / scale, curve, inputs.model) for level in (wanted, own))
    if not np.any(dark > 0):
        return before
    only = inputs._replace(signals=inputs.signals[-1:])

    def made(tried: Array) -> Array:
        return np.asarray((_channels(display, only, tried) @ turned)[:, 0, 1] * scale)

    high = made(before)
    for _ in range(SECANTS):
        low = made(lift)
        slope = (high - low) / np.where(before == lift, 1.0, before - lift)
        step = (wanted - low) / np.where(slope > 0, slope, np.inf)
        before, high, lift = lift, low, np.clip(lift + step, 0.0, 0.5)
    return np.asarray(lift)
