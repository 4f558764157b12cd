"""Values of a rule's requirements for readings without noise, or for many noisy ones at once.

`Values.of` takes X, Y, Z of a plan's rows with free axes before, (..., row, 3), so that a display's
true values and those of sixty readings of it are one call. Definitions are those of the project's
table of quantities.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from outside import differences
from outside.displays import Array, channels, hlg_scene, uv_of, yxy_of
from outside.ideal import Target, annex_1, system_gamma
from outside.rulebook import Requirement, Rulebook, Unknown


@dataclass(frozen=True)
class Points:
    """Values (..., point) of one requirement, or (..., point, 2) of a chromaticity."""

    requirement: Requirement
    values: Array
    counted: Array
    """Which points (point,) are not zero by construction."""

    def margins(self) -> Array:
        """Give how far inside the limits (..., point) is, in the unit; negative outside."""
        if self.requirement.box is not None:
            return np.min(np.array(self.requirement.box) - np.abs(self.values), axis=-1)
        low, high = self.ends()
        return np.minimum(self.values - low, high - self.values)

    def ends(self) -> tuple[Array, Array]:
        """Give the limits (point,), infinite where open."""
        limits = self.requirement.limits
        low = np.array([-np.inf if a is None else a for a, _ in limits])
        high = np.array([np.inf if b is None else b for _, b in limits])
        return low, high

    def worst(self) -> tuple[Array, int]:
        """Give the value of the point with the least margin as a share of the limit's width."""
        place = int(np.argmin(np.where(self.counted, self.relative_margins(), np.inf)))
        return self.values[place], place

    def relative_margins(self) -> Array:
        """Give margins over half the width, or over |limit| of a one-sided one."""
        margins = self.margins()
        if self.requirement.box is not None:
            box = np.array(self.requirement.box)
            return np.min((box - np.abs(self.values)) / box, axis=-1)
        low, high = self.ends()
        single = np.where(np.isfinite(low), low, high)
        one = np.where(single == 0, 1.0, np.abs(single))
        two = (high - low) / 2
        return margins / np.where(np.isfinite(two) & (two > 0), two, one)


@dataclass
class Frame:
    """How a target is fitted to readings: what is decided once, on the display's true light."""

    gamma: float | None = None
    form: str | None = None


