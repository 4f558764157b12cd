"""Signatures beside a document: their stamps, and at what time their certificates are judged.

What deviations and deliveries are signed with. OpenSSL checks signature and token by itself.
"""

from __future__ import annotations

import os
import random
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from asn1crypto import cms
from cryptography.x509.oid import ExtendedKeyUsageOID
from helpers.authorities import Clock, Holder, Within, clock, issued
from helpers.signing import MADE, SIGNED, identity, run, tool

import compliance.signing.timestamps
from compliance.errors import IdentityError, TimestampError
from compliance.model.signatures import Detached
from compliance.signing.certificates import read_certificates
from compliance.signing.cms_checks import UnsoundError
from compliance.signing.detached import read_detached, sign_detached

DATA = b'{"accepted": "the white"}'
MONTH = timedelta(days=30)
LATER = SIGNED + timedelta(seconds=3)


@cache
def stamped() -> bytes:
    return sign_detached(DATA, identity(), when=SIGNED, stamper=Within(LATER))


def read(signature: bytes, *stamping: bytes, data: bytes = DATA) -> Detached:
    """With its signer trusted, and these authorities of time."""
    trusted = [signer for each in stamping for signer in read_certificates(each)]
    return read_detached(data, signature, [identity().signer], trusted)


def test_a_stamp_is_its_authoritys_word_only() -> None:
    found = read(stamped())
    assert (found.faults, found.claimed, found.moment) == ((), SIGNED, SIGNED)
    assert found.stamp is not None and found.stamp.trusted_as is None
    found = read(stamped(), clock().root.pem)
    assert (found.faults, found.claimed, found.moment) == ((), SIGNED, LATER)
    assert read(sign_detached(DATA, identity(), when=SIGNED)).stamp is None


def test_openssl_agrees_on_signature_and_stamp(tmp_path: Path) -> None:
    """(RFC 5652 and RFC 3161.)"""
    information = cms.ContentInfo.load(stamped())["content"]["signer_infos"][0]
    for name, data in (
        ("data", DATA),
        ("signature", stamped()),
        ("signer.pem", identity().pem),
        ("clock.pem", clock().root.pem),
        ("token", information["unsigned_attrs"][0]["values"][0].dump()),
        ("value", information["signature"].native),
        ("other", b"hello"),
    ):
        (tmp_path / name).write_bytes(data)

    def agrees(*asked: str) -> bool:
        words = [str(tmp_path / each[1:]) if each.startswith("@") else each for each in asked]
        at = ["-attime", str(int(SIGNED.timestamp()))]
        return run([tool("openssl"), *words, *at]).returncode == 0

    verify = ("cms", "-verify", "-cades", "-binary", "-inform", "DER", "-in", "@signature")
    verify += ("-out", "@out", "-CAfile", "@signer.pem", "-content")
    assert agrees(*verify, "@data")
    assert not agrees(*verify, "@other")
    token = ("ts", "-verify", "-token_in", "-in", "@token", "-CAfile", "@clock.pem", "-data")
    assert agrees(*token, "@value")
    assert not agrees(*token, "@other")


def test_any_byte_of_a_stamped_signature_counts() -> None:
    """Over a fixed sample; with LONG_TESTS=1 over all of them."""
    chance, places = random.Random(11), range(len(stamped()))
    long = os.environ.get("LONG_TESTS") == "1"
    for place in places if long else chance.sample(places, 60):
        broken = bytearray(stamped())
        broken[place] ^= chance.randrange(1, 256)
        try:
            found = read(bytes(broken), clock().root.pem)
        except ValueError:
            continue
        trusted = found.trusted_as and found.stamp and found.stamp.trusted_as
        assert found.faults or not trusted, place


# ---------------------------------------------------------------- when


@cache
def brief() -> Holder:
    """Whose certificate is valid for a month."""
    return issued("Cleo Client", start=MADE, life=MONTH)


