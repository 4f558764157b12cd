"""The catalogue of quantities: all facts about each, including its function.

A rule file only names a quantity; the rest belongs to this table, and no other part of
the program lists quantities by name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from compliance.quantities import formulas, measured
from compliance.quantities.measured import (
    Array,
    Between,
    Compute,
    Extreme,
    Index,
    Measured,
    Options,
    Roles,
)

EACH = ("each",)
STATISTICS = ("each", "mean", "percentile", "spread", "pairwise")


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the catalogue."""

    name: str
    unit: str
    """As printed; `1` for a plain number."""
    title: str
    definition: str
    source: str
    symbol: str = ""
    """Of a distance, used in pictures."""
    compute: Compute | None = None
    """Its values at patches; None: stated in the job."""
    values: Literal["point", "whole", "stated"] = "point"
    """`point`: one value per patch; `whole`: one of all patches together;
    `stated`: taken from the job, no patch at all."""
    signed: bool = False
    between: Between | None = None
    """Distance of two measured colours. A quantity that has one is a distance itself: never
    negative, 0 at best, so that its interval begins at 0."""
    pair: bool = False
    """The value is an (x, y) offset, its limits a box."""
    chromatic: bool = False
    """It depends on chromaticities, not on luminances alone."""
    effort: int = 1
    """How many times as long as for other quantities its values take to compute."""
    compares: Literal["centre", "positions", "steps", "repeats"] | None = None
    """The readings that it compares. `centre`: each patch with itself at the centre of the
    screen, or at 0 s if `over` names seconds; `positions`: places of the screen;
    `steps`: patches of a set at one place, in the order of their signal; `repeats`: single
    readings of one patch."""
    extreme: Extreme | None = None
    """The extreme at which its value is taken, fixed on the measured values."""
    fewest: int = 1
    """Smallest number of patches (readings, for `repeats`) for a value."""
    roles: tuple[str, ...] = ()
    """Built-in sets that it uses by itself; `over` is then optional."""
    company: tuple[str, ...] = ()
    """White or black of the same window, if it uses them for any reference."""
    ratio: bool = False
    """White over black of one window: a black below the meter's lowest leaves a bound,
    and a limit is judged as a difference, without dividing (`grading/grade.py` forms the value)."""
    pattern: str | None = None
    """The pattern of its patches."""
    target: Literal["chromaticity", "light", "primaries"] | None = None
    """It compares with the target, so codes out of reach are not judged. `chromaticity`:
    if the target is the reference; `light`: with luminance, always; `primaries`: with
    the target's primaries, independent of the readings."""
    picks_target: bool = False
    """The value is a luminance of the target, selected by the readings; codes above the
    target's peak count."""
    anchored: bool = False
    """It is 0 by construction at the white and the black that the target is fitted to."""
    references: tuple[str, ...] = ("target",)
    """Allowed values of `reference`; one entry: the key is not allowed."""
    dark: Literal["luminance", "chromaticity"] | None = None
    """The floor below which patches are not judged."""
    reading: bool = False
    """The value is the reading itself."""
    from_luminance: bool = False
    """The value grows with the patch's luminance alone, so that it has bounds where this is below
    the meter's lowest."""
    ideal: float | Literal["exponent"] | None = None
    """Its value on a display that is the target, if known beforehand; `exponent`:
    that of the target's curve."""
    ceiling: float = 0.0
    """Its value on a perfect display, which none exceeds; a minimum has the room below it."""
    uv_scale: float | None = None
    """Its value for a white that is off by 1 in u′v′, without a difference in luminance."""
    options: tuple[str, ...] = ()
    """Further keys allowed in a requirement."""
    example: str = "max: 1"
    """An example of a limit, for messages."""

    @property
    def statistics(self) -> tuple[str, ...]:
        """Allowed values of `statistic`."""
        return STATISTICS if self.values == "point" and not self.pair else EACH

    @property
    def distance(self) -> bool:
        """Whether it is never negative, and 0 at best."""
        return self.between is not None

    @property
    def one_window(self) -> bool:
        """Whether it compares patches of a set with each other, at one window and pattern."""
        return self.compares in ("positions", "steps")

    @property
    def by_position(self) -> bool:
        """Whether it compares positions of the screen."""
        return self.compares in ("centre", "positions")

    @property
    def calibrated(self) -> bool:
        """Whether loading a calibration changes it."""
        return self.values != "stated" and self.compares in (None, "steps")

    @property
    def hues(self) -> bool:
        """Whether it uses red, green and blue by itself."""
        return "red" in self.roles


