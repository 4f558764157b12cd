"""A signer's identity: a private key with its certificate, kept as PKCS#12.

`new_identity` makes a self-issued one: EC P-256, an X.509 v3 certificate that may
sign documents and nothing else. A facility that has a certificate from an
authority brings its own file; EC and RSA keys are taken.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID

from compliance.errors import IdentityError

__all__ = [
    "LIFE",
    "SHORTEST_PASSWORD",
    "Identity",
    "Signer",
    "load_identity",
    "new_identity",
    "read_certificates",
]

LIFE = timedelta(days=5 * 365)
"""For which a self-issued certificate is valid."""

SHORTEST_PASSWORD = 8
LONGEST_NAME = 64
"""X.520's upper bound of a common or organisation name, in characters."""
ROUNDS = 600_000
"""Of PBKDF2 with SHA-256, over the password of the file."""
RSA_BITS = 2048
"""The shortest RSA key that still counts as secure (ETSI TS 119 312)."""

PrivateKey = ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey


@dataclass(frozen=True, slots=True)
class Signer:
    """What a certificate says about its holder."""

    name: str
    organisation: str | None
    email: str | None
    issuer: str
    """The issuer's distinguished name, RFC 4514."""
    self_issued: bool
    not_before: datetime
    not_after: datetime
    fingerprint: str
    """SHA-256 of the certificate, lower-case hex."""
    certificate: bytes
    """DER"""

    @classmethod
    def of(cls, certificate: x509.Certificate) -> Signer:
        """Read the holder out of a certificate."""
        subject = certificate.subject
        return cls(
            name=_attribute(subject, NameOID.COMMON_NAME) or subject.rfc4514_string(),
            organisation=_attribute(subject, NameOID.ORGANIZATION_NAME),
            email=_email(certificate),
            issuer=certificate.issuer.rfc4514_string(),
            self_issued=certificate.issuer == subject,
            not_before=certificate.not_valid_before_utc,
            not_after=certificate.not_valid_after_utc,
            fingerprint=certificate.fingerprint(hashes.SHA256()).hex(),
            certificate=certificate.public_bytes(serialization.Encoding.DER),
        )

    def valid_at(self, moment: datetime) -> bool:
        """Whether the certificate is within its dates at an aware time."""
        return self.not_before <= moment <= self.not_after


@dataclass(frozen=True, slots=True)
class Identity:
    """A key that signs, with its certificate. Printing it never shows the key."""

    signer: Signer
    key: bytes = field(repr=False)
    """PKCS#8, DER"""
    chain: tuple[bytes, ...] = ()
    """DER certificates of the authorities between the signer's and its root."""

    @property
    def pem(self) -> bytes:
        """The certificate as PEM: what a client needs in order to trust this signer."""
        certificate = x509.load_der_x509_certificate(self.signer.certificate)
        return certificate.public_bytes(serialization.Encoding.PEM)


def new_identity(name: str, organisation: str, email: str, password: str, now: datetime) -> bytes:
    """Make a self-issued identity and return it as a PKCS#12 file's bytes.

    Valid from `now` (aware) for `LIFE`. Raises IdentityError on an empty or overlong
    name, an address that is none, or a password under `SHORTEST_PASSWORD` characters.
    """
    for what, text in (("name", name), ("organisation", organisation)):
        _check_name(what, text)
    _check_email(email)
    if len(password) < SHORTEST_PASSWORD:
        raise IdentityError(
            f"the password has {len(password)} characters; expected {SHORTEST_PASSWORD} or more"
        )
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = _self_issued(key, name, organisation, email, now)
    protection = (
        serialization.PrivateFormat.PKCS12.encryption_builder()
        .kdf_rounds(ROUNDS)
        .key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
        .hmac_hash(hashes.SHA256())
        .build(password.encode())
    )
    return pkcs12.serialize_key_and_certificates(name.encode(), key, certificate, None, protection)


