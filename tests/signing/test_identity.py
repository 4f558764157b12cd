"""Identities: making, opening, and every way in which that can fail."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID
from helpers.signing import MADE, PASSWORD, identity, run, tool

from compliance.errors import IdentityError
from compliance.signing.certificates import read_certificates
from compliance.signing.keys import LIFE, load_identity, new_identity


def test_a_new_identity_says_whose_it_is() -> None:
    signer = identity().signer
    assert (signer.name, signer.organisation) == ("Ada Quill", "Low House")
    assert signer.email == "ada@example.org"
    assert signer.self_issued
    assert (signer.not_before, signer.not_after) == (MADE, MADE + LIFE)
    assert len(signer.fingerprint) == 64


def test_the_certificate_may_sign_and_nothing_else() -> None:
    certificate = x509.load_der_x509_certificate(identity().signer.certificate)
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert usage.value.digital_signature and usage.value.content_commitment
    assert not (usage.value.key_cert_sign or usage.value.crl_sign or usage.value.key_agreement)
    constraints = certificate.extensions.get_extension_for_class(x509.BasicConstraints)
    assert constraints.critical and not constraints.value.ca


def test_openssl_opens_the_file_and_reads_the_certificate(tmp_path: Path) -> None:
    path = tmp_path / "identity.p12"
    path.write_bytes(new_identity("Ada Quill", "Low House", "a@example.org", PASSWORD, MADE))
    asked = ["pkcs12", "-in", path, "-info", "-nokeys", "-passin", f"pass:{PASSWORD}"]
    done = run([tool("openssl"), *asked])
    assert done.returncode == 0
    assert "AES-256-CBC" in done.stderr
    assert "Ada Quill" in done.stdout


def test_the_key_is_never_printed() -> None:
    shown = repr(identity())
    assert repr(identity().key)[2:20] not in shown
    assert "key=" not in shown


@pytest.mark.parametrize(
    ("name", "organisation", "email", "password", "message"),
    [
        (" ", "Low House", "a@b.example", PASSWORD, "name: ' ' is not usable"),
        ("A", "", "a@b.example", PASSWORD, "organisation: '' is not usable"),
        ("A" * 65, "Low House", "a@b.example", PASSWORD, "name: has 65 characters; expected at"),
        ("A\nB", "Low House", "a@b.example", PASSWORD, r"name: 'A\\nB' is not usable"),
        ("A", "Low House", "nowhere", PASSWORD, "email: 'nowhere' is not an address"),
        ("A", "Low House", "a@b", PASSWORD, "email: 'a@b' is not an address"),
        ("A", "Low House", "ä@b.example", PASSWORD, "is not an address"),
        ("A", "Low House", "a(b)@c.example", PASSWORD, "is not an address"),
        ("A", "Low House", "a@@b.example", PASSWORD, "is not an address"),
        ("A", "Low House", "a@b.example,d@e.example", PASSWORD, "is not an address"),
        ("A", "Low House", "a@b.example", "short", "the password has 5 characters; expected 8"),
    ],
)
def test_what_no_identity_is_made_of(
    name: str, organisation: str, email: str, password: str, message: str
) -> None:
    with pytest.raises(IdentityError, match=message):
        new_identity(name, organisation, email, password, MADE)


def test_a_wrong_password_is_one_line() -> None:
    data = new_identity("Ada", "Low House", "a@example.org", PASSWORD, MADE)
    with pytest.raises(IdentityError) as caught:
        load_identity(data, "another one", file="me.p12")
    assert str(caught.value) == (
        "me.p12: cannot be opened: the password is wrong (line 1 of the password file, "
        "or as typed), or the file is not PKCS#12"
    )


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", r"me.p12: is neither PKCS#12 \(.p12 or .pfx\) nor PEM"),
        (b"hello", "me.p12: is neither PKCS#12"),
        (b"0\x82\x01\x00", "me.p12: cannot be opened"),
        (identity().pem, "me.p12: holds no private key; expected"),
        (identity().signer.certificate, "me.p12: cannot be opened"),
    ],
)
def test_files_that_are_no_identity(data: bytes, message: str) -> None:
    with pytest.raises(IdentityError, match=message):
        load_identity(data, PASSWORD, file="me.p12")


Key = ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey | ed25519.Ed25519PrivateKey


def packed(key: Key, *, usage: str = "digital_signature", with_key: bool = True) -> bytes:
    """A PKCS#12 file around a key, its certificate allowing one usage."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Own Authority")])
    usages = [
        "digital_signature",
        "content_commitment",
        "key_encipherment",
        "data_encipherment",
        "key_agreement",
        "key_cert_sign",
        "crl_sign",
        "encipher_only",
        "decipher_only",
    ]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(MADE)
        .not_valid_after(MADE + timedelta(days=9))
        .add_extension(x509.KeyUsage(**{each: each == usage for each in usages}), critical=True)
        .sign(key, None if isinstance(key, ed25519.Ed25519PrivateKey) else hashes.SHA256())
    )
    return pkcs12.serialize_key_and_certificates(
        b"x",
        key if with_key else None,
        certificate if with_key else None,
        None if with_key else [certificate],
        serialization.BestAvailableEncryption(PASSWORD.encode()),
    )


@pytest.mark.parametrize("bits", [2048, 3072])
def test_rsa_is_taken(bits: int) -> None:
    key = rsa.generate_private_key(public_exponent=65537, key_size=bits)
    assert load_identity(packed(key), PASSWORD).signer.name == "Own Authority"


def test_weak_strange_and_unfit_keys_are_refused() -> None:
    weak = rsa.generate_private_key(public_exponent=65537, key_size=1024)
    with pytest.raises(IdentityError, match="its RSA key has 1024 bits; expected 2048 or more"):
        load_identity(packed(weak), PASSWORD)
    with pytest.raises(IdentityError, match="its key is neither EC nor RSA"):
        load_identity(packed(ed25519.Ed25519PrivateKey.generate()), PASSWORD)
    curve = ec.generate_private_key(ec.SECP256R1())
    with pytest.raises(IdentityError, match="its certificate is not for signing"):
        load_identity(packed(curve, usage="key_agreement"), PASSWORD)
    with pytest.raises(IdentityError, match="holds no private key"):
        load_identity(packed(curve, with_key=False), PASSWORD)


def test_certificates_come_as_pem_or_der_one_or_several() -> None:
    one, other = identity(), identity("Cleo Client")
    both = read_certificates(one.pem + other.pem)
    assert [each.fingerprint for each in both] == [
        one.signer.fingerprint,
        other.signer.fingerprint,
    ]
    assert read_certificates(one.signer.certificate)[0] == one.signer
    for wrong in (b"", b"hello", b"-----BEGIN CERTIFICATE-----\nxx\n"):
        with pytest.raises(IdentityError, match=r"c\.pem: holds no certificate"):
            read_certificates(wrong, file="c.pem")


def test_dates_of_a_certificate_include_both_ends() -> None:
    signer = identity().signer
    assert signer.valid_at(signer.not_before) and signer.valid_at(signer.not_after)
    assert not signer.valid_at(signer.not_after + timedelta(seconds=1))
    assert not signer.valid_at(datetime(2020, 1, 1, tzinfo=UTC))