def unchecked(claimed: datetime, when: datetime | None) -> bytes:
    """Signed whatever the dates, as another program would."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.signing.timestamps, "_check_validity", lambda *_: None)
        patch.setattr(compliance.signing.timestamps, "_check_stamp", lambda *_: None)
        stamper = None if when is None else Within(when)
        return sign_detached(DATA, brief().identity, when=claimed, stamper=stamper)


IN_TIME, AFTER = MADE + MONTH / 2, MADE + 2 * MONTH


@pytest.mark.parametrize(
    ("claimed", "when", "expected"),
    [
        (IN_TIME, None, ""),
        (IN_TIME, IN_TIME, ""),
        (MADE - MONTH, IN_TIME, ""),
        (AFTER, None, "made on 2027-01-19, outside its certificate's dates"),
        (IN_TIME, AFTER, "made on 2027-01-19, outside its certificate's dates"),
        (
            AFTER,
            IN_TIME,
            "2027-01-19 08:00 UTC, is later than the time stamp, 2026-12-05 08:00 UTC",
        ),
    ],
)
def test_a_certificate_is_judged_at_the_stamped_time(
    claimed: datetime, when: datetime | None, expected: str
) -> None:
    stamping = read_certificates(clock().root.pem)
    found = read_detached(DATA, unchecked(claimed, when), [brief().identity.signer], stamping)
    assert expected in "; ".join(found.faults)
    assert bool(found.faults) == bool(expected)


@pytest.mark.parametrize(
    ("when", "stamper", "error", "words"),
    [
        (datetime(2036, 1, 1, tzinfo=UTC), None, IdentityError, "has expired on 2036-01-01"),
        (MADE - MONTH, None, IdentityError, "is not yet valid on 2026-10-21"),
        (SIGNED, SIGNED - timedelta(minutes=6), TimestampError, "before the time of signing"),
        (SIGNED, SIGNED + timedelta(days=2000), TimestampError, "outside the dates of the"),
    ],
)
def test_what_would_not_hold_is_not_signed(
    when: datetime, stamper: datetime | None, error: type[Exception], words: str
) -> None:
    by = None if stamper is None else Within(stamper)
    with pytest.raises(error, match=words):
        sign_detached(DATA, identity(), when=when, stamper=by)


# ---------------------------------------------------------------- what it is made of


def with_attributes(change: Any) -> bytes:
    message = cms.ContentInfo.load(stamped())
    change(message["content"]["signer_infos"][0]["unsigned_attrs"])
    return bytes(message.dump(force=True))


def another_stamp(attributes: Any) -> None:
    attributes[0]["values"].append(attributes[0]["values"][0])


def a_note(attributes: Any) -> None:
    attributes.append(cms.CMSAttribute({"type": "1.2.3.4", "values": []}))


def of_something_else(attributes: Any) -> None:
    other = sign_detached(b"else", identity(), when=SIGNED, stamper=Within(LATER))
    theirs = cms.ContentInfo.load(other)["content"]["signer_infos"][0]["unsigned_attrs"]
    attributes[0]["values"][0] = theirs[0]["values"][0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (another_stamp, "it has 2 time stamps; expected 1"),
        (a_note, "the signature has unsigned additions"),
        (of_something_else, "its time stamp was made for other data"),
    ],
)
def test_what_came_to_the_signature_is_refused(change: Any, words: str) -> None:
    assert words in "; ".join(read(with_attributes(change), clock().root.pem).faults)


def test_certificates_for_something_else_sign_nothing() -> None:
    """Of a web server, for instance, however much it is trusted."""
    other = issued("Server", extended=[ExtendedKeyUsageOID.SERVER_AUTH]).identity
    found = read_detached(DATA, sign_detached(DATA, other, when=SIGNED), [other.signer])
    assert "its certificate is not for documents" in "; ".join(found.faults)


def test_the_clock_of_a_signers_own_authority_is_none() -> None:
    """Whoever may sign may not thereby state when."""
    own = issued("Own Authority", ca=True)
    mine = Clock(own, clock().stamping)
    signature = sign_detached(DATA, identity(), when=SIGNED, stamper=Within(LATER, mine))
    assert read_detached(DATA, signature, read_certificates(clock().root.pem)).moment == SIGNED


def test_a_malformed_certificate_in_a_signature_is_a_fault_of_the_signature() -> None:
    signature = sign_detached(DATA, identity(), when=SIGNED)
    own = b"Ada Quill"
    broken = signature.replace(own, b"\xff" * len(own))
    assert broken != signature
    with pytest.raises(UnsoundError, match=r"is not a detached signature .*: a certificate is mal"):
        read(broken)
