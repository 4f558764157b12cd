"""Which patch a value and a probability are of, and intervals of what cannot be negative."""

from __future__ import annotations

from dataclasses import replace

import pytest
from helpers.invented_samples import split
from helpers.sample_assessments import REQUIREMENTS, finding

from compliance.model import Finding, Interval, Limits, Verdict
from compliance.report.numbers import (
    format_value,
    interval_words,
    least_sure,
    point_name,
    value_point,
)
from compliance.report.words.en.verdicts import outcome_sentence


def greys() -> Finding:
    return next(row for row in split().state.findings if row.id == "grey-balance")


def test_value_and_probability_of_two_patches() -> None:
    row = greys()
    nearest, least = value_point(row), least_sure(row)
    assert nearest is not None
    assert (nearest.name, nearest.probability) == ("grey 5 %", 0.9996)
    assert least is not None
    assert (least.name, least.value, least.probability) == ("grey 10 %", 0.044, 0.86)
    assert interval_words(row) == "95\u00a0%: at most 0.82"
    assert interval_words(row, least) == "95\u00a0%: at most 1.33"


@pytest.mark.parametrize(
    ("own", "lowest", "told"),
    [
        (0.86, 0.86, False),
        (0.9996, 0.995, False),
        (0.9996, 0.97, True),
        (0.953, 0.949, True),
        (0.052, 0.049, True),
        (None, 0.5, True),
    ],
)
def test_only_probabilities_that_differ_are_told_apart(
    own: float | None, lowest: float, told: bool
) -> None:
    row = greys()
    nearest, dark, *rest = row.points
    points = (replace(nearest, probability=own), replace(dark, probability=lowest), *rest)
    least = least_sure(replace(row, points=points, probability=lowest))
    assert (least is not None and least.name == "grey 10 %") is told


def test_a_statistic_of_all_patches_has_no_patch() -> None:
    row = replace(greys(), statistic="mean")
    assert value_point(row) is None
    assert least_sure(row) is None


@pytest.mark.parametrize(
    ("place", "statistic", "words"),
    [
        (10, "each", "95\u00a0%: 0 to 0.6"),
        (6, "each", "95\u00a0%: −0.3 to 0.6"),
        (6, "spread", "95\u00a0%: 0 to 0.6"),
    ],
)
def test_an_interval_ends_at_0_where_the_value_cannot_be_negative(
    place: int, statistic: str, words: str
) -> None:
    """A range is never negative, an error may be; of a spread neither."""
    row = finding(REQUIREMENTS[place], Verdict.PASS, 0.15)
    shown = Interval(-0.27, 0.57, 0.95, 2)
    limits = Limits(minimum=-2, maximum=2) if place == 6 else Limits(maximum=2)
    row = replace(row, statistic=statistic, interval=shown, limits=limits)
    assert interval_words(row) == words
    assert interval_words(replace(row, interval=None)) == ""


def test_the_sentence_does_not_say_that_a_value_is_near_which_is_not() -> None:
    said = outcome_sentence(split())
    assert "near" not in said
    assert said.endswith(
        "only conditionally, as the measurement uncertainty reaches across the limits of 4 and is "
        "not stated for 1."
    )


def test_one_value_under_two_limits_reads_the_same() -> None:
    """.02185 under .1 and .05; what is stated keeps its own words."""
    black = replace(
        finding(REQUIREMENTS[1], Verdict.PASS, 0.02185), interval=Interval(0.0208, 0.0229, 0.95, 2)
    )
    strict = replace(black, id="strict", limits=Limits(maximum=0.05))
    both = (black, strict)
    assert [format_value(row) for row in both] == ["0.022\u00a0cd/m²", "0.0218\u00a0cd/m²"]
    assert {format_value(row, both) for row in both} == {"0.0218\u00a0cd/m²"}
    assert {interval_words(row, among=both) for row in both} == {"95\u00a0%: 0.0208 to 0.0229"}
    other = replace(strict, value=0.03)
    assert format_value(black, (black, other)) == "0.022\u00a0cd/m²"
    yes = replace(black, quantity="declared", unit="1", value=1.0, limits=Limits(minimum=1))
    count = replace(yes, limits=Limits(minimum=0.5))
    assert format_value(yes, (yes, count)) == "yes"


def test_a_patchs_name_is_not_broken() -> None:
    point = greys().points[0]
    assert point_name(point) == "grey\u00a05\u00a0%"
    assert point_name(replace(point, position="top-left")) == "grey\u00a05\u00a0%, top-left"
