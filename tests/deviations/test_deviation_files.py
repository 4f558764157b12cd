"""Deviation files: made, read, changed, and checked by another program."""

from __future__ import annotations

import base64
import json
import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives import serialization
from helpers import near_limit
from helpers.authorities import issued
from helpers.near_limit import ACCEPTED, AGAIN, assessment, both, client, file
from helpers.signing import identity, run, tool
from jsonschema import Draft202012Validator

from compliance.documents import assessment_document
from compliance.errors import DeviationError, IdentityError
from compliance.evidence.deviation_file import load_deviation, payload_and_signature, read_deviation
from compliance.evidence.recompute import assess_again, attachments
from compliance.plain_data import canonical_bytes
from compliance.report.verification import step_details, step_text
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.detached import read_detached, sign_detached
from compliance.signing.keys import Identity
from compliance.verification import verify_sheet
from compliance.yaml_nodes.json_schema import load_schema


def changed(change: Callable[[dict[str, Any]], None]) -> bytes:
    document = json.loads(file())
    change(document)
    return json.dumps(document).encode()


def fault(data: bytes) -> str:
    with pytest.raises(DeviationError) as raised:
        read_deviation(data, "d.json")
    told = str(raised.value)
    assert "\n" not in told
    return told


def test_it_says_what_is_accepted_and_by_whom() -> None:
    found, signature = read_deviation(file(), "d.json", [client().signer])
    assert signature.trusted_as == "its certificate is among the trusted"
    assert (found.job, found.slot, found.rule, found.serial) == ("KX-7", "1", "tiny", "S-1")
    assert (found.requirement, found.value, found.limits.maximum) == ("white-level", 112.5, 105)
    assert found.digest == assessment().rule.digest
    assert found.assessment == assessment().number
    assert (found.accepted, found.until) == (ACCEPTED, near_limit.UNTIL)
    assert found.signer.name == "Cleo Client"
    Draft202012Validator(load_schema("deviation")).validate(json.loads(file()))


def test_a_pair_is_a_value_too() -> None:
    found = near_limit.deviation("white-colour")
    assert found.value == pytest.approx((-0.009209863, 0.012426404))
    assert found.limits.box == (0.002, 0.002)


@pytest.mark.parametrize(
    ("requirement", "expected"),
    [
        ("black-level", "black-level has the verdict pass: only a value"),
        ("black-floor", "black-floor is a should, which decides nothing"),
        ("white", "has no requirement 'white'; it has white-level, white-colour"),
    ],
)
def test_what_cannot_be_accepted(requirement: str, expected: str) -> None:
    with pytest.raises(DeviationError) as raised:
        file(requirement)
    assert expected in str(raised.value)


def test_a_certificate_past_its_date_accepts_nothing() -> None:
    with pytest.raises(IdentityError, match="has expired on 2036-01-01"):
        file(accepted=datetime(2036, 1, 1, tzinfo=UTC))


# ---------------------------------------------------------------- changed


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d["deviation"].update(reason="for everything"),
        lambda d: d["deviation"].update(until="2036-12-10"),
        lambda d: d["deviation"].update(value=130),
        lambda d: d["deviation"].update(accepted_by="Mallory"),
        lambda d: d["deviation"]["limits"].update(max=106),
        lambda d: d["deviation"]["rule"].update(digest="0" * 64),
        lambda d: d["deviation"].pop("serial"),
    ],
)
def test_a_changed_word_is_refused(change: Callable[[dict[str, Any]], None]) -> None:
    assert "the signature does not match: the signed data was changed" in fault(changed(change))


def test_another_order_of_keys_is_the_same_deviation() -> None:
    document = json.loads(file())
    turned = {key: document[key] for key in reversed(document)}
    assert read_deviation(json.dumps(turned, indent=4).encode(), "d.json")[0].value == 112.5


