"""What an ideal display should show, against the standards' own formulas and tables."""

from __future__ import annotations

import numpy as np
import pytest
from helpers import builders

from compliance import targets
from compliance.colour import hlg, pq, spaces
from compliance.errors import RuleError
from compliance.model import ENCODINGS, Target
from compliance.targets import TargetModel, target_model


def model(target: Target, encoding: str) -> TargetModel:
    return target_model(builders.rule(target, encoding=encoding), ENCODINGS[encoding])


def shown(one: TargetModel, signal: object, white: float, black: float) -> np.ndarray:
    signal = np.atleast_2d(np.asarray(signal, dtype=np.float64))
    return targets.target_xyz(signal, one, np.full(len(signal), white), np.full(len(signal), black))


def test_cinema_white_is_3794_3960_3890() -> None:
    """SMPTE ST 428-1: 48.00 cd/m² at .314 .351; equal codes of 4095 would be 52.37 at E."""
    one = model(builders.cinema(), "xyz-12-full")
    assert np.rint(targets.white_signal(one) * 4095).tolist() == [3794, 3960, 3890]
    xyz = targets.nominal_xyz(np.array([[3794, 3960, 3890]]) / 4095, one)[0]
    assert xyz[1] == pytest.approx(48.00, abs=0.005)
    assert spaces.xyz_to_xy(xyz) == pytest.approx([0.314, 0.351], abs=5e-5)
    equal = targets.nominal_xyz(np.ones((1, 3)), one)[0]
    assert equal[1] == pytest.approx(52.37, abs=1e-9)
    assert spaces.xyz_to_xy(equal) == pytest.approx([1 / 3, 1 / 3], abs=1e-12)


def test_cinema_white_fitted_to_itself_is_exact() -> None:
    one = model(builders.cinema(), "xyz-12-full")
    xyz = shown(one, targets.white_signal(one), 47.3, 0.02)
    assert xyz[0, 1] == pytest.approx(47.3, abs=1e-12)


def test_bt1886_lifts_the_black_and_the_others_add_it() -> None:
    """ITU-R BT.1886 Annex 1 at half signal, white 100, black 0.1, against added black."""
    half, white, black = 0.5, 100.0, 0.1
    root = 1 / 2.4
    a = (white**root - black**root) ** 2.4
    b = black**root / (white**root - black**root)
    lifted = shown(model(builders.target("bt1886"), "rgb-8-full"), [[half] * 3], white, black)
    assert lifted[0, 1] == pytest.approx(a * (half + b) ** 2.4, rel=1e-12)
    power = model(builders.target("power", exponent=2.4), "rgb-8-full")
    added = shown(power, [[half] * 3], white, black)
    assert added[0, 1] == pytest.approx(black + (white - black) * half**2.4, rel=1e-12)
    assert lifted[0, 1] - added[0, 1] > 1.0


@pytest.mark.parametrize("curve", ["bt1886", "srgb", "power", "hlg"])
def test_black_and_white_are_met_exactly(curve: str) -> None:
    exponent = 2.2 if curve == "power" else None
    container = builders.BT2020 if curve == "hlg" else builders.BT709
    target = builders.target(curve, exponent=exponent, container=container)
    ends = shown(model(target, "rgb-10-narrow"), [[0] * 3, [1] * 3], 117.0, 0.07)
    assert ends[:, 1] == pytest.approx([0.07, 117.0], rel=1e-7 if curve == "hlg" else 1e-12)
    assert spaces.xyz_to_xy(ends) == pytest.approx(np.array([builders.D65] * 2), abs=1e-12)


def test_pq_is_absolute_and_has_no_black() -> None:
    one = model(builders.pq(), "rgb-10-full")
    codes = np.array([[592] * 3]) / 1023
    assert shown(one, codes, 55.0, 9.0)[0, 1] == pytest.approx(199.2, abs=0.05)
    assert shown(one, [[0] * 3], 55.0, 9.0)[0, 1] == 0.0


@pytest.mark.parametrize("peak", [500.0, 1000.0, 2000.0, 4000.0])
def test_hlg_of_a_neutral_is_its_own_formula(peak: float) -> None:
    """ITU-R BT.2100-3: L = Lw·E^γ for R = G = B, with E by the inverse OETF, no black."""
    gamma = float(hlg.hlg_system_gamma(peak))
    target = builders.target(
        "hlg",
        luminance_white=peak,
        luminance_peak=peak,
        container=builders.BT2020,
        primaries=builders.BT2020,
        system_gamma=gamma,
    )
    level = np.linspace(0, 1, 11)
    scene = np.where(
        level <= 0.5, level**2 / 3, (np.exp((level - 0.55991073) / 0.17883277) + 0.28466892) / 12
    )
    one = model(target, "rgb-10-full")
    neutral = np.repeat(level[:, None], 3, axis=1)
    assert shown(one, neutral, peak, 0.0)[:, 1] == pytest.approx(peak * scene**gamma, rel=1e-6)


def test_hlg_reference_level() -> None:
    """ITU-R BT.2408-8 Table 1 (digest): 75 % HLG is 203 cd/m² at a peak of 1000."""
    target = builders.target(
        "hlg", luminance_white=1000.0, container=builders.BT2020, system_gamma=1.2
    )
    got = shown(model(target, "rgb-10-full"), [[0.75] * 3], 1000.0, 0.0)[0, 1]
    assert got == pytest.approx(203, abs=0.5)


