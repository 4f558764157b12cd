"""Check a sheet: is it whole, whose is it, when, and does its evidence still say the same?

The plan; each block below is tagged with its number.

    1  The file is as it was when signed last: every signature holds and covers what it
       must, the fields are the expected ones, nothing was added after the last signature.
    2  The signer, by certificate, and whether that certificate is trusted.
    3  The time of signing, claimed by the signer or stamped by an authority, lies within
       the certificate's validity.
    4  The attachments are all there under their fixed names, with the digests that the
       assessment states; deviations among them are signed by somebody trusted.
    5  The assessment, computed again from the attachments, comes out as stated.

Every step is carried out, whatever became of those before it: a sheet that was
changed shall say what was changed. An exception in a step means that it failed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, TypeVar

from compliance.enclosures import Attached, Document, digest_faults, name_faults, stated_in
from compliance.errors import ComplianceError, InputError
from compliance.identity import Signer, read_certificates
from compliance.recomputation import Difference, Topic, compare, tool_of
from compliance.signatures import Seal, Signature, read_attachments, read_signatures

__all__ = ["LARGEST_SHEET", "Status", "Step", "Verification", "verify_sheet"]

LARGEST_SHEET = 64 << 20
"""Bytes of a sheet, and of each attachment; real ones have some hundred thousand."""
MOST_DETAILS = 20
"""Differences told one by one; the rest is counted."""


class Status(StrEnum):
    """Of a step."""

    OK = "ok"
    FAIL = "fail"
    UNKNOWN = "unknown"
    """Nothing wrong was found, and nothing was proven."""


@dataclass(frozen=True, slots=True)
class Step:
    """The outcome of one step of the plan."""

    number: int
    title: str
    status: Status
    text: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Verification:
    """The outcome of all steps."""

    steps: tuple[Step, ...]
    signatures: tuple[Signature, ...]
    number: str | None
    """The sheet's, as stated in its assessment."""
    verdict: str | None
    """The assessment's, as stated; worth nothing unless `exit_code` is 0."""

    @property
    def exit_code(self) -> int:
        """0 all holds, 1 something is broken, 3 intact but not all could be checked."""
        found = {step.status for step in self.steps}
        if len(self.steps) != len(TITLES) or Status.FAIL in found:
            return 1
        return 3 if Status.UNKNOWN in found else 0


TITLES = ("file intact", "signer", "time of signing", "attachments", "computed again")

Outcome = tuple[Status, str, tuple[str, ...]]
T = TypeVar("T")


def verify_sheet(
    data: bytes, *, trust: Sequence[bytes] = (), any_signer: bool = False
) -> Verification:
    """Carry out the plan on a sheet's bytes.

    `trust` holds certificates, PEM or DER: a signer's own, or of an authority that issues
    them. With `any_signer` step 2 holds for whoever signed. Raises IdentityError if `trust`
    holds no certificate; a file that is no sheet raises nothing, its steps fail.
    """
    trusted = [signer for each in trust for signer in read_certificates(each)]
    seal = _attempt(lambda: read_signatures(_checked(data), trusted))
    attached = _attempt(lambda: read_attachments(_checked(data), largest=LARGEST_SHEET))
    stated = attached if isinstance(attached, Exception) else _attempt(lambda: stated_in(attached))
    outcomes = (
        _intact(seal),
        _signer(seal, trusted, any_signer),
        _time(seal),
        _attachments(attached, stated, trusted, any_signer),
        _recomputed(attached, stated),
    )
    document = stated if isinstance(stated, Mapping) else {}
    return Verification(
        steps=tuple(
            Step(number, title, *outcome)
            for number, (title, outcome) in enumerate(zip(TITLES, outcomes, strict=True), 1)
        ),
        signatures=seal.signatures if isinstance(seal, Seal) else (),
        number=_word(document.get("number")),
        verdict=_word(document.get("verdict")),
    )


# ---------------------------------------------------------------- 1: the file


