"""A display with faults: signals to light, any number of displays at a time.

Every part of a `Display` has a leading axis K of displays, or 1. Signals pass: order of
the channels, range, curve, the primaries they are taken for, levels of each channel, gain
of each channel, the primaries and the white they are shown with, the luminance of it all.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import spaces, transfer
from compliance.diagnosis.facts import Facts
from compliance.targets import TargetModel

__all__ = ["Display", "Shown", "matrices", "primaries_of", "shown", "sound"]

Array = NDArray[np.float64]

PQ_PEAK = 10_000.0
"""cd/m²"""
NEAR = 0.0012
"""Δu'v' by which a well set up display's white may be off."""
GAIN = 0.04
"""Share by which the light of a well set up display with an absolute curve may be off."""


class Display(NamedTuple):
    """K displays of one kind of curve."""

    curve: str
    """A target's curve, or `power`."""
    black: str
    """`lift`, `add` or `none`."""
    exponent: Array
    """(K,)"""
    absolute: bool
    """The curve says cd/m²; else it is a share of the white, which is fitted to the readings."""
    order: tuple[int, int, int]
    """Which channel of the signal each channel shows."""
    drive_order: tuple[int, int, int]
    """The same of the display's own red, green and blue, where the signal is X'Y'Z'."""
    low: Array
    high: Array
    """(K,) signals shown as 0 and as 1"""
    taken: Array
    """(K, 3, 3) light of the signal's channels to XYZ, as the display takes it"""
    primaries: Array
    """(K, 3, 2) x, y that it shows red, green and blue with"""
    white: Array
    """(K, 2) x, y"""
    sunk: Array
    """(K,) signal that shows as 0 after that, the white staying where it is"""
    floor: Array
    """(K,) signal at and below which nothing is shown"""
    crush: Array
    """(K,) the same of the drive"""
    knee: Array
    """(K,) drive from which highlights are bent"""
    slope: Array
    """(K,) of the drive above the knee"""
    cap: Array
    """(K,) luminance in cd/m² that nothing exceeds"""
    offset: Array
    """(K, 3) added to the drive"""
    gain: Array
    """(K, 3) on the light"""
    ripple: Array
    """(P,) or () share of the light by patch: drift"""
    prior: tuple[float, float]
    """cd/m² between which its white is no matter."""


def sound(facts: Facts) -> Display:
    """The display that the rule asks for."""
    model = facts.model
    one = np.ones(1)
    return Display(
        curve=model.curve,
        black="none" if model.blackless else "lift" if model.lift else "add",
        exponent=np.array([model.system_gamma if model.curve == "hlg" else model.exponent]),
        absolute=not model.relative,
        order=(0, 1, 2),
        drive_order=(0, 1, 2),
        low=0 * one,
        high=one,
        taken=model.from_signal[None],
        primaries=primaries_of(model.from_target)[None],
        white=np.asarray(spaces.xyz_to_xy(model.white_xyz))[None],
        sunk=0 * one,
        floor=-one,
        crush=-one,
        knee=2 * one,
        slope=one,
        cap=np.inf * one,
        offset=np.zeros((1, 3)),
        gain=np.ones((1, 3)),
        ripple=np.ones(()),
        prior=facts.span,
    )


def primaries_of(matrix: Array) -> Array:
    """(3, 2) x, y of the primaries of a matrix (3, 3)."""
    return np.asarray(spaces.xyz_to_xy(matrix.T))


def matrices(primaries: Array, white: Array) -> Array:
    """(K, 3, 3) linear R, G, B to XYZ with Y = 1 for white; SMPTE RP 177."""
    columns = np.swapaxes(_unit(primaries), -1, -2)
    shares = np.linalg.solve(columns, _unit(white)[..., None])
    return np.asarray(columns * np.swapaxes(shares, -1, -2))


def _unit(xy: Array) -> Array:
    """XYZ (..., 3) of x, y (..., 2) at Y = 1."""
    x, y = xy[..., 0], xy[..., 1]
    xyz = np.ones((*x.shape, 3))
    xyz[..., 0], xyz[..., 2] = x / y, (1 - x - y) / y
    return xyz


