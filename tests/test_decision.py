"""Limits, margins, statements and the verdict of an assessment."""

from __future__ import annotations

import math

import pytest

from compliance.grading.decide import inside, margin, outcome, statement, worst
from compliance.model import Decision, Finding, Level, Limits, Outcome, Reason, Verdict


@pytest.mark.parametrize(
    ("value", "limits", "expected"),
    [
        (95.0, Limits(95, 105), True),
        (95.0, Limits(95, 105, exclusive=True), False),
        (94.999, Limits(95, 105), False),
        (0.05, Limits(maximum=0.05, exclusive=True), False),
        (0.0, Limits(minimum=0, exclusive=True), False),
        (1e-12, Limits(minimum=0, exclusive=True), True),
        (0.316 - 0.314, Limits(maximum=0.002), True),
        ((0.002, -0.002), Limits(box=(0.002, 0.002)), True),
        ((0.0, 0.0021), Limits(box=(0.002, 0.002)), False),
        (math.nan, Limits(-math.inf, math.inf), False),
        (math.nan, Limits(), False),
        ((0.0, math.nan), Limits(box=(1, 1)), False),
    ],
)
def test_inside(value: object, limits: Limits, expected: bool) -> None:
    assert inside(value, limits) is expected  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "limits", "expected"),
    [
        (100.0, Limits(95, 105), 1.0),
        (96.0, Limits(95, 105), 0.2),
        (107.0, Limits(95, 105), -0.4),
        (0.06, Limits(maximum=0.05), -0.2),
        (1500.0, Limits(minimum=1000), 0.5),
        (0.3, Limits(minimum=0), 0.3),
        ((0.001, -0.0015), Limits(box=(0.002, 0.002)), 0.25),
    ],
)
def test_margin(value: object, limits: Limits, expected: float) -> None:
    assert margin(value, limits) == pytest.approx(expected)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("is_inside", "probability", "expected"),
    [
        (True, None, Verdict.PASS),
        (False, None, Verdict.FAIL),
        (True, 0.95, Verdict.PASS),
        (True, 0.9499, Verdict.CONDITIONAL_PASS),
        (True, 0.5, Verdict.CONDITIONAL_PASS),
        (False, 0.05, Verdict.FAIL),
        (False, 0.06, Verdict.CONDITIONAL_FAIL),
    ],
)
def test_statements(is_inside: bool, probability: float | None, expected: Verdict) -> None:
    """ILAC-G8:09/2019, four statements."""
    assert statement(is_inside, probability, 0.95) is expected


def test_the_worst_decides() -> None:
    assert worst([Verdict.PASS, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS]) is (
        Verdict.CONDITIONAL_FAIL
    )


def found(
    verdict: Verdict,
    reason: Reason | None = None,
    level: Level = Level.SHALL,
    probability: float | None = None,
    quantity: str = "luminance",
) -> Finding:
    return Finding(
        id="it",
        title="It",
        quantity=quantity,
        unit="",
        level=level,
        statistic="each",
        basis="practice",
        clause=None,
        verdict=verdict,
        reason=reason,
        probability=probability,
    )


PASS, OPEN = found(Verdict.PASS), found(Verdict.NOT_ASSESSED, Reason.MISSING_READINGS)
BLIND = found(Verdict.NOT_ASSESSED, Reason.METER)
SURE = found(Verdict.PASS, probability=0.99)
CLOSE = found(Verdict.CONDITIONAL_PASS, probability=0.7)
ELSEWHERE = found(Verdict.NOT_ASSESSED, Reason.NOT_APPLICABLE)
FAIL, NEARLY = found(Verdict.FAIL), found(Verdict.CONDITIONAL_FAIL)
SHOULD = found(Verdict.FAIL, level=Level.SHOULD)
STATED = found(Verdict.PASS, quantity="recorded")


@pytest.mark.parametrize(
    ("findings", "acceptance", "expected"),
    [
        ([SURE], "simple", (Outcome.COMPLIANT, None, False)),
        ([PASS], "simple", (Outcome.COMPLIANT, None, True)),
        ([SURE, PASS], "simple", (Outcome.COMPLIANT, None, True)),
        ([SURE, CLOSE], "simple", (Outcome.COMPLIANT, None, True)),
        ([SURE, SHOULD], "simple", (Outcome.COMPLIANT, None, False)),
        ([SURE, ELSEWHERE], "simple", (Outcome.COMPLIANT, None, False)),
        ([SURE, STATED], "simple", (Outcome.COMPLIANT, None, False)),
        ([PASS, OPEN, FAIL], "simple", (Outcome.NOT_COMPLIANT, None, False)),
        ([PASS, NEARLY], "simple", (Outcome.NOT_COMPLIANT, None, True)),
        ([NEARLY, FAIL], "simple", (Outcome.NOT_COMPLIANT, None, False)),
        ([PASS, OPEN], "simple", (Outcome.UNDECIDED, Reason.MISSING_READINGS, False)),
        ([PASS, BLIND], "simple", (Outcome.UNDECIDED, Reason.METER, False)),
        ([BLIND, OPEN], "simple", (Outcome.UNDECIDED, Reason.MISSING_READINGS, False)),
        ([ELSEWHERE], "simple", (Outcome.UNDECIDED, Reason.MISSING_READINGS, False)),
        ([PASS], "guarded", (Outcome.UNDECIDED, Reason.UNCERTAINTY, False)),
        ([SURE, STATED], "guarded", (Outcome.COMPLIANT, None, False)),
        ([SURE, CLOSE], "guarded", (Outcome.UNDECIDED, Reason.UNCERTAINTY, False)),
        ([CLOSE, FAIL], "guarded", (Outcome.NOT_COMPLIANT, None, False)),
    ],
)
def test_outcome(findings: list[Finding], acceptance: str, expected: object) -> None:
    assert outcome(findings, Decision(acceptance)) == expected
