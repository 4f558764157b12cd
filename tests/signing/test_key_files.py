"""Keys from files: every form they come in, and the certificates that go with them."""

from __future__ import annotations

import subprocess
from io import BytesIO
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import ExtendedKeyUsageOID
from helpers.authorities import YEAR, issued, leaf, middle, root, signed_by_rsa
from helpers.signing import MADE, PASSWORD, identity, run, signed, tool
from pyhanko.pdf_utils.reader import PdfFileReader

from compliance.errors import IdentityError
from compliance.signing.certificates import read_certificates
from compliance.signing.keys import load_identity, needs_password, new_request
from compliance.signing.read import read_signatures
from compliance.verification import verify_sheet


def names(chain: tuple[bytes, ...]) -> list[str]:
    return [each.name for der in chain for each in read_certificates(der)]


@pytest.mark.parametrize("holder", [leaf, signed_by_rsa])
@pytest.mark.parametrize("traditional", [False, True])
@pytest.mark.parametrize("password", [None, PASSWORD])
def test_pem_keys_of_every_form(holder: object, traditional: bool, password: str | None) -> None:
    own = holder()  # type: ignore[operator]
    key = own.key_file(password, traditional=traditional)
    assert needs_password(key) == (password is not None)
    for data, chain in ((key, own.chain), (key + own.chain, None), (own.chain + key, None)):
        found = load_identity(data, password, chain=chain)
        assert found.signer == read_certificates(own.pem)[0]
        assert names(found.chain) == ["Kelp Signers"]
        assert found.key == own.identity.key


def test_the_chain_is_kept_as_far_as_it_belongs() -> None:
    """In order from the nearest up, whatever the order in the file, and nothing else."""
    all_of_it = identity().pem + root().pem + leaf().pem + signed_by_rsa().pem + middle().pem
    found = load_identity(leaf().key_file(), None, chain=all_of_it)
    assert found.signer.name == "Issued Signer"
    assert names(found.chain) == ["Kelp Signers", "Kelp Authority"]
    der = x509.load_pem_x509_certificate(leaf().pem).public_bytes(serialization.Encoding.DER)
    assert load_identity(leaf().key_file(), None, chain=der).chain == ()


def test_a_chain_in_pkcs12() -> None:
    data = pkcs12.serialize_key_and_certificates(
        b"x",
        leaf().key,  # type: ignore[arg-type]
        leaf().certificate,
        [root().certificate, middle().certificate],
        serialization.BestAvailableEncryption(PASSWORD.encode()),
    )
    assert needs_password(data)
    found = load_identity(data, PASSWORD)
    assert names(found.chain) == ["Kelp Signers", "Kelp Authority"]
    sheet = signed(who=found)
    assert read_signatures(sheet).all_faults == ()


def test_a_renewed_certificate_goes_before_the_old_one() -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    old = issued("Old", middle(), key=key, life=YEAR)
    new = issued("New", middle(), key=key, life=2 * YEAR)
    for chain in (old.pem + new.pem, new.pem + old.pem):
        assert load_identity(new.key_file(), None, chain=chain).signer.name == "New"


OTHER = issued("Other", middle())


@pytest.mark.parametrize(
    ("key", "password", "chain", "message"),
    [
        (leaf().key_file(), None, None, "me.pem: no certificate for the key; expected it"),
        (leaf().key_file(), None, OTHER.pem, "me.pem and chain.pem: no certificate for the key"),
        (leaf().key_file(), None, OTHER.pem, "(but 1 of other keys)"),
        (leaf().key_file(), None, b"hello", "chain.pem: holds no certificate; expected PEM"),
        (leaf().key_file(), None, leaf().key_file(), "chain.pem: holds no certificate"),
        (leaf().key_file(PASSWORD), "wrong", leaf().pem, "me.pem: cannot be opened: the password"),
        (leaf().key_file(PASSWORD), None, leaf().pem, "me.pem: cannot be opened: the password is"),
        (leaf().key_file(PASSWORD, traditional=True), "no", leaf().pem, "me.pem: cannot be opened"),
        (leaf().key_file()[:60], None, leaf().pem, "me.pem: cannot be opened: its key is damaged"),
        (leaf().pem, None, None, "me.pem: holds no private key; expected '-----BEGIN PRIVATE"),
    ],
)  # fmt: skip
def test_what_is_no_key(
    key: bytes, password: str | None, chain: bytes | None, message: str
) -> None:
    with pytest.raises(IdentityError) as caught:
        load_identity(key, password, file="me.pem", chain=chain, chain_file="chain.pem")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_web_servers_certificate_is_none_for_sheets() -> None:
    web = issued("web.example", middle(), extended=[ExtendedKeyUsageOID.SERVER_AUTH])
    with pytest.raises(IdentityError, match="its certificate is not for documents"):
        load_identity(web.key_file(), None, chain=web.pem)


