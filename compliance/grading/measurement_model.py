"""Draws of a slot's readings from the meter's certificate (JCGM 101:2008).

Each part has its own normal draws: the level, a random function of luminance; the zero of the
session; chromaticity, in part a random function too; one error for each saturated hue; the
repeatability of each reading; its last digit. Nothing is clipped, so a dark X, Y or Z may be
negative; only a black below the meter's lowest luminance is drawn from 0 to that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.grading.certificate import (
    CertificateReach,
    band_of,
    scattered_patches,
    spread_of_patches,
    spread_of_readings,
)
from compliance.grading.level_process import LevelProcess
from compliance.grading.match import MatchedReadings
from compliance.grading.patches import HUES
from compliance.grading.streams import part_of, shared_normals, stream
from compliance.model import Uncertainty
from compliance.quantities.measured import Measured

Array = NDArray[np.float64]
Index = NDArray[np.int64]

CORRELATIONS = (0.0, -0.9, 0.9)
"""Of x and y, all tried if the meter's is not known."""

LEAST_Y = 0.02
"""Chromaticity y below which a dark reading's x, y are noise and are not drawn."""

CHUNK = 200_000
"""Patches times draws held in memory at once."""

VARYING = 1 / 3
"""Share of the uncertainty of x and y that differs from level to level (practice)."""

LEVEL, COMMON, DARK, LEVEL_X, LEVEL_Y, COMMON_XY = 1, 2, 3, 4, 5, 6
HUE = 300
"""Parts of the stream; to the last the number of the hue is added."""


