"""Authorities of the tests' own: certificates they issue, and a clock that stamps signatures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from asn1crypto import keys, tsp
from asn1crypto import x509 as plain
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko.sign.timestamps import DummyTimeStamper

from compliance.signing.certificates import signer_of
from compliance.signing.keys import Identity
from compliance.signing.timestamps import Stamper
from helpers.signing import MADE, SIGNED, organisation

YEAR = timedelta(days=365)
DOCUMENTS = x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")
USAGES = (
    "digital_signature",
    "content_commitment",
    "key_encipherment",
    "data_encipherment",
    "key_agreement",
    "key_cert_sign",
    "crl_sign",
    "encipher_only",
    "decipher_only",
)

Key = ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey


@dataclass(frozen=True, slots=True)
class Holder:
    """A key with its certificate, and the certificates above it."""

    key: Key
    certificate: x509.Certificate
    above: tuple[x509.Certificate, ...] = ()

    @property
    def pem(self) -> bytes:
        """The certificate."""
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    @property
    def chain(self) -> bytes:
        """The certificate and those above it, without the root, as authorities hand them out."""
        parts = [self.certificate, *(each for each in self.above if each.issuer != each.subject)]
        return b"".join(each.public_bytes(serialization.Encoding.PEM) for each in parts)

    def key_file(self, password: str | None = None, *, traditional: bool = False) -> bytes:
        """The key as PEM."""
        kind = serialization.PrivateFormat
        return self.key.private_bytes(
            serialization.Encoding.PEM,
            kind.TraditionalOpenSSL if traditional else kind.PKCS8,
            serialization.BestAvailableEncryption(password.encode())
            if password
            else serialization.NoEncryption(),
        )

    @property
    def identity(self) -> Identity:
        """The identity, with all certificates above it embedded."""
        der = serialization.Encoding.DER
        return Identity(
            signer=signer_of(self.certificate),
            key=self.key.private_bytes(
                der, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            ),
            chain=tuple(each.public_bytes(der) for each in self.above),
        )


def issued(
    name: str,
    by: Holder | None = None,
    *,
    ca: bool = False,
    key: Key | None = None,
    start: datetime = MADE,
    life: timedelta = YEAR,
    usages: Sequence[str] = (),
    extended: Sequence[x509.ObjectIdentifier] = (),
    public: x509.CertificateSigningRequest | None = None,
    more: Sequence[x509.ExtensionType] = (),
) -> Holder:
    """A holder with a certificate issued by an authority, or by itself; `more` extensions."""
    key = key or ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, name),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation(name)),
        ]
    )
    allowed = usages or (("key_cert_sign", "crl_sign") if ca else USAGES[:2])
    builder = (
        x509.CertificateBuilder()
        .subject_name(public.subject if public else subject)
        .issuer_name(by.certificate.subject if by else subject)
        .public_key(public.public_key() if public else key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + life)
        .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(**{each: each in allowed for each in USAGES}), critical=True)
    )
    if extended:
        stamping = list(extended) == [ExtendedKeyUsageOID.TIME_STAMPING]
        builder = builder.add_extension(x509.ExtendedKeyUsage(extended), critical=stamping)
    for extension in more:
        builder = builder.add_extension(extension, critical=False)
    certificate = builder.sign(by.key if by else key, hashes.SHA256())
    return Holder(key, certificate, (by.certificate, *by.above) if by else ())


@cache
def root() -> Holder:
    """The facility's own authority."""
    return issued("Kelp Authority", ca=True, life=20 * YEAR)


@cache
def middle() -> Holder:
    """An authority below it."""
    return issued("Kelp Signers", root(), ca=True, life=10 * YEAR)


@cache
def leaf() -> Holder:
    """A signer certified by that authority."""
    return issued("Issued Signer", middle(), extended=[DOCUMENTS])


@cache
def signed_by_rsa() -> Holder:
    """A signer with a key of the other kind."""
    return issued("Rsa Signer", middle(), key=rsa.generate_private_key(65537, 3072))


# ---------------------------------------------------------------- revocation


def listed_at(url: str) -> x509.CRLDistributionPoints:
    """The extension that names the address of an authority's list."""
    place = x509.DistributionPoint([x509.UniformResourceIdentifier(url)], None, None, None)
    return x509.CRLDistributionPoints([place])


def found_at(answers: str | None = None, issuer: str | None = None) -> x509.ExtensionType:
    """The extension that names the addresses of answers (OCSP) and of the issuer's certificate."""
    kinds = {
        x509.AuthorityInformationAccessOID.OCSP: answers,
        x509.AuthorityInformationAccessOID.CA_ISSUERS: issuer,
    }
    return x509.AuthorityInformationAccess(
        [
            x509.AccessDescription(kind, x509.UniformResourceIdentifier(url))
            for kind, url in kinds.items()
            if url
        ]
    )


def revocation_list(
    by: Holder,
    revoked: Mapping[Holder, datetime] | None = None,
    *,
    at: datetime = SIGNED,
    life: timedelta = timedelta(days=7),
) -> bytes:
    """An authority's list (DER) of revoked certificates, with when each was revoked."""
    builder = (
        x509.CertificateRevocationListBuilder()
        .issuer_name(by.certificate.subject)
        .last_update(at)
        .next_update(at + life)
    )
    for holder, when in (revoked or {}).items():
        builder = builder.add_revoked_certificate(
            x509.RevokedCertificateBuilder()
            .serial_number(holder.certificate.serial_number)
            .revocation_date(when)
            .build()
        )
    return builder.sign(by.key, hashes.SHA256()).public_bytes(serialization.Encoding.DER)


# ---------------------------------------------------------------- time


@dataclass(frozen=True, slots=True)
class Clock:
    """A time-stamping authority: its root, and the holder that stamps."""

    root: Holder
    stamping: Holder

    def answer(self, query: bytes, when: datetime) -> bytes:
        """Its server's answer to a request (RFC 3161)."""
        key = self.stamping.key.private_bytes(
            serialization.Encoding.DER,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        der = self.stamping.certificate.public_bytes(serialization.Encoding.DER)
        stamper = DummyTimeStamper(
            tsa_cert=plain.Certificate.load(der),
            tsa_key=keys.PrivateKeyInfo.load(key),
            fixed_dt=when,
        )
        found: bytes = stamper.request_tsa_response(tsp.TimeStampReq.load(query)).dump()
        return found


@cache
def clock() -> Clock:
    """The clock that the tests trust; its keys are RSA, as the answering library requires."""
    top, own = (rsa.generate_private_key(65537, 2048) for _ in range(2))
    first = issued("Clock Authority", ca=True, key=top, life=20 * YEAR)
    stamping = [ExtendedKeyUsageOID.TIME_STAMPING]
    return Clock(first, issued("Clock", first, key=own, life=10 * YEAR, extended=stamping))


class Within(Stamper):
    """A stamper that asks a clock in this process."""

    def __init__(self, when: datetime = SIGNED, by: Clock | None = None) -> None:
        super().__init__("http://clock.example/")
        self._by, self._when = by or clock(), when

    def _asked(self, query: bytes) -> bytes:
        return self._by.answer(query, self._when)
