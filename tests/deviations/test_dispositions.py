"""Which deviation holds for which finding, and what the client makes of the verdict."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from helpers import near_limit
from helpers.near_limit import AGAIN, COLOURED, assessment, both, deviation
from jsonschema import Draft202012Validator

from compliance.errors import DeviationError
from compliance.model import Disposition, Outcome, Verdict
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


def test_no_further_outside_than_accepted() -> None:
    assert assessment(both(), now=AGAIN, white=DIMMER).disposition is Disposition.ACCEPTED
    told = refused(deviation(), white=BRIGHTER)
    assert told == (
        "white-level.json: accepts white-level as far as 112.5, but it is now 113.625; "
        "a new deviation is needed"
    )


def test_the_other_side_is_another_matter() -> None:
    dark = tuple(0.83 * part for part in COLOURED)
    assert "but it is now 93.375" in refused(deviation(), white=dark)
    x, y, z = COLOURED
    green = (x, y, z * 0.9)
    assert "a new deviation is needed" in refused(deviation("white-colour"), white=green)


def test_expired() -> None:
    after = datetime(2026, 12, 11, tzinfo=UTC)
    assert assessment(both(), now=after - timedelta(seconds=1)).disposition is not None
    assert refused(*both(), now=after).splitlines() == [
        f"{name}.json: expired: it was accepted until 2026-12-10"
        for name in ("white-level", "white-colour")
    ]


def test_not_before_it_was_accepted() -> None:
    assert "was accepted on 2026-11-20, after the time" in refused(
        deviation(), now=datetime(2026, 11, 19, tzinfo=UTC)
    )


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"reference": "KX-8"}, "is for job KX-7, not for KX-8"),
        ({"slot": "2"}, "is for slot 1, not for 2"),
        ({"serial": "S-2"}, "is for the display with serial number S-1, not for S-2"),
        ({"serial": None}, "is for the display with serial number S-1, not for not stated"),
        ({"limit": 108.0}, "was accepted under other limits: tiny has changed since"),
    ],
)
def test_foreign(given: dict[str, Any], expected: str) -> None:
    assert expected in refused(deviation(), **given)


def test_for_another_rule_or_requirement() -> None:
    assert "is for rule other, not for tiny" in refused(replace(deviation(), rule="other"))
    told = refused(replace(deviation(), requirement="white-lovel"))
    assert told.endswith("accepts white-lovel, which is not a requirement of tiny")


def test_not_needed() -> None:
    told = refused(deviation(), white=(95.047, 100.0, 108.883))
    assert "white-level has the verdict pass: only a value" in told
    assert told.endswith("leave it out")


def test_two_for_one_requirement() -> None:
    assert "as white-level.json does; give one of them" in refused(deviation(), deviation())
