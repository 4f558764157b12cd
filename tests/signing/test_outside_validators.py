"""What outside programs say of good and bad files, beside what ours says.

The table is what each answers: pdfsig, `openssl cms`, `qpdf --check`, veraPDF (PDF/A-3b), and
`verify` (its steps 1 and 2). Where ours alone refuses, the others look at less: pdfsig and openssl
hold the signed bytes against the signature and its certificate, and take no notice of what was
added to the file since, but for pdfsig's word that not all of it is signed; qpdf looks at the
file's structure, and does not like the table of objects that one of these editors writes; veraPDF
asks whether it is archival. Nobody can tell that a countersignature was cut off.

pdfsig goes by the clock, so these certificates are of today. Whole sheets of every kind, and files
that break PDF/A, are in `tests/archival`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import pytest
from asn1crypto import crl
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID
from helpers import verapdf
from helpers.authorities import (
    DOCUMENTS,
    Clock,
    Holder,
    Within,
    issued,
    revocation_list,
)
from helpers.signing import (
    archived,
    byte_ranges,
    container,
    countersigned,
    run,
    signed,
    tool,
)
from helpers.tampering import (
    new_annotation,
    new_appearance,
    new_attachment,
    new_text,
    new_title,
    updated,
)

import compliance.signing.timestamps
from compliance.model.signatures import Signer
from compliance.signing.archive import add_archive_stamp
from compliance.signing.certificates import read_certificates
from compliance.signing.read import read_signatures
from compliance.signing.revocation import Material

NOW = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=10)
START = NOW - timedelta(days=30)
EMAIL = ExtendedKeyUsageOID.EMAIL_PROTECTION


@cache
def root() -> Holder:
    return issued("Facility Authority", ca=True, start=START)


@cache
def signer() -> Holder:
    return issued("Facility Signer", root(), start=START, extended=[EMAIL, DOCUMENTS])


@cache
def good() -> bytes:
    return signed(who=signer().identity, when=NOW)


@cache
def twice() -> bytes:
    client = issued("Client", root(), start=START)
    return countersigned(good(), client.identity, when=NOW)


@cache
def with_a_chain() -> bytes:
    """By a signer two authorities below the one that is trusted."""
    middle = issued("Facility Signers", root(), ca=True, start=START)
    return signed(who=issued("Facility Signer", middle, start=START).identity, when=NOW)


@cache
def by_rsa() -> bytes:
    key = rsa.generate_private_key(65537, 2048)
    return signed(who=issued("Rsa Signer", root(), start=START, key=key).identity, when=NOW)


@cache
def stranger() -> Holder:
    return issued("Facility Signer", issued("Other Authority", ca=True, start=START), start=START)


def by_a_stranger() -> bytes:
    return signed(who=stranger().identity, when=NOW)


def after_its_time() -> bytes:
    old = issued("Facility Signer", root(), start=START, life=timedelta(days=10))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.signing.timestamps, "_check_validity", lambda *_: None)
        return signed(who=old.identity, when=NOW)


@cache
def clock() -> Clock:
    """A time-stamping authority of today."""
    keys = [rsa.generate_private_key(65537, 2048) for _ in range(2)]
    first = issued("Clocks of Today", ca=True, start=START, key=keys[0])
    stamping = [ExtendedKeyUsageOID.TIME_STAMPING]
    return Clock(
        first, issued("Clock of Today", first, start=START, key=keys[1], extended=stamping)
    )


def stamped_today() -> bytes:
    return signed(who=signer().identity, when=NOW, stamper=Within(NOW, clock()))


@cache
def kept() -> bytes:
    """With a list of the authority's, and a time stamp of the whole file."""
    found = Material(lists=(crl.CertificateList.load(revocation_list(root(), at=NOW)),))
    return add_archive_stamp(good(), found, Within(NOW, clock()))


def flipped(data: bytes, place: int) -> bytes:
    return data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]


def in_the_hole(data: bytes, old: bytes, new: bytes) -> bytes:
    """With the last `old` of the first signature's gap replaced."""
    _, before, after, _ = byte_ranges(data)[0]
    place = data.rindex(old, before, after)
    return data[:place] + new + data[place + len(old) :]


def another_signature() -> bytes:
    """A digit of the signature's value itself."""
    data = good()
    _, before, _, _ = byte_ranges(data)[0]
    last = before + 1 + 2 * len(container(data)) - 1
    digit = b"1" if data[last : last + 1] == b"0" else b"0"
    return data[:last] + digit + data[last + 1 :]


