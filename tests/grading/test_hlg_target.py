"""The system gamma and the form of the black of HLG slots, as the readings decide them.

System gammas are those of ITU-R BT.2100-3 note 5f: 1.2 + .42·log10(Lw/1000).
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from unittest.mock import patch

import numpy as np
import pytest
from helpers import builders, shipped, simulated
from helpers.shipped import NOW, finding, graded, job, outside, shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.evidence.recompute import assess_again, attachments
from compliance.grading.grade import evaluate
from compliance.grading.hlg_target import limits_of_peak, system_gamma
from compliance.grading.match import DeclaredFacts, MatchedReadings, match_readings, matched
from compliance.grading.measurement_model import Draws
from compliance.job_file import job_from_document
from compliance.model import (
    Assessment,
    Job,
    Limits,
    Measurement,
    Over,
    Remark,
    Requirement,
    Rule,
    Verdict,
)
from compliance.report.words import remark_text

Array = NDArray[np.float64]

GRADE = "hdr-hlg-grade-1a"
"""At least 1000 cd/m²; `hdr-hlg-1000` has 950 to 1100."""


def gamma_of(peak: float) -> float:
    return 1.2 + 0.42 * math.log10(peak / 1000)


def shown(
    rule: Rule, peak: float, gamma: float, black: float = 0.002, form: str = "lift"
) -> list[simulated.Shown]:
    """The plan of a rule on an HLG display."""
    target = replace(rule.target, system_gamma=gamma, black=form)
    return simulated.ideal(rule, white=peak, black=black, wrong_target=target)


def stated(rule: Rule, peak: float | None) -> Job:
    whole = job(rule)
    return replace(whole, slots=(replace(whole.slots[0], nominal_peak=peak),))


def judged(
    name: str,
    peak: float,
    gamma: float,
    declared: float | None = None,
    **how: object,
) -> Assessment:
    rule = shipped_rule(name)
    return graded(rule, shown(rule, peak, gamma, **how), stated=stated(rule, declared))  # type: ignore[arg-type]


def case_of(
    rule: Rule, display: list[simulated.Shown], lowest: float = 0.0, **changes: object
) -> MatchedReadings:
    meter = replace(builders.meter(0.0, **changes), stated_lowest=lowest)
    readings = simulated.readings(display, rule.encoding)
    return match_readings(rule, readings, meter=meter)


# ------------------------------------------------------------ the system gamma


@pytest.mark.parametrize("peak", [1250.0, 1500.0, 1990.0])
@pytest.mark.parametrize("declared", [False, True])
def test_a_brighter_display_with_its_own_gamma_is_right(peak: float, declared: bool) -> None:
    assessment = judged(GRADE, peak, gamma_of(peak), peak if declared else None)
    assert outside(assessment) == set()
    errors = [abs(point.value) for point in finding(assessment, "tracking").points]
    assert max(errors) < 1e-3
    left = judged(GRADE, peak, 1.2, peak if declared else None)
    assert "tracking" in outside(left)


def test_a_peak_near_the_rule_s_has_the_rule_s_gamma() -> None:
    """Within 10 % where the rule gives a minimum alone; a slot that declares it has its own."""
    near = 1090.0
    assert outside(judged(GRADE, near, 1.2)) == set()
    assert outside(judged(GRADE, near, gamma_of(near), near)) == set()
    errors = [point.value for point in finding(judged(GRADE, near, 1.2, near), "tracking").points]
    assert max(map(abs, errors)) > 3


def test_a_declaration_does_not_excuse_a_wrong_gamma() -> None:
    """2000 cd/m² declared for a display of 1000 with the gamma of 2000, 1.326."""
    wrong = judged(GRADE, 1000.0, gamma_of(2000.0), 2000.0)
    assert "tracking" in outside(wrong)
    assert outside(judged(GRADE, 1000.0, 1.2, 2000.0)) == set()


@pytest.mark.parametrize(
    ("name", "measured", "declared", "source", "beyond", "peak"),
    [
        (GRADE, 1000.0, None, "rule", "", 1000),
        (GRADE, 1101.0, None, "measured", "", 1101),
        (GRADE, 899.0, None, "measured", "", 899),
        (GRADE, 1500.0, 1500.0, "declared", "", 1500),
        (GRADE, 1500.0, 1649.0, "declared", "", 1649),
        (GRADE, 1500.0, 1651.0, "measured", "reading", 1500),
        (GRADE, 1000.0, 2000.0, "rule", "reading", 1000),
        (GRADE, 960.0, 950.0, "rule", "limits", 1000),
        ("hdr-hlg-1000", 1100.0, None, "rule", "", 1000),
        ("hdr-hlg-1000", 1101.0, None, "measured", "", 1101),
        ("hdr-hlg-1000", 1080.0, 1150.0, "rule", "limits", 1000),
        ("hdr-hlg-1000", 1080.0, 1090.0, "declared", "", 1090),
    ],
)
def test_the_peak_that_the_gamma_follows(
    name: str, measured: float, declared: float | None, source: str, beyond: str, peak: float
) -> None:
    gamma = system_gamma(shipped_rule(name), measured, declared)
    assert (gamma.source, gamma.beyond) == (source, beyond)
    assert gamma.value == pytest.approx(gamma_of(peak), abs=1e-12)


def test_a_number_in_the_rule_wins() -> None:
    rule = shipped_rule(GRADE)
    fixed = replace(rule, target=replace(rule.target, system_gamma=1.2, surround=None))
    display = shown(fixed, 2000.0, 1.2)
    assert outside(graded(fixed, display, stated=stated(fixed, 2000.0))) == set()


def test_the_surround_of_the_rule_counts_at_any_peak() -> None:
    """ITU-R BT.814-4 Annex 5 (digest): .076 less for ten times the surround."""
    rule = shipped_rule(GRADE)
    dim = replace(rule, target=replace(rule.target, system_gamma=1.2 - 0.076, surround=50.0))
    gamma = system_gamma(dim, 1500.0, 1500.0)
    assert gamma.value == pytest.approx(gamma_of(1500) - 0.076, abs=1e-12)


def test_limits_of_a_peak_are_those_of_its_shalls() -> None:
    assert limits_of_peak(shipped_rule("hdr-hlg-1000")) == (950, 1100)
    assert limits_of_peak(shipped_rule(GRADE)) == (1000, math.inf)
    rule = shipped_rule(GRADE)
    loaded = builders.requirement(
        "luminance", Over(("white",), window=(100.0,)), limits=Limits(0, 400)
    )
    assert limits_of_peak(replace(rule, requirements=(loaded,))) == (-math.inf, math.inf)


def test_sets_and_bands_stay_on_the_nominal_target() -> None:
    rule = shipped_rule(GRADE)
    readings = simulated.readings(shown(rule, 1500.0, gamma_of(1500)), rule.encoding)
    plain = match_readings(rule, readings)
    other = match_readings(rule, readings, stated=DeclaredFacts(nominal_peak=1400.0))
    assert plain.view.model.system_gamma != other.view.model.system_gamma
    assert np.array_equal(plain.patches.nominal, other.patches.nominal)
    assert plain.plan.model.system_gamma == other.plan.model.system_gamma == 1.2
    assert plain.patches.nominal.max() == pytest.approx(1000)


def remarks_on(assessment: Assessment, kind: str) -> list[Remark]:
    return [remark for remark in assessment.state.remarks if remark.kind == kind]


@pytest.mark.parametrize(
    ("name", "peak", "declared", "variant", "words"),
    [
        (GRADE, 1500.0, 1500.0, "declared", "nominal peak, 1500\u00a0cd/m²: 1.274"),
        (GRADE, 1990.0, None, "measured", "the system gamma of the reading, 1.326"),
        (GRADE, 1000.0, 2000.0, "not-used", "more than 10\u00a0% from the reading"),
        ("hdr-hlg-1000", 1080.0, 1150.0, "not-used", "limits for the peak, 950 to 1100\u00a0cd/m²"),
    ],
)
def test_remarks_name_the_gamma(
    name: str, peak: float, declared: float | None, variant: str, words: str
) -> None:
    rule = shipped_rule(name)
    display = shown(rule, peak, gamma_of(peak), black=0.0)
    assessment = shipped.judged(rule, display, stated=stated(rule, declared))
    (remark,) = remarks_on(assessment, "system-gamma")
    assert remark.variant == variant
    assert words in remark_text(remark)


def test_the_rule_s_own_gamma_earns_no_remark() -> None:
    rule = shipped_rule(GRADE)
    assessment = shipped.judged(rule, shown(rule, 1000.0, 1.2), stated=stated(rule, None))
    assert remarks_on(assessment, "system-gamma") == []


def test_evidence_carries_the_nominal_peak() -> None:
    """Without it the target computed again would have another gamma."""
    rule = shipped_rule(GRADE)
    entry = {"file": "readings.csv", "measured": "2026-11-20T10:00:00Z"}
    slot = {"slot": "1", "deliverable": GRADE, "nominal_peak": 1050.0, "readings": entry}
    data = {"job": "QX-2", "encoding": rule.encoding.name, "slots": [slot]}
    readings = simulated.readings(shown(rule, 1000.0, 1.2), rule.encoding)
    first = assess(Measurement(rule, readings, job=job_from_document(data, "job.yaml")), now=NOW)
    again = assess_again(attachments(first))
    assert again.number == first.number
    assert matched(again.measurement).view.model.system_gamma == pytest.approx(gamma_of(1050))
    document = json.loads(attachments(first)["assessment.json"])
    assert document["slot"]["nominal_peak"] == 1050


def test_causes_are_told_from_the_gamma_that_the_peak_has() -> None:
    rule = shipped_rule(GRADE)
    assessment = shipped.judged(rule, shown(rule, 2000.0, 1.2), stated=stated(rule, 2000.0))
    causes = [cause for cause in assessment.state.causes if cause.kind == "curve"]
    (cause,) = causes
    assert cause.facts["gamma"] == pytest.approx(1.2, abs=0.02)
    assert cause.facts["rule_gamma"] == pytest.approx(gamma_of(2000), abs=1e-9)


# ------------------------------------------------------------ the form of the black


@pytest.mark.parametrize("name", [GRADE, "hdr-hlg-1000"])
@pytest.mark.parametrize("form", ["lift", "add"])
@pytest.mark.parametrize("black", [0.0005, 0.001, 0.004])
def test_a_right_display_passes_with_either_form(name: str, form: str, black: float) -> None:
    assessment = judged(name, 1000.0, 1.2, black=black, form=form)
    assert outside(assessment) == set()
    case = matched(assessment.state.measurement)
    assert case.view.model.lift == (form == "lift")


def test_a_tie_is_added() -> None:
    rule = shipped_rule(GRADE)
    assert not case_of(rule, shown(rule, 1000.0, 1.2, black=0.0)).view.model.lift


def test_few_greys_keep_the_rule_s_form() -> None:
    rule = shipped_rule(GRADE)
    display = shown(rule, 1000.0, 1.2, black=0.004, form="add")
    some = [one for one in display if one.codes in ((64,) * 3, (502,) * 3, (940,) * 3)]
    assert case_of(rule, some).view.model.lift
    assert not case_of(rule, display).view.model.lift


@pytest.mark.parametrize("form", ["lift", "add"])
@pytest.mark.parametrize(("black", "lowest"), [(0.0005, 0.002), (0.002, 0.003), (0.001, 0.01)])
def test_a_hidden_black_has_a_form_too(form: str, black: float, lowest: float) -> None:
    """The black is left free, from 0 to the meter's lowest luminance, for both forms."""
    rule = shipped_rule(GRADE)
    case = case_of(rule, shown(rule, 1000.0, 1.2, black=black, form=form), lowest)
    assert case.hidden_blacks.any()
    assert case.view.model.lift == (form == "lift")
    tracking = next(one for one in rule.requirements if one.id == "tracking")
    found = evaluate(tracking, case)
    assert found.verdict is Verdict.PASS
    # Where it is added, the target's own black is 0: all that is left is its light.
    most = 1e-2 if form == "lift" else 100 * black / 0.1
    assert max(abs(point.value) for point in found.points) <= most