@dataclass
class Values:
    """Computes requirements of one rule from the X, Y, Z of its plan's rows."""

    book: Rulebook
    xyz: Array
    frame: Frame
    patches: Array = field(init=False)

    def __post_init__(self) -> None:
        """Average the repeats."""
        self.patches = self.book.averaging @ self.xyz

    @staticmethod
    def of(book: Rulebook, xyz: Array, frame: Frame) -> Values:
        """Prepare values of these readings."""
        return Values(book, np.asarray(xyz, dtype=float), frame)

    # what the target leans on

    def level(self, patch: int | None) -> Array:
        """Give Y (...) of a patch."""
        if patch is None:
            raise Unknown("a role is not in the plan")
        return self.patches[..., patch, 1]

    def white_of(self, window: float) -> Array:
        """Give X, Y, Z (..., 3) of the white of a window; of the rule's where it has none."""
        found = self.book.white_patch(window)
        found = self.book.white_patch() if found is None else found
        if found is None:
            raise Unknown("no white in the plan")
        return self.patches[..., found, :]

    def black_of(self, window: float) -> Array:
        """Give the cd/m² (...) that the target takes for signal 0."""
        target = self.book.target
        if target.form == "none":
            return self.patches[..., 0, 1] * 0.0
        if target.black_level is not None:
            return self.patches[..., 0, 1] * 0.0 + target.black_level
        return self.level(self.book.black_patch(window))

    def targets(self, requirement: Requirement, window: float, codes: Array) -> Array:
        """Give the target (..., point, 3) of codes shown in a window."""
        target = self.book.target
        white = self.white_of(window)
        scale = requirement.body.get("scale")
        absolute = target.absolute if scale is None else scale == "absolute"
        stated = target.decoded_white if target.curve == "dcdm" else target.white
        top = white[..., 1] * 0 + stated if absolute else white[..., 1]
        adapted = requirement.reference == "adapted"
        made = target.xyz(
            codes,
            top,
            self.black_of(window),
            gamma=self.frame.gamma,
            form=self.frame.form,
        )
        return self.adapted(made, white) if adapted else made

    def adapted(self, xyz: Array, white: Array) -> Array:
        """Rebuild colours of the nominal white with the measured white's chromaticity."""
        target = self.book.target
        inverse = np.linalg.inv(target.matrix(target.primaries)).T
        own = xyz @ inverse
        flat = yxy_of(white).reshape(-1, 3)
        turned = np.stack(
            [channels(target.primaries, (float(x), float(y))).T for _, x, y in flat]
        ).reshape(*white.shape[:-1], 3, 3)
        return own @ turned

    # a requirement

    def points(self, requirement: Requirement) -> Points:
        """Give the values of a requirement."""
        values = self._quantity(requirement)
        counted = np.ones(values.shape[-2] if requirement.box else values.shape[-1], dtype=bool)
        if len(counted) == len(requirement.patches):
            anchored = [self._anchored(requirement, i) for i in requirement.patches]
            counted = ~np.array(anchored, dtype=bool)
        statistic = requirement.statistic
        if statistic != "each":
            by_level = statistic == "mean" or isinstance(statistic, Mapping)
            kept = counted & self._planned(requirement) if by_level else counted
            values, counted = self._reduced(statistic, values[..., kept]), np.array([True])
        return Points(_of_one(requirement, values), values, counted)

    def sure(self, requirement: Requirement) -> Points:
        """Give the values by whose scatter a reading is sure; contrast c as Yw/c − Yk ≥ 0."""
        if requirement.quantity != "contrast" or requirement.limits[0][0] is None:
            return self.points(requirement)
        white, black = self.level(requirement.patches[0]), self.level(requirement.patches[1])
        values = (white / requirement.limits[0][0] - black)[..., None]
        one = Requirement(**{**requirement.__dict__, "limits": ((0.0, None),)})
        return Points(one, values, np.array([True]))

    def _reduced(self, statistic: Any, values: Array) -> Array:
        if statistic == "mean":
            return np.abs(values).mean(axis=-1, keepdims=True)
        if statistic in ("spread", "pairwise"):
            return np.ptp(values, axis=-1, keepdims=True)
        if isinstance(statistic, Mapping) and "percentile" in statistic:
            ordered = np.sort(np.abs(values), axis=-1)
            rank = int(np.ceil(statistic["percentile"] / 100 * values.shape[-1])) - 1
            return ordered[..., rank : rank + 1]
        raise Unknown(f"statistic {statistic}")

    def _planned(self, requirement: Requirement) -> Array:
        """Say which points are nearest to a planned level, where the set is a ramp."""
        sets = requirement.body["over"]
        sets = sets.get("patches") if isinstance(sets, Mapping) else sets
        bodies = [
            self.book.document["patches"].get(name, {})
            for name in ([sets] if isinstance(sets, str) else sets)
        ]
        if not any("ramp" in body for body in bodies):
            return np.ones(len(requirement.patches), dtype=bool)
        body = next(body for body in bodies if "ramp" in body)
        low, high = body.get("signal", [0, 1])
        levels = self.book.neutral_levels()
        own = np.array([levels[i] for i in requirement.patches])
        every = np.array(list(levels.values()))
        wanted = np.linspace(low, high, body["steps"])
        nearest = {float(every[np.argmin(np.abs(every - level))]) for level in wanted}
        return np.isin(own, list(nearest))

    def _anchored(self, requirement: Requirement, patch: int) -> bool:
        """Say whether the value is zero by construction."""
        book, codes = self.book, self.book.codes[patch]
        is_white = np.abs(codes - np.array(book.white_code)).max() <= 1
        is_black = np.abs(codes - np.array(book.black_code)).max() == 0
        absolute = book.target.absolute or requirement.body.get("scale") == "absolute"
        centre = book.patches[patch].position == "centre"
        if requirement.quantity == "luminance-error":
            return centre and not absolute and (is_white or is_black)
        if requirement.reference in ("white", "adapted"):
            return centre and bool(is_white)
        if requirement.reference == "centre" or requirement.quantity == "relative-luminance":
            return centre and book.patches[patch].seconds == 0
        return False

    def _quantity(self, requirement: Requirement) -> Array:
        table: dict[str, Callable[[Requirement], Array]] = {
            "luminance": self._luminance,
            "luminance-error": self._luminance_error,
            "relative-luminance": self._relative_luminance,
            "non-uniformity": self._non_uniformity,
            "contrast": self._contrast,
            "fitted-exponent": self._fitted_exponent,
            "chromaticity": self._chromaticity,
            "chromaticity-difference": self._difference,
            "delta-uv-star": self._difference,
            "delta-e-itp": self._difference,
            "delta-e-2000": self._difference,
            "delta-e-ab": self._difference,
            "gamut-coverage": self._coverage,
            "additivity": self._additivity,
            "monotonicity": self._monotonicity,
            "slope-monotonicity": self._slope_monotonicity,
            "stability": self._stability,
        }
        if requirement.quantity not in table:
            raise Unknown(f"{requirement.id}: {requirement.quantity}")
        return table[requirement.quantity](requirement)

    def _own(self, requirement: Requirement) -> Array:
        return self.patches[..., list(requirement.patches), :]

    def _target_of(self, requirement: Requirement) -> Array:
        """Give the target (..., point, 3) of each of the requirement's patches."""
        parts = (
            [
                self.targets(requirement, self.book.patches[i].window, self.book.codes[[i]])
                for i in requirement.patches
            ]
            if len({self.book.patches[i].window for i in requirement.patches}) > 1
            else [
                self.targets(
                    requirement,
                    self.book.patches[requirement.patches[0]].window,
                    self.book.codes[list(requirement.patches)],
                )
            ]
        )
        return np.concatenate(parts, axis=-2)

    def _luminance(self, requirement: Requirement) -> Array:
        return self._own(requirement)[..., 1]

    def _luminance_error(self, requirement: Requirement) -> Array:
        shown, wanted = self._own(requirement)[..., 1], self._target_of(requirement)[..., 1]
        if requirement.body.get("above_black"):
            window = self.book.patches[requirement.patches[0]].window
            black = self.level(self.book.black_patch(window))
            codes = np.array([self.book.black_code])
            shown = shown - black[..., None]
            wanted = wanted - self.targets(requirement, window, codes)[..., 1]
        return 100 * (shown - wanted) / wanted

    def _base(self, requirement: Requirement) -> Array:
        """Give X, Y, Z (..., point, 3) of what each patch is compared with, at the centre."""
        found = []
        for i in requirement.patches:
            patch = self.book.patches[i]
            base = self.book.at(patch.codes, window=patch.window, pattern=patch.pattern)
            if base is None:
                raise Unknown(f"{requirement.id}: no patch at the centre, 0 s, for {patch}")
            found.append(base)
        return self.patches[..., found, :]

    def _relative_luminance(self, requirement: Requirement) -> Array:
        return 100 * self._own(requirement)[..., 1] / self._base(requirement)[..., 1]

    def _non_uniformity(self, requirement: Requirement) -> Array:
        shown = self._own(requirement)[..., 1]
        return 100 * (1 - shown.min(axis=-1, keepdims=True) / shown.max(axis=-1, keepdims=True))

    def _contrast(self, requirement: Requirement) -> Array:
        white, black = self.level(requirement.patches[0]), self.level(requirement.patches[1])
        with np.errstate(divide="ignore"):
            return (white / black)[..., None]

    def _fitted_exponent(self, requirement: Requirement) -> Array:
        levels = self.book.neutral_levels()
        signal = np.clip([levels[i] for i in requirement.patches], 0, 1)
        white = self.white_of(self.book.window)[..., 1]
        black = self.level(self.book.black_patch(self.book.window))
        shown = self._own(requirement)[..., 1]
        curve = self.book.target.curve
        if curve == "bt1886":
            return best_exponent(
                lambda e: annex_1(signal, white[..., None], black[..., None], e), shown
            )[..., None]
        if curve in ("power", "dcdm"):
            relative = (shown - black[..., None]) / (white - black)[..., None]
            logs = np.log(signal)
            return ((np.log(relative) * logs).sum(axis=-1) / (logs**2).sum())[..., None]
        raise Unknown(f"fitted exponent of {curve}")

    def _references(self, requirement: Requirement) -> Array:
        """Give the point (..., point, 3) that a colour is compared with, of any luminance."""
        if requirement.reference in ("target", "adapted"):
            return self._target_of(requirement)
        if requirement.reference == "centre":
            return self._base(requirement)
        if requirement.reference == "white":
            window = self.book.patches[requirement.patches[0]].window
            white = self.white_of(window)[..., None, :]
            wanted = self._target_of(requirement)[..., 1:2]
            return white / white[..., 1:2] * wanted
        raise Unknown(f"reference {requirement.reference}")

    def _chromaticity(self, requirement: Requirement) -> Array:
        shown, reference = self._own(requirement), self._references(requirement)
        return yxy_of(shown)[..., 1:] - yxy_of(self._lit(reference))[..., 1:]

    def _lit(self, reference: Array) -> Array:
        """Give the target with the white's chromaticity where it is unlit."""
        dark = reference.sum(axis=-1, keepdims=True) <= 1e-9
        return np.where(dark, self.book.target.white_xyz, reference)

    def _difference(self, requirement: Requirement) -> Array:
        shown, reference = self._own(requirement), self._lit(self._references(requirement))
        wanted = self._target_of(requirement)
        if requirement.body.get("ignore") == "luminance":
            shown = shown * (wanted[..., 1:2] / shown[..., 1:2])
        quantity = requirement.quantity
        if quantity == "chromaticity-difference":
            return differences.delta_uv(shown, reference)
        window = self.book.patches[requirement.patches[0]].window
        white = self.white_of(window)[..., None, :]
        if quantity == "delta-uv-star":
            relative = wanted[..., 1] / white[..., 1]
            return differences.delta_uv_star(shown, reference, relative)
        if quantity == "delta-e-itp":
            return differences.delta_itp(shown, reference)
        level = white[..., 1:2]
        scale = requirement.body.get("scale")
        absolute = self.book.target.absolute if scale is None else scale == "absolute"
        if absolute:
            level = level * 0 + self.book.target.white
        nominal = self.book.target.white_xyz
        lab_white = (
            white / white[..., 1:2] * level
            if requirement.reference == "adapted"
            else (nominal * level)
        )
        if requirement.reference == "white":
            return self._from_own_whites(requirement, shown, white)
        formula = {"delta-e-2000": differences.delta_2000, "delta-e-ab": differences.delta_ab}
        return formula[quantity](shown, reference, lab_white)

    def _from_own_whites(self, requirement: Requirement, shown: Array, white: Array) -> Array:
        """Give ΔE of L*a*b* from the measured white and of the target's from its own white.

        DESIGN.md gives `reference: white` as the measured white's chromaticity; of a coloured patch
        only this reading has a meaning, and of a grey it is the same.
        """
        book = self.book
        wanted = self._target_of(requirement)
        code = np.array([book.white_code])
        window = book.patches[requirement.patches[0]].window
        own = self.targets(requirement, window, code)[..., 1:2] * book.target.white_xyz
        one, two = differences.lab(shown, white), differences.lab(wanted, own)
        if requirement.quantity == "delta-e-ab":
            return np.asarray(np.linalg.norm(one - two, axis=-1))
        return differences.delta_2000_of_lab(two, one)

    def _coverage(self, requirement: Requirement) -> Array:
        corners = self._own(requirement)[..., :3, :]
        pure = channels(self.book.target.primaries, self.book.target.white_xy).T
        return 100 * differences.covered(uv_of(pure), uv_of(corners))[..., None]

    def _additivity(self, requirement: Requirement) -> Array:
        """Give A minus the target's own A; the white is of the same drive as the primaries."""
        window = self.book.patches[requirement.patches[0]].window
        level = self.book._level_of({})[0]
        white = self.book.at(self.book.target.neutral_code(level), window=window, off=1)
        black = self.book.black_patch(window)
        if white is None or black is None:
            raise Unknown("additivity: no white of the primaries' drive in the plan")
        roles = [*requirement.patches[:3], white, black]
        shown = self.patches[..., roles, 1]
        wanted = self.targets(requirement, window, self.book.codes[roles])[..., 1]
        return (_excess(shown) - _excess(wanted))[..., None]

    def _monotonicity(self, requirement: Requirement) -> Array:
        return np.diff(self._own(requirement)[..., 1], axis=-1).min(axis=-1, keepdims=True)

    def _slope_monotonicity(self, requirement: Requirement) -> Array:
        levels = self.book.neutral_levels()
        signal = np.array([levels[i] for i in requirement.patches])
        shown = self._own(requirement)[..., 1]
        slopes = np.diff(shown, axis=-1) / np.diff(signal)
        second = np.diff(slopes, axis=-1) / ((signal[2:] - signal[:-2]) / 2)
        step = (signal[-1] - signal[0]) / (len(signal) - 1)
        return second.min(axis=-1, keepdims=True) * step**2

    def _stability(self, requirement: Requirement) -> Array:
        rows = np.flatnonzero(np.isin(self.book.patch_of_row, requirement.patches))
        shown = self.xyz[..., rows, 1]
        return (100 * np.ptp(shown, axis=-1) / shown.mean(axis=-1))[..., None]