def load_identity(data: bytes, password: str, *, file: str = "identity") -> Identity:
    """Open a PKCS#12 file's bytes; `file` is its name in messages.

    Raises IdentityError, in one line, on a wrong password, another kind of file, a file
    without key or certificate, or a key or certificate that cannot sign a sheet.
    """
    if data.lstrip().startswith(b"-----BEGIN"):
        raise IdentityError(
            f"{file}: holds PEM text; expected PKCS#12 (.p12 or .pfx) with key and certificate, "
            f"as made by: openssl pkcs12 -export -inkey KEY.pem -in CERT.pem -out identity.p12"
        )
    if not data.startswith(b"\x30"):
        raise IdentityError(f"{file}: is no PKCS#12 file (.p12 or .pfx)")
    try:
        key, certificate, chain = pkcs12.load_key_and_certificates(data, password.encode())
    except ValueError as fault:
        raise IdentityError(
            f"{file}: cannot be opened: the password is wrong, or this is no PKCS#12 file"
        ) from fault
    if key is None or certificate is None:
        missing = "private key" if key is None else "certificate of its key"
        raise IdentityError(f"{file}: holds no {missing}; expected both key and certificate")
    if not isinstance(key, ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey):
        raise IdentityError(f"{file}: its key is neither EC nor RSA; expected one of these")
    if isinstance(key, rsa.RSAPrivateKey) and key.key_size < RSA_BITS:
        raise IdentityError(
            f"{file}: its RSA key has {key.key_size} bits; expected {RSA_BITS} or more"
        )
    _check_usage(certificate, file)
    return Identity(
        signer=Signer.of(certificate),
        key=key.private_bytes(
            serialization.Encoding.DER,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        ),
        chain=tuple(other.public_bytes(serialization.Encoding.DER) for other in chain),
    )


def read_certificates(data: bytes, *, file: str = "certificate") -> tuple[Signer, ...]:
    """Read one or more certificates, PEM or DER; raises IdentityError if there is none."""
    try:
        if b"-----BEGIN" in data:
            found = x509.load_pem_x509_certificates(data)
        else:
            found = [x509.load_der_x509_certificate(data)]
    except ValueError as fault:
        raise IdentityError(
            f"{file}: holds no certificate; expected PEM ('-----BEGIN CERTIFICATE-----') or DER"
        ) from fault
    return tuple(Signer.of(certificate) for certificate in found)


def _self_issued(
    key: ec.EllipticCurvePrivateKey, name: str, organisation: str, email: str, now: datetime
) -> x509.Certificate:
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, name),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
        ]
    )
    start = now.astimezone(UTC).replace(microsecond=0)
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + LIFE)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(identifier, critical=False)
        .add_extension(x509.SubjectAlternativeName([x509.RFC822Name(email)]), critical=False)
        .sign(key, hashes.SHA256())
    )


def _check_name(what: str, text: str) -> None:
    if not text.strip() or not text.isprintable():
        raise IdentityError(f"{what}: {text!r} is no {what}; expected words as on a letterhead")
    if len(text) > LONGEST_NAME:
        raise IdentityError(
            f"{what}: has {len(text)} characters; a certificate takes {LONGEST_NAME} at most"
        )


def _check_email(email: str) -> None:
    local, _, domain = email.rpartition("@")
    if not local or "." not in domain.strip(".") or not email.isascii() or " " in email:
        raise IdentityError(f"email: {email!r} is no address; expected one like ada@example.org")


def _check_usage(certificate: x509.Certificate, file: str) -> None:
    try:
        usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
    except x509.ExtensionNotFound:
        return
    if not (usage.digital_signature or usage.content_commitment):
        raise IdentityError(
            f"{file}: its certificate is not for signing; "
            f"expected key usage digitalSignature or nonRepudiation"
        )


def _attribute(name: x509.Name, kind: x509.ObjectIdentifier) -> str | None:
    found = name.get_attributes_for_oid(kind)
    return str(found[0].value) if found else None


def _email(certificate: x509.Certificate) -> str | None:
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return _attribute(certificate.subject, NameOID.EMAIL_ADDRESS)
    found = names.get_values_for_type(x509.RFC822Name)
    return found[0] if found else None
