"""The times that a sheet states: assessed, signed soon after, countersigned, all before now."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from helpers import near_limit
from helpers.authorities import Within, clock
from helpers.near_limit import ACCEPTED, AGAIN, assessment, deviation
from helpers.signing import SIGNED, countersigned, identity, signed

from compliance.errors import TimestampError
from compliance.evidence.recompute import attachments
from compliance.model.results import Step
from compliance.report.verification import step_details, step_text
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.timestamps import CLOCKS_APART, SIGNED_WITHIN
from compliance.verification import verify_sheet

HOUR = timedelta(hours=1)


def times(data: bytes, **given: object) -> Step:
    return verify_sheet(data, any_signer=True, **given).steps[2]  # type: ignore[arg-type]


def told(step: Step) -> str:
    return "\n".join([step_text(step), *step_details(step)])


@pytest.mark.parametrize(
    ("when", "status", "words"),
    [
        (SIGNED, "ok", "as the signer claims"),
        (SIGNED + SIGNED_WITHIN, "ok", "as the signer claims"),
        (SIGNED + SIGNED_WITHIN + timedelta(seconds=1), "fail", "expected within 72 hours of the"),
        (SIGNED - CLOCKS_APART, "ok", "as the signer claims"),
        (SIGNED - CLOCKS_APART - timedelta(seconds=1), "fail", "15:54 UTC, before the assessment"),
    ],
)
def test_the_facility_signs_soon_after_the_assessment(
    when: datetime, status: str, words: str
) -> None:
    step = times(signed(attachments(assessment()), when=when))
    assert str(step.status) == status
    assert words in step_text(step)


def test_a_stamp_of_weeks_later_is_told_and_not_made() -> None:
    late = Within(SIGNED + SIGNED_WITHIN + HOUR)
    files = attachments(assessment())
    step = times(signed(files, stamper=late), timestamp_trust=[clock().root.pem])
    assert str(step.status) == "fail"
    assert "signed on 2026-11-23 17:00 UTC; expected within 72 hours" in step_text(step)
    assert str(times(signed(files, stamper=late)).status) == "fail"
    with pytest.raises(TimestampError, match="expected within 72 hours of the assessment"):
        write_sheet(assessment(), identity=identity(), stamper=late)


def test_nobody_countersigns_before_the_facility() -> None:
    early = countersigned(near_limit.sheet(), when=SIGNED - HOUR)
    step = times(early)
    assert str(step.status) == "fail"
    assert step_text(step) == (
        "client: 2026-11-20 15:00 UTC, before the facility's own signature, 2026-11-20 16:00 UTC"
    )
    assert str(times(countersigned(near_limit.sheet(), when=SIGNED - CLOCKS_APART)).status) == "ok"


def test_nothing_was_signed_in_the_future() -> None:
    data = countersigned(near_limit.sheet(), when=SIGNED + 2 * HOUR)
    assert str(times(data, now=SIGNED + 2 * HOUR - CLOCKS_APART).status) == "ok"
    step = times(data, now=SIGNED + HOUR)
    assert str(step.status) == "fail"
    assert (
        "client: 2026-11-20 18:00 UTC, in the future: by the clock here it is 2026-11-20 17:00"
        in (told(step))
    )
    assert str(times(data).status) == "ok"


def test_a_deviation_is_judged_when_the_sheet_is_signed() -> None:
    """Not only when the slot was assessed: the signature vouches for the acceptance."""
    files = attachments(assessment([deviation(until=date(2026, 11, 22))], now=AGAIN))
    day = datetime(2026, 11, 23, tzinfo=AGAIN.tzinfo)
    assert str(times(signed(files, when=day - timedelta(seconds=1))).status) == "ok"
    step = times(signed(files, when=day))
    assert str(step.status) == "fail"
    assert step_text(step) == (
        "deviation-1.json: white-level was accepted until 2026-11-22, but the sheet was signed on "
        "2026-11-23 00:00 UTC"
    )


def test_a_deviation_accepted_after_the_signature_is_told() -> None:
    """On the same day, which the assessment allows: it may state only the day."""
    files = attachments(assessment([deviation()], now=SIGNED))
    assert ACCEPTED > SIGNED
    step = times(signed(files))
    assert str(step.status) == "fail"
    assert "was accepted on 2026-11-20 18:00 UTC, after the sheet was signed" in step_text(step)