def _excess(levels: Array) -> Array:
    """Give A of the luminances of red, green, blue, white and black."""
    parts, white, black = levels[..., :3], levels[..., 3], levels[..., 4]
    total = (parts - black[..., None]).sum(axis=-1) + black
    return 100 * (total - white) / (white - black)


def _of_one(requirement: Requirement, values: Array) -> Requirement:
    """Give the requirement with one limit where its value is of several patches together."""
    count = values.shape[-2] if requirement.box else values.shape[-1]
    if count == len(requirement.limits):
        return requirement
    if len(set(requirement.limits)) > 1:
        raise Unknown(f"{requirement.id}: one value of several limits")
    return Requirement(**{**requirement.__dict__, "limits": (requirement.limits[0],) * count})


def best_exponent(light: Callable[[Array], Array], shown: Array) -> Array:
    """Give the exponent (...) of least squares in log luminance: golden section."""
    wanted = np.log(shown)

    def misfit(exponent: Array) -> Array:
        return np.sum(
            (np.log(np.maximum(light(exponent[..., None]), 1e-12)) - wanted) ** 2, axis=-1
        )

    low = np.full(shown.shape[:-1], 0.8)
    high = np.full(shown.shape[:-1], 4.5)
    ratio = (np.sqrt(5) - 1) / 2
    for _ in range(48):
        left, right = high - ratio * (high - low), low + ratio * (high - low)
        better = misfit(left) < misfit(right)
        low, high = np.where(better, low, left), np.where(better, right, high)
    return (low + high) / 2


