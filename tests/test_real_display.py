"""A real display, measured: read from the data files of an installed package, copied nowhere.

The PyPI package `luxpy` ships 84 device settings (8-bit full range) and the X, Y, Z measured
for them. It is a wide-gamut display of 204 cd/m² with a bluish black and dark middle tones, so
no web display as it stands; what matters is that every number agrees with what other libraries
make of the same readings.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path

import numpy as np
import pytest
from helpers.outside_tools import colour
from helpers.shipped import shipped_rule
from numpy.typing import NDArray
from scipy import spatial

from compliance.assessment import assess
from compliance.model import Assessment, Finding, Measurement, Outcome, Reason, Verdict
from compliance.readings.load import load_readings

Array = NDArray[np.float64]
NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)


def _table(name: str) -> Array:
    (file,) = (one for one in metadata.files("luxpy") or () if one.name == name)
    return np.loadtxt(io.StringIO(file.read_text()), delimiter=",")


@pytest.fixture(scope="module")
def settings() -> Array:
    return _table("RGBcal.csv").astype(np.int64)


@pytest.fixture(scope="module")
def measured() -> Array:
    return _table("XYZcal.csv")


@pytest.fixture(scope="module")
def assessment(
    settings: Array, measured: Array, tmp_path_factory: pytest.TempPathFactory
) -> Assessment:
    lines = ["r,g,b,X,Y,Z"]
    for rgb, xyz in zip(settings, measured, strict=True):
        lines.append(",".join([*(str(code) for code in rgb), *(repr(float(v)) for v in xyz)]))
    path: Path = tmp_path_factory.mktemp("real") / "readings.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    rule, read = shipped_rule("web-srgb"), load_readings(path, "rgb-8-full")
    return assess(Measurement(rule, read), now=NOW)


def _finding(assessment: Assessment, name: str) -> Finding:
    (found,) = (one for one in assessment.state.findings if one.id == name)
    return found


def _of(settings: Array, measured: Array, *codes: int) -> Array:
    """Mean X, Y, Z of a setting."""
    return np.asarray(measured[np.all(settings == codes, axis=1)].mean(axis=0))


def _uv(xyz: Array) -> Array:
    return np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)))


HUES = {
    "red": (255, 0, 0),
    "green": (0, 255, 0),
    "blue": (0, 0, 255),
    "cyan": (0, 255, 255),
    "magenta": (255, 0, 255),
    "yellow": (255, 255, 0),
}


def _target(settings: Array, measured: Array, rgb: tuple[int, ...]) -> Array:
    """sRGB with the measured white, on top of the measured black."""
    white = _of(settings, measured, 255, 255, 255)[1]
    black = _of(settings, measured, 0, 0, 0)[1]
    space = colour.RGB_COLOURSPACES["sRGB"]
    xy = space.whitepoint
    matrix = colour.models.normalised_primary_matrix(space.primaries, xy)
    light = matrix @ colour.models.eotf_sRGB(np.array(rgb) / 255)
    return np.asarray(black * colour.xy_to_XYZ(xy) + (white - black) * light)


def test_the_data_are_those_described(settings: Array, measured: Array) -> None:
    assert settings.shape == measured.shape == (84, 3)
    neutral = np.all(settings == settings[:, :1], axis=1)
    assert len(np.unique(settings[neutral], axis=0)) == 20


def test_the_verdict(assessment: Assessment) -> None:
    assert assessment.verdict is Outcome.NOT_COMPLIANT
    failed = {one.id for one in assessment.state.findings if one.verdict is Verdict.FAIL}
    assert failed == {"white-level", "primaries", "colours", "grey", "grey-balance"}


def test_white(assessment: Assessment, settings: Array, measured: Array) -> None:
    white = _of(settings, measured, 255, 255, 255)
    assert _finding(assessment, "white-level").value == pytest.approx(white[1], rel=1e-12)
    point = _finding(assessment, "white-point")
    d65 = colour.xy_to_Luv_uv([0.3127, 0.3290])
    assert point.value == pytest.approx(float(np.linalg.norm(_uv(white) - d65)), abs=1e-12)
    assert point.verdict is Verdict.PASS


def test_contrast(assessment: Assessment, settings: Array, measured: Array) -> None:
    white, black = (_of(settings, measured, code, code, code)[1] for code in (255, 0))
    assert black == pytest.approx(0.456, abs=0.0005)
    contrast = _finding(assessment, "contrast")
    assert contrast.value == pytest.approx(white / black, rel=1e-12)
    assert contrast.verdict is Verdict.PASS


def test_primaries(assessment: Assessment, settings: Array, measured: Array) -> None:
    found = {point.name: point.value for point in _finding(assessment, "primaries").points}
    assert set(found) == {"red", "green", "blue"}
    for name, value in found.items():
        target = _target(settings, measured, HUES[name])
        apart = _uv(_of(settings, measured, *HUES[name])) - _uv(target)
        assert value == pytest.approx(float(np.linalg.norm(apart)), abs=1e-9), name


def test_colours(assessment: Assessment, settings: Array, measured: Array) -> None:
    """The target has sRGB's primaries about the white as measured."""
    white = _of(settings, measured, 255, 255, 255)
    own = colour.XYZ_to_xy(white)
    corners = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
    nominal, adapted = (
        colour.normalised_primary_matrix(corners, np.asarray(place))
        for place in ([0.3127, 0.3290], own)
    )
    found = {point.name: point.value for point in _finding(assessment, "colours").points}
    for name, rgb in HUES.items():
        target = adapted @ np.linalg.inv(nominal) @ _target(settings, measured, rgb)
        labs = [
            colour.XYZ_to_Lab(xyz / white[1], own)
            for xyz in (_of(settings, measured, *rgb), target)
        ]
        assert found[name] == pytest.approx(float(colour.delta_E(*labs, method="CIE 2000")), 1e-6)
    assert set(found) == set(HUES)


