"""Transfer functions against published tables and colour-science."""

from __future__ import annotations

from decimal import Decimal

import colour
import numpy as np
import pytest
from colour.models.rgb.transfer_functions.itur_bt_2100 import (
    black_level_lift_BT2100_HLG,
    gamma_function_BT2100_HLG,
    oetf_inverse_BT2100_HLG,
    ootf_BT2100_HLG,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from compliance.colour import hlg
from compliance.colour.codes import decode
from compliance.colour.hlg import hlg_black_lift, hlg_inverse_oetf, hlg_ootf, hlg_system_gamma
from compliance.colour.pq import pq, pq_inverse
from compliance.colour.spaces import xyz_to_xy
from compliance.colour.transfer import bt1886, dcdm, power, srgb

TO = {"rtol": 1e-10, "atol": 1e-10}
SIGNAL = np.linspace(0, 1, 257)


ROUNDED_TWICE = {"1000": 1.1}
"""4.74746 stands in print as 4.748, by way of 4.7475; all other rows are rounded once."""


def half_a_digit(printed: str) -> float:
    return 0.5 * 10.0 ** Decimal(printed).as_tuple().exponent


# ---------------------------------------------------------------- BT.1886, sRGB, power


@pytest.mark.parametrize(("white", "black"), [(100, 0), (100, 0.05), (80, 0.4), (203.9, 0.456)])
def test_bt1886_agrees_with_colour_science(white: float, black: float) -> None:
    expected = colour.models.eotf_BT1886(SIGNAL, L_B=black, L_W=white)
    assert_allclose(bt1886(SIGNAL, white, black), expected, **TO)


def test_bt1886_is_the_form_of_the_recommendation() -> None:
    # ITU-R BT.1886 Annex 1, written as it stands there
    white, black, gamma = 100.0, 0.1, 2.2
    root = white ** (1 / gamma) - black ** (1 / gamma)
    a, b = root**gamma, black ** (1 / gamma) / root
    assert_allclose(bt1886(SIGNAL, white, black, gamma), a * (SIGNAL + b) ** gamma, **TO)


def test_bt1886_ends_at_black_and_white() -> None:
    assert_allclose(bt1886([0, 1], 100, 0.05), [0.05, 100], rtol=1e-12)
    assert bt1886(-0.1, 100, 0) == 0


def test_bt1886_takes_a_black_below_zero() -> None:
    # inverse curves are odd: (−.01)^(1/2.4) = −(.01^(1/2.4)), and V + b is cut at 0
    low = -(0.01 ** (1 / 2.4))
    expected = max(0.5 * (100 ** (1 / 2.4) - low) + low, 0) ** 2.4
    assert bt1886(0.5, 100, -0.01) == pytest.approx(expected, rel=1e-12)
    assert bt1886(0, 100, -0.01) == 0


def test_bt1886_takes_draws_on_leading_axes() -> None:
    white, black = np.full((5, 1), 100.0), np.linspace(0, 0.1, 5)[:, np.newaxis]
    level = bt1886(SIGNAL, white, black)
    assert level.shape == (5, 257)
    assert_allclose(level[3], bt1886(SIGNAL, 100, 0.075), **TO)


def test_srgb_agrees_with_colour_science() -> None:
    # the curve is continuous at .04045 only to 1e-8; on either side both agree
    assert_allclose(srgb(SIGNAL), colour.models.eotf_sRGB(SIGNAL), **TO)


def test_power_agrees_with_colour_science() -> None:
    assert_allclose(power(SIGNAL, 2.2), colour.gamma_function(SIGNAL, 2.2), **TO)


def test_curves_are_odd_below_zero() -> None:
    signal = np.array([0.01, 0.3, 0.9])
    for curve in (srgb, pq, pq_inverse, hlg_inverse_oetf, dcdm, lambda v: power(v, 2.4)):
        assert_allclose(curve(-signal), -curve(signal), rtol=1e-14)
        assert np.isfinite(curve(0.0))


# ---------------------------------------------------------------- PQ


def test_pq_table(table) -> None:
    # tests/tables/pq.csv: both published scales, 60 codes
    rows = table("pq")
    assert len(rows) == 60
    for row in rows:
        level = float(pq(decode(int(row["code"]), 12, False)))
        slack = ROUNDED_TWICE.get(row["code"], 1)
        assert abs(level - float(row["luminance"])) <= slack * half_a_digit(row["luminance"]), row


def test_pq_agrees_with_colour_science() -> None:
    assert_allclose(pq(SIGNAL), colour.models.eotf_ST2084(SIGNAL), **TO)
    level = np.geomspace(1e-5, 1e4, 200)
    assert_allclose(pq_inverse(level), colour.models.eotf_inverse_ST2084(level), **TO)
    assert_allclose(pq_inverse(0), colour.models.eotf_inverse_ST2084(0), **TO)


def test_pq_code_592() -> None:
    # EBU Tech 3320 v4.1: full-range 592 of 1023 is 199.2 cd/m²
    assert round(float(pq(decode(592, 10, False))), 1) == 199.2


def test_hdr_levels(table) -> None:
    # tests/tables/hdr-levels.csv
    for row in table("hdr-levels"):
        level, signal = float(row["luminance"]), float(row["signal"])
        if row["curve"] == "pq":
            assert abs(100 * pq_inverse(level) - signal) <= half_a_digit(row["signal"])
        else:
            scene = hlg_inverse_oetf(np.full(3, signal / 100))
            assert hlg_ootf(scene, 1000, hlg_system_gamma(1000)) == pytest.approx(level, abs=0.5)


def test_hdr_cinema_primaries(table) -> None:
    # tests/tables/hdr-cinema-primaries.csv
    for row in table("hdr-cinema-primaries"):
        codes = [int(row[name]) for name in "XYZ"]
        assert abs(pq(decode(codes, 12, False))[1] - float(row["luminance"])) <= 0.005


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(-1e4, 1e4).filter(lambda level: abs(level) > 1e-4))
def test_pq_round_trip(level: float) -> None:
    assert pq(pq_inverse(level)) == pytest.approx(level, rel=1e-9)


