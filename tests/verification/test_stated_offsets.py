"""Offsets that a sheet states: drawn again years later, and found if they are forged."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from helpers.evidence_of_a_slot import Files, dumped, in_zone, mended, sealed

from compliance import time_zones
from compliance.evidence.recompute import assess_again, attachments
from compliance.model.local_time import PrintedOffset
from compliance.model.results import Status
from compliance.report.verification import step_details, step_text
from compliance.verification import verify_sheet
from compliance.verification.steps import check_recomputation, result_or_exception

Document = dict[str, Any]


def files(change: Callable[[Document], object]) -> Files:
    """The evidence of a slot in Tokyo that states its offsets otherwise."""
    true = attachments(in_zone("Asia/Tokyo"))
    stated = json.loads(true["assessment.json"])
    change(stated["timezone"])
    return mended({**true, "assessment.json": dumped(stated)})


def with_offset(offset: str) -> Callable[[Document], object]:
    return lambda zone: [each.update(offset=offset) for each in zone["offsets"]]


def test_pages_are_drawn_with_the_stated_offsets_when_the_data_has_changed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = sealed(files(lambda _: None))
    known = time_zones.offset_at

    def changed(name: str, moment: datetime) -> PrintedOffset | None:
        found = known(name, moment)
        return found and PrintedOffset(found.minutes + 60)

    for today in (changed, lambda name, moment: None):
        monkeypatch.setattr(time_zones, "offset_at", today)
        verified = verify_sheet(made, any_signer=True)
        assert verified.exit_code == 0, [step_text(step) for step in verified.steps]
        assert step_text(verified.steps[2]).startswith("2026-11-21 01:00 +09:00")
        assert str(verified.valid_until) == "2026-12-20 19:00:00+09:00"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (with_offset("+03:00"), '"+03:00" stated, "+09:00" computed'),
        (with_offset("+14:30"), "timezone: +14:30 is not an offset"),
        (with_offset("+09:00:00"), "timezone: +09:00:00 is not an offset"),
        (lambda zone: zone["offsets"].pop(), "number of entries: 4 stated, 5 computed"),
        (lambda zone: zone.update(name="Asia/Seoul"), '"Asia/Seoul" stated, "Asia/Tokyo" computed'),
    ],
)
def test_other_offsets_are_a_fault(change: Callable[[Document], object], told: str) -> None:
    made = files(change)
    again = result_or_exception(lambda: assess_again(made))
    step = check_recomputation(json.loads(made["assessment.json"]), again)
    assert step.status is Status.FAIL
    assert told in " ".join([step_text(step), *step_details(step)])


def test_a_signed_sheet_with_a_forged_offset_is_not_valid() -> None:
    verified = verify_sheet(sealed(files(with_offset("+03:00"))), any_signer=True)
    assert verified.exit_code == 1