def test_any_byte_of_the_signature_counts() -> None:
    chance = random.Random(5)
    document = json.loads(file())
    cms = base64.b64decode(document["signature"]["cms"])
    signed = canonical_bytes(document["deviation"])
    for place in chance.sample(range(len(cms)), 60):
        broken = bytearray(cms)
        broken[place] ^= chance.randrange(1, 256)
        try:
            found = read_detached(signed, bytes(broken))
        except ValueError:
            continue
        assert found.faults, place


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "invalid JSON"),
        (b"[1]", "found a list"),
        (b"{}", "deviation: missing"),
        (b'{"deviation": NaN}', "NaN is not a number"),
        (b'{"a": 1, "a": 2}', "duplicate key"),
        (b"[" * 50_000, "invalid JSON"),
    ],
)
def test_rubbish_is_refused_in_one_line(data: bytes, expected: str) -> None:
    with pytest.raises(DeviationError) as raised:
        read_deviation(data, "d.json")
    assert expected in str(raised.value)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda d: d["deviation"].update(more=1), "unknown key 'more'"),
        (lambda d: d["deviation"].pop("until"), "deviation.until: missing"),
        (lambda d: d["deviation"].update(until="soon"), "'soon' is not a date"),
        (lambda d: d["signature"].update(cms="AAA"), "is not base64"),
        (lambda d: d["signature"].update(cms="AAAA"), "is not a detached signature"),
    ],
)
def test_a_changed_file_is_refused_in_one_line(
    change: Callable[[dict[str, Any]], None], expected: str
) -> None:
    with pytest.raises(DeviationError) as raised:
        read_deviation(changed(change), "d.json")
    assert expected in str(raised.value)


def test_a_signature_by_somebody_else(tmp_path: Path) -> None:
    place = tmp_path / "d.json"
    place.write_bytes(file())
    assert load_deviation(place).value == 112.5
    assert load_deviation(place, [client().signer]).value == 112.5
    with pytest.raises(DeviationError, match="who is not trusted"):
        load_deviation(place, [identity().signer])


def test_signed_at_another_time_than_it_says() -> None:
    document = json.loads(file())
    moved = sign_detached(canonical_bytes(document["deviation"]), client(), when=AGAIN)
    document["signature"]["cms"] = base64.b64encode(moved).decode()
    assert "accepted 2026-11-20T18:00:00Z, but signed at" in fault(json.dumps(document).encode())


def test_openssl_agrees(tmp_path: Path) -> None:
    """OpenSSL's cms -verify, also by the rules of CAdES (RFC 5126)."""
    signed, signature = payload_and_signature(file(), "d.json")
    for name, data in (("d.json", signed), ("d.p7s", signature), ("c.pem", client().pem)):
        (tmp_path / name).write_bytes(data)
    (tmp_path / "other.pem").write_bytes(identity().pem)
    (tmp_path / "e.json").write_bytes(signed.replace(b"offline", b"online"))
    call = [tool("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-out", "/dev/null"]
    call += ["-attime", str(int(AGAIN.timestamp())), "-in", str(tmp_path / "d.p7s")]

    def code(content: str, certificate: str, *more: str) -> int:
        files = ["-content", str(tmp_path / content), "-CAfile", str(tmp_path / certificate)]
        return run([*call, *files, *more]).returncode

    assert code("d.json", "c.pem") == 0
    assert code("d.json", "c.pem", "-cades") == 0
    assert code("e.json", "c.pem") != 0
    assert code("d.json", "other.pem") != 0


# ---------------------------------------------------------------- in a sheet


def test_they_travel_with_the_sheet_and_are_computed_again() -> None:
    found = assessment(both(), now=AGAIN)
    files = attachments(found)
    assert {"deviation-1.json", "deviation-2.json"} <= files.keys()
    assert assessment_document(assess_again(files)) == near_limit.document(found)


def test_a_sheet_with_deviations_holds_when_both_are_trusted() -> None:
    data = near_limit.sheet(accepted=True)
    rules = [near_limit.rule()]
    trust = [identity().pem]
    found = verify_sheet(data, trust=trust, client_trust=[client().pem], rules=rules)
    assert (found.exit_code, found.verdict) == (0, "not-compliant")
    assert found.disposition == "accepted-with-deviations"
    assert (
        "white-colour, accepted by Cleo Client, signed by Cleo Client, Tidal"
        in step_details(found.steps[3])[1]
    )
    for given in ({}, {"client_trust": [identity().pem]}):
        assert verify_sheet(data, trust=trust, rules=rules, **given).exit_code == 3
    found = verify_sheet(data, trust=[identity().pem, client().pem], rules=rules)
    assert found.exit_code == 3
    assert "the signer of a deviation was not checked as the client's" in step_text(found.steps[3])


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda files: files.pop("deviation-1.json"), "deviation-1.json is missing"),
        (
            lambda files: files.update({"deviation-2.json": file("white-level")}),
            "deviation-2.json: the deviation was changed",
        ),
        (
            lambda files: files.update({"deviation-3.json": file("white-level")}),
            "deviation-3.json: the deviation was changed: SHA-256 None stated",
        ),
        (
            lambda files: files.update({"deviation-0.json": b"{}"}),
            "deviation-0.json does not belong to a sheet",
        ),
    ],
)
def test_attached_otherwise_than_stated(change: Any, expected: str) -> None:
    from helpers.signing import signed

    files = attachments(assessment(both(), now=AGAIN))
    change(files)
    found = verify_sheet(signed(files), any_signer=True)
    told = "\n".join([step_text(found.steps[3]), *step_details(found.steps[3])])
    assert str(found.steps[3].status) == "fail"
    assert expected in told


