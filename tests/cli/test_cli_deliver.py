"""`compliance deliver`, and `verify` of what it writes."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import pytest
from helpers import commands
from helpers.desk import known, write_desk
from helpers.sample_text import edited
from helpers.signing import MADE, PASSWORD

from compliance.signing.keys import load_identity, new_identity

Run = Callable[..., subprocess.CompletedProcess[str]]

KEY = ("--identity", "me.p12", "--password-file", "password.txt")
NOW = ("--now", "2026-11-20T18:00:00Z")
ROOT = Path(__file__).resolve().parents[2]


@cache
def keys() -> Mapping[str, bytes]:
    data = new_identity("Jo Heron", "Low House", "jo@example.org", PASSWORD, MADE)
    return {
        "me.p12": data,
        "me.pem": load_identity(data, PASSWORD).pem,
        "password.txt": f"{PASSWORD}\n".encode(),
    }


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of two slots with its sheets in `sheets/`."""
    folder = tmp_path_factory.mktemp("deliver")
    write_desk(folder, "good", "bright")
    for name, data in keys().items():
        (folder / name).write_bytes(data)
    done = commands.call("assess", "job.yaml", "--out", "sheets", *KEY, *NOW, cwd=folder)
    assert (done.returncode, done.stderr) == (1, "")
    return folder


@pytest.fixture
def home(assessed: Path, tmp_path: Path) -> Path:
    """The same, to change."""
    return shutil.copytree(assessed, tmp_path, dirs_exist_ok=True)


def test_without_its_signature_sheets_may_be_missing(compliance: Run, home: Path) -> None:
    compliance("deliver", "sheets", "--out", "delivery", "--no-signature", *NOW)
    done = compliance("verify", "delivery", "--trust", "me.pem")
    assert done.returncode == 3
    assert "The delivery itself is not signed: sheets may be missing." in done.stdout


def test_a_folder_and_its_check(compliance: Run, home: Path) -> None:
    done = compliance("deliver", "sheets", "--out", "delivery", *KEY, *NOW)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == (
        "KX-7-1-tiny: conditionally compliant, 1 signature; measure again by 2026-12-20 15:10 UTC\n"
        "KX-7-2-tiny: not compliant, 1 signature\n"
        "Delivery signed by Jo Heron.\n"
        "Written: delivery\n"
    )
    done = compliance("verify", "delivery", "--trust", "me.pem")
    assert (done.returncode, "nobody ships tiny, revision 1" in done.stdout) == (3, True)
    done = compliance("verify", "delivery", "--trust", "me.pem", *known())
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith(
        "delivery: a delivery of 2 sheets\n"
        "  Measure again by 2026-12-20 15:10 UTC.\n"
        "  Valid: complete, and every sheet is as it was signed. The sheets state: 1\n"
        "  conditionally compliant; 1 not compliant.\n"
    )
    found = json.loads(compliance("verify", "delivery", "--format", "json").stdout)
    (delivery,) = found["deliveries"]
    assert (found["sheets"], delivery["exit_code"]) == ([], 3)
    assert [sheet["verdict"] for sheet in delivery["sheets"]] == ["compliant", "not-compliant"]
    (home / "delivery" / "more").write_text("hello")
    done = compliance("verify", "delivery", "--trust", "me.pem", *known())
    assert done.returncode == 1
    assert "more: was added: not in any manifest" in done.stdout
    assert done.stdout.splitlines()[1:3] == [
        "  Not valid as a delivery, although each sheet in it is valid by itself: see the",
        "  steps that failed.",
    ]


