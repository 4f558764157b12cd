"""`compliance deviation` and `assess --deviation` as processes."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import pytest
from helpers import signing
from helpers.desk import known
from helpers.signing import PASSWORD, identity

from compliance.signing.keys import new_identity

Run = Callable[..., subprocess.CompletedProcess[str]]

NOW = ("--now", "2026-11-20T18:00:00Z")
LATER = ("--now", "2026-11-21T09:00:00Z")
KEY = ("--identity", "client.p12", "--password-file", "password.txt")
NEW = (
    *("deviation", "new", "out/KX-7-1-tiny.json", "--requirement", "white-level"),
    *("--reason", " only  for\nthe offline edit ", "--accepted-by", "Cleo Client"),
    *("--until", "2026-12-10", *KEY),
)


SOON = "compliance: the deviation for white-level expires on 2026-12-11 00:00 UTC\n"


@cache
def keys() -> Mapping[str, bytes]:
    from compliance.signing.keys import load_identity

    data = new_identity("Cleo Client", "Tidal", "c@example.org", PASSWORD, signing.SIGNED)
    return {
        "client.p12": data,
        "client.pem": load_identity(data, PASSWORD).pem,
        "other.pem": identity().pem,
        "password.txt": f"{PASSWORD}\n".encode(),
    }


@pytest.fixture
def job(compliance: Run, desk: Callable[..., Path], tmp_path: Path) -> Path:
    """A job whose first slot is too bright and whose second is good, assessed."""
    place = desk("bright", "good")
    for name, data in keys().items():
        (tmp_path / name).write_bytes(data)
    done = compliance("assess", "job.yaml", "--out", "out", "--no-sheet", *NOW)
    assert done.returncode == 1
    return place


@pytest.fixture
def accepted(compliance: Run, job: Path) -> Path:
    """The same, with `d.json` by the client."""
    done = compliance(*NEW, "--out", "d.json", *NOW)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == (
        "d.json: White luminance: 112.5 cd/m² accepted (limit 95 to 105 cd/m²) by Cleo Client "
        "(certificate of Cleo Client, Tidal), until 2026-12-10: only for the offline edit\n"
    )
    return job


def test_the_verdict_and_the_exit_code_stay(compliance: Run, accepted: Path) -> None:
    call = ("assess", "job.yaml", "--slot", "1", "--out", "again", "--no-sheet", *LATER)
    done = compliance(*call, "--deviation", "d.json", "--client-trust", "client.pem")
    assert (done.returncode, done.stderr) == (1, SOON)
    assert "not compliant" in done.stdout
    assert "  Accepted with deviations; the verdict stays\n" in done.stdout
    assert "⊖ fail  White luminance (white-level)" in done.stdout
    document = json.loads((accepted.parent / "again" / "KX-7-1-tiny.json").read_text())
    assert document["verdict"] == "not-compliant"
    assert document["disposition"] == "accepted-with-deviations"
    assert document["deviations"][0]["signer"]["checked"] is True


def test_each_goes_to_its_own_slot(compliance: Run, accepted: Path) -> None:
    done = compliance(
        *("assess", "job.yaml", "--no-sheet", "--deviation", "d.json", "--format", "json"), *LATER
    )
    first, second = json.loads(done.stdout)["assessments"]
    assert (first["disposition"], second["disposition"]) == ("accepted-with-deviations", None)
    assert second["deviations"] == []


def test_sheets_carry_them_and_verify_reads_them(compliance: Run, accepted: Path) -> None:
    me = accepted.parent / "me.p12"
    me.write_bytes(new_identity("Jo", "House", "jo@example.org", PASSWORD, signing.SIGNED))
    sign = ("--identity", "me.p12", "--password-file", "password.txt")
    call = ("assess", "job.yaml", "--slot", "1", "--out", "again", *sign, *LATER)
    assert compliance(*call, "--deviation", "d.json").returncode == 1
    done = compliance("verify", "again/KX-7-1-tiny.pdf", "--any-signer", *known())
    assert done.returncode == 0
    assert "deviation-1.json: white-level, accepted by Cleo Client, signed by Cleo" in done.stdout
    assert "The sheet states: not compliant,\n  accepted with deviations.\n" in done.stdout
    done = compliance(*NEW[:2], "again/KX-7-1-tiny.pdf", *NEW[3:], "--out", "e.json", *LATER)
    assert done.returncode == 0


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        (("--slot", "2", "--deviation", "d.json"), "d.json: is for job KX-7, slot 1 by tiny; "),
        (
            ("--deviation", "d.json", "--client-trust", "other.pem"),
            "d.json: signed by Cleo Client, SHA-256",
        ),
        (("--deviation", "tampered.json"), "tampered.json: the signature does not match"),
        (("--deviation", "none.json"), "none.json: no such deviation file"),
        (("--client-trust", "client.pem"), "--client-trust requires --deviation"),
    ],
)
def test_refused_in_one_line(
    compliance: Run, accepted: Path, more: tuple[str, ...], expected: str
) -> None:
    text = (accepted.parent / "d.json").read_text()
    (accepted.parent / "tampered.json").write_text(text.replace("offline", "online"))
    done = compliance("assess", "job.yaml", "--out", "again", "--no-sheet", *LATER, *more)
    assert (done.returncode, done.stdout) == (2, "")
    assert expected in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (accepted.parent / "again").exists()


def test_an_expired_one_is_told_and_stops_nothing(compliance: Run, accepted: Path) -> None:
    late = ("--now", "2026-12-11T00:00:00Z")
    call = ("assess", "job.yaml", "--slot", "1", "--out", "again", "--deviation", "d.json", *late)
    done = compliance(*call)
    assert done.returncode == 1
    told = " ".join(done.stdout.split())
    assert "A deviation without effect: White luminance up to 112.5 cd/m², accepted by" in told
    assert "that day was over when this was assessed." in told
    assert "ccepted with deviations" not in told
    document = json.loads((accepted.parent / "again" / "KX-7-1-tiny.json").read_text())
    assert (document["disposition"], document["deviations"]) == (None, [])
    assert [each["requirement"] for each in document["lapsed"]] == ["white-level"]


def test_a_lapsed_one_travels_with_the_sheet(compliance: Run, accepted: Path) -> None:
    """So that the remark comes out again, even if nobody is trusted to accept."""
    key = accepted.parent / "me.p12"
    key.write_bytes(new_identity("Jo", "House", "jo@example.org", PASSWORD, signing.SIGNED))
    sign = ("--identity", "me.p12", "--password-file", "password.txt")
    late = ("--now", "2026-12-11T00:00:00Z")
    call = ("assess", "job.yaml", "--slot", "1", "--out", "again", *sign, *late)
    assert compliance(*call, "--deviation", "d.json").returncode == 1
    done = compliance("verify", "again/KX-7-1-tiny.pdf", "--any-signer", *late, *known())
    assert (done.returncode, done.stderr) == (0, "")
    assert "deviation-1.json" in done.stdout


def test_a_changed_rule_needs_a_new_one(compliance: Run, accepted: Path) -> None:
    rule = accepted.parent / "tiny.yaml"
    rule.write_text(rule.read_text().replace("max: 105", "max: 106"))
    done = compliance("assess", "job.yaml", "--no-sheet", "--deviation", "d.json", *LATER)
    assert done.returncode == 1
    assert "the rule has changed since." in " ".join(done.stdout.split())


# ---------------------------------------------------------------- kept with the job


@pytest.fixture
def kept(accepted: Path) -> Path:
    """A job that names its deviation."""
    (accepted.parent / "kept").mkdir()
    (accepted.parent / "d.json").rename(accepted.parent / "kept" / "d.json")
    text = accepted.read_text().replace("slots:", "deviations: [kept/d.json]\nslots:")
    accepted.write_text(text)
    return accepted


def test_the_jobs_deviations_are_never_lost(compliance: Run, kept: Path) -> None:
    """Written again without an option, and with the same file given once more."""
    call = ("assess", "job.yaml", "--out", "again", "--no-sheet", *LATER)
    place = kept.parent / "again" / "KX-7-1-tiny.json"
    for more in ((), ("--replace",), ("--replace", "--deviation", "kept/d.json")):
        assert compliance(*call, *more).returncode == 1
        document = json.loads(place.read_text())
        assert document["disposition"] == "accepted-with-deviations"
        assert len(document["deviations"]) == 1
    assert "kept/d.json" not in place.read_text()


def test_one_for_another_slot_waits(compliance: Run, kept: Path) -> None:
    call = ("assess", "job.yaml", "--no-sheet", *LATER)
    assert compliance(*call, "--slot", "2").returncode == 0
    kept.write_text(kept.read_text().replace("job: KX-7", "job: KX-8"))
    done = compliance(*call, "--slot", "2")
    assert (done.returncode, "kept/d.json: is for job KX-7" in done.stderr) == (2, True)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (("kept/d.json", "kept/none.json"), "kept/none.json: no such deviation file"),
        (("kept/d.json", "../d.json"), "'../d.json' is outside the job's folder"),
        (("[kept/d.json]", "kept/d.json"), "deviations: found 'kept/d.json'; expected a list"),
    ],
)
def test_a_wrong_entry_is_one_line(
    compliance: Run, kept: Path, change: tuple[str, str], expected: str
) -> None:
    kept.write_text(kept.read_text().replace(*change))
    done = compliance("assess", "job.yaml", "--no-sheet", *LATER)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert expected in done.stderr


def test_a_sheet_without_the_jobs_deviation_is_not_delivered(compliance: Run, kept: Path) -> None:
    text = kept.read_text()
    kept.write_text(text.replace("deviations: [kept/d.json]\n", ""))
    key = kept.parent / "me.p12"
    key.write_bytes(new_identity("Jo", "House", "jo@example.org", PASSWORD, signing.SIGNED))
    sign = ("--identity", "me.p12", "--password-file", "password.txt")
    compliance("assess", "job.yaml", "--out", "sheets", *sign, *LATER)
    kept.write_text(text)
    call = ("deliver", "job.yaml", "--sheets", "sheets", "--out", "d.zip", "--no-signature")
    done = compliance(*call, *LATER)
    assert done.returncode == 2
    assert "the job has changed since: deviation (" in done.stderr
    compliance("assess", "job.yaml", "--out", "sheets", "--replace", *sign, *LATER)
    assert compliance(*call, *LATER).returncode == 0


def test_room_for_another_measurement(compliance: Run, job: Path) -> None:
    done = compliance(*NEW, "--up-to", "120", "--out", "d.json", *NOW)
    assert (done.returncode, done.stderr) == (0, "")
    assert "White luminance: 112.5 cd/m², and up to 120.0 cd/m², accepted (limit" in done.stdout
    readings = job.parent / "bright.csv"
    readings.write_text(readings.read_text().replace("112.5", "118"))
    call = ("assess", "job.yaml", "--slot", "1", "--no-sheet", "--deviation", "d.json", *LATER)
    assert "Accepted with deviations" in compliance(*call).stdout
    shown = " ".join(compliance("deviation", "verify", "d.json", *LATER).stdout.split())
    assert "112.5 cd/m², and up to 120.0 cd/m², accepted; limit 95 to 105 cd/m²" in shown


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"--requirement": "white"}, "has no requirement 'white'; it has white-level"),
        ({"--requirement": "black-level"}, "black-level has the verdict pass: only a value"),
        ({"--until": "2026-11-19"}, "--until: 2026-11-19 is in the past"),
        ({"--until": "soon"}, "'soon' is not a date; expected e.g. 2026-12-31"),
        ({"--identity": "none.p12"}, "none.p12: cannot be read: no such file"),
        ({"--until": "2026-12-10", "--up-to": "110"}, "further outside its limits than the bound"),
        ({"--until": "2026-12-10", "--up-to": "much"}, "'much' is not a value; expected a number"),
    ],
)
def test_new_says_what_is_wrong(
    compliance: Run, job: Path, change: Mapping[str, str], expected: str
) -> None:
    call = list(NEW)
    for option, value in change.items():
        if option in call:
            call[call.index(option) + 1] = value
        else:
            call += [option, value]
    done = compliance(*call, "--out", "d.json", *NOW)
    assert (done.returncode, done.stdout) == (2, "")
    assert expected in done.stderr
    assert not (job.parent / "d.json").exists()


def test_an_assessment_that_was_changed_is_not_accepted(compliance: Run, job: Path) -> None:
    place = job.parent / "out" / "KX-7-1-tiny.json"
    place.write_text(place.read_text().replace("112.5", "105.5"))
    done = compliance(*NEW, "--out", "d.json", *NOW)
    assert done.returncode == 2
    assert "out/KX-7-1-tiny.json: the assessment was changed" in done.stderr


@pytest.mark.parametrize("option", ["--reason", "--accepted-by"])
def test_letters_that_the_system_cannot_read_are_told(
    compliance: Run, process: Run, job: Path, option: str
) -> None:
    """In a locale without them, an argument's bytes are no text."""
    call = list(NEW)
    call[call.index(option) + 1] = "für später"
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    done = process(*call, "--out", "d.json", *NOW, env=plain)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        f"compliance: {option}: has characters that this system's encoding does not have; "
        "expected UTF-8, e.g. with PYTHONUTF8=1\n"
    )
    assert compliance(*call, "--out", "d.json", *NOW).returncode == 0