def correlations(uncertainty: Uncertainty) -> tuple[float, ...]:
    """Return the correlations of x and y that are tried: the meter's, if it is known."""
    return CORRELATIONS if uncertainty.correlation is None else (uncertainty.correlation,)


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
        self.case = case
        self.count = count
        self._seed = seed
        self._meter = uncertainty
        self._scattered = scattered_patches(case) if own_scatter else frozenset[int]()
        self._of_readings = spread_of_readings(case, uncertainty, self._scattered)
        self._of_patches = spread_of_patches(case, self._of_readings)
        self.reach = CertificateReach.of(case, uncertainty, self._of_patches)
        self.correlations = correlations(uncertainty)

    def views(
        self, means: Iterable[int], single: Iterable[int] = ()
    ) -> Iterator[tuple[Measured, ...]]:
        """Chunks of drawn views, one for each correlation, all of the same underlying draws.

        `means` are the patches that are drawn; for those in `single` the readings before averaging
        are drawn too, which only stability needs. All others stay as measured.
        """
        view = self.case.view
        drawn = np.unique(np.fromiter(means, dtype=np.int64))
        repeated = np.fromiter(single, dtype=np.int64)
        rows = np.flatnonzero(np.isin(view.rows, repeated)).astype(np.int64)
        shared = _Shared(self.case, self._meter, self.count, self._seed)
        patches = [self._own_of_patch(int(patch)) for patch in drawn]
        readings = self._own_of_readings(rows)
        hidden = drawn[self.case.hidden_blacks[drawn]].tolist()
        blacks = {patch: stream(self._seed, self._part(patch, "black")) for patch in hidden}
        size = max(1, CHUNK // max(1, len(view.xyz), len(view.readings) if len(rows) else 0))
        for start in range(0, self.count, size):
            part = slice(start, min(start + size, self.count))
            length = part.stop - part.start
            of_patches, of_readings = _stacked(patches, length), _stacked(readings, length)
            black = {patch: random.uniform(size=length) for patch, random in blacks.items()}
            yield tuple(
                self._view(
                    shared, part, (drawn, of_patches), (rows, of_readings), black, correlation
                )
                for correlation in self.correlations
            )

    def _view(
        self,
        shared: _Shared,
        part: slice,
        means: tuple[Index, _Own],
        single: tuple[Index, _Own],
        black: dict[int, Array],
        correlation: float,
    ) -> Measured:
        view = self.case.view
        patches, own = means
        xyz = np.repeat(view.xyz[None], part.stop - part.start, axis=0)
        levels = view.xyz[patches]
        xyz[:, patches] = shared.drawn(levels, patches, own, part, correlation)
        for patch, share in black.items():
            luminance = self.case.lowest * share
            xyz[:, patch] = luminance[:, None] * view.model.white_xyz
        drawn = view._replace(xyz=xyz, black_drawn=True)
        rows, apart = single
        if not len(rows):
            return drawn
        readings = np.repeat(view.readings[None], len(xyz), axis=0)
        readings[:, rows] = shared.drawn(
            view.readings[rows], view.rows[rows], apart, part, correlation
        )
        return drawn._replace(readings=readings)

    # -- what belongs to one patch or reading alone

    def _part(self, patch: int, *more: object) -> int:
        """The part of the stream of a patch: the same whatever else was measured."""
        patches = self.case.patches
        stimulus = patches.stimulus[patch]
        return part_of(
            self.case.plan.encoding.name,
            patches.triple(patch),
            stimulus.position,
            stimulus.window,
            stimulus.pattern,
            stimulus.background,
            stimulus.seconds,
            *more,
        )

    def _own_of_patch(self, patch: int) -> _OwnStream:
        """The draws of the mean of a patch's readings."""
        rows = self._rows_of(patch)
        kinds = self._kinds_of(rows)
        freedom = len(rows) - 1 if patch in self._scattered else None
        return _OwnStream(
            random=stream(self._seed, self._part(patch)),
            freedom=freedom,
            luminance=float(np.nan_to_num(self._of_patches.luminance[patch])),
            xy=np.nan_to_num(self._of_patches.xy[patch]),
            digits=[
                (self._digits(patch, place), self._step(int(rows[kinds == place][0])) * share)
                for place, share in enumerate(np.bincount(kinds) / len(rows))
            ],
        )

    def _own_of_readings(self, rows: Index) -> list[_OwnStream]:
        """The draws of single readings, each numbered within its patch."""
        own = []
        for patch in dict.fromkeys(int(patch) for patch in self.case.view.rows[rows]):
            mine = self._rows_of(patch)
            for occurrence, (row, kind) in enumerate(zip(mine, self._kinds_of(mine), strict=True)):
                own.append(
                    _OwnStream(
                        random=stream(self._seed, self._part(patch, occurrence)),
                        freedom=None,
                        luminance=float(np.nan_to_num(self._of_readings.luminance[row])),
                        xy=np.nan_to_num(self._of_readings.xy[row]),
                        digits=[(self._digits(patch, int(kind)), self._step(int(row)))],
                    )
                )
        return own

    def _rows_of(self, patch: int) -> Index:
        """(n,) the readings of a patch."""
        mine = self.case.patches.readings_of(patch)
        return np.arange(mine.start, mine.stop, dtype=np.int64)

    def _kinds_of(self, rows: Index) -> Index:
        """(n,) number of each of a patch's readings among those that differ; equal ones share the
        error of their last digit."""
        _, kinds = np.unique(self.case.view.readings[rows], axis=0, return_inverse=True)
        return np.asarray(kinds, dtype=np.int64).reshape(-1)

    def _digits(self, patch: int, kind: int) -> np.random.RandomState:
        return stream(self._seed, self._part(patch, "digit", kind))

    def _step(self, row: int) -> Array:
        """(3,) last digit of X, Y, Z of a reading in cd/m²."""
        xyz = self.case.view.readings[row]
        resolution = self.case.resolution
        step = float(resolution.step[row])
        if not resolution.known[row]:
            step = max(step, self.case.lowest)
        if resolution.apart[row] or xyz[1] <= 0:
            return np.full(3, step)
        return np.asarray(step * xyz / xyz[1])


class _Own(NamedTuple):
    """The draws of n patches or readings alone, in cd/m² and in x, y."""

    luminance: Array
    """(draws, n)"""
    xy: Array
    """(draws, n, 2)"""
    digits: Array
    """(draws, n, 3) of X, Y, Z"""


class _OwnStream(NamedTuple):
    """The stream of one patch or reading."""

    random: np.random.RandomState
    freedom: int | None
    """Degrees of freedom, if its own repeats give the repeatability"""
    luminance: float
    xy: Array
    digits: list[tuple[np.random.RandomState, Array]]
    """The last digits of its different readings, and their step times their share of the mean"""

    def draw(self, length: int) -> tuple[Array, Array, Array]:
        """(length,), (length, 2) and (length, 3)"""
        if self.freedom is None:
            unit = self.random.standard_normal((length, 3))
        else:
            unit = self.random.standard_t(self.freedom, (length, 3))
        digits = np.zeros((length, 3))
        for random, step in self.digits:
            digits += self._rounded(random, step, length)
        return unit[:, 0] * self.luminance, unit[:, 1:] * self.xy, digits

    @staticmethod
    def _rounded(random: np.random.RandomState, step: Array, length: int) -> Array:
        """Uniform errors of a last digit; without one of their own, X and Z follow Y."""
        errors = random.uniform(-0.5, 0.5, (length, 3))
        if not (step == step[1]).all():
            errors = errors[:, 1:2]
        return np.asarray(errors * step)


def _stacked(streams: list[_OwnStream], length: int) -> _Own:
    drawn = [each.draw(length) for each in streams]
    if not drawn:
        return _Own(np.empty((length, 0)), np.empty((length, 0, 2)), np.empty((length, 0, 3)))
    luminance, xy, digits = (np.stack(some, axis=1) for some in zip(*drawn, strict=True))
    return _Own(luminance, xy, digits)


class _Shared:
    """The parts that readings share, drawn once for all of them."""

    def __init__(self, case: MatchedReadings, meter: Uncertainty, count: int, seed: int) -> None:
        self._case = case
        self._meter = meter
        self._level = LevelProcess(seed, LEVEL, count)
        self._common = shared_normals(seed, COMMON, count, 1)[:, 0]
        dark = case.lowest if meter.dark is None else meter.dark
        self._dark = shared_normals(seed, DARK, count, 3) * dark / meter.k
        if meter.chromaticity:
            self._level_x = LevelProcess(seed, LEVEL_X, count)
            self._level_y = LevelProcess(seed, LEVEL_Y, count)
        self._common_xy = shared_normals(seed, COMMON_XY, count, 2)
        hues = [shared_normals(seed, HUE + hue, count, 3) for hue in range(len(HUES))]
        self._hues = np.stack(hues, axis=1)

    def drawn(
        self, xyz: Array, patches: Index, own: _Own, part: slice, correlation: float
    ) -> Array:
        """(draws, n, 3) copies of `xyz` (n, 3), readings of `patches` (n,) or their means."""
        levels = self._case.view.xyz[patches]
        hue, weight = self._hue_of(patches)
        factor = 1 + self._relative(levels[:, 1], part)
        if self._meter.saturated is not None and self._meter.saturated.relative is not None:
            size = self._meter.saturated.relative / 100 / self._meter.k
            factor = factor + self._hues[part, :, 2][:, hue] * weight * size
        result = np.asarray(xyz * factor[..., None] + own.luminance[..., None])
        zero = self._dark[part, None, :]
        if self._meter.chromaticity:
            xy = spaces.xyz_to_xy(xyz)
            coloured = np.isfinite(xy).all(axis=1) & (xy[:, 1] > LEAST_Y) & (xyz[:, 1] > 0)
            which = slice(None) if coloured.all() else coloured
            offset = self._offsets(levels[which, 1], part, correlation)
            if self._meter.saturated is not None:
                sizes = np.array([self._meter.saturated.x, self._meter.saturated.y])
                hues = _correlated(self._hues[part, :, :2], correlation) * sizes / self._meter.k
                offset = offset + hues[:, hue[which]] * weight[which, None]
            offset = offset + own.xy[:, which]
            lit = levels[which, 1] >= self._case.chromaticity_floor
            luminance = result[:, which, 1] + np.where(lit, zero[..., 1], 0.0)
            result[:, which] = spaces.xy_to_xyz(xy[which] + offset, luminance)
            if len(lit) == len(xyz) and lit.all():
                return np.asarray(result + own.digits)
            seen = np.flatnonzero(coloured)[lit]
            zero = np.repeat(zero, len(xyz), axis=1)
            zero[:, seen] = 0.0
        return np.asarray(result + zero + own.digits)

    def _relative(self, level: Array, part: slice) -> Array:
        """(draws, n) relative error of Y: the part that differs by level, and the common one."""
        bands = self._meter.luminance
        relative = np.array([band.relative for band in bands])
        stated, common = relative[band_of(bands, level)], np.zeros(())
        if self._meter.linearity.relative is not None:
            common = _common(relative.min(), self._meter.linearity.relative)
        apart = np.sqrt(stated**2 - common**2)
        drawn = apart * self._level.at(level, part) + common * self._common[part, None]
        return np.asarray(drawn / 100 / self._meter.k)

    def _offsets(self, level: Array, part: slice, correlation: float) -> Array:
        """(draws, n, 2) error of x and y: the part that differs by level, and the common one."""
        bands = self._meter.chromaticity
        each = np.array([(band.x, band.y) for band in bands])
        stated, least = each[band_of(bands, level)], each.min(axis=0)
        varying = self._meter.linearity.xy
        common = _common(least, least * VARYING if varying is None else varying)
        apart = np.sqrt(stated**2 - common**2)
        by_level = np.stack([self._level_x.at(level, part), self._level_y.at(level, part)], axis=-1)
        shared = _correlated(self._common_xy[part], correlation)[:, None]
        drawn = apart * _correlated(by_level, correlation) + common * shared
        return np.asarray(drawn / self._meter.k)

    def _hue_of(self, patches: Index) -> tuple[Index, Array]:
        """(n,) hue of the target nearest by u'v' angle, and the patch's distance from white as a
        share of that hue's, from 0 to 1; 0 for a neutral patch."""
        case = self._case
        white = spaces.xyz_to_uv(case.view.model.white_xyz)
        pure = np.array(list(HUES.values()), dtype=np.float64) @ case.view.model.from_target.T
        out = spaces.xyz_to_uv(pure) - white
        coloured = ~case.patches.neutral[patches] & (case.view.xyz[patches, 1] > 0)
        shown = np.where(coloured[:, None], case.view.xyz[patches], case.view.model.white_xyz)
        away = spaces.xyz_to_uv(shown) - white
        turn = np.arctan2(away[:, 1], away[:, 0])[:, None] - np.arctan2(out[:, 1], out[:, 0])
        hue = np.abs((turn + np.pi) % (2 * np.pi) - np.pi).argmin(axis=1)
        reach = np.hypot(out[:, 0], out[:, 1])[hue]
        weight = np.minimum(1.0, np.hypot(away[:, 0], away[:, 1]) / reach)
        return hue.astype(np.int64), np.where(coloured, weight, 0.0)


def _common(least: Array | float, apart: Array | float) -> Array:
    """The part of an uncertainty that all levels share: of the band with the least, what is left
    besides the part that differs by level. What a band has more is its own."""
    return np.asarray(np.sqrt(np.maximum(np.square(least) - np.square(apart), 0.0)))


def _correlated(normal: Array, correlation: float) -> Array:
    """(..., 2) unit normals, the second with a given correlation to the first."""
    other = correlation * normal[..., 0] + np.sqrt(1 - correlation**2) * normal[..., 1]
    return np.stack([normal[..., 0], other], axis=-1)