def _intact(seal: Seal | Exception) -> Outcome:
    """(1)"""
    if isinstance(seal, Exception):
        return Status.FAIL, f"cannot be read as a signed PDF: {_reason(seal)}", ()
    if not seal.signatures:
        return Status.FAIL, "NOT SIGNED: nobody vouches for this sheet", ()
    if seal.all_faults:
        return Status.FAIL, "changed after it was signed, or never a sheet", seal.all_faults
    count = len(seal.signatures)
    told = "1 signature covers" if count == 1 else f"{count} signatures cover"
    return Status.OK, f"as it was signed: {told} the whole file", ()


# ---------------------------------------------------------------- 2: who


def _signer(seal: Seal | Exception, trusted: Sequence[Signer], any_signer: bool) -> Outcome:
    """(2)"""
    if isinstance(seal, Exception) or not seal.signatures:
        return Status.FAIL, "no signature to tell the signer by", ()
    statuses, lines = [], []
    for index, signature in enumerate(seal.signatures):
        status, trust = _standing(signature, bool(trusted), any_signer, countersigned=index > 0)
        statuses.append(status)
        lines.append(f"{_holder(signature.signer)}: {trust}")
        lines.append(f"SHA-256 {signature.signer.fingerprint}")
    worst = next(each for each in (Status.FAIL, Status.UNKNOWN, Status.OK) if each in statuses)
    return worst, lines[0], tuple(lines[1:])


def _standing(
    signature: Signature, trust_given: bool, any_signer: bool, *, countersigned: bool
) -> tuple[Status, str]:
    if signature.trusted_as is not None:
        return Status.OK, signature.trusted_as
    if any_signer:
        return Status.OK, "accepted as any signer would be, not checked"
    if not trust_given:
        return Status.UNKNOWN, "not checked; --trust CERTIFICATE says whom you expect"
    if countersigned:
        return Status.UNKNOWN, "countersigned; not among the trusted certificates"
    return Status.FAIL, "not among the trusted certificates"


def _holder(signer: Signer) -> str:
    words = [signer.name, signer.organisation, signer.email]
    kind = "self-issued" if signer.self_issued else f"issued by {signer.issuer}"
    return f"{', '.join(word for word in words if word)} ({kind})"


# ---------------------------------------------------------------- 3: when


def _time(seal: Seal | Exception) -> Outcome:
    """(3)"""
    if isinstance(seal, Exception) or not seal.signatures:
        return Status.FAIL, "no signature to tell the time by", ()
    statuses, lines = [], []
    for signature in seal.signatures:
        status, line = _dated(signature)
        statuses.append(status)
        lines.append(line)
    worst = next(each for each in (Status.FAIL, Status.UNKNOWN, Status.OK) if each in statuses)
    return worst, lines[0], tuple(lines[1:])


def _dated(signature: Signature) -> tuple[Status, str]:
    moment, signer = signature.moment, signature.signer
    if moment is None:
        return Status.FAIL, f"{signature.field} names no time"
    valid = f"valid {_told(signer.not_before)} to {_told(signer.not_after)}"
    if not signer.valid_at(moment):
        return Status.FAIL, f"{_told(moment)}, outside its certificate's dates ({valid})"
    if signature.stamped is None:
        return Status.OK, f"{_told(moment)} as the signer claims; certificate {valid}"
    if not signature.stamp_trusted:
        return (
            Status.UNKNOWN,
            f"{_told(moment)} by a time stamp whose authority is not among the trusted; "
            f"certificate {valid}",
        )
    return Status.OK, f"{_told(moment)} by a trusted time stamp; certificate {valid}"


# ---------------------------------------------------------------- 4: the attachments


