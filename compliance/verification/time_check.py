"""Step 3 of a verification: when a sheet was signed, and whether its times are possible together.

A signer can claim any time, and only a trusted stamp proves one. Yet the times that a file
states must agree with each other: assessed, then signed, then countersigned, and not later
than now.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Protocol

from compliance.errors import DeviationError
from compliance.evidence.attachments import Attached, Document, effective_deviations
from compliance.evidence.deviation_file import read_deviation
from compliance.grading.deviation_check import expiry
from compliance.model import Facts, Statement
from compliance.model.results import Check, Status, Step, worst_status
from compliance.model.signatures import Signature, Signer, Stamp
from compliance.signing.read import PdfSignatures
from compliance.signing.timestamps import CLOCKS_APART, SIGNED_WITHIN
from compliance.verification.long_term import archive_times
from compliance.yaml_nodes.json_schema import as_time


class Dated(Protocol):
    """A signature with its times: in a sheet, or beside a file."""

    @property
    def signer(self) -> Signer: ...
    @property
    def claimed(self) -> datetime | None: ...
    @property
    def stamp(self) -> Stamp | None: ...
    @property
    def moment(self) -> datetime | None: ...


def check_times(
    seal: PdfSignatures | Exception,
    stated: Document | Exception,
    attached: Attached | Exception,
    *,
    stamps_asked: bool,
    now: datetime | None,
) -> Step:
    """Check when the sheet was signed (3); without `now` times in the future are not found."""
    if isinstance(seal, Exception) or not seal.signatures:
        return Step(Check.TIMES, Status.FAIL, Statement("no-time"))
    several = len(seal.signatures) > 1
    statuses: list[Status] = []
    times: list[Statement] = []
    for signature in seal.signatures:
        status, time = check_signing_time(signature, stamps_asked, now)
        statuses.append(status)
        by_role = Statement("by-role", {"role": signature.role, "statement": time})
        times.append(by_role if several else time)
    for status, time in archive_times(seal.stamps, seal.signatures, stamps_asked, now):
        statuses.append(status)
        times.append(time)
    faults = [
        *_sequence_faults(seal.signatures, _assessed(stated)),
        *_deviation_faults(seal.signatures[0], _effective(attached, stated)),
    ]
    if Status.FAIL in statuses:  # what decides comes first
        times.insert(0, times.pop(statuses.index(Status.FAIL)))
    first, *others = [*faults, *times]
    worst = Status.FAIL if faults else worst_status(statuses)
    return Step(Check.TIMES, worst, first, tuple(others))


def check_signing_time(
    signature: Dated, stamps_asked: bool, now: datetime | None
) -> tuple[Status, Statement]:
    """Check one time of signing; a trusted stamp's time decides on the certificate's validity."""
    moment, signer, stamp = signature.moment, signature.signer, signature.stamp
    if moment is None:
        return Status.FAIL, Statement("time-unnamed")
    by_stamp = stamp is not None and stamp.trusted_as is not None
    facts: Facts = {
        "moment": moment,
        "by_stamp": by_stamp,
        "valid_from": signer.not_before,
        "valid_to": signer.not_after,
    }
    if not signer.valid_at(moment):
        return Status.FAIL, Statement("time-outside-certificate", facts)
    late = max(times_of(signature))
    if now is not None and late - now > CLOCKS_APART:
        return Status.FAIL, Statement("time-in-future", {"moment": late, "now": now})
    if stamp is None:
        if stamps_asked:
            return Status.UNKNOWN, Statement("time-unstamped", facts)
        return Status.OK, Statement("time", facts)
    claimed = signature.claimed
    if claimed is not None and claimed - stamp.time > CLOCKS_APART:
        facts = {"claimed": claimed, "stamped": stamp.time}
        return Status.FAIL, Statement("time-claimed-after-stamp", facts)
    facts = {**facts, "authority": stamp.authority.name}
    if by_stamp:
        return Status.OK, Statement("time-stamped", facts)
    facts = {**facts, "stamped": stamp.time}
    if not stamps_asked:
        return Status.OK, Statement("time-stamp-unchecked", facts)
    return Status.UNKNOWN, Statement("time-stamp-untrusted", {**facts, "why_not": stamp.why_not})


def times_of(signature: Dated) -> list[datetime]:
    """Return all times that a signature states: the signer's, and its stamp's, trusted or not."""
    stamped = signature.stamp.time if signature.stamp is not None else None
    return [time for time in (signature.claimed, stamped) if time is not None]


# ---------------------------------------------------------------- one after the other


def _assessed(stated: Document | Exception) -> datetime | None:
    """Return the stated time of the assessment; None if there is none (other steps say why)."""
    assessed = stated.get("assessed") if isinstance(stated, Mapping) else None
    return as_time(assessed) if isinstance(assessed, str) else None


def _sequence_faults(
    signatures: tuple[Signature, ...], assessed: datetime | None
) -> Iterator[Statement]:
    """Yield what is not in order: assessed, signed by the facility soon after, then by others."""
    first, *later = signatures
    for time in times_of(first) if assessed is not None else ():
        assert assessed is not None
        facts: Facts = {"moment": time, "assessed": assessed}
        if assessed - time > CLOCKS_APART:
            yield Statement("signed-before-assessed", facts)
        elif time - assessed > SIGNED_WITHIN:
            hours = int(SIGNED_WITHIN.total_seconds() // 3600)
            yield Statement("signed-long-after", {**facts, "hours": hours})
    begun = first.moment
    for signature in later if begun is not None else ():
        assert begun is not None
        for time in times_of(signature):
            if begun - time > CLOCKS_APART:
                facts = {"role": signature.role, "moment": time, "first": begun}
                yield Statement("signed-before-first", facts)


def _effective(attached: Attached | Exception, stated: Document | Exception) -> Attached:
    if isinstance(attached, Exception) or not isinstance(stated, Mapping):
        return {}
    return effective_deviations(attached, stated)


def _deviation_faults(first: Signature, deviations: Attached) -> Iterator[Statement]:
    """Yield the deviations that were over, or not accepted yet, when the facility signed."""
    for name, data in deviations.items():
        try:
            deviation, accepted = read_deviation(data, name)
        except DeviationError:
            continue  # step 4 reports it
        facts: Facts = {"file": name, "requirement": deviation.requirement}
        for time in times_of(first):
            if time >= expiry(deviation):
                yield Statement(
                    "deviation-over", {**facts, "until": deviation.until, "moment": time}
                )
            for agreed in times_of(accepted):
                if agreed - time > CLOCKS_APART:
                    yield Statement(
                        "deviation-early", {**facts, "accepted": agreed, "moment": time}
                    )
