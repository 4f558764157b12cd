"""The catalogue of quantities: names, units, definitions, sources.

A rule file only names a quantity; unit and definition belong to this table.
The functions are bound to the names in `bind.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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
    distance: bool = False
    """Never negative, 0 where all is well: its interval runs from 0."""
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
        "luminance Y of the patch; of a patch read several times, the mean",
        "CIE 15:2018; CIE S 017 (ILV) 17-21-050",
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
        "luminance as a share of that at the centre of the screen; of a patch shown for some time, "
        "as a share of its first reading",
        "SMPTE ST 431-1",
        example="min: 80",
    ),
    Quantity(
        "non-uniformity",
        "%",
        "Non-uniformity",
        "by how much the darkest point of the screen falls short of the brightest: "
        "100·(1 − Ymin/Ymax)",
        "DCI Direct View Addendum 1.2, 6.6.4",
        values="whole",
        example="max: 6",
    ),
    Quantity(
        "contrast",
        "1",
        "Sequential contrast",
        "luminance of white over that of black, both in the same window at the same point",
        "EBU Tech 3320 v4.1, 1.5.3",
        values="whole",
        roles=("white", "black"),
        example="min: 1000",
    ),
    Quantity(
        "checkerboard-contrast",
        "1",
        "Checkerboard contrast",
        "mean luminance of the white fields of a checkerboard over that of its black fields",
        "DCI CTP 1.4, 7.5.8",
        values="whole",
        roles=("white", "black"),
        example="min: 100",
    ),
    Quantity(
        "fitted-exponent",
        "1",
        "Fitted exponent",
        "exponent with which the rule's curve, through measured white and black, fits the greys "
        "from 10 to 90 % of the signal best (least squares of the logarithm of luminance)",
        "ITU-R BT.1886 Annex 1; EBU Tech 3320 v4.1, 1.5.4",
        values="whole",
        roles=("white", "black"),
        example="nominal: 2.4, within: 0.1",
    ),
    Quantity(
        "chromaticity",
        "1",
        "Chromaticity offset",
        "how far x and y of the patch lie from those of the target, or of the patch named "
        "(CIE 1931, 2° observer)",
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
        "distance from the target, or from the patch named, in the CIE 1976 u′v′ diagram",
        "CIE 15:2018",
        distance=True,
        target=True,
        references=CHROMATIC,
        dark="chromaticity",
        example="max: 0.004",
    ),
    Quantity(
        "delta-uv-star",
        "1",
        "Chroma difference Δu*v*",
        "distance in chroma, 13·L*·Δu′v′: both colours are taken at the target's lightness L* "
        "relative to the measured white, so that a difference in lightness does not count",
        "CIE 15:2018; EBU Tech 3320 v4.1",
        distance=True,
        target=True,
        references=CHROMATIC[:2],
        dark="chromaticity",
        example="max: 1",
    ),
    Quantity(
        "delta-e-itp",
        "1",
        "Colour difference ΔE ITP",
        "difference from the target in colour and brightness, 720·√(ΔI² + ΔT² + ΔP²), in absolute "
        "luminance",
        "ITU-R BT.2124-0",
        distance=True,
        target=True,
        dark="luminance",
        options=("floor", "ignore"),
        example="max: 5",
    ),
    Quantity(
        "delta-e-2000",
        "1",
        "Colour difference ΔE 2000",
        "difference from the target in colour and lightness, after CIEDE2000",
        "ISO/CIE 11664-6",
        distance=True,
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
        "difference from the target in colour and lightness, in CIE 1976 L*u*v*",
        "ISO/CIE 11664-5",
        distance=True,
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
        "difference from the target in colour and lightness, in CIE 1976 L*a*b*",
        "ISO/CIE 11664-4",
        distance=True,
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
        "temperature of the black body whose colour is nearest, in the CIE 1960 diagram",
        "CIE 15:2018",
        dark="chromaticity",
        example="nominal: 6504, within: 200",
    ),
    Quantity(
        "duv",
        "1",
        "Distance from the Planckian locus Duv",
        "distance from the nearest colour of a black body in the CIE 1960 diagram; positive on the "
        "green side",
        "CIE 15:2018",
        signed=True,
        dark="chromaticity",
        example="within: 0.003",
    ),
    Quantity(
        "gamut-coverage",
        "%",
        "Gamut coverage",
        "share of the area of the target's triangle of red, green and blue that the measured one "
        "covers, in the CIE 1976 u′v′ diagram, or in CIE 1931 x, y where a rule says so",
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
        "by how much red, green and blue together differ from white, each less the black: "
        "100·(Σ(Yi − Yk) + Yk − Yw)/(Yw − Yk), less what the same is for the target",
        "after IEC 61966-4, recalled and not checked against it",
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
        "smallest rise in luminance from one step to the next",
        "DCI CTP 1.4, 7.5.10",
        values="whole",
        signed=True,
        example="min: 0, exclusive: true",
    ),
    Quantity(
        "slope-monotonicity",
        "cd/m²",
        "Slope monotonicity",
        "smallest change of the rise in luminance from one step to the next (second divided "
        "difference times the mean step squared)",
        "DCI CTP 1.4, 7.5.10",
        values="whole",
        signed=True,
        example="min: 0, exclusive: true",
    ),
    Quantity(
        "clipping-level",
        "cd/m²",
        "Clipping level",
        "luminance of the target at the lowest code that is shown within 2 % of the brightest",
        "common practice, no source",
        values="whole",
        target=True,
        example="min: 950",
    ),
    Quantity(
        "stability",
        "%",
        "Stability",
        "range of the luminance of a patch that was read again and again, as a share of its mean",
        "common practice, no source",
        values="whole",
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

RECORDED_FIELDS: Mapping[str, tuple[str, str]] = {
    "surround": ("cd/m²", "luminance of the surround"),
    "ambient": ("lx", "ambient illuminance at the screen"),
    "warm-up": ("min", "warm-up before measuring"),
    "hours": ("h", "hours the display has run"),
    "calibration-age": ("d", "days from calibration to measuring"),
}
"""Fields of the job that `recorded` may name: unit and meaning."""
