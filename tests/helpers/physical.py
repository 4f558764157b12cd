"""Displays simulated by their physics, with separate arithmetic, for tests of the diagnosis.

A `Panel` has primaries, a peak, a native exponent, a black that leaks through and channels that
clip; it is driven to produce the requested light, and the meter also sees the room's
light. Nothing here is shared with the models of a fault, and nothing is random: the numbers
are exact. All of it is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.inputs import Inputs, gather
from compliance.grading.match import match_readings
from compliance.model import ENCODINGS, Cause, Readings
from helpers import faulty_displays
from helpers.shipped import shipped_rule
from helpers.simulated import Shown, readings

Array = NDArray[np.float64]
Points = tuple[tuple[float, float], ...]

D65 = (0.3127, 0.3290)
CINEMA = (0.314, 0.351)
BT709: Points = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
P3: Points = ((0.68, 0.32), (0.265, 0.69), (0.15, 0.06))
BT2020: Points = ((0.708, 0.292), (0.17, 0.797), (0.131, 0.046))
WIDE: Points = ((0.685, 0.310), (0.258, 0.678), (0.148, 0.055))
"""Of an invented panel."""

# ---------------------------------------------------------------- colour


def white_xyz(x: float, y: float) -> Array:
    return np.array([x / y, 1.0, (1 - x - y) / y])


def matrix(primaries: Points, white: tuple[float, float]) -> Array:
    """(3, 3) linear R, G, B to XYZ; SMPTE RP 177."""
    columns = np.array([white_xyz(x, y) for x, y in primaries]).T
    return np.asarray(columns * np.linalg.solve(columns, white_xyz(*white)))


# ---------------------------------------------------------------- curves


def bt1886(signal: Array, white: float, black: float, gamma: float = 2.4) -> Array:
    """ITU-R BT.1886, Annex 1."""
    a = (white ** (1 / gamma) - black ** (1 / gamma)) ** gamma
    b = black ** (1 / gamma) / (white ** (1 / gamma) - black ** (1 / gamma))
    return np.asarray(a * np.maximum(signal + b, 0.0) ** gamma)


def power(signal: Array, white: float, gamma: float) -> Array:
    return np.asarray(white * np.clip(signal, 0.0, 1.0) ** gamma)


def srgb(signal: Array, white: float) -> Array:
    """IEC 61966-2-1."""
    low, high = signal / 12.92, ((np.maximum(signal, 0.0) + 0.055) / 1.055) ** 2.4
    return np.asarray(white * np.where(signal <= 0.04045, low, high))


def pq(signal: Array) -> Array:
    """SMPTE ST 2084, cd/m²."""
    m1, m2, c1, c2, c3 = 2610 / 16384, 2523 / 32, 3424 / 4096, 2413 / 128, 2392 / 128
    root = np.clip(signal, 0.0, 1.0) ** (1 / m2)
    return np.asarray(10000 * (np.maximum(root - c1, 0.0) / (c2 - c3 * root)) ** (1 / m1))


def pq_inverse(light: Array) -> Array:
    m1, m2, c1, c2, c3 = 2610 / 16384, 2523 / 32, 3424 / 4096, 2413 / 128, 2392 / 128
    root = (np.maximum(light, 0.0) / 10000) ** m1
    return np.asarray(((c1 + c2 * root) / (1 + c3 * root)) ** m2)


def hlg(signal: Array, peak: float, gamma: float = 1.2, black: float = 0.0) -> Array:
    """ITU-R BT.2100, table 5, with its lift of the black."""
    lift = np.sqrt(3 * (black / peak) ** (1 / gamma))
    value = np.maximum((1 - lift) * signal + lift, 0.0)
    upper = (np.exp((value - 0.55991073) / 0.17883277) + 0.28466892) / 12
    scene = np.where(value <= 0.5, value**2 / 3, upper)
    luminance = scene @ np.array([0.2627, 0.6780, 0.0593])
    return np.asarray(peak * np.maximum(luminance, 1e-12)[:, None] ** (gamma - 1) * scene)


def rolled_off(light: Array, peak: float, whole: float = 1000.0) -> Array:
    """ITU-R BT.2390: light (..., 3) in cd/m² of `whole`, rolled off to `peak` in PQ."""
    level = np.maximum(light[:, 1:2], 1e-9)
    end = pq_inverse(np.array(whole))
    signal, top = pq_inverse(level) / end, float(pq_inverse(np.array(peak)) / end)
    knee = 1.5 * top - 0.5
    t = np.clip((signal - knee) / (1 - knee), 0.0, 1.0)
    bent = (2 * t**3 - 3 * t**2 + 1) * knee + (t**3 - 2 * t**2 + t) * (1 - knee)
    bent = bent + (3 * t**2 - 2 * t**3) * top
    return np.asarray(light * pq(np.where(signal < knee, signal, bent) * end) / level)


def capped(light: Array, peak: float) -> Array:
    """Light (..., 3), dimmed as a whole if it is above a luminance."""
    return np.asarray(light * np.minimum(1.0, peak / np.maximum(light[:, 1:2], 1e-9)))


# ---------------------------------------------------------------- targets of rules

GOOD_BLACK = {
    "sdr-broadcast": 0.02,
    "web-srgb": 0.1,
    "hdr-pq-1000": 0.0005,
    "hdr-hlg-1000": 0.0005,
    "cinema-review-room": 0.015,
}
"""cd/m² of a good display of each rule here"""
WHITES = {"sdr-broadcast": 100.0, "web-srgb": 120.0, "hdr-hlg-1000": 1000.0, "hdr-pq-1000": 1000.0,
          "cinema-review-room": 48.0}  # fmt: skip
"""cd/m²; the peak in high range"""
CONTAINERS = {
    "sdr-broadcast": BT709, "web-srgb": BT709, "hdr-pq-1000": BT2020, "hdr-hlg-1000": BT2020
}  # fmt: skip


def white_of(rule: str) -> tuple[float, float]:
    return CINEMA if rule == "cinema-review-room" else D65


def asked(
    rule: str, signal: Array, *, exponent: float | None = None, black: float | None = None,
    primaries: Points | None = None, white: tuple[float, float] | None = None,
) -> Array:  # fmt: skip
    """(R, 3) XYZ in cd/m² of a rule's target for signals (R, 3), or of one with another exponent,
    other primaries, another white, or another black in cd/m²."""
    dark = GOOD_BLACK[rule] if black is None else black
    glow, level = dark * white_xyz(*white_of(rule)), WHITES[rule]
    if rule == "cinema-review-room":
        return np.asarray(52.37 * np.clip(signal, 0.0, 1.0) ** (exponent or 2.6) + glow)
    into = matrix(primaries or CONTAINERS[rule], white or D65).T
    if rule == "hdr-pq-1000":
        light = pq(signal) @ into
        return np.asarray(np.where(light[:, 1:2] < dark, glow, light))
    if rule == "hdr-hlg-1000":
        return np.asarray(hlg(signal, level, exponent or 1.2, dark) @ into)
    if rule == "sdr-broadcast":
        return np.asarray(bt1886(signal, level, dark, exponent or 2.4) @ into)
    if exponent is not None:
        return np.asarray(power(signal, level - dark, exponent) @ into + glow)
    return np.asarray(srgb(signal, level - dark) @ into + glow)


# ---------------------------------------------------------------- panel


@dataclass(frozen=True)
class Panel:
    """The parts of a display."""

    primaries: Points = WIDE
    white: tuple[float, float] = D65
    peak: float = 1300.0
    """cd/m² of full drive of all channels, less the black"""
    gamma: float = 2.25
    """From drive to light."""
    black: float = 0.0
    """cd/m² of light that leaks through"""
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Added to the drive of each channel."""
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Factor on the light of each channel."""
    top: float = 1.0
    """Drive at which each channel clips."""

    def shows(self, asked: Array) -> Array:
        """(P, 3) XYZ in cd/m² for the requested light (P, 3)."""
        into = matrix(self.primaries, self.white)
        leak = self.black * white_xyz(*self.white)
        drive = np.clip((asked - leak) @ np.linalg.inv(into).T / self.peak, 0.0, 1.0)
        drive = drive ** (1 / self.gamma) + np.array(self.offset)
        light = np.clip(drive, 0.0, self.top) ** self.gamma * np.array(self.gain)
        return np.asarray(light * self.peak @ into.T + leak)


# ---------------------------------------------------------------- readings


@dataclass(frozen=True)
class Read:
    """Readings of a physical display, and their diagnosis."""

    rule: str
    readings: Readings
    signal: Array
    """(R, 3) of each reading's own codes"""

    @property
    def xyz(self) -> Array:
        return self.readings.xyz

    @property
    def grey(self) -> NDArray[np.bool_]:
        return np.ptp(self.signal, axis=1) < 1e-9

    @property
    def causes(self) -> tuple[Cause, ...]:
        case = match_readings(shipped_rule(self.rule), self.readings)
        return diagnose(case, self.readings).causes


def read(rule: str, shows: Callable[[Array], Array], encoding: str | None = None) -> Read:
    """Readings of the rule's plan on a display that `shows` XYZ (R, 3) for signals (R, 3)."""
    loaded = shipped_rule(rule)
    stated = ENCODINGS[encoding] if encoding else loaded.encoding
    rows = faulty_displays.rows_of(loaded)
    scale, full = 2 ** (stated.bits - 8), 2**stated.bits - 1
    low, size = (16 * scale, 219 * scale) if stated.narrow else (0, full)
    codes = np.floor(low + size * np.array([row.signal for row in rows]) + 0.5)
    signal = (codes - low) / size
    light = shows(signal)
    shown = [
        Shown(replace(row, count=1), (int(one[0]), int(one[1]), int(one[2])), xyz)
        for row, one, xyz in zip(rows, codes, light, strict=True)
    ]
    return Read(rule, readings(shown, stated), signal)


def inputs_of(rule: str) -> Inputs:
    """What models are fitted to, of a display that shows a rule's signals lifted a little."""
    found = read(rule, lambda signal: asked(rule, signal * 0.97 + 0.02))
    inputs = gather(match_readings(shipped_rule(rule), found.readings))
    assert inputs is not None
    return inputs
