"""Numbers, limits and sentences as printed."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from helpers.invented_samples import proven, unproven

from compliance.model import (
    Band,
    Decision,
    Finding,
    Interval,
    Level,
    Limits,
    Over,
    PatchSet,
    Requirement,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES, Quantity
from compliance.report.nearness import used
from compliance.report.numbers import (
    format_finding_limits,
    format_interval,
    format_limits,
    format_number,
    format_plain,
    format_probability,
    format_requirement_limits,
    format_time,
    format_value,
)
from compliance.report.verdict import deciding, left_open
from compliance.report.words.en.decisions import decision_sentence, risk_sentences
from compliance.report.words.en.rules import asked_words, over_words
from compliance.report.words.en.verdicts import deciding_title


def finding(quantity: str, unit: str, value: object, limits: Limits, **more: object) -> Finding:
    return Finding(
        id="x",
        title="X",
        quantity=quantity,
        unit=unit,
        level=Level.SHALL,
        statistic="each",
        basis="practice",
        clause=None,
        verdict=Verdict.PASS,
        value=value,  # type: ignore[arg-type]
        limits=limits,
        **more,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("value", "limits", "text"),
    [
        (0.0412, Limits(maximum=0.05), "0.0412"),
        (0.04999996, Limits(maximum=0.05), "0.04999996"),
        (0.05, Limits(maximum=0.05), "0.0500"),
        (105.0004, Limits(minimum=95, maximum=105, nominal=100), "105.0004"),
        (99.42, Limits(minimum=95, maximum=105, nominal=100), "99.4"),
        (2.4123, Limits(minimum=2.3, maximum=2.5, nominal=2.4), "2.41"),
        (1523.4, Limits(minimum=1000), "1523"),
        (999.97, Limits(minimum=1000), "999.97"),
        (-0.0004, Limits(minimum=-5, maximum=5), "0.00"),
        (-5.001, Limits(minimum=-5, maximum=5), "−5.001"),
        (0.00003, Limits(minimum=0, exclusive=True), "0.00003000"),
        (0.0, Limits(minimum=0, exclusive=True), "0"),
        (203.94, None, "203.9"),
        (float("nan"), None, "–"),
    ],
)
def test_a_value_is_told_from_its_limit(value: float, limits: Limits | None, text: str) -> None:
    assert format_number(value, limits) == text


def test_the_smallest_step_over_a_limit_shows() -> None:
    over = 0.05000000000000001
    text = format_number(over, Limits(maximum=0.05))
    assert float(text) > 0.05


@pytest.mark.parametrize(
    ("limits", "unit", "text"),
    [
        (Limits(maximum=0.05), "cd/m²", "at most 0.05\u00a0cd/m²"),
        (Limits(minimum=0, exclusive=True), "cd/m²", "above 0\u00a0cd/m²"),
        (Limits(minimum=1000), "1", "at least 1000"),
        (Limits(minimum=95, maximum=105, nominal=100), "cd/m²", "100\u00a0±\u00a05\u00a0cd/m²"),
        (Limits(minimum=80, maximum=160), "cd/m²", "80 to 160\u00a0cd/m²"),
        (Limits(minimum=-5, maximum=5), "%", "±\u00a05\u00a0%"),
        (Limits(box=(0.002, 0.002)), "1", "x\u00a0±\u00a00.002, y\u00a0±\u00a00.002"),
        (
            Limits(minimum=71.5 * 0.95, maximum=71.5 * 1.05, nominal=71.5),
            "cd/m²",
            "71.5\u00a0±\u00a03.575\u00a0cd/m²",
        ),
    ],
)
def test_limits_in_plain_language(limits: Limits, unit: str, text: str) -> None:
    assert format_limits(limits, unit) == text


def test_plain_numbers_have_no_exponent() -> None:
    assert format_plain(0.00002) == "0.00002"
    assert format_plain(-10000000.0) == "−10000000"
    assert format_plain(-0.0) == "0"


def test_bands_tell_where_each_holds() -> None:
    requirement = Requirement(
        "tracking",
        "Tracking",
        "luminance-error",
        Level.SHALL,
        "practice",
        None,
        Over(("grey",), target=(1, 100)),
        bands=(
            Band(10, Limits(minimum=-10, maximum=10)),
            Band(None, Limits(minimum=-5, maximum=5)),
        ),
    )
    assert format_requirement_limits(requirement, "%") == (
        "±\u00a010\u00a0% up to 10\u00a0cd/m²",
        "±\u00a05\u00a0% above 10\u00a0cd/m²",
    )
    assert over_words(requirement.over) == "grey; target 1 to 100\u00a0cd/m²"


def test_values_carry_sign_unit_and_bound() -> None:
    tracking = finding("luminance-error", "%", 3.25, Limits(minimum=-5, maximum=5))
    assert format_value(tracking) == "+3.25\u00a0%"
    assert format_value(replace(tracking, statistic="mean")) == "3.25\u00a0%"  # of sizes
    offset = finding("chromaticity", "1", (0.0012, -0.0004), Limits(box=(0.002, 0.002)))
    assert format_value(offset) == "x\u00a0+0.0012, y\u00a0−0.0004"
    contrast = finding("contrast", "1", 4100.0, Limits(minimum=1000), bound="at-least")
    assert format_value(contrast) == "at least 4100"
    declared = finding("declared", "1", 1.0, Limits(minimum=1))
    assert (format_value(declared), format_finding_limits(declared)) == ("yes", "yes")


def test_without_uncertainty_the_decision_says_so() -> None:
    assert "without measurement uncertainty" in decision_sentence(Decision(), False)
    assert "1.64\u00a0u" in decision_sentence(Decision(), True)
    guarded = decision_sentence(Decision("guarded"), True)
    assert "at most 5\u00a0%" in guarded
    assert "joint probability" in guarded


@pytest.mark.parametrize(
    ("probability", "confidence", "text"),
    [
        (0.763, 0.95, "=\u00a076\u00a0%"),
        (0.9496, 0.95, "=\u00a094.96\u00a0%"),
        (0.94996, 0.95, "=\u00a094.996\u00a0%"),
        (0.95, 0.95, "=\u00a095\u00a0%"),
        (0.9503, 0.95, "=\u00a095\u00a0%"),
        (0.0503, 0.95, "=\u00a05.03\u00a0%"),
        (0.05, 0.95, "=\u00a05\u00a0%"),
        (0.9496, 0.9, "=\u00a095\u00a0%"),
        (1.0, 0.95, ">\u00a099\u00a0%"),
        (0.9999, 0.99995, "=\u00a099.99\u00a0%"),
        (0.0, 0.95, "<\u00a01\u00a0%"),
    ],
)
def test_a_probability_is_told_from_the_confidence(
    probability: float, confidence: float, text: str
) -> None:
    assert format_probability(probability, confidence) == text


def test_of_what_is_left_open_the_least_sure_comes_first() -> None:
    state = unproven().state
    findings = deciding(state, Decision("guarded"))
    assert deciding_title(findings[0], Decision("guarded")) == "Left open"
    assert [row.probability for row in findings] == [0.763, 0.774, 0.923, 0.94996, None]
    assert {row.id for row in findings} == {
        row.id
        for row in state.findings
        if row.level is Level.SHALL and left_open(row, Decision("guarded"))
    }
    near = deciding(unproven("simple").state, Decision())
    assert deciding_title(near[0], Decision()) == "Nearest their limits"
    assert near[:4] == findings[:4]
    assert len(near) > len(findings)
    sure = deciding(proven("simple").state, Decision())
    shares = [used(row.value, row.limits) for row in sure if row.probability is not None]
    assert shares == sorted(shares, reverse=True)


def test_a_stated_condition_needs_no_probability() -> None:
    (surround,) = (row for row in unproven().state.findings if row.id == "surround")
    assert surround.probability is None
    assert not left_open(surround, Decision("guarded"))


def test_the_risk_follows_the_confidence() -> None:
    said = " ".join(risk_sentences(unproven().state, Decision("guarded", 0.99)))
    assert "guard band of 2.33\u00a0u" in said
    assert "at most 1\u00a0%" in said
    assert "less than the 99\u00a0% asked for" in said


def test_times_are_utc() -> None:
    east = timezone(timedelta(hours=2))
    assert format_time(datetime(2026, 11, 20, 1, 30, tzinfo=east)) == "2026-11-19 23:30 UTC"
    assert format_time(datetime(2026, 11, 20, 1, 30, tzinfo=UTC)) == "2026-11-20 01:30 UTC"


@pytest.mark.parametrize("row", QUANTITIES.values(), ids=lambda row: row.name)
def test_definitions_are_in_words_for_clients(row: Quantity) -> None:
    """They stand on the sheet: no keys of rule files, no numbers without their zero."""
    for text in (row.definition, row.source):
        assert "_" not in text
        assert "from memory" not in text
        assert "request" not in text
        assert not re.search(r"(?<![\w.])\.\d", text)


def test_sets_are_told_by_what_they_are_of() -> None:
    sets = {
        "again": PatchSet("again", "repeats", of="white", repeats=3),
        "screen": PatchSet("screen", "positions", of="white"),
        "sweep": PatchSet("sweep", "saturations", hues=("red",), steps=4),
    }
    sets["dark-steps"] = PatchSet("dark-steps", "list")
    over = Over(("again", "screen", "sweep", "dark-steps"))
    assert over_words(over, sets) == (
        "white read again, white over the screen, saturations, dark steps"
    )
    stability = Requirement(
        "stable", "Stability", "stability", Level.SHALL, "practice", None, Over(("again",)),
        Limits(maximum=2),
    )  # fmt: skip
    assert asked_words(stability, sets) == "Stability of white read again: at most 2\u00a0%"


@pytest.mark.parametrize(
    ("value", "limits", "u", "text"),
    [
        (62242.0, Limits(minimum=1000), 4100.0, "62000"),
        (-25.45, Limits(-7, 7), 1.1, "−25"),
        (99.53, Limits(95, 105), 0.9, "99.5"),
        (99.53, Limits(95, 105), None, "99.5"),
        (104.96, Limits(95, 105), 3.0, "104.96"),
        (105.04, Limits(95, 105), 3.0, "105.04"),
        (1004.0, Limits(minimum=1000), 60.0, "1004"),
        (0.00163, Limits(maximum=0.1), 0.0002, "0.002"),
    ],
)
def test_digits_end_where_the_uncertainty_begins(
    value: float, limits: Limits, u: float | None, text: str
) -> None:
    """After JCGM 100:2008, 7.2.6; more only where the value could not be told from its limit."""
    assert format_number(value, limits, u=u) == text


def test_no_interval_has_no_width() -> None:
    interval = Interval(2.4001, 2.4004, 0.95, 2)
    assert format_interval(interval, Limits(2.3, 2.5)) == "95\u00a0%: 2.4001 to 2.4004"
    pair = Interval((0.00121, 0.0), (0.00124, 0.001), 0.95, 2)
    assert format_interval(pair, Limits(box=(0.02, 0.02))) == (
        "95\u00a0%: x +0.00121 to +0.00124, y 0.0000 to +0.0010"
    )
