"""Keys from files and from an authority, as a user names them."""

from __future__ import annotations

import os
import stat
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography import x509
from helpers.authorities import YEAR, clock, issued
from helpers.desk import known
from helpers.signing import MADE, PASSWORD, SIGNED
from helpers.timeserver import serving

from compliance.cli._options import read_trust
from compliance.signing.certificates import read_certificates
from compliance.signing.read import read_signatures
from compliance.signing.timestamps import REPLY

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW = ("--now", f"{SIGNED:%Y-%m-%dT%H:%M:%SZ}")

ROOT = issued("Kelp Authority", ca=True, life=20 * YEAR)
MIDDLE = issued("Kelp Signers", ROOT, ca=True, life=10 * YEAR)
ADA = issued("Ada Quill", MIDDLE)
CLIENT = issued("Cleo Client", MIDDLE)


@pytest.fixture
def assess(compliance: Run, desk: Callable[..., Path], tmp_path: Path) -> Run:
    """`assess` a good slot, in a folder with a key in every form."""
    desk("good")
    for name, data in (
        ("key.pem", ADA.key_file(PASSWORD)),
        ("open.pem", ADA.key_file()),
        ("all.pem", ADA.key_file() + ADA.chain),
        ("chain.pem", ADA.chain),
        ("root.pem", ROOT.pem),
        ("password.txt", f"{PASSWORD}\n".encode()),
    ):
        (tmp_path / name).write_bytes(data)
        (tmp_path / name).chmod(0o600)

    def call(*more: str, **options: object) -> subprocess.CompletedProcess[str]:
        return compliance("assess", "job.yaml", "--out", "out", *NOW, *more, **options)

    return call


def sheet(folder: Path) -> bytes:
    (found,) = (folder / "out").glob("*.pdf")
    return found.read_bytes()


@pytest.mark.parametrize(
    "key",
    [
        ("--identity", "key.pem", "--chain", "chain.pem", "--password-file", "password.txt"),
        ("--identity", "open.pem", "--chain", "chain.pem"),
        ("--identity", "all.pem"),
    ],
)
def test_a_key_of_an_authority(assess: Run, tmp_path: Path, key: tuple[str, ...]) -> None:
    done = assess(*key)
    assert (done.returncode, done.stderr) == (0, "")
    (signature,) = read_signatures(sheet(tmp_path), read_certificates(ROOT.pem)).signatures
    assert signature.signer.name == "Ada Quill"
    assert signature.trusted_as is not None


def test_an_authority_is_trusted_by_file_or_folder(
    assess: Run, compliance: Run, tmp_path: Path
) -> None:
    assess("--identity", "all.pem")
    (tmp_path / "trusted").mkdir()
    (tmp_path / "trusted" / "kelp.crt").write_bytes(ROOT.pem)
    (tmp_path / "trusted" / "README").write_text("not a certificate")
    name = next((tmp_path / "out").glob("*.pdf"))
    done = compliance("verify", name, "--trust", "chain.pem", *known())
    assert done.returncode == 0
    assert "its certificate is among the trusted" in " ".join(done.stdout.split())
    done = compliance("verify", name, "--trust", "trusted", *known())
    assert done.returncode == 0
    text = " ".join(done.stdout.split())
    assert "issued under Kelp Authority, which is trusted (revocation not checked)" in text


def test_a_request_and_what_becomes_of_it(assess: Run, compliance: Run, tmp_path: Path) -> None:
    who = ("--name", "Noor Reed", "--organisation", "Low House", "--email", "noor@example.org")
    asked = ("identity", "request", *who, "--out", "noor.p12", "--password-file", "password.txt")
    done = compliance(*asked)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "key                  noor.p12\nrequest              noor.csr\n"
    assert stat.S_IMODE((tmp_path / "noor.p12").stat().st_mode) == 0o600
    assert compliance(*asked).returncode == 2
    request = x509.load_pem_x509_csr((tmp_path / "noor.csr").read_bytes())
    answer = issued("as requested", MIDDLE, public=request, start=MADE)
    (tmp_path / "answer.pem").write_bytes(answer.chain)
    key = ("--identity", "noor.p12", "--password-file", "password.txt")
    done = assess(*key)
    assert done.returncode == 2
    assert "noor.p12: no certificate for the key; expected it with the key" in done.stderr
    done = assess(*key, "--chain", "answer.pem")
    assert (done.returncode, done.stderr) == (0, "")
    assert read_signatures(sheet(tmp_path)).signatures[0].signer.name == "Noor Reed"
    shown = compliance("identity", "show", "noor.p12", *key[2:], "--chain", "answer.pem")
    assert "issued by            O=Low House,CN=Kelp Signers" in shown.stdout


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--identity", "key.pem"), "password of key.pem: no terminal to type it; give"),
        (("--identity", "open.pem"), "open.pem: no certificate for the key"),
        (("--identity", "open.pem", "--chain", "root.pem"), "open.pem and root.pem: no"),
        (("--identity", "open.pem", "--chain", "none.pem"), "none.pem: cannot be read: no"),
        (("--identity", "open.pem", "--chain", "job.yaml"), "job.yaml: holds no certificate"),
        (("--identity", "chain.pem"), "chain.pem: holds no private key; expected"),
        (("--identity", "job.yaml"), "job.yaml: is neither PKCS#12 (.p12 or .pfx) nor PEM"),
        (("--timestamp-optional",), "--timestamp-optional requires --timestamp URL"),
        (("--timestamp", "ftp://x/"), "--timestamp: 'ftp://x/' is not an address; expected http"),
    ],
)  # fmt: skip
def test_bad_calls_are_one_line(
    assess: Run, tmp_path: Path, more: tuple[str, ...], words: str
) -> None:
    done = assess(*more)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not list((tmp_path / "out").glob("*.*"))


