"""A house rule beside what it extends: what is wider, and whether the narrower would be met."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from helpers.sample_assessments import finding

from compliance.model import Rule, Verdict
from compliance.report.house import house_changes, house_sentence
from compliance.rules.library import load_rule
from compliance.rules.parents import shipped_parent

HOUSE = Path(__file__).parents[2] / "demo" / "house-rules" / "rules" / "vellumfish-broadcast.yaml"


@pytest.fixture(scope="module")
def rule() -> Rule:
    return load_rule(HOUSE)


def test_the_sentence_counts_what_is_wider(rule: Rule) -> None:
    assert house_sentence(rule, shipped_parent(rule)) == (
        "By house rule vellumfish-broadcast: 1 limit wider than in sdr-broadcast@2 (White "
        "luminance); 1 stricter or added."
    )
    assert house_sentence(rule, None) == (
        "By house rule vellumfish-broadcast, which extends sdr-broadcast@2: 1 change is stated."
    )
    assert house_sentence(load_rule("sdr-broadcast"), None) == ""


@pytest.mark.parametrize(
    ("value", "met"),
    [(104.0, "yes: 104.0 cd/m²"), (106.0, "no: 106.0 cd/m²"), (93.0, "no: 93.0 cd/m²")],
)
def test_whether_the_extended_rule_would_be_met(rule: Rule, value: float, met: str) -> None:
    """The house allows 92 to 108 cd/m², the shipped rule 95 to 105."""
    need = next(each for each in rule.requirements if each.id == "white-level")
    made = replace(finding(need, Verdict.PASS, value), interval=None, limits=need.limits)
    (change,) = house_changes(rule, shipped_parent(rule), [made])
    assert change.subject == "White luminance"
    assert change.parent.replace("\u00a0", " ") == "100 ± 5 cd/m²"
    assert change.here.replace("\u00a0", " ") == "100 ± 8 cd/m²"
    assert change.met.replace("\u00a0", " ") == met
    assert change.agreed == "Odile Farrowmere, 2026-11-02"


def test_what_was_not_judged_cannot_be_told(rule: Rule) -> None:
    (change,) = house_changes(rule, shipped_parent(rule), [])
    assert change.met == "cannot be told"
    (change,) = house_changes(rule, None, [])
    assert (change.parent, change.met) == ("not known here", "")


def test_a_requirement_that_is_not_asked_is_told(rule: Rule) -> None:
    parent = shipped_parent(rule)
    assert parent is not None
    kept = tuple(each for each in rule.requirements if each.id != "gamma")
    less = replace(rule, requirements=kept)
    told = {change.subject: change for change in house_changes(less, parent, [])}
    assert told["Gamma"].here == "not asked"
    assert told["Gamma"].reason == "No reason stated"
    assert "1 requirement of sdr-broadcast@2 not asked (Gamma)" in house_sentence(less, parent)
