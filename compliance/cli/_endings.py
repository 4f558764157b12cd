"""What a sheet rests on that has ended or ends soon: its validity, certificates, deviations."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from compliance.cli._terminal import print_note
from compliance.grading.deviation_check import end_of_day
from compliance.model.stated import StatedAssessment
from compliance.plain_data import timestamp
from compliance.report.verdict import allows_something
from compliance.report.words.en.validity import ending_words

if TYPE_CHECKING:
    from compliance.model.signatures import Signer

SOON = timedelta(days=30)
"""How long before its end something is told (practice: time to renew it)."""


@dataclass(frozen=True, slots=True)
class Ending:
    """Something with an end."""

    kind: str
    """`validity`, `meter-certificate`, `deviation` or `signer-certificate`."""
    name: str
    end: datetime

    def data(self, now: datetime) -> dict[str, Any]:
        """Return it as plain data."""
        end, ended = timestamp(self.end), self.end <= now
        return {"what": self.kind, "name": self.name, "end": end, "ended": ended}


def endings_of(stated: StatedAssessment) -> Iterator[Ending]:
    """Yield what an assessment rests on that has an end."""
    until, meter = stated.valid_until, stated.meter
    if until is not None and allows_something(stated.state.verdict, stated.disposition):
        yield Ending("validity", stated.number, until)
    due = meter.certificate.due if meter and meter.certificate else None
    if meter is not None and due is not None:
        yield Ending("meter-certificate", meter.meter, end_of_day(due))
    for deviation in stated.deviations:
        yield Ending("deviation", deviation.requirement, end_of_day(deviation.until))


def endings_of_signers(signers: Iterable[Signer]) -> Iterator[Ending]:
    """Yield the ends of signers' certificates."""
    for signer in signers:
        yield Ending("signer-certificate", signer.name, signer.not_after)


def near(endings: Iterable[Ending], now: datetime) -> list[Ending]:
    """Return what has ended or ends soon, each once. A validity is told only when it is over:

    rules give thirty days at most times, and every report names the day.
    """
    return [
        each
        for each in dict.fromkeys(endings)
        if each.end <= now or (each.kind != "validity" and each.end - now <= SOON)
    ]


def print_endings(endings: Iterable[Ending], now: datetime) -> None:
    """Print a note for each on standard error."""
    for each in near(endings, now):
        print_note(ending_words(each.kind, each.name, each.end, ended=each.end <= now))
