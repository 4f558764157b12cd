"""Readings of saturated colours are taken, whatever the meter's correction leaves of X and Z.

A filter meter's three channels differ from the CIE 1931 observer; a matrix found from readings of
red, green, blue and white beside a reference makes up for it. What remains, because both meters
scatter and the filters differ from red to white, is an error of Z in proportion to the light, of
either sign. A display's own red has hardly any Z.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from compliance.colour.chromaticity_diagram import distance_outside
from compliance.colour.spaces import PRIMARIES, WHITES, rgb_to_xyz_matrix, xyz_to_uv
from compliance.errors import ReadingsError
from compliance.model import Readings
from compliance.readings.load import load_readings, readings_from_bytes
from compliance.readings.validate import NOISE, OUTSIDE

Array = NDArray[np.float64]

DEMO = Path(__file__).resolve().parents[2] / "demo/readings"
PARTS = np.vstack([np.eye(3), np.ones(3)])
"""Linear R, G, B of the patches that a correction is found from."""
LEVELS = (0.2, 0.5, 1.0)
"""Shares of full light."""


def corrected(random: np.random.RandomState, display: Array) -> Array:
    """(3, 3) true XYZ to the XYZ that a corrected meter reads on a display, (3, 3) from R, G, B.

    Its filters are off by 5 % of each other's light, its readings and the reference's scatter by
    0.2 %, as when the correction was found.
    """
    filters = np.eye(3) + 0.05 * random.normal(size=(3, 3))
    light = PARTS @ display.T
    reference = light * (1 + 0.002 * random.normal(size=light.shape))
    raw = light @ filters.T * (1 + 0.002 * random.normal(size=light.shape))
    matrix, *_ = np.linalg.lstsq(raw, reference, rcond=None)
    return np.asarray(matrix.T @ filters)


def text(xyz: Array, form: str) -> bytes:
    """The rows as a file, as X, Y, Z or as Y, x, y, with every digit."""
    rows = [f"r,g,b,{form}"]
    for number, (x, y, z) in enumerate(xyz.tolist()):
        whole = x + y + z
        cells = (x, y, z) if form == "X,Y,Z" else (y, x / whole, y / whole)
        rows.append(f"{number},0,0," + ",".join(map(repr, cells)))
    return "\n".join(rows).encode()


def read(xyz: Array, form: str, floor: float = 0.1) -> Readings:
    return readings_from_bytes(text(xyz, form), "f", "rgb-10-full", floor=floor)


def refused(xyz: Array, form: str, floor: float = 0.1) -> list[int]:
    """The rows that are refused, by number."""
    lost = []
    for number, row in enumerate(xyz):
        try:
            read(row[None], form, floor)
        except ReadingsError:
            lost.append(number)
    return lost


@pytest.mark.parametrize("form", ["X,Y,Z", "Y,x,y"])
@pytest.mark.parametrize("floor", [0.003, 0.1, 30.0])
@pytest.mark.parametrize("name", ["p3", "bt2020"])
def test_reds_of_perfect_displays_read_by_corrected_meters(
    form: str, floor: float, name: str
) -> None:
    display = 100 * rgb_to_xyz_matrix(PRIMARIES[name], np.array(WHITES["d65"]))
    random = np.random.RandomState(7)
    reds = np.array(
        [level * corrected(random, display) @ display[:, 0] for _ in range(200) for level in LEVELS]
    )
    below = np.mean(reds[:, 2] < -NOISE)
    assert 0.3 < below < 0.6  # that many a fixed bound on Z would refuse
    assert np.array_equal(read(reds, form, floor).xyz.round(9), reds.round(9))


@pytest.mark.parametrize("form", ["X,Y,Z", "Y,x,y"])
@pytest.mark.parametrize("floor", [0.1, 30.0])
def test_much_less_than_no_light_is_no_colour_at_any_luminance(form: str, floor: float) -> None:
    shares = np.array([[2.125, 1.0, z] for z in (-0.05, -0.09, -0.1, -0.3)])
    for level in (0.2, 5.0, 20.0, 500.0):
        assert refused(level * shares, form, floor) == [2, 3]


@pytest.mark.parametrize("floor", [0.003, 0.1, 5.0])
def test_both_ways_of_writing_a_colour_are_treated_alike(floor: float) -> None:
    random = np.random.RandomState(3)
    level = 10 ** random.uniform(-3, 2, size=600)
    shares = random.uniform(-0.3, 2.5, size=(600, 3))
    shares[:, 1] = 1
    xyz = shares * level[:, None]
    lost = refused(xyz, "X,Y,Z", floor)
    assert lost == refused(xyz, "Y,x,y", floor)
    assert 60 < len(lost) < 540
    outside = distance_outside(xyz_to_uv(xyz)) > OUTSIDE
    lit = level >= max(floor, NOISE)
    assert [row for row in lost if lit[row]] == np.flatnonzero(lit & outside).tolist()


@pytest.mark.parametrize("channel", range(3))
def test_noise_at_black(channel: int) -> None:
    dark = np.array([[0.004, 0.003, 0.005]] * 2)
    dark[0, channel], dark[1, channel] = -NOISE, math.nextafter(-NOISE, -1)
    assert refused(dark, "X,Y,Z") == [1]


def test_what_a_row_below_the_noise_says() -> None:
    with pytest.raises(ReadingsError) as raised:
        read(np.array([[0.004, 0.003, -0.02]]), "X,Y,Z")
    assert str(raised.value) == (
        "f:2: X 0.004, Y 0.003, Z -0.02 is below the noise at black; expected X, Y and Z of -0.01 "
        "cd/m² or more"
    )


@pytest.mark.parametrize("slot", [1, 2, 3, 4])
def test_the_demo_read_by_a_corrected_meter(slot: int) -> None:
    """Whatever the correction of a meter for a P3 display leaves, no reading is lost."""
    encoding = "xyz-12-full" if slot == 4 else "rgb-10-narrow"
    readings = load_readings(DEMO / f"slot-{slot}.csv", encoding)
    display = rgb_to_xyz_matrix(PRIMARIES["p3"], np.array(WHITES["d65"]))
    random = np.random.RandomState(slot)
    for _ in range(20):
        xyz = readings.xyz @ corrected(random, display).T
        assert len(read(xyz, "X,Y,Z")) == len(readings)
