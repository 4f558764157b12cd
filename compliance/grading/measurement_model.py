"""Draws of a slot's readings from the meter's certificate (JCGM 101).

Four parts, each with its own normal draws: a part shared by all readings, a part shared by the
readings of one level band, an additive dark part, and the repeatability of
each reading. Nothing is clipped or redrawn, so a dark X, Y or Z may be negative.
The stream is `numpy.random.RandomState` over Philox, keyed by seed and part: the
same input and seed give the same draws, for any size of chunks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.grading.match import MatchedReadings
from compliance.grading.patches import HUES
from compliance.model import ChromaticityBand, LuminanceBand, RepeatabilityBand, Uncertainty
from compliance.quantities.measured import Measured

Array = NDArray[np.float64]
Index = NDArray[np.int64]

CORRELATIONS = (0.0, -0.9, 0.9)
"""Of x and y, all tried if the meter's is not known."""

LEAST_Y = 0.02
"""Chromaticity y below which a dark reading's x, y are noise and are not drawn."""

ENOUGH_REPEATS = 4
"""With so many readings of one patch, their own scatter is the repeatability."""

CHUNK = 200_000
"""Patches times draws held in memory at once."""

COMMON, DARK, COMMON_XY, PATCHES, READINGS = 1, 2, 3, 4, 5
LEVEL_BANDS, XY_BANDS, HUE, SCATTER = 100, 200, 300, 1000
"""Parts of the stream; to the larger ones the number of the band, hue or patch is added."""


def _stream(seed: int, part: int) -> np.random.RandomState:
    key = np.array([seed, part], dtype=np.uint64)
    return np.random.RandomState(np.random.Philox(key=key))


@lru_cache(maxsize=40)
def _normal(seed: int, part: int, count: int, columns: int) -> Array:
    """(count, columns) unit normals of a part, drawn once for all readings; read-only."""
    normal = _stream(seed, part).standard_normal((count, columns))
    normal.setflags(write=False)
    return normal


def band_of(
    bands: Sequence[LuminanceBand | ChromaticityBand | RepeatabilityBand], level: Array
) -> Index:
    """(n,) index of the band of each level (n,) in cd/m²; below the first band, the first."""
    starts = np.array([band.start for band in bands])
    places = np.searchsorted(starts, level * (1 + 1e-12), side="right") - 1
    return np.maximum(places, 0).astype(np.int64)


class Spread(NamedTuple):
    """Standard uncertainty of the repeatability of n patches or readings."""

    luminance: Array
    """(n,) of Y in cd/m²; NaN if not known"""
    xy: Array
    """(n, 2) of x and y; NaN if not known"""

    def at(self, index: Index) -> Spread:
        """The spread of some of them."""
        return Spread(self.luminance[index], self.xy[index])