def _attachments(
    attached: Attached | Exception,
    stated: Document | Exception,
    trusted: Sequence[Signer],
    any_signer: bool,
) -> Outcome:
    """(4)"""
    if isinstance(attached, Exception):
        return Status.FAIL, f"cannot be read: {_reason(attached)}", ()
    faults = list(name_faults(attached))
    if isinstance(stated, Exception):
        faults.append(_reason(stated))
    else:
        found = _attempt(lambda: list(digest_faults(attached, stated)))
        faults += [_reason(found)] if isinstance(found, Exception) else found
    if faults:
        return Status.FAIL, "not what the assessment was made from", tuple(dict.fromkeys(faults))
    told = f"{', '.join(sorted(attached))}: as stated"
    accepted = _attempt(lambda: _who_accepted()(attached, trusted))
    if isinstance(accepted, Exception):
        return Status.FAIL, _reason(accepted), ()
    lines = tuple(line for line, _ in accepted)
    if any_signer or all(known for _, known in accepted):
        return Status.OK, told, lines
    return Status.UNKNOWN, f"{told}; a deviation's signer is not among the trusted", lines


def _who_accepted() -> Callable[[Attached, Sequence[Signer]], list[tuple[str, bool]]]:
    from compliance.deviations import who_accepted

    return who_accepted


# ---------------------------------------------------------------- 5: once more


def _recomputed(attached: Attached | Exception, stated: Document | Exception) -> Outcome:
    """(5)"""
    if isinstance(attached, Exception) or isinstance(stated, Exception):
        return Status.FAIL, "not possible without the attachments", ()
    computed = _attempt(lambda: _reassess()(attached))
    if isinstance(computed, Exception):
        return Status.FAIL, f"not possible: {_reason(computed)}", ()
    differences = _attempt(lambda: compare(stated, computed))
    if isinstance(differences, Exception):
        return Status.FAIL, f"assessment.json has not the shape of one: {_reason(differences)}", ()
    return _compared(differences, tool_of(stated), tool_of(computed))


def _compared(
    differences: Sequence[Difference], theirs: tuple[Any, Any], ours: tuple[Any, Any]
) -> Outcome:
    """(5) Another version may word a remark otherwise, and another engine compute otherwise."""
    about = {difference.topic for difference in differences}
    if not differences:
        return Status.OK, "every value, limit and verdict comes out as stated", ()
    if about == {Topic.WORDS} and theirs != ours:
        text = f"comes out as stated; version {theirs[0]} had other remarks"
        return Status.OK, text, _told_each(differences)
    if theirs[1] != ours[1]:
        text = (
            f"stated with definitions {theirs[1]}, computed with {ours[1]}: "
            f"{len(differences)} differences, which that may explain"
        )
        return Status.UNKNOWN, text, _told_each(differences)
    told = "; ".join(topic for topic in Topic if topic in about)
    return Status.FAIL, told, _told_each(differences)


def _reassess() -> Callable[[Mapping[str, bytes]], Mapping[str, Any]]:
    from compliance.evidence import reassess

    return reassess


def _told_each(differences: Sequence[Difference]) -> tuple[str, ...]:
    told = tuple(str(difference) for difference in differences[:MOST_DETAILS])
    rest = len(differences) - len(told)
    return (*told, f"and {rest} more") if rest else told


# ---------------------------------------------------------------- shared


def _attempt(do: Callable[[], T]) -> T | Exception:
    """What `do` gives, or the exception that it ends in: a damaged file can raise any."""
    try:
        return do()
    except Exception as fault:
        return fault


def _checked(data: bytes) -> bytes:
    if not data.startswith(b"%PDF-"):
        raise ValueError("it does not begin as a PDF does")
    if len(data) > LARGEST_SHEET:
        raise ValueError(f"it has {len(data)} bytes; a sheet has {LARGEST_SHEET} at most")
    return data


def _reason(fault: Exception) -> str:
    if isinstance(fault, InputError):
        return "; ".join(str(problem) for problem in fault.problems)
    told = str(fault).splitlines()[0] if str(fault) else ""
    if isinstance(fault, ValueError | ComplianceError):
        return told or type(fault).__name__
    return f"{type(fault).__name__}: {told}"


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _told(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
