"""`compliance identity` as a process: files, modes, passwords, and what it never shows."""

from __future__ import annotations

import os
import pty
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from compliance.signing.keys import load_identity

Run = Callable[..., subprocess.CompletedProcess[str]]

PASSWORD = "correct horse battery"
WHO = ("--name", "Ada Quill", "--organisation", "Low House", "--email", "ada@example.org")
NOW = ("--now", "2026-11-20T08:00:00Z")


@pytest.fixture
def password(tmp_path: Path) -> Path:
    file = tmp_path / "password.txt"
    file.write_text(PASSWORD + "\n")
    return file


@pytest.fixture
def new(compliance: Run, password: Path) -> Run:
    def run(*more: str | Path, **options: object) -> subprocess.CompletedProcess[str]:
        return compliance("identity", "new", *WHO, "--password-file", password, *more, **options)

    return run


def test_it_lands_in_the_data_folder_for_its_owner_only(new: Run, tmp_path: Path) -> None:
    data = tmp_path / "data"
    done = new(*NOW, env={"COMPLIANCE_DATA": str(data)})
    assert (done.returncode, done.stderr) == (0, "")
    place, public = data / "identity.p12", data / "identity.pem"
    assert sorted(data.iterdir()) == [place, public]
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    identity = load_identity(place.read_bytes(), PASSWORD)
    assert public.read_bytes() == identity.pem
    assert done.stdout.splitlines() == [
        f"key and certificate  {place}",
        f"certificate alone    {public}",
        "name                 Ada Quill",
        "organisation         Low House",
        "e-mail               ada@example.org",
        "issued by            itself",
        "valid                2026-11-20 to 2031-11-19",
        f"SHA-256              {identity.signer.fingerprint}",
    ]


def test_the_mode_does_not_hang_on_the_umask(new: Run, tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        assert new("--out", "me.p12").returncode == 0
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "me.p12").stat().st_mode) == 0o600


def test_nothing_is_written_over_unless_asked(new: Run, tmp_path: Path) -> None:
    assert new("--out", "me.p12").returncode == 0
    first = (tmp_path / "me.p12").read_bytes()
    done = new("--out", "me.p12")
    assert done.returncode == 2
    assert done.stderr.splitlines()[0] == (
        "compliance: me.p12: already exists; use --replace to overwrite"
    )
    assert (tmp_path / "me.p12").read_bytes() == first
    assert new("--out", "me.p12", "--replace").returncode == 0
    assert (tmp_path / "me.p12").read_bytes() != first
    assert not list(tmp_path.glob(".*.part"))


def test_show_tells_whose_it_is(new: Run, compliance: Run, password: Path) -> None:
    made = new("--out", "me.p12").stdout.splitlines()
    done = compliance("identity", "show", "me.p12", "--password-file", password)
    assert done.returncode == 0
    assert done.stdout.splitlines() == ["file                 me.p12", *made[2:]]


def test_show_prints_the_certificate_alone(
    new: Run, compliance: Run, password: Path, tmp_path: Path
) -> None:
    new("--out", "me.p12")
    done = compliance("identity", "show", "me.p12", "--pem", "--password-file", password)
    assert done.stdout == (tmp_path / "me.pem").read_text()


def test_the_key_appears_nowhere(new: Run, compliance: Run, tmp_path: Path) -> None:
    done = new("--out", "me.p12")
    key = load_identity((tmp_path / "me.p12").read_bytes(), PASSWORD).key
    shown = done.stdout + done.stderr
    wrong = tmp_path / "wrong.txt"
    wrong.write_text("something else\n")
    failed = compliance("--traceback", "identity", "show", "me.p12", "--password-file", wrong)
    shown += failed.stdout + failed.stderr + (tmp_path / "me.pem").read_text()
    assert failed.returncode == 2
    assert PASSWORD not in shown and "something else" not in shown
    assert "PRIVATE" not in shown and key.hex()[20:40] not in shown


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (("--email", "nowhere"), "email: 'nowhere' is not an address; expected e.g."),
        (("--name", " "), "name: ' ' is not usable"),
        (("--out", "me.pem"), "me.pem: is the name of a certificate; expected e.g. identity.p12"),
        (("--password-file", "none.txt"), "none.txt: cannot be read: no such file or directory"),
        (("--now", "noon"), "'noon' is not a time; expected RFC 3339"),
    ],
)
def test_bad_calls_are_one_line(new: Run, more: tuple[str, ...], message: str) -> None:
    done = new("--out", "me.p12", *more)
    assert done.returncode == 2
    assert message in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.stdout == ""


def test_a_short_password_is_refused(new: Run, password: Path, tmp_path: Path) -> None:
    password.write_text("short\n")
    done = new("--out", "me.p12")
    assert (done.returncode, done.stderr) == (
        2,
        "compliance: the password has 5 characters; expected 8 or more\n",
    )
    assert not (tmp_path / "me.p12").exists()


def test_a_wrong_password_is_one_line(new: Run, compliance: Run, password: Path) -> None:
    new("--out", "me.p12")
    password.write_text("another one\n")
    done = compliance("identity", "show", "me.p12", "--password-file", password)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance: me.p12: cannot be opened: the password is wrong (line 1 of the password file, "
        "or as typed), or the file is not PKCS#12\n"
    )


def test_show_without_an_identity_says_how_to_make_one(compliance: Run) -> None:
    done = compliance("identity", "show")
    assert done.returncode == 2
    assert done.stderr == (
        "compliance: /nonexistent/identity.p12: no identity; "
        "create one with 'compliance identity new'\n"
    )


def test_the_password_is_asked_for_twice_without_echo(tmp_path: Path) -> None:
    """On a terminal of its own, as a user has one."""
    mine, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "compliance.cli", "identity", "new", *WHO, "--out", "me.p12"],
        cwd=tmp_path,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])},
    )
    os.close(theirs)
    watch = threading.Timer(600, process.kill)
    watch.start()
    shown = b""
    for _ in range(2):
        while not shown.endswith(b": "):  # what is typed before that is thrown away
            shown += os.read(mine, 1000)
        os.write(mine, PASSWORD.encode() + b"\n")
        shown += b"|"
    while process.poll() is None:
        try:
            shown += os.read(mine, 1000)
        except OSError:  # the other end is closed
            break
    os.close(mine)
    watch.cancel()
    assert process.wait(timeout=600) == 0
    assert PASSWORD.encode() not in shown
    assert load_identity((tmp_path / "me.p12").read_bytes(), PASSWORD).signer.name == "Ada Quill"
