"""The facility: it owns its key and a changed copy of the program; a failing slot is to pass.

Its signatures are real, digests and numbers fit, and pages show what it wants to be believed.

| attack | line that refuses it |
|---|---|
| failures left out, by a version that never was | no version ... was released |
| failures left out | finding ...: nothing stated |
| another verdict, limit, value, validity, fewer points | ... stated, ... computed |
| definitions to come | use a newer version (exit 3) |
| definitions of before | today's verdict beside the stated one (exit 3) |
| chosen seed and draws | the draws are not those of every assessment |
| pages that call it compliant | the pages do not show the evidence |
| signed late, early, in the future | expected within 72 hours; before; in the future |
| an expired verdict, readings of next summer | current: not met |
| countersigns for its client | signed twice with the same key |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from adversary.forging import (
    NOW,
    Desk,
    assessed,
    calling_it_compliant,
    drawn,
    evidence,
    failing,
    honest,
    job,
    mended,
    painted_compliant,
    passing,
    refused,
    sealed,
    stated,
    without_failures,
    words,
)
from helpers.signing import SIGNED, identity

from compliance.meter_file import meter_from_document
from compliance.model import Assessment, Meter
from compliance.sheet.make_sheet import countersign_sheet

HOUR = timedelta(hours=1)
Edit = Callable[[dict[str, Any]], None]


def forged(edit: Edit, pages: Assessment | None = None) -> bytes:
    """The failing slot's sheet with a changed document, and pages to match."""
    slot = failing()
    return sealed(drawn(slot, mended(evidence(slot), edit), pages or painted_compliant(slot)))


def test_control_of_the_failing_slot(desk: Desk) -> None:
    found = desk.verify(forged(lambda _: None, failing()))
    assert found.returncode == 0
    assert "The sheet states: not compliant." in words(found)


def test_control_of_the_passing_slot(desk: Desk) -> None:
    found = desk.verify(sealed(drawn(passing()), lambda _: None))
    assert found.returncode == 0
    assert "The sheet states: conditionally compliant." in words(found)


# ---------------------------------------------------------------- the document


def of_a_version(version: str, engine: int, edit: Edit, **more: Any) -> Edit:
    """The edit, and a claim of who computed it."""

    def change(document: dict[str, Any]) -> None:
        edit(document)
        document["tool"].update(version=version, engine=engine)
        document.update(more)

    return change