def test_draws_keep_the_form() -> None:
    rule = shipped_rule(GRADE)
    for form in ("lift", "add"):
        display = shown(rule, 1000.0, 1.2, black=0.001, form=form)
        for lowest in (0.0, 0.002):
            case = case_of(rule, display, lowest)
            draws = Draws(case, builders.meter(0.0).uncertainty, count=20, seed=0)
            for (view,) in draws.views(range(len(case.patches))):
                assert view.model == case.view.model
                assert view.model.lift == (form == "lift")


def test_a_wrong_gamma_is_not_hidden_by_the_form() -> None:
    """The gamma is free for the choice alone; the target has the slot's."""
    for form in ("lift", "add"):
        for gamma in (1.13, 1.27):
            assert "tracking" in outside(judged(GRADE, 1000.0, gamma, black=0.003, form=form))


@pytest.mark.parametrize("form", ["lift", "add"])
@pytest.mark.parametrize("gamma", [1.13, 1.27])
def test_a_wrong_gamma_is_not_hidden_by_a_hidden_black(form: str, gamma: float) -> None:
    rule = shipped_rule(GRADE)
    tracking = next(one for one in rule.requirements if one.id == "tracking")
    for black, lowest in ((0.0005, 0.002), (0.002, 0.01)):
        case = case_of(rule, shown(rule, 1000.0, gamma, black=black, form=form), lowest)
        assert evaluate(tracking, case).verdict is Verdict.FAIL


