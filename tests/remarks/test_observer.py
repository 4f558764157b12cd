"""Readings of the 10° observer, by light that colour-science adds up for both."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import simulated
from helpers.outside_tools import colour
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.colour.spaces import PRIMARIES, rgb_to_xyz_matrix
from compliance.model import Measurement
from compliance.remarks.meter_limits import TEN_DEGREES

Array = NDArray[np.float64]
NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
SHAPE = colour.SpectralShape(380, 780, 5)
WAVELENGTHS = np.arange(380, 781, 5)
WHITE = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])


def matching(name: str) -> Array:
    return np.asarray(colour.MSDS_CMFS[name].copy().align(SHAPE).values)


TWO = matching("CIE 1931 2 Degree Standard Observer")
TEN = matching("CIE 1964 10 Degree Standard Observer")


def peak(at: float, width: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((WAVELENGTHS - at) / width) ** 2))


def lights() -> list[Array]:
    """Spectra (3, wavelengths) of red, green and blue: two measured, four invented."""
    measured = [
        np.asarray(one.copy().align(SHAPE).values)[:, :3].T
        for one in colour.MSDS_DISPLAY_PRIMARIES.values()
    ]
    return [
        *measured[:2],
        np.array([peak(625, 20) + 0.05 * peak(450, 9), peak(535, 30), peak(450, 9)]),
        np.array([peak(635, 12), peak(530, 14), peak(450, 8)]),
        np.array([peak(625, 18), peak(528, 18), peak(459, 10)]),
        np.array([peak(638, 2.5), peak(532, 2.5), peak(465, 2.5)]),
    ]


def both(light: Array) -> tuple[Array, Array]:
    """XYZ of red, green and blue (3, 3), rows, for both observers, white at D65 for the 2° one."""
    two, ten = light @ TWO, light @ TEN * (TWO[:, 1].sum() / TEN[:, 1].sum())
    share = np.linalg.solve(two.T, WHITE)
    return two * share[:, None], ten * share[:, None]


def test_the_matrix_is_the_mean_of_these_lights() -> None:
    each = [np.linalg.solve(*both(light)).T for light in lights()]
    assert np.allclose(np.mean(each, axis=0), TEN_DEGREES, atol=0.0006)


@pytest.mark.parametrize("place", range(6))
def test_the_ten_degree_observer_is_noted(place: int) -> None:
    """Of displays whose primaries are the rule's for the observer it is meant for."""
    two, ten = both(lights()[place])
    turned = (np.linalg.inv(two) @ ten).T
    rule = shipped_rule("web-srgb")
    shown = simulated.ideal(rule, black=0.1, fault=lambda _patch, xyz: turned @ xyz)
    found = assess(Measurement(rule, simulated.readings(shown, rule.encoding)), now=NOW)
    assert "observer" in {one.kind for one in found.state.remarks}


@pytest.mark.parametrize("name", sorted(set(PRIMARIES) - {"bt709"}))
def test_other_primaries_are_no_other_observer(name: str) -> None:
    rule = shipped_rule("web-srgb")
    white = rule.target.white
    turned = rgb_to_xyz_matrix(PRIMARIES[name], white) @ np.linalg.inv(
        rgb_to_xyz_matrix(rule.target.primaries, white)
    )
    shown = simulated.ideal(rule, black=0.1, fault=lambda _patch, xyz: turned @ xyz)
    found = assess(Measurement(rule, simulated.readings(shown, rule.encoding)), now=NOW)
    assert "observer" not in {one.kind for one in found.state.remarks}
