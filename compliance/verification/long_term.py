"""What lists of authorities and archive stamps say, as parts of the steps of a verification."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Protocol

from compliance.model import Facts, Statement
from compliance.model.results import Status
from compliance.model.signatures import ArchiveStamp, Revocation, Signature
from compliance.signing.timestamps import CLOCKS_APART


class Revocable(Protocol):
    """A signature with what is known of its certificate's revocation."""

    @property
    def revocation(self) -> Revocation | None: ...


def revocation_status(signed: Revocable) -> tuple[Status, Statement] | None:
    """Judge a revocation: before the signature, or later than nothing proves it to be.

    None if neither is the case, or nothing is known.
    """
    found = signed.revocation
    if found is None or not (found.bad or found.doubtful):
        return None
    facts: Facts = {
        "revoked": found.revoked,
        "until": found.until,
        "above": found.above,
        "proven": found.proven,
    }
    if found.bad:
        return Status.FAIL, Statement("revoked", facts)
    return Status.UNKNOWN, Statement("revoked-later", facts)


def archive_times(
    stamps: Sequence[ArchiveStamp],
    signatures: Sequence[Signature],
    stamps_asked: bool,
    now: datetime | None,
) -> Iterator[tuple[Status, Statement]]:
    """Yield the judgement of each archive stamp's time."""
    for each in stamps:
        stamp = each.stamp
        facts: Facts = {
            "stamped": stamp.time,
            "authority": stamp.authority.name,
            "valid_to": stamp.authority.not_after,
        }
        claimed = [one.claimed for one in signatures[: each.covers] if one.claimed is not None]
        if claimed and max(claimed) - stamp.time > CLOCKS_APART:
            facts = {**facts, "claimed": max(claimed)}
            yield Status.FAIL, Statement("archived-before-signed", facts)
        elif now is not None and stamp.time - now > CLOCKS_APART:
            yield Status.FAIL, Statement("time-in-future", {"moment": stamp.time, "now": now})
        elif stamp.trusted_as is not None:
            yield Status.OK, Statement("archived", facts)
        elif stamps_asked:
            facts = {**facts, "why_not": stamp.why_not}
            yield Status.UNKNOWN, Statement("archived-untrusted", facts)
        else:
            yield Status.OK, Statement("archived-unchecked", facts)
