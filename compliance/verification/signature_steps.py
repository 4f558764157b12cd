"""Steps 1 to 3: the file, its signers, and when they signed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from compliance.model import Facts, Statement
from compliance.model.signatures import Signature, Signer, Stamp
from compliance.model.verification import Check, Status, Step, worst_status
from compliance.signing.certificates import same_key
from compliance.signing.read import PdfSignatures
from compliance.signing.timestamps import CLOCKS_APART
from compliance.verification.faults import one_line, quoted

SealOrFault = PdfSignatures | Exception


class Signed(Protocol):
    """What tells by whom something was signed: a signature in a sheet, or one beside a file."""

    @property
    def signer(self) -> Signer: ...
    @property
    def trusted_as(self) -> str | None: ...


class Dated(Protocol):
    """What tells when something was signed: a signature in a sheet, or one beside a file."""

    @property
    def signer(self) -> Signer: ...
    @property
    def claimed(self) -> datetime | None: ...
    @property
    def stamp(self) -> Stamp | None: ...
    @property
    def moment(self) -> datetime | None: ...


# ---------------------------------------------------------------- 1: the file


def check_intact(seal: SealOrFault) -> Step:
    """(1)"""
    if isinstance(seal, Exception):
        unreadable = Statement("unreadable-pdf", {"fault": one_line(seal)})
        return Step(Check.INTACT, Status.FAIL, unreadable)
    if not seal.signatures:
        return Step(Check.INTACT, Status.FAIL, Statement("unsigned"))
    if seal.all_faults:
        details = tuple(map(quoted, seal.all_faults))
        return Step(Check.INTACT, Status.FAIL, Statement("changed"), details)
    intact = Statement("intact", {"count": len(seal.signatures)})
    added = tuple(
        Statement("only-signed", {"field": signature.field, "role": signature.role})
        for signature in seal.signatures[1:]
    )
    return Step(Check.INTACT, Status.OK, intact, added)


# ---------------------------------------------------------------- 2: who


def check_signer(seal: SealOrFault, trusted: Sequence[Signer], any_signer: bool) -> Step:
    """(2)"""
    if isinstance(seal, Exception) or not seal.signatures:
        return Step(Check.SIGNER, Status.FAIL, Statement("no-signer"))
    if (twice := _signed_twice(seal.signatures)) is not None:
        signed_twice = Statement("signed-twice", _holder(twice))
        return Step(Check.SIGNER, Status.FAIL, signed_twice, (_digest(twice),))
    several = len(seal.signatures) > 1
    statuses: list[Status] = []
    signers: list[tuple[Statement, Statement]] = []
    for index, signature in enumerate(seal.signatures):
        status, trust = _standing(signature, trusted, any_signer, countersigned=index > 0)
        statuses.append(status)
        role = signature.role if several else None
        facts: Facts = {**_holder(signature.signer), "role": role, "trust": trust}
        signers.append((Statement("signer", facts), _digest(signature.signer)))
    worst = worst_status(statuses)
    signers.insert(0, signers.pop(statuses.index(worst)))  # the one that decides comes first
    first, *others = (statement for pair in signers for statement in pair)
    return Step(Check.SIGNER, worst, first, tuple(others))


def _signed_twice(signatures: Sequence[Signature]) -> Signer | None:
    """Who signed first and then, with the same key, again."""
    for each in signatures[1:]:
        if same_key(each.signer.certificate, signatures[0].signer.certificate):
            return each.signer
    return None


def _standing(
    signature: Signature, trusted: Sequence[Signer], any_signer: bool, *, countersigned: bool
) -> tuple[Status, Statement]:
    status, trust = trust_status(signature, trusted, any_signer)
    if status is Status.UNKNOWN:
        return status, Statement("name-trusted")
    if status is Status.OK:
        return status, trust
    facts: Facts = {"trust": trust, "why_not": signature.why_not}
    if countersigned:
        return Status.UNKNOWN, Statement("countersigned-untrusted", facts)
    return status, Statement("signer-untrusted", facts)


def trust_status(
    signed: Signed, trusted: Sequence[Signer], any_signer: bool
) -> tuple[Status, Statement]:
    """Whether the signer is expected."""
    if signed.trusted_as is not None:
        return Status.OK, quoted(signed.trusted_as)
    if any_signer:
        return Status.OK, Statement("any-signer")
    if not trusted:
        return Status.UNKNOWN, Statement("trust-unchecked")
    return Status.FAIL, _unlike(signed.signer, trusted)


def _unlike(signer: Signer, trusted: Sequence[Signer]) -> Statement:
    """That a signer is none of the trusted; one of the same name is pointed out."""
    for each in trusted:
        if (each.name, each.organisation) == (signer.name, signer.organisation):
            same = same_key(each.certificate, signer.certificate)
            digests = {"own": signer.fingerprint, "trusted": each.fingerprint}
            return Statement("namesake-trusted", digests, "certificate" if same else "key")
    return Statement("not-trusted")


def _digest(signer: Signer) -> Statement:
    return Statement("certificate-digest", {"sha256": signer.fingerprint})


def _holder(signer: Signer) -> Facts:
    return {
        "name": signer.name,
        "organisation": signer.organisation,
        "email": signer.email,
        "issuer": None if signer.self_issued else signer.issuer,
    }


# ---------------------------------------------------------------- 3: when


def check_times(seal: SealOrFault, stamps_asked: bool) -> Step:
    """(3)"""
    if isinstance(seal, Exception) or not seal.signatures:
        return Step(Check.TIMES, Status.FAIL, Statement("no-time"))
    several = len(seal.signatures) > 1
    statuses: list[Status] = []
    times: list[Statement] = []
    for signature in seal.signatures:
        status, time = check_signing_time(signature, stamps_asked)
        statuses.append(status)
        by_role = Statement("by-role", {"role": signature.role, "statement": time})
        times.append(by_role if several else time)
    return Step(Check.TIMES, worst_status(statuses), times[0], tuple(times[1:]))


def check_signing_time(signature: Dated, stamps_asked: bool) -> tuple[Status, Statement]:
    """When it was signed; the certificate is judged at the stamped time if that is trusted."""
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