def test_a_delivery_by_a_stranger(compliance: Run, home: Path) -> None:
    compliance("deliver", "sheets", "--out", "delivery", *KEY, *NOW)
    data = new_identity("Jo Heron", "Low House", "jo@example.org", PASSWORD, MADE)
    (home / "other.pem").write_bytes(load_identity(data, PASSWORD).pem)
    done = compliance("verify", "delivery", "--trust", "other.pem")
    assert done.returncode == 1
    assert "  3  fail     sheets: 2 of 2 have no trusted signer\n" in done.stdout
    assert "data/sheets/KX-7-1-tiny.pdf: signer not trusted\n" in done.stdout
    assert "pdf: not valid" not in done.stdout
    assert done.stdout.splitlines()[1] == "  Not valid: do not rely on this delivery."


def test_sheets_under_each_others_names(compliance: Run, home: Path) -> None:
    """Nothing states in a folder which is which, save the names that 'assess' gave them."""
    one, two = (home / "sheets" / f"KX-7-{slot}-tiny.pdf" for slot in "12")
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    done = compliance("verify", "sheets", "--trust", "me.pem", *known())
    _, *told = done.stderr.splitlines()
    assert done.returncode == 0
    assert [re.sub("-[0-9a-f]{32}", "", line) for line in told] == [
        "compliance: sheets/KX-7-1-tiny.pdf is sheet KX-7-2-tiny, but its name belongs to "
        "KX-7-1-tiny",
        "compliance: sheets/KX-7-2-tiny.pdf is sheet KX-7-1-tiny, but its name belongs to "
        "KX-7-2-tiny",
    ]
    one.rename(home / "sheets" / "client's.pdf")
    two.write_bytes(first)
    done = compliance("verify", "sheets", "--trust", "me.pem")
    assert len(done.stderr.splitlines()) == 2
    two.unlink()
    (home / "sheets" / "mine.pdf").write_bytes(first)
    done = compliance("verify", "sheets", "--trust", "me.pem")
    assert len(done.stderr.splitlines()) == 1


def test_no_sheet_is_left_out_for_its_capitals(compliance: Run, home: Path) -> None:
    (home / "sheets" / "KX-7-2-tiny.pdf").rename(home / "sheets" / "KX-7-2-tiny.PDF")
    done = compliance("deliver", "sheets", "--out", "d.zip", *KEY, *NOW)
    assert (done.returncode, done.stderr) == (0, "")
    assert "KX-7-2-tiny: not compliant, 1 signature" in done.stdout


def test_a_job_gives_its_own_sheets_only(compliance: Run, home: Path) -> None:
    (home / "sheets" / "other.pdf").write_bytes(b"hello")
    call = ("deliver", "job.yaml", "--sheets", "sheets", "--no-signature")
    for name in ("one.zip", "two.zip"):
        done = compliance(*call, "--out", name)
        assert (done.returncode, done.stderr) == (0, "")
    assert compliance("verify", "one.zip", "--any-signer").returncode == 3
    one, two = ((home / name).read_bytes() for name in ("one.zip", "two.zip"))
    assert one.replace(b"one/", b"two/") == two
    (home / "sheets" / "KX-7-2-tiny.pdf").unlink()
    done = compliance(*call, "--out", "three.zip")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "sheets/KX-7-2-tiny.pdf: sheet not found; write it with 'compliance assess'\n"
    )


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("job.yaml", "about kelp", "about eels", "job.title"),
        ("good.csv", "100.01", "101.01", "readings (good.csv)"),
        ("tiny.yaml", "min: 95", "min: 96", "rule tiny"),
    ],
)
def test_a_sheet_of_another_state_of_the_job_stays_here(
    compliance: Run, home: Path, file: str, old: str, new: str, told: str
) -> None:
    place = home / file
    place.write_text(edited(place.read_text(), old, new))
    call = ("deliver", "job.yaml", "--sheets", "sheets", "--no-signature", "--out", "d.zip")
    done = compliance(*call)
    assert (done.returncode, done.stdout) == (2, "")
    line = done.stderr.splitlines()[0]
    assert line == (
        f"sheets/KX-7-1-tiny.pdf: the job has changed since: {told}; assess it again, or give "
        "only the folder to deliver the sheets as they are"
    )
    assert not (home / "d.zip").exists()
    alone = compliance("deliver", "sheets", "--no-signature", "--out", "d.zip")
    assert (alone.returncode, alone.stderr) == (0, "")


