"""Displays from physics: integer codes in, true XYZ in cd/m² out.

Every formula and number is written here anew from the document named beside it; nothing is
shared with the program under test. Arrays end in (..., 3): R, G, B or X, Y, Z.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Pair = tuple[float, float]

D65: Pair = (0.3127, 0.3290)  # ITU-R BT.709-6
PRIMARIES: Mapping[str, tuple[Pair, Pair, Pair]] = {
    "bt709": ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)),  # ITU-R BT.709-6
    "bt2020": ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),  # ITU-R BT.2020-2
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),  # SMPTE RP 431-2
}
PQ_PEAK = 10_000.0  # cd/m², ITU-R BT.2100


def signal_of(codes: ArrayLike, encoding: str) -> Array:
    """Give the non-linear signal, 0 at black and 1 at white, not clipped (BT.2100, Table 9)."""
    kind, bits, span = encoding.split("-")
    if kind != "rgb":
        raise ValueError(f"{encoding}: only rgb encodings are simulated")
    values = np.asarray(codes, dtype=float)
    if span == "narrow":
        return (values / 2 ** (int(bits) - 8) - 16) / 219
    return values / (2 ** int(bits) - 1)


def codes_of(signal: ArrayLike, encoding: str) -> NDArray[np.int64]:
    """Give the nearest codes of a signal (BT.2100, Table 9)."""
    _, bits, span = encoding.split("-")
    values = np.asarray(signal, dtype=float)
    if span == "narrow":
        exact = (219 * values + 16) * 2 ** (int(bits) - 8)
    else:
        exact = (2 ** int(bits) - 1) * values
    return np.floor(exact + 0.5).astype(np.int64)


def bt1886(signal: ArrayLike, white: float, black: float, exponent: float = 2.4) -> Array:
    """Give cd/m² by ITU-R BT.1886, Annex 1, with another exponent if asked for."""
    top, bottom = white ** (1 / exponent), black ** (1 / exponent)
    gain = (top - bottom) ** exponent
    lift = bottom / (top - bottom)
    return gain * np.maximum(np.asarray(signal, dtype=float) + lift, 0) ** exponent


def srgb(signal: ArrayLike) -> Array:
    """Give linear light, 0 to 1, by IEC 61966-2-1."""
    value = np.asarray(signal, dtype=float)
    return np.where(
        value <= 0.04045, value / 12.92, ((np.maximum(value, 0) + 0.055) / 1.055) ** 2.4
    )


def pq(signal: ArrayLike) -> Array:
    """Give cd/m² by the PQ EOTF of ITU-R BT.2100 (SMPTE ST 2084)."""
    m1, m2 = 2610 / 16384, 2523 / 4096 * 128
    c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
    root = np.maximum(np.asarray(signal, dtype=float), 0) ** (1 / m2)
    return PQ_PEAK * (np.maximum(root - c1, 0) / (c2 - c3 * root)) ** (1 / m1)


def pq_signal(luminance: ArrayLike) -> Array:
    """Give the PQ signal of cd/m²: the inverse EOTF of ITU-R BT.2100."""
    m1, m2 = 2610 / 16384, 2523 / 4096 * 128
    c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
    power = (np.asarray(luminance, dtype=float) / PQ_PEAK) ** m1
    return ((c1 + c2 * power) / (1 + c3 * power)) ** m2


def hlg_scene(signal: ArrayLike) -> Array:
    """Give scene light, 0 to 1, by the inverse HLG OETF of ITU-R BT.2100."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    value = np.asarray(signal, dtype=float)
    return np.where(value <= 0.5, value**2 / 3, (np.exp((value - c) / a) + b) / 12)


def xyz_of(xyy: ArrayLike) -> Array:
    """Give X, Y, Z of Y, x, y."""
    luminance, x, y = np.moveaxis(np.asarray(xyy, dtype=float), -1, 0)
    return np.stack([luminance * x / y, luminance, luminance * (1 - x - y) / y], axis=-1)


def yxy_of(xyz: ArrayLike) -> Array:
    """Give Y, x, y of X, Y, Z; the sum must not be 0."""
    values = np.asarray(xyz, dtype=float)
    total = values.sum(axis=-1)
    return np.stack([values[..., 1], values[..., 0] / total, values[..., 1] / total], axis=-1)


def uv_of(xyz: ArrayLike) -> Array:
    """Give u', v' of X, Y, Z (CIE 15)."""
    x, y, z = np.moveaxis(np.asarray(xyz, dtype=float), -1, 0)
    below = x + 15 * y + 3 * z
    return np.stack([4 * x / below, 9 * y / below], axis=-1)


@cache
def channels(primaries: tuple[Pair, Pair, Pair], white: Pair) -> Array:
    """Give (3, 3): columns are X, Y, Z of full red, green, blue that add up to a white of Y 1."""
    columns = np.stack([xyz_of((1.0, *corner)) for corner in primaries], axis=-1)
    amounts = np.linalg.solve(columns, xyz_of((1.0, *white)))
    full = columns * amounts
    full.setflags(write=False)
    return full