# ------------------------------------------------------------ curves


def _light(drive: Array, display: Display, model: TargetModel) -> Array:
    """Light per channel as a share of the rule's white, (K, P, 3)."""
    curve, exponent = display.curve, display.exponent[:, None, None]
    if curve == "pq":
        full = model.white_luminance if model.curve == "pq" else PQ_PEAK
        return np.asarray(transfer.pq(drive)) / full
    if curve == "srgb":
        return np.asarray(transfer.srgb(drive))
    if curve == "hlg":
        scene = np.asarray(transfer.hlg_inverse_oetf(drive))
        return np.asarray(transfer.hlg_ootf(scene, 1.0, display.exponent[:, None]))
    return np.asarray(transfer.power(drive, exponent))


def _drive(light: Array, display: Display, model: TargetModel) -> Array:
    """The inverse of `_light` for the curves that act on each channel by itself."""
    curve, exponent = display.curve, display.exponent[:, None, None]
    if curve == "pq":
        full = model.white_luminance if model.curve == "pq" else PQ_PEAK
        return np.asarray(transfer.pq_inverse(light * full))
    if curve == "srgb":
        return np.asarray(transfer.srgb_inverse(light))
    return np.asarray(transfer.power(light, 1 / exponent))


# ------------------------------------------------------------ light


class Shown(NamedTuple):
    """What K displays show."""

    xyz: Array
    """(K, P, 3) cd/m²"""
    white: Array
    """(K,) cd/m² of full drive, as fitted"""
    black: Array
    """(K,) cd/m² of no drive, as fitted"""


def shown(display: Display, facts: Facts) -> Shown:
    """The light of the displays for the patches.

    White's luminance is fitted to the neutral readings, within bounds if the curve is
    absolute, and the black to the black reading.
    """
    turned = np.swapaxes(_turned(display, facts), -1, -2)
    nothing = np.zeros(1)
    share = _channels(display, facts, nothing) @ turned
    scale = _scale(share[:, :-1], display, facts)
    dark = share[:, -1, 1] * scale
    if display.black == "lift":
        lift = _lift_alone(np.full_like(scale, facts.black[1]), scale, display)
        if np.any(dark > 0):
            lift = _lift_beside(lift, dark, turned, scale, display, facts)
        if np.any(lift > 0):
            share = _channels(display, facts, lift) @ turned
            scale = _scale(share[:, :-1], display, facts)
        light = share[:, :-1] * scale[:, None, None]
        own = scale * (lift**2 / 3 if display.curve == "hlg" else lift) ** display.exponent
    else:
        light = share[:, :-1] * scale[:, None, None]
        own = np.maximum(facts.black[1] - dark, 0.0)
        glow = own[:, None, None] * facts.black / max(facts.black[1], 1e-12)
        if display.black == "none":
            light = np.where(light[..., 1:2] < own[:, None, None], glow, light)
        else:
            light = light + glow
    light = light * display.ripple[..., None]
    if np.isfinite(display.cap).any():
        over = display.cap[:, None, None] / np.maximum(light[..., 1:2], 1e-12)
        light = light * np.minimum(over, 1.0)
    return Shown(light, scale, own)


def _channels(display: Display, facts: Facts, lift: Array) -> Array:
    """Light (K, P + 1, 3) of the displays' own channels as a share of the white's, for the
    patches and for black; `lift` (K,) raises the drive."""
    model = facts.model
    ordered = facts.signals[:, display.order]
    span = (display.high - display.low)[:, None, None]
    drive = np.clip((ordered - display.low[:, None, None]) / span, 0.0, 1.0)
    if np.any(display.sunk):
        sunk = display.sunk[:, None, None]
        drive = np.maximum(drive - sunk, 0.0) / (1 - sunk)
    if np.any(display.floor >= 0):
        drive = np.where(drive <= display.floor[:, None, None], 0.0, drive)
    own = len(display.taken) == 1 and np.array_equal(display.taken[0], model.from_target)
    if own or display.curve == "hlg":
        light = _light(_levels(drive, display, lift[:, None, None]), display, model)
        return light if own else _native(light, display, model)
    light = _light(drive, display, model)
    if display.curve == "dcdm":
        light = light * (transfer.DCDM_PEAK / model.white_luminance)
    drive = _drive(_native(light, display, model), display, model)[..., display.drive_order]
    return _light(_levels(drive, display, lift[:, None, None]), display, model)


