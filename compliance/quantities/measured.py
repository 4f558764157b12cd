"""The measured data of a slot, and the function behind each row of the catalogue.

Leading axes of `xyz` and `readings` are free: none for one slot, one for draws.
Index arrays are decided once, on the measured values, and kept.

A `Compute` gives values (..., n), or (..., n, 2) for pairs. An `Extreme` chooses the patches
of a value once, on the measured values, so that draws of the same readings keep the choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.colour import chromaticity_diagram, hlg
from compliance.quantities import fits, formulas
from compliance.targets import TargetModel

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Flags = NDArray[np.bool_]

ENOUGH_GREYS = 4
"""Smallest number of greys, besides white, that tell a black which the meter cannot see."""

Told = tuple[int, str, bool, float]
"""A white's index, and of the model its curve, whether it is relative, and its white's cd/m²."""
NOWHERE = -1
"""Entry of an index array if there is no such patch."""


class Measured(NamedTuple):
    """Readings of one slot, or of any number of draws of it."""

    xyz: Array
    """(..., P, 3) means of repeats, cd/m²"""
    readings: Array
    """(..., R, 3) single readings in canonical order, cd/m²"""
    rows: Index
    """(R,) the patch of each reading"""
    model: TargetModel
    signal: Array
    """(P, 3)"""
    level: Array
    """(P,) normalised signal level"""
    white: Index
    """(P,) white of the same window and pattern"""
    black: Index
    """(P,) black of the same window, else of the rule's"""
    centre: Index
    """(P,) the same patch at the centre"""
    start: Index
    """(P,) the same patch at 0 s"""
    black_hidden: Flags
    """(P,) whether that black is below the meter's lowest luminance"""
    lowest: float
    """cd/m², the meter's"""
    greys: Mapping[int, Index]
    """The greys beside each white, which tell a lifted black that is hidden"""
    exponents: Mapping[int, float]
    """The exponent that these greys have with a black left free, decided once"""
    black_drawn: bool = False
    """Whether a hidden black has been drawn"""
    told: dict[Told, tuple[Array, Array]] | None = None
    """Hidden blacks of single readings that the greys told, each with those readings' XYZ"""
    adapted: bool = False
    """Whether the target's primaries go with the measured white's chromaticity"""

    def fitted(self, options: Options) -> Measured:
        """The same, with the target as a requirement with these options sees it."""
        model = targets.scaled(self.model, options.scale)
        return self._replace(model=model, adapted=options.reference == "adapted")

    def luminance(self, index: Index) -> Array:
        """(..., n) Y of patches."""
        return np.asarray(self.xyz[..., index, 1])

    def measured_white(self, index: Index) -> Array:
        """(..., n) Y of the white of each patch."""
        return self.luminance(self.white[index])

    def measured_white_xyz(self, index: Index) -> Array:
        """(..., n, 3) XYZ of the white of each patch."""
        return np.asarray(self.xyz[..., self.white[index], :])

    def measured_black(self, index: Index) -> Array:
        """(..., n) Y of the black of each patch.

        Below the meter's lowest luminance it is free from 0 to that: as the dark greys tell it if
        it lifts the signal, else 0, or as drawn.
        """
        black = self.luminance(self.black[index])
        hidden = self.black_hidden[index]
        if not hidden.any():
            return black
        black = np.where(hidden & (not self.black_drawn), 0.0, black)
        for white in np.unique(self.white[index][hidden]):
            places = hidden & (self.white[index] == white)
            black[..., places] = self._told_black(int(white), black[..., places])
        return black

    def _told_black(self, white: int, otherwise: Array) -> Array:
        """(..., m) Y of a hidden black as the greys beside its white tell it, if they can."""
        greys = self.greys.get(white, np.empty(0, dtype=np.int64))
        if white not in self.exponents:
            return otherwise
        key = white, self.model.curve, self.model.relative, self.model.white_luminance
        if self.told is not None and key in self.told and self.told[key][0] is self.xyz:
            return self.told[key][1]
        told = fits.black_at_exponent(
            self.model.curve,
            self.level[greys],
            self.luminance(greys),
            self.scaling_white(greys[:1])[..., 0],
            self.lowest,
            self.exponents[white],
        )
        black = np.asarray(told[..., None])
        if self.told is not None and self.xyz.ndim == 2:
            self.told[key] = self.xyz, black
        return black

    def with_exponents(self) -> Measured:
        """The same, with the exponents of greys beside a hidden black.

        The rule's own exponent would let such a black hide a wrong one.
        """
        exponents = {}
        for white in np.unique(self.white[self.black_hidden & (self.white != NOWHERE)]):
            greys = self.greys.get(int(white), np.empty(0, dtype=np.int64))
            darker = greys[greys != white]
            if self.model.lift and len(darker) >= ENOUGH_GREYS:
                shown, top = self.luminance(greys), self.scaling_white(greys[:1])[..., 0]
                told = fits.with_free_black(
                    self.model.curve, self.level[greys], shown, top, self.lowest
                )
                exponents[int(white)] = float(told.exponent)
        return self._replace(exponents=exponents, told={})

    def scaling_white(self, index: Index) -> Array:
        """(..., n) luminance to which the target's white is fitted."""
        if self.model.relative:
            return self.measured_white(index)
        return np.full(np.shape(index), self.model.white_luminance)

    def target_black(self, index: Index) -> Array:
        """(..., n) luminance of the target's black; not used if it has none."""
        if self.model.blackless:
            return np.zeros(np.shape(index))
        if not np.isnan(self.model.black_luminance):
            return np.full(np.shape(index), self.model.black_luminance)
        return self.measured_black(index)

    def target(self, index: Index) -> Array:
        """(..., n, 3) XYZ of the target, fitted to measured white and black as the rule states."""
        white, black = self.scaling_white(index), self.target_black(index)
        target = targets.target_xyz(self.signal[index], self.model, white, black)
        if not self.adapted:
            return target
        return targets.with_white(target, self.model, self.measured_white_xyz(index))

    def has_one_white(self, index: Index) -> bool:
        """Whether patches have the same white."""
        return bool(len(index) and (self.white[index] == self.white[index[0]]).all())

    def reference_white(self, index: Index) -> Array:
        """(..., n, 3) reference white of CIELAB and CIELUV for the target's colours."""
        colour = self.model.white_xyz
        if self.adapted:
            colour = formulas.at_unit_luminance(self.measured_white_xyz(index))
        return self.scaling_white(index)[..., None] * colour