def test_draws_share_one_call() -> None:
    """Leading axes are free: many whites and blacks at once give what each gives alone."""
    one = model(builders.target(), "rgb-8-full")
    signal = np.linspace(0, 1, 5)[:, None] * np.ones(3)
    whites, blacks = np.array([90.0, 100.0, 110.0]), np.array([0.01, 0.1, -0.001])
    together = targets.target_xyz(
        signal, one, np.repeat(whites[:, None], 5, 1), np.repeat(blacks[:, None], 5, 1)
    )
    assert together.shape == (3, 5, 3)
    assert np.isfinite(together).all()
    for place in range(3):
        alone = shown(one, signal, whites[place], blacks[place])
        assert together[place] == pytest.approx(alone, rel=1e-14)


@pytest.mark.parametrize(
    ("target", "encoding"),
    [
        (builders.target(), "rgb-10-narrow"),
        (builders.target("srgb"), "rgb-8-full"),
        (builders.target("power", exponent=2.2), "rgb-8-full"),
        (builders.target("hlg", container=builders.BT2020), "rgb-12-full"),
        (builders.pq(), "rgb-12-full"),
        (builders.cinema(), "xyz-12-full"),
        (builders.cinema(), "rgb-12-full"),
    ],
)
def test_signal_of_is_the_inverse(target: Target, encoding: str) -> None:
    one = model(target, encoding)
    signal = np.array([[0.2, 0.5, 0.4], [0.6, 0.6, 0.6], [0.0, 0.0, 0.0], [0.7, 0.3, 0.1]])
    if one.kind == "xyz":
        signal = signal[1:3]
    light = targets.nominal_xyz(signal, one._replace(black_luminance=0.0)) / one.white_luminance
    assert targets.signal_of(light, one) == pytest.approx(signal, abs=1e-6)


def test_code_2546_is_not_above_the_peak() -> None:
    """DCI HDR Addendum 1.2: 299.6 cd/m² is code 2546 of X″Y″Z″; a code step is no excess."""
    target = builders.pq(299.6, white=builders.D65)
    one = model(target, "rgb-12-full")
    exact = float(pq.pq_inverse(299.6)) * 4095
    assert 2545.5 < exact < 2546
    codes = np.array([2546, 2547, 2583])
    above = targets.above_peak(codes[:, None] / 4095 * np.ones(3), one)
    assert above.tolist() == [False, True, True]


def test_p3_red_in_bt2020_is_within_reach_and_bt2020_red_is_not() -> None:
    one = model(builders.pq(), "rgb-12-full")
    light = one.from_target @ np.array([1.0, 0.0, 0.0])
    red = targets.quantised(targets.signal_of(light, one), one)
    pure = np.array([red.max(), 0.0, 0.0])
    assert targets.unreachable(np.stack([red, pure]), one).tolist() == [False, True]
    xy = spaces.xyz_to_xy(targets.nominal_xyz(red[None], one))[0]
    assert xy == pytest.approx([0.6790, 0.3192], abs=5e-4)


@pytest.mark.parametrize("black", [0.0, 0.01, 0.1])
def test_bt1886_lifts_the_black_in_the_display_s_own_primaries(black: float) -> None:
    """Pure P3 in a BT.2020 signal: that channel at 100 cd/m² of white, the others at the black."""
    own = spaces.rgb_to_xyz_matrix(builders.P3, builders.D65)
    target = builders.target("bt1886", primaries=builders.P3, container=builders.BT2020)
    one = model(target, "rgb-12-full")
    inside = np.linalg.inv(spaces.rgb_to_xyz_matrix(builders.BT2020, builders.D65)) @ own
    found = shown(one, np.clip(inside.T, 0, 1) ** (1 / 2.4), 100.0, black)
    expected = own @ (black + (100 - black) * np.eye(3))
    # Red lies just outside BT.2020: its blue of -.0012 is lost, which the lift makes more of.
    assert found[1:] == pytest.approx(expected.T[1:], abs=1e-6)
    assert found[0] == pytest.approx(expected.T[0], abs=0.5)


def test_hdr_cinema_primaries_by_their_codes() -> None:
    """DCI HDR Addendum 1.2 Table 9: X″Y″Z″ 1988 2387 1327 is 207.35 cd/m²."""
    target = builders.pq(299.6, luminance_white=299.6, container=None)
    one = model(target, "xyz-12-full")
    codes = np.array([[2234, 1925, 68], [1988, 2387, 1327], [1871, 1525, 2565]])
    got = targets.nominal_xyz(codes / 4095, one)[:, 1]
    assert got == pytest.approx([68.13, 207.35, 23.86], abs=0.06)


def test_neutral_triples_of_the_cinema_signal() -> None:
    one = model(builders.cinema(), "xyz-12-full")
    codes = np.array([[3794, 3960, 3890], [379, 396, 389], [380, 396, 388], [3960] * 3, [0] * 3])
    assert targets.neutral(codes / 4095, one).tolist() == [True, True, True, False, True]


def test_narrow_codes_beyond_nominal() -> None:
    """EBU Tech 3325 v2.0 Table 5 has 1019 beyond nominal white 940; 941 is only one code away."""
    one = model(builders.target(), "rgb-10-narrow")
    codes = np.array([62, 63, 64, 940, 941, 942, 1019])
    signal = ((codes - 64) / 876)[:, None] * np.ones(3)
    beyond = targets.beyond_nominal(signal, one).tolist()
    assert beyond == [True, False, False, False, False, True, True]


def test_rgb_rules_refuse_xyz_readings() -> None:
    with pytest.raises(RuleError, match="takes RGB signals"):
        model(builders.target(), "xyz-12-full")