def test_greys_beside_both_forms_fail() -> None:
    """Neutrals of .3 to 3 cd/m² more than 1.5 bands outside: 22 % up to 1 cd/m², 10 % above."""
    rule = shipped_rule(GRADE)
    for share in (0.76, 1.24):

        def wrong(patch: object, xyz: Array, share: float = share) -> Array:
            return xyz * share if 0.3 <= xyz[1] <= 3 else xyz

        for black in (0.0, 0.002):
            display = shipped.ideal(rule, white=1000.0, black=black, fault=wrong)
            assert "tracking" in outside(graded(rule, display, stated=stated(rule, None)))


def fitted(form: str, gamma: float, black: float) -> float:
    requirement: Requirement = builders.requirement(
        "fitted-exponent", Over(("grey",), signal=(0.1, 0.9)), limits=Limits(1.15, 1.25)
    )
    target = builders.target(
        "hlg", luminance_white=1000.0, container=builders.BT2020, primaries=builders.BT2020
    )
    rule = builders.rule(target, requirement, encoding="rgb-12-full", sets=(builders.ramp(21),))
    display = simulated.ideal(
        rule,
        white=1000.0,
        black=black,
        wrong_target=replace(target, black=form, system_gamma=gamma),
    )
    found = evaluate(requirement, match_readings(rule, simulated.readings(display, rule.encoding)))
    assert isinstance(found.value, float)
    return found.value


