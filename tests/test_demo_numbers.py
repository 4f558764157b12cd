"""The demo's numbers, computed again from its CSV files by colour-science and scipy.

What is held here is the whole way from a row of readings to a value in a finding: decoding,
target, black, scaling, reference white, quantity. The files are those `make_readings.py` writes.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from helpers.demo_slots import DEMO, assessed
from helpers.outside_tools import colour
from numpy.typing import NDArray
from scipy.optimize import least_squares

from compliance.model import Assessment, Outcome, Reason

Array = NDArray[np.float64]
D65 = np.array([0.3127, 0.3290])
Key = tuple[int, int, int]


def matrix(primaries: list[list[float]], white: Array) -> Array:
    return np.asarray(colour.models.normalised_primary_matrix(np.ravel(primaries), white))


OF_BT709 = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]]
OF_P3 = [[0.68, 0.32], [0.265, 0.69], [0.15, 0.06]]
BT709 = matrix(OF_BT709, D65)
BT2020 = matrix([[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]], D65)


def means(name: str) -> dict[Key, Array]:
    """Mean X, Y, Z per code triple, at the centre, in no checkerboard, at once."""
    with (DEMO / "readings" / f"{name}.csv").open(encoding="utf-8") as file:
        rows = [list(row.values()) for row in csv.DictReader(file)]
    found: dict[Key, list[list[float]]] = {}
    for one, two, three, x, y, z, position, _window, pattern, seconds in rows:
        if position == "centre" and pattern != "checkerboard" and float(seconds) == 0:
            key = (int(one), int(two), int(three))
            found.setdefault(key, []).append([float(x), float(y), float(z)])
    return {key: np.mean(values, axis=0) for key, values in found.items()}


def values(assessment: Assessment, name: str) -> dict[Key, float]:
    (found,) = (one for one in assessment.state.findings if one.id == name)
    return {point.patch: point.value for point in found.points}  # type: ignore[misc]


def value(assessment: Assessment, name: str) -> object:
    (found,) = (one for one in assessment.state.findings if one.id == name)
    return found.value


def uv(xyz: Array) -> Array:
    return np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)))


def lab(xyz: Array, white: Array, luminance: float) -> Array:
    return np.asarray(colour.XYZ_to_Lab(xyz / luminance, white))


def adapted(target: Array, primaries: list[list[float]], nominal: Array, white: Array) -> Array:
    """A target rebuilt from its own primaries and a white as measured."""
    own = np.asarray(colour.XYZ_to_xy(white))
    into = np.linalg.inv(matrix(primaries, nominal))
    return np.asarray(matrix(primaries, own) @ into @ target)


# ---------------------------------------------------------------- all


def test_the_readings_come_out_of_their_script(tmp_path: Path) -> None:
    script = [sys.executable, str(DEMO / "make_readings.py"), str(tmp_path)]
    subprocess.run(script, check=True, capture_output=True)
    made = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*.*"))
    kept = [*(DEMO / "readings").glob("*"), *(DEMO / "luts").glob("*")]
    assert made == sorted(path.relative_to(DEMO) for path in kept)
    for path in made:
        assert (tmp_path / path).read_bytes() == (DEMO / path).read_bytes(), path


def test_the_slots_come_out_as_the_demo_says() -> None:
    states = [assessed(name).state for name in "1234"]
    assert [(state.verdict, state.reason) for state in states] == [
        (Outcome.COMPLIANT, None),
        (Outcome.COMPLIANT, None),
        (Outcome.NOT_COMPLIANT, None),
        (Outcome.UNDECIDED, Reason.MISSING_READINGS),
    ]


# ---------------------------------------------------------------- slot 1, broadcast


@pytest.fixture(scope="module")
def broadcast() -> Assessment:
    return assessed("1")


def narrow(key: Key) -> Array:
    return (np.array(key) - 64) / 876


def bt1886(signal: Array, gamma: float = 2.4) -> Array:
    read = means("slot-1")
    white, black = read[940, 940, 940][1], read[64, 64, 64][1]
    high, low = white ** (1 / gamma), black ** (1 / gamma)
    scale, lift = (high - low) ** gamma, low / (high - low)
    return np.asarray(scale * np.maximum(signal + lift, 0) ** gamma)


def test_broadcast_tracking(broadcast: Assessment) -> None:
    read = means("slot-1")
    white, black = read[940, 940, 940][1], read[64, 64, 64][1]
    found = {**values(broadcast, "tracking"), **values(broadcast, "tracking-dark")}
    assert len(found) == 19
    for key, error in found.items():
        target = colour.models.eotf_BT1886(narrow(key)[0], L_B=black, L_W=white)
        assert error == pytest.approx(100 * (read[key][1] - target) / target, abs=1e-9), key


def test_broadcast_grey_balance(broadcast: Assessment) -> None:
    read = means("slot-1")
    white = read[940, 940, 940]
    for key, distance in values(broadcast, "grey-balance").items():
        target = bt1886(narrow(key)[0])
        level = float(colour.lightness(100 * target / white[1], method="CIE 1976"))
        expected = 13 * level * np.linalg.norm(uv(read[key]) - uv(white))
        assert distance == pytest.approx(float(expected), abs=1e-9), key


def test_broadcast_gamma(broadcast: Assessment) -> None:
    read = means("slot-1")
    greys = sorted(key for key in read if len(set(key)) == 1)
    greys = [key for key in greys if 0.0995 <= narrow(key)[0] <= 0.9005]
    signal = np.array([narrow(key)[0] for key in greys])
    light = np.array([read[key][1] for key in greys])
    fit = least_squares(lambda g: np.log(bt1886(signal, g[0])) - np.log(light), [2.2], xtol=1e-14)
    assert value(broadcast, "gamma") == pytest.approx(float(fit.x[0]), abs=1e-6)


def test_broadcast_colours(broadcast: Assessment) -> None:
    read = means("slot-1")
    white = read[940, 940, 940]
    own = colour.XYZ_to_xy(white)
    found = values(broadcast, "colours")
    assert len(found) == 24
    for key, difference in found.items():
        target = adapted(BT709 @ bt1886(narrow(key)), OF_BT709, D65, white)
        labs = lab(read[key], own, white[1]), lab(target, own, white[1])
        expected = float(colour.delta_E(*labs, method="CIE 2000"))
        assert difference == pytest.approx(expected, abs=1e-8), key


def test_broadcast_saturations_step_evenly(broadcast: Assessment) -> None:
    """Equal steps in u'v' from white to the hue, at the hue's own drive, within a code."""
    keys = list(values(broadcast, "colours"))
    pure = BT709 @ (np.array([1.0, 0.0, 0.0]) ** 2.4)
    reds = [key for key in keys if (key[0] == 940 and key[1] == key[2]) or key == (940, 64, 64)]
    assert (940, 64, 64) in reds
    shares = []
    for key in keys:
        at = uv(BT709 @ np.clip(narrow(key), 0, 1) ** 2.4) - uv(BT709 @ np.ones(3))
        axis = uv(pure) - uv(BT709 @ np.ones(3))
        along = float(at @ axis / (axis @ axis))
        if along > 0 and abs(at[0] * axis[1] - at[1] * axis[0]) < 2e-4 * np.linalg.norm(axis):
            shares.append(along)
    assert sorted(shares) == pytest.approx([0.25, 0.5, 0.75, 1.0], abs=0.003)


