"""What a meter's certificate says of each reading, and what it leaves open."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.grading.match import MatchedReadings
from compliance.model import ChromaticityBand, LuminanceBand, RepeatabilityBand, Uncertainty

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Flags = NDArray[np.bool_]

ENOUGH_REPEATS = 4
"""With so many readings of one patch, their own scatter is the repeatability."""

DARK = 100.0
"""Times the meter's lowest luminance: below that its zero and last digit decide."""

BRIGHT = 1.0
"""cd/m² below which nothing is known of a meter that does not state its lowest luminance."""


Bands = Sequence[LuminanceBand | ChromaticityBand | RepeatabilityBand]


def band_of(bands: Bands, level: Array) -> Index:
    """(n,) index of the band of each level (n,) in cd/m²; below the first band, the first."""
    starts = np.array([band.start for band in bands])
    places = np.searchsorted(starts, level * (1 + 1e-12), side="right") - 1
    return np.maximum(places, 0).astype(np.int64)


def _covered(bands: Bands, level: Array) -> Flags:
    """(n,) whether the first band begins at or below each level; a first band from 0 has all."""
    if not bands:
        return np.zeros(len(level), dtype=np.bool_)
    return np.asarray((level * (1 + 1e-12) >= bands[0].start) | (bands[0].start == 0))


# ------------------------------------------------------------ repeatability


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard uncertainty of the repeatability of n patches or readings; NaN if not known."""

    luminance: Array
    """(n,) of Y in cd/m²"""
    xy: Array
    """(n, 2) of x and y"""


def scattered_patches(case: MatchedReadings) -> frozenset[int]:
    """Patches whose own repeats give the repeatability: enough of them, without a stated deviation,
    and not all alike."""
    stated = np.zeros(len(case.patches), dtype=np.bool_)
    stated[case.view.rows[case.deviation > 0]] = True
    enough = np.flatnonzero((case.patches.count >= ENOUGH_REPEATS) & ~stated)
    level = case.view.readings[:, 1]
    return frozenset(
        int(patch) for patch in enough if np.ptp(level[case.patches.readings_of(patch)]) > 0
    )


def spread_of_readings(
    case: MatchedReadings, meter: Uncertainty, scattered: Collection[int]
) -> Spread:
    """The spread of each reading: from its row, else its repeats, else the meter's file."""
    view = case.view
    rows = view.rows
    mean = np.abs(view.xyz[rows, 1])
    luminance, xy = _from_file(meter, mean)
    luminance = np.where(case.deviation > 0, case.deviation / 100 * mean, luminance)
    for patch in scattered:
        mine = case.patches.readings_of(patch)
        luminance[mine] = view.readings[mine, 1].std(ddof=1)
        own = np.nan_to_num(spaces.xyz_to_xy(view.readings[mine])).std(axis=0, ddof=1)
        xy[mine] = np.where(own > 0, own, xy[mine])
    return Spread(luminance, xy)


def spread_of_patches(case: MatchedReadings, single: Spread) -> Spread:
    """The spread of each patch's mean over its repeats."""
    count = case.patches.count
    luminance, xy = np.zeros(len(count)), np.zeros((len(count), 2))
    np.add.at(luminance, case.view.rows, single.luminance**2)
    np.add.at(xy, case.view.rows, single.xy**2)
    return Spread(np.sqrt(luminance) / count, np.sqrt(xy) / count[:, None])


def _from_file(meter: Uncertainty, level: Array) -> tuple[Array, Array]:
    """(n,) and (n, 2) standard repeatability of the file; NaN below its first band."""
    bands = meter.repeatability
    if not bands:
        return np.full(len(level), np.nan), np.full((len(level), 2), np.nan)
    band = band_of(bands, level)
    covered = np.where(_covered(bands, level), 1.0, np.nan)
    relative = np.array([each.relative for each in bands])[band] / 100 / meter.k
    xy = np.array([(each.x, each.y) for each in bands])[band] / meter.k
    return relative * level * covered, xy * covered[:, None]


# ------------------------------------------------------------ what is left open


@dataclass(frozen=True, slots=True)
class CertificateReach:
    """Of which of P patches the meter's file states all that a probability needs, by its keys.

    Whatever it leaves out makes a probability null, never better: the bands below the first;
    the repeatability; in the dark the zero, the last digit and the lowest luminance; of colours
    the error of their hue.
    """

    luminance: Mapping[str, Flags]
    """(P,) for each key of the file"""
    chromaticity: Mapping[str, Flags]

    @classmethod
    def of(cls, case: MatchedReadings, meter: Uncertainty, spread: Spread) -> CertificateReach:
        """The reach of a meter's file over the patches of a case."""
        level = case.view.xyz[:, 1]
        digit = np.ones(len(level), dtype=np.bool_)
        np.logical_and.at(digit, case.view.rows, case.resolution.known)
        neutral, hue = case.patches.neutral, meter.saturated
        lit = level >= (DARK * case.lowest or BRIGHT)
        luminance = {
            "luminance": _covered(meter.luminance, level),
            "repeatability": np.isfinite(spread.luminance),
            "dark": lit | (meter.dark is not None),
            "resolution": lit | digit,
            "lowest": (lit & (level >= BRIGHT)) | case.lowest_stated,
            "saturated.relative": neutral | (hue is not None and hue.relative is not None),
        }
        chromaticity = {
            "chromaticity": _covered(meter.chromaticity, level),
            "repeatability": np.isfinite(spread.xy).all(axis=1),
            "saturated": neutral | (hue is not None),
        }
        hidden = case.hidden_blacks & case.lowest_stated
        return cls(
            {key: np.asarray(flags | hidden) for key, flags in luminance.items()},
            {key: np.asarray(flags) for key, flags in chromaticity.items()},
        )

    def silent(self, lit: Sequence[int], coloured: Sequence[int]) -> tuple[str, ...]:
        """Keys that the file lacks for the luminances and chromaticities of patches."""
        keys = [key for key, known in self.luminance.items() if not known[list(lit)].all()]
        keys += [key for key, known in self.chromaticity.items() if not known[list(coloured)].all()]
        return tuple(dict.fromkeys(keys))
