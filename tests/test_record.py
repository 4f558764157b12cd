"""The document of an assessment: its schema, its number, its times, its digest."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import jsonschema
import pytest
from helpers import builders, shipped
from helpers.demo_slots import assessed
from helpers.shipped import shipped_rule
from helpers.simulated import ideal, readings

from compliance.assessment import assess, valid_until
from compliance.documents import assessment_document
from compliance.evidence.recompute import assess_again, attachments
from compliance.grading.grade import KIND
from compliance.model import (
    Assessment,
    Certificate,
    Display,
    Limits,
    Measurement,
    Meter,
    ReadingsEntry,
)
from compliance.plain_data import digest, timestamp

ROOT = Path(__file__).resolve().parent.parent
SCHEMA = json.loads((ROOT / "compliance/schemas/assessment.json").read_text("utf-8"))
NOW = datetime(2026, 11, 21, 9, tzinfo=UTC)


def of_slot(name: str) -> Assessment:
    return assessed(name, now=NOW, draws=500)


@pytest.mark.parametrize("name", ["1", "2", "3", "4"])
def test_documents_keep_to_the_schema(name: str) -> None:
    document = assessment_document(of_slot(name))
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    json.dumps(document, allow_nan=False)


def test_a_bare_file_keeps_to_the_schema_too() -> None:
    rule = builders.rule(
        builders.target(), builders.requirement("luminance", "white", limits=Limits(95, 105))
    )
    made = assess(Measurement(rule, builders.readings([[255] * 3], [[95, 100, 109]])), now=NOW)
    jsonschema.Draft202012Validator(SCHEMA).validate(assessment_document(made))
    assert made.number.startswith("readings-only-test-rule-")
    assert made.draws == 0


def test_a_display_known_without_a_job_is_stated_and_comes_out_again() -> None:
    rule = shipped_rule("cinema-review-room")
    shown = ideal(rule, black=0.01)
    read = readings(shown, rule.encoding)
    unknown, known = (
        assess(Measurement(rule, read, display=one), now=NOW)
        for one in (None, Display(technology="led"))
    )
    assert assessment_document(unknown)["display"] is None
    document = assessment_document(known)
    assert document["display"]["technology"] == "led"
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert {one.id for one in unknown.state.findings if KIND in one.missing}
    assert not {one.id for one in known.state.findings if one.missing}
    for made in (unknown, known):
        assert assessment_document(assess_again(attachments(made))) == assessment_document(made)


def test_a_job_says_its_own_display() -> None:
    rule = shipped_rule("web-srgb")
    read = readings(ideal(rule, black=0.1), rule.encoding)
    with pytest.raises(ValueError, match="not both: a job names its own display"):
        assess(Measurement(rule, read, job=shipped.job(rule), display=Display()), now=NOW)


def test_the_number_ends_in_the_digest_of_the_rest() -> None:
    document = assessment_document(of_slot("1"))
    number = document.pop("number")
    assert number == f"MV-0417-1-sdr-broadcast-{digest(document)[:32]}"


def test_the_schema_is_closed_at_every_depth() -> None:
    def walk(node: object) -> None:
        if isinstance(node, dict):
            if "properties" in node and node.get("type") != "array":
                assert node.get("additionalProperties") is False, node.get("description")
                assert set(node["required"]) == set(node["properties"])
            for value in node.values():
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(SCHEMA)


def test_times_are_utc() -> None:
    east = datetime(2026, 11, 21, 1, 30, tzinfo=timezone(timedelta(hours=3)))
    assert timestamp(east) == "2026-11-20T22:30:00Z"
    assert timestamp(None) is None


def instrument(due: date | None) -> Meter:
    return builders.replace(builders.meter(0.0), certificate=Certificate(None, None, None, due))


@pytest.mark.parametrize(
    ("days", "due", "expected"),
    [
        (30, None, datetime(2026, 12, 20, 10, tzinfo=UTC)),
        (30, date(2026, 12, 1), datetime(2026, 12, 2, tzinfo=UTC)),
        (30, date(2027, 5, 1), datetime(2026, 12, 20, 10, tzinfo=UTC)),
        (30, date(2026, 11, 1), datetime(2026, 11, 20, 10, tzinfo=UTC)),
        (None, date(2027, 5, 1), None),
    ],
)
def test_the_end_of_a_verdicts_life(
    days: int | None, due: date | None, expected: datetime | None
) -> None:
    """Due dates last to 24:00 UTC; an overdue certificate ends it at measuring, not before.

    Readings dated after the assessment count from the assessment.
    """
    measured = datetime(2026, 11, 20, 10, tzinfo=UTC)
    rule = builders.replace(builders.rule(builders.target()), valid_days=days)
    entry = ReadingsEntry(Path("slot.csv"), "slot.csv", measured, rule.encoding)
    job = shipped.job(rule)
    job = replace(job, slots=(replace(job.slots[0], readings=entry),))
    readings = builders.readings([[255] * 3], [[95, 100, 109]])
    measurement = Measurement(rule, readings, job=job, meter=instrument(due))
    assert valid_until(measurement, measured) == expected
    if due is None and days is not None and expected is not None:
        early = measured - timedelta(days=90)
        assert valid_until(measurement, early) == expected - timedelta(days=90)


def test_other_slots_and_other_clients_do_not_leak() -> None:
    text = json.dumps(assessment_document(of_slot("2")))
    for foreign in ("slot-1", "slot-3", "OL-48", "spectro-1", "roll_off"):
        assert foreign not in text
