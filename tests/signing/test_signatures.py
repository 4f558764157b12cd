"""Reading signatures: every change to a signed file is a fault, and says what it is."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.x509.oid import ExtendedKeyUsageOID
from helpers.authorities import DOCUMENTS, Holder, issued, leaf, middle, root
from helpers.budget import LONG
from helpers.signing import (
    ATTACHED,
    archived,
    byte_ranges,
    container,
    countersigned,
    identity,
    signed,
)
from helpers.tampering import (
    new_annotation,
    new_attachment,
    new_packet,
    new_text,
    new_title,
    nothing_but_written,
    updated,
)

from compliance.model.signatures import Signer
from compliance.signing.attached_files import read_attachments
from compliance.signing.certificates import read_certificates
from compliance.signing.read import PdfSignatures, count_signatures, read_signatures


@cache
def once() -> bytes:
    return signed()


@cache
def twice() -> bytes:
    return countersigned(once())


def faults(data: bytes) -> tuple[str, ...]:
    """What is wrong; an exception is a fault too."""
    try:
        return read_signatures(data).all_faults
    except Exception as error:
        return (f"{type(error).__name__}: {error}",)


def test_a_signed_file_has_no_faults() -> None:
    seal = read_signatures(once())
    assert seal.all_faults == ()
    assert [each.field for each in seal.signatures] == ["FacilitySignature"]
    assert seal.revisions == 2
    assert seal.signatures[0].signer == identity().signer


def test_a_countersigned_file_has_no_faults() -> None:
    seal = read_signatures(twice())
    assert seal.all_faults == ()
    assert [each.field for each in seal.signatures] == ["FacilitySignature", "Countersignature"]
    assert [each.signer.name for each in seal.signatures] == ["Ada Quill", "Cleo Client"]


def test_an_unsigned_file_has_no_signatures() -> None:
    assert read_signatures(archived()) == PdfSignatures((), 1, ())


@pytest.mark.parametrize(("make", "flips"), [(once, 200), (twice, 60)])
def test_a_flipped_byte_anywhere_is_refused(make: Callable[[], bytes], flips: int) -> None:
    chance = random.Random(7)
    data = make()
    for _ in range(flips):
        place, change = chance.randrange(len(data)), chance.randrange(1, 256)
        broken = bytearray(data)
        broken[place] ^= change
        assert faults(bytes(broken)), f"byte {place} of {len(data)} changed by {change}"


def test_a_changed_digit_anywhere_in_the_container_is_refused() -> None:
    """Also those that no digest covers: filling zeros, letter case, names of algorithms."""
    data = once()
    _, length, after, _ = byte_ranges(data)[0]
    step = 1 if LONG else 7
    for place in range(length + 1, after - 1, step):
        digit = chr(data[place])
        for other in (f"{(int(digit, 16) + 1) % 16:x}", digit.swapcase()):
            if other != digit:
                broken = data[:place] + other.encode() + data[place + 1 :]
                assert faults(broken), f"digit {place - length} from {digit} to {other}"


@pytest.mark.parametrize(
    "added", [b"\n", b" ", b"%", b"\x00", b"%%EOF\n", b"% a comment\n", b"1 0 obj\nnull\nendobj\n"]
)
@pytest.mark.parametrize("make", [once, twice])
def test_appended_bytes_are_refused(make: Callable[[], bytes], added: bytes) -> None:
    assert faults(make() + added)


def test_a_byte_in_front_or_one_less_is_refused() -> None:
    assert faults(b"\n" + once())
    assert faults(once()[:-1])
    assert faults(once()[: len(once()) // 2])
    assert faults(b"")


# ---------------------------------------------------------------- incremental updates


Change = Callable[[Any], None]
CHANGES: list[Change] = [
    new_title,
    new_packet,
    nothing_but_written,
    new_annotation,
    new_attachment,
    new_text,
]


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("make", [once, twice])
def test_an_incremental_update_is_refused(make: Callable[[], bytes], change: Change) -> None:
    told = "; ".join(faults(updated(make(), change)))
    assert "it was changed without being signed" in told
    assert "data was added after it" in told


def test_an_update_before_the_countersignature_is_refused() -> None:
    told = "; ".join(faults(countersigned(updated(once(), new_title))))
    assert "has 4 revisions for 2 signature(s)" in told


# ---------------------------------------------------------------- trust


def trusted_as(data: bytes, *trusted: Signer) -> list[str | None]:
    return [each.trusted_as for each in read_signatures(data, trusted).signatures]


def test_a_certificate_is_trusted_as_it_is() -> None:
    mine, client = identity().signer, identity("Cleo Client").signer
    assert trusted_as(once(), mine) == ["its certificate is among the trusted"]
    assert trusted_as(once()) == [None]
    assert trusted_as(once(), client) == [None]
    assert trusted_as(twice(), mine)[1] is None
    assert trusted_as(twice(), mine, client) == ["its certificate is among the trusted"] * 2


def test_the_same_name_is_not_the_same_signer() -> None:
    another = identity.__wrapped__()  # made afresh; the shared one stays as it is
    assert another.signer.name == read_signatures(once()).signatures[0].signer.name
    assert trusted_as(once(), another.signer) == [None]


def test_an_authority_vouches_for_whom_it_issued() -> None:
    data = signed(who=leaf().identity)
    assert read_signatures(data).all_faults == ()
    for above in (root(), middle()):
        name = read_certificates(above.pem)[0].name
        assert trusted_as(data, *read_certificates(above.pem)) == [
            f"its certificate was issued under {name}, which is trusted (revocation not checked)"
        ]
    assert trusted_as(once(), *read_certificates(root().pem)) == [None]


def test_a_signer_is_no_authority() -> None:
    """A trusted self-issued certificate vouches for nobody else."""
    assert trusted_as(signed(who=leaf().identity), identity().signer) == [None]


@pytest.mark.parametrize(
    ("usages", "extended", "words"),
    [
        (("key_agreement",), (), "its certificate is not for signing; expected key usage"),
        ((), [ExtendedKeyUsageOID.SERVER_AUTH], "is not for documents"),
        ((), [ExtendedKeyUsageOID.CODE_SIGNING], "is not for documents"),
        ((), [ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.EMAIL_PROTECTION], None),
        ((), [DOCUMENTS], None),
        (("content_commitment",), (), None),
    ],
)
@pytest.mark.parametrize("by", [None, root])
def test_a_certificate_signs_what_it_is_for(
    by: Callable[[], Holder] | None, usages: Any, extended: Any, words: str | None
) -> None:
    """Whoever runs a web server under the same authority signs no sheets with its key."""
    holder = issued("Someone", by and by(), usages=usages, extended=extended)
    told = "; ".join(read_signatures(signed(who=holder.identity)).all_faults)
    assert (words in told) if words else not told


# ---------------------------------------------------------------- attachments


def test_attachments_come_out_as_they_went_in() -> None:
    assert read_attachments(once(), largest=lambda _: 1000) == ATTACHED
    assert read_attachments(archived({}), largest=lambda _: 1000) == {}


def test_attachments_have_a_size_limit() -> None:
    data = archived({"readings.csv": b"0" * 1001})
    with pytest.raises(ValueError, match=r"attachment readings.csv has more than 1000 bytes"):
        read_attachments(data, largest=lambda _: 1000)


def test_pem_of_an_identity_is_what_trust_takes() -> None:
    assert read_certificates(identity().pem) == (identity().signer,)


def of_awkward_length(by: Holder | None, *, ca: bool) -> Holder:
    """A certificate whose length ends as the mark of an open length does (X.690, 8.1.3.6).

    The library that reads containers writes such a one anew, in order, when it is asked for
    its bytes.
    """
    for size in range(1, 60):
        for _ in range(40):  # signatures vary by a byte or two, and most sizes miss it
            found = issued("K" * size, by, ca=ca)
            der = found.certificate.public_bytes(serialization.Encoding.DER)
            if der[3] == 0x80:
                return found
    raise AssertionError("no name gives that length")


@pytest.mark.parametrize("whose", ["root", "signer"])
def test_a_certificate_counts_as_it_is_written(whose: str) -> None:
    """Its truth values say the same in 254 other ways; none of them is what was signed."""
    above = of_awkward_length(None, ca=True)
    signer = of_awkward_length(above, ca=False)
    changed = above if whose == "root" else signer
    data = signed(who=signer.identity)
    assert read_signatures(data).all_faults == ()
    der = changed.certificate.public_bytes(serialization.Encoding.DER)
    _, before, _, _ = byte_ranges(data)[0]
    place = before + 1 + 2 * (container(data).index(der) + der.index(b"\x01\x01\xff") + 2)
    assert data[place : place + 2].lower() == b"ff"
    letter = b"E" if data[place : place + 1] == b"F" else b"e"
    assert faults(data[: place + 1] + letter + data[place + 2 :])


def test_signatures_are_counted_without_opening_the_file() -> None:
    assert count_signatures(archived()) == 0
    assert count_signatures(signed()) == 1
    assert count_signatures(countersigned(signed())) == 2
    damaged = countersigned(signed())[:-500]
    assert count_signatures(damaged) == 2
    assert count_signatures(b"/ByteRange [0 1 2 3]") == 0
