"""Judge from lists and answers of authorities whether a certificate was revoked by a time.

Revocation lists (CRL, RFC 5280, 5) and answers (OCSP, RFC 6960) come with a sheet or from the
verifier; nothing is fetched. A list counts if it was still current at the time in question, or
is younger.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from asn1crypto import crl, ocsp, pem, x509
from cryptography import x509 as pyca
from cryptography.x509 import ocsp as pyca_ocsp
from pyhanko_certvalidator import CertificateValidator, ValidationContext
from pyhanko_certvalidator.errors import PathError, RevokedError, ValidationError
from pyhanko_certvalidator.policy_decl import (
    REQUIRE_REVINFO,
    CertRevTrustPolicy,
    RevocationCheckingPolicy,
    RevocationCheckingRule,
)

from compliance.errors import IdentityError
from compliance.model.signatures import Revocation

LARGEST = 2 << 20
"""Most bytes of a revocation list; those of large authorities have some hundred thousand."""

LOADERS: Mapping[str, Callable[[bytes], Any]] = {
    "/Certs": pyca.load_der_x509_certificate,
    "/CRLs": pyca.load_der_x509_crl,
    "/OCSPs": pyca_ocsp.load_der_ocsp_response,
}
"""The entries of a document security store, and what reads their contents (DER)."""

WHERE_STATED = RevocationCheckingPolicy(
    RevocationCheckingRule.CRL_OR_OCSP_REQUIRED, RevocationCheckingRule.CHECK_IF_DECLARED
)
"""For authorities below the root whose certificates name no address of a list."""


@dataclass(frozen=True, slots=True)
class Material:
    """What revocation is judged from."""

    certificates: tuple[x509.Certificate, ...] = ()
    lists: tuple[crl.CertificateList, ...] = ()
    answers: tuple[ocsp.OCSPResponse, ...] = ()

    def __add__(self, other: Material) -> Material:
        return Material(
            self.certificates + other.certificates,
            self.lists + other.lists,
            self.answers + other.answers,
        )

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing in it."""
        return not (self.certificates or self.lists or self.answers)

    @property
    def size(self) -> int:
        """The number of bytes of all of it."""
        return sum(len(each.dump()) for each in (*self.certificates, *self.lists, *self.answers))


NOTHING = Material()


def material_of(store: Mapping[str, Sequence[bytes]]) -> Material:
    """Return the contents of a document security store."""
    return Material(
        tuple(map(x509.Certificate.load, store.get("/Certs", ()))),
        tuple(map(crl.CertificateList.load, store.get("/CRLs", ()))),
        tuple(map(ocsp.OCSPResponse.load, store.get("/OCSPs", ()))),
    )


def is_material(kind: str, data: bytes) -> bool:
    """Return whether `data` is exactly one certificate, list or answer of reasonable size."""
    try:
        LOADERS[kind](data)
    except Exception:
        # Of nonsense the parser raises any exception.
        return False
    return len(data) <= LARGEST


def read_list(data: bytes, *, file: str = "list") -> bytes:
    """Read a revocation list, PEM or DER, as DER; raises IdentityError if it is not one."""
    try:
        der: bytes = pem.unarmor(data)[2] if pem.detect(data) else data
    except ValueError:
        der = b""
    if not is_material("/CRLs", der):
        raise IdentityError(
            f"{file}: is not a revocation list; expected PEM ('-----BEGIN X509 CRL-----') or DER, "
            f"at most {LARGEST >> 20} MiB"
        )
    return der


def revocation_of(
    own: x509.Certificate,
    others: Iterable[x509.Certificate],
    anchors: Sequence[x509.Certificate],
    material: Material,
    until: datetime,
    *,
    proven: bool,
    extended: Set[str] = frozenset(),
) -> Revocation:
    """Judge whether `own`, or an authority between it and `anchors`, was revoked by `until`.

    `until` is aware; `proven` states that the signature is known to have existed then.
    `extended` as for `trust_of`.
    """
    known = [*others, *material.certificates]
    moment = min(max(until, own.not_valid_before), own.not_valid_after)
    why = "there is no list or answer for it"
    for policy in (REQUIRE_REVINFO, WHERE_STATED):
        within = ValidationContext(
            trust_roots=list(anchors),
            other_certs=known,
            allow_fetching=False,
            moment=moment,
            crls=material.lists,
            ocsps=material.answers,
            revinfo_policy=CertRevTrustPolicy(policy, retroactive_revinfo=True),
        )
        validator = CertificateValidator(own, known, validation_context=within)
        try:
            path = asyncio.run(validator.async_validate_usage(set(), set(extended)))  # type: ignore[no-untyped-call]
        except RevokedError as fault:
            return Revocation(until, proven, True, fault.revocation_dt, not fault.is_ee_cert)
        except (PathError, ValidationError) as fault:
            why = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
            continue
        later = _revoked_later(list(path.iter_certs(include_root=False)), material)
        return Revocation(until, proven, True, later)
    return Revocation(until, proven, False, why_not=why)


def _revoked_later(certificates: Sequence[x509.Certificate], material: Material) -> datetime | None:
    """Return when one of these was revoked first, by any list or answer."""
    found = [*_in_lists(certificates, material.lists), *_in_answers(certificates, material.answers)]
    return min(found, default=None)


def _in_lists(
    certificates: Sequence[x509.Certificate], lists: Sequence[crl.CertificateList]
) -> Iterable[datetime]:
    for each in lists:
        read = pyca.load_der_x509_crl(each.dump())
        for certificate in certificates:
            if each.issuer.dump() == certificate.issuer.dump():
                entry = read.get_revoked_certificate_by_serial_number(certificate.serial_number)
                if entry is not None:
                    yield entry.revocation_date_utc


def _in_answers(
    certificates: Sequence[x509.Certificate], answers: Sequence[ocsp.OCSPResponse]
) -> Iterable[datetime]:
    numbers = {certificate.serial_number for certificate in certificates}
    for each in answers:
        if each["response_status"].native != "successful":
            continue
        for one in each.response_data["responses"]:
            status = one["cert_status"]
            if status.name == "revoked" and one["cert_id"]["serial_number"].native in numbers:
                yield status.chosen["revocation_time"].native
