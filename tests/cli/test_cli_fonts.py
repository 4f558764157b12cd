"""Names that need another type face: told before anything is computed, drawn with --font."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from helpers import seven_scripts
from helpers.desk import known
from helpers.signing import MADE, PASSWORD

from compliance.lettering import font_files
from compliance.lettering.choose import lettering
from compliance.signing.keys import new_identity

Run = Callable[..., subprocess.CompletedProcess[str]]
FIRM = "盐与石影业"
NOW = ("--now", "2026-11-21T08:00:00Z")


@pytest.fixture
def job(desk: Callable[..., Path]) -> Path:
    """A job with a title in Chinese."""
    path = desk("good")
    text = path.read_text("utf-8").replace("A film about kelp", f'"{FIRM} 2026"')
    path.write_text(text, "utf-8")
    return path


@pytest.fixture
def no_faces(monkeypatch: pytest.MonkeyPatch) -> None:
    """A system without any face."""
    monkeypatch.setattr(font_files, "_list", lambda pattern: ())


def test_letters_without_a_face_are_told_before_anything_is_computed(
    compliance: Run, job: Path, no_faces: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("compliance.assessment.assess", lambda *a, **k: pytest.fail("computed"))
    done = compliance("assess", job, "--out", "out", *NOW)
    lines = done.stderr.splitlines()
    assert done.returncode == 2 and not list(job.parent.glob("out/*.*"))
    assert lines[0] == f"{job}:2: '{FIRM} 2026': no type face here has 与 业 影 盐 石"
    assert lines[-1].startswith("no sheet was drawn: install a TrueType face")
    assert "fonts-wqy-microhei" in lines[-1]


def test_no_sheet_needs_no_face(compliance: Run, job: Path, no_faces: None) -> None:
    done = compliance("assess", job, "--no-sheet", "--format", "json", *NOW)
    (document,) = json.loads(done.stdout)["assessments"]
    assert document["job"]["title"] == f"{FIRM} 2026" and document["faces"] == []


def test_a_given_face_draws_and_verifies(
    compliance: Run, job: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    seven_scripts.require_faces()
    (file,) = lettering([FIRM]).files.values()
    (tmp_path / "face.ttc").write_bytes(file.data)
    (tmp_path / "me.p12").write_bytes(
        new_identity("Ada Quill", "Low House", "a@b.org", PASSWORD, MADE)
    )
    (tmp_path / "password.txt").write_text(PASSWORD + "\n")
    monkeypatch.setattr(font_files, "_list", lambda pattern: ())
    key = ("--identity", "me.p12", "--password-file", "password.txt")
    done = compliance("assess", job, "--out", "out", "--font", "face.ttc", *key, *NOW)
    assert done.returncode == 0, done.stderr
    (sheet,) = tmp_path.glob("out/*.pdf")
    stated = json.loads(sheet.with_suffix(".json").read_text("utf-8"))["faces"]
    assert sorted(cluster for each in stated for cluster in each["glyphs"]) == sorted(FIRM)
    check = ("verify", sheet, "--any-signer", *known())
    assert compliance(*check, "--font", "face.ttc").returncode == 0
    without = compliance(*check)
    assert without.returncode == 3
    assert "letter shapes not checked" in " ".join(without.stdout.split())
    assert compliance(*check, "--font", "none.ttf").returncode == 2


def test_font_needs_sheets(compliance: Run, job: Path) -> None:
    done = compliance("assess", job, "--no-sheet", "--font", "x.ttf")
    assert (done.returncode, done.stderr) == (
        2,
        "compliance: give --font or --no-sheet, not both\n",
    )


def test_identity_new_warns_of_a_name_without_a_face(
    compliance: Run, no_faces: None, tmp_path: Path
) -> None:
    (tmp_path / "password.txt").write_text(PASSWORD + "\n")
    done = compliance(
        "identity", "new", "--name", FIRM, "--organisation", "Low House", "--email",
        "a@example.org", "--out", "me.p12", "--password-file", "password.txt",
    )  # fmt: skip
    assert done.returncode == 0
    assert "no type face here has 与 业 影 盐 石" in done.stderr
