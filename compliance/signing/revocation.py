"""Judge from lists and answers of authorities whether a certificate was revoked by a time.

Revocation lists (CRL, RFC 5280, 5) and answers (OCSP, RFC 6960) come with a sheet or from the
verifier; nothing is fetched. A list counts if it was still current at the time in question, or
is younger.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from asn1crypto import crl, ocsp, pem, x509
from cryptography import x509 as pyca
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
from cryptography.x509 import ocsp as pyca_ocsp
from cryptography.x509.oid import ExtendedKeyUsageOID
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
from compliance.signing.keys import LONGEST_CHAIN, is_root, issued

LARGEST = 2 << 20
"""Most bytes of a revocation list; those of large authorities have some hundred thousand."""
MOST_LISTED = 4 << 20
"""Most bytes of all lists that a verifier hands in; each is read for each signature."""

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
        later = _revoked_first(own, path.iter_certs(include_root=True), material)
        return Revocation(until, proven, True, later and later[0])
    # A revocation is for ever: a list too old to tell that there is none tells of one.
    early = _revoked_first(own, (*known, *anchors), material)
    if early is not None and early[0] <= until:
        return Revocation(until, proven, True, *early)
    return Revocation(until, proven, False, why_not=why)


def _revoked_first(
    own: x509.Certificate, pool: Iterable[x509.Certificate], material: Material
) -> tuple[datetime, bool] | None:
    """Return when `own` or one above it was revoked first, by any list or answer of its issuer,
    and whether that is one above."""
    links = list(_upward(own, [each for each in map(_read, pool) if each is not None]))
    found = [*_in_lists(links, material.lists), *_in_answers(links, material.answers)]
    first = min(found, default=None, key=lambda each: each[0])
    return first and (first[0], first[1] != links[0][0])


Link = tuple[pyca.Certificate, pyca.Certificate]
"""A certificate and its issuer's."""


def _read(certificate: x509.Certificate) -> pyca.Certificate | None:
    try:
        return pyca.load_der_x509_certificate(certificate.dump())
    except ValueError:
        return None


def _upward(own: x509.Certificate, pool: Sequence[pyca.Certificate]) -> Iterator[Link]:
    """Return a certificate with its issuer's, that with its own, up to a root."""
    certificate = _read(own)
    for _ in range(LONGEST_CHAIN):
        if certificate is None or is_root(certificate):
            return
        issuer = next((each for each in pool if issued(certificate, each)), None)
        if issuer is None:
            return
        yield certificate, issuer
        certificate = issuer


def _in_lists(
    links: Sequence[Link], lists: Sequence[crl.CertificateList]
) -> Iterator[tuple[datetime, pyca.Certificate]]:
    for each in lists:
        read = pyca.load_der_x509_crl(each.dump())
        for certificate, issuer in links:
            try:
                when = _listed(read, certificate, issuer)
            except UNREADABLE:
                continue  # a list of nonsense tells nothing, and is no fault of the sheet
            if when is not None:
                yield when, certificate


UNREADABLE = (TypeError, ValueError, UnsupportedAlgorithm)
"""Raised by parts of a list or answer that are read only when they are asked for."""


def _listed(
    read: pyca.CertificateRevocationList, certificate: pyca.Certificate, issuer: pyca.Certificate
) -> datetime | None:
    """Return when a list that is the issuer's own states a certificate to be revoked."""
    key = issuer.public_key()
    if read.issuer != issuer.subject or not read.is_signature_valid(key):  # type: ignore[arg-type]
        return None
    entry = read.get_revoked_certificate_by_serial_number(certificate.serial_number)
    return None if entry is None else entry.revocation_date_utc


def _in_answers(
    links: Sequence[Link], answers: Sequence[ocsp.OCSPResponse]
) -> Iterator[tuple[datetime, pyca.Certificate]]:
    for each in answers:
        if each["response_status"].native != "successful":
            continue
        for certificate, issuer in links:
            for one in each.response_data["responses"]:
                status, known = one["cert_status"], one["cert_id"]
                same = known["serial_number"].native == certificate.serial_number
                if same and status.name == "revoked" and _is_answer_of(each, issuer):
                    yield status.chosen["revocation_time"].native, certificate


def _is_answer_of(answer: ocsp.OCSPResponse, issuer: pyca.Certificate) -> bool:
    """Return whether an issuer, or who answers for it (RFC 6960, 4.2.2.2), signed an answer."""
    try:
        read = pyca_ocsp.load_der_ocsp_response(answer.dump())
        signers = [issuer, *(each for each in read.certificates if _answers_for(each, issuer))]
        return any(_has_signed(read, by) for by in signers)
    except UNREADABLE:
        return False


def _has_signed(read: pyca_ocsp.OCSPResponse, by: pyca.Certificate) -> bool:
    key, method = by.public_key(), read.signature_hash_algorithm
    try:
        if isinstance(key, ec.EllipticCurvePublicKey) and method is not None:
            key.verify(read.signature, read.tbs_response_bytes, ec.ECDSA(method))
        elif isinstance(key, rsa.RSAPublicKey) and method is not None:
            key.verify(read.signature, read.tbs_response_bytes, padding.PKCS1v15(), method)
        else:
            return False
    except InvalidSignature:
        return False
    return True


def _answers_for(certificate: pyca.Certificate, issuer: pyca.Certificate) -> bool:
    try:
        usage = certificate.extensions.get_extension_for_class(pyca.ExtendedKeyUsage).value
    except (pyca.ExtensionNotFound, ValueError):
        return False
    return ExtendedKeyUsageOID.OCSP_SIGNING in usage and issued(certificate, issuer)
