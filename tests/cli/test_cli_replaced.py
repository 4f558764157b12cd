"""`assess --replace` states the number of what it overwrites, and all that reads it tells it."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from helpers.desk import write_desk
from helpers.signing import MADE, PASSWORD

from compliance.report.numbers import format_sheet_number
from compliance.signing.keys import load_identity, new_identity

Run = Callable[..., subprocess.CompletedProcess[str]]
FIRST, LATER = "2026-11-20T18:00:00Z", "2026-11-20T19:00:00Z"
KEY = ("--identity", "me.p12", "--password-file", "password.txt")
STEM = "KX-7-1-tiny"


@pytest.fixture
def home(compliance: Run, tmp_path: Path) -> Path:
    """A job of one slot and its sheet."""
    write_desk(tmp_path, "good")
    data = new_identity("Jo Heron", "Low House", "jo@example.org", PASSWORD, MADE)
    (tmp_path / "me.p12").write_bytes(data)
    (tmp_path / "me.pem").write_bytes(load_identity(data, PASSWORD).pem)
    (tmp_path / "password.txt").write_text(f"{PASSWORD}\n")
    assess(compliance, FIRST)
    return tmp_path


def assess(compliance: Run, now: str, *more: str) -> str:
    done = compliance("assess", "job.yaml", "--out", "out", *KEY, "--now", now, *more)
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def document(home: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((home / "out" / f"{STEM}.json").read_text())
    return found


def test_a_replaced_number_is_told_everywhere(compliance: Run, home: Path) -> None:
    first = document(home)
    assert first["replaces"] is None
    old = home / "old.pdf"
    old.write_bytes((home / "out" / f"{STEM}.pdf").read_bytes())
    printed = " ".join(assess(compliance, LATER, "--replace").split())
    second = document(home)
    assert second["replaces"] == first["number"] != second["number"]
    assert f"replaces {format_sheet_number(first['number'])}." in printed
    done = compliance(
        "verify", f"out/{STEM}.pdf", "--trust", "me.pem", "--rules", second["rule"]["digest"]
    )
    assert done.returncode == 0, done.stdout
    assert f"  Replaces {first['number']}\n" in done.stdout
    done = compliance("verify", f"out/{STEM}.pdf", "--trust", "me.pem", "--format", "json")
    assert json.loads(done.stdout)["sheets"][0]["replaces"] == first["number"]
    done = compliance("deliver", "out", "--out", "delivery", "--no-signature", "--now", LATER)
    assert done.returncode == 0, done.stderr
    page = (home / "delivery" / "index.html").read_text()
    assert f"<dt>Replaces</dt><dd><code>{format_sheet_number(first['number'])}</code>" in page
    old.rename(home / "out" / "old.pdf")
    done = compliance("deliver", "out", "--out", "both", "--no-signature", "--now", LATER)
    assert done.returncode == 2
    assert (
        f"data/sheets/old.pdf: {first['number']} is replaced by data/sheets/{STEM}.pdf; deliver one"
        in (done.stderr)
    )


def test_the_same_assessment_again_keeps_its_number(compliance: Run, home: Path) -> None:
    assess(compliance, LATER, "--replace")
    second = document(home)
    assess(compliance, LATER, "--replace")
    assert document(home) == second


def test_the_sheet_counts_before_the_document(compliance: Run, home: Path) -> None:
    first = document(home)
    (home / "out" / f"{STEM}.json").write_text("{}")
    assess(compliance, LATER, "--replace")
    assert document(home)["replaces"] == first["number"]
    (home / "out" / f"{STEM}.pdf").unlink()
    second = document(home)
    assess(compliance, FIRST, "--replace")
    assert document(home)["replaces"] == second["number"]


def test_a_number_that_cannot_be_read_is_told(compliance: Run, home: Path) -> None:
    changed = {**document(home), "verdict": "undecided"}
    (home / "out" / f"{STEM}.json").write_text(json.dumps(changed))
    (home / "out" / f"{STEM}.pdf").write_bytes(b"%PDF-1.7 hello")
    printed = assess(compliance, LATER, "--replace")
    assert document(home)["replaces"] is None
    for suffix in ("json", "pdf"):
        assert f"out/{STEM}.{suffix}: no number can be read that the new assessment" in printed