@pytest.mark.parametrize("form", ["lift", "add"])
@pytest.mark.parametrize("gamma", [1.1, 1.2, 1.33])
def test_the_fitted_exponent_has_the_chosen_form(form: str, gamma: float) -> None:
    assert fitted(form, gamma, 0.02) == pytest.approx(gamma, abs=1e-6)


def test_a_remark_names_the_form() -> None:
    rule = shipped_rule(GRADE)
    for form, words in (
        ("lift", "lifts the signal to its black, 0.004"),
        ("add", "is added light"),
    ):
        display = shown(rule, 1000.0, 1.2, black=0.004, form=form)
        (remark,) = remarks_on(shipped.judged(rule, display), "black-form")
        assert remark.variant == {"lift": "lifted", "add": "added"}[form]
        assert remark.facts["black"] == pytest.approx(0.004)
        assert words in remark_text(remark)
    assert remarks_on(shipped.judged(rule, shown(rule, 1000.0, 1.2, black=0.0)), "black-form") == []
    readings = simulated.readings(shown(rule, 1000.0, 1.2, form="add"), rule.encoding)
    meter = replace(builders.meter(0.0), stated_lowest=0.003)
    with patch("compliance.assessment.DRAWS", 50):
        unseen = assess(Measurement(rule, readings, meter=meter), now=NOW)
    (remark,) = remarks_on(unseen, "black-form")
    assert "whose black is added light" in remark_text(remark)
