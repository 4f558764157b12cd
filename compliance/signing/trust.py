"""Whether a certificate is trusted: by itself, or through authorities that issued it.

Nothing is fetched and no clock is read: a way up to a trusted authority is judged at the
moment given. Revocation is not looked at.
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
    """How a certificate stands to the trusted ones."""

    as_: str | None
    """How it is among them; None if it is not."""
    why_not: str = ""
    """Where there is more to say than that it is not."""


def trust_of(
    own: x509.Certificate,
    others: Iterable[x509.Certificate],
    trusted: Sequence[Signer],
    moment: datetime,
    *,
    extended: Set[str] = frozenset(),
) -> Standing:
    """How `own`, which came with `others`, stands to `trusted` at an aware time.

    A certificate that is itself among `trusted` counts as it is, others only as issuing
    authorities. `extended` are usages that it must name; without any it has to be for
    documents.
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
        f"its certificate goes back to {root.name}, a trusted one (revocation not checked)"
    )


def context(roots: list[x509.Certificate], moment: datetime) -> ValidationContext:
    """What the library judges by: these roots, that time, nothing from the network."""
    return ValidationContext(trust_roots=roots, allow_fetching=False, moment=moment)


def clamp_to_validity(signer: Signer, moment: datetime) -> datetime:
    """The moment nearest to an aware one at which a certificate is within its dates.

    Whether `moment` itself is, is told to the user as a matter of its own.
    """
    return min(max(moment, signer.not_before), signer.not_after)


def _authorities(trusted: Sequence[Signer]) -> list[x509.Certificate]:
    """Those of the trusted that may issue certificates to others."""
    found = [x509.Certificate.load(each.certificate) for each in trusted]
    return [each for each in found if each.ca]