def frame_of(
    book: Rulebook, xyz: Array, *, nominal_peak: float | None = None, surround: float | None = None
) -> Frame:
    """Decide HLG's γ and the form of its black on a display's own light (row, 3)."""
    target = book.target
    if target.curve != "hlg":
        return Frame()
    patches = book.averaging @ xyz
    peak_patch = book.at(book.peak_code, window=10.0, off=1)
    peak_patch = book.white_patch() if peak_patch is None else peak_patch
    peak = float(patches[peak_patch, 1])  # type: ignore[index]
    gamma = _gamma_of(book, target, peak, nominal_peak, surround)
    return Frame(gamma, _form_of(book, patches))


def _gamma_of(
    book: Rulebook, target: Target, peak: float, stated: float | None, surround: float | None
) -> float:
    """Give γ: of the declared peak if it is credible, of the rule's, or of the measured one."""
    if target.fixed_gamma is not None:
        return target.fixed_gamma
    low, high = target.white * 0.9, target.white * 1.1
    for requirement in book.requirements:
        over = requirement.body.get("over")
        named = over.get("patches") if isinstance(over, Mapping) else over
        if requirement.quantity == "luminance" and requirement.shall and named == "peak":
            least, most = requirement.limits[0]
            if least is not None and most is not None:
                low, high = least, most

    def within(value: float) -> bool:
        return low <= value <= high

    if stated is not None and abs(stated - peak) <= 0.1 * peak and _allowed(book, stated):
        return system_gamma(stated, surround)
    return system_gamma(target.white if within(peak) else peak, surround)


