"""A cause is told where it explains what is outside: inside without it, or half way there."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import faulty_displays
from helpers.shipped import shipped_rule

from compliance.assessment import assess
from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.gate import bettered, expanded_uncertainty
from compliance.documents import assessment_document, read_document
from compliance.grading.decide import inside
from compliance.grading.match import match_readings
from compliance.model import (
    Assessment,
    Explained,
    Finding,
    Fit,
    Interval,
    Level,
    Limits,
    Measurement,
    Statement,
    Verdict,
)
from compliance.report.causes import cause_words, unexplained
from compliance.report.words.en.causes import fit_text

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)


def assessed(rule: str, *faults: faulty_displays.Fault, seed: int = 3) -> Assessment:
    loaded = shipped_rule(rule)
    read = faulty_displays.readings(loaded, faults, np.random.RandomState(seed))
    return assess(Measurement(loaded, read), now=NOW)


def finding(value: float, verdict: Verdict = Verdict.FAIL, most: float = 2.0) -> Finding:
    return Finding(
        id="x", title="X", quantity="delta-e-2000", unit="ΔE00", level=Level.SHALL,
        statistic="mean", value=value, verdict=verdict, basis="practice", clause=None,
        limits=Limits(maximum=most),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("then", "verdict", "expanded", "told"),
    [
        (1.9, Verdict.PASS, 0.5, True),
        (3.0, Verdict.FAIL, 0.2, True),  # half of what is beyond 2
        (3.1, Verdict.FAIL, 0.2, False),
        (1.9, Verdict.PASS, 2.2, False),  # moves by 2.1
    ],
)
def test_half_of_the_excess_by_more_than_its_uncertainty(
    then: float, verdict: Verdict, expanded: float, told: bool
) -> None:
    assert bettered(finding(4.0), finding(then, verdict), expanded) is told


def test_what_was_inside_is_not_explained() -> None:
    assert not bettered(finding(1.5, Verdict.PASS), finding(0.1, Verdict.PASS), 0.0)


@pytest.mark.parametrize(
    ("interval", "expanded"),
    [
        (Interval(3.6, 4.4, 0.95, 2), 0.4),
        (Interval(0.0, 4.329, 0.95, 1), 0.392),  # 1.645 sigma above 4 is .329: sigma .2, U .392
        (None, 0.0),
    ],
)
def test_the_uncertainty_is_two_sided_for_both_kinds_of_interval(
    interval: Interval | None, expanded: float
) -> None:
    found = expanded_uncertainty(replace(finding(4.0), interval=interval))
    assert found == pytest.approx(expanded, abs=1e-3)


# ---------------------------------------------------------------- in words


def test_each_of_two_causes_says_what_it_explains() -> None:
    found = assessed("web-srgb", faulty_displays.power(1.8), faulty_displays.gained(2, 0.8))
    causes = found.state.causes
    assert [cause.rank for cause in causes] == [1, 2]
    explained = {cause.kind: {each.id for each in cause.explains} for cause in causes}
    assert "white-point" in explained["gain"]
    assert "white-point" not in explained["curve"]
    (curve,) = (each for each in cause_words(causes, found.state.findings) if each.kind == "curve")
    assert curve.explains.startswith("It explains: ")
    assert ", inside)" in curve.explains


def test_a_value_without_all_causes_is_not_told_as_one_without_this_cause() -> None:
    """Other primaries leave the memory colours outside, whatever the exponent is."""
    primaries = faulty_displays.primaries("p3")
    found = assessed("sdr-broadcast", faulty_displays.power(2.2), primaries)
    (words,) = (
        each.explains
        for each in cause_words(found.state.causes, found.state.findings)
        if each.kind == "curve"
    )
    without_curve = assessed("sdr-broadcast", primaries).state.findings
    (left,) = (each for each in without_curve if each.id == "memory-colours")
    assert left.verdict is Verdict.FAIL
    assert "Skin and memory colours (5.11, without it and the other causes 0.60, inside)" in words
    assert "Gamma (2.20, without it 2.40, inside)" in words


def test_a_value_of_another_patch_is_held_against_that_patch_s_limits() -> None:
    """By bands: 25 % outside of 20 % at one patch, then 12 % outside of 10 % at another."""
    wide = replace(finding(25.0), limits=Limits(minimum=-20.0, maximum=20.0))
    narrow = replace(finding(12.0), limits=Limits(minimum=-10.0, maximum=10.0))
    assert bettered(wide, narrow, 0.0)
    found = assessed("web-srgb", faulty_displays.gained(2, 0.8))
    told = Explained("x", Level.SHALL, 25.0, 12.0, inside=False)
    (words,) = cause_words([replace(found.state.causes[0], explains=(told,))], [wide])
    assert words.explains == "It explains: X (25.0\u00a0ΔE00, without it 12.0\u00a0ΔE00)."
    for cause in found.state.causes:
        limits = {each.id: each.limits for each in found.state.findings}
        for each in cause.explains:
            assert each.inside is inside(each.without, limits[each.id])


def test_what_no_cause_explains_is_named() -> None:
    found = assessed("web-srgb", faulty_displays.gained(2, 0.8))
    findings = found.state.findings
    assert unexplained(found.state.causes, findings) == ""
    causes = [
        replace(cause, explains=tuple(each for each in cause.explains if each.id != "white-point"))
        for cause in found.state.causes
    ]
    (title,) = (each.title for each in findings if each.id == "white-point")
    assert unexplained(causes, findings) == f"Not explained by any of these causes: {title}."


def test_a_cause_of_recommendations_says_so() -> None:
    found = assessed("web-srgb", faulty_displays.gained(2, 0.8))
    cause = found.state.causes[0]
    recommended = replace(
        cause, explains=tuple(replace(each, level=Level.SHOULD) for each in cause.explains)
    )
    for each, says in ((cause, False), (recommended, True)):
        (words,) = cause_words([each], found.state.findings)
        assert ("do not decide the verdict" in words.explains) is says


def test_a_gain_and_a_white_are_told_at_one_rank_or_clearly_apart() -> None:
    """Another white is the gains of two channels; of one channel's gain the white is an image."""
    found = assessed("web-srgb", faulty_displays.gained(2, 0.9))
    first = [cause for cause in found.state.causes if cause.rank == 1]
    assert "gain" in {cause.kind for cause in first}
    assert all(cause.fit is not None for cause in first)


