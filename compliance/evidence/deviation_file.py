"""Deviation files: a client's signed leave for one value outside its limits.

A JSON document (schemas/deviation.json): what is accepted, and a detached CMS signature
over its canonical bytes. Whether one holds for an assessment is `disposition`'s matter.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.errors import DeviationError, Problem
from compliance.evidence.attachments import STRICT, is_assessment, is_deviation
from compliance.grading.deviation_check import reason_not_acceptable
from compliance.model import Acceptor, Deviation, Limits, Value
from compliance.model.stated import StatedAssessment
from compliance.plain_data import canonical_bytes, from_plain, timestamp, to_plain
from compliance.yaml_nodes.read_file import read_bytes, read_data

if TYPE_CHECKING:
    from compliance.model.signatures import Detached, Signer
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


SCHEMA = "https://deliverable-compliance.invalid/schemas/deviation-1.json"
"""Names the format; nothing is fetched from it."""
EXPECTED = "expected a file that 'compliance deviation new' has made"
LARGEST = 1 << 17
"""Bytes of a deviation file; real ones have three thousand."""


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Who accepts a finding, why, and until when."""

    reason: str
    accepted_by: str
    accepted: datetime
    until: date


def new_deviation(
    stated: StatedAssessment,
    requirement: str,
    acceptance: Acceptance,
    identity: Identity,
    *,
    stamper: Stamper | None = None,
    file: str = "the assessment",
) -> bytes:
    """A deviation file for one finding of an assessment, signed by `identity`.

    `stated` is what the assessment's document states; `stamper` adds the time that an authority
    states. Raises DeviationError where it has no such requirement, no job,
    or a text cannot stand in the file; IdentityError where the certificate is not valid at
    the time of acceptance, TimestampError where there is no time stamp and it is not optional.
    """
    from compliance.signing.detached import sign_detached

    content = _content(stated, requirement, acceptance, file)
    signed = canonical_bytes(content)
    cms = sign_detached(signed, identity, when=acceptance.accepted, stamper=stamper)
    document = {
        "deviation": content,
        "signature": {"cms": base64.b64encode(cms).decode()},
    }
    data = (json.dumps(document, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()
    read_deviation(data, "the new deviation")
    return data


def _content(
    stated: StatedAssessment, requirement: str, acceptance: Acceptance, file: str
) -> dict[str, Any]:
    if stated.job is None or stated.slot is None:
        raise _error(file, "is of bare readings; only a job's slot can deviate")
    findings = {finding.id: finding for finding in stated.state.findings}
    if requirement not in findings:
        raise _error(file, f"has no requirement {requirement!r}; it has {', '.join(findings)}")
    finding, rule = findings[requirement], stated.rule
    why = reason_not_acceptable(finding)
    if why is not None:
        raise _error(file, why)
    serial = stated.display.serial if stated.display else None
    limits = to_plain(finding.limits)
    moment = acceptance.accepted.replace(microsecond=0)
    return {
        "schema": SCHEMA,
        "assessment": stated.number,
        "job": stated.job.reference,
        "slot": stated.slot.slot,
        **({"serial": serial} if serial else {}),
        "rule": {"id": rule.id, "revision": rule.revision, "digest": rule.digest},
        "requirement": {
            "id": finding.id,
            "title": finding.title,
            "quantity": finding.quantity,
            "unit": finding.unit,
        },
        "value": to_plain(finding.value),
        "limits": {key: value for key, value in limits.items() if value not in (None, False)},
        "reason": acceptance.reason,
        "accepted_by": acceptance.accepted_by,
        "accepted": timestamp(moment),
        "until": acceptance.until.isoformat(),
    }


# ---------------------------------------------------------------- reading


def load_deviation(path: str | Path, trusted: Sequence[Signer] | None = None) -> Deviation:
    """A deviation from its file.

    With `trusted` (certificates of signers or their authorities) its signer has to be among
    them. Raises DeviationError where the file is none, was changed since it was signed, or
    was signed by somebody else.
    """
    data = read_bytes(path, DeviationError, "deviation", limit=LARGEST)
    deviation, signature = read_deviation(data, str(path), trusted or ())
    if trusted is not None and signature.trusted_as is None:
        signer = deviation.signer
        raise _error(
            str(path),
            f"signed by {signer.name}, SHA-256 {signer.sha256}, who is not among the trusted",
        )
    return deviation


def read_deviation(
    data: bytes, file: str, trusted: Sequence[Signer] = (), stamping: Sequence[Signer] = ()
) -> tuple[Deviation, Detached]:
    """A deviation from a file's bytes, and what its signature says.

    `trusted` and `stamping` as for `read_detached`. Raises DeviationError where it is none or
    was changed since it was signed.
    """
    _, typed = read_data(_parsed(data, file), file, "deviation", DeviationError)
    signature = _signature(typed, file, trusted, stamping)
    return _deviation(typed, signature, file), signature


def acceptor_trust(
    files: Mapping[str, bytes],
    trusted: Sequence[Signer],
    stamping: Sequence[Signer] = (),
    facility: Signer | None = None,
) -> list[tuple[str, bool]]:
    """Of each deviation among a sheet's attachments: its signer, in words, and if trusted.

    `facility` is who signed the sheet. Raises DeviationError as `read_deviation` does, and
    where the facility accepted what it delivers.
    """
    found = []
    for name in filter(is_deviation, sorted(files)):
        deviation, signature = read_deviation(files[name], name, trusted, stamping)
        signer = deviation.signer
        if facility is not None:
            check_acceptor(deviation, facility)
        who = ", ".join(part for part in (signer.name, signer.organisation) if part)
        trust = signature.trusted_as or "not among the trusted"
        told = f"{name}: {deviation.requirement}, signed by {who}: {trust}; SHA-256 {signer.sha256}"
        found.append((told, signature.trusted_as is not None))
    return found


def check_acceptor(deviation: Deviation, facility: Signer) -> None:
    """That a deviation was not signed with the key of the sheet itself. Raises DeviationError."""
    from compliance.signing.certificates import same_key

    if same_key(deviation.signer.certificate, facility.certificate):
        raise _error(
            deviation.file,
            f"accepts {deviation.requirement} with the key that signs the sheet; a facility cannot "
            "accept what it delivers: whoever accepts it signs with a key of their own",
        )


def require_deviation(data: bytes, file: str) -> None:
    """That a file is meant as a deviation, sound or not. Raises DeviationError."""
    found = _parsed(data, file)
    keys = found.keys() if isinstance(found, dict) else set()
    if is_assessment(found):
        made = "expected a deviation, as 'compliance deviation new' makes one of it"
        raise _error(file, f"is an assessment; {made}")
    if not {"deviation", "signature"} & keys:
        raise _error(file, f"is another kind of document; {EXPECTED}")


def payload_and_signature(data: bytes, file: str) -> tuple[bytes, bytes]:
    """The bytes that were signed, and the signature over them (CMS, DER)."""
    _, typed = read_data(_parsed(data, file), file, "deviation", DeviationError)
    return canonical_bytes(typed["deviation"]), _decoded(typed, file)


def _signature(
    typed: Mapping[str, Any], file: str, trusted: Sequence[Signer], stamping: Sequence[Signer]
) -> Detached:
    from compliance.signing.detached import read_detached

    signed, signature = canonical_bytes(typed["deviation"]), _decoded(typed, file)
    try:
        found = read_detached(signed, signature, trusted, stamping)
    except ValueError as fault:
        raise _error(file, f"signature.cms: {fault}") from None
    if found.faults:
        raise _error(file, found.faults[0])
    return found


def _decoded(typed: Mapping[str, Any], file: str) -> bytes:
    try:
        return base64.b64decode(typed["signature"]["cms"], validate=True)
    except binascii.Error:
        raise _error(file, "signature.cms: is not base64") from None


def _parsed(data: bytes, file: str) -> Any:
    try:
        return json.loads(data, **STRICT)
    except json.JSONDecodeError as fault:
        line = fault.lineno if data.strip() else None
        raise DeviationError(Problem(file, f"is not JSON; {EXPECTED}", line)) from None
    except (UnicodeDecodeError, RecursionError):
        raise _error(file, f"is not JSON; {EXPECTED}") from None
    except ValueError as fault:
        raise _error(file, f"is not JSON: {fault}") from None


def _deviation(typed: Mapping[str, Any], signature: Detached, file: str) -> Deviation:
    said = typed["deviation"]
    accepted = datetime.fromisoformat(said["accepted"].upper())
    if signature.claimed != accepted:
        raise _error(file, f"accepted {said['accepted']}, but signed at {signature.claimed}")
    signer = signature.signer
    return Deviation(
        assessment=said["assessment"],
        job=said["job"],
        slot=said["slot"],
        serial=said.get("serial"),
        rule=said["rule"]["id"],
        revision=said["rule"]["revision"],
        digest=said["rule"]["digest"],
        requirement=said["requirement"]["id"],
        title=said["requirement"]["title"],
        quantity=said["requirement"]["quantity"],
        unit=said["requirement"]["unit"],
        value=from_plain(said["value"], Value),
        limits=from_plain(said["limits"], Limits),
        reason=said["reason"],
        accepted_by=said["accepted_by"],
        accepted=accepted,
        until=date.fromisoformat(said["until"]),
        signer=Acceptor(signer.name, signer.organisation, signer.fingerprint, signer.certificate),
        document=typed,
        file=file,
    )


def _error(file: str, message: str) -> DeviationError:
    return DeviationError(Problem(file, message))
