"""Deviation files: a client's signed acceptance of one value outside its limits.

A JSON document (schemas/deviation.json): what is accepted, and a detached CMS signature
over its canonical bytes. `grading.deviation_check` decides whether it applies to an
assessment.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.errors import DeviationError, Problem
from compliance.evidence.attachments import STRICT, is_assessment, is_deviation
from compliance.grading.deviation_check import no_further, reason_not_acceptable
from compliance.model import Acceptor, Deviation, Finding, Limits, Value
from compliance.model.stated import StatedAssessment
from compliance.plain_data import canonical_bytes, from_plain, timestamp, to_plain
from compliance.yaml_nodes.read_file import read_bytes, read_data

if TYPE_CHECKING:
    from compliance.model.results import Expected
    from compliance.model.signatures import Detached, Signer
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


SCHEMA = "https://deliverable-compliance.invalid/schemas/deviation-1.json"
"""The name of the format; nothing is fetched from it."""
EXPECTED = "expected a file from 'compliance deviation new'"
LARGEST = 1 << 17
"""Most bytes of a deviation file; real ones have three thousand."""


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Who accepts a finding, why, and until when."""

    reason: str
    accepted_by: str
    accepted: datetime
    until: date
    up_to: Value | None = None
    """How far outside a later value may lie; None: no further than the one accepted."""


def new_deviation(
    stated: StatedAssessment,
    requirement: str,
    acceptance: Acceptance,
    identity: Identity,
    *,
    stamper: Stamper | None = None,
    file: str = "the assessment",
) -> bytes:
    """Make a deviation file for one finding of an assessment, signed by `identity`.

    `stated` is the content of the assessment's document; `stamper` adds the time stamp of an
    authority. Raises DeviationError if it has no such requirement, no job, or a text is not
    allowed in the file; IdentityError if the certificate is not valid at the time of
    acceptance, TimestampError if there is no time stamp and it is not optional.
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
        raise _error(file, "is of readings without a job; only a slot of a job can deviate")
    findings = {finding.id: finding for finding in stated.state.findings}
    if requirement not in findings:
        raise _error(file, f"has no requirement {requirement!r}; it has {', '.join(findings)}")
    finding, rule = findings[requirement], stated.rule
    why = reason_not_acceptable(finding)
    if why is not None:
        raise _error(file, why)
    _check_bound(finding, acceptance.up_to, file)
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
        **({} if acceptance.up_to is None else {"up_to": to_plain(acceptance.up_to)}),
        "limits": {key: value for key, value in limits.items() if value not in (None, False)},
        "reason": acceptance.reason,
        "accepted_by": acceptance.accepted_by,
        "accepted": timestamp(moment),
        "until": acceptance.until.isoformat(),
    }


def _check_bound(finding: Finding, up_to: Value | None, file: str) -> None:
    """Check that a bound lies at least as far outside as the value. Raises DeviationError."""
    if up_to is None:
        return
    assert finding.value is not None and finding.limits is not None
    if not no_further(finding.value, up_to, finding.limits):
        raise _error(
            file,
            f"{finding.id} is {_written(finding.value)}, further outside its limits than the bound "
            f"{_written(up_to)}; expected a bound at least as far",
        )


def _written(value: Value) -> str:
    values = value if isinstance(value, tuple) else (value,)
    return ", ".join(f"{each:.6g}" for each in values)


# ---------------------------------------------------------------- reading


def load_deviation(path: str | Path, trusted: Sequence[Signer] | None = None) -> Deviation:
    """Read a deviation file.

    With `trusted` (certificates of signers or their authorities) its signer has to be among
    them. Raises DeviationError if the file is not a deviation, was changed since it was
    signed, or was signed by another person.
    """
    data = read_bytes(path, DeviationError, "deviation", limit=LARGEST)
    deviation, signature = read_deviation(data, str(path), trusted or ())
    if trusted is not None and signature.trusted_as is None:
        signer = deviation.signer
        raise _error(
            str(path),
            f"signed by {signer.name}, SHA-256 {signer.sha256}, who is not trusted",
        )
    return deviation if trusted is None else mark_checked(deviation)


def mark_checked(deviation: Deviation) -> Deviation:
    """Return a deviation whose signer was held against the client's people."""
    return replace(deviation, signer=replace(deviation.signer, checked=True))


def read_deviation(
    data: bytes,
    file: str,
    trusted: Sequence[Signer] = (),
    stamping: Sequence[Signer] = (),
    lists: Sequence[bytes] = (),
) -> tuple[Deviation, Detached]:
    """Read a deviation from a file's bytes, and the facts about its signature.

    `trusted`, `stamping` and `lists` as for `read_detached`. Raises DeviationError if it is not
    a deviation, was changed since it was signed, or if its certificate was revoked before.
    """
    _, typed = read_data(_parsed(data, file), file, "deviation", DeviationError)
    signature = _signature(typed, file, trusted, stamping, lists)
    return _deviation(typed, signature, file), signature


