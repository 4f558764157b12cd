"""A slot of the demo's job, assessed."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import patch

from compliance.assessment import DRAWS, assess
from compliance.job_file import load_job, only_slot
from compliance.meter_file import load_meter
from compliance.model import Assessment, Measurement
from compliance.readings.load import load_readings
from compliance.rules.library import load_rule

DEMO = Path(__file__).resolve().parents[2] / "demo"
NOW = datetime(2026, 11, 20, 16, tzinfo=UTC)


def assessed(
    name: str, *, rule: str | Path | None = None, now: datetime = NOW, draws: int = DRAWS
) -> Assessment:
    """The slot assessed for `rule`; default: its first deliverable, and the draws of a document."""
    job = only_slot(load_job(DEMO / "job.yaml"), name)
    (slot,) = job.slots
    assert slot.meter is not None and slot.readings is not None
    before = slot.before and load_readings(slot.before.file, slot.before.encoding)
    measurement = Measurement(
        load_rule(rule or slot.deliverables[0]),
        load_readings(slot.readings.file, slot.readings.encoding),
        job=job,
        before=before,
        meter=load_meter(slot.meter),
    )
    with patch("compliance.assessment.DRAWS", draws):
        return assess(measurement, now=now)