class Roles(NamedTuple):
    """The patches of one requirement by role, as indices."""

    over: Index
    """(n,) in order of the set; indices of readings, not patches, for stability"""
    part: Mapping[str, Index]
    """Fixed roles: white, black, red, green, blue, and those of an `Extreme`; (1,) or more"""


class Options(NamedTuple):
    """Options of a requirement for its quantity."""

    reference: str = "target"
    scale: str | None = None
    """`relative` or `absolute`; None: the target's"""
    above_black: bool = False
    ignore_luminance: bool = False
    diagram: str = "uv"
    by_time: bool = False
    """relative-luminance: relative to the same patch at 0 s, not at the centre"""


Compute = Callable[[Measured, Roles, Options], Array]
"""Values of the quantity at the patches of `Roles`."""
Between = Callable[[Measured, Index, Array, Array], Array]
"""(..., m) distance of two measured colours (..., m, 3); the first belong to patches (m,)."""
Series = Callable[[Measured, Roles], Array]
"""(..., k) values along the patches of a set."""


class Extreme(NamedTuple):
    """The place of a value in a series, decided once."""

    kind: Literal["range", "step", "bend", "clipping"]
    """Largest and smallest; smallest step; sharpest bend down; lowest clipped patch."""
    series: Series

    def settle(self, view: Measured, roles: Roles) -> Roles:
        """The roles plus the places of the extreme in the series, on the measured values."""
        values = self.series(view, roles)
        if self.kind == "range":
            places = {"lowest": values.argmin(), "highest": values.argmax()}
        elif self.kind == "clipping":
            places = {"place": np.int64(formulas.clipped_from(values))}
        else:
            places = {"place": values.argmin()}
        added = {name: np.array([place], dtype=np.int64) for name, place in places.items()}
        return roles._replace(part={**roles.part, **added})