TABLE = {
    # file: (make, pdfsig, openssl, qpdf, veraPDF, ours)
    "unsigned": (archived, "none", "none", "good", "yes", "none"),
    "signed": (good, "valid trusted whole", "good", "good", "yes", "good"),
    "countersigned": (twice, "valid trusted part", "good", "good", "yes", "good"),
    "with a chain": (with_a_chain, "valid trusted whole", "good", "good", "yes", "good"),
    "by RSA": (by_rsa, "valid trusted whole", "good", "good", "yes", "good"),
    "time-stamped": (stamped_today, "valid trusted whole", "good", "good", "yes", "good"),
    "archived": (kept, "valid trusted part", "good", "good", "yes", "good"),
    # nobody can tell: how many signatures there should be is not in the file
    "a countersignature cut off": (
        lambda: twice()[: len(good())], "valid trusted whole", "good", "good", "yes", "good",
    ),
    "a byte of a page": (lambda: flipped(good(), 2000), "mismatch", "bad", "any", "any", "bad"),
    "a byte of the signature": (another_signature, "invalid", "bad", "good", "yes", "bad"),
    "by a stranger": (by_a_stranger, "valid unknown whole", "bad", "good", "yes", "bad"),
    "after its certificate's time": (
        after_its_time, "valid expired whole", "bad", "good", "yes", "bad",
    ),
    "cut off": (lambda: good()[:-200], "invalid", "bad", "warned", "none", "bad"),
    "bytes before it": (lambda: b"% more\n" + good(), "mismatch", "bad", "good", "no", "bad"),
    "a countersignature by a stranger": (
        lambda: countersigned(good(), stranger().identity, when=NOW),
        "valid trusted part", "bad", "good", "yes", "bad",
    ),
    # ours alone refuses these: all others call the signature valid
    "a digit of the filling": (
        lambda: in_the_hole(good(), b"00>", b"01>"),
        "valid trusted part", "good", "good", "yes", "bad",
    ),
    "a comment at the end": (
        lambda: good() + b"% more\n", "valid trusted part", "good", "good", "no", "bad",
    ),
    "another title": (
        lambda: updated(good(), new_title), "valid trusted part", "good", "warned", "yes", "bad",
    ),
    "another page": (
        lambda: updated(good(), new_text), "valid trusted part", "good", "good", "yes", "bad",
    ),
    "a note": (
        lambda: updated(good(), new_annotation), "valid trusted part", "good", "good", "no", "bad",
    ),
    "another appearance": (
        lambda: updated(good(), new_appearance),
        "valid trusted part", "good", "warned", "yes", "bad",
    ),
    "another attachment": (
        lambda: updated(good(), new_attachment),
        "valid trusted part", "good", "warned", "yes", "bad",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """With a database of trusted certificates for pdfsig, and the authority's for openssl."""
    place = tmp_path_factory.mktemp("agreement")
    (place / "root.pem").write_bytes(root().pem)
    database = f"sql:{place}"
    for asked in (
        ["-N", "--empty-password"],
        ["-A", "-n", "root", "-t", "C,C,C", "-i", place / "root.pem"],
    ):
        done = run([tool("certutil"), *asked, "-d", database])
        assert done.returncode == 0, done.stderr
    return place


def said_by_pdfsig(data: bytes, folder: Path) -> str:
    """Of the first signature. Its exit status is 0 whatever it says."""
    (folder / "sheet.pdf").write_bytes(data)
    text = run([tool("pdfsig"), "-nssdir", f"sql:{folder}", folder / "sheet.pdf"]).stdout
    if "does not contain any signatures" in text:
        return "none"
    first = text.split("Signature #2")[0]
    signature = re.search(r"Signature Validation: (.+)", first)
    certificate = re.search(r"Certificate Validation: (.+)", first)
    if signature is None or "Valid" not in signature[1]:
        wrong = signature is not None and "Digest Mismatch" in signature[1]
        return "mismatch" if wrong else "invalid"
    assert certificate is not None
    words = {"is Trusted": "trusted", "Expired": "expired"}
    trust = next((told for word, told in words.items() if word in certificate[1]), "unknown")
    extent = "part" if "Not total document signed" in first else "whole"
    return f"valid {trust} {extent}"


def said_by_openssl(data: bytes, folder: Path) -> str:
    """Of every signature, the worst; archive stamps are no CMS of the signed bytes."""
    extents = [each for each in byte_ranges(data) if not _is_stamp(data, each)]
    found = {_said_by_openssl(data, extent, folder) for extent in extents}
    return "none" if not found else "bad" if "bad" in found else "good"


def _is_stamp(data: bytes, extent: tuple[int, int, int, int]) -> bool:
    """Whether it is a document time stamp, by its dictionary's kind."""
    _, before, after, _ = extent
    return b"/ETSI.RFC3161" in data[before - 300 : before] + data[after : after + 300]


def _said_by_openssl(data: bytes, extent: tuple[int, int, int, int], folder: Path) -> str:
    _, before, after, length = extent
    (folder / "content").write_bytes(data[:before] + data[after : after + length])
    hole = data[before + 1 : after - 1]
    if not re.fullmatch(rb"[0-9a-fA-F]+", hole):
        return "bad"
    digits = bytes.fromhex(hole.decode())
    size = int.from_bytes(digits[2:4], "big") + 4
    (folder / "cms").write_bytes(digits[:size])
    asked = ["-binary", "-inform", "DER", "-in", folder / "cms", "-content", folder / "content"]
    trusted = ["-CAfile", folder / "root.pem", "-attime", str(int(NOW.timestamp()))]
    done = run(
        [tool("openssl"), "cms", "-verify", "-cades", *asked, *trusted, "-out", folder / "out"]
    )
    return "bad" if done.returncode else "good"


def said_by_qpdf(data: bytes, folder: Path) -> str:
    (folder / "sheet.pdf").write_bytes(data)
    done = run([tool("qpdf"), "--check", folder / "sheet.pdf"])
    return {0: "good", 3: "warned"}.get(done.returncode, "bad")


def said_by_us(data: bytes, trusted: tuple[Signer, ...]) -> str:
    try:
        seal = read_signatures(data, trusted)
    except Exception:
        return "bad"
    if not seal.signatures:
        return "none"
    sound = not seal.all_faults and all(
        each.trusted_as and each.moment and each.signer.valid_at(each.moment)
        for each in seal.signatures
    )
    return "good" if sound else "bad"


@pytest.fixture(scope="module")
def said_by_verapdf(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Mapping[str, str]:
    """Whether each file is archival, all in one run of the validator."""
    place = tmp_path_factory.mktemp("verapdf")
    names = {f"{number}": name for number, name in enumerate(TABLE)}
    for stem, name in names.items():
        (place / f"{stem}.pdf").write_bytes(TABLE[name][0]())
    said = verapdf.judged([("3b", place / f"{stem}.pdf") for stem in names], request.config.cache)
    return {name: said["3b", stem][0] for stem, name in names.items()}


@pytest.mark.parametrize("name", TABLE)
def test_what_each_program_says(
    name: str, folder: Path, said_by_verapdf: Mapping[str, str]
) -> None:
    make: Callable[[], bytes]
    make, pdfsig, openssl, qpdf, archival, ours = TABLE[name]
    data = make()
    assert said_by_pdfsig(data, folder) == pdfsig
    assert said_by_openssl(data, folder) == openssl
    assert qpdf in (said_by_qpdf(data, folder), "any")
    assert archival in (said_by_verapdf[name], "any")
    assert said_by_us(data, read_certificates(root().pem)) == ours


def test_an_archive_stamp_holds_what_it_covers(folder: Path) -> None:
    """By openssl, of the document time stamp."""
    data, first, own = kept(), clock().root, clock().stamping
    start, before, after, length = byte_ranges(data)[1]
    digits = bytes.fromhex(data[before + 1 : after - 1].decode())
    (folder / "token").write_bytes(digits[: int.from_bytes(digits[2:4], "big") + 4])
    (folder / "clocks.pem").write_bytes(first.pem)
    covered = data[start:before] + data[after : after + length]
    asked = ["ts", "-verify", "-token_in", "-in", folder / "token", "-data", folder / "covered"]
    trusted = ["-CAfile", folder / "clocks.pem", "-untrusted", folder / "own.pem"]
    (folder / "own.pem").write_bytes(own.pem)
    for content, code in ((covered, 0), (flipped(covered, 2000), 1)):
        (folder / "covered").write_bytes(content)
        assert run([tool("openssl"), *asked, *trusted]).returncode == code
