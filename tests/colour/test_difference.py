"""Colour differences against published pairs and other libraries."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from coloraide import Color
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from compliance.colour.difference import delta_e_2000, delta_e_ab, delta_e_itp, delta_e_uv
from compliance.colour.spaces import xyz_to_itp

TO = {"rtol": 1e-10, "atol": 1e-10}
COLOURS = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


@pytest.fixture
def pair() -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(11)
    first = random.uniform([0, -100, -100], [100, 100, 100], (20, 50, 3))
    near = first + random.normal(0, 3, first.shape)
    far = random.uniform([0, -100, -100], [100, 100, 100], (20, 50, 3))
    return np.concatenate([first, first]), np.concatenate([near, far])


def test_ciede2000_pairs(table) -> None:
    # tests/tables/ciede2000.csv
    rows = np.array([[float(cell) for cell in row.values()] for row in table("ciede2000")])
    assert len(rows) == 34
    assert_allclose(delta_e_2000(rows[:, :3], rows[:, 3:6]), rows[:, 6], rtol=0, atol=5.001e-5)
    assert_allclose(delta_e_2000(rows[:, 3:6], rows[:, :3]), rows[:, 6], rtol=0, atol=5.001e-5)


def test_differences_agree_with_colour_science(pair) -> None:
    assert_allclose(delta_e_2000(*pair), colour.difference.delta_E_CIE2000(*pair), **TO)
    assert_allclose(delta_e_ab(*pair), colour.difference.delta_E_CIE1976(*pair), **TO)
    assert_allclose(delta_e_uv(*pair), colour.difference.delta_E_CIE1976(*pair), **TO)


def test_ciede2000_agrees_with_coloraide(pair) -> None:
    first, second = pair[0][0], pair[1][0]
    theirs = [
        Color("lab-d65", one).delta_e(Color("lab-d65", other), method="2000", space="lab-d65")
        for one, other in zip(first.tolist(), second.tolist(), strict=True)
    ]
    assert_allclose(delta_e_2000(first, second), theirs, **TO)


def test_grey_against_grey_is_lightness_alone() -> None:
    # ISO/CIE 11664-6: ΔL′/SL, SL = 1 + .015·(L − 50)²/√(20 + (L − 50)²)
    assert delta_e_2000([49, 0, 0], [51, 0, 0]) == pytest.approx(2, abs=1e-12)
    assert delta_e_2000([0, 0, 0], [0, 0, 0]) == 0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(COLOURS, COLOURS)
def test_ciede2000_is_symmetric_and_never_nan(first, second) -> None:
    there, back = delta_e_2000(first, second), delta_e_2000(second, first)
    assert there >= 0
    assert there == pytest.approx(back, abs=1e-9)
    assert delta_e_2000(first, first) == 0


def test_itp_agrees_with_colour_science() -> None:
    # ITU-R BT.2124-0; it takes I, Ct, Cp and halves Ct itself
    random = np.random.default_rng(12)
    ictcp, other = random.uniform(0, 1, (2, 30, 3))
    half = np.array([1, 0.5, 1])
    expected = colour.difference.delta_E_ITP(ictcp, other)
    assert_allclose(delta_e_itp(ictcp * half, other * half), expected, **TO)


def test_itp_agrees_with_coloraide() -> None:
    # it counts 1.0 as 203 cd/m²
    pairs = [([0.3, 0.32, 0.35], [0.31, 0.32, 0.34]), ([1.2, 1.0, 0.4], [1.1, 1.0, 0.4])]
    for one, other in pairs:
        expected = Color("xyz-d65", one).delta_e(Color("xyz-d65", other), method="itp")
        ours = delta_e_itp(xyz_to_itp(np.array(one) * 203), xyz_to_itp(np.array(other) * 203))
        assert ours == pytest.approx(expected, rel=1e-4)


def test_itp_of_a_grey_by_hand() -> None:
    # ITU-R BT.2124-0: neutral colours differ in I alone, so 720 times the step in PQ signal;
    # 100 and 110 cd/m² at D65, PQ written out from ITU-R BT.2100 Table 4
    def signal(level: float) -> float:
        power = (level / 10000) ** (2610 / 16384)
        return ((0.8359375 + 18.8515625 * power) / (1 + 18.6875 * power)) ** 78.84375

    white = np.array([0.3127, 0.3290, 0.3583]) / 0.3290
    ours = delta_e_itp(xyz_to_itp(100 * white), xyz_to_itp(110 * white))
    assert ours == pytest.approx(720 * (signal(110) - signal(100)), rel=1e-9)