@pytest.mark.parametrize("option", ["--identity", "--chain", "--timestamp", "--pkcs11-module"])
def test_what_signs_goes_with_sheets(assess: Run, option: str) -> None:
    done = assess("--no-sheet", option, "open.pem")
    assert done.returncode == 2
    assert done.stderr == f"compliance: give {option} or --no-sheet, not both\n"


def test_an_open_key_that_others_may_read_is_told_of(assess: Run, tmp_path: Path) -> None:
    (tmp_path / "all.pem").chmod(0o644)
    done = assess("--identity", "all.pem")
    assert done.returncode == 0
    assert done.stderr == (
        "compliance: all.pem: the key has no password and others can read the file "
        "(mode 644); make it private with 'chmod 600'\n"
    )


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "trusted: no certificates in this folder; expected .pem, .crt, .cer or .der files"),
        ({"a.txt": b"x"}, "trusted: no certificates in this folder"),
        ({"a.pem": b"x"}, "trusted/a.pem: holds no certificate; expected PEM"),
        ({"a.pem": bytes(2 << 20)}, "trusted/a.pem: is larger than 1 MiB"),
    ],
)
def test_folders_of_trust(
    assess: Run, compliance: Run, tmp_path: Path, files: dict[str, bytes], words: str
) -> None:
    assess("--identity", "all.pem")
    (tmp_path / "trusted").mkdir()
    for name, data in files.items():
        (tmp_path / "trusted" / name).write_bytes(data)
    name = next((tmp_path / "out").glob("*.pdf"))
    for option in ("--trust", "--timestamp-trust"):
        done = compliance("verify", name, option, "trusted")
        assert (done.returncode, done.stdout) == (2, "")
        assert words in done.stderr
        assert len(done.stderr.splitlines()) == 1


def test_a_pipe_in_a_folder_of_trust_is_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "root.pem").write_bytes(ROOT.pem)
    os.mkfifo(tmp_path / "a.pem")
    (tmp_path / "b.pem").mkdir()
    assert [signer.name for signer in read_trust([tmp_path])] == ["Kelp Authority"]


# ---------------------------------------------------------------- stamps


def test_every_sheet_of_a_run_is_stamped_or_none_is_written(
    compliance: Run, assess: Run, desk: Callable[..., Path], tmp_path: Path
) -> None:
    desk("good", "bright")
    key = ("--identity", "all.pem")

    def answer(query: bytes) -> tuple[int, str, bytes]:
        return 200, REPLY, clock().answer(query, SIGNED)

    with serving(answer) as url:
        done = assess(*key, "--timestamp", url)
        assert (done.returncode, done.stderr) == (1, "")
    files = sorted((tmp_path / "out").glob("*.pdf"))
    assert len(files) == 2
    for file in files:
        (signature,) = read_signatures(file.read_bytes()).signatures
        assert signature.stamp is not None and signature.stamp.time == SIGNED
    (tmp_path / "clock.pem").write_bytes(clock().root.pem)
    trusted = ("--trust", "root.pem", "--timestamp-trust", "clock.pem")
    done = compliance("verify", *files, *trusted, *known())
    assert done.returncode == 0
    assert done.stdout.count("by a trusted time stamp") == 2
    for file in (tmp_path / "out").iterdir():
        file.unlink()
    done = assess(*key, "--timestamp", url)
    assert done.returncode == 4
    assert done.stderr == (
        f"compliance: no time stamp from {url}: connection refused; "
        "to sign without one: --timestamp-optional\n"
    )
    assert not list((tmp_path / "out").iterdir())
    done = assess(*key, "--timestamp", url, "--timestamp-optional")
    assert done.returncode == 1
    assert done.stderr == (
        f"compliance: signed without a time stamp: no time stamp from {url}: connection refused\n"
    )
    assert len(list((tmp_path / "out").glob("*.pdf"))) == 2


def test_two_sheets_with_one_number(assess: Run, compliance: Run, tmp_path: Path) -> None:
    """The same assessment signed twice over: which of the two is the sheet?"""
    assess("--identity", "all.pem")
    first = next((tmp_path / "out").glob("*.pdf"))
    first.rename(tmp_path / "one.pdf")
    assess("--identity", "all.pem", "--replace")
    other = next((tmp_path / "out").glob("*.pdf"))
    other.rename(tmp_path / "two.pdf")
    assert compliance("verify", "one.pdf", "--trust", "root.pem", *known()).returncode == 0
    done = compliance("verify", "one.pdf", "two.pdf", "--trust", "root.pem")
    assert done.returncode == 1
    assert done.stderr.startswith(
        "compliance: one.pdf and two.pdf are different sheets with the same number, KX-7-1-tiny-"
    )
    (tmp_path / "client.pem").write_bytes(CLIENT.key_file() + CLIENT.chain)
    (tmp_path / "client.pem").chmod(0o600)
    key = ("--identity", "client.pem", *NOW)
    assert compliance("countersign", "one.pdf", *key, "--out", "three.pdf").returncode == 0
    check = ("verify", "one.pdf", "three.pdf", "--trust", "root.pem", *known())
    assert compliance(*check).returncode == 3
    done = compliance(*check, "--client-trust", "root.pem")
    assert (done.returncode, done.stderr) == (0, "")