def acceptors_of(
    files: Mapping[str, bytes], expected: Expected, facility: Signer | None
) -> list[tuple[str, str, Detached]]:
    """Return for each deviation attached to a sheet its name, its signer in words, and signature.

    `facility` is the signer of the sheet. Raises DeviationError as `read_deviation` does, and
    if the facility accepted its own values.
    """
    unproven = "not trusted for the client" if expected.clients else "identity not checked"
    acceptors = []
    for name in filter(is_deviation, sorted(files)):
        deviation, signature = read_deviation(
            files[name], name, expected.clients, expected.stamping, expected.lists
        )
        signer = deviation.signer
        if facility is not None:
            check_acceptor(deviation, facility)
        who = ", ".join(part for part in (signer.name, signer.organisation) if part)
        trust = signature.trusted_as or unproven
        text = (
            f"{name}: {deviation.requirement}, accepted by {deviation.accepted_by}, signed by "
            f"{who}: {trust}; SHA-256 {signer.sha256}"
        )
        acceptors.append((name, text, signature))
    return acceptors


def check_acceptor(deviation: Deviation, facility: Signer) -> None:
    """Check that a deviation was not signed by the facility, which signs the sheet.

    Raises DeviationError on the same key, or a certificate of the same organisation.
    """
    from compliance.signing.certificates import read_certificates, same_key, same_organisation

    accepting = deviation.signer
    if same_key(accepting.certificate, facility.certificate):
        raise _error(
            deviation.file,
            f"accepts {deviation.requirement} with the key that signs the sheet; a facility cannot "
            "accept its own values: the person who accepts must sign with their own key",
        )
    (holder,) = read_certificates(accepting.certificate)
    if same_organisation(holder, facility):
        raise _error(
            deviation.file,
            f"accepts {deviation.requirement} with a certificate of {accepting.organisation}, the "
            "organisation that signs the sheet; a facility cannot accept its own values: expected "
            "a certificate of the client's",
        )


def require_deviation(data: bytes, file: str) -> None:
    """Check that a file is meant as a deviation, valid or not. Raises DeviationError."""
    document = _parsed(data, file)
    keys = document.keys() if isinstance(document, dict) else set()
    if is_assessment(document):
        expected = "expected a deviation; make one with 'compliance deviation new'"
        raise _error(file, f"is an assessment; {expected}")
    if not {"deviation", "signature"} & keys:
        raise _error(file, f"is another kind of document; {EXPECTED}")


def payload_and_signature(data: bytes, file: str) -> tuple[bytes, bytes]:
    """Return the bytes that were signed, and the signature over them (CMS, DER)."""
    _, typed = read_data(_parsed(data, file), file, "deviation", DeviationError)
    return canonical_bytes(typed["deviation"]), _decoded(typed, file)


def _signature(
    typed: Mapping[str, Any],
    file: str,
    trusted: Sequence[Signer],
    stamping: Sequence[Signer],
    lists: Sequence[bytes],
) -> Detached:
    from compliance.signing.detached import read_detached

    signed, signature = canonical_bytes(typed["deviation"]), _decoded(typed, file)
    try:
        found = read_detached(signed, signature, trusted, stamping, lists)
    except ValueError as fault:
        raise _error(file, f"signature.cms: {fault}") from None
    if found.faults:
        raise _error(file, found.faults[0])
    revoked = found.revocation
    if revoked is not None and revoked.bad:
        raise _error(
            file, f"the certificate of its signer was revoked on {revoked.revoked:%Y-%m-%d}"
        )
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
        raise DeviationError(Problem(file, f"invalid JSON; {EXPECTED}", line)) from None
    except (UnicodeDecodeError, RecursionError):
        raise _error(file, f"invalid JSON; {EXPECTED}") from None
    except ValueError as fault:
        raise _error(file, f"invalid JSON: {fault}") from None


def _deviation(typed: Mapping[str, Any], signature: Detached, file: str) -> Deviation:
    stated = typed["deviation"]
    accepted = datetime.fromisoformat(stated["accepted"].upper())
    if signature.claimed != accepted:
        raise _error(file, f"accepted {stated['accepted']}, but signed at {signature.claimed}")
    signer = signature.signer
    return Deviation(
        assessment=stated["assessment"],
        job=stated["job"],
        slot=stated["slot"],
        serial=stated.get("serial"),
        rule=stated["rule"]["id"],
        revision=stated["rule"]["revision"],
        digest=stated["rule"]["digest"],
        requirement=stated["requirement"]["id"],
        title=stated["requirement"]["title"],
        quantity=stated["requirement"]["quantity"],
        unit=stated["requirement"]["unit"],
        value=from_plain(stated["value"], Value),
        limits=from_plain(stated["limits"], Limits),
        reason=stated["reason"],
        accepted_by=stated["accepted_by"],
        accepted=accepted,
        until=date.fromisoformat(stated["until"]),
        signer=Acceptor(signer.name, signer.organisation, signer.fingerprint, signer.certificate),
        document=typed,
        file=file,
        up_to=from_plain(stated["up_to"], Value) if "up_to" in stated else None,
    )


def _error(file: str, message: str) -> DeviationError:
    return DeviationError(Problem(file, message))
