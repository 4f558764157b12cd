"""An invented slot, assessed: its evidence, and manipulated evidence."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from compliance.assessment import assess
from compliance.evidence.recompute import assess_again, attachments
from compliance.job_file import job_from_document
from compliance.meter_file import meter_from_document
from compliance.model import Appendix, Assessment, Measurement, Meter, Readings
from compliance.plain_data import digest
from compliance.readings.load import readings_from_bytes
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.keys import Identity
from compliance.signing.timestamps import Stamper
from helpers.shipped import shipped_rule
from helpers.signing import SIGNED, identity
from helpers.simulated import csv, ideal, noisy

RULE = "sdr-broadcast"
JOB = {
    "job": "QX-1",
    "title": "A film about kelp",
    "client": {"name": "Tidal Pictures"},
    "facility": {"name": "Low House"},
    "suite": {"id": "suite-9", "room": {"surround": 9.0, "ambient": 6}},
    "display": {"make": "Invented", "model": "D-1", "serial": "7", "technology": "oled"},
    "encoding": "rgb-10-narrow",
    "slots": [
        {
            "slot": "1",
            "deliverable": RULE,
            "calibrated": "2026-11-20T09:00:00Z",
            "warm_up": 60,
            "before": {"file": "before.csv", "measured": "2026-11-20T08:00:00Z"},
            "readings": {"file": "readings.csv", "measured": "2026-11-20T10:00:00Z"},
        }
    ],
}
METER = {
    "meter": "spectro-9",
    "kind": "spectroradiometer",
    "certificate": {"number": "N-1", "laboratory": "Invented", "due": "2027-03-02"},
    "lowest": 0.0005,
}

Files = Mapping[str, bytes]


def readings(seed: int) -> Readings:
    """The slot's readings, with noise by a seed."""
    rule = shipped_rule(RULE)
    shown = ideal(rule, white=100, black=0.004, fault=noisy(np.random.RandomState(seed)))
    return readings_from_bytes(csv(shown, rule.encoding), "readings.csv", rule.encoding)


@cache
def assessment() -> Assessment:
    """The slot's assessment, with readings before calibration and a meter."""
    return assessment_of({})


@cache
def in_zone(name: str) -> Assessment:
    """The same of a job in a time zone."""
    return assessment_of({"timezone": name})


def assessment_of(
    more: Mapping[str, Any], meter: Meter | None = None, appendices: tuple[Appendix, ...] = ()
) -> Assessment:
    """The slot's assessment of a job that states more, perhaps with another meter."""
    return assess(
        Measurement(
            shipped_rule(RULE),
            readings(1),
            before=readings(2),
            job=job_from_document({**JOB, **more}, "job.yaml"),
            meter=meter or meter_from_document(METER, "meter.yaml", ""),
        ),
        now=SIGNED,
        appendices=appendices,
    )


@cache
def evidence() -> Files:
    """The attachments of its sheet."""
    return attachments(assessment())


def document() -> dict[str, Any]:
    """Its assessment as plain data."""
    found: dict[str, Any] = json.loads(evidence()["assessment.json"])
    return found


def dumped(data: Any) -> bytes:
    """Plain data as an attachment."""
    return json.dumps(data, ensure_ascii=False).encode()


def with_assessment(change: Callable[[dict[str, Any]], None]) -> Files:
    """The evidence with a changed assessment, its number still the old one."""
    stated = document()
    change(stated)
    return {**evidence(), "assessment.json": dumped(stated)}


def mended(files: Files) -> Files:
    """The evidence with correct digests and number: the work of a careful forger."""
    stated = json.loads(files["assessment.json"])
    stated["readings"]["sha256"] = hashlib.sha256(files["readings.csv"]).hexdigest()
    stated["rule"]["digest"] = digest(json.loads(files["rule.json"]))
    stem = stated.pop("number").rpartition("-")[0]
    stated["number"] = f"{stem}-{digest(stated)[:32]}"
    return {**files, "assessment.json": dumped(stated)}


def with_reading() -> Files:
    """The evidence with one reading changed: the white, a tenth brighter."""
    head, *rows = evidence()["readings.csv"].decode().splitlines()
    at = next(index for index, row in enumerate(rows) if row.startswith("940,940,940,"))
    cells = rows[at].split(",")
    cells[4] = repr(float(cells[4]) * 1.1)
    rows[at] = ",".join(cells)
    return {**evidence(), "readings.csv": "\n".join([head, *rows, ""]).encode()}


def with_rule() -> Files:
    """The evidence with one limit of the rule widened."""
    rule = json.loads(evidence()["rule.json"])
    requirement = next(each for each in rule["requirements"] if each["id"] == "black-level")
    requirement["limits"] = {"max": 5}
    return {**evidence(), "rule.json": dumped(rule)}


def first_passing(stated: Mapping[str, Any]) -> dict[str, Any]:
    """The first finding that passes."""
    return next(each for each in stated["findings"] if each["verdict"] == "pass")


def sealed(files: Files, who: Identity | None = None, stamper: Stamper | None = None) -> bytes:
    """A sheet signed by the facility with these files as its evidence.

    Its pages are made from the evidence, or are the slot's own if that is not possible: only
    the content of the files is wrong.
    """
    try:
        number = json.loads(files["assessment.json"])["number"]
        said = replace(assess_again(files), number=number)
    except Exception:
        said = assessment()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("compliance.evidence.recompute.attachments", lambda _: dict(files))
        return write_sheet(said, identity=who or identity(), stamper=stamper)
