"""Causes and what calibration changed are computed again like everything else."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np
from helpers import faulty_displays
from helpers.shipped import shipped_rule

from compliance.assessment import assess
from compliance.documents import assessment_document
from compliance.evidence.recompute import assess_again, attachments
from compliance.model import Assessment, Measurement
from compliance.verification.compare import Topic, compare

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
RULE = "sdr-broadcast"


@cache
def assessed() -> Assessment:
    """A slot with gamma 2.1, and readings from before."""
    rule = shipped_rule(RULE)
    before, after = (
        faulty_displays.readings(rule, (fault,), np.random.RandomState(seed))
        for seed, fault in enumerate((faulty_displays.power(1.9), faulty_displays.power(2.1)))
    )
    return assess(Measurement(rule, after, before=before), now=NOW)


def document() -> dict[str, Any]:
    return assessment_document(assessed())


def test_they_come_out_as_stated() -> None:
    assert [one["kind"] for one in document()["causes"]] == ["curve"]
    assert compare(document(), assessment_document(assess_again(attachments(assessed())))) == ()


def test_another_cause_is_other_words() -> None:
    stated = document()
    stated["causes"][0]["title"] = "Nothing to speak of"
    assert [one.topic for one in compare(stated, document())] == [Topic.WORDS]
    stated["causes"] = []
    assert [one.topic for one in compare(stated, document())] == [Topic.WORDS]


def test_a_value_without_a_cause_is_compared_as_a_fact_behind_words() -> None:
    """It is a fitted number, of which machines differ in the further digits."""
    for off, topics in ((5e-6, []), (5e-2, [Topic.WORDS])):
        stated = document()
        stated["causes"][0]["explains"][0]["without"] += off
        assert [one.topic for one in compare(stated, document())] == topics


def test_another_loss_is_another_value() -> None:
    stated = document()
    stated["calibration"]["lost"] += 1.0
    assert [one.topic for one in compare(stated, document())] == [Topic.VALUE]


def test_a_cause_that_follows_from_a_changed_value_is_the_values() -> None:
    stated = document()
    stated["findings"][0]["value"] += 1.0
    stated["causes"] = []
    stated["verdict"] = "compliant"
    assert {one.topic for one in compare(stated, document())} == {Topic.VALUE}
