"""What is said of a delivery where a lay reader has to understand it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from helpers import near_limit
from helpers.deliveries import as_folder, as_zip, checked, delivery, resealed, told
from helpers.near_limit import AGAIN
from helpers.signing import identity

from compliance.delivery.check import verify_delivery
from compliance.model.results import DeliveryVerification, Expected, known_rules
from compliance.model.signatures import Signer
from compliance.sheet.make_sheet import countersign_sheet
from compliance.verification import verify_as

ONE, TWO = "data/sheets/one.pdf", "data/sheets/two.pdf"


def test_two_files_under_each_others_names(tmp_path: Path) -> None:
    files = delivery()
    files[ONE], files[TWO] = files[TWO], files[ONE]
    found = told(checked(as_folder(files, tmp_path / "d")), 1)
    assert f"{ONE}: has the content of {TWO}" in found
    assert f"{TWO}: has the content of {ONE}" in found
    assert "was changed" not in found


def test_the_list_is_signed_though_the_files_are_others(tmp_path: Path) -> None:
    said = "the list of files is signed, but the files do not match it (step 1)"
    sound = checked(as_folder(delivery(), tmp_path / "sound"))
    changed = checked(as_folder({**delivery(), "index.html": b"<p>"}, tmp_path / "changed"))
    assert [str(step.status) for step in changed.steps] == ["fail", "ok", "ok", "fail"]
    assert said in told(changed, 2) and said not in told(sound, 2)


def by(place: Path, *trusted: Signer) -> DeliveryVerification:
    """Checked by a reader who trusts these alone."""
    rules = known_rules([near_limit.rule()])
    expected = Expected(signers=trusted, stamping=(), any_signer=False, rules=rules)
    return verify_delivery(place, lambda data: verify_as(data, expected), trusted=trusted)


def test_a_trusted_certificate_of_the_same_name(tmp_path: Path) -> None:
    """Sheets and delivery are sound; whom the reader trusts is another Ada Quill."""
    namesake = identity.__wrapped__().signer
    found = by(as_folder(delivery(), tmp_path / "d"), namesake)
    words = (
        "not among the trusted certificates: signed with another key under the same name: SHA-256"
    )
    mine, theirs = (each.fingerprint[:16] for each in (identity().signer, namesake))
    assert f"{words} {mine}…; trusted: {theirs}…" in told(found, 2)
    assert f"\nSHA-256 {namesake.fingerprint}" in told(found, 2).partition("expected: ")[2]
    assert told(found, 3).startswith("fail\n2 of 2 have no trusted signer")
    assert words in told(found, 3)


def test_no_word_of_a_name_that_is_another(tmp_path: Path) -> None:
    stranger = identity.__wrapped__("Somebody Else").signer
    found = by(as_folder(delivery(), tmp_path / "d"), stranger)
    assert "not among the trusted certificates" in told(found, 2)
    assert "under the same name" not in told(found, 2)


def test_a_sheet_that_is_broken_too(tmp_path: Path) -> None:
    broken = resealed({**delivery(), ONE: delivery()[ONE][:-200]})
    found = by(as_folder(broken, tmp_path / "d"), identity.__wrapped__().signer)
    assert told(found, 3).startswith("fail\n2 of 2 not valid")


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_a_damaged_zip_is_told_in_our_words(tmp_path: Path, share: float) -> None:
    place = as_zip(delivery(), tmp_path / "d.zip")
    data = bytearray(place.read_bytes())
    at = int(share * len(data))
    data[at : at + 64] = bytes(byte ^ 0x5A for byte in data[at : at + 64])
    place.write_bytes(data)
    found = told(checked(place), 1)
    assert ": is damaged" in found
    assert "Error" not in found and "CRC" not in found


@pytest.mark.parametrize(
    ("name", "damage", "step", "words"),
    [
        (
            "signature.p7s",
            lambda data: data[:-9],
            2,
            "signature.p7s: is not a detached signature (CMS, DER): it is damaged",
        ),
        (
            "signature.p7s",
            lambda _: b"",
            2,
            "is not a detached signature (CMS, DER): it is damaged",
        ),
        ("bag-info.txt", lambda _: b"\xff\xfe", 4, "bag-info.txt: is not UTF-8 text"),
        (ONE, lambda data: data[:-200], 3, "cannot be read as a signed PDF: it is damaged or cut"),
    ],
)
def test_a_damaged_file_is_told_in_our_words(
    tmp_path: Path, name: str, damage: Callable[[bytes], bytes], step: int, words: str
) -> None:
    files = {**delivery(), name: damage(delivery()[name])}
    found = told(checked(as_folder(files, tmp_path / "d")), step)
    assert words in found
    assert not re.search("codec|Error|asn1|xref|EOF", found)


def test_one_key_twice_is_more_than_a_stranger() -> None:
    twice = countersign_sheet(near_limit.sheet(), identity=identity(), role="client", when=AGAIN)
    assert not verify_as(twice, Expected((), (), any_signer=True)).only_untrusted
    stranger = identity.__wrapped__("Somebody Else").signer
    assert verify_as(near_limit.sheet(), Expected((stranger,), (), any_signer=False)).only_untrusted
