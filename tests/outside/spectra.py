"""Panels by their spectra: three primaries and the light that leaks, 380 to 780 nm in 1 nm.

Own panels are invented: Gaussians and filter edges such as the textbooks have (Lee, Liu, Wu,
Introduction to Flat Panel Displays, 2008 (memory)); two sets of measured primaries come
from colour-science, taken by their place in its table. Integration is CIE 15: sums over 1 nm with
the CIE 1931 2° functions. Spectra are arrays (..., wavelength) in any unit of radiance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from helpers.outside_tools import colour

from outside.displays import Array, Pair, channels, yxy_of
from outside.ideal import Corners, Target

WAVELENGTHS: Array = np.arange(380.0, 781.0)
"""nm."""
LUMINOUS = 683.0  # lm/W, CIE 15


@cache
def observer() -> Array:
    """Give x̄, ȳ, z̄ (3, wavelength) of CIE 1931 2°, from colour-science's table of 1 nm."""
    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    columns = [np.interp(WAVELENGTHS, table.wavelengths, column) for column in table.values.T]
    return np.stack(columns)


def xyz_of_spectra(spectra: Array) -> Array:
    """Give X, Y, Z (..., 3) of radiances (..., wavelength) per nm."""
    return np.asarray(LUMINOUS * spectra @ observer().T)


def peak(centre: float, width: float, tail: float = 0.0) -> Array:
    """Give a Gaussian of a full width at half maximum, with a longer tail to the red."""
    sigma = width / 2.3548
    wide = np.where(centre < WAVELENGTHS, sigma * (1 + tail), sigma)
    return np.exp(-(((WAVELENGTHS - centre) / wide) ** 2) / 2)


def edge(centre: float, steepness: float, *, rising: bool = True) -> Array:
    """Give a filter edge, half at the centre; steepness in nm from 27 % to 73 %, halved."""
    sign = 1 if rising else -1
    return np.asarray(1 / (1 + np.exp(-sign * (WAVELENGTHS - centre) / steepness)))


def band(low: float, high: float, steepness: float, stop: float = 0.0) -> Array:
    """Give a filter's band between two edges, with what it lets through elsewhere."""
    return stop + (1 - stop) * edge(low, steepness) * edge(high, steepness, rising=False)


@dataclass(frozen=True, eq=False)
class Spectral:
    """A panel's light: spectra of full red, green, blue (3, wavelength) and of its leak."""

    name: str
    technology: str
    """As in the job file."""
    kinds: tuple[str, ...]
    """Names of the kinds of `kinds.py` whose contrast, screen and loading it has."""
    primaries: Array
    leak: Array
    power: tuple[float, float, float] = (0.3, 0.35, 0.35)
    """Share of the supply that each channel takes in a full white."""

    @cached_property
    def matrix(self) -> Array:
        """Columns X, Y, Z of full red, green, blue; white at Y 1."""
        columns = xyz_of_spectra(self.primaries).T
        return np.asarray(columns / columns[1].sum())

    @cached_property
    def corners(self) -> Corners:
        """Chromaticities x, y of the native primaries."""
        found = yxy_of(self.matrix.T)[:, 1:]
        red, green, blue = ((float(x), float(y)) for x, y in found)
        return red, green, blue

    @property
    def white(self) -> Pair:
        """Chromaticity x, y of the native white: full red, green and blue."""
        _, x, y = yxy_of(self.matrix.sum(axis=1))
        return float(x), float(y)

    @cached_property
    def scaled(self) -> tuple[Array, Array]:
        """Spectra whose white has Y 1 and the leak's with Y 1, for 683 lm/W."""
        total = xyz_of_spectra(self.primaries)[:, 1].sum()
        return self.primaries / total, self.leak / xyz_of_spectra(self.leak)[1]

    def contains(self, target: Target, slack: float = 0.008) -> bool:
        """Say whether the target's primaries lie within the native ones.

        `slack` is a share of a full channel: the red of P3 is on the spectral locus (x + y = 1), so
        that no real red contains it.
        """
        wanted = channels(target.primaries, target.white_xy)
        shares = np.linalg.solve(self.matrix, wanted)
        return bool(shares.min() >= -slack * shares.max())