class Draws:
    """Any number of drawn copies of one slot's readings."""

    def __init__(
        self,
        case: MatchedReadings,
        uncertainty: Uncertainty,
        *,
        count: int,
        seed: int,
        own_scatter: bool = True,
    ) -> None:
        """`own_scatter`: enough repeats give their own repeatability."""
        self._scattered = _scattered(case) if own_scatter else []
        self.case = case
        self.count = count
        self._seed = seed
        self._meter = uncertainty
        self._xyz = case.view.xyz
        self.readings = _reading_spread(case, uncertainty, self._scattered)
        self.patches = _patch_spread(case, self.readings)
        self.correlations = (
            CORRELATIONS if uncertainty.correlation is None else (uncertainty.correlation,)
        )

    @property
    def chromatic(self) -> bool:
        """Whether the meter's file states anything about chromaticity."""
        return bool(self._meter.chromaticity)

    def views(
        self, means: Iterable[int], single: Iterable[int] = ()
    ) -> Iterator[tuple[Measured, ...]]:
        """Chunks of drawn views, one for each correlation, all of the same underlying draws.

        `means` are the patches that are drawn; for those in `single` the readings before averaging
        are drawn too, which only stability needs. All others stay as measured.
        """
        drawn_patches = np.unique(np.fromiter(means, dtype=np.int64))
        size = max(1, CHUNK // max(1, len(self._xyz)))
        patches = _stream(self._seed, PATCHES)
        readings = _stream(self._seed, READINGS)
        shared = _Shared(self.case, self._meter, self.count, self._seed)
        scatter = self._scatter()
        repeated = np.fromiter(single, dtype=np.int64)
        rows = np.flatnonzero(np.isin(self.case.view.rows, repeated))
        for start in range(0, self.count, size):
            part = slice(start, min(start + size, self.count))
            drawn = part.stop - part.start
            own = patches.standard_normal((drawn, len(drawn_patches), 3))
            for patch, values in scatter.items():
                own[:, drawn_patches == patch] = values[part][:, None]
            apart = readings.standard_normal((drawn, len(rows), 3))
            yield tuple(
                self._view(shared, part, (drawn_patches, own), (rows, apart), correlation)
                for correlation in self.correlations
            )

    def _scatter(self) -> dict[int, Array]:
        """Student draws for patches that take the repeatability from their own repeats."""
        return {
            patch: _stream(self._seed, SCATTER + patch).standard_t(
                int(self.case.patches.count[patch]) - 1, (self.count, 3)
            )
            for patch in self._scattered
        }

    def _view(
        self,
        shared: _Shared,
        part: slice,
        means: tuple[Index, Array],
        single: tuple[Index, Array],
        correlation: float,
    ) -> Measured:
        view = self.case.view
        patches, own = means
        xyz = np.repeat(view.xyz[None], len(own), axis=0)
        levels = view.xyz[patches]
        xyz[:, patches] = shared.drawn(
            levels, levels, self.patches.at(patches), own, part, correlation
        )
        rows, apart = single
        if not len(rows):
            return view._replace(xyz=xyz)
        readings = np.repeat(view.readings[None], len(own), axis=0)
        readings[:, rows] = shared.drawn(
            view.readings[rows],
            view.xyz[view.rows[rows]],
            self.readings.at(rows),
            apart,
            part,
            correlation,
        )
        return view._replace(xyz=xyz, readings=readings)


class _Shared:
    """The parts that readings share, drawn once for all of them."""

    def __init__(self, case: MatchedReadings, meter: Uncertainty, count: int, seed: int) -> None:
        self._case = case
        self._meter = meter
        self._floor = case.chromaticity_floor

        def normal(part: int, columns: int) -> Array:
            return _normal(seed, part, count, columns)

        self._common = normal(COMMON, 1)[:, 0]
        self._dark = normal(DARK, 3) * meter.dark / meter.k
        self._levels = [normal(LEVEL_BANDS + band, 1)[:, 0] for band in range(len(meter.luminance))]
        self._common_xy = normal(COMMON_XY, 2)
        self._xy = [normal(XY_BANDS + band, 2) for band in range(len(meter.chromaticity))]
        self._hues = np.stack([normal(HUE + hue, 2) for hue in range(len(HUES))], axis=1)

    def drawn(
        self,
        xyz: Array,
        levels: Array,
        spread: Spread,
        own: Array,
        part: slice,
        correlation: float,
    ) -> Array:
        """(draws, n, 3) copies of `xyz` (n, 3).

        `levels` (n, 3) is the mean that decides bands and hues, `own` (draws, n, 3) the
        part of each alone, in Y, x and y.
        """
        factor = 1 + self._relative(levels[:, 1], part)
        scatter = np.nan_to_num(spread.luminance) * own[..., 0]
        result = np.asarray(xyz * factor[..., None] + scatter[..., None])
        zero = self._dark[part, None, :]
        if self._meter.chromaticity:
            xy = spaces.xyz_to_xy(xyz)
            coloured = np.isfinite(xy).all(axis=1) & (xy[:, 1] > LEAST_Y) & (xyz[:, 1] > 0)
            offset = self._offsets(levels[coloured], part, correlation)
            offset += np.nan_to_num(spread.xy[coloured]) * own[:, coloured, 1:]
            lit = levels[coloured, 1] >= self._floor
            luminance = result[:, coloured, 1] + np.where(lit, zero[..., 1], 0.0)
            result[:, coloured] = spaces.xy_to_xyz(xy[coloured] + offset, luminance)
            seen = np.flatnonzero(coloured)[lit]
            zero = np.repeat(zero, len(xyz), axis=1)
            zero[:, seen] = 0.0
        return result + zero

    def _relative(self, level: Array, part: slice) -> Array:
        """(draws, n) relative deviation of Y that readings share, common and by band."""
        bands = self._meter.luminance
        u = np.array([band.relative for band in bands]) / 100 / self._meter.k
        extra = np.sqrt(u**2 - u.min() ** 2)
        band = band_of(bands, level)
        levels = np.stack([draws[part] for draws in self._levels], axis=1)
        return np.asarray(u.min() * self._common[part, None] + (extra * levels)[:, band])

    def _offsets(self, xyz: Array, part: slice, correlation: float) -> Array:
        """(draws, n, 2) deviation of x and y that readings share: common, by band, by hue."""
        bands = self._meter.chromaticity
        u = np.array([(band.x, band.y) for band in bands]) / self._meter.k
        extra = np.sqrt(u**2 - u.min(axis=0) ** 2)
        band = band_of(bands, xyz[:, 1])
        common = _correlated(self._common_xy[part], correlation) * u.min(axis=0)
        banded = np.stack(
            [_correlated(draws[part], correlation) * extra[i] for i, draws in enumerate(self._xy)],
            axis=1,
        )
        offset = common[:, None, :] + banded[:, band]
        if self._meter.saturated is not None:
            hue, weight = self._nearest_hue(xyz)
            size = np.array(self._meter.saturated) / self._meter.k
            hues = _correlated(self._hues[part], correlation) * size
            offset = offset + hues[:, hue] * weight[:, None]
        return np.asarray(offset)

    def _nearest_hue(self, xyz: Array) -> tuple[Index, Array]:
        """(n,) hue of the target nearest by u'v' angle, and the patch's distance from white as a
        share of that hue's, 0 to 1."""
        model = self._case.plan.model
        white = spaces.xyz_to_uv(model.white_xyz)
        pure = np.array(list(HUES.values()), dtype=np.float64) @ model.from_target.T
        out = spaces.xyz_to_uv(pure) - white
        away = spaces.xyz_to_uv(xyz) - white
        turn = np.arctan2(away[:, 1], away[:, 0])[:, None] - np.arctan2(out[:, 1], out[:, 0])
        hue = np.abs((turn + np.pi) % (2 * np.pi) - np.pi).argmin(axis=1)
        reach = np.hypot(out[:, 0], out[:, 1])[hue]
        return hue.astype(np.int64), np.minimum(1.0, np.hypot(away[:, 0], away[:, 1]) / reach)


def _correlated(normal: Array, correlation: float) -> Array:
    """(..., 2) unit normals, the second with a given correlation to the first."""
    other = correlation * normal[..., 0] + np.sqrt(1 - correlation**2) * normal[..., 1]
    return np.stack([normal[..., 0], other], axis=-1)


# ------------------------------------------------------------ repeatability


def _scattered(case: MatchedReadings) -> list[int]:
    """Patches with enough repeats, and without a stated deviation of their own."""
    stated = np.zeros(len(case.patches), dtype=np.bool_)
    stated[case.view.rows[~np.isnan(case.deviation)]] = True
    enough = (case.patches.count >= ENOUGH_REPEATS) & ~stated
    return [int(patch) for patch in np.flatnonzero(enough)]


def _reading_spread(case: MatchedReadings, meter: Uncertainty, scattered: Sequence[int]) -> Spread:
    """The spread of each reading: from its row, else its repeats, else the meter's file."""
    view = case.view
    rows = view.rows
    mean = np.abs(view.xyz[rows, 1])
    spread = _from_file(meter, mean)
    luminance = np.where(np.isnan(case.deviation), spread.luminance, case.deviation / 100 * mean)
    xy = spread.xy
    for patch in scattered:
        mine = rows == patch
        luminance[mine] = view.readings[mine, 1].std(ddof=1)
        xy[mine] = np.nan_to_num(spaces.xyz_to_xy(view.readings[mine])).std(axis=0, ddof=1)
    return Spread(luminance, xy)


def _patch_spread(case: MatchedReadings, single: Spread) -> Spread:
    """The spread of each patch's mean over its repeats."""
    count = case.patches.count
    luminance, xy = np.zeros(len(count)), np.zeros((len(count), 2))
    np.add.at(luminance, case.view.rows, single.luminance**2)
    np.add.at(xy, case.view.rows, single.xy**2)
    return Spread(np.sqrt(luminance) / count, np.sqrt(xy) / count[:, None])


def _from_file(meter: Uncertainty, level: Array) -> Spread:
    bands = meter.repeatability
    if not bands:
        return Spread(np.full(len(level), np.nan), np.full((len(level), 2), np.nan))
    band = band_of(bands, level)
    relative = np.array([each.relative for each in bands])[band] / 100 / meter.k
    xy = np.array([(each.x, each.y) for each in bands])[band] / meter.k
    return Spread(relative * level, xy)
