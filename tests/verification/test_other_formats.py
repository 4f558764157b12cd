"""A signed sheet whose readings came in another format than CSV, verified from its own bytes."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from helpers.evidence_of_a_slot import JOB, METER, RULE
from helpers.shipped import shipped_rule
from helpers.signing import SIGNED, identity
from helpers.simulated import csv, ideal

from compliance.assessment import assess
from compliance.documents import assessment_document
from compliance.evidence.attachments import name_faults
from compliance.evidence.recompute import assess_again, attachments
from compliance.job_file import job_from_document
from compliance.meter_file import meter_from_document
from compliance.model import Assessment, Measurement
from compliance.model.results import Status
from compliance.readings.convert import Source, convert
from compliance.readings.load import readings_from_bytes
from compliance.report.verification import step_text
from compliance.sheet.make_sheet import write_sheet
from compliance.verification import verify_sheet

NOW = datetime(2026, 11, 20, 9, tzinfo=UTC)
NAMES = {"cgats": "readings.txt", "cxf": "readings.cxf"}


def assessed(to: str, before: str) -> Assessment:
    """The slot with its readings in one format, and those before calibration in another."""
    rule = shipped_rule(RULE)
    read = []
    for form, white in ((to, 100), (before, 91)):
        source = Source("f", csv(ideal(rule, white=white, black=0.004), rule.encoding))
        done = convert([source], form, created=NOW, tool="a test", encoding=rule.encoding)
        read.append(readings_from_bytes(done.data, f"slot.{form}", rule.encoding, floor=0.1))
    return assess(
        Measurement(
            rule,
            read[0],
            before=read[1],
            job=job_from_document(JOB, "job.yaml"),
            meter=meter_from_document(METER, "meter.yaml", ""),
        ),
        now=SIGNED,
    )


@pytest.mark.parametrize(("to", "before"), [("cgats", "cxf"), ("cxf", "csv")])
def test_a_signed_sheet_carries_the_file_as_read_and_verifies(to: str, before: str) -> None:
    assessment = assessed(to, before)
    files = attachments(assessment)
    assert files[NAMES[to]] == assessment.state.readings.data
    assert not list(name_faults(files))
    assert assessment_document(assess_again(files)) == assessment_document(assessment)
    sheet = write_sheet(assessment, identity=identity())
    found = verify_sheet(sheet, trust=[identity().pem])
    assert [step.status for step in found.steps] == [Status.OK] * len(found.steps), found
    assert found.exit_code == 0
    assert NAMES[to] in step_text(found.steps[3])


def test_two_files_of_readings_do_not_belong_to_one_sheet() -> None:
    files = {**attachments(assessed("cgats", "csv")), "readings.csv": b"r,g,b,X,Y,Z\n1,1,1,1,1,1\n"}
    assert list(name_faults(files)) == ["readings.csv and readings.txt: expected only one of them"]


def test_a_changed_digit_is_found() -> None:
    from compliance.evidence.attachments import digest_faults, read_assessment

    files = attachments(assessed("cgats", "csv"))
    changed = files["readings.txt"].replace(b"\tcentre", b"\tleft", 1)
    (fault,) = digest_faults({**files, "readings.txt": changed}, read_assessment(files))
    assert fault.startswith("readings.txt: the readings were changed")