def _white_led() -> Spectral:
    """Give an LCD with blue-pumped phosphors (green, and red in narrow lines)."""
    lines = peak(613, 7) * 0.5 + peak(631, 7) + peak(636, 6) * 0.35 + peak(648, 7) * 0.3
    light = peak(453, 19, 0.3) * 1.6 + peak(533, 48, 0.25) * 0.75 + 1.7 * lines
    filters = np.stack(
        [
            band(590, 900, 5, 0.0005),
            band(494, 574, 7, 0.0005),
            band(300, 499, 7, 0.0005),
        ]
    )
    return Spectral(
        "white-led", "lcd", ("lcd", "dual-layer"), filters * light, light * peak(460, 300)
    )


def _phosphor_led() -> Spectral:
    """Give an LCD with one broad yellow phosphor: about the gamut of BT.709."""
    light = peak(455, 21, 0.3) * 1.5 + peak(552, 105, 0.35)
    filters = np.stack(
        [
            band(594, 900, 5, 0.0005),
            band(499, 574, 7, 0.0005),
            band(300, 497, 6, 0.0005),
        ]
    )
    return Spectral("phosphor-led", "lcd", ("lcd", "dual-layer"), filters * light, light)


def _quantum_dots() -> Spectral:
    """Give an LCD with a blue LED and two narrow quantum dots behind filters that overlap."""
    light = peak(455, 20) * 1.5 + peak(533, 30, 0.1) + peak(636, 30, 0.1) * 1.2
    filters = np.stack(
        [
            band(585, 900, 5, 0.0005),
            band(494, 580, 6, 0.0005),
            band(300, 500, 7, 0.0005),
        ]
    )
    return Spectral("quantum-dots", "lcd", ("lcd", "dual-layer"), filters * light, light)


def _cavity_oled() -> Spectral:
    """Give an OLED of three emitters, narrowed by their cavities, a little of each in another."""
    red = peak(624, 30, 0.5) + 0.003 * peak(525, 30)
    green = peak(526, 27, 0.45)
    blue = peak(460, 17, 0.7)
    spectra = np.stack([red, green * 0.9, blue])
    power = (0.25, 0.3, 0.45)
    return Spectral("cavity-oled", "oled", ("oled",), spectra, spectra.sum(axis=0), power)


def _white_oled() -> Spectral:
    """Give an OLED of a white stack behind filters."""
    light = peak(457, 20, 0.5) * 1.4 + peak(530, 34, 0.5) * 0.9 + peak(624, 36, 0.4) * 1.2
    filters = np.stack(
        [
            band(600, 900, 4, 0.0003),
            band(500, 566, 6, 0.0003),
            band(300, 488, 6, 0.0003),
        ]
    )
    return Spectral("white-oled", "oled", ("white-subpixel",), filters * light, light)


def _laser() -> Spectral:
    """Give a projector with lasers of two lines each, to tame speckle."""
    red = peak(637, 2.5) + 0.8 * peak(643, 2.5)
    green = peak(524, 2.5) + 0.7 * peak(530, 2.5)
    blue = peak(463, 2.5) + 0.6 * peak(466, 2.5)
    spectra = np.stack([red * 1.6, green * 1.2, blue])
    return Spectral("laser", "projector", ("projector",), spectra, spectra.sum(axis=0))


def _xenon() -> Spectral:
    """Give a projector with a xenon lamp, dichroic bands and a notch in the yellow."""
    lamp = 1 + 0.12 * peak(467, 12) + 0.05 * np.sin((WAVELENGTHS - 380) / 23)
    notch = 1 - 0.99 * band(568, 604, 2)
    spectra = (
        np.stack([band(603, 690, 3), band(505, 566, 3), band(425, 491, 4)]) * lamp * notch
    ) + 2e-5 * lamp
    return Spectral("xenon", "projector", ("projector",), spectra, lamp * notch)


def _measured() -> Iterator[Spectral]:
    """Give the measured primaries of colour-science's table, by their place in it."""
    for place, table in enumerate(colour.MSDS_DISPLAY_PRIMARIES.values()):
        spectra = np.stack(
            [
                np.interp(WAVELENGTHS, table.wavelengths, np.maximum(column, 0))
                for column in table.values.T
            ]
        )
        yield Spectral(
            f"measured-{place + 1}", "lcd", ("lcd", "dual-layer"), spectra, spectra.sum(axis=0)
        )


@cache
def panels() -> dict[str, Spectral]:
    """Give all panels by name."""
    own = (
        _white_led(),
        _phosphor_led(),
        _quantum_dots(),
        _cavity_oled(),
        _white_oled(),
        _laser(),
        _xenon(),
    )
    return {panel.name: panel for panel in (*own, *_measured())}