def luminances(view: Measured, roles: Roles) -> Array:
    """(..., n) luminance of the patches in their order."""
    return view.luminance(roles.over)


def repeats(view: Measured, roles: Roles) -> Array:
    """(..., n) luminance of single readings."""
    return np.asarray(view.readings[..., roles.over, 1])


def steps(view: Measured, roles: Roles) -> Array:
    """(..., n - 1) rise in luminance from each patch to the next."""
    return formulas.first_differences(view.luminance(roles.over))


def bends(view: Measured, roles: Roles) -> Array:
    """(..., n - 2) change of that rise from step to step."""
    return formulas.second_differences(view.luminance(roles.over), view.level[roles.over])


# ------------------------------------------------------------ one value per patch


def luminance(view: Measured, roles: Roles, options: Options) -> Array:
    return view.luminance(roles.over)


def luminance_error(view: Measured, roles: Roles, options: Options) -> Array:
    measured = view.luminance(roles.over)
    target = view.target(roles.over)[..., 1]
    if options.above_black:
        measured = measured - view.measured_black(roles.over)
        target = target - (0.0 if view.model.blackless else view.target_black(roles.over))
    return formulas.luminance_error(measured, target)


def relative_luminance(view: Measured, roles: Roles, options: Options) -> Array:
    other = (view.start if options.by_time else view.centre)[roles.over]
    return formulas.relative_luminance(view.luminance(roles.over), view.luminance(other))


def _reference(view: Measured, roles: Roles, options: Options) -> Array:
    """(..., n, 3) XYZ with the reference chromaticity."""
    if options.reference == "white":
        return view.measured_white_xyz(roles.over)
    if options.reference == "centre":
        return np.asarray(view.xyz[..., view.centre[roles.over], :])
    return _coloured(view, roles.over)


def _coloured(view: Measured, index: Index) -> Array:
    """(..., n, 3) target; signal 0 without a black has the white's chromaticity."""
    target = view.target(index)
    dark = target[..., 1:2] == 0
    return np.where(dark, view.reference_white(index), target)


def chromaticity(view: Measured, roles: Roles, options: Options) -> Array:
    return formulas.chromaticity_offset(
        view.xyz[..., roles.over, :], _reference(view, roles, options)
    )


def chromaticity_difference(view: Measured, roles: Roles, options: Options) -> Array:
    return formulas.chromaticity_difference(
        view.xyz[..., roles.over, :], _reference(view, roles, options)
    )


def delta_uv_star(view: Measured, roles: Roles, options: Options) -> Array:
    target = view.target(roles.over)[..., 1]
    share = formulas.ratio(target, view.measured_white(roles.over))
    return formulas.delta_uv_star(
        view.xyz[..., roles.over, :], _reference(view, roles, options), share
    )


def _measured(view: Measured, roles: Roles, options: Options, target: Array) -> Array:
    xyz = np.asarray(view.xyz[..., roles.over, :])
    return formulas.without_luminance(xyz, target) if options.ignore_luminance else xyz


def delta_e_itp(view: Measured, roles: Roles, options: Options) -> Array:
    target = view.target(roles.over)
    return formulas.delta_e_itp(_measured(view, roles, options, target), target)


def against_white(function: formulas.AgainstWhite) -> Compute:
    """The difference from the target by a formula that needs the white of each colour."""

    def compute(view: Measured, roles: Roles, options: Options) -> Array:
        target = view.target(roles.over)
        lit = roles.over[:1] if view.has_one_white(roles.over) else roles.over
        reference = view.reference_white(lit)
        white = reference
        if options.reference == "white":
            colour = formulas.at_unit_luminance(view.measured_white_xyz(lit))
            white = view.scaling_white(lit)[..., None] * colour
        return function(_measured(view, roles, options, target), white, target, reference)

    return compute


def temperature(axis: int) -> Compute:
    """The correlated colour temperature (0), or Duv (1)."""

    def compute(view: Measured, roles: Roles, options: Options) -> Array:
        return np.asarray(chromaticity_diagram.cct_duv(view.xyz[..., roles.over, :])[..., axis])

    return compute


# ------------------------------------------------------------ one value of all


def _one(values: Array) -> Array:
    return np.asarray(values)[..., None]