@dataclass(frozen=True)
class Display:
    """A display whose light is the sum of its channels and of its black.

    `curve` is bt1886, power, srgb, pq or hlg. `white` and `black` are in cd/m² (for pq `white` is
    where the display clips). `black_kind`: `emitted` is the channels' own light at signal 0,
    inside the curve of BT.1886; `leak` is light of `leak_colour` on top of everything. `exponents`
    are the channels' own, for bt1886 and power, and the system gamma (the first) for hlg.
    `level_errors` maps a signal level to the factors of the three channels there, linear in
    between. `channel_gains` scale the full channels and so move the white.
    """

    encoding: str = "rgb-10-full"
    primaries: tuple[Pair, Pair, Pair] = PRIMARIES["bt709"]
    white_colour: Pair = D65
    container: tuple[Pair, Pair, Pair] | None = None
    curve: str = "bt1886"
    exponents: tuple[float, float, float] = (2.4, 2.4, 2.4)
    white: float = 100.0
    black: float = 0.05
    black_kind: str = "emitted"
    leak_colour: Pair = D65
    channel_gains: tuple[float, float, float] = (1.0, 1.0, 1.0)
    level_errors: Mapping[float, tuple[float, float, float]] = field(default_factory=dict)

    def xyz(self, codes: ArrayLike) -> Array:
        """Give the true X, Y, Z (..., 3) in cd/m² of codes (..., 3) of the display's encoding."""
        signal = np.clip(signal_of(codes, self.encoding), 0, 1)
        light = self._in_own_channels(self._light(signal)) * self._factors(signal)
        shown = light @ (channels(self.primaries, self.white_colour) * self.channel_gains).T
        if self.black_kind == "leak":
            shown = shown + xyz_of((self.black, *self.leak_colour))
        return shown

    def _light(self, signal: Array) -> Array:
        """Give cd/m² of the neutral of each channel's own drive, in the signal's primaries."""
        emitted = self.black if self.black_kind == "emitted" else 0.0
        top = self.white if self.black_kind == "emitted" else self.white - self.black
        if self.curve == "bt1886":
            parts = [bt1886(signal[..., i], top, emitted, e) for i, e in enumerate(self.exponents)]
            return np.stack(parts, axis=-1)
        if self.curve == "power":
            return emitted + (top - emitted) * signal ** np.array(self.exponents)
        if self.curve == "srgb":
            return emitted + (top - emitted) * srgb(signal)
        if self.curve == "pq":
            return np.clip(pq(signal), emitted, top)
        if self.curve == "hlg":
            return self._hlg(signal, top, emitted)
        raise ValueError(f"curve {self.curve}")

    def _hlg(self, signal: Array, top: float, emitted: float) -> Array:
        """Give the light of ITU-R BT.2100's HLG EOTF: the OOTF acts on luminance (note 5e)."""
        gamma = self.exponents[0]
        lift = np.sqrt(3 * (emitted / top) ** (1 / gamma))
        scene = hlg_scene(np.maximum(0, (1 - lift) * signal + lift))
        corners = self.container or self.primaries
        luminance = scene @ channels(corners, self.white_colour)[1]
        return top * luminance[..., None] ** (gamma - 1) * scene

    def _in_own_channels(self, light: Array) -> Array:
        """Turn light of the container's primaries into the display's channels, none negative."""
        if self.container is None:
            return light
        outer = channels(self.container, self.white_colour)
        inner = channels(self.primaries, self.white_colour)
        return np.maximum(light @ (np.linalg.inv(inner) @ outer).T, 0)

    def _factors(self, signal: Array) -> Array:
        """Give each channel's factor at its level of signal, 1 at both ends unless stated."""
        if not self.level_errors:
            return np.ones_like(signal)
        table = {0.0: (1.0, 1.0, 1.0), 1.0: (1.0, 1.0, 1.0), **self.level_errors}
        levels = sorted(table)
        parts = [
            np.interp(signal[..., i], levels, [table[level][i] for level in levels])
            for i in range(3)
        ]
        return np.stack(parts, axis=-1)

    def showing(self, wanted: Mapping[tuple[int, int, int], ArrayLike]) -> Display:
        """Give the display whose channels err by level so that these greys show these X, Y, Z.

        Only for greys strictly between black and white, with a display whose channels are its
        signal's. `wanted` maps codes to X, Y, Z in cd/m².
        """
        full = channels(self.primaries, self.white_colour) * self.channel_gains
        leak = xyz_of((self.black, *self.leak_colour)) if self.black_kind == "leak" else np.zeros(3)
        errors = dict(self.level_errors)
        for codes, xyz in wanted.items():
            signal = signal_of(codes, self.encoding)
            needed = np.linalg.solve(full, np.asarray(xyz, dtype=float) - leak)
            errors[float(signal[0])] = tuple(needed / self._light(signal))  # type: ignore[assignment]
        return replace(self, level_errors=errors)


def near(display: Display, generator: np.random.Generator) -> Display:
    """Give a display with the small errors that a calibration leaves (sizes are practice).

    White 1 %, black 8 %, exponents .4 % together and .1 % apart, white .0004 and primaries .001 in
    x and y, as standard deviations.
    """

    def moved(corner: Pair, size: float) -> Pair:
        x, y = np.asarray(corner) + generator.normal(0, size, 2)
        return float(x), float(y)

    red, green, blue = (moved(corner, 0.001) for corner in display.primaries)
    together = 1 + generator.normal(0, 0.004)
    apart = 1 + generator.normal(0, 0.001, 3)
    exponents = tuple(float(e) for e in np.asarray(display.exponents) * together * apart)
    return replace(
        display,
        primaries=(red, green, blue),
        white_colour=moved(display.white_colour, 0.0004),
        exponents=exponents,  # type: ignore[arg-type]
        white=display.white * float(1 + generator.normal(0, 0.01)),
        black=display.black * float(np.exp(generator.normal(0, 0.08))),
    )