# ---------------------------------------------------------------- cinema


def test_cinema_scales(table) -> None:
    # tests/tables/sdr-cinema.csv: both published scales, 20 codes
    rows = table("sdr-cinema")
    assert len(rows) == 20
    for row in rows:
        computed, printed = float(dcdm(int(row["code"]) / 4095)), float(row["luminance"])
        share = float(row["tolerance"]) / 100
        assert abs(computed - printed) <= half_a_digit(row["luminance"]), row
        assert abs(printed / computed - 1) <= share, row


def test_cinema_white() -> None:
    # SMPTE ST 428-1; 3794 3960 3890 is 48.00 cd/m² at .314 .351
    xyz = dcdm(decode([3794, 3960, 3890], 12, False))
    assert round(float(xyz[1]), 2) == 48.00
    assert xyz_to_xy(xyz).round(3).tolist() == [0.314, 0.351]


def test_equal_cinema_codes_are_no_cinema_white() -> None:
    # SMPTE ST 428-1: 4095 4095 4095 is 52.37 cd/m² at .3333 .3333
    xyz = dcdm([1.0, 1.0, 1.0])
    assert xyz.tolist() == [52.37] * 3
    assert_allclose(xyz_to_xy(xyz), 1 / 3, atol=1e-15)


@pytest.mark.parametrize(
    ("codes", "luminance", "xy"),
    [
        ([2901, 2171, 0], 10.06, (0.680, 0.320)),
        ([2417, 3493, 1222], 34.64, (0.265, 0.690)),
        ([2013, 1415, 3815], 3.31, (0.150, 0.060)),
    ],
)
def test_cinema_primaries(codes: list[int], luminance: float, xy: tuple[float, float]) -> None:
    # computed from SMPTE ST 428-1 and RP 431-2 at 48 cd/m²; within half a code of each
    xyz = dcdm(decode(codes, 12, False))
    assert xyz[1] == pytest.approx(luminance, abs=0.005)
    assert_allclose(xyz_to_xy(xyz), xy, atol=2e-4)


# ---------------------------------------------------------------- HLG


def test_hlg_oetf_agrees_with_colour_science() -> None:
    assert_allclose(hlg_inverse_oetf(SIGNAL), oetf_inverse_BT2100_HLG(SIGNAL), **TO)


def test_hlg_constants_as_printed() -> None:
    # ITU-R BT.2100-3 Table 5
    assert (hlg.A, round(hlg.B, 8), round(hlg.C, 8)) == (0.17883277, 0.28466892, 0.55991073)


def test_hlg_ootf_agrees_with_colour_science() -> None:
    scene = np.random.default_rng(3).uniform(0.001, 1, (30, 3))
    expected = ootf_BT2100_HLG(scene, L_W=1000, gamma=1.2)
    assert_allclose(hlg_ootf(scene, 1000, 1.2), expected, **TO)