def contrast(view: Measured, roles: Roles, options: Options) -> Array:
    return formulas.ratio(view.luminance(roles.part["white"]), view.luminance(roles.part["black"]))


def checkerboard(view: Measured, roles: Roles, options: Options) -> Array:
    white = view.luminance(roles.part["white"]).mean(axis=-1)
    return _one(formulas.ratio(white, view.luminance(roles.part["black"]).mean(axis=-1)))


def non_uniformity(view: Measured, roles: Roles, options: Options) -> Array:
    shown = luminances(view, roles)
    lowest, highest = shown[..., roles.part["lowest"]], shown[..., roles.part["highest"]]
    return formulas.non_uniformity(lowest, highest)


def fitted_exponent(view: Measured, roles: Roles, options: Options) -> Array:
    first, model = roles.over[:1], view.model
    signal, shown = view.level[roles.over], view.luminance(roles.over)
    white = view.measured_white(first)[..., 0]
    if model.lift and view.black_hidden[first].all():
        return _one(fits.with_free_black(model.curve, signal, shown, white, view.lowest).exponent)
    black = view.measured_black(first)[..., 0]
    if model.blackless:
        black = np.zeros_like(black)
    if model.lift:
        return _one(fits.lifted_exponent(model.curve, signal, shown, white, black))
    base = hlg.hlg_inverse_oetf(signal) if model.curve == "hlg" else signal
    return _one(fits.power_exponent(base, shown, white, black))


def gamut_coverage(view: Measured, roles: Roles, options: Options) -> Array:
    hues = np.concatenate([roles.part[hue] for hue in ("red", "green", "blue")])
    primaries = view.model.from_target.T
    return _one(formulas.coverage(view.xyz[..., hues, :], primaries, options.diagram))


def additivity(view: Measured, roles: Roles, options: Options) -> Array:
    hues = np.concatenate([roles.part[hue] for hue in ("red", "green", "blue")])
    white = roles.part["white"]
    black = view.luminance(roles.part["black"])[..., 0]
    if (view.black[white] != NOWHERE).all():
        black = view.measured_black(white)[..., 0]
    measured = formulas.additivity(view.luminance(hues), view.luminance(white)[..., 0], black)
    # A black lifted in each channel of a wider container, HLG's OOTF, and colours clipped by the
    # container make the target itself not quite additive.
    target = formulas.additivity(
        view.target(hues)[..., 1], view.target(white)[..., 0, 1], view.target_black(white)[..., 0]
    )
    return _one(measured - target)


def monotonicity(view: Measured, roles: Roles, options: Options) -> Array:
    return np.asarray(steps(view, roles)[..., roles.part["place"]])


def slope_monotonicity(view: Measured, roles: Roles, options: Options) -> Array:
    return np.asarray(bends(view, roles)[..., roles.part["place"]])


def clipping_level(view: Measured, roles: Roles, options: Options) -> Array:
    level = view.target(roles.over[roles.part["place"]])[..., 1]
    return np.broadcast_to(level, (*view.xyz.shape[:-2], 1))


def stability(view: Measured, roles: Roles, options: Options) -> Array:
    repeated = repeats(view, roles)
    lowest, highest = repeated[..., roles.part["lowest"]], repeated[..., roles.part["highest"]]
    return formulas.stability(lowest, highest, repeated.mean(axis=-1)[..., None])


# ------------------------------------------------------------ distances of two measured colours


def between_chromaticities(view: Measured, first: Index, colour: Array, other: Array) -> Array:
    return formulas.chromaticity_difference(colour, other)


def between_chromas(view: Measured, first: Index, colour: Array, other: Array) -> Array:
    share = formulas.ratio(view.target(first)[..., 1], view.measured_white(first))
    return formulas.delta_uv_star(colour, other, share)


def between_itp(view: Measured, first: Index, colour: Array, other: Array) -> Array:
    return formulas.delta_e_itp(colour, other)


def between_against_white(function: formulas.AgainstWhite) -> Between:
    """The distance of two colours by a formula that needs their white."""

    def between(view: Measured, first: Index, colour: Array, other: Array) -> Array:
        white = view.reference_white(first)
        return function(colour, white, other, white)

    return between
