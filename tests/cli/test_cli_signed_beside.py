"""Deviations and deliveries: signed with every kind of key, stamped, and by whom they may not be.

Key files, an authority's chain and a software token (SoftHSM), as for sheets.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from helpers import commands
from helpers.authorities import YEAR, clock, issued
from helpers.desk import known, write_desk
from helpers.signing import PASSWORD, SIGNED
from helpers.timeserver import serving
from helpers.tokens_of_software import PIN, make_token, module

from compliance.signing.timestamps import REPLY

Run = Callable[..., subprocess.CompletedProcess[str]]
Key = tuple[Sequence[str], dict[str, object]]

NOW = ("--now", "2026-11-20T16:00:00Z")
ROOT = issued("Kelp Authority", ca=True, life=20 * YEAR)
FACILITY = issued("Jo Heron", ROOT)
CLIENT = issued("Cleo Client", ROOT)
COLLEAGUE = issued("Nils Colleague", ROOT)
SHEET = "sheets/KX-7-1-tiny.pdf"
ACCEPT = (
    *("deviation", "new", SHEET, "--requirement", "white-level", "--reason", "it is enough"),
    *("--accepted-by", "Cleo Client", "--until", "2026-12-10", "--out", "d.json", *NOW),
)
DELIVER = ("deliver", "sheets", "--out", "d.zip", *NOW)
CHECK = {
    ACCEPT: ("deviation", "verify", "d.json", *NOW),
    DELIVER: ("verify", "d.zip", *known()),
}
TRUST = {ACCEPT: "--client-trust", DELIVER: "--trust"}


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A slot that misses a limit, with its sheet, and the keys of facility and client."""
    folder = tmp_path_factory.mktemp("beside")
    write_desk(folder, "bright")
    for name, data in (
        ("facility.pem", FACILITY.key_file() + FACILITY.chain),
        ("client.pem", CLIENT.key_file(PASSWORD)),
        ("chain.pem", CLIENT.chain),
        ("root.pem", ROOT.pem),
        ("clock.pem", clock().root.pem),
        ("password.txt", f"{PASSWORD}\n".encode()),
    ):
        (folder / name).write_bytes(data)
        (folder / name).chmod(0o600)
    key = ("--identity", "facility.pem")
    done = commands.call("assess", "job.yaml", "--out", "sheets", *key, *NOW, cwd=folder)
    assert (done.returncode, done.stderr) == (1, "")
    return folder


@pytest.fixture
def home(assessed: Path, tmp_path: Path) -> Path:
    """The same, to change."""
    return shutil.copytree(assessed, tmp_path, dirs_exist_ok=True)


FILE_KEY = (
    *("--identity", "client.pem", "--chain", "chain.pem", "--password-file", "password.txt"),
)


@contextmanager
def in_a_file(_: Path) -> Iterator[Key]:
    yield FILE_KEY, {}


@contextmanager
def in_a_token(folder: Path) -> Iterator[Key]:
    (folder / "token").mkdir()
    setting = make_token(folder / "token", keys={"cleo": CLIENT})
    reading, writing = os.pipe()
    os.write(writing, f"{PIN}\n".encode())
    os.close(writing)
    key = ("--pkcs11-module", str(module()), "--token", "Kelp token", "--key-label", "cleo")
    try:
        yield (*key, "--pin-fd", str(reading)), {"env": setting, "pass_fds": (reading,)}
    finally:
        os.close(reading)


@pytest.mark.parametrize("key", [in_a_file, in_a_token])
@pytest.mark.parametrize("call", [ACCEPT, DELIVER], ids=["deviation", "delivery"])
def test_signed_with_a_key(
    compliance: Run,
    process: Run,
    home: Path,
    call: tuple[str, ...],
    key: Callable[..., Iterator[Key]],
) -> None:
    run = process if key is in_a_token else compliance  # a process loads one token's library
    with key(home) as (options, settings):  # type: ignore[attr-defined]
        done = run(*call, *options, **settings)
    assert (done.returncode, done.stderr) == (0, "")
    done = compliance(*CHECK[call], TRUST[call], "root.pem")
    assert (done.returncode, done.stderr) == (0, "")
    told = " ".join(done.stdout.split())
    assert "Cleo Client, Tidal Pictures: its certificate was issued under Kelp Authority" in told


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--identity", "client.pem", "--pkcs11-module", "x"), "not both"),
        (("--pin-fd", "3"), "--pin-fd requires --pkcs11-module"),
        (("--timestamp-optional",), "--timestamp-optional requires --timestamp URL"),
        (("--identity", "client.pem"), "password of client.pem: no terminal to type it"),
        (("--identity", "root.pem"), "root.pem: holds no private key"),
    ],
)
@pytest.mark.parametrize("call", [ACCEPT, DELIVER], ids=["deviation", "delivery"])
def test_a_key_that_cannot_sign_is_one_line(
    compliance: Run, home: Path, call: tuple[str, ...], more: tuple[str, ...], words: str
) -> None:
    done = compliance(*call, *more)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert not list(home.glob("d.*"))


# ---------------------------------------------------------------- stamps