def test_hlg_ootf_works_on_luminance() -> None:
    # ITU-R BT.2100-3 note 5e: F = α·Ys^(γ−1)·E; channels keep their proportions
    scene = np.array([0.4, 0.2, 0.1])
    luminance = 0.2627 * 0.4 + 0.6780 * 0.2 + 0.0593 * 0.1
    assert_allclose(hlg_ootf(scene, 1000, 1.2), 1000 * luminance**0.2 * scene, rtol=1e-12)


@pytest.mark.parametrize("gamma", [0.8, 1.0, 1.2])
def test_no_scene_light_is_no_display_light(gamma: float) -> None:
    assert hlg_ootf([0, 0, 0], 1000, gamma).tolist() == [0, 0, 0]


def test_hlg_system_gamma() -> None:
    # ITU-R BT.2100-3 note 5f: usual 400 to 2000 cd/m², extended outside
    assert hlg_system_gamma(1000) == pytest.approx(1.2, abs=1e-15)
    for peak in (400, 600, 2000):
        assert hlg_system_gamma(peak) == pytest.approx(gamma_function_BT2100_HLG(peak), abs=1e-10)
    assert hlg_system_gamma(4000) == pytest.approx(1.2 * 1.111**2, abs=1e-12)
    assert hlg_system_gamma(100) == pytest.approx(1.2 * 1.111 ** np.log2(0.1), abs=1e-12)


@pytest.mark.parametrize(
    ("peak", "luminance"),
    [(500, 120), (600, 138), (1000, 203), (2000, 343), (3000, 456), (4000, 559), (5000, 653),
     (10_000, 1043)],
)  # fmt: skip
def test_hlg_of_75_percent_on_other_displays(peak: float, luminance: float) -> None:
    """ITU-R BT.2100-3 note 5f (digest), computed twice for another document of this project: the
    first formula from 400 to 2000 cd/m², the one of 1.111 per doubling outside."""
    scene = hlg_inverse_oetf(np.full(3, 0.75))
    shown = hlg_ootf(scene, peak, hlg_system_gamma(peak))
    assert_allclose(shown, luminance, atol=0.5)


@pytest.mark.parametrize(
    ("peak", "gamma"),
    [(400, 1.0329), (399.9, 1.0441), (2000, 1.3264), (2000.1, 1.3332), (4000, 1.4812)],
)
def test_hlg_system_gamma_has_a_formula_for_each_range(peak: float, gamma: float) -> None:
    """ITU-R BT.2100-3 note 5f (digest), by hand: 1.2 + .42·log10(Lw/1000), 1.2·1.111^log2(Lw/1000).

    They do not meet at the ends of the first's range.
    """
    assert hlg_system_gamma(peak) == pytest.approx(gamma, abs=1e-4)


@pytest.mark.parametrize(("surround", "gamma"), [(0.5, 1.276), (5, 1.2), (10, 1.177)])
def test_hlg_system_gamma_in_other_surrounds(surround: float, gamma: float) -> None:
    """ITU-R BT.814-4 Annex 5 (digest), at 1000 cd/m²."""
    assert hlg_system_gamma(1000, surround) == pytest.approx(gamma, abs=5e-4)


def test_hlg_system_gamma_follows_the_surround() -> None:
    # ITU-R BT.814-4 Annex 5: −.076 per decade above 5 cd/m²
    assert hlg_system_gamma(1000, 50) == pytest.approx(1.2 - 0.076, abs=1e-12)


def test_hlg_black_lift() -> None:
    # ITU-R BT.2100: β = √(3·(Lb/Lw)^(1/γ)), odd below zero
    expected = black_level_lift_BT2100_HLG(L_B=0.005, L_W=1000, gamma=1.2)
    assert hlg_black_lift(1000, 0.005, 1.2) == pytest.approx(expected, abs=1e-10)
    assert hlg_black_lift(1000, -0.005, 1.2) == pytest.approx(-expected, abs=1e-10)
    assert hlg_black_lift(1000, 0, 1.2) == 0


def test_hlg_lifted_black_is_the_black() -> None:
    beta = hlg_black_lift(1000, 0.005, 1.2)
    scene = hlg_inverse_oetf(np.full(3, beta))
    assert_allclose(hlg_ootf(scene, 1000, 1.2), 0.005, rtol=1e-10)
