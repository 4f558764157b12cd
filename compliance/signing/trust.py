"""Decide whether a certificate is trusted: by itself, or through authorities that issued it.

Nothing is fetched and no clock is read: the path to a trusted authority is judged at the
moment given. Revocation is judged if there are lists or answers of the authorities.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime

from asn1crypto import x509
from cryptography import x509 as pyca
from pyhanko_certvalidator import CertificateValidator, ValidationContext
from pyhanko_certvalidator.errors import (
    ExpiredError,
    NotYetValidError,
    PathBuildingError,
    PathError,
    ValidationError,
)

from compliance.model.signatures import Revocation, Signer
from compliance.signing.certificates import signer_of, usage_fault
from compliance.signing.keys import issuers_of
from compliance.signing.revocation import NOTHING, Material, revocation_of


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether and how a certificate is trusted."""

    as_: str | None
    """Why it is trusted; None if it is not."""
    why_not: str = ""
    """The reason why it is not, if more is known than that."""
    revocation: Revocation | None = None
    """None if there are no lists or answers."""
    under: str = ""
    """The trusted authority that issued it, if there is one."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What revocation is judged from, and the time by which a signature is known to exist."""

    material: Material = NOTHING
    until: datetime | None = None
    """The time in a later trusted time stamp; None without one."""


MOST_ABOVE = 6
"""Most authorities that could be above a certificate; the library tries all ways through them."""
NO_PROOF = Proof()


def trust_of(
    own: x509.Certificate,
    others: Iterable[x509.Certificate],
    trusted: Sequence[Signer],
    moment: datetime,
    *,
    extended: Set[str] = frozenset(),
    proof: Proof = NO_PROOF,
) -> Standing:
    """Judge `own`, which came with `others`, against `trusted` at an aware time.

    It is trusted if it is itself among `trusted`, or if authorities among them issued it, and
    if `proof` does not say that it was revoked by `moment` or the time it proves. `extended`
    are usages that it must name; without any it has to be for documents.
    """
    known = [*others, *proof.material.certificates]
    pool = [*known, *_authorities(trusted)]
    if _is_tangled((own, *pool)):
        return Standing(None, f"more than {MOST_ABOVE} certificates could be above one with it")
    standing = _standing(own, known, trusted, moment, extended)
    anchors = _top(own, pool)
    if proof.material.is_empty or not anchors:
        return standing
    # Which authorities issued it is a matter of signatures, also where none of them is trusted.
    revocation = revocation_of(
        own,
        pool,
        anchors,
        proof.material,
        proof.until or moment,
        proven=proof.until is not None,
        extended=extended,
    )
    if revocation.bad:
        return Standing(None, _revoked(revocation), revocation=revocation)
    if standing.as_ is None:
        return replace(standing, revocation=revocation)
    state = _state(revocation)
    as_ = _issued(standing.under, state) if standing.under else f"{standing.as_} ({state})"
    return replace(standing, as_=as_, revocation=revocation)


def _is_tangled(certificates: Iterable[x509.Certificate]) -> bool:
    """Return whether more than `MOST_ABOVE` of them could be above one, by their names."""
    names = {
        each.dump(): (each.subject.hashable, each.issuer.hashable) for each in certificates
    }.values()
    for _, first in names:
        above, count = [first], 0
        for name in above:
            issuers = [issuer for subject, issuer in names if subject == name]
            count += len(issuers)
            if count > MOST_ABOVE:
                return True
            above += set(issuers).difference(above)
    return False


def _standing(
    own: x509.Certificate,
    others: Sequence[x509.Certificate],
    trusted: Sequence[Signer],
    moment: datetime,
    extended: Set[str],
) -> Standing:
    signer = signer_of(pyca.load_der_x509_certificate(own.dump()))
    if any(signer.fingerprint == each.fingerprint for each in trusted):
        return Standing("its certificate is among the trusted")
    authorities = _authorities(trusted)
    if not authorities:
        return Standing(None)
    within = context(authorities, clamp_to_validity(signer, moment))
    validator = CertificateValidator(own, others, validation_context=within)
    try:
        path = asyncio.run(validator.async_validate_usage(set(), set(extended)))  # type: ignore[no-untyped-call]
    except PathBuildingError:
        return Standing(None)
    except (ExpiredError, NotYetValidError) as fault:
        late = isinstance(fault, ExpiredError)
        state = "had expired" if late else "was not yet valid"
        return Standing(None, f"the certificate of its authority {state} on {moment:%Y-%m-%d}")
    except (PathError, ValidationError) as fault:
        return Standing(None, str(fault).splitlines()[0] if str(fault) else type(fault).__name__)
    unfit = None if extended else usage_fault(pyca.load_der_x509_certificate(own.dump()))
    if unfit:
        return Standing(None, f"its certificate {unfit}")
    root = signer_of(pyca.load_der_x509_certificate(path.trust_anchor.certificate.dump()))
    return Standing(_issued(root.name, UNCHECKED), under=root.name)


UNCHECKED = "revocation not checked"


def _issued(under: str, state: str) -> str:
    return f"its certificate was issued under {under}, which is trusted ({state})"


def _state(revocation: Revocation) -> str:
    if not revocation.checked:
        return f"{UNCHECKED}: {revocation.why_not}"
    later = f"; revoked on {revocation.revoked:%Y-%m-%d}" if revocation.revoked else ""
    return f"not revoked on {revocation.until:%Y-%m-%d}{later}"


def _revoked(revocation: Revocation) -> str:
    whose = "the certificate of an authority above it" if revocation.above else "its certificate"
    return f"{whose} was revoked on {revocation.revoked:%Y-%m-%d}"


def _top(own: x509.Certificate, known: Sequence[x509.Certificate]) -> list[x509.Certificate]:
    """Return the highest of the known authorities above a certificate."""
    above = issuers_of(
        pyca.load_der_x509_certificate(own.dump()),
        [pyca.load_der_x509_certificate(each.dump()) for each in known],
    )
    return [x509.Certificate.load(above[-1])] if above else []


def context(roots: list[x509.Certificate], moment: datetime) -> ValidationContext:
    """Return the library's context: these roots, that time, nothing from the network."""
    return ValidationContext(trust_roots=roots, allow_fetching=False, moment=moment)


def clamp_to_validity(signer: Signer, moment: datetime) -> datetime:
    """Return the moment nearest to an aware one at which a certificate is within its dates.

    Whether `moment` itself is within them is reported separately.
    """
    return min(max(moment, signer.not_before), signer.not_after)


def _authorities(trusted: Sequence[Signer]) -> list[x509.Certificate]:
    """Return those of the trusted that may issue certificates to others."""
    certificates = [x509.Certificate.load(each.certificate) for each in trusted]
    return [each for each in certificates if each.ca]
