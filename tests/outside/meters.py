"""Meters whose true errors are drawn from what their certificate states.

A certificate states sizes, not how errors of different levels go together: that is for each
simulation to choose (`Nature`). Sizes in a `Certificate` are expanded, U = k·u; all that is drawn
is drawn with u (JCGM 100, 6.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from outside.displays import Array, Pair, channels, uv_of, xyz_of, yxy_of

Band = tuple[float, float]
"""From which cd/m², and how much: % of luminance, or one figure for x and y."""


@dataclass(frozen=True)
class Certificate:
    """What a meter's certificate states; expanded with `k`. None: it says nothing of it."""

    k: float = 2.0
    luminance: tuple[Band, ...] = ((0.003, 4.0), (1.0, 2.0))
    linearity: float | None = None
    linearity_xy: float | None = None
    dark: float | None = 0.001
    resolution: float | None = 0.0001
    chromaticity: tuple[Band, ...] = ((0.1, 0.004), (5.0, 0.0015))
    saturated: tuple[float, float] | None = (0.002, 2.0)
    """In x and y; relative Y in %."""
    correlation: float | None = 0.3
    repeatability: tuple[tuple[float, float, float], ...] = (
        (0.003, 2.0, 0.002),
        (1.0, 0.3, 0.0003),
    )
    """From which cd/m²; % of luminance; x and y."""
    lowest: float | None = 0.003
    kind: str = "spectroradiometer"

    def text(self) -> str:
        """Give the meter file, YAML, that states these sizes."""
        lines = ["meter: simulated-1", f"kind: {self.kind}"]
        if self.kind == "colorimeter":
            lines.append("correction: {name: simulated, made_for: S-1, date: 2026-03-02}")
        lines += [
            "certificate: {number: S-1, issued: 2026-03-02, due: 2027-03-02}",
            "uncertainty:",
            f"  k: {self.k}",
            "  luminance:",
            *(f"    - {{from: {start}, relative: {size}}}" for start, size in self.luminance),
        ]
        linearity = {"relative": self.linearity, "xy": self.linearity_xy}
        stated = [f"{key}: {value}" for key, value in linearity.items() if value is not None]
        if stated:
            lines.append(f"  linearity: {{{', '.join(stated)}}}")
        if self.dark is not None:
            lines.append(f"  dark: {self.dark}")
        if self.resolution is not None:
            lines.append(f"  resolution: {self.resolution}")
        lines.append("  chromaticity:")
        lines += [f"    - {{from: {start}, x: {xy}, y: {xy}}}" for start, xy in self.chromaticity]
        if self.saturated is not None:
            xy, relative = self.saturated
            lines.append(f"  saturated: {{x: {xy}, y: {xy}, relative: {relative}}}")
        if self.correlation is not None:
            lines.append(f"  correlation: {{xy: {self.correlation}}}")
        if self.repeatability:
            lines.append("  repeatability:")
            lines += [
                f"    - {{from: {start}, relative: {relative}, x: {xy}, y: {xy}}}"
                for start, relative, xy in self.repeatability
            ]
        if self.lowest is not None:
            lines.append(f"lowest: {self.lowest}")
        return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class Nature:
    """How the errors of a meter really are: what its certificate leaves open.

    `decades` is the correlation length of errors over log10 of luminance, `kernel` exponential or
    squared-exponential. `varying` is the share of u of luminance that varies by level,
    `varying_xy` that of chromaticity; the rest is common to all levels. Where the certificate
    states a linearity, that is the varying part. `size` is how many times larger errors are than
    stated.
    """

    decades: float = 1.0
    kernel: str = "exponential"
    varying: float = 1.0
    varying_xy: float = 1 / 3
    size: float = 1.0


def step(bands: Sequence[tuple[float, ...]], luminance: ArrayLike, column: int = 1) -> Array:
    """Give the figure of the band that each luminance lies in; the first below the first."""
    starts = np.array([band[0] for band in bands])
    figures = np.array([band[column] for band in bands])
    place = np.searchsorted(starts, np.asarray(luminance, dtype=float), side="right") - 1
    return figures[np.maximum(place, 0)]


def covariance(levels: ArrayLike, decades: float, kernel: str) -> Array:
    """Give the correlation matrix of errors at these log10 of luminance."""
    points = np.asarray(levels, dtype=float)
    apart = np.abs(points[:, None] - points[None, :]) / decades
    if kernel == "exponential":
        return np.exp(-apart)
    if kernel == "squared-exponential":
        return np.exp(-(apart**2) / 2)
    raise ValueError(f"kernel {kernel}")


def process(
    levels: ArrayLike, nature: Nature, generator: np.random.Generator, count: int = 1
) -> Array:
    """Draw `count` unit Gaussian processes (count, level) at these log10 of luminance."""
    points = tuple(float(level) for level in np.asarray(levels))
    root = _root(points, nature.decades, nature.kernel)
    return generator.normal(size=(count, len(points))) @ root.T


@lru_cache(maxsize=4)
def _root(levels: tuple[float, ...], decades: float, kernel: str) -> Array:
    """Give a square root of the correlation matrix; many meters read one display."""
    values, vectors = np.linalg.eigh(covariance(levels, decades, kernel))
    root = vectors * np.sqrt(np.maximum(values, 0))
    root.setflags(write=False)
    return root