def _turned(display: Display, facts: Facts) -> Array:
    """(K, 3, 3) light of the display's channels to XYZ; its white as near the one read as
    a well set up display may be off."""
    plain = matrices(display.primaries, display.white) * display.gain[:, None, :]
    white = plain.sum(axis=-1)
    there = spaces.xyz_to_uv(white)
    away = facts.white_uv - there
    size = np.linalg.norm(away, axis=-1, keepdims=True)
    there = there + away * np.minimum(1.0, NEAR / np.maximum(size, 1e-12))
    turned = matrices(display.primaries, spaces.uv_to_xy(there))
    return np.asarray(turned * white[:, 1, None, None])


def _native(light: Array, display: Display, model: TargetModel) -> Array:
    """Light of the signal's channels as light of the display's own, which shows none below 0."""
    into = np.linalg.inv(model.from_target) @ display.taken
    return np.asarray(np.maximum(light @ np.swapaxes(into, -1, -2), 0.0))


def _levels(drive: Array, display: Display, lift: Array) -> Array:
    """What happens to the drive of each channel: crush, knee, lift, offset."""
    if np.any(display.crush >= 0):
        drive = np.where(drive <= display.crush[:, None, None], 0.0, drive)
    if np.any(display.knee <= 1):
        knee = display.knee[:, None, None]
        bent = knee + display.slope[:, None, None] * (drive - knee)
        drive = np.where(drive > knee, bent, drive)
    if np.any(lift > 0):
        drive = drive * (1 - lift) + lift
    if np.any(display.offset):
        drive = np.maximum(drive + display.offset[:, None, :], 0.0)
    return drive


def _scale(share: Array, display: Display, facts: Facts) -> Array:
    """(K,) cd/m² of a share of 1: the rule's white, or fitted to the brighter neutral readings."""
    bright = facts.bright
    below = np.maximum(share[:, bright, 1], 1e-12)
    dark = facts.black[1] if display.black == "add" else 0.0
    lit = facts.xyz[bright, 1] * np.ones_like(below)
    if display.ripple.ndim:
        lit = lit / display.ripple[bright]
    ratio = np.maximum(lit - dark, 1e-6) / below
    if np.isfinite(display.cap).any():
        ratio = np.where(lit >= 0.98 * display.cap[:, None], np.nan, ratio)
        ratio = np.where(np.isnan(ratio).all(axis=1, keepdims=True), 1.0, ratio)
        scale = np.nanmedian(ratio, axis=1)
    else:
        scale = np.median(ratio, axis=1)
    if display.absolute:
        nominal = facts.model.white_luminance
        scale = np.clip(scale, nominal * (1 - GAIN), nominal * (1 + GAIN))
    return np.asarray(scale)


def _lift_beside(
    first: Array, dark: Array, turned: Array, scale: Array, display: Display, facts: Facts
) -> Array:
    """(K,) of the drive, so that black shows what was read where something else raises it too:
    a secant from what it needs alone; `dark` (K,) is black's light without it."""
    second = _lift_alone(np.maximum(facts.black[1] - dark, 0.0), scale, display)
    high, low = (
        (_channels(display, facts, lift)[:, -1:] @ turned)[:, 0, 1] * scale
        for lift in (first, second)
    )
    slope = (high - low) / np.where(first == second, 1.0, first - second)
    step = (facts.black[1] - low) / np.where(slope > 0, slope, np.inf)
    return np.asarray(np.clip(second + step, 0.0, 0.5))


def _lift_alone(black: Array, scale: Array, display: Display) -> Array:
    """(K,) that a black in cd/m² needs where it is all that raises the drive."""
    exponent = 2 * display.exponent if display.curve == "hlg" else display.exponent
    root = np.maximum(black / scale, 0.0) ** (1 / exponent)
    return np.clip(np.sqrt(3) * root if display.curve == "hlg" else root, 0.0, 0.5)