def test_a_sheet_that_does_not_hold_stays_here(compliance: Run, home: Path) -> None:
    (home / "sheets" / "other.pdf").write_bytes(b"hello")
    done = compliance("deliver", "sheets", "--out", "delivery", *KEY, *NOW)
    assert done.returncode == 2
    assert done.stderr.startswith("other.pdf: file intact: ")
    assert not (home / "delivery").exists()


def test_nothing_else_is_written_over(compliance: Run, home: Path) -> None:
    call = ("deliver", "sheets", *KEY, *NOW, "--out")
    mine = home / "mine"
    mine.mkdir()
    (mine / "note.txt").write_text("keep")
    done = compliance(*call, "mine", "--replace")
    assert done.returncode == 2
    assert done.stderr == (
        "compliance: mine: is a folder but not a delivery; choose another name\n"
    )
    assert (mine / "note.txt").read_text() == "keep"
    assert compliance(*call, "delivery").returncode == 0
    (home / "delivery" / "old").write_text("old")
    done = compliance(*call, "delivery")
    assert done.returncode == 2
    assert "delivery: already exists; use --replace to overwrite" in done.stderr
    assert compliance(*call, "delivery", "--replace").returncode == 0
    assert not (home / "delivery" / "old").exists()
    assert not list(home.glob(".*"))


@pytest.mark.parametrize(
    ("call", "expected"),
    [
        (("sheets", "--out", "sheets", "--no-signature"), "the sheets are in sheets"),
        (("sheets", "--out", ".", "--no-signature"), "the sheets are in ."),
        (
            ("sheets", "--out", "q.tar", "--no-signature"),
            "--out: q.tar: expected the name of a folder",
        ),
        (
            ("sheets", "--out", "q.tar.GZ", "--no-signature"),
            "expected the name of a folder or of a .zip",
        ),
        (("job.yaml", "--out", "d"), "a job file requires --sheets DIR"),
        (("sheets", "--sheets", "x", "--out", "d"), "require a job file"),
        (("me.pem", "--out", "d"), "expected a folder of sheets, or a job file"),
        (("sheets", "--out", "d", "--no-signature", *KEY), "--no-signature cannot be combined"),
        (("empty", "--out", "d", "--no-signature"), "empty: contains no sheets (.pdf)"),
    ],
)
def test_calls_that_are_wrong(
    compliance: Run, tmp_path: Path, call: tuple[str, ...], expected: str
) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "a.pdf").write_bytes(b"hello")
    for name, data in keys().items():
        (tmp_path / name).write_bytes(data)
    (tmp_path / "job.yaml").write_text("job: x\n")
    done = compliance("deliver", *call)
    assert (done.returncode, done.stdout) == (2, "")
    assert expected in done.stderr


SLOW = """
import os, time
from compliance.cli import command

fsync, calls = os.fsync, []

def slow(descriptor):
    calls.append(1)
    fsync(descriptor)
    if len(calls) == 2:
        print("ready", flush=True)
        time.sleep(600)

os.fsync = slow
command.main(["deliver", "sheets", "--out", "delivery", "--no-signature"])
"""


def test_a_run_that_is_terminated_leaves_nothing_half_written(
    home: Path, ended: Callable[[subprocess.Popen[str]], int]
) -> None:
    before = sorted(path.name for path in home.iterdir())
    with subprocess.Popen(
        [sys.executable, "-c", SLOW],
        cwd=home, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        assert any(path.suffix == ".part" for path in home.iterdir())
        process.send_signal(signal.SIGTERM)
        assert ended(process) == 143
    assert sorted(path.name for path in home.iterdir()) == before