def read(
    true_xyz: Array,
    certificate: Certificate,
    nature: Nature,
    generator: np.random.Generator,
    *,
    primaries: tuple[Pair, Pair, Pair],
    white: Pair,
) -> Array:
    """Draw one meter of this certificate and read these colours (n, 3) with it, each once.

    `primaries` and `white` are the display's: they say which colours are saturated.
    """
    true = yxy_of(np.maximum(true_xyz, 1e-9))
    luminance = true[:, 0]
    scale = nature.size / certificate.k
    levels = np.log10(np.clip(luminance, 1e-5, 1e5))

    relative = scale * _luminance_part(luminance, levels, certificate, nature, generator)
    colour = scale * _chromaticity_part(luminance, levels, certificate, nature, generator)
    if certificate.saturated is not None:
        xy_size, y_size = certificate.saturated
        hues = generator.normal(size=(6, 3)) * (y_size / 100, xy_size, xy_size) * scale
        by_hue = hue_part(true_xyz, hues, primaries, white)
        relative, colour = relative + by_hue[:, 0], colour + by_hue[:, 1:]
    if certificate.repeatability:
        noise = generator.normal(size=(len(luminance), 3)) * scale
        relative = relative + noise[:, 0] * step(certificate.repeatability, luminance) / 100
        colour = colour + noise[:, 1:] * step(certificate.repeatability, luminance, 2)[:, None]

    read_xyz = xyz_of(np.column_stack([luminance * (1 + relative), true[:, 1:] + colour]))
    if certificate.dark is not None:
        read_xyz = read_xyz + generator.normal(size=3) * certificate.dark * scale
    return rounded(read_xyz, certificate.resolution)


def rounded(xyz: Array, resolution: float | None) -> Array:
    """Round Y to the last digit, X and Z with it: the colour is what was read."""
    if resolution is None:
        return xyz
    shown = np.round(xyz[..., 1:2] / resolution) * resolution
    safe = np.where(np.abs(xyz[..., 1:2]) < resolution / 2, 1.0, xyz[..., 1:2])
    return np.where(np.abs(xyz[..., 1:2]) < resolution / 2, xyz * 0.0, xyz * shown / safe)


def hue_part(
    true_xyz: Array, hues: Array, primaries: tuple[Pair, Pair, Pair], white: Pair
) -> Array:
    """Give errors (n, 3) of relative Y, x, y from those of red, yellow, green, cyan, blue, magenta.

    Linear in the hue angle of u'v' from one hue to the next and in the distance from white, up to
    each hue's own. (6, 3) are the errors of the full hues.
    """
    full = channels(primaries, white)
    corners = np.array([(1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 1, 1), (0, 0, 1), (1, 0, 1)])
    centre = uv_of(xyz_of((1.0, *white)))
    spokes = uv_of(corners @ full.T) - centre
    angles = np.unwrap(np.arctan2(spokes[:, 1], spokes[:, 0]))
    order = np.argsort(np.mod(angles, 2 * np.pi))
    known = np.mod(angles, 2 * np.pi)[order]
    reach = np.hypot(spokes[:, 0], spokes[:, 1])[order]
    offset = uv_of(np.maximum(true_xyz, 1e-9)) - centre
    angle = np.mod(np.arctan2(offset[:, 1], offset[:, 0]), 2 * np.pi)
    far = np.interp(angle, known, reach, period=2 * np.pi)
    weight = np.minimum(1, np.hypot(offset[:, 0], offset[:, 1]) / far)
    parts = [np.interp(angle, known, hues[order, i], period=2 * np.pi) for i in range(3)]
    return weight[:, None] * np.stack(parts, axis=-1)


def _luminance_part(
    luminance: Array,
    levels: Array,
    certificate: Certificate,
    nature: Nature,
    generator: np.random.Generator,
) -> Array:
    """Draw the relative error of each luminance, for sizes as stated (not divided by k)."""
    whole = step(certificate.luminance, luminance) / 100
    if certificate.linearity is not None:
        varying = np.minimum(whole, certificate.linearity / 100)
    else:
        varying = whole * nature.varying
    shape = process(levels, nature, generator)[0]
    return varying * shape + np.sqrt(whole**2 - varying**2) * generator.normal()


def _chromaticity_part(
    luminance: Array,
    levels: Array,
    certificate: Certificate,
    nature: Nature,
    generator: np.random.Generator,
) -> Array:
    """Draw the errors (n, 2) of x and y, correlated as stated, for sizes as stated."""
    whole = step(certificate.chromaticity, luminance)
    if certificate.linearity_xy is not None:
        varying = np.minimum(whole, certificate.linearity_xy)
    else:
        varying = whole * nature.varying_xy
    together = certificate.correlation or 0.0
    mix = np.linalg.cholesky(np.array([[1, together], [together, 1]]))
    by_level = (mix @ process(levels, nature, generator, 2)).T
    common = mix @ generator.normal(size=2)
    return varying[:, None] * by_level + np.sqrt(whole**2 - varying**2)[:, None] * common


SPECTRORADIOMETER = Certificate()
FILTER = Certificate(
    luminance=((0.0005, 10.0), (0.01, 4.0), (1.0, 3.0)),
    dark=0.0003,
    resolution=0.0001,
    chromaticity=((0.05, 0.006), (1.0, 0.0015)),
    saturated=(0.0015, 3.0),
    correlation=0.2,
    repeatability=((0.0005, 4.0, 0.004), (1.0, 0.2, 0.0003)),
    lowest=0.0005,
    kind="colorimeter",
)
ONE_FIGURE = replace(SPECTRORADIOMETER, luminance=((0.003, 4.0),), chromaticity=((0.05, 0.002),))
"""A certificate that states one figure for all levels: it leaves most open."""
