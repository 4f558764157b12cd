"""What has expired, and what will: told by `assess`, `countersign` and `deliver`."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from helpers.evidence_of_a_slot import assessment
from helpers.signing import MADE, PASSWORD, identity

from compliance.errors import SheetError
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.keys import new_identity

Run = Callable[..., subprocess.CompletedProcess[str]]
KEY = ("--identity", "client.p12", "--password-file", "password.txt")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A sheet of a slot with a meter whose certificate is due on 2027-03-02, and a client's key."""
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "one.pdf").write_bytes(write_sheet(assessment(), identity=identity()))
    client = new_identity("Cleo Client", "Tidal Pictures", "cleo@example.org", PASSWORD, MADE)
    (tmp_path / "client.p12").write_bytes(client)
    (tmp_path / "password.txt").write_text(PASSWORD + "\n")
    return tmp_path


def notes(when: str) -> str:
    """What is told of that sheet at a time."""
    number = assessment().number
    over = (
        f"compliance: the verdict of {number} has expired on 2026-12-20 10:00 UTC; measure again\n"
    )
    meter = "compliance: the certificate of the meter spectro-9"
    return {
        "2026-12-20T09:59:59Z": "",
        "2027-01-01T00:00:00Z": over,
        "2027-02-20T00:00:00Z": f"{over}{meter} expires on 2027-03-03 00:00 UTC\n",
        "2027-03-03T00:00:00Z": f"{over}{meter} has expired on 2027-03-03 00:00 UTC\n",
    }[when]


WHEN = (
    "2026-12-20T09:59:59Z",
    "2027-01-01T00:00:00Z",
    "2027-02-20T00:00:00Z",
    "2027-03-03T00:00:00Z",
)


@pytest.mark.parametrize("when", WHEN)
def test_who_signs_again_is_told(compliance: Run, home: Path, when: str) -> None:
    done = compliance("countersign", "sheets/one.pdf", *KEY, "--now", when)
    assert (done.returncode, done.stderr) == (0, notes(when))
    held = "measure again by" if when == WHEN[0] else "expired since"
    assert f"; {held} 2026-12-20 10:00 UTC" in done.stdout


@pytest.mark.parametrize("when", WHEN[1:3])
def test_who_packs_is_told(compliance: Run, home: Path, when: str) -> None:
    done = compliance("deliver", "sheets", "--out", "d.zip", "--no-signature", "--now", when)
    assert (done.returncode, done.stderr) == (0, notes(when))


def test_a_signers_certificate_is_told(compliance: Run, home: Path) -> None:
    when = ("--now", "2031-11-01T00:00:00Z")
    done = compliance("deliver", "sheets", "--out", "d.zip", *KEY, *when)
    assert done.returncode == 0
    told = "the certificate of the signer {} expires on 2031-11-19 08:00 UTC"
    for name in ("Ada Quill", "Cleo Client"):
        assert told.format(name) in done.stderr


@pytest.mark.parametrize(
    ("now", "code"), [("2026-12-20T15:09:59Z", 0), ("2026-12-20T15:10:00Z", 3)]
)
def test_old_readings_are_assessed_and_exit_with_3(
    compliance: Run, desk: Callable[..., Path], tmp_path: Path, now: str, code: int
) -> None:
    desk("good")
    done = compliance("assess", "job.yaml", "--out", "out", "--no-sheet", "--now", now)
    assert done.returncode == code
    document = json.loads((tmp_path / "out" / "KX-7-1-tiny.json").read_bytes())
    assert document["verdict"] == "compliant"
    over = f"compliance: the verdict of {document['number']} has expired on 2026-12-20 15:10 UTC"
    assert (over in done.stderr) is (code == 3)


def test_json_lists_what_ends(compliance: Run, desk: Callable[..., Path]) -> None:
    desk("good", "bright")
    call = ("assess", "job.yaml", "--no-sheet", "--format", "json", "--now")
    done = compliance(*call, "2026-12-21T00:00:00Z")
    assert done.returncode == 1
    found = json.loads(done.stdout)
    assert found["ending"] == [
        {
            "what": "validity",
            "name": found["assessments"][0]["number"],
            "end": "2026-12-20T15:10:00Z",
            "ended": True,
        }
    ]
    assert json.loads(compliance(*call, "2026-12-01T00:00:00Z").stdout)["ending"] == []


def test_of_a_sheet_that_is_refused_no_ending_is_told(
    compliance: Run, desk: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> bytes:
        raise SheetError("too large for a sheet")

    desk("good")
    monkeypatch.setattr("compliance.sheet.make_sheet.write_sheet", refuse)
    done = compliance("assess", "job.yaml", "--out", "out", "--now", "2026-12-21T00:00:00Z")
    assert "too large for a sheet" in done.stderr
    assert "has expired" not in done.stderr