def test_broadcast_additivity(broadcast: Assessment) -> None:
    read = means("slot-1")
    white, black = read[940, 940, 940][1], read[64, 64, 64][1]
    hues = [read[key][1] for key in ((940, 64, 64), (64, 940, 64), (64, 64, 940))]
    expected = 100 * (sum(hues) - 3 * black + black - white) / (white - black)
    assert value(broadcast, "additivity") == pytest.approx(expected, abs=1e-9)


# ---------------------------------------------------------------- slot 3, HDR


def test_hdr_greys() -> None:
    """ΔE ITP against PQ, absolute, no black in the target."""
    read, hdr = means("slot-3"), assessed("3")
    found = values(hdr, "grey")
    assert len(found) == 28  # the ramp's own from .1 cd/m², and the white of 100 cd/m²
    for key, difference in found.items():
        light = colour.models.eotf_ST2084(np.array(key) / 1023)
        pair = [
            colour.RGB_to_ICtCp(np.linalg.solve(BT2020, xyz), method="ITU-R BT.2100-2 PQ")
            for xyz in (read[key], BT2020 @ light)
        ]
        expected = float(colour.difference.delta_E_ITP(*pair))
        assert difference == pytest.approx(expected, abs=1e-7), key
    for key, error in values(hdr, "tracking").items():
        target = float(colour.models.eotf_ST2084(key[0] / 1023))
        assert error == pytest.approx(100 * (read[key][1] / target - 1), abs=1e-9), key


