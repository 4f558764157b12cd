"""Certificates with an extension that cannot be read: in a file of trust, and in a signature."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import ExtensionOID, NameOID
from helpers.signing import MADE, identity, signed

from compliance.errors import IdentityError
from compliance.signing.certificates import MALFORMED, read_certificates
from compliance.signing.keys import Identity
from compliance.verification import verify_sheet

EXTENSIONS = [
    ExtensionOID.SUBJECT_ALTERNATIVE_NAME,
    ExtensionOID.KEY_USAGE,
    ExtensionOID.EXTENDED_KEY_USAGE,
    ExtensionOID.BASIC_CONSTRAINTS,
    ExtensionOID.AUTHORITY_KEY_IDENTIFIER,
    ExtensionOID.CRL_DISTRIBUTION_POINTS,
]
VALUES = [b"", b"\xff\xff\xff", b"\x30\x80", b"\x30\x03\x02\x01"]


def malformed(extension: x509.ObjectIdentifier, value: bytes) -> Identity:
    """An identity whose certificate has such an extension."""
    key = serialization.load_der_private_key(identity().key, None)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Ada Quill")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())  # type: ignore[arg-type]
        .serial_number(7)
        .not_valid_before(MADE)
        .not_valid_after(MADE + timedelta(days=900))
        .add_extension(x509.UnrecognizedExtension(extension, value), critical=False)
        .sign(key, hashes.SHA256())  # type: ignore[arg-type]
    )
    der = certificate.public_bytes(serialization.Encoding.DER)
    return replace(identity(), signer=replace(identity().signer, certificate=der))


@pytest.mark.parametrize("extension", EXTENSIONS, ids=lambda each: each._name)
@pytest.mark.parametrize("value", VALUES)
def test_nobody_can_trust_it(extension: x509.ObjectIdentifier, value: bytes) -> None:
    certificate = malformed(extension, value).signer.certificate
    with pytest.raises(IdentityError, match=rf"^eve\.pem: {MALFORMED}$"):
        read_certificates(certificate, file="eve.pem")


@pytest.mark.parametrize("extension", EXTENSIONS, ids=lambda each: each._name)
def test_a_sheet_signed_with_it_is_broken(extension: x509.ObjectIdentifier) -> None:
    data = signed(who=malformed(extension, VALUES[1]))
    found = verify_sheet(data, any_signer=True)
    assert (found.exit_code, str(found.steps[0].status)) == (1, "fail")


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (b"\xa0\x03\x02\x01\x02", b"\xa0\x03\x02\x01\x22", "holds no certificate"),  # a version 34
        (b"\x06\x03\x55\x04\x03\x0c\x09Ada Quill", b"\x06\x03\x55\x04\x03\x04\x09Ada Quill", ""),
    ],
)
def test_damaged_parts_that_one_of_two_libraries_reads(
    before: bytes, after: bytes, words: str
) -> None:
    damaged = identity().signer.certificate.replace(before, after)
    assert damaged != identity().signer.certificate
    with pytest.raises(IdentityError, match=words or MALFORMED):
        read_certificates(damaged)