def test_the_next_best_is_stated_and_survives_the_document() -> None:
    found = assessed("sdr-broadcast", faulty_displays.power(2.2))
    cause = found.state.causes[0]
    assert cause.kind == "curve"
    assert cause.fit is not None
    assert cause.fit.error_of_next is not None
    assert cause.fit.error < cause.fit.error_of_next < cause.fit.error_without
    assert read_document(assessment_document(found)).causes == found.state.causes


@pytest.mark.parametrize(
    ("error", "apart", "says"),
    [
        (0.45, True, "leaves 0.45, no more: check both."),
        (0.55, True, "leaves 0.55, hardly more: check both."),
        (0.7, True, "leaves 0.7: this cause is likely, not certain."),
        (1.5, True, "leaves 1.5, far more: this cause is clear."),
        (0.9, False, "leaves 0.9, and the readings do not tell the two apart: check both."),
        (1.5, False, "leaves 1.5, far more, but the readings do not rule it out: check both."),
        (
            0.1,
            False,
            "leaves 0.1, far less, but the readings do not rule this one out: check both.",
        ),
    ],
)
def test_how_sure_a_cause_is_in_words(error: float, apart: bool, says: str) -> None:
    """It may fit a little worse than another with more faults, which costs more."""
    text = fit_text(Fit(0.5, 5.0, False, error, Statement("x"), apart), "Other")
    assert text.endswith(f"The next best explanation (“Other”) {says}")


def test_a_compliant_slot_has_no_cause() -> None:
    """BT.1886 with a black of .09 is nearly the sRGB curve: where it passes, nothing is told."""
    rule = shipped_rule("sdr-broadcast")
    read = faulty_displays.readings(rule, (), np.random.RandomState(5))
    assert not assess(Measurement(rule, read), now=NOW).state.causes
    assert not diagnose(match_readings(rule, read), read).causes