def finding(document: Mapping[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in document["findings"] if each["id"] == name)
    return found


def with_other_limits(document: dict[str, Any]) -> None:
    calling_it_compliant(document)
    for each in document["findings"]:
        if each["verdict"] == "fail":
            each.update(verdict="pass")
    finding(document, "peak-level")["limits"]["min"] = 500


def with_other_values(document: dict[str, Any]) -> None:
    calling_it_compliant(document)
    for each in document["findings"]:
        if each["verdict"] == "fail":
            each.update(verdict="pass")
    finding(document, "peak-level").update(value=1000.0)


def with_fewer_points(document: dict[str, Any]) -> None:
    points = finding(document, "tracking")["points"]
    points[:] = [each for each in points if each["verdict"] != "fail"]


def valid_for_years(document: dict[str, Any]) -> None:
    document["valid_until"] = "2031-11-20T10:00:00Z"


def measured_today(document: dict[str, Any]) -> None:
    document["readings"]["measured"] = "2026-11-22T10:00:00Z"


NOTHING = "finding peak-level: nothing stated"
EDITS: Mapping[str, tuple[Edit, int, str]] = {
    "of version 0.0.9, 20 draws": (
        of_a_version("0.0.9", 2, without_failures, draws=20),
        1,
        "no version 0.0.9 with definitions (engine) 2 was released",
    ),
    "of version 0.0.9": (of_a_version("0.0.9", 2, without_failures), 1, NOTHING),
    "of version 0.1.0": (of_a_version("0.1.0", 1, without_failures), 1, NOTHING),
    "of a version to come": (of_a_version("9.0.0", 3, without_failures), 3, "use a newer version"),
    "verdict of version 0.1.0": (
        of_a_version("0.1.0", 1, calling_it_compliant),
        3,
        "not compliant",
    ),
    "failures left out": (without_failures, 1, NOTHING),
    "another verdict": (calling_it_compliant, 1, '"compliant" stated, "not-compliant" computed'),
    "other limits": (with_other_limits, 1, "stated limits or texts are not those"),
    "other values": (with_other_values, 1, "finding peak-level: value: 1000.0 stated"),
    "fewer points": (with_fewer_points, 1, "finding tracking: points: number of entries"),
    "valid for years": (valid_for_years, 1, "valid_until"),
    "measured today": (measured_today, 1, "measured"),
    "seed 37": (lambda document: document.update(seed=37), 1, "the draws are not those"),
}


@pytest.mark.parametrize("name", EDITS)
def test_a_document_that_its_evidence_does_not_carry(desk: Desk, name: str) -> None:
    edit, code, line = EDITS[name]
    refused(desk.verify(forged(edit)), line, code)


def test_a_document_of_another_number(desk: Desk) -> None:
    files = evidence(failing())
    text = files["assessment.json"].replace(b'"verdict": "fail"', b'"verdict": "pass"')
    assert text != files["assessment.json"]
    refused(desk.verify(sealed(drawn(failing(), {**files, "assessment.json": text}))), "number")


def test_seed_and_draws_until_it_passes(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("compliance.assessment.SEED", 37)
    monkeypatch.setattr("compliance.assessment.DRAWS", 5)
    lucky = assessed(None, meter=meter())
    monkeypatch.undo()
    assert stated(evidence(lucky))["draws"] == 5
    refused(
        desk.verify(sealed(drawn(lucky))),
        "the draws are not those of every assessment (seed 0, 10000 draws)",
    )


def meter() -> Meter:
    document = {
        "meter": "spectro-9",
        "kind": "spectroradiometer",
        "lowest": 0.0005,
        "uncertainty": {
            "k": 2,
            "luminance": [{"from": 0.0005, "relative": 0.04}],
            "chromaticity": [{"from": 0.0005, "x": 0.002, "y": 0.002}],
        },
    }
    return meter_from_document(document, "meter.yaml", "")


# ---------------------------------------------------------------- pages


def test_pages_that_call_it_compliant(desk: Desk) -> None:
    refused(
        desk.verify(sealed(drawn(failing(), pages=painted_compliant(failing())))),
        "page 1 shows something else",
    )


# ---------------------------------------------------------------- time


TIMES: Mapping[str, tuple[timedelta, timedelta, str]] = {
    "late": (73 * HOUR, 200 * HOUR, "expected within 72 hours of the assessment"),
    "early": (-HOUR, HOUR, "before the assessment"),
    "in the future": (2 * HOUR, HOUR, "in the future: by the clock here it is"),
}


@pytest.mark.parametrize("name", TIMES)
def test_a_time_of_signing_that_cannot_be(desk: Desk, name: str) -> None:
    after, now, line = TIMES[name]
    sheet = sealed(drawn(passing()), when=SIGNED + after)
    refused(desk.verify(sheet, now=SIGNED + now), line)


def test_an_assessment_of_tomorrow(desk: Desk) -> None:
    later = assessed(None, now=NOW + 24 * HOUR)
    refused(desk.verify(sealed(drawn(later), when=NOW + 24 * HOUR)), "in the future")


def test_readings_of_next_summer(desk: Desk) -> None:
    """Their date is the facility's own word; no verdict lasts the longer for it."""
    slots = deepcopy(job()["slots"])
    slots[0]["readings"]["measured"] = "2027-06-01T10:00:00Z"
    forged = sealed(drawn(assessed(None, slots=slots)))
    assert desk.verify(forged, "--require", "current").returncode == 0
    found = desk.verify(forged, "--require", "current", "--on", "2026-12-21")
    assert found.returncode == 1
    assert "current: not met" in words(found)


def test_a_verdict_that_has_expired(desk: Desk) -> None:
    found = desk.verify(honest(), "--require", "compliant,current", "--on", "2026-12-21")
    assert found.returncode == 1
    assert "current: not met" in words(found)
    found = desk.verify(honest(), "--require", "compliant,current", "--on", "2026-12-19")
    assert found.returncode == 0


# ---------------------------------------------------------------- for the client


def test_control_of_a_countersignature(desk: Desk) -> None:
    sheet = countersign_sheet(
        honest(), identity=identity("Cleo Client"), role="client", when=SIGNED + HOUR
    )
    assert desk.verify(sheet, "--require", "countersigned").returncode == 0


def test_countersigns_with_its_own_key(desk: Desk) -> None:
    sheet = countersign_sheet(honest(), identity=identity(), role="client", when=SIGNED + HOUR)
    refused(desk.verify(sheet), "signed twice with the same key")


def test_countersigns_before_its_own_signature(desk: Desk) -> None:
    sheet = countersign_sheet(
        honest(), identity=identity("Cleo Client"), role="client", when=SIGNED - HOUR
    )
    refused(desk.verify(sheet), "before the facility's own signature")
