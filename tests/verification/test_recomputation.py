"""Comparing two assessments: what may differ, what may not, and what it is called."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from compliance.verification.compare import Topic, compare, tool_version

Document = dict[str, Any]
Change = Callable[[Document], None]


def point(value: float, verdict: str | None = "pass", p: float | None = None) -> Document:
    """A grey patch within ±1, or not."""
    return {
        "patch": [512, 512, 512],
        "name": "grey 50 %",
        "position": "centre",
        "window": 100.0,
        "target": 20.0,
        "value": value,
        "interval": None,
        "limits": {"min": -1.0, "max": 1.0, "nominal": 0.0, "box": None, "exclusive": False},
        "probability": p,
        "verdict": verdict,
    }


def finding(id: str, value: Any, verdict: str = "pass", **more: Any) -> Document:
    """A finding within ±1, or not."""
    return {
        "id": id,
        "title": id,
        "quantity": "luminance-error",
        "unit": "%",
        "level": "shall",
        "statistic": "each",
        "value": value,
        "bound": None,
        "interval": {"low": -0.5, "high": 0.5, "coverage": 0.95, "sided": 2},
        "limits": {"min": -1.0, "max": 1.0, "nominal": 0.0, "box": None, "exclusive": False},
        "probability": None,
        "joint": None,
        "verdict": verdict,
        "reason": None,
        "basis": "house",
        "clause": "7.1",
        "note": None,
        "points": [],
        "missing": [],
        "not_judged": [],
        **more,
    }


def assessment(*findings: Document, verdict: str = "compliant", **more: Any) -> Document:
    """A document with these findings."""
    return {
        "schema": "x",
        "number": "J-1-r-00000000",
        "assessed": "2026-11-20T16:00:00Z",
        "valid_until": None,
        "tool": {"name": "deliverable-compliance", "version": "1", "engine": 1},
        "job": {"reference": "J", "title": "A film"},
        "slot": {"slot": "1"},
        "rule": {"id": "r", "revision": 1, "digest": "aa"},
        "readings": {"file": "a.csv", "sha256": "bb", "count": 1},
        "meter": {"meter": "m"},
        "decision": {"acceptance": "simple", "confidence": 0.95},
        "seed": 0,
        "draws": 10000,
        "verdict": verdict,
        "reason": None,
        "conditional": False,
        "findings": list(findings) or [finding("a", 0.5), finding("b", -0.25)],
        "remarks": [],
        "before": None,
        **more,
    }


def changed(change: Change, computed: Document | None = None) -> tuple[Document, Document]:
    """A document with a change as stated, and as computed without."""
    computed = computed or assessment()
    stated = copy.deepcopy(computed)
    change(stated)
    return stated, computed


def test_equal_documents_agree() -> None:
    assert compare(assessment(), assessment()) == ()


@pytest.mark.parametrize("key", ["tool", "number"])
def test_what_computed_it_does_not_matter(key: str) -> None:
    stated, computed = changed(lambda document: document.update({key: {"engine": 7}}))
    assert compare(stated, computed) == ()


def set_at(*path: Any) -> Change:
    """Put the last of `path` where the others lead."""

    def change(document: Any) -> None:
        *keys, last, value = path
        for key in keys:
            document = document[key]
        document[last] = value

    return change


@pytest.mark.parametrize(
    ("change", "topic", "told"),
    [
        (set_at("findings", 0, "value", 0.6), Topic.VALUE, "finding a: value: 0.6 stated, 0.5"),
        (set_at("findings", 0, "value", None), Topic.VALUE, "finding a: value: null stated, 0.5"),
        (set_at("findings", 0, "verdict", "fail"), Topic.VERDICT,
         'finding a: verdict: "fail" stated, "pass" computed'),
        (set_at("findings", 0, "limits", "max", 2.0), Topic.RULE,
         "finding a, limits: max: 2.0 stated, 1.0 computed"),
        (set_at("findings", 0, "limits", "exclusive", True), Topic.RULE,
         "finding a, limits: exclusive: true stated, false computed"),
        (set_at("findings", 0, "level", "should"), Topic.RULE, "finding a: level"),
        (set_at("findings", 0, "clause", "7.2"), Topic.RULE, "finding a: clause"),
        (set_at("findings", 0, "id", "c"), Topic.RULE, "finding a: nothing stated, {"),
        (set_at("findings", 0, "missing", ["white"]), Topic.READING,
         "finding a: missing: number of entries: 1 stated, 0 computed"),
        (set_at("findings", 0, "interval", "high", 0.6), Topic.VALUE, "finding a, interval: high"),
        (set_at("findings", 0, "probability", 0.99), Topic.VALUE,
         "finding a: probability: 0.99 stated, null computed"),
        (set_at("verdict", "not-compliant"), Topic.VERDICT,
         'verdict: "not-compliant" stated, "compliant" computed'),
        (set_at("conditional", True), Topic.VERDICT, "conditional: true stated, false computed"),
        (set_at("readings", "sha256", "cc"), Topic.READING, 'readings: sha256: "cc" stated'),
        (set_at("rule", "revision", 2), Topic.RULE, "rule: revision: 2 stated, 1 computed"),
        (set_at("job", "title", "B film"), Topic.JOB, 'job: title: "B film" stated, "A film"'),
        (set_at("meter", "meter", "n"), Topic.METER, 'meter: meter: "n" stated'),
        (set_at("meter", None), Topic.METER, "meter: null stated"),
        (set_at("decision", "acceptance", "guarded"), Topic.RULE, "decision: acceptance"),
        (set_at("valid_until", "2030-01-01T00:00:00Z"), Topic.OTHER, "valid_until"),
        (set_at("remarks", [{"kind": "drift", "text": "0.1 %"}]), Topic.WORDS,
         "remarks: number of entries: 1 stated, 0 computed"),
        (set_at("findings", 0, "note", "read so"), Topic.WORDS, "finding a: note"),
        (set_at("more", 1), Topic.OTHER, "more: 1 stated, nothing computed"),
        (set_at("draws", True), Topic.DRAWS, "draws: true stated, 10000 computed"),
    ],
)  # fmt: skip
def test_a_change_is_found_and_named(change: Change, topic: Topic, told: str) -> None:
    found = compare(*changed(change))
    assert found
    assert found[0].topic is topic
    assert str(found[0]).startswith(told)


def test_a_point_is_named_by_its_patch() -> None:
    computed = assessment(finding("a", 0.5, points=[point(0.5)]))
    found = compare(*changed(set_at("findings", 0, "points", 0, "value", 0.7), computed))
    assert str(found[0]) == (
        "finding a, point 1 grey 50 % (512 512 512): value: 0.7 stated, 0.5 computed"
    )


def test_a_verdict_that_follows_from_a_changed_value_is_the_values() -> None:
    def change(document: Document) -> None:
        document["findings"][0].update(value=3.0, verdict="fail")
        document.update(verdict="not-compliant")

    assert {each.topic for each in compare(*changed(change))} == {Topic.VALUE}


# ---------------------------------------------------------------- tolerances


@pytest.mark.parametrize(
    ("path", "computed", "within", "beyond"),
    [
        (("value",), 0.5, 0.5 + 0.9e-9, 0.5 + 2e-9),
        (("value",), 1000.0, 1000 + 0.9e-6, 1000 + 2e-6),
        (("value",), 0.0, -0.9e-9, 2e-9),
        (("interval", "low"), -0.5, -0.5 + 0.9e-6, -0.5 + 2e-6),
        (("interval", "high"), 200.0, 200 + 1.9e-4, 200 + 2.1e-4),
        (("interval", "coverage"), 0.95, 0.95 + 0.9e-9, 0.95 + 2e-9),
        (("probability",), 0.5, 0.50019, 0.50021),
        (("joint",), 0.5, 0.49981, 0.49979),
    ],
)
def test_tolerances(path: tuple[str, ...], computed: float, within: float, beyond: float) -> None:
    """As stated in the design: values 1e-9, interval ends 1e-6, p and joint 2 of 10 000 draws."""
    document = assessment()
    set_at("findings", 0, *path, computed)(document)
    assert not compare(*changed(set_at("findings", 0, *path, within), document))
    assert compare(*changed(set_at("findings", 0, *path, beyond), document))


def test_without_draws_probabilities_are_equal() -> None:
    document = assessment(finding("a", 0.5, probability=0.99), draws=0)
    assert compare(*changed(set_at("findings", 0, "probability", 0.99001), document))


def test_pairs_are_compared_end_by_end() -> None:
    box = {"min": None, "max": None, "nominal": None, "box": [0.002, 0.002], "exclusive": False}
    document = assessment(finding("a", [0.001, 0.0015], limits=box))
    assert not compare(*changed(set_at("findings", 0, "value", 1, 0.0015 + 1e-10), document))
    found = compare(*changed(set_at("findings", 0, "value", 1, 0.0016), document))
    assert str(found[0]) == "finding a, value: 2: 0.0016 stated, 0.0015 computed"


def test_no_number_equals_nan() -> None:
    document = assessment()
    set_at("findings", 0, "value", float("nan"))(document)
    assert compare(document, assessment())
    assert compare(document, document)


# ---------------------------------------------------------------- verdicts at thresholds


def edges(change: Change, computed: Document) -> set[str]:
    """What a change turns at a threshold; nothing else may differ."""
    found = compare(*changed(change, computed))
    assert {each.topic for each in found} == {Topic.EDGE}
    return {str(each) for each in found}


def test_a_verdict_may_turn_at_its_limit_and_the_outcome_with_it() -> None:
    computed = assessment(finding("a", 1.0 + 5e-10))

    def change(document: Document) -> None:
        document["findings"][0].update(verdict="fail")
        document.update(verdict="not-compliant")

    assert edges(change, computed) == {
        'finding a: verdict: "fail" stated, "pass" computed',
        'verdict: "not-compliant" stated, "compliant" computed',
    }


def test_a_verdict_does_not_turn_away_from_its_limit() -> None:
    computed = assessment(finding("a", 1.0 - 1e-7))
    assert compare(*changed(set_at("findings", 0, "verdict", "fail"), computed))


def test_a_verdict_turns_at_the_confidence_but_not_across() -> None:
    def state(verdict: str) -> Change:
        def change(document: Document) -> None:
            document["findings"][0].update(verdict=verdict)
            document.update(conditional=verdict == "conditional-pass")

        return change

    at = assessment(finding("a", 0.5, probability=0.9501))
    assert edges(state("conditional-pass"), at) == {
        'finding a: verdict: "conditional-pass" stated, "pass" computed',
        "conditional: true stated, false computed",
    }
    for verdict in ("fail", "conditional-fail", "not-assessed", "excellent"):
        assert compare(*changed(state(verdict), at))
    away = assessment(finding("a", 0.5, probability=0.96))
    assert compare(*changed(state("conditional-pass"), away))


def test_the_outcome_must_follow_from_the_findings() -> None:
    """One finding at its limit is no leave to state another outcome."""
    computed = assessment(
        finding("a", 1.0, level="should"),
        finding("b", 5.0, "fail"),
        verdict="not-compliant",
    )

    def change(document: Document) -> None:
        document["findings"][0].update(verdict="fail")
        document.update(verdict="compliant")

    found = compare(*changed(change, computed))
    assert [(each.topic, str(each)) for each in found] == [
        (Topic.VERDICT, 'verdict: "compliant" stated, "not-compliant" computed'),
        (Topic.EDGE, 'finding a: verdict: "fail" stated, "pass" computed'),
    ]


def test_a_finding_of_points_has_the_worst_of_their_verdicts() -> None:
    computed = assessment(finding("a", 1.0, points=[point(1.0), point(0.5)]))

    def change(document: Document) -> None:
        document["findings"][0].update(verdict="fail")
        document["findings"][0]["points"][0].update(verdict="fail")
        document.update(verdict="not-compliant")

    assert len(edges(change, computed)) == 3
    found = compare(*changed(set_at("findings", 0, "points", 1, "verdict", "fail"), computed))
    assert [each.topic for each in found] == [Topic.VERDICT]


def test_the_state_before_calibration_is_compared_too() -> None:
    before = {"findings": [finding("a", 2.0, "fail")], "verdict": "not-compliant",
              "reason": None, "conditional": False, "remarks": []}  # fmt: skip
    computed = assessment(before=before)
    found = compare(*changed(set_at("before", "verdict", "compliant"), computed))
    assert str(found[0]) == 'before: verdict: "compliant" stated, "not-compliant" computed'
    found = compare(*changed(set_at("before", "findings", 0, "value", 0.1), computed))
    assert str(found[0]) == "before, finding a: value: 0.1 stated, 2.0 computed"


def test_tool_of() -> None:
    assert tool_version(assessment()) == ("1", 1)
    assert tool_version({}) == (None, None)
    assert tool_version({"tool": "mine"}) == (None, None)