def test_greys(assessment: Assessment, settings: Array, measured: Array) -> None:
    """Every neutral setting from .1 cd/m² of nominal target on is judged against the own white."""
    white = _of(settings, measured, 255, 255, 255)
    found = {point.patch: point.value for point in _finding(assessment, "grey").points}
    levels = {int(rgb[0]) for rgb in settings if len(set(rgb)) == 1 and rgb[0] > 0}
    assert {patch[0] for patch in found} == levels
    for patch, value in found.items():
        target = _target(settings, measured, patch)
        here = colour.XYZ_to_Lab(
            _of(settings, measured, *patch) / white[1], colour.XYZ_to_xy(white)
        )
        there = colour.XYZ_to_Lab(target / white[1], [0.3127, 0.3290])
        expected = float(colour.delta_E(here, there, method="CIE 2000"))
        assert value == pytest.approx(expected, abs=1e-6), patch


def test_coverage(assessment: Assessment, settings: Array, measured: Array) -> None:
    """The overlap of the two triangles by scipy's half-planes and hull."""
    ours = np.array([_uv(_of(settings, measured, *HUES[name])) for name in RGB])
    theirs = np.asarray(colour.xy_to_Luv_uv([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]]))
    planes = np.vstack([spatial.ConvexHull(triangle).equations for triangle in (ours, theirs)])
    inside = np.asarray(colour.xy_to_Luv_uv([0.3127, 0.3290]))
    overlap = spatial.ConvexHull(spatial.HalfspaceIntersection(planes, inside).intersections)
    share = 100 * overlap.volume / spatial.ConvexHull(theirs).volume
    coverage = _finding(assessment, "coverage")
    assert coverage.value == pytest.approx(float(share), abs=1e-9)


RGB = ("red", "green", "blue")

# A ramp of 21 steps of 12.75 codes is met within half a step, 6.375 codes: nothing was measured
# near these levels.
MISSING_GREYS = ["grey 30 %", "grey 35 %", "grey 45 %", "grey 55 %", "grey 65 %"]
CORNERS = ("top-left", "top-right", "bottom-left", "bottom-right")
MISSING_SATURATIONS = [f"{hue} {share} %" for hue in HUES for share in (25, 50, 75)]


def test_what_was_not_measured_is_named(assessment: Assessment) -> None:
    missing = {one.id: list(one.missing) for one in assessment.state.findings if one.missing}
    assert len(missing.pop("memory-colours")) == 15
    places = [f"white, {place}" for place in CORNERS]
    assert missing == {
        "uniformity": places,
        "colour-uniformity": places,
        "stability": ["white (3 readings)"],
        "grey": MISSING_GREYS,
        "grey-mean": MISSING_GREYS,
        "grey-balance": MISSING_GREYS,
        "colours": MISSING_SATURATIONS,
        "colours-mean": MISSING_SATURATIONS,
    }


def test_a_mean_of_half_the_patches_is_no_mean(assessment: Assessment) -> None:
    for name in ("grey-mean", "colours-mean"):
        one = _finding(assessment, name)
        assert one.verdict is Verdict.NOT_ASSESSED, name
        assert one.reason is Reason.MISSING_READINGS


def test_a_point_outside_decides_though_others_are_missing(assessment: Assessment) -> None:
    for name in ("grey", "grey-balance", "colours"):
        one = _finding(assessment, name)
        assert one.missing
        assert one.verdict is Verdict.FAIL, name
