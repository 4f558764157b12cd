"""The catalogue of quantities: names, units, definitions, sources.

A rule file only names a quantity; unit and definition belong to this table.
The functions are bound to the names in `bind.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["QUANTITIES", "RECORDED_FIELDS", "Quantity"]

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
    values: str = "point"
    """`point`: one value per patch; `whole`: one of all patches together;
    `stated`: taken from the job, no patch at all."""
    signed: bool = False
    pair: bool = False
    """The value is an (x, y) offset, its limits a box."""
    roles: tuple[str, ...] = ()
    """Built-in sets it takes by itself; `over` may then be left out."""
    target: bool = False
    """It compares with the target, so codes out of reach are not judged."""
    references: tuple[str, ...] = ("target",)
    """What `reference` may say; one entry: the key is not allowed."""
    dark: str | None = None
    """Which floor keeps it from dark patches: `luminance` or `chromaticity`."""
    options: tuple[str, ...] = ()
    """Further keys that a requirement on it may carry."""
    example: str = "max: 1"
    """A limit as it might be written, for messages."""

    @property
    def statistics(self) -> tuple[str, ...]:
        """What `statistic` may say."""
        return STATISTICS if self.values == "point" and not self.pair else EACH


CHROMATIC = ("target", "white", "centre")

_ROWS = (
    Quantity(
        "luminance",
        "cd/m²",
        "Luminance",
        "Y of the patch, mean of its repeats",
        "CIE 15:2018; CIE S 017 (ILV) 17-21-050",
        example="max: 110",
    ),
    Quantity(
        "luminance-error",
        "%",
        "Luminance error",
        "100·(Y − Yt)/Yt against the target; above_black subtracts the measured black from Y "
        "and the target of signal 0 from Yt",
        "DCI HDR D-Cinema Addendum 1.2, Annex A",
        signed=True,
        target=True,
        dark="luminance",
        options=("above_black", "floor"),
        example="within: 5",
    ),
    Quantity(
        "relative-luminance",
        "%",
        "Relative luminance",
        "100·Y/Y at the centre, by position; over seconds: 100·Y/Y of the same patch at 0 s",
        "SMPTE ST 431-1",
        example="min: 80",
    ),
    Quantity(
        "non-uniformity",
        "%",
        "Non-uniformity",
        "100·(1 − Ymin/Ymax) over positions",
        "DCI Direct View Addendum 1.2, 6.6.4",
        values="whole",
        example="max: 6",
    ),
    Quantity(
        "contrast",
        "1",
        "Sequential contrast",
        "Y of white over Y of black, same window and position",
        "EBU Tech 3320 v4.1, 1.5.3",
        values="whole",
        roles=("white", "black"),
        example="min: 1000",
    ),
    Quantity(
        "checkerboard-contrast",
        "1",
        "Checkerboard contrast",
        "mean Y of the white fields over mean Y of the black fields",
        "DCI CTP 1.4, 7.5.8",
        values="whole",
        roles=("white", "black"),
        example="min: 100",
    ),
    Quantity(
        "fitted-exponent",
        "1",
        "Fitted exponent",
        "exponent of the rule's curve that fits the neutral ramp best, least squares in log "
        "luminance over signal .1 to .9, with the measured white and black",
        "ITU-R BT.1886 Annex 1; EBU Tech 3320 v4.1, 1.5.4",
        values="whole",
        roles=("white", "black"),
        example="nominal: 2.4, within: 0.1",
    ),
    Quantity(
        "chromaticity",
        "1",
        "Chromaticity offset",
        "(x, y) of the patch minus (x, y) of the reference, CIE 1931 2°",
        "CIE 15:2018; SMPTE ST 431-1",
        pair=True,
        target=True,
        references=CHROMATIC,
        dark="chromaticity",
        example="box: [0.002, 0.002]",
    ),
    Quantity(
        "chromaticity-difference",
        "1",
        "Chromaticity difference Δu′v′",
        "distance from the reference in the CIE 1976 u′v′ diagram",
        "CIE 15:2018",
        target=True,
        references=CHROMATIC,
        dark="chromaticity",
        example="max: 0.004",
    ),
    Quantity(
        "delta-uv-star",
        "1",
        "Chroma difference Δu*v*",
        "13·L*·Δu′v′ with both points at the target's L* relative to the measured white; "
        "lightness is excluded",
        "CIE 15:2018; EBU Tech 3320 v4.1",
        target=True,
        references=CHROMATIC[:2],
        dark="chromaticity",
        example="max: 1",
    ),
    Quantity(
        "delta-e-itp",
        "1",
        "Colour difference ΔE ITP",
        "720·√(ΔI² + ΔT² + ΔP²) against the target, in absolute luminance",
        "ITU-R BT.2124-0",
        target=True,
        dark="luminance",
        options=("floor", "ignore"),
        example="max: 5",
    ),
    Quantity(
        "delta-e-2000",
        "1",
        "Colour difference ΔE 2000",
        "CIEDE2000 against the target",
        "ISO/CIE 11664-6",
        target=True,
        references=CHROMATIC[:2],
        dark="chromaticity",
        options=("ignore",),
        example="max: 3",
    ),
    Quantity(
        "delta-e-uv",
        "1",
        "Colour difference ΔE*uv",
        "CIE 1976 difference in CIELUV against the target",
        "ISO/CIE 11664-5",
        target=True,
        references=CHROMATIC[:2],
        dark="chromaticity",
        options=("ignore",),
        example="max: 4",
    ),
    Quantity(
        "delta-e-ab",
        "1",
        "Colour difference ΔE*ab",
        "CIE 1976 difference in CIELAB against the target",
        "ISO/CIE 11664-4",
        target=True,
        references=CHROMATIC[:2],
        dark="chromaticity",
        options=("ignore",),
        example="max: 4",
    ),
    Quantity(
        "correlated-colour-temperature",
        "K",
        "Correlated colour temperature",
        "temperature of the nearest point on the Planckian locus, CIE 1960 diagram",
        "CIE 15:2018",
        dark="chromaticity",
        example="nominal: 6504, within: 200",
    ),
    Quantity(
        "duv",
        "1",
        "Distance from the Planckian locus Duv",
        "signed distance from the nearest point on the Planckian locus, CIE 1960 diagram, "
        "positive above it",
        "CIE 15:2018",
        signed=True,
        dark="chromaticity",
        example="within: 0.003",
    ),
    Quantity(
        "gamut-coverage",
        "%",
        "Gamut coverage",
        "share of the target triangle's area that the measured triangle covers, in u′v′ "
        "(diagram: xy on request)",
        "common practice, no source; diagram CIE 15:2018",
        values="whole",
        roles=("red", "green", "blue"),
        target=True,
        dark="chromaticity",
        options=("diagram",),
        example="min: 97",
    ),
    Quantity(
        "additivity",
        "%",
        "Additivity",
        "100·(Σ(Yi − Yk) + Yk − Yw)/(Yw − Yk) of red, green and blue against white at one "
        "drive, minus the same of the target",
        "IEC 61966-4 (from memory)",
        values="whole",
        signed=True,
        roles=("red", "green", "blue", "white", "black"),
        target=True,
        example="within: 5",
    ),
    Quantity(
        "monotonicity",
        "cd/m²",
        "Monotonicity",
        "smallest first difference of luminance along the set",
        "DCI CTP 1.4, 7.5.10",
        values="whole",
        signed=True,
        example="min: 0, exclusive: true",
    ),
    Quantity(
        "slope-monotonicity",
        "cd/m²",
        "Slope monotonicity",
        "smallest second divided difference of luminance along the set, times its mean step "
        "squared",
        "DCI CTP 1.4, 7.5.10",
        values="whole",
        signed=True,
        example="min: 0, exclusive: true",
    ),
    Quantity(
        "clipping-level",
        "cd/m²",
        "Clipping level",
        "target of the lowest code whose luminance is within 2 % of the highest",
        "common practice, no source",
        values="whole",
        target=True,
        example="min: 950",
    ),
    Quantity(
        "stability",
        "%",
        "Stability",
        "range of the repeated patch's luminance over the readings, of its mean",
        "common practice, no source",
        values="whole",
        example="max: 2",
    ),
    Quantity(
        "recorded",
        "as the field",
        "Recorded condition",
        "a field of the job",
        "ISO/IEC 17025:2017, 7.8.3.1 a",
        values="stated",
        options=("field",),
        example="max: 12",
    ),
    Quantity(
        "declared",
        "1",
        "Declaration",
        "yes (1), no (0) or a number that the facility declares for the slot, with who and when",
        "ISO/IEC 17025:2017, 7.8.2.2",
        values="stated",
        options=("declaration",),
        example="min: 1",
    ),
)

QUANTITIES: Mapping[str, Quantity] = {row.name: row for row in _ROWS}

RECORDED_FIELDS: Mapping[str, tuple[str, str]] = {
    "surround": ("cd/m²", "luminance of the surround"),
    "ambient": ("lx", "ambient illuminance at the screen"),
    "warm-up": ("min", "warm-up before measuring"),
    "hours": ("h", "hours the display has run"),
    "calibration-age": ("d", "days from calibration to measuring"),
}
"""Fields of the job that `recorded` may name: unit and meaning."""
