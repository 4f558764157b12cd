"""Patches that lose light over a larger area or after a while, asked for by the rule or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from helpers import simulated
from helpers.remarks import good, remarks

from compliance.model import Readings

Shown = tuple[float, float, float]
"""% of area, s, and the share of white's light that is left"""


def beside(*shown: Shown) -> Readings:
    """A good display, and its white read again otherwise."""
    plain = good()
    count = len(plain)
    white = int(np.argmax(plain.xyz[:, 1]))
    more = simulated.picked(plain, [*range(count), *[white] * len(shown)])
    size, seconds, left = (np.array(each) for each in zip(*shown, strict=True))
    xyz, window, time = more.xyz.copy(), more.window.copy(), more.seconds.copy()
    xyz[count:] = left[:, None] * 100 * plain.xyz[white] / plain.xyz[white, 1]
    window[count:], time[count:] = size, seconds
    pattern = [*more.pattern[:count], *("full" if each == 100 else "window" for each in size)]
    return replace(more, xyz=xyz, window=window, seconds=time, pattern=tuple(pattern))


def told(kind: str, shown: Sequence[Shown]) -> str | None:
    return remarks(beside(*shown)).get(kind)


def test_a_window_that_sags_in_a_minute_is_told_though_no_requirement_asks() -> None:
    shown = [(10.0, 0.0, 1.0), (10.0, 60.0, 0.88), (25.0, 0.0, 1.0), (25.0, 60.0, 0.92)]
    assert told("dimmed-in-time", shown) == (
        "The same patch reads 100 cd/m² at once and 88 cd/m² after 60 s: 12 % less."
    )
    assert told("dimmed-by-area", shown[:1]) is None


def test_the_largest_fall_over_area_is_told() -> None:
    shown = [(4.0, 0.0, 1.6), (10.0, 0.0, 1.5), (25.0, 0.0, 1.2)]
    text = told("dimmed-by-area", shown)
    assert text is not None
    assert text.startswith("The same patch reads 160 cd/m² at 4 % of the screen and ")
    assert "cd/m² at 100 % of the screen: 3" in text


def test_the_darkest_of_a_series_is_told_and_not_its_last() -> None:
    shown = [(10.0, 0.0, 1.0), (10.0, 60.0, 0.8), (10.0, 300.0, 0.9)]
    text = told("dimmed-in-time", shown)
    assert text == "The same patch reads 100 cd/m² at once and 80 cd/m² after 60 s: 20 % less."


@pytest.mark.parametrize("left", [0.98, 1.0, 1.3])
def test_little_or_a_gain_in_time_is_no_fall(left: float) -> None:
    assert told("dimmed-in-time", [(10.0, 0.0, 1.0), (10.0, 60.0, left)]) is None


def test_what_is_dark_is_no_fall() -> None:
    assert told("dimmed-in-time", [(10.0, 0.0, 0.009), (10.0, 60.0, 0.004)]) is None


def test_a_checkerboard_is_no_window() -> None:
    window = beside((10.0, 0.0, 1.6))
    assert "dimmed-by-area" in remarks(window)
    assert "dimmed-by-area" not in remarks(
        replace(window, pattern=(*window.pattern[:-1], "checkerboard"))
    )
