"""A model of imperfect displays for the demo; every number it gives is invented.

A signal becomes light in five steps, each with a fault that can be set:

1. Signal to drive. BT.1886, power or PQ per channel, with an exponent per channel. The cinema
   signal is decoded to X, Y, Z by SMPTE ST 428-1 and asked of the P3 channels by matrix; a PQ
   signal is decoded in BT.2020 and asked of the P3 channels in the same way.
2. Tracking error. Each channel's drive is off by `tracking` at half signal and right at both
   ends.
3. Roll-off. Above `roll_off` cd/m² a channel bends softly towards `ceiling`.
4. Colour. The display's own primaries and white at its own luminance, black on top.
5. Place and time. Light falls off towards sides and corners, drifts over the session, and
   sags when a peak is held.

The meter then adds noise: a share of Y, some chromaticity, something constant in the dark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Pair = tuple[float, float]

BT2020 = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
D65 = (0.3127, 0.3290)
CINEMA_WHITE = (0.314, 0.351)


@dataclass(frozen=True)
class ImperfectDisplay:
    """One slot of one display; luminance in cd/m², chromaticity in CIE 1931 x, y."""

    curve: str
    """`bt1886`, `power`, `pq` or `cinema`."""
    primaries: tuple[Pair, Pair, Pair]
    white: Pair
    white_luminance: float
    """At full drive; PQ and cinema: what 100 and 48 cd/m² come out as."""
    black: float
    exponents: tuple[float, float, float] = (2.4, 2.4, 2.4)
    """BT.1886 and power only."""
    tracking: tuple[float, float, float] = (0.0, 0.0, 0.0)
    roll_off: float = np.inf
    ceiling: float = np.inf
    sides: float = 1.0
    corners: float = 1.0
    leak: float = 0.0
    """Share of white that strays into the black fields of a checkerboard."""
    drift: float = 0.0
    """Share of luminance gained from the first reading to the last."""
    sag: float = 0.0
    """Share of a held peak lost in a minute."""

    def light(
        self, signal: Array, position: str, pattern: str, seconds: float, when: float
    ) -> Array:
        """(3,) X, Y, Z of one patch; `when` runs from 0 to 1 over the session."""
        drive = self._bent(self._drive(signal) * (1 + self._off(signal)))
        black = self.black * _xyz(self.white)
        light = black + (self.white_luminance - self.black) * (
            matrix(self.primaries, self.white) @ drive
        )
        if pattern == "checkerboard":
            light = light + self.leak * self.white_luminance * _xyz(self.white)
        return (
            light
            * self._fall_off(position)
            * (1 + self.drift * when)
            * (1 - self.sag * seconds / 60)
        )

    def _drive(self, signal: Array) -> Array:
        """(3,) linear drive of the display's channels, 1 at white."""
        exponents = np.array(self.exponents)
        if self.curve == "bt1886":
            low, high = self.black ** (1 / 2.4), self.white_luminance ** (1 / 2.4)
            lifted = (signal * (high - low) + low) ** exponents
            return np.asarray((lifted - low**exponents) / (high**exponents - low**exponents))
        if self.curve == "power":
            return np.asarray(signal**exponents)
        if self.curve == "pq":
            asked = matrix(BT2020, D65) @ (perceptual_quantizer(signal) / 100)
            return np.asarray(np.maximum(np.linalg.solve(matrix(P3, D65), asked), 0))
        asked = 52.37 / 48 * signal**2.6
        return np.asarray(np.maximum(np.linalg.solve(matrix(P3, CINEMA_WHITE), asked), 0))

    def _off(self, signal: Array) -> Array:
        return np.array(self.tracking) * np.sin(np.pi * np.clip(signal, 0, 1))

    def _bent(self, drive: Array) -> Array:
        if not np.isfinite(self.roll_off):
            return drive
        start, room = self.roll_off / 100, (self.ceiling - self.roll_off) / 100
        bent = start + room * (1 - np.exp(-np.maximum(drive - start, 0) / room))
        return np.where(drive > start, bent, drive)

    def _fall_off(self, position: str) -> float:
        if position == "centre":
            return 1.0
        return self.corners if "-" in position else self.sides


def perceptual_quantizer(signal: Array) -> Array:
    """cd/m² of a PQ signal (ITU-R BT.2100)."""
    power = np.asarray(signal) ** (4096 / (128 * 2523))
    above = np.maximum(power - 3424 / 4096, 0)
    return np.asarray(10000 * (above / (2413 / 128 - 2392 / 128 * power)) ** (16384 / 2610))


def matrix(primaries: tuple[Pair, Pair, Pair], white: Pair) -> Array:
    """(3, 3) from linear channels to X, Y, Z with Y = 1 at full drive."""
    columns = np.stack([_xyz(primary) for primary in primaries], axis=-1)
    return np.asarray(columns * np.linalg.solve(columns, _xyz(white)))


def _xyz(xy: Pair) -> Array:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


@dataclass(frozen=True)
class Noise:
    """What the meter adds, as standard deviations."""

    relative: float
    chromaticity: float
    dark: float
    """cd/m²"""

    def add(self, xyz: Array, random: np.random.RandomState) -> Array:
        """(3,) X, Y, Z as read."""
        level, tint_x, tint_z = random.normal(size=3)
        dark = random.normal(size=3) * self.dark
        factor = 1 + self.relative * level
        tint = 1 + self.chromaticity * np.array([3 * tint_x, 0.0, 3 * tint_z])
        return np.asarray(xyz * factor * tint + dark)
