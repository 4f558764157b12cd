"""Decide whether a certificate is trusted: by itself, or through authorities that issued it.

Nothing is fetched and no clock is read: the path to a trusted authority is judged at the
moment given. Revocation is not checked.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass
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

from compliance.model.signatures import Signer
from compliance.signing.certificates import signer_of, usage_fault


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether and how a certificate is trusted."""

    as_: str | None
    """Why it is trusted; None if it is not."""
    why_not: str = ""
    """The reason why it is not, if more is known than that."""


def trust_of(
    own: x509.Certificate,
    others: Iterable[x509.Certificate],
    trusted: Sequence[Signer],
    moment: datetime,
    *,
    extended: Set[str] = frozenset(),
) -> Standing:
    """Judge `own`, which came with `others`, against `trusted` at an aware time.

    It is trusted if it is itself among `trusted`, or if authorities among them issued it.
    `extended` are usages that it must name; without any it has to be for documents.
    """
    signer = signer_of(pyca.load_der_x509_certificate(own.dump()))
    if any(signer.fingerprint == each.fingerprint for each in trusted):
        return Standing("its certificate is among the trusted")
    authorities = _authorities(trusted)
    if not authorities:
        return Standing(None)
    within = context(authorities, clamp_to_validity(signer, moment))
    validator = CertificateValidator(own, list(others), validation_context=within)
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
    return Standing(
        f"its certificate was issued under {root.name}, which is trusted (revocation not checked)"
    )


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