def renewed(who: Identity) -> Identity:
    """The same key under another certificate, and another name."""
    key: Any = serialization.load_der_private_key(who.key, None)
    return issued("Somebody Else", key=key).identity


@pytest.mark.parametrize("again", [lambda who: who, renewed], ids=["own", "renewed"])
def test_a_facility_cannot_accept_what_it_delivers(again: Callable[[Identity], Identity]) -> None:
    """Not when it signs, and not in the eyes of who verifies what another program signed."""
    from helpers.signing import signed

    who = again(identity())
    found = assessment([near_limit.deviation(who=who)], now=AGAIN)
    with pytest.raises(DeviationError, match="accepts white-level with the key that signs the sh"):
        write_sheet(found, identity=identity())
    assert write_sheet(found, identity=client())
    checked = verify_sheet(
        signed(attachments(found)), trust=[identity().pem], client_trust=[who.pem]
    )
    assert str(checked.steps[3].status) == "fail"
    assert step_text(checked.steps[3]).startswith(
        "deviation-1.json: accepts white-level with the key"
    )


@pytest.mark.parametrize("given", [{"any_signer": True}, {"client_trust": [identity().pem]}])
def test_nor_with_a_colleagues_key(given: Any) -> None:
    """Another key of the same organisation is the facility's, even if trusted as the client's."""
    from helpers.signing import signed

    colleague = identity("Nils Colleague")
    found = assessment([near_limit.deviation(who=colleague)], now=AGAIN)
    with pytest.raises(DeviationError, match="with a certificate of Low House, the organisation"):
        write_sheet(found, identity=identity())
    checked = verify_sheet(signed(attachments(found)), **given)
    assert str(checked.steps[3].status) == "fail"
    assert "expected a certificate of the client's" in step_text(checked.steps[3])


def test_a_disposition_out_of_nothing_is_found() -> None:
    from helpers.evidence_of_a_slot import mended
    from helpers.signing import signed

    files = attachments(assessment(now=AGAIN))
    stated = json.loads(files["assessment.json"])
    stated["disposition"] = "accepted-with-deviations"
    forged = mended({**files, "assessment.json": json.dumps(stated).encode()})
    found = verify_sheet(signed(forged), any_signer=True)
    assert str(found.steps[3].status) == "ok"
    assert str(found.steps[4].status) == "fail"
    assert "stated deviations do not follow from the attached ones" in step_text(found.steps[4])