def test_hdr_primaries_are_p3_in_bt2020() -> None:
    read = means("slot-3")
    found = values(assessed("3"), "primaries")
    p3 = uv(np.array([colour.xy_to_XYZ(xy) for xy in ((0.68, 0.32), (0.265, 0.69), (0.15, 0.06))]))
    for key, difference in found.items():
        light = BT2020 @ colour.models.eotf_ST2084(np.array(key) / 1023)
        expected = float(np.linalg.norm(uv(read[key]) - uv(light)))
        assert difference == pytest.approx(expected, abs=1e-9), key
        assert np.linalg.norm(p3 - uv(light), axis=1).min() < 0.001, key


# ---------------------------------------------------------------- slot 4, cinema


DCI = np.array([0.314, 0.351])


def cinema_target(read: dict[Key, Array], key: Key) -> Array:
    """ST 428-1 with the measured white, on top of the measured black."""
    white, black = read[3794, 3960, 3890][1], read[0, 0, 0][1]
    light = 52.37 * (np.array(key) / 4095) ** 2.6
    full = 52.37 * (3960 / 4095) ** 2.6
    return np.asarray(black * colour.xy_to_XYZ(DCI) + (white - black) * light / full)


def test_cinema_steps_and_colours() -> None:
    read, cinema = means("slot-4"), assessed("4")
    white, black = read[3794, 3960, 3890], read[0, 0, 0][1]
    steps = {**values(cinema, "steps"), **values(cinema, "steps-darkest")}
    assert len(steps) == 20
    for key, error in steps.items():
        # Absolute, as the clause is: on top of the black up to the 48 cd/m² of ST 428-1.
        target = (48 - black) / 48 * 52.37 * (key[1] / 4095) ** 2.6
        expected = 100 * ((read[key][1] - black) / target - 1)
        assert error == pytest.approx(expected, abs=1e-9), key
    colours = values(cinema, "colours")
    assert len(colours) == 6
    for key, difference in colours.items():
        target = adapted(cinema_target(read, key), OF_P3, DCI, white)
        pair = (lab(each, colour.XYZ_to_xy(white), white[1]) for each in (read[key], target))
        expected = float(colour.delta_E(*pair, method="CIE 2000"))
        assert difference == pytest.approx(expected, abs=1e-8), key


def test_cinema_white() -> None:
    """From the chromaticity of the codes sent, which is 4e-5 from .314, .351."""
    read, key = means("slot-4"), (3794, 3960, 3890)
    asked = colour.XYZ_to_xy(cinema_target(read, key))
    assert asked == pytest.approx(DCI, abs=5e-5)
    expected = tuple(colour.XYZ_to_xy(read[key]) - asked)
    assert value(assessed("4"), "white-chromaticity") == pytest.approx(expected, abs=1e-12)
