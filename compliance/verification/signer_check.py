"""Step 2 of a verification: who signed a sheet, and whether for the facility or for its client.

The facility signs first. Whoever signs after it, or accepts a deviation, does so for the
client, and must be trusted as such: the facility cannot do it, whatever is trusted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

from compliance.evidence.attachments import Document
from compliance.model import Facts, Statement, Texts
from compliance.model.results import Check, Expected, Status, Step, worst_status
from compliance.model.signatures import Signature, Signer
from compliance.signing.certificates import same_key, same_organisation
from compliance.signing.read import PdfSignatures
from compliance.verification.long_term import revocation_status


class Signed(Protocol):
    """A signature with its signer: in a sheet, or beside a file."""

    @property
    def signer(self) -> Signer: ...
    @property
    def trusted_as(self) -> str | None: ...


def check_signer(
    seal: PdfSignatures | Exception, expected: Expected, stated: Document | Exception
) -> Step:
    """Check who signed, and whether they are trusted (2)."""
    if isinstance(seal, Exception) or not seal.signatures:
        return Step(Check.SIGNER, Status.FAIL, Statement("no-signer"))
    if (twice := _signed_twice(seal.signatures)) is not None:
        signed_twice = Statement("signed-twice", _holder(twice))
        return Step(Check.SIGNER, Status.FAIL, signed_twice, (_digest(twice),))
    facility = seal.signatures[0].signer
    several = len(seal.signatures) > 1
    statuses: list[Status] = []
    signers: list[tuple[Statement, ...]] = []
    for index, signature in enumerate(seal.signatures):
        if index == 0:
            status, trust = _facility_standing(signature, expected)
        else:
            status, trust = client_standing(signature, facility, expected)
        statuses.append(status)
        role = signature.role if several else None
        facts: Facts = {**_holder(signature.signer), "role": role, "trust": trust}
        wanted = expected.clients if index else expected.signers
        unlike = status is not Status.OK and not signature.trusted_as and not expected.any_signer
        beside = expected_certificates(wanted) if unlike else ()
        signers.append((Statement("signer", facts), _digest(signature.signer), *beside))
    worst = worst_status(statuses)
    signers.insert(0, signers.pop(statuses.index(worst)))  # the one that decides comes first
    first, *others = (statement for pair in signers for statement in pair)
    return Step(Check.SIGNER, worst, first, (*others, *_not_as_stated(facility, stated)))


def _signed_twice(signatures: Sequence[Signature]) -> Signer | None:
    """Return the signer whose key signed both first and again later."""
    for each in signatures[1:]:
        if same_key(each.signer.certificate, signatures[0].signer.certificate):
            return each.signer
    return None


# ---------------------------------------------------------------- trust


def _facility_standing(signature: Signature, expected: Expected) -> tuple[Status, Statement]:
    if (revoked := revocation_status(signature)) is not None:
        return revoked
    status, trust = trust_status(signature, expected.signers, expected.any_signer)
    if status is Status.UNKNOWN:
        return status, Statement("name-trusted")
    if status is Status.OK:
        return status, trust
    return status, Statement("signer-untrusted", {"trust": trust, "why_not": signature.why_not})


def client_standing(
    signature: Signature, facility: Signer, expected: Expected
) -> tuple[Status, Statement]:
    """Judge whether a countersignature is the client's.

    One of an unknown person breaks nothing; one under the client's name with another key does.
    """
    if (revoked := revocation_status(signature)) is not None:
        return revoked
    if same_organisation(signature.signer, facility):
        return Status.UNKNOWN, Statement("countersigned-by-facility")
    status, trust = client_trust(signature, expected)
    if status is Status.OK:
        return status, trust
    if not expected.clients:
        return status, Statement("name-client")
    if signature.signer.fingerprint in {each.fingerprint for each in expected.signers}:
        trust = Statement("facility-trust")
    facts: Facts = {"trust": trust, "why_not": signature.why_not}
    untrusted = Statement("countersigned-untrusted", facts)
    return status, untrusted


def client_trust(signed: Signed, expected: Expected) -> tuple[Status, Statement]:
    """Judge whether a countersigner, or who accepted a deviation, is the client's person."""
    status, trust = trust_status(signed, expected.clients, expected.any_signer)
    if status is Status.FAIL and not _is_impostor(trust):
        status = Status.UNKNOWN
    return status, trust


def _is_impostor(trust: Statement) -> bool:
    """Whether someone signed under a trusted person's name with another key."""
    return (trust.kind, trust.variant) == ("namesake-trusted", "key")


def countersigned(seal: PdfSignatures | Exception, expected: Expected) -> bool | None:
    """Return whether a sheet is countersigned for the client; None if that is not known."""
    if isinstance(seal, Exception) or len(seal.signatures) < 2:
        return False
    facility, *others = seal.signatures
    if all(same_organisation(each.signer, facility.signer) for each in others):
        return False
    standings = [client_standing(each, facility.signer, expected)[0] for each in others]
    return True if Status.OK in standings else None


def trust_status(
    signed: Signed, trusted: Sequence[Signer], any_signer: bool
) -> tuple[Status, Statement]:
    """Judge whether the signer is expected, and say why."""
    if signed.trusted_as is not None:
        return Status.OK, Statement("fault", Texts(signed.trusted_as))
    if any_signer:
        return Status.OK, Statement("any-signer")
    if not trusted:
        return Status.UNKNOWN, Statement("trust-unchecked")
    return Status.FAIL, _unlike(signed.signer, trusted)


def _unlike(signer: Signer, trusted: Sequence[Signer]) -> Statement:
    """Say that a signer is not trusted; point out a trusted one with the same name."""
    for each in trusted:
        if (each.name, each.organisation) == (signer.name, signer.organisation):
            same = same_key(each.certificate, signer.certificate)
            digests = {"own": signer.fingerprint, "trusted": each.fingerprint}
            return Statement("namesake-trusted", digests, "certificate" if same else "key")
    return Statement("not-trusted")


# ---------------------------------------------------------------- who, and who was stated


MOST_EXPECTED = 5
"""Expected certificates that are listed beside another one."""


def expected_certificates(trusted: Sequence[Signer]) -> tuple[Statement, ...]:
    """Name the certificates that were expected, to be held beside the one found."""
    return tuple(
        statement
        for each in trusted[:MOST_EXPECTED]
        for statement in (Statement("certificate-expected", _holder(each)), _digest(each))
    )


def _not_as_stated(signer: Signer, stated: Document | Exception) -> Iterator[Statement]:
    """Yield where the certificate names another facility or person than the job does."""
    job = stated.get("job") if isinstance(stated, Mapping) else None
    if not isinstance(job, Mapping):
        return
    facility = _text(job.get("facility"), "name")
    if facility is not None and not _same(facility, signer.organisation):
        facts: Facts = {"organisation": signer.organisation, "facility": facility}
        yield Statement("other-facility", facts)
    person = _text(job, "authorised_by")
    if person is not None and _plain(signer.name) not in _plain(person):
        yield Statement("other-person", {"name": signer.name, "person": person})


def _text(data: Any, key: str) -> str | None:
    value = data.get(key) if isinstance(data, Mapping) else None
    return value if isinstance(value, str) else None


def _same(one: str, other: str | None) -> bool:
    return other is not None and _plain(one) == _plain(other)


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()


def _digest(signer: Signer) -> Statement:
    return Statement("certificate-digest", {"sha256": signer.fingerprint})


def _holder(signer: Signer) -> Facts:
    return {
        "name": signer.name,
        "organisation": signer.organisation,
        "email": signer.email,
        "issuer": None if signer.self_issued else signer.issuer,
    }
