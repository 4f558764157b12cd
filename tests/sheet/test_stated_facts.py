"""Facts that a job and a meter may state, as the sheet and its document have them."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
from helpers.demo_slots import assessed
from helpers.evidence_of_a_slot import JOB, METER, assessment, assessment_of

from compliance.documents import assessment_document
from compliance.meter_file import meter_from_document
from compliance.model import Assessment
from compliance.report.build import build_report

BARE = "Started", "Ended", "Temperature", "Relative humidity", "Procedure"


def with_readings(**facts: Any) -> dict[str, Any]:
    """Keys of a job whose readings state more."""
    slots = deepcopy(JOB["slots"])
    slots[0]["readings"] |= facts  # type: ignore[index]
    return {"slots": slots}


def printed(made: Assessment) -> dict[str, str]:
    """The last pages' facts by label; of several the first."""
    facts = [fact for group in build_report(made).provenance for fact in group.facts]
    return {fact.label: fact.value for fact in reversed(facts)}


def test_what_is_stated_is_printed() -> None:
    more = with_readings(
        started="2026-11-20T10:30:00+01:00", ended="2026-11-20T10:10:00Z",
        temperature=22.5, humidity=45,
    )  # fmt: skip
    people = {"measured_by": {"name": "Ada", "function": "engineer"}, "authorised_by": "Lin"}
    made = assessment_of({**more, "people": people, "procedure": "QP-12", "timezone": "Asia/Tokyo"})
    values = printed(made)
    assert [values[label] for label in BARE] == [
        "2026-11-20 18:30 +09:00", "2026-11-20 19:10 +09:00", "22.5\u00a0°C", "45\u00a0%", "QP-12",
    ]  # fmt: skip
    assert (values["Measured by"], values["Authorised by"]) == ("Ada, engineer", "Lin")
    assert {"label": "Measured by", "value": "Ada, engineer"} in [
        {"label": fact.label, "value": fact.value} for fact in build_report(made).asked
    ]
    document = assessment_document(made)
    assert (document["job"]["measured_by"], document["job"]["measured_as"]) == ("Ada", "engineer")
    assert (document["job"]["authorised_as"], document["job"]["procedure"]) == (None, "QP-12")
    readings = document["readings"]
    assert (readings["started"], readings["ended"]) == (
        "2026-11-20T09:30:00Z",
        "2026-11-20T10:10:00Z",
    )
    assert (readings["temperature"], readings["humidity"]) == (22.5, 45.0)
    assert document["before"]["readings"]["started"] is None


def test_what_is_not_stated_is_not_printed() -> None:
    assert not {*BARE} & printed(assessment()).keys()


@pytest.mark.parametrize(
    ("measured", "in_date"),
    [("2027-03-02T23:59:59Z", "yes"), ("2027-03-02T23:00:00-02:00", "no")],
)
def test_a_certificate_is_in_date_to_the_end_of_its_day(measured: str, in_date: str) -> None:
    made = assessment_of(with_readings(measured=measured))
    assert printed(made)["In date when measured"] == in_date


def test_the_chain_of_traceability() -> None:
    assert printed(assessment())["Traceability"] == (
        "certificate N-1 of Invented; accreditation not stated"
    )
    held = {"accreditation": {"body": "Mark of Nowhere", "number": "MN-7"}}
    meter = {**METER, "certificate": {**METER["certificate"], **held}}  # type: ignore[dict-item]
    made = assessment_of({}, meter_from_document(meter, "meter.yaml", ""))
    assert printed(made)["Traceability"] == (
        "certificate N-1 of Invented; accredited by Mark of Nowhere, MN-7"
    )
    assert assessment_document(made)["meter"]["certificate"]["accreditation"] == {
        "body": "Mark of Nowhere", "number": "MN-7",
    }  # fmt: skip


def test_seed_and_draws_and_waits_are_in_the_evidence_alone() -> None:
    made = assessed("1")
    values = printed(made)
    assert "propagated through all readings by Monte Carlo (JCGM 101)" in values.values()
    assert not [label for label in values if "Wait" in label or "Time per" in label]
    assert not [text for text in values.values() if "seed" in text or "draws" in text]
    assert {"seed", "draws"} <= assessment_document(made).keys()
    assert made.meter is not None and {"settle", "reading_time"} <= made.meter.document.keys()
