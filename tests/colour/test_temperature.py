"""Correlated colour temperature against blackbodies and another library."""

from __future__ import annotations

import subprocess
import sys
import warnings

import colour
import numpy as np
import pytest
from coloraide import Color
from numpy.testing import assert_allclose

from compliance.colour.chromaticity_diagram import cct_duv
from compliance.colour.spaces import WHITES, xy_to_xyz, xyz_to_uv


@pytest.mark.parametrize("kelvin", [2500, 4000, 6504, 9300])
def test_a_blackbody_has_its_own_temperature(kelvin: float) -> None:
    # Planck's law, with the constant that CIE 15:2018 uses
    xyz = colour.sd_to_XYZ(colour.sd_blackbody(kelvin, colour.SpectralShape(360, 780, 1)))
    temperature, duv = cct_duv(xyz)
    assert temperature == pytest.approx(kelvin, rel=5e-4)
    assert duv == pytest.approx(0, abs=1e-5)


def test_white_points() -> None:
    # CIE 15:2018: D65 is near 6504 K, above the Planckian locus
    temperature, duv = cct_duv(xy_to_xyz(WHITES["d65"], 100.0))
    assert temperature == pytest.approx(6504, abs=3)
    assert duv == pytest.approx(0.0032, abs=1e-4)


@pytest.mark.parametrize("xy", [(0.3127, 0.3290), (0.314, 0.351), (0.30, 0.29), (0.44, 0.40)])
def test_agrees_with_coloraide(xy: tuple[float, float]) -> None:
    xyz = xy_to_xyz(xy, 1.0)
    expected = Color("xyz-d65", xyz.tolist()).cct(method="ohno-2013")
    temperature, duv = cct_duv(xyz)
    assert temperature == pytest.approx(expected[0], rel=1e-3)
    assert duv == pytest.approx(expected[1], abs=2e-5)


def test_agrees_with_colour_science_everywhere() -> None:
    """It looks at one colour after the other; near 100 000 K both lose digits."""
    xy = np.random.RandomState(0).uniform((0.16, 0.05), (0.6, 0.4), (400, 2))
    xyz = xy_to_xyz(xy, 1.0)
    found = cct_duv(xyz)
    with warnings.catch_warnings():  # of colours beyond the table's ends
        warnings.simplefilter("ignore")
        expected = colour.temperature.uv_to_CCT_Ohno2013(xyz_to_uv(xyz) * np.array([1, 2 / 3]))
    assert_allclose(found[:, 0], expected[:, 0], rtol=1e-4)
    assert_allclose(found[:, 1], expected[:, 1], rtol=1e-6)


def test_luminance_does_not_matter_and_no_light_has_none() -> None:
    xyz = xy_to_xyz(WHITES["d65"], 100.0)
    many = cct_duv(np.array([[xyz, xyz / 7], [np.zeros(3), xyz * 3]]))
    assert many.shape == (2, 2, 2)
    assert np.isnan(many[1, 0]).all()
    assert_allclose(many[0, 1], many[0, 0], rtol=1e-9)
    assert_allclose(many[1, 1], many[0, 0], rtol=1e-9)


def test_the_library_is_loaded_only_when_used() -> None:
    code = (
        "import sys, compliance.colour.chromaticity_diagram, compliance.colour.spaces;"
        "sys.exit('colour' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
