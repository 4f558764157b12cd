"""The catalogue's names bound to functions of a view.

`COMPUTE` gives values (..., n), or (..., n, 2) for pairs; `SETTLE` decides, once
and on the measured values, which patches an extreme is taken at, so that draws
of the same readings keep the choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.quantities import chromaticity, difference, luminance, tracking
from compliance.quantities.view import View

Array = NDArray[np.float64]
Index = NDArray[np.int64]


class Roles(NamedTuple):
    """Who plays which part in one requirement, as indices of patches."""

    over: Index
    """(n,) in order of the set; of readings, not patches, for stability"""
    part: Mapping[str, Index]
    """Fixed roles: white, black, red, green, blue, and what `SETTLE` adds; (1,) or more"""


class Options(NamedTuple):
    """What a requirement says about how its quantity is taken."""

    reference: str = "target"
    above_black: bool = False
    ignore_luminance: bool = False
    diagram: str = "uv"
    by_time: bool = False
    """relative-luminance: against the same patch at 0 s, not at the centre"""


Compute = Callable[[View, Roles, Options], Array]
Settle = Callable[[View, Roles], Roles]


# ------------------------------------------------------------ one value per patch


def _luminance(view: View, roles: Roles, options: Options) -> Array:
    return view.luminance(roles.over)


def _luminance_error(view: View, roles: Roles, options: Options) -> Array:
    measured = view.luminance(roles.over)
    target = view.target(roles.over)[..., 1]
    if options.above_black:
        measured = measured - view.measured_black(roles.over)
        target = target - (0.0 if view.model.blackless else view.target_black(roles.over))
    return luminance.luminance_error(measured, target)


def _relative_luminance(view: View, roles: Roles, options: Options) -> Array:
    other = (view.start if options.by_time else view.centre)[roles.over]
    return luminance.relative_luminance(view.luminance(roles.over), view.luminance(other))


def _reference(view: View, roles: Roles, options: Options) -> Array:
    """(..., n, 3) XYZ whose chromaticity is the reference."""
    if options.reference == "white":
        return view.measured_white_xyz(roles.over)
    if options.reference == "centre":
        return np.asarray(view.xyz[..., view.centre[roles.over], :])
    return _coloured(view, roles.over)


def _coloured(view: View, index: Index) -> Array:
    """(..., n, 3) target; signal 0 without a black has the white's chromaticity."""
    target = view.target(index)
    dark = target[..., 1:2] == 0
    return np.where(dark, view.model.white_xyz, target)


def _chromaticity(view: View, roles: Roles, options: Options) -> Array:
    return chromaticity.chromaticity_offset(
        view.xyz[..., roles.over, :], _reference(view, roles, options)
    )


def _chromaticity_difference(view: View, roles: Roles, options: Options) -> Array:
    return chromaticity.chromaticity_difference(
        view.xyz[..., roles.over, :], _reference(view, roles, options)
    )


def _delta_uv_star(view: View, roles: Roles, options: Options) -> Array:
    target = view.target(roles.over)[..., 1]
    share = luminance.ratio(target, view.measured_white(roles.over))
    return chromaticity.delta_uv_star(
        view.xyz[..., roles.over, :], _reference(view, roles, options), share
    )


def _measured(view: View, roles: Roles, options: Options, target: Array) -> Array:
    xyz = np.asarray(view.xyz[..., roles.over, :])
    return difference.without_luminance(xyz, target) if options.ignore_luminance else xyz


def _delta_e_itp(view: View, roles: Roles, options: Options) -> Array:
    target = view.target(roles.over)
    return difference.delta_e_itp(_measured(view, roles, options, target), target)


def _against_white(name: str) -> Compute:
    function = difference.AGAINST_WHITE[name]

    def compute(view: View, roles: Roles, options: Options) -> Array:
        target = view.target(roles.over)
        reference = view.reference_white(roles.over)
        white = view.measured_white_xyz(roles.over) if options.reference == "white" else reference
        return function(_measured(view, roles, options, target), white, target, reference)

    return compute


def _temperature(axis: int) -> Compute:
    def compute(view: View, roles: Roles, options: Options) -> Array:
        from compliance.colorimetry import temperature

        return np.asarray(temperature.cct_duv(view.xyz[..., roles.over, :])[..., axis])

    return compute


# ------------------------------------------------------------ one value of all


def _one(values: Array) -> Array:
    return np.asarray(values)[..., None]


def _contrast(view: View, roles: Roles, options: Options) -> Array:
    return luminance.ratio(view.luminance(roles.part["white"]), view.luminance(roles.part["black"]))


def _checkerboard(view: View, roles: Roles, options: Options) -> Array:
    white = view.luminance(roles.part["white"]).mean(axis=-1)
    return _one(luminance.ratio(white, view.luminance(roles.part["black"]).mean(axis=-1)))


def _non_uniformity(view: View, roles: Roles, options: Options) -> Array:
    lowest, highest = roles.part["lowest"], roles.part["highest"]
    return luminance.non_uniformity(view.luminance(lowest), view.luminance(highest))


def _fitted_exponent(view: View, roles: Roles, options: Options) -> Array:
    lifted = {"bt1886": tracking.bt1886_exponent, "hlg": tracking.hlg_system_gamma}
    fit = tracking.power_exponent
    if view.model.lift or view.model.curve == "hlg":
        fit = lifted[view.model.curve]
    first = roles.over[:1]
    white = view.measured_white(first)[..., 0]
    black = view.measured_black(first)[..., 0]
    if view.model.blackless or (view.model.curve == "hlg" and not view.model.lift):
        black = np.zeros_like(black)
    signal = view.level[roles.over]
    return _one(fit(signal, view.luminance(roles.over), white, black))