@pytest.mark.parametrize("curve", [ec.SECP256R1(), ec.SECP384R1(), ec.SECP521R1()])
def test_every_usual_curve_signs(curve: ec.EllipticCurve) -> None:
    holder = issued("Curved", middle(), key=ec.generate_private_key(curve))
    seal = read_signatures(signed(who=holder.identity), read_certificates(root().pem))
    assert seal.all_faults == ()
    assert seal.signatures[0].trusted_as is not None


# ---------------------------------------------------------------- requests


SETTINGS = """
[ca]
default_ca = own
[own]
database = index
serial = serial
new_certs_dir = .
default_md = sha256
policy = any
copy_extensions = copy
unique_subject = no
[any]
commonName = supplied
organizationName = optional
"""


def test_openssl_issues_what_is_requested(tmp_path: Path) -> None:
    """The facility's own authority, with `openssl ca`: request, certificate, signature."""
    key, request = new_request("Noor Reed", "Low House", "noor@example.org", PASSWORD)
    authority = issued("Desk Authority", ca=True, life=20 * YEAR)
    for name, data in (
        ("request.csr", request),
        ("root.pem", authority.pem),
        ("root.key", authority.key_file()),
        ("settings", SETTINGS.encode()),
        ("index", b""),
        ("serial", b"01\n"),
    ):
        (tmp_path / name).write_bytes(data)
    openssl = tool("openssl")
    checked = run([openssl, "req", "-in", tmp_path / "request.csr", "-noout", "-verify", "-text"])
    assert "verify OK" in checked.stdout + checked.stderr
    assert "Digital Signature, Non Repudiation" in checked.stdout
    assert "email:noor@example.org" in checked.stdout
    dates = [f"{MADE:%y%m%d%H%M%SZ}", f"{MADE + YEAR:%y%m%d%H%M%SZ}"]
    subprocess.run(
        [openssl, "ca", "-batch", "-config", "settings", "-cert", "root.pem", "-notext",
         "-keyfile", "root.key", "-in", "request.csr", "-out", "answer.pem",
         "-startdate", dates[0], "-enddate", dates[1]],
        cwd=tmp_path, check=True, capture_output=True,
    )  # fmt: skip
    answer = (tmp_path / "answer.pem").read_bytes()
    with pytest.raises(IdentityError, match="no certificate for the key"):
        load_identity(key, PASSWORD)
    who = load_identity(key, PASSWORD, chain=answer + authority.pem)
    assert (who.signer.name, who.signer.email) == ("Noor Reed", "noor@example.org")
    assert not who.signer.self_issued
    found = verify_sheet(signed(who=who), trust=[authority.pem])
    assert [str(step.status) for step in found.steps[:3]] == ["ok"] * 3


def test_openssl_opens_the_key_alone(tmp_path: Path) -> None:
    key, _ = new_request("Noor Reed", "Low House", "noor@example.org", PASSWORD)
    (tmp_path / "key.p12").write_bytes(key)
    asked = ["pkcs12", "-in", tmp_path / "key.p12", "-nodes", "-passin", f"pass:{PASSWORD}"]
    done = run([tool("openssl"), *asked])
    assert done.returncode == 0
    assert "PRIVATE KEY" in done.stdout and "CERTIFICATE" not in done.stdout


@pytest.mark.parametrize("password", ["", "short"])
def test_a_request_asks_for_what_a_new_identity_does(password: str) -> None:
    with pytest.raises(IdentityError, match="characters; expected 8 or more"):
        new_request("Noor Reed", "Low House", "noor@example.org", password)
    with pytest.raises(IdentityError, match="is not an address"):
        new_request("Noor Reed", "Low House", "noor", PASSWORD)


def test_a_signature_names_its_own_certificate_once() -> None:
    """And carries the way up; roots may come along or not."""
    for who, count in ((identity(), 1), (leaf().identity, 3)):
        (embedded,) = PdfFileReader(BytesIO(signed(who=who))).embedded_signatures
        assert len(embedded.signed_data["certificates"]) == count
