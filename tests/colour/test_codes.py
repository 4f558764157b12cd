"""Code values against ITU-R BT.2100 Table 9 and published code values."""

from __future__ import annotations

import numpy as np
import pytest
from colour.models.rgb.transfer_functions import full_to_legal
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.colour.codes import decode, encode, step

BITS = (8, 10, 12)


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize("narrow", [False, True])
def test_every_code_comes_back(bits: int, narrow: bool) -> None:
    codes = np.arange(2**bits)
    assert np.array_equal(encode(decode(codes, bits, narrow), bits, narrow), codes)


@pytest.mark.parametrize(("bits", "black", "white"), [(8, 16, 235), (10, 64, 940), (12, 256, 3760)])
def test_nominal_narrow_codes(bits: int, black: int, white: int) -> None:
    # ITU-R BT.2100 Table 9
    assert encode([0, 1], bits, True).tolist() == [black, white]
    assert decode([black, white], bits, True).tolist() == [0, 1]


@pytest.mark.parametrize("bits", BITS)
def test_narrow_agrees_with_colour_science(bits: int) -> None:
    signal = np.linspace(0, 1, 101)
    expected = full_to_legal(signal, bits, out_int=False) * (2**bits - 1)
    difference = np.abs(encode(signal, bits, True) - expected)
    assert difference.max() <= 0.5 + 1e-9


def test_full_codes_end_at_0_and_1() -> None:
    assert decode([0, 255], 8, False).tolist() == [0, 1]
    assert encode([0, 0.5, 1], 8, False).tolist() == [0, 128, 255]


def test_halves_round_upwards() -> None:
    # round(x) is floor(x + .5); half to even would give 126 and 64 + 438
    assert encode(126.5 / 255, 8, False) == 127
    assert encode([0.5 / 255, 2.5 / 255], 8, False).tolist() == [1, 3]


def test_beyond_nominal_is_kept() -> None:
    low, high = decode([4, 1019], 10, True)
    assert low == pytest.approx(-60 / 876, abs=1e-15)
    assert high == pytest.approx(955 / 876, abs=1e-15)


def test_grey_steps(table) -> None:
    # tests/tables/grey-steps.csv: 52 codes apart about 502, which is half signal
    codes = [int(row["code"]) for row in table("grey-steps")]
    inner = (np.arange(-8, 9) * 52 / 876) + 0.5
    assert encode(inner, 10, True).tolist() == codes[1:18]
    assert encode([0, 1], 10, True).tolist() == [codes[0], codes[18]]
    assert encode(decode(codes, 10, True), 10, True).tolist() == codes


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize("narrow", [False, True])
def test_step_is_one_code(bits: int, narrow: bool) -> None:
    codes = decode([100, 101], bits, narrow)
    assert step(bits, narrow) == pytest.approx(codes[1] - codes[0], rel=1e-12)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(-0.05, 1.08), st.sampled_from(BITS), st.booleans())
def test_encoding_is_right_to_half_a_code(signal: float, bits: int, narrow: bool) -> None:
    back = decode(encode(signal, bits, narrow), bits, narrow)
    assert abs(back - signal) <= step(bits, narrow) * (0.5 + 1e-9)
