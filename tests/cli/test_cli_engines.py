"""Sheets of another engine: verified with both outcomes, and of a later one not passed on."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from helpers.evidence_of_a_slot import document, mended, sealed, with_assessment
from helpers.signing import MADE, PASSWORD, SIGNED, identity

from compliance import __version__
from compliance.model.stated import ENGINE
from compliance.signing.keys import new_identity
from compliance.verification.versions import RELEASED

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW = ("--now", f"{SIGNED + timedelta(hours=2):%Y-%m-%dT%H:%M:%SZ}")
KEY = ("--identity", "client.p12", "--password-file", "password.txt")
LATER = f"definitions (engine) {ENGINE + 1}, which this version does not know"


def stated() -> str:
    """The verdict of the slot in words."""
    found = document()
    return f"conditionally {found['verdict']}" if found["conditional"] else found["verdict"]


@pytest.fixture
def sheet_of(tmp_path: Path) -> Callable[[int], Path]:
    """Writes the sheet of a slot that an engine is said to have computed, and a client's key."""
    (tmp_path / "me.pem").write_bytes(identity().pem)
    client = new_identity("Cleo Client", "Tidal Pictures", "cleo@example.org", PASSWORD, MADE)
    (tmp_path / "client.p12").write_bytes(client)
    (tmp_path / "password.txt").write_text(PASSWORD + "\n")

    def write(engine: int) -> Path:
        def of_engine(document: dict[str, Any]) -> None:
            version = "0.1.0" if engine == RELEASED["0.1.0"] else __version__
            document["tool"].update(version=version, engine=engine)

        folder = tmp_path / "sheets"
        folder.mkdir(exist_ok=True)
        (folder / "sheet.pdf").write_bytes(sealed(mended(with_assessment(of_engine))))
        return folder / "sheet.pdf"

    return write


def test_both_outcomes_are_printed(compliance: Run, sheet_of: Callable[[int], Path]) -> None:
    file = sheet_of(ENGINE - 1)
    done = compliance("verify", file, "--trust", "me.pem")
    assert done.returncode == 3
    lines = done.stdout.splitlines()
    assert lines[2:5] == [
        f"  The sheet states: {stated()} (definitions of engine {ENGINE - 1}).",
        f"  Computed again by today's definitions (engine {ENGINE}): {stated()}.",
        "  Intact as far as it was checked.",
    ]
    data = json.loads(compliance("verify", file, "--trust", "me.pem", "--format", "json").stdout)
    (sheet,) = data["sheets"]
    assert (sheet["exit_code"], sheet["engine"]) == (3, ENGINE - 1)
    today = {key: document()[key] for key in ("verdict", "conditional", "disposition")}
    assert {key: sheet[key] for key in today} == sheet["stated"] == today
    assert [line.strip() for line in lines[2:5]] == sheet["conclusion"]


def test_an_earlier_one_is_passed_on_with_both_outcomes(
    compliance: Run, sheet_of: Callable[[int], Path]
) -> None:
    file = sheet_of(ENGINE - 1)
    both = f"{stated()}; computed again: {stated()}"
    signed = compliance("countersign", file, *KEY, *NOW)
    assert (signed.returncode, both in signed.stdout) == (0, True), signed.stderr
    packed = compliance("deliver", file.parent, "--out", "out.zip", "--no-signature")
    assert (packed.returncode, both in packed.stdout) == (0, True), packed.stderr
    told = " ".join(compliance("verify", "out.zip", "--trust", "me.pem").stdout.split())
    assert both in told


def test_a_later_one_is_neither_judged_nor_passed_on(
    compliance: Run, sheet_of: Callable[[int], Path], tmp_path: Path
) -> None:
    file = sheet_of(ENGINE + 1)
    before = file.read_bytes()
    done = compliance("verify", file, "--trust", "me.pem")
    assert (done.returncode, "use a newer version" in done.stdout) == (3, True)
    signed = compliance("countersign", file, *KEY, *NOW)
    assert (signed.returncode, LATER in signed.stderr) == (2, True)
    packed = compliance("deliver", file.parent, "--out", "out.zip", "--no-signature")
    assert (packed.returncode, LATER in packed.stderr) == (2, True)
    assert file.read_bytes() == before
    assert not (tmp_path / "out.zip").exists()
