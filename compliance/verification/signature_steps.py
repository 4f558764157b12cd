"""Steps 1 to 3: the file, its signers, and when they signed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from compliance.model.signatures import Signature, Signer, Stamp
from compliance.signing.certificates import same_key
from compliance.signing.read import PdfSignatures
from compliance.signing.timestamps import CLOCKS_APART
from compliance.verification.result import (
    Outcome,
    Status,
    Verification,
    format_utc,
    one_line,
    worst_status,
)

SealOrFault = PdfSignatures | Exception
SHORT = 16
"""Digits of a digest that tell two of one name apart."""


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


def check_intact(seal: SealOrFault) -> Outcome:
    """(1)"""
    if isinstance(seal, Exception):
        return Status.FAIL, f"cannot be read as a signed PDF: {one_line(seal)}", ()
    if not seal.signatures:
        return Status.FAIL, "NOT SIGNED: nobody vouches for this sheet", ()
    if seal.all_faults:
        return Status.FAIL, "changed after it was signed, or never a sheet", seal.all_faults
    count = len(seal.signatures)
    if count == 1:
        return Status.OK, "as it was signed: 1 signature covers the whole file", ()
    lines = [
        f"{signature.field}, {signature.role}: nothing but this signature came since the one before"
        for signature in seal.signatures[1:]
    ]
    return Status.OK, f"as it was signed: {count} signatures, the last covers all", tuple(lines)


# ---------------------------------------------------------------- 2: who


def check_signer(seal: SealOrFault, trusted: Sequence[Signer], any_signer: bool) -> Outcome:
    """(2)"""
    if isinstance(seal, Exception) or not seal.signatures:
        return Status.FAIL, "no signature to tell the signer by", ()
    if (twice := _signed_twice(seal.signatures)) is not None:
        told = f"{_holder(twice)} signed twice, with one key"
        key = f"SHA-256 {twice.fingerprint}"
        return Status.FAIL, f"{told}; a second signature is somebody else's", (key,)
    several = len(seal.signatures) > 1
    statuses: list[Status] = []
    lines: list[tuple[str, str]] = []
    for index, signature in enumerate(seal.signatures):
        status, trust = _standing(signature, trusted, any_signer, countersigned=index > 0)
        statuses.append(status)
        who = f"{_holder(signature.signer)}: {trust}"
        key = f"SHA-256 {signature.signer.fingerprint}"
        lines.append((f"{signature.role}: {who}" if several else who, key))
    lines.insert(0, lines.pop(statuses.index(worst_status(statuses))))  # who decides stands first
    first_line, *others = (line for one in lines for line in one)
    return worst_status(statuses), first_line, tuple(others)


def _signed_twice(signatures: Sequence[Signature]) -> Signer | None:
    """Who signed first and then, with the same key, again."""
    for each in signatures[1:]:
        if same_key(each.signer.certificate, signatures[0].signer.certificate):
            return each.signer
    return None


def only_untrusted(found: Verification) -> bool:
    """Whether nothing is wrong with a sheet but that whoever signed it is not trusted."""
    failed = {step.title for step in found.steps if step.status is Status.FAIL}
    return failed == {"signer"} and _signed_twice(found.signatures) is None


def _standing(
    signature: Signature, trusted: Sequence[Signer], any_signer: bool, *, countersigned: bool
) -> tuple[Status, str]:
    status, told = trust_status(signature, trusted, any_signer)
    if status is Status.UNKNOWN:
        return status, f"{told}; --trust CERTIFICATE says whom you expect"
    if status is Status.OK:
        return status, told
    why = f": {signature.why_not}" if signature.why_not else ""
    if countersigned:
        return Status.UNKNOWN, f"countersigned; {told}{why}"
    return status, f"{told}{why}"


def trust_status(signed: Signed, trusted: Sequence[Signer], any_signer: bool) -> tuple[Status, str]:
    """Whether whoever signed is expected, in words."""
    if signed.trusted_as is not None:
        return Status.OK, signed.trusted_as
    if any_signer:
        return Status.OK, "accepted as any signer would be, not checked"
    if not trusted:
        return Status.UNKNOWN, "not checked"
    return Status.FAIL, _unlike(signed.signer, trusted)


def _unlike(signer: Signer, trusted: Sequence[Signer]) -> str:
    """That a signer is none of the trusted, in words; one of the same name is pointed out."""
    for each in trusted:
        if (each.name, each.organisation) == (signer.name, signer.organisation):
            other = "certificate" if same_key(each.certificate, signer.certificate) else "key"
            return (
                f"not among the trusted certificates: signed with another {other} of that name: "
                f"SHA-256 {signer.fingerprint[:SHORT]}…; trusted is {each.fingerprint[:SHORT]}…"
            )
    return "not among the trusted certificates"


def _holder(signer: Signer) -> str:
    words = [signer.name, signer.organisation, signer.email]
    kind = "self-issued" if signer.self_issued else f"issued by {signer.issuer}"
    return f"{', '.join(word for word in words if word)} ({kind})"


# ---------------------------------------------------------------- 3: when


def check_times(seal: SealOrFault, stamps_asked: bool) -> Outcome:
    """(3)"""
    if isinstance(seal, Exception) or not seal.signatures:
        return Status.FAIL, "no signature to tell the time by", ()
    several = len(seal.signatures) > 1
    statuses, lines = [], []
    for signature in seal.signatures:
        status, line = check_signing_time(signature, stamps_asked)
        statuses.append(status)
        lines.append(f"{signature.role}: {line}" if several else line)
    return worst_status(statuses), lines[0], tuple(lines[1:])


def check_signing_time(signature: Dated, stamps_asked: bool) -> tuple[Status, str]:
    """When it was signed; the certificate is judged at the stamped time if that is trusted."""
    moment, signer, stamp = signature.moment, signature.signer, signature.stamp
    if moment is None:
        return Status.FAIL, "the signature names no time"
    valid = f"certificate valid {format_utc(signer.not_before)} to {format_utc(signer.not_after)}"
    by_stamp = stamp is not None and stamp.trusted_as is not None
    how = "by a trusted time stamp" if by_stamp else "as the signer claims"
    if not signer.valid_at(moment):
        return Status.FAIL, f"{format_utc(moment)} {how}, outside its certificate's dates ({valid})"
    if stamp is None:
        line = f"{format_utc(moment)} {how}; {valid}"
        return (Status.UNKNOWN, f"no time stamp: {line}") if stamps_asked else (Status.OK, line)
    claimed = signature.claimed
    if claimed is not None and claimed - stamp.time > CLOCKS_APART:
        return (
            Status.FAIL,
            f"claimed for {format_utc(claimed)}, but stamped at {format_utc(stamp.time)} already",
        )
    if by_stamp:
        return Status.OK, f"{format_utc(moment)} {how}, {stamp.authority.name}; {valid}"
    return _unproven(f"{format_utc(moment)} {how}", stamp, valid, stamps_asked)


def _unproven(line: str, stamp: Stamp, valid: str, stamps_asked: bool) -> tuple[Status, str]:
    says = f"a time stamp of {stamp.authority.name} says {format_utc(stamp.time)}"
    if not stamps_asked:
        hint = "its authority not checked (--timestamp-trust CERTIFICATE)"
        return Status.OK, f"{line}; {says}, {hint}; {valid}"
    why = f": {stamp.why_not}" if stamp.why_not else ""
    return (
        Status.UNKNOWN,
        f"{line}; {says}, but its authority is not among the trusted{why}; {valid}",
    )
