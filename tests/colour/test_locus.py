"""The spectral locus against colour-science, and the distance outside it."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from numpy.testing import assert_allclose

from compliance.colour.chromaticity_diagram import (
    COLOUR_MATCHING,
    LOCUS,
    WAVELENGTHS,
    distance_outside,
)
from compliance.colour.spaces import PRIMARIES, WHITES, xy_to_uv, xyz_to_uv

OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]


def test_colour_matching_functions_agree_with_colour_science() -> None:
    # the table of 5 nm is printed to six decimals, that of 1 nm has more
    assert_allclose(COLOUR_MATCHING, OBSERVER[WAVELENGTHS], rtol=0, atol=5.01e-7)


def test_locus_agrees_with_colour_science() -> None:
    expected = colour.xy_to_Luv_uv(colour.XYZ_to_xy(OBSERVER[WAVELENGTHS]))
    assert_allclose(LOCUS, expected, rtol=0, atol=1e-5)
    expected = colour.xy_to_Luv_uv(colour.XYZ_to_xy(COLOUR_MATCHING))
    assert_allclose(LOCUS, expected, atol=1e-10)


def test_every_spectral_colour_lies_on_it() -> None:
    # 1 nm, to 780 nm: chords of 5 nm cut off less than .002
    spectral = xyz_to_uv(OBSERVER[np.arange(380, 781)])
    assert distance_outside(spectral).max() < 0.002


def test_displays_lie_inside() -> None:
    for primaries in PRIMARIES.values():
        assert distance_outside(xy_to_uv(primaries)).max() < 1e-3
    assert distance_outside(xy_to_uv(list(WHITES.values()))).tolist() == [0] * len(WHITES)


def test_mixtures_of_spectral_colours_lie_inside() -> None:
    random = np.random.default_rng(2)
    share = random.dirichlet(np.ones(len(WAVELENGTHS)) / 8, 400)
    assert distance_outside(xyz_to_uv(share @ COLOUR_MATCHING)).max() < 1e-4


@pytest.mark.parametrize("distance", [0.001, 0.01, 0.05])
def test_distance_beyond_the_purple_line(distance: float) -> None:
    along = LOCUS[-1] - LOCUS[0]
    out = np.array([along[1], -along[0]]) / np.linalg.norm(along)
    middle = (LOCUS[0] + LOCUS[-1]) / 2
    assert distance_outside(middle + distance * out) == pytest.approx(distance, abs=1e-12)
    assert distance_outside(middle - distance * out) == 0


def test_distance_beyond_a_spectral_colour() -> None:
    # 520 nm from the white on, by a twentieth of the way: nearer than that, yet outside
    white = xy_to_uv(WHITES["e"])
    point = LOCUS[WAVELENGTHS.tolist().index(520)]
    distance = distance_outside(point + 0.05 * (point - white))
    step = 0.05 * np.linalg.norm(point - white)
    assert 0.5 * step < distance <= step


def test_shapes_and_nan() -> None:
    points = np.array([[[0.2, 0.45], [0.7, 0.5]], [[np.nan, 0.5], [0.2, 0.7]]])
    distance = distance_outside(points)
    assert distance.shape == (2, 2)
    assert distance[0, 0] == 0
    assert distance[0, 1] > 0.05
    assert np.isnan(distance[1, 0])
    assert distance[1, 1] > 0.1
