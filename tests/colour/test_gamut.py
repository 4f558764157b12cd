"""Areas of triangles and of their overlap."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from compliance.colour.chromaticity_diagram import coverage, overlap_area, triangle_area
from compliance.colour.spaces import PRIMARIES, xy_to_uv

UNIT = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
GRID = st.integers(0, 64).map(lambda n: n / 64)
TRIANGLE = st.lists(st.tuples(GRID, GRID), min_size=3, max_size=3)

Polygon = list[tuple[Fraction, Fraction]]


def exact_area(polygon: Polygon) -> Fraction:
    following = polygon[1:] + polygon[:1]
    pairs = zip(polygon, following, strict=True)
    return sum((a * d - b * c for (a, b), (c, d) in pairs), Fraction(0)) / 2


def exact_overlap(first: Polygon, second: Polygon) -> Fraction:
    """Sutherland and Hodgman's clipping (1974) in exact fractions."""
    if exact_area(second) < 0:
        second = second[::-1]
    polygon = first
    for (x0, y0), (x1, y1) in zip(second, second[1:] + second[:1], strict=True):

        def side(p, x0=x0, y0=y0, x1=x1, y1=y1):
            return (x1 - x0) * (p[1] - y0) - (y1 - y0) * (p[0] - x0)

        kept: Polygon = []
        for here, ahead in zip(polygon, polygon[1:] + polygon[:1], strict=True):
            a, b = side(here), side(ahead)
            if a >= 0:
                kept.append(here)
            if a * b < 0:
                t = a / (a - b)
                kept.append(tuple(p + t * (q - p) for p, q in zip(here, ahead, strict=True)))
        polygon = kept
    return abs(exact_area(polygon)) if polygon else Fraction(0)


def fractions(corners) -> Polygon:
    return [(Fraction(x), Fraction(y)) for x, y in corners]


def test_area() -> None:
    assert triangle_area(UNIT) == 0.5
    assert triangle_area(UNIT[::-1]) == 0.5
    assert triangle_area(np.stack([UNIT, 2 * UNIT])).tolist() == [0.5, 2.0]


@pytest.mark.parametrize(
    ("name", "area"), [("bt709", 0.11205), ("p3", 0.15200), ("bt2020", 0.21187)]
)
def test_area_of_primaries(name: str, area: float) -> None:
    # half the cross product of two sides in x, y, by hand
    assert triangle_area(PRIMARIES[name]) == pytest.approx(area, abs=1e-5)


def test_equal_triangles_cover_each_other_whole() -> None:
    for name in PRIMARIES:
        triangle = xy_to_uv(PRIMARIES[name])
        assert coverage(triangle, triangle) == pytest.approx(1, abs=1e-14)
        assert coverage(triangle[::-1], triangle) == pytest.approx(1, abs=1e-14)


def test_a_smaller_one_inside_and_a_larger_one_outside() -> None:
    small = 0.25 + (UNIT - 0.25) / 2
    assert coverage(small, UNIT) == pytest.approx(0.25, abs=1e-15)
    assert coverage(UNIT, small) == pytest.approx(1, abs=1e-15)


def test_apart_or_touching_is_nothing() -> None:
    assert overlap_area(UNIT, UNIT + 5) == pytest.approx(0, abs=1e-12)
    assert overlap_area(UNIT, -UNIT) == pytest.approx(0, abs=1e-15)


def test_a_star_overlaps_in_a_hexagon() -> None:
    # an equilateral triangle turned by 60° about its centre shares two thirds of the area
    angle = np.radians([90, 210, 330])
    triangle = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    assert coverage(-triangle, triangle) == pytest.approx(2 / 3, abs=1e-14)


def test_no_area() -> None:
    flat = np.array([[0.0, 0.0], [1.0, 1.0], [0.5, 0.5]])
    assert overlap_area(flat, UNIT) == 0
    assert overlap_area(UNIT, flat) == 0
    assert overlap_area(UNIT, np.zeros((3, 2))) == 0
    assert np.isnan(coverage(UNIT, flat))


def test_nan_stays_nan() -> None:
    unknown = UNIT.copy()
    unknown[1, 0] = np.nan
    assert np.isnan(coverage(unknown, UNIT))


def test_leading_axes() -> None:
    random = np.random.default_rng(5)
    many = random.uniform(0, 1, (7, 4, 3, 2))
    shares = coverage(many, UNIT)
    assert shares.shape == (7, 4)
    assert shares[3, 2] == coverage(many[3, 2], UNIT)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(TRIANGLE, TRIANGLE)
def test_overlap_is_exact(first, second) -> None:
    expected = exact_overlap(fractions(first), fractions(second))
    if exact_area(fractions(second)) == 0 or exact_area(fractions(first)) == 0:
        expected = Fraction(0)
    assert overlap_area(first, second) == pytest.approx(float(expected), abs=1e-12)


def test_overlap_of_random_triangles() -> None:
    random = np.random.default_rng(6)
    first, second = random.uniform(0, 1, (2, 200, 3, 2))
    expected = [
        float(exact_overlap(fractions(a.tolist()), fractions(b.tolist())))
        for a, b in zip(first, second, strict=True)
    ]
    assert_allclose(overlap_area(first, second), expected, atol=1e-13)
