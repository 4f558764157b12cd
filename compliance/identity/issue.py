"""Make a key: with a self-issued certificate, or with a request to an authority.

EC P-256, kept as PKCS#12 under a password. The certificate, X.509 v3, may sign
documents and nothing else; a request (PKCS#10) asks for one like it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID

from compliance.errors import IdentityError

__all__ = ["LIFE", "SHORTEST_PASSWORD", "new_identity", "new_request"]

LIFE = timedelta(days=5 * 365)
"""For which a self-issued certificate is valid."""

SHORTEST_PASSWORD = 8
LONGEST_NAME = 64
"""X.520's upper bound of a common or organisation name, in characters."""
ROUNDS = 600_000
"""Of PBKDF2 with SHA-256, over the password of the file."""
USAGE = x509.KeyUsage(
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


def new_identity(name: str, organisation: str, email: str, password: str, now: datetime) -> bytes:
    """Make a self-issued identity and return it as a PKCS#12 file's bytes.

    Valid from `now` (aware) for `LIFE`. Raises IdentityError on an empty or overlong
    name, an address that is none, or a password under `SHORTEST_PASSWORD` characters.
    """
    _check(name, organisation, email, password)
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = _self_issued(key, name, organisation, email, now)
    return _kept(name, key, certificate, password)


def new_request(name: str, organisation: str, email: str, password: str) -> tuple[bytes, bytes]:
    """Make a key as a PKCS#12 file's bytes, without certificate, and the request for one, PEM.

    Raises IdentityError as `new_identity` does.
    """
    _check(name, organisation, email, password)
    key = ec.generate_private_key(ec.SECP256R1())
    request = (
        x509.CertificateSigningRequestBuilder()
        .subject_name(_subject(name, organisation))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(USAGE, critical=True)
        .add_extension(x509.SubjectAlternativeName([x509.RFC822Name(email)]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = request.public_bytes(serialization.Encoding.PEM)
    return _kept(name, key, None, password), pem


def _kept(
    name: str, key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate | None, password: str
) -> bytes:
    protection = (
        serialization.PrivateFormat.PKCS12.encryption_builder()
        .kdf_rounds(ROUNDS)
        .key_cert_algorithm(pkcs12.PBES.PBESv2SHA256AndAES256CBC)
        .hmac_hash(hashes.SHA256())
        .build(password.encode())
    )
    return pkcs12.serialize_key_and_certificates(name.encode(), key, certificate, None, protection)


def _subject(name: str, organisation: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, name),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
        ]
    )


def _self_issued(
    key: ec.EllipticCurvePrivateKey, name: str, organisation: str, email: str, now: datetime
) -> x509.Certificate:
    subject = _subject(name, organisation)
    start = now.astimezone(UTC).replace(microsecond=0)
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
        .add_extension(USAGE, critical=True)
        .add_extension(identifier, critical=False)
        .add_extension(x509.SubjectAlternativeName([x509.RFC822Name(email)]), critical=False)
        .sign(key, hashes.SHA256())
    )


def _check(name: str, organisation: str, email: str, password: str) -> None:
    for what, text in (("name", name), ("organisation", organisation)):
        _check_name(what, text)
    _check_email(email)
    if len(password) < SHORTEST_PASSWORD:
        raise IdentityError(
            f"the password has {len(password)} characters; expected {SHORTEST_PASSWORD} or more"
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
