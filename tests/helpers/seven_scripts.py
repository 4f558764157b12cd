"""A slot whose people, firms and title are written in seven scripts; all are invented."""

from __future__ import annotations

import shutil
from functools import cache
from typing import Any

import pytest

from compliance.assessment import assess
from compliance.job_file import job_from_document
from compliance.lettering.choose import Lettering, lettering, missing_letters
from compliance.lettering.texts import signer_texts, texts_of
from compliance.meter_file import meter_from_document
from compliance.model import Assessment, Measurement
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.keys import Identity, load_identity, new_identity
from helpers.evidence_of_a_slot import JOB, METER, RULE, readings
from helpers.shipped import shipped_rule
from helpers.signing import MADE, PASSWORD, SIGNED

ARABIC = "الملح للأحجار، فيلم من جزأين"
MIXED = "الرقم SY-0412"
CHINESE = "盐与石影业有限公司"
DEVANAGARI = "प्रकाश र्कि"
HEBREW = 'דוד כהן, סרטים בע"מ'
JAPANESE = "塩と石スタジオ仕上げ部"
KOREAN = "소금과 돌 색보정"
THAI = "น้ำเกลือและหิน"
ALL = (ARABIC, MIXED, CHINESE, DEVANAGARI, HEBREW, JAPANESE, KOREAN, THAI)

SLOTTED: dict[str, Any] = {
    **JOB,
    "title": ARABIC,
    "client": {"name": CHINESE, "contact": DEVANAGARI},
    "facility": {"name": JAPANESE, "address": KOREAN},
    "suite": {"id": MIXED, "room": {"surround": 9.0, "ambient": 6}},
    "people": {"measured_by": THAI, "authorised_by": HEBREW},
}


def require_faces() -> None:
    """Skip the test where the system has no faces for all scripts."""
    if shutil.which("fc-list") is None or missing_letters(ALL, ()):
        pytest.skip("fontconfig, fonts-noto-core or fonts-wqy-microhei is not installed")


@cache
def signer() -> Identity:
    """A signer with a name in Hebrew, of the facility with a name in Japanese."""
    data = new_identity(HEBREW, JAPANESE, "ada@example.org", PASSWORD, MADE)
    return load_identity(data, PASSWORD)


def measurement(job: dict[str, Any] = SLOTTED) -> Measurement:
    """The slot's readings with its job and meter."""
    (slot,) = job["slots"]
    calibrated = {key: value for key, value in slot.items() if key != "before"}
    return Measurement(
        shipped_rule(RULE),
        readings(1),
        job=job_from_document({**job, "slots": [calibrated]}, "job.yaml"),
        meter=meter_from_document(METER, "meter.yaml", ""),
    )


@cache
def letters() -> Lettering:
    """The faces of its sheet, from those that the system has."""
    require_faces()
    return lettering([*texts_of(measurement()), *signer_texts(signer().signer)])


@cache
def assessment() -> Assessment:
    """The slot's assessment."""
    return assess(measurement(), now=SIGNED, faces=letters().faces)


@cache
def sheet() -> bytes:
    """Its signed sheet."""
    return write_sheet(assessment(), identity=signer(), program=letters().program)