def _gamut_coverage(view: View, roles: Roles, options: Options) -> Array:
    hues = np.concatenate([roles.part[hue] for hue in ("red", "green", "blue")])
    primaries = view.model.from_target.T
    return _one(chromaticity.coverage(view.xyz[..., hues, :], primaries, options.diagram))


def _additivity(view: View, roles: Roles, options: Options) -> Array:
    hues = np.concatenate([roles.part[hue] for hue in ("red", "green", "blue")])
    white = roles.part["white"]
    black = view.measured_black(white)[..., 0]
    measured = luminance.additivity(view.luminance(hues), view.luminance(white)[..., 0], black)
    if view.model.curve != "hlg":
        return _one(measured)
    target = luminance.additivity(
        view.target(hues)[..., 1], view.target(white)[..., 0, 1], view.target_black(white)[..., 0]
    )
    return _one(measured - target)


def _monotonicity(view: View, roles: Roles, options: Options) -> Array:
    steps = luminance.first_differences(view.luminance(roles.over))
    return np.asarray(steps[..., roles.part["place"]])


def _slope_monotonicity(view: View, roles: Roles, options: Options) -> Array:
    level = view.level[roles.over]
    bends = luminance.second_differences(view.luminance(roles.over), level)
    return np.asarray(bends[..., roles.part["place"]])


def _clipping_level(view: View, roles: Roles, options: Options) -> Array:
    level = view.target(roles.over[roles.part["place"]])[..., 1]
    return np.broadcast_to(level, (*view.xyz.shape[:-2], 1))


def _stability(view: View, roles: Roles, options: Options) -> Array:
    repeated = view.readings[..., roles.over, 1]
    lowest = repeated[..., roles.part["lowest"]]
    highest = repeated[..., roles.part["highest"]]
    return luminance.stability(lowest, highest, repeated.mean(axis=-1)[..., None])


COMPUTE: Mapping[str, Compute] = {
    "luminance": _luminance,
    "luminance-error": _luminance_error,
    "relative-luminance": _relative_luminance,
    "non-uniformity": _non_uniformity,
    "contrast": _contrast,
    "checkerboard-contrast": _checkerboard,
    "fitted-exponent": _fitted_exponent,
    "chromaticity": _chromaticity,
    "chromaticity-difference": _chromaticity_difference,
    "delta-uv-star": _delta_uv_star,
    "delta-e-itp": _delta_e_itp,
    **{name: _against_white(name) for name in difference.AGAINST_WHITE},
    "correlated-colour-temperature": _temperature(0),
    "duv": _temperature(1),
    "gamut-coverage": _gamut_coverage,
    "additivity": _additivity,
    "monotonicity": _monotonicity,
    "slope-monotonicity": _slope_monotonicity,
    "clipping-level": _clipping_level,
    "stability": _stability,
}


# ------------------------------------------------------------ extremes, decided once


def _with(roles: Roles, **parts: int) -> Roles:
    added = {name: np.array([place], dtype=np.int64) for name, place in parts.items()}
    return roles._replace(part={**roles.part, **added})


def _settle_extremes(view: View, roles: Roles) -> Roles:
    values = view.luminance(roles.over)
    lowest, highest = int(roles.over[values.argmin()]), int(roles.over[values.argmax()])
    return _with(roles, lowest=lowest, highest=highest)


def _settle_repeats(view: View, roles: Roles) -> Roles:
    values = view.readings[roles.over, 1]
    return _with(roles, lowest=int(values.argmin()), highest=int(values.argmax()))


def _settle_step(view: View, roles: Roles) -> Roles:
    return _with(roles, place=int(luminance.first_differences(view.luminance(roles.over)).argmin()))


def _settle_bend(view: View, roles: Roles) -> Roles:
    level = view.level[roles.over]
    bends = luminance.second_differences(view.luminance(roles.over), level)
    return _with(roles, place=int(bends.argmin()))


def _settle_clipping(view: View, roles: Roles) -> Roles:
    return _with(roles, place=luminance.clipped_from(view.luminance(roles.over)))


SETTLE: Mapping[str, Settle] = {
    "non-uniformity": _settle_extremes,
    "stability": _settle_repeats,
    "monotonicity": _settle_step,
    "slope-monotonicity": _settle_bend,
    "clipping-level": _settle_clipping,
}

LEAST_PATCHES: Mapping[str, int] = {
    "non-uniformity": 2,
    "fitted-exponent": 2,
    "monotonicity": 2,
    "slope-monotonicity": 3,
    "clipping-level": 2,
    "stability": 2,
}
"""Fewer patches (readings, for stability) say nothing."""


# ------------------------------------------------------------ pairs of patches


def between(name: str, view: View, first: Index, second: Index, options: Options) -> Array:
    """(..., m) difference between patches `first` and `second`, for `statistic: pairwise`.

    Distances are taken between the two measured colours themselves; of any other
    quantity it is the absolute difference of the two values.
    """
    one, two = view.xyz[..., first, :], view.xyz[..., second, :]
    if options.ignore_luminance:
        two = difference.without_luminance(two, one)
    if name == "chromaticity-difference":
        return chromaticity.chromaticity_difference(one, two)
    if name == "delta-e-itp":
        return difference.delta_e_itp(one, two)
    if name in difference.AGAINST_WHITE:
        white = view.reference_white(first)
        return difference.AGAINST_WHITE[name](one, white, two, white)
    if name == "delta-uv-star":
        share = luminance.ratio(view.target(first)[..., 1], view.measured_white(first))
        return chromaticity.delta_uv_star(one, two, share)
    compute = COMPUTE[name]
    values = [compute(view, Roles(index, {}), options) for index in (first, second)]
    return np.asarray(np.abs(values[0] - values[1]))
