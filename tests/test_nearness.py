"""How much of a tolerance a value uses, by hand, and where it lies on its scale."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from helpers.sample_assessments import REQUIREMENTS, finding

from compliance.model import Interval, Limits, Verdict
from compliance.report.nearness import Gauge, farthest_first, gauge, nearest_first, used

AROUND_100 = Limits(minimum=95.0, maximum=105.0, nominal=100.0)
AT_MOST = Limits(maximum=0.008)
AT_LEAST = Limits(minimum=1000.0)
BOX = Limits(box=(0.002, 0.004))


@pytest.mark.parametrize(
    ("value", "limits", "share"),
    [
        (104.0, AROUND_100, 0.8),
        (96.0, AROUND_100, 0.8),
        (110.0, AROUND_100, 2.0),
        (0.004, AT_MOST, 0.5),
        (2000.0, AT_LEAST, 0.5),
        (500.0, AT_LEAST, 2.0),
        ((0.001, -0.003), BOX, 0.75),
    ],
)
def test_share_of_the_tolerance(value: float, limits: Limits, share: float) -> None:
    assert used(value, limits) == pytest.approx(share)


@pytest.mark.parametrize(
    ("value", "limits"),
    [(None, AT_MOST), (1.0, None), (1.0, Limits(maximum=0.0)), ((0.1, 0.1), AT_MOST)],
)
def test_no_share_where_none_can_be_told(value: float | None, limits: Limits | None) -> None:
    assert math.isnan(used(value, limits))
    made = replace(finding(REQUIREMENTS[0]), value=value, limits=limits, interval=None)
    assert gauge(made) is None


def test_a_value_lies_beside_its_limits() -> None:
    """95 to 105 takes the middle six tenths; a single limit stands at six tenths."""
    base = finding(REQUIREMENTS[0])
    both = replace(base, value=104.0, limits=AROUND_100, interval=Interval(103.0, 106.0, 0.95, 2))
    assert gauge(both) == Gauge(0.2, 0.8, *map(pytest.approx, (0.74, 0.68, 0.86)))
    most = replace(base, value=0.004, limits=AT_MOST, interval=Interval(0.0, 0.006, 0.95, 1))
    assert gauge(most) == Gauge(0.0, 0.6, *map(pytest.approx, (0.3, 0.3, 0.45)))
    least = replace(base, value=99000.0, limits=AT_LEAST, interval=None)
    assert gauge(least) == Gauge(0.6, 1.0, 1.0, 1.0, 1.0)


def test_the_farthest_out_and_the_least_certain_come_first() -> None:
    near, far = (
        replace(finding(REQUIREMENTS[0], Verdict.FAIL, value), limits=AROUND_100)
        for value in (106.0, 120.0)
    )
    assert farthest_first([near, far]) == (far, near)
    sure, unsure, room = (
        replace(finding(REQUIREMENTS[0], Verdict.PASS, value), limits=AROUND_100, probability=p)
        for value, p in ((104.0, 0.995), (101.0, 0.9), (100.5, 0.999))
    )
    assert nearest_first([room, sure, unsure]) == (unsure, sure, room)
