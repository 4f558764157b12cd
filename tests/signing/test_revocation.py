"""Revocation lists that somebody hands in: forged, of others, too old, broken.

| list | counts |
|---|---|
| an authority's of the same name, or with a broken signature | never |
| the authority's own, too old to tell that nothing is revoked | if it names the certificate |
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from asn1crypto import crl, x509
from cryptography.hazmat.primitives import serialization
from helpers.authorities import (
    SIGNED,
    Holder,
    issued,
    leaf,
    middle,
    revocation_list,
    root,
)

from compliance.cli._options import read_lists
from compliance.errors import IdentityError
from compliance.model.signatures import Revocation
from compliance.signing import revocation
from compliance.signing.revocation import Material, read_list, revocation_of

DAY = timedelta(days=1)
REVOKED = SIGNED - DAY


def judged(*lists: bytes, until: datetime = SIGNED) -> Revocation:
    """The signer's certificate by these lists and one of the root, which revokes nothing."""
    every = [revocation_list(root()), *lists]
    return revocation_of(
        _plain(leaf()),
        [_plain(middle())],
        [_plain(root())],
        Material(lists=tuple(crl.CertificateList.load(read_list(each)) for each in every)),
        until,
        proven=True,
    )


def _plain(holder: Holder) -> x509.Certificate:
    der = holder.certificate.public_bytes(serialization.Encoding.DER)
    return x509.Certificate.load(der)


def broken(data: bytes) -> bytes:
    """The same with another signature."""
    return data[:-3] + bytes([data[-3] ^ 1]) + data[-2:]


def clean(days: int = 0) -> bytes:
    return revocation_list(middle(), at=SIGNED - days * DAY)


def naming_the_signer(by: Holder, days: int = 0) -> bytes:
    at = SIGNED - days * DAY
    return revocation_list(by, {leaf(): at - DAY}, at=at)


def impostor() -> Holder:
    return issued("Kelp Signers", ca=True)


def test_control() -> None:
    found = judged(clean())
    assert found.checked
    assert found.revoked is None
    assert judged(naming_the_signer(middle())).revoked == REVOKED


@pytest.mark.parametrize("forged", ["impostor", "broken"])
def test_a_forged_list_neither_revokes_nor_clears(forged: str) -> None:
    """A list says anything of anybody; what counts is the signature of who issued."""
    false, empty = {
        "impostor": (naming_the_signer(impostor()), revocation_list(impostor())),
        "broken": (broken(naming_the_signer(middle())), broken(clean())),
    }[forged]
    assert judged(clean(), false).revoked is None
    assert judged(false, clean()).checked
    assert not judged(empty).checked
    assert judged(naming_the_signer(middle()), empty).revoked == REVOKED
    assert judged(empty, naming_the_signer(middle())).revoked == REVOKED


def test_a_list_of_another_authority_tells_nothing() -> None:
    for by in (root(), leaf()):
        assert not judged(revocation_list(by)).checked
        assert judged(naming_the_signer(by)).revoked is None


def test_an_old_list_tells_of_a_revocation_but_not_that_there_is_none() -> None:
    assert not judged(clean(days=30)).checked
    found = judged(naming_the_signer(middle(), days=30))
    assert found.checked
    assert found.revoked == SIGNED - 31 * DAY
    assert found.bad
    early = judged(naming_the_signer(middle(), days=30), until=SIGNED - 40 * DAY)
    assert not early.bad


def test_a_list_of_nonsense_is_no_fault_of_the_sheet() -> None:
    """Its issuer's name is no text: readers notice only when they ask for it."""
    good = clean()
    name = good.index(b"Kelp Signers")
    nonsense = good[:name] + b"\xff\xfe" + good[name + 2 :]
    assert not judged(nonsense).checked
    assert judged(clean(), nonsense).checked


def test_an_authority_that_was_revoked_is_told_as_one() -> None:
    own = revocation_list(root(), {middle(): REVOKED - 30 * DAY}, at=SIGNED - 30 * DAY)
    found = judged(own)
    assert (found.revoked, found.above) == (REVOKED - 30 * DAY, True)


def test_all_lists_together_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "middle.crl"
    data = clean()
    file.write_bytes(data)
    assert read_lists([file, file]) == (data, data)
    monkeypatch.setattr(revocation, "MOST_LISTED", 2 * len(data) - 1)
    with pytest.raises(IdentityError, match="with it the revocation lists have more than"):
        read_lists([file, file])
