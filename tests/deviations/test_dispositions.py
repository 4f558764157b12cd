"""Which deviation holds for which finding, and what the client makes of the verdict."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from helpers import near_limit
from helpers.near_limit import ACCEPTED, AGAIN, COLOURED, assessment, both, deviation
from jsonschema import Draft202012Validator

from compliance.documents import assessment_document
from compliance.errors import DeviationError
from compliance.evidence.recompute import assess_again, attachments
from compliance.model import Disposition, Outcome, Verdict
from compliance.report.words import remark_text
from compliance.report.words.en.verdicts import accepted_sentence
from compliance.yaml_nodes.json_schema import load_schema

BRIGHTER = tuple(1.01 * part for part in COLOURED)
DIMMER = tuple(0.97 * part for part in COLOURED)


def refused(*deviations: Any, **given: Any) -> str:
    with pytest.raises(DeviationError) as raised:
        assessment(deviations, **{"now": AGAIN, **given})
    return str(raised.value)


def test_verdict_and_findings_stay() -> None:
    plain, found = assessment(now=AGAIN), assessment(both(), now=AGAIN)
    assert found.verdict is Outcome.NOT_COMPLIANT
    assert found.state.findings == plain.state.findings
    assert found.disposition is Disposition.ACCEPTED
    assert plain.disposition is None
    documents = near_limit.document(found), near_limit.document(plain)
    same = set(documents[0]) - {"deviations", "disposition", "number", "valid_until"}
    assert all(documents[0][key] == documents[1][key] for key in same)
    assert found.number != plain.number


def test_the_document_states_each_and_holds_to_its_schema() -> None:
    document = near_limit.document(assessment(both()[::-1], now=AGAIN))
    Draft202012Validator(load_schema("assessment")).validate(document)
    assert document["disposition"] == "accepted-with-deviations"
    rows = document["deviations"]
    assert [row["requirement"] for row in rows] == ["white-level", "white-colour"]
    assert [row["file"] for row in rows] == ["deviation-1.json", "deviation-2.json"]
    assert rows[0]["value"] == 112.5
    assert rows[0]["limits"]["max"] == 105
    assert rows[0]["signer"]["sha256"] == near_limit.client().signer.fingerprint


def test_it_ends_with_the_first_deviation_that_ends() -> None:
    early = deviation("white-colour", until=date(2026, 12, 1))
    found = assessment([deviation(), early], now=AGAIN)
    assert found.valid_until == datetime(2026, 12, 2, tzinfo=UTC)
    late = [deviation(each, until=date(2027, 5, 1)) for each in ("white-level", "white-colour")]
    assert assessment(late, now=AGAIN).valid_until == assessment().valid_until


def test_one_of_two_is_stated_and_accepts_nothing() -> None:
    found = assessment([deviation()], now=AGAIN)
    assert found.disposition is None
    assert [each.requirement for each in found.deviations] == ["white-level"]
    assert found.valid_until == assessment().valid_until


def test_what_is_left_open_is_not_accepted() -> None:
    """A shall that was not assessed, or that a guarded rule leaves undecided, stays open."""
    from compliance.grading.decide import outcome
    from compliance.grading.deviation_check import disposition
    from compliance.model import Decision, Reason

    findings = list(assessment().state.findings)
    opened = [
        replace(row, verdict=Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS)
        if row.id == "black-level"
        else row
        for row in findings
    ]
    assert outcome(opened, Decision())[0] is Outcome.NOT_COMPLIANT
    assert disposition(both(), opened, Decision()) is None
    assert disposition(both(), findings, Decision(acceptance="guarded")) is None
    assert disposition(both(), findings[:2], Decision()) is Disposition.ACCEPTED


def lapsed(*deviations: Any, **given: Any) -> list[str]:
    """The remarks on deviations without effect; what they covered stays as it was found."""
    found = assessment(deviations, **{"now": AGAIN, **given})
    plain = assessment(**{"now": AGAIN, **given})
    assert found.state.findings == plain.state.findings
    assert (found.disposition, found.deviations) == (None, ())
    assert sorted(each.file for each in found.lapsed) == sorted(each.file for each in deviations)
    Draft202012Validator(load_schema("assessment")).validate(near_limit.document(found))
    again = assess_again(attachments(found))
    assert assessment_document(again) == near_limit.document(found)
    return [remark_text(each) for each in found.state.remarks if each.kind == "deviation-lapsed"]


def test_no_further_outside_than_accepted() -> None:
    assert assessment(both(), now=AGAIN, white=DIMMER).disposition is Disposition.ACCEPTED
    assert lapsed(deviation(), white=BRIGHTER) == [
        "A deviation without effect: White luminance up to 112.5\u00a0cd/m², accepted by Cleo "
        "Client until 2026-12-10; the value is now 113.625\u00a0cd/m²."
    ]


def test_room_for_another_measurement() -> None:
    wide = deviation(up_to=115.0), deviation("white-colour")
    found = assessment(wide, now=AGAIN, white=BRIGHTER)
    assert found.disposition is Disposition.ACCEPTED
    (first, _) = near_limit.document(found)["deviations"]
    assert (first["value"], first["up_to"]) == (112.5, 115.0)
    assert "112.5\u00a0cd/m², and up to 115.0\u00a0cd/m², accepted" in accepted_sentence(wide[0])
    brightest = tuple(1.03 * part for part in COLOURED)
    assert "up to 115\u00a0cd/m²" in lapsed(wide[0], white=brightest)[0]


@pytest.mark.parametrize("bound", [112.0, 90.0, 100.0])
def test_a_bound_is_no_nearer_than_the_value(bound: float) -> None:
    with pytest.raises(DeviationError, match="further outside its limits than the bound"):
        deviation(up_to=bound)


def test_the_other_side_is_another_matter() -> None:
    dark = tuple(0.83 * part for part in COLOURED)
    assert "the value is now 93.375" in lapsed(deviation(), white=dark)[0]
    x, y, z = COLOURED
    green = (x, y, z * 0.9)
    (told,) = lapsed(deviation("white-colour"), white=green)
    assert told.endswith("; the value is now 0.00196331, 0.0249962.")


def test_expired() -> None:
    after = datetime(2026, 12, 11, tzinfo=UTC)
    assert assessment(both(), now=after - timedelta(seconds=1)).disposition is not None
    told = lapsed(*both(), now=after)
    assert len(told) == 2
    assert all(each.endswith("that day was over when this was assessed.") for each in told)


def test_not_before_it_was_accepted() -> None:
    (told,) = lapsed(deviation(), now=datetime(2026, 11, 19, tzinfo=UTC))
    assert told.endswith("that was after this assessment.")


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"reference": "KX-8"}, "is for job KX-7, not for KX-8"),
        ({"slot": "2"}, "is for slot 1, not for 2"),
    ],
)
def test_foreign(given: dict[str, Any], expected: str) -> None:
    assert expected in refused(deviation(), **given)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"serial": "S-2"}, "the display is another one now."),
        ({"serial": None}, "the display is another one now."),
        ({"limit": 108.0}, "the rule has changed since."),
        ({"white": (95.047, 100.0, 108.883)}, "the value is not outside its limits now."),
    ],
)
def test_what_has_changed_ends_it(given: dict[str, Any], expected: str) -> None:
    (told,) = lapsed(deviation(), **given)
    assert told.endswith(expected)


def test_for_another_rule_or_requirement() -> None:
    assert "is for rule other, not for tiny" in refused(replace(deviation(), rule="other"))
    told = refused(replace(deviation(), requirement="white-lovel"))
    assert told.endswith("accepts white-lovel, which is not a requirement of tiny")


def test_of_two_for_one_requirement_the_last_one_holds() -> None:
    """In whatever order they are given; an earlier one that reaches as far is told."""
    first = deviation()
    later = deviation(accepted=ACCEPTED + timedelta(hours=1), until=date(2026, 12, 5))
    for given in ((first, later), (later, first)):
        found = assessment(given, now=AGAIN)
        assert (found.deviations, found.lapsed) == ((later,), (first,))
    told = [remark_text(each) for each in found.state.remarks if each.kind == "deviation-lapsed"]
    assert told[0].endswith("a later deviation for the same requirement takes its place.")
    early = deviation(accepted=ACCEPTED + timedelta(hours=1), until=date(2026, 11, 20))
    assert assessment((first, early), now=AGAIN).deviations == (first,)
