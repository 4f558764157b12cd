"""A display with the errors of a real one: what it shows for each row of a plan, in cd/m².

A panel decodes the signal as its calibration meant to, drives its own three channels, and adds the
light that leaks everywhere. Channels are in cd/m² of the neutral that the same drive gives.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from outside.displays import Array, Pair, channels, hlg_scene, pq, srgb, xyz_of
from outside.ideal import CINEMA_PEAK, HLG_SHARES, Corners, Target, annex_1
from outside.rulebook import Rulebook

Waves = tuple[tuple[float, float], ...]
"""Amplitude and phase of each half wave along the signal."""


def wave(level: Array, waves: Waves) -> Array:
    """Give a smooth error of a level 0..1 that is 0 at white."""
    fade = 1 - level**8
    parts = [a * np.sin(np.pi * (k + 1) * level + phase) for k, (a, phase) in enumerate(waves)]
    return fade * np.sum(parts, axis=0) if parts else np.zeros_like(level)


@dataclass(frozen=True)
class Panel:
    """One display in one slot; all that is not stated is ideal."""

    target: Target
    white: float
    """cd/m² of full signal; for PQ where it clips."""
    black: float = 0.0
    leak_xy: Pair = (0.3127, 0.3290)
    primaries: Corners | None = None
    """The real ones; the target's unless stated."""
    white_xy: Pair | None = None
    exponent: float | None = None
    """Of bt1886, power and dcdm; the target's unless stated."""
    gamma: float | None = None
    """Of HLG; the target's unless stated."""
    curve: str | None = None
    """A curve of another kind than the target's, for faults."""
    form: str | None = None
    """How the black is part of the greys of bt1886 and hlg: lift or add."""
    lifts_container: bool = False
    """Whether the channels of a wider container are lifted, not the panel's own."""
    gain: float = 1.0
    tone: Waves = ()
    greys: tuple[Waves, Waves, Waves] = ((), (), ())
    dark: float = 0.0
    """Relative error of greys around 1 cd/m²: a bump one decade wide."""
    dark_tint: float = 0.0
    """The same in blue, half of it opposed in red."""
    tint: float = 0.0
    """Relative error of blue against red in the middle of the greys, none at white and black."""
    mixing: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Relative errors of the channels in mixed colours, none on greys and full hues."""
    mixing_below: float = np.inf
    """cd/m² of drive above which mixed colours are right after all."""
    colour_limit: float = np.inf
    """cd/m² at which what is not neutral in a colour stops (white-subpixel panels)."""
    loading: Mapping[float, float] = field(default_factory=dict)
    """Factor of the light above half of the peak, by window."""
    sustained: float = 1.0
    """Factor of the peak after 60 s."""
    points: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    """Factors of X, Y, Z by position."""
    bend: float = 0.0
    """Power by which levels below the peak are bent, for faults of PQ and cinema curves."""
    white_boost: float = 1.0
    """Factor of what is neutral in a bright light (white-subpixel panels)."""
    drift: float = 0.0
    """Relative change from the first row to the last."""
    flare: float = 0.0
    """Share of the white that a checkerboard throws on its black fields."""

    def shown(self, book: Rulebook) -> Array:
        """Give the true X, Y, Z (row, 3) of a plan's rows."""
        patches = self._patches(book)
        xyz = patches[book.patch_of_row]
        times = np.linspace(0, 1, len(xyz))[:, None]
        return xyz * (1 + self.drift * times)

    def _patches(self, book: Rulebook) -> Array:
        """Give the X, Y, Z (patch, 3), without drift."""
        drive = self._limited(self._mixed(self._uneven(self._drive(book.codes))))
        nominal = self.target
        windows = np.array([patch.window for patch in book.patches])
        seconds = np.array([patch.seconds for patch in book.patches])
        drive = self._loaded(drive, windows, seconds) * self.gain
        real = channels(self.primaries or nominal.primaries, self.white_xy or nominal.white_xy)
        leak = xyz_of((self.black, *self.leak_xy))
        xyz = drive @ real.T + leak
        for i, patch in enumerate(book.patches):
            if patch.pattern == "checkerboard":
                xyz[i] = xyz[i] + self.flare * self.white * real.sum(axis=1)
            xyz[i] = xyz[i] * np.array(self.points.get(patch.position, (1.0, 1.0, 1.0)))
        return xyz

    def _drive(self, codes: Array) -> Array:
        """Give the channels (patch, 3) above the leak as the calibration meant them."""
        target = self.target
        signal = target.signal(codes)
        own = np.linalg.inv(target.matrix(target.primaries))
        to_own = (own @ target.matrix(target.container)).T
        curve = self.curve or target.curve
        form = self.form or target.form
        top = self.white - self.black
        exponent = self.exponent or target.exponent
        if curve == "pq":
            wanted = np.minimum(pq(signal) @ to_own, self.white)
            return self._less_leak(wanted)
        if curve == "bt1886" and form == "lift":
            if not self.lifts_container:
                pure = np.maximum(signal**exponent @ to_own, 0)
                lifted = annex_1(pure ** (1 / exponent), self.white, self.black, exponent)
            else:
                lifted = self.black + np.maximum(
                    (annex_1(signal, self.white, self.black, exponent) - self.black) @ to_own, 0
                )
            return self._compensated(lifted - self.black)
        if curve == "hlg":
            power = self.gamma or target.gamma()
            scene = hlg_scene(signal)
            if form == "lift":
                scene = Target.lifted_scene(
                    signal, np.array(self.white), np.array(self.black), power
                )
            luminance = scene @ HLG_SHARES
            light = np.maximum(luminance, 1e-12)[:, None] ** (power - 1) * scene
            if form == "lift":
                return self._less_leak(self.white * light @ to_own)
            return self._compensated(top * np.maximum(light @ to_own, 0))
        if curve == "srgb":
            light = srgb(signal)
        elif target.container is None and curve == "dcdm":
            light = signal**exponent * CINEMA_PEAK / target.decoded_white
            if exponent != target.exponent:
                light = signal**exponent / (target.white_code()[1] / 4095) ** exponent
                to_own = to_own * (target.white_xyz / self._scaled_white(exponent))[:, None]
        else:
            light = signal**exponent
        return self._compensated(top * np.maximum(light @ to_own, 0))

    def _scaled_white(self, exponent: float) -> Array:
        """Give what the white's X'Y'Z' decode to with another exponent, Y 1."""
        shares = (np.array(self.target.white_code()) / self.target.white_code()[1]) ** exponent
        return np.asarray(shares)

    def _leak_drive(self) -> Array:
        """Give the leak in the nominal channels."""
        own = np.linalg.inv(self.target.matrix(self.target.primaries))
        return np.asarray(own @ xyz_of((self.black, *self.leak_xy)))

    def _less_leak(self, wanted: Array) -> Array:
        """Take the leak off, so that greys above it come out right."""
        return np.maximum(wanted - self._leak_drive(), 0)

    def _compensated(self, drive: Array) -> Array:
        """Take the leak's colour off the greys, down to twenty times the black."""
        off = self._leak_drive() - self.black
        fade = np.minimum(1, drive / max(20 * self.black, 1e-9))
        return np.maximum(drive - off * fade, 0)

    def _uneven(self, drive: Array) -> Array:
        """Apply the errors that follow the level of each channel."""
        level = np.clip(drive / max(self.white - self.black, 1e-9), 0, 1) ** (1 / 2.4)
        error = wave(level, self.tone) * np.ones_like(drive)
        error = error + np.stack([wave(level[:, i], self.greys[i]) for i in range(3)], axis=-1)
        if self.tint:
            middle = np.sin(np.pi * np.clip(level, 0, 1)) ** 2
            error = error + middle * np.array([-0.5, 0.0, 1.0]) * self.tint
        if self.dark or self.dark_tint:
            around = np.log10(np.maximum(drive, 1e-9))
            by_channel = self.dark + self.dark_tint * np.array([-0.5, 0.0, 1.0])
            error = error + by_channel * np.exp(-((around / 0.6) ** 4))
        if self.bend:
            error = error + self.bend * np.log(np.maximum(drive, 1e-9) / self.white)
        return drive * np.exp(error)

    def _mixed(self, drive: Array) -> Array:
        """Apply what a LUT does wrong between the greys and the full hues."""
        high, low = drive.max(axis=1, keepdims=True), drive.min(axis=1, keepdims=True)
        middle = np.sort(drive, axis=1)[:, 1:2]
        safe = np.maximum(high, 1e-9)
        saturation = (high - low) / safe
        between = (middle - low) / np.maximum(high - low, 1e-9)
        weight = np.minimum(1, 4 * saturation * (1 - saturation) + 4 * between * (1 - between))
        if np.isfinite(self.mixing_below):
            weight = weight * np.exp(-((high / self.mixing_below) ** 4))
        return drive * (1 + weight * np.minimum(1, 4 * saturation) * np.array(self.mixing))

    def _limited(self, drive: Array) -> Array:
        """Stop what is not neutral in a colour at the panel's limit."""
        low = drive.min(axis=1, keepdims=True)
        colour = np.minimum(drive - low, self.colour_limit)
        return low * (1 + (self.white_boost - 1) * low / self.white) + colour

    def _loaded(self, drive: Array, windows: Array, seconds: Array) -> Array:
        """Dim what is bright in large windows and after a minute."""
        factor = np.array([self.loading.get(float(w), 1.0) for w in windows])
        factor = np.where(seconds >= 60, factor * self.sustained, factor)
        high = drive.max(axis=1) / self.white
        share = np.clip((high - 0.3) / 0.4, 0, 1)
        return drive * (1 - share * (1 - factor))[:, None]
