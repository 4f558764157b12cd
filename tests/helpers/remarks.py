"""The remarks on readings, by kind."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from compliance.assessment import assess
from compliance.model import Display, Measurement, Readings
from compliance.report.words import remark_text
from helpers import faulty_displays
from helpers.shipped import shipped_rule

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)


def good(rule: str = "sdr-broadcast") -> Readings:
    """A good display of the rule, read with a meter's noise."""
    return faulty_displays.readings(shipped_rule(rule), (), np.random.RandomState(5))


def remarks(
    readings: Readings, rule: str = "sdr-broadcast", display: Display | None = None
) -> dict[str, str]:
    """The remarks on readings without a job, with plain spaces."""
    found = assess(Measurement(shipped_rule(rule), readings, display=display), now=NOW)
    return {one.kind: remark_text(one).replace("\u00a0", " ") for one in found.state.remarks}