def differences(
    quantity: Quantity, view: Measured, first: Index, second: Index, options: Options
) -> Array:
    """(..., m) difference between patches `first` and `second`, for `statistic: pairwise`.

    For a distance it is the distance between the two measured colours; for any other
    quantity the absolute difference of the two values.
    """
    if quantity.between is None:
        values = [values_at(quantity, view, Roles(index, {}), options) for index in (first, second)]
        return np.asarray(np.abs(values[0] - values[1]))
    view = view.fitted(options)
    colour, other = view.xyz[..., first, :], view.xyz[..., second, :]
    if options.ignore_luminance:
        other = formulas.without_luminance(other, colour)
    return quantity.between(view, first, colour, other)


def values_at(quantity: Quantity, view: Measured, roles: Roles, options: Options) -> Array:
    """(..., n) or (..., n, 2) values of a quantity that needs readings."""
    assert quantity.compute is not None
    return quantity.compute(view.fitted(options), roles, options)


CHROMATIC = ("target", "white", "centre", "adapted")
DIFFERENCE = ("target", "white", "adapted")

_ROWS = (
    Quantity(
        "luminance",
        "cd/m²",
        "Luminance",
        "luminance Y of the patch; of a patch read several times, the mean",
        "CIE 15:2018; CIE S 017 (ILV) 17-21-050",
        compute=measured.luminance,
        reading=True,
        from_luminance=True,
        example="max: 110",
    ),
    Quantity(
        "luminance-error",
        "%",
        "Luminance error",
        "by how much the luminance Y differs from Yt, that of the target: 100·(Y − Yt)/Yt; above "
        "black, where a rule says so, the measured black is taken off Y, and the target's black "
        "off Yt",
        "DCI HDR D-Cinema Addendum 1.2, Annex A",
        compute=measured.luminance_error,
        signed=True,
        from_luminance=True,
        target="light",
        anchored=True,
        dark="luminance",
        ideal=0.0,
        options=("above_black", "floor", "scale"),
        example="within: 5",
    ),
    Quantity(
        "relative-luminance",
        "%",
        "Relative luminance",
        "luminance as a share of that at the centre of the screen; of a patch shown for some time, "
        "as a share of its first reading",
        "SMPTE ST 431-1",
        compute=measured.relative_luminance,
        compares="centre",
        ceiling=100.0,
        example="min: 80",
    ),
    Quantity(
        "non-uniformity",
        "%",
        "Non-uniformity",
        "by how much the darkest point of the screen falls short of the brightest: "
        "100·(1 − Ymin/Ymax)",
        "DCI Direct View Addendum 1.2, 6.6.4",
        compute=measured.non_uniformity,
        values="whole",
        compares="positions",
        extreme=Extreme("range", measured.luminances),
        fewest=2,
        ideal=0.0,
        example="max: 6",
    ),
    Quantity(
        "contrast",
        "1",
        "Sequential contrast",
        "luminance of white over that of black, both in the same window at the same point",
        "EBU Tech 3320 v4.1, 1.5.3",
        compute=measured.contrast,
        values="whole",
        roles=("white", "black"),
        ratio=True,
        example="min: 1000",
    ),
    Quantity(
        "checkerboard-contrast",
        "1",
        "Checkerboard contrast",
        "mean luminance of the white fields of a checkerboard over that of its black fields",
        "DCI CTP 1.4, 7.5.8",
        compute=measured.checkerboard,
        values="whole",
        roles=("white", "black"),
        ratio=True,
        pattern="checkerboard",
        example="min: 100",
    ),
    Quantity(
        "fitted-exponent",
        "1",
        "Fitted exponent",
        "exponent with which the rule's curve, through measured white and black, fits the greys "
        "from 10 to 90 % of the signal best (least squares of the logarithm of luminance)",
        "ITU-R BT.1886 Annex 1; EBU Tech 3320 v4.1, 1.5.4",
        compute=measured.fitted_exponent,
        values="whole",
        compares="steps",
        fewest=2,
        roles=("white", "black"),
        company=("white", "black"),
        ideal="exponent",
        example="nominal: 2.4, within: 0.1",
    ),
    Quantity(
        "chromaticity",
        "1",
        "Chromaticity offset",
        "how far x and y of the patch lie from those of the target, or of the patch named "
        "(CIE 1931, 2° observer)",
        "CIE 15:2018; SMPTE ST 431-1",
        compute=measured.chromaticity,
        pair=True,
        chromatic=True,
        target="chromaticity",
        references=CHROMATIC,
        dark="chromaticity",
        options=("floor",),
        example="box: [0.002, 0.002]",
    ),
    Quantity(
        "chromaticity-difference",
        "1",
        "Chromaticity difference Δu′v′",
        "distance from the target, or from the patch named, in the CIE 1976 u′v′ diagram",
        "CIE 15:2018",
        symbol="Δu′v′",
        compute=measured.chromaticity_difference,
        between=measured.between_chromaticities,
        chromatic=True,
        target="chromaticity",
        references=CHROMATIC,
        dark="chromaticity",
        ideal=0.0,
        uv_scale=1.0,
        options=("floor",),
        example="max: 0.004",
    ),
    Quantity(
        "delta-uv-star",
        "1",
        "Chroma difference Δu*v*",
        "distance in chroma, 13·L*·Δu′v′: both colours are taken at the target's lightness L* "
        "relative to the measured white, so that a difference in lightness does not count",
        "CIE 15:2018; EBU Tech 3320 v4.1",
        symbol="Δu*v*",
        compute=measured.delta_uv_star,
        between=measured.between_chromas,
        chromatic=True,
        company=("white",),
        target="light",
        references=("target", "white", "centre"),
        dark="chromaticity",
        ideal=0.0,
        uv_scale=1300.0,
        options=("floor",),
        example="max: 1",
    ),
    Quantity(
        "delta-e-itp",
        "1",
        "Colour difference ΔE ITP",
        "difference from the target in colour and brightness, 720·√(ΔI² + ΔT² + ΔP²), in absolute "
        "luminance",
        "ITU-R BT.2124-0",
        symbol="ΔE ITP",
        compute=measured.delta_e_itp,
        between=measured.between_itp,
        chromatic=True,
        target="light",
        references=("target", "adapted"),
        dark="luminance",
        ideal=0.0,
        options=("floor", "ignore", "scale"),
        example="max: 5",
    ),
    Quantity(
        "delta-e-2000",
        "1",
        "Colour difference ΔE 2000",
        "difference from the target in colour and lightness, after CIEDE2000",
        "ISO/CIE 11664-6",
        symbol="ΔE 2000",
        compute=measured.against_white(formulas.delta_e_2000),
        between=measured.between_against_white(formulas.delta_e_2000),
        chromatic=True,
        target="light",
        references=DIFFERENCE,
        dark="chromaticity",
        ideal=0.0,
        options=("floor", "ignore", "scale"),
        example="max: 3",
    ),
    Quantity(
        "delta-e-uv",
        "1",
        "Colour difference ΔE*uv",
        "difference from the target in colour and lightness, in CIE 1976 L*u*v*",
        "ISO/CIE 11664-5",
        symbol="ΔE*uv",
        compute=measured.against_white(formulas.delta_e_uv),
        between=measured.between_against_white(formulas.delta_e_uv),
        chromatic=True,
        target="light",
        references=DIFFERENCE,
        dark="chromaticity",
        ideal=0.0,
        options=("floor", "ignore", "scale"),
        example="max: 4",
    ),
    Quantity(
        "delta-e-ab",
        "1",
        "Colour difference ΔE*ab",
        "difference from the target in colour and lightness, in CIE 1976 L*a*b*",
        "ISO/CIE 11664-4",
        symbol="ΔE*ab",
        compute=measured.against_white(formulas.delta_e_ab),
        between=measured.between_against_white(formulas.delta_e_ab),
        chromatic=True,
        target="light",
        references=DIFFERENCE,
        dark="chromaticity",
        ideal=0.0,
        options=("floor", "ignore", "scale"),
        example="max: 4",
    ),
    Quantity(
        "correlated-colour-temperature",
        "K",
        "Correlated colour temperature",
        "temperature of the black body whose colour is nearest, in the CIE 1960 diagram",
        "CIE 15:2018",
        compute=measured.temperature(0),
        effort=2,
        chromatic=True,
        dark="chromaticity",
        options=("floor",),
        example="nominal: 6504, within: 200",
    ),
    Quantity(
        "duv",
        "1",
        "Distance from the Planckian locus Duv",
        "distance from the nearest colour of a black body in the CIE 1960 diagram; positive on the "
        "green side",
        "CIE 15:2018",
        compute=measured.temperature(1),
        effort=2,
        signed=True,
        chromatic=True,
        dark="chromaticity",
        options=("floor",),
        example="within: 0.003",
    ),
    Quantity(
        "gamut-coverage",
        "%",
        "Gamut coverage",
        "share of the area of the target's triangle of red, green and blue that the measured one "
        "covers, in the CIE 1976 u′v′ diagram, or in CIE 1931 x, y where a rule says so",
        "common practice, no source; diagram CIE 15:2018",
        compute=measured.gamut_coverage,
        values="whole",
        chromatic=True,
        roles=("red", "green", "blue"),
        target="primaries",
        dark="chromaticity",
        ideal=100.0,
        ceiling=100.0,
        options=("diagram",),
        example="min: 97",
    ),
    Quantity(
        "additivity",
        "%",
        "Additivity",
        "by how much red, green and blue together differ from white, each less the black: "
        "100·(Σ(Yi − Yk) + Yk − Yw)/(Yw − Yk), less what the same is for the target",
        "after IEC 61966-4, recalled and not checked against it",
        compute=measured.additivity,
        values="whole",
        signed=True,
        roles=("red", "green", "blue", "white", "black"),
        target="light",
        ideal=0.0,
        example="within: 5",
    ),
    Quantity(
        "monotonicity",
        "cd/m²",
        "Monotonicity",
        "smallest rise in luminance from one step to the next",
        "DCI CTP 1.4, 7.5.10",
        compute=measured.monotonicity,
        values="whole",
        signed=True,
        compares="steps",
        extreme=Extreme("step", measured.steps),
        fewest=2,
        example="min: 0, exclusive: true",
    ),
    Quantity(
        "slope-monotonicity",
        "cd/m²",
        "Slope monotonicity",
        "smallest change of the rise in luminance from one step to the next (second divided "
        "difference times the mean step squared)",
        "DCI CTP 1.4, 7.5.10",
        compute=measured.slope_monotonicity,
        values="whole",
        signed=True,
        compares="steps",
        extreme=Extreme("bend", measured.bends),
        fewest=3,
        example="min: 0, exclusive: true",
    ),
    Quantity(
        "clipping-level",
        "cd/m²",
        "Clipping level",
        "luminance of the target at the lowest code that is shown within 2 % of the brightest",
        "common practice, no source",
        compute=measured.clipping_level,
        values="whole",
        compares="steps",
        extreme=Extreme("clipping", measured.luminances),
        fewest=2,
        target="light",
        picks_target=True,
        example="min: 950",
    ),
    Quantity(
        "stability",
        "%",
        "Stability",
        "range of the luminance of a patch that was read again and again, as a share of its mean",
        "common practice, no source",
        compute=measured.stability,
        values="whole",
        compares="repeats",
        extreme=Extreme("range", measured.repeats),
        fewest=2,
        ideal=0.0,
        example="max: 2",
    ),
    Quantity(
        "recorded",
        "as the field",
        "Recorded condition",
        "a condition as the job states it",
        "ISO/IEC 17025:2017, 7.8.3.1 a",
        values="stated",
        options=("field",),
        example="max: 12",
    ),
    Quantity(
        "declared",
        "1",
        "Declaration",
        "yes, no or a number that the facility declares for the slot, with who and when",
        "ISO/IEC 17025:2017, 7.8.2.2",
        values="stated",
        options=("declaration",),
        example="min: 1",
    ),
)

QUANTITIES: Mapping[str, Quantity] = {row.name: row for row in _ROWS}


def is_stated(name: str) -> bool:
    """Whether a quantity is stated in the job, without readings."""
    return name in QUANTITIES and QUANTITIES[name].values == "stated"


RECORDED_FIELDS: Mapping[str, tuple[str, str]] = {
    "surround": ("cd/m²", "luminance of the surround"),
    "ambient": ("lx", "ambient illuminance at the screen"),
    "warm-up": ("min", "warm-up before measuring"),
    "hours": ("h", "hours the display has run"),
    "calibration-age": ("d", "days from calibration to measuring"),
}
"""Fields of the job for `recorded`: unit and meaning."""
