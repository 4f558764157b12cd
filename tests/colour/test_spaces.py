"""Colour spaces against the standards' matrices and colour-science."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from coloraide import Color
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from compliance.colour.codes import decode, encode
from compliance.colour.pq import pq, pq_inverse
from compliance.colour.spaces import (
    PRIMARIES,
    WHITES,
    lightness,
    rgb_to_xyz_matrix,
    uv_to_xy,
    xy_to_uv,
    xy_to_xyz,
    xyz_to_itp,
    xyz_to_lab,
    xyz_to_luv,
    xyz_to_uv,
    xyz_to_xy,
)

TO = {"rtol": 1e-10, "atol": 1e-10}
WHITE = np.array([95.0, 100.0, 109.0])


@pytest.fixture
def colours() -> np.ndarray:
    return np.random.default_rng(7).uniform(0.001, 120, (40, 5, 3))


# ---------------------------------------------------------------- matrices


def test_p3_d65_matrix() -> None:
    # DCI HDR D-Cinema Addendum 1.2, Annex C.1
    printed = [
        [0.48657094864822, 0.26566769316910, 0.19821728523436],
        [0.22897456406975, 0.69173852183651, 0.07928691409375],
        [0, 0.04511338185890, 1.0439443689010],
    ]
    assert_allclose(rgb_to_xyz_matrix(PRIMARIES["p3"], WHITES["d65"]), printed, atol=5e-14)


@pytest.mark.parametrize(
    ("name", "white", "theirs"),
    [
        ("bt709", "d65", "ITU-R BT.709"),
        ("bt2020", "d65", "ITU-R BT.2020"),
        ("p3", "d65", "P3-D65"),
        ("p3", "dci", "DCI-P3"),
        ("adobe-rgb", "d65", "Adobe RGB (1998)"),
        ("bt601-525", "d65", "SMPTE C"),
        ("bt601-625", "d65", "ITU-R BT.470 - 625"),
    ],
)
def test_primaries_and_whites(name: str, white: str, theirs: str) -> None:
    space = colour.RGB_COLOURSPACES[theirs]
    assert_allclose(PRIMARIES[name], space.primaries, atol=1e-12)
    assert_allclose(WHITES[white], space.whitepoint, atol=1e-12)
    expected = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    assert_allclose(rgb_to_xyz_matrix(PRIMARIES[name], WHITES[white]), expected, **TO)


@pytest.mark.parametrize(("name", "theirs"), [("d50", "D50"), ("d55", "D55"), ("e", "E")])
def test_further_whites(name: str, theirs: str) -> None:
    # to the four decimals usual in print
    expected = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][theirs]
    assert_allclose(WHITES[name], expected, atol=5e-5)


def test_white_has_luminance_1() -> None:
    matrix = rgb_to_xyz_matrix(PRIMARIES["bt709"], WHITES["d65"])
    white = matrix @ np.ones(3)
    assert white[1] == pytest.approx(1, abs=1e-15)
    assert_allclose(xyz_to_xy(white), WHITES["d65"], atol=1e-15)


# ---------------------------------------------------------------- chromaticity


def test_chromaticity_agrees_with_colour_science(colours: np.ndarray) -> None:
    xy = xyz_to_xy(colours)
    assert_allclose(xy, colour.XYZ_to_xy(colours), **TO)
    assert_allclose(xyz_to_uv(colours), colour.xy_to_Luv_uv(xy), **TO)
    assert_allclose(xy_to_uv(xy), colour.xy_to_Luv_uv(xy), **TO)
    assert_allclose(uv_to_xy(xy_to_uv(xy)), xy, **TO)
    assert_allclose(xy_to_xyz(xy, colours[..., 1]), colours, **TO)


def test_no_light_has_no_chromaticity() -> None:
    assert np.isnan(xyz_to_xy([0, 0, 0])).all()
    assert np.isnan(xyz_to_uv([0, 0, 0])).all()
    assert np.isnan(xy_to_xyz([0.3, 0.0], 1.0)[[0, 2]]).all()


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(0.01, 0.7), st.floats(0.05, 0.8))
def test_xy_and_uv_round_trip(x: float, y: float) -> None:
    assert_allclose(uv_to_xy(xy_to_uv([x, y])), [x, y], rtol=1e-12, atol=1e-12)


# ---------------------------------------------------------------- CIELAB, CIELUV


def test_lab_and_luv_agree_with_colour_science(colours: np.ndarray) -> None:
    xy = xyz_to_xy(WHITE)
    lab = colour.XYZ_to_Lab(colours / WHITE[1], xy)
    luv = colour.XYZ_to_Luv(colours / WHITE[1], xy)
    assert_allclose(xyz_to_lab(colours, WHITE), lab, **TO)
    assert_allclose(xyz_to_luv(colours, WHITE), luv, **TO)
    assert_allclose(lightness(colours[..., 1] / 100), lab[..., 0], **TO)


def test_lightness_below_zero_stays_on_the_line() -> None:
    # CIE 15:2018, 8.2.1: L* = (29/3)³ Y/Yn up to (6/29)³
    ratio = np.array([-0.002, 0.0, 0.002, (6 / 29) ** 3])
    assert_allclose(lightness(ratio), (29 / 3) ** 3 * ratio, atol=1e-12)


def test_dark_is_a_colour_in_lab_and_luv() -> None:
    assert_allclose(xyz_to_lab([0, 0, 0], WHITE), [0, 0, 0], atol=1e-13)
    assert_allclose(xyz_to_luv([0, 0, 0], WHITE), [0, 0, 0], atol=1e-13)
    assert np.isfinite(xyz_to_lab([-0.01, -0.002, 0.003], WHITE)).all()


def test_the_white_may_have_leading_axes(colours: np.ndarray) -> None:
    whites = np.random.default_rng(8).uniform(80, 120, (40, 1, 3))
    lab, luv = xyz_to_lab(colours, whites), xyz_to_luv(colours, whites)
    assert_allclose(lab[3, 2], xyz_to_lab(colours[3, 2], whites[3, 0]), **TO)
    assert_allclose(luv[3, 2], xyz_to_luv(colours[3, 2], whites[3, 0]), **TO)


# ---------------------------------------------------------------- ITP


def test_itp_agrees_with_colour_science(colours: np.ndarray) -> None:
    # ITU-R BT.2100 Table 7, BT.2124-0: T is half of Ct
    space = colour.RGB_COLOURSPACES["ITU-R BT.2020"]
    matrix = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    rgb = colours @ np.linalg.inv(matrix).T
    lit = rgb.min(axis=-1) > 0
    theirs = colour.RGB_to_ICtCp(rgb[lit], method="ITU-R BT.2100-2 PQ")
    assert lit.sum() > 20
    assert_allclose(xyz_to_itp(colours)[lit], theirs * [1, 0.5, 1], **TO)


def test_itp_agrees_with_coloraide() -> None:
    # it counts 1.0 as 203 cd/m²
    for xyz in ([0.3, 0.32, 0.35], [1.2, 1.0, 0.4], [0.02, 0.015, 0.09]):
        expected = Color("xyz-d65", xyz).convert("ictcp").coords()
        itp = xyz_to_itp(np.array(xyz) * 203)
        assert_allclose(itp * [1, 2, 1], expected, atol=2e-6)


def test_neutral_has_no_colour_in_itp() -> None:
    white = xy_to_xyz(WHITES["d65"], 100.0)
    intensity, tritan, protan = xyz_to_itp(white)
    # 100 cd/m² is 50.8 % PQ: ITU-R BT.2408
    assert intensity == pytest.approx(0.508, abs=5e-4)
    assert_allclose([tritan, protan], 0, atol=1e-12)


def test_itp_is_odd() -> None:
    xyz = np.array([-0.01, -0.008, -0.006])
    assert_allclose(xyz_to_itp(xyz), -xyz_to_itp(-xyz), atol=1e-15)
    assert np.isfinite(xyz_to_itp([0, 0, 0])).all()


# ---------------------------------------------------------------- what the shipped rules lean on


def test_p3_red_lies_just_outside_bt2020() -> None:
    # linear blue is about −.0012; clipped, red moves to .6788 .3194, which colour-science finds
    # too, and as 10-bit narrow PQ codes of 203 or 1000 cd/m² to .6790 .3192
    p3 = rgb_to_xyz_matrix(PRIMARIES["p3"], WHITES["d65"])
    bt2020 = rgb_to_xyz_matrix(PRIMARIES["bt2020"], WHITES["d65"])
    red = np.linalg.solve(bt2020, p3 @ [1, 0, 0])
    assert red[2] == pytest.approx(-0.0012, abs=5e-5)
    clipped = np.maximum(red, 0)
    assert_allclose(xyz_to_xy(bt2020 @ clipped), [0.6788, 0.3194], atol=5e-5)
    for peak in (203, 1000):
        codes = encode(pq_inverse(clipped * peak), 10, True)
        coded = pq(decode(codes, 10, True))
        assert_allclose(xyz_to_xy(bt2020 @ coded), [0.6790, 0.3192], atol=5e-5)


def test_13_lightness_is_the_scale_of_u_and_v() -> None:
    # CIE 15:2018: at the white a step of .001 in u′v′ is 1.3 in u*v*
    white = xy_to_xyz(WHITES["d65"], 100.0)
    moved = xy_to_xyz(uv_to_xy(xyz_to_uv(white) + np.array([0.0006, 0.0008])), 100.0)
    difference = xyz_to_luv(moved, white) - xyz_to_luv(white, white)
    assert np.hypot(difference[1], difference[2]) == pytest.approx(1.3, abs=1e-10)