@pytest.mark.parametrize("call", [ACCEPT, DELIVER], ids=["deviation", "delivery"])
def test_stamped_or_not_at_all(compliance: Run, home: Path, call: tuple[str, ...]) -> None:
    def answer(query: bytes) -> tuple[int, str, bytes]:
        return 200, REPLY, clock().answer(query, SIGNED)

    with serving(answer) as url:
        done = compliance(*call, *FILE_KEY, "--timestamp", url)
        assert (done.returncode, done.stderr) == (0, "")
    expected = (TRUST[call], "root.pem", "--timestamp-trust", "clock.pem")
    done = compliance(*CHECK[call], *expected)
    told = " ".join(done.stdout.split())
    if call is ACCEPT:
        assert done.returncode == 0
        assert "Stamped 2026-11-20 16:00 UTC by Clock: its certificate was issued" in told
    else:
        assert "by a trusted time stamp, Clock; certificate valid" in told
        assert "2  ok       delivery signed: Cleo Client" in done.stdout
        assert "3  unknown  sheets" in done.stdout, "the sheet bears none"
    for file in home.glob("d.*"):
        file.unlink()
    done = compliance(*call, *FILE_KEY, "--timestamp", url)
    assert done.returncode == 4
    assert done.stderr == (
        f"compliance: no time stamp from {url}: connection refused; "
        "to sign without one: --timestamp-optional\n"
    )
    assert not list(home.glob("d.*"))
    done = compliance(*call, *FILE_KEY, "--timestamp", url, "--timestamp-optional")
    assert done.returncode == 0
    assert done.stderr == (
        f"compliance: signed without a time stamp: no time stamp from {url}: connection refused\n"
    )
    done = compliance(*CHECK[call], *expected)
    assert done.returncode == 3
    assert "without a time stamp" in done.stdout or "no time stamp: 2026-11" in done.stdout


def test_what_json_says_of_a_stamp(compliance: Run, home: Path) -> None:
    def answer(query: bytes) -> tuple[int, str, bytes]:
        return 200, REPLY, clock().answer(query, SIGNED)

    with serving(answer) as url:
        compliance(*ACCEPT, *FILE_KEY, "--timestamp", url)
    for more, trusted in ((), False), (("--timestamp-trust", "clock.pem"), True):
        done = compliance(*CHECK[ACCEPT], "--format", "json", *more)
        (found,) = json.loads(done.stdout)["deviations"]
        assert (found["stamped"], found["stamp_trusted"]) == ("2026-11-20T16:00:00Z", trusted)


# ---------------------------------------------------------------- by whom


def test_a_facility_cannot_accept_what_it_delivers(compliance: Run, home: Path) -> None:
    """Told when it tries with its sheet, and when a sheet would carry what it tried otherwise."""
    own = ("--identity", "facility.pem")
    done = compliance(*ACCEPT, *own)
    assert (done.returncode, done.stdout) == (2, "")
    told = (
        "d.json: accepts white-level with the key that signs the sheet; a facility cannot accept "
        "its own values: the person who accepts must sign with their own key\n"
    )
    assert done.stderr == told
    assert not (home / "d.json").exists()
    document = SHEET.replace(".pdf", ".json")
    done = compliance(*(document if each == SHEET else each for each in ACCEPT), *own)
    assert (done.returncode, done.stderr) == (0, ""), "a document tells of no signature"
    call = ("assess", "job.yaml", "--out", "again", "--deviation", "d.json", *NOW)
    done = compliance(*call, *own, "--client-trust", "root.pem")
    assert done.returncode == 2
    assert done.stderr.startswith(told)
    assert not list((home / "again").iterdir())


def test_another_key_of_the_house_may_not_accept_either(compliance: Run, home: Path) -> None:
    document = SHEET.replace(".pdf", ".json")
    (home / "colleague.pem").write_bytes(COLLEAGUE.key_file() + COLLEAGUE.chain)
    (home / "colleague.pem").chmod(0o600)
    new = [document if each == SHEET else each for each in ACCEPT]
    assert compliance(*new, "--identity", "colleague.pem").returncode == 0
    call = ("assess", "job.yaml", "--out", "again", "--deviation", "d.json", *NOW)
    done = compliance(*call, "--identity", "facility.pem", "--client-trust", "root.pem")
    assert done.returncode == 2
    assert done.stderr.startswith(
        "d.json: accepts white-level with a certificate of Low House, the organisation that signs "
    )


def test_an_authority_that_is_trusted_for_the_facility_accepts_nothing(
    compliance: Run, home: Path
) -> None:
    """It may have issued a certificate to the facility under any name."""
    assert compliance(*ACCEPT, *FILE_KEY).returncode == 0
    call = ("assess", "job.yaml", "--out", "again", "--deviation", "d.json", *NOW)
    done = compliance(*call, "--identity", "facility.pem")
    assert done.returncode == 1
    check = ("verify", "again/KX-7-1-tiny.pdf", "--trust", "root.pem", *known())
    done = compliance(*check)
    assert (done.returncode, done.stderr) == (3, "")
    told = " ".join(done.stdout.split())
    assert (
        "accepted by Cleo Client, signed by Cleo Client, Tidal Pictures: identity not che" in told
    )
    done = compliance(*check, "--client-trust", "root.pem")
    assert (done.returncode, done.stderr) == (0, "")