def test_new_writes_over_nothing(compliance: Run, accepted: Path) -> None:
    before = (accepted.parent / "d.json").read_bytes()
    done = compliance(*NEW, "--out", "d.json", *NOW)
    assert done.returncode == 2
    assert "d.json: already exists; use --replace to overwrite" in done.stderr
    assert (accepted.parent / "d.json").read_bytes() == before


def test_verify_in_words_and_codes(compliance: Run, accepted: Path) -> None:
    done = compliance("deviation", "verify", "d.json", "--client-trust", "client.pem", *LATER)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("d.json: slot 1 of KX-7, tiny\n")
    assert "Signed by Cleo Client, Tidal: its certificate is among the trusted" in done.stdout
    assert done.stdout.endswith("  Valid.\n")
    done = compliance("deviation", "verify", "d.json", *LATER)
    assert done.returncode == 3
    assert "  Signed by Cleo Client, Tidal: not checked\n" in done.stdout
    assert "not among" not in done.stdout
    done = compliance("deviation", "verify", "d.json", "--client-trust", "other.pem", *LATER)
    assert (done.returncode, done.stdout.splitlines()[-1]) == (1, "  Not valid.")
    assert "  Signed by Cleo Client, Tidal: not trusted\n" in done.stdout
    done = compliance("deviation", "verify", "d.json", "--now", "2027-01-01T00:00:00Z")
    assert (done.returncode, done.stderr) == (
        1,
        "d.json: expired: it was accepted until 2026-12-10\n",
    )
    done = compliance("deviation", "verify", "none.json", "--format", "json")
    assert done.returncode == 2
    assert json.loads(done.stdout)["deviations"][0]["faults"]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "other: invalid JSON; expected a file from 'compliance deviation new'"),
        (b"{\n]", "other:2: invalid JSON; expected a file from 'compliance deviation new'"),
        (b"%PDF-1.7\n\xff", "other: invalid JSON; expected a file from"),
        (b"[1]", "other: is another kind of document; expected a file from"),
        (None, "other: is an assessment; expected a deviation; make one with 'compliance devia"),
    ],
)
def test_verify_of_another_file_is_one_line(
    compliance: Run, job: Path, data: bytes | None, expected: str
) -> None:
    assessed = (job.parent / "out" / "KX-7-1-tiny.json").read_bytes()
    (job.parent / "other").write_bytes(assessed if data is None else data)
    done = compliance("deviation", "verify", "other", *LATER)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(expected)
    assert done.stderr.count("\n") == 1


def test_unpack_gives_what_openssl_asks_for(compliance: Run, accepted: Path) -> None:
    done = compliance("deviation", "verify", "d.json", "--unpack", "parts", *LATER)
    assert done.returncode == 3
    parts = accepted.parent / "parts"
    assert sorted(path.name for path in parts.iterdir()) == ["d.p7s", "d.signed.json"]
    assert json.loads((parts / "d.signed.json").read_bytes())["value"] == 112.5
    shutil.rmtree(parts)
