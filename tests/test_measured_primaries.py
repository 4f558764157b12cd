"""Measured spectra of display primaries, made into a display, assessed, and computed elsewhere.

colour-science ships the spectra (taken by position, in steps of 5 nm). The display is additive
and without correction of its colours: each channel is brought to a gain that gives D65 at
120 cd/m², and follows the sRGB curve above a black of 0.02 cd/m². Its spectra go through the
program as a file; what the findings say is held against coloraide, from its own table of the
2° observer to its own colour differences.
"""

from __future__ import annotations

import warnings
from datetime import UTC, datetime

import numpy as np
import pytest
from coloraide import Color
from coloraide.cmfs import CIE_1931_2DEG
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.model import Assessment, Finding, Measurement
from compliance.planning.plan import measuring_plan
from compliance.readings.load import readings_from_bytes

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Array = NDArray[np.float64]
NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
PEAK, BLACK = 120.0, 0.02
D65 = (0.3127, 0.3290)
NODES = np.arange(380, 781)
"""nm"""
FUNCTIONS = np.array([CIE_1931_2DEG[int(at)] for at in NODES])
RULE = shipped_rule("web-srgb")


def xyz_of(spectrum: Array) -> Array:
    """cd/m², the sum over every nanometre of coloraide's table."""
    return np.asarray(683.0 * spectrum @ FUNCTIONS)


def primaries(place: int) -> Array:
    """(3, 401) W/(sr·m²·nm): red, green, blue at full drive, together D65 at the peak."""
    measured = list(colour.MSDS_DISPLAY_PRIMARIES.values())[place]
    fine = measured.copy().interpolate(colour.SpectralShape(380, 780, 1)).values.T
    white = np.array([D65[0] / D65[1], 1, (1 - sum(D65)) / D65[1]]) * (PEAK - BLACK)
    gains = np.linalg.solve(np.array([xyz_of(one) for one in fine]).T, white)
    return np.asarray(gains[:, None] * fine)


def spectrum(codes: tuple[int, int, int], channels: Array) -> Array:
    """What the display shows for 8-bit codes."""
    signal = np.array(codes) / 255
    light = np.where(signal <= 0.04045, signal / 12.92, ((signal + 0.055) / 1.055) ** 2.4)
    return np.asarray(light @ channels + BLACK / (PEAK - BLACK) * channels.sum(axis=0))


@pytest.fixture(scope="module", params=[0, 1])
def display(request: pytest.FixtureRequest) -> tuple[Array, Assessment]:
    """The channels, and the assessment of a plan read off them."""
    channels = primaries(request.param)
    plan = measuring_plan([RULE], RULE.encoding, technology="lcd")
    lines = [",".join(["r", "g", "b", "unit", *(str(at) for at in NODES)])]
    for step in plan.steps:
        values = (f"{value:.9g}" for value in spectrum(step.codes, channels))
        lines.append(",".join([*map(str, step.codes), "W/(sr·m²·nm)", *values]))
    data = ("\n".join(lines) + "\n").encode()
    readings = readings_from_bytes(data, "spectra.csv", RULE.encoding)
    assert readings.form == "spectra"
    return channels, assess(Measurement(RULE, readings), now=NOW)


def finding(assessment: Assessment, name: str) -> Finding:
    (found,) = (one for one in assessment.state.findings if one.id == name)
    return found


def seen(xyz: Array) -> Color:
    """X, Y, Z in cd/m² as coloraide's colour, white at Y 1."""
    return Color("xyz-d65", list(xyz / PEAK))


HUES = {
    "red": (255, 0, 0),
    "green": (0, 255, 0),
    "blue": (0, 0, 255),
    "cyan": (0, 255, 255),
    "magenta": (255, 0, 255),
    "yellow": (255, 255, 0),
}


def aimed(rgb: tuple[int, ...]) -> Array:
    """sRGB by coloraide at the display's white, on its black."""
    light = np.array(Color("srgb", [code / 255 for code in rgb]).convert("xyz-d65").coords())
    white = np.array(Color("srgb", [1, 1, 1]).convert("xyz-d65").coords())
    return np.asarray((PEAK - BLACK) * light + BLACK * white)


def test_luminance_and_white(display: tuple[Array, Assessment]) -> None:
    _, assessment = display
    assert finding(assessment, "white-level").value == pytest.approx(PEAK, rel=1e-6)
    assert finding(assessment, "white-point").value == pytest.approx(0, abs=1e-5)
    assert finding(assessment, "contrast").value == pytest.approx(PEAK / BLACK, rel=1e-5)


def test_primaries(display: tuple[Array, Assessment]) -> None:
    channels, assessment = display
    points = finding(assessment, "primaries").points
    assert {point.name for point in points} == {"red", "green", "blue"}
    for point in points:
        shown = seen(xyz_of(spectrum(HUES[point.name], channels))).uv("1976")
        target = seen(aimed(HUES[point.name])).uv("1976")
        apart = float(np.hypot(shown[0] - target[0], shown[1] - target[1]))
        assert point.value == pytest.approx(apart, abs=3e-5), point.name


def test_coverage(display: tuple[Array, Assessment]) -> None:
    from scipy import spatial

    channels, assessment = display
    corners = [
        seen(xyz_of(spectrum(HUES[hue], channels))).uv("1976") for hue in ("red", "green", "blue")
    ]
    aims = [
        Color("srgb", [code / 255 for code in HUES[hue]]).uv("1976")
        for hue in ("red", "green", "blue")
    ]
    shared = [*inside(aims, corners), *inside(corners, aims), *crossings(corners, aims)]
    area = spatial.ConvexHull(np.array(shared)).volume / spatial.ConvexHull(np.array(aims)).volume
    assert finding(assessment, "coverage").value == pytest.approx(100 * area, abs=0.02)


def inside(points: list[list[float]], triangle: list[list[float]]) -> list[list[float]]:
    from scipy import spatial

    hull = spatial.Delaunay(np.array(triangle))
    return [point for point in points if hull.find_simplex(np.array(point)) >= 0]


def crossings(one: list[list[float]], other: list[list[float]]) -> list[list[float]]:
    """Where the sides of two triangles cross."""
    found = []
    for start, end in zip(one, [*one[1:], one[0]], strict=True):
        for begin, stop in zip(other, [*other[1:], other[0]], strict=True):
            sides = np.array([np.subtract(end, start), np.subtract(begin, stop)]).T
            if abs(np.linalg.det(sides)) < 1e-12:
                continue
            along = np.linalg.solve(sides, np.subtract(begin, start))
            if np.all((along >= 0) & (along <= 1)):
                found.append(list(np.add(start, along[0] * np.subtract(end, start))))
    return found


def test_colours(display: tuple[Array, Assessment]) -> None:
    channels, assessment = display
    points = [one for one in finding(assessment, "colours").points if one.name in HUES]
    assert {point.name for point in points} == set(HUES)
    for point in points:
        shown = seen(xyz_of(spectrum(HUES[point.name], channels))).convert("lab-d65")
        target = seen(aimed(HUES[point.name])).convert("lab-d65")
        apart = shown.delta_e(target, method="2000", space="lab-d65")
        assert point.value == pytest.approx(apart, rel=1e-3, abs=1e-3), point.name


def test_greys_keep_the_colour_of_white(display: tuple[Array, Assessment]) -> None:
    _, assessment = display
    assert finding(assessment, "grey-balance").value == pytest.approx(0, abs=1e-5)
    assert finding(assessment, "grey").value == pytest.approx(0, abs=0.02)