def _allowed(book: Rulebook, peak: float) -> bool:
    """Say whether a declared peak is inside the rule's limits for the peak."""
    for requirement in book.requirements:
        over = requirement.body.get("over")
        named = over.get("patches") if isinstance(over, Mapping) else over
        if requirement.quantity == "luminance" and requirement.shall and named == "peak":
            least, most = requirement.limits[0]
            if (least is not None and peak < least) or (most is not None and peak > most):
                return False
    return True


def _form_of(book: Rulebook, patches: Array) -> str:
    """Give the form of HLG's black that fits the neutrals better, γ left free."""
    levels = book.neutral_levels()
    kept = [i for i in levels if book.nominal[i] >= 0.1 and levels[i] <= 1 + 1e-9]
    white, black = book.white_patch(), book.black_patch()
    top, bottom = patches[white, 1], patches[black, 1]  # type: ignore[index]
    shown = patches[kept, 1]
    signal = np.clip([levels[i] for i in kept], 0, 1)
    neutral = np.repeat(signal[:, None], 3, axis=1)

    def residual(form: str) -> float:
        def light(exponent: Array) -> Array:
            power = float(np.squeeze(exponent))
            if form == "add":
                return bottom + (top - bottom) * hlg_scene(signal) ** power
            scene = Target.lifted_scene(neutral, np.array(top), np.array(bottom), power)
            return top * scene[:, 0] ** power

        best = best_exponent(light, shown)
        return float(np.sum((np.log(light(best)) - np.log(shown)) ** 2))

    return "lift" if residual("lift") < residual("add") * (1 - 1e-9) else "add"
