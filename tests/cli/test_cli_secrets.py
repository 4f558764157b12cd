"""Keys, passwords and PINs get out nowhere: watched from all sides while every command signs.

What is printed, with tracebacks; what any library logs; every event that the interpreter
reports; the process list, children and all; every file written. For keys in files and in a
software token (SoftHSM), right secrets and wrong ones.
"""

from __future__ import annotations

import base64
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from helpers.authorities import YEAR, Holder, issued
from helpers.signing import MADE, PASSWORD
from helpers.tokens_of_software import PIN, TOKEN, make_token, module

from compliance.errors import ComplianceError
from compliance.signing.keys import load_identity, new_identity

NOW = ("--now", "2026-11-20T16:00:00Z")
ROOT = issued("Kelp Authority", ca=True, life=20 * YEAR)
FACILITY = issued("Ada Quill", ROOT)
CLIENT = issued("Cleo Client", ROOT)
WRONG = "another secret"
CHECKOUT = Path(__file__).resolve().parents[2]

WATCH = """
import logging, os, sys
logging.basicConfig(level=logging.DEBUG, stream=sys.stderr)
events = open(os.environ["EVENTS"], "a", errors="backslashreplace")
sys.addaudithook(lambda name, told: events.closed or print(name, repr(told), file=events))
"""
"""Loaded by the interpreter before anything: all that is logged, and all that it reports."""

CALLS = {
    "assess": ("assess", "job.yaml", "--out", "sheets"),
    "countersign": ("countersign", "sheets/KX-7-1-tiny.pdf", "--out", "second.pdf"),
    "deviation": (
        *("deviation", "new", "sheets/KX-7-1-tiny.json", "--requirement", "white-level"),
        *("--reason", "enough", "--accepted-by", "Cleo", "--until", "2026-12-10"),
        *("--out", "d.json"),
    ),
    "deliver": ("deliver", "sheets", "--out", "delivery"),
}  # fmt: skip


class Watched:
    """Commands run in a folder, and all that could be seen of them."""

    def __init__(self, folder: Path, given: Sequence[Path]) -> None:
        self.folder, self.given = folder, set(given)
        self.seen = b""
        watch = folder / "watch"
        watch.mkdir()
        (watch / "sitecustomize.py").write_text(WATCH)
        self.environment = {
            **{key: value for key, value in os.environ.items() if "COMPLIANCE" not in key},
            "PYTHONPATH": f"{watch}:{CHECKOUT}",
            "EVENTS": str(folder / "events"),
            "COMPLIANCE_DATA": "/nonexistent",
            "COMPLIANCE_TRACEBACK": "1",
            "PYTHONDEVMODE": "1",
            "PYTHONASYNCIODEBUG": "1",
        }

    def run(
        self, call: Sequence[str], code: int, secret: str | None = None, **setting: str
    ) -> None:
        """Run a command that ends with `code`; `secret` comes through a pipe as its fd."""
        reading, writing = os.pipe()
        os.write(writing, f"{secret}\n".encode())
        os.close(writing)
        more = () if secret is None else ("--pin-fd", str(reading))
        with subprocess.Popen(
            [sys.executable, "-m", "compliance.cli", *call, *more, *NOW],
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env={**self.environment, **setting},
            pass_fds=(reading,),
            start_new_session=True,
        ) as process:
            os.close(reading)
            said = b""
            assert process.stdout is not None
            os.set_blocking(process.stdout.fileno(), False)
            while process.poll() is None:
                self.seen += b"".join(_process_list(process.pid))
                said += process.stdout.read() or b""
                time.sleep(0.02)
            said += process.stdout.read() or b""
        assert process.returncode == code, said.decode()[-2000:]
        self.seen += said

    def files(self) -> Iterator[tuple[Path, bytes]]:
        """All that were written."""
        for path in self.folder.rglob("*"):
            if path.is_file() and not any(path.is_relative_to(each) for each in self.given):
                yield path, path.read_bytes()


def _process_list(session: int) -> Iterator[bytes]:
    """What others may read of the processes in a session: calls and names."""
    for place in Path("/proc").glob("[0-9]*"):
        with suppress(OSError, ValueError):
            after_the_name = (place / "stat").read_text().rpartition(") ")[2].split()
            if int(after_the_name[3]) == session:
                yield (place / "cmdline").read_bytes()
                yield (place / "comm").read_bytes()


def forms(holder: Holder) -> dict[str, bytes]:
    """A private key as it might lie about: its number, and the file's text."""
    assert hasattr(holder.key, "private_numbers")
    value = holder.key.private_numbers().private_value  # type: ignore[union-attr]
    number = value.to_bytes(32, "big")
    der = holder.key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return {
        "number": number,
        "in words": str(value).encode(),
        "hex": number.hex().encode(),
        "capitals": number.hex().upper().encode(),
        "as printed": repr(number)[2:-1].encode(),
        "base64": base64.b64encode(der)[40:100],
    }


@contextmanager
def in_files(folder: Path) -> Iterator[tuple[Watched, Callable[..., None]]]:
    """Keys under a password: the facility's as PEM, the client's as well."""
    given = {
        "facility.pem": FACILITY.key_file(PASSWORD) + FACILITY.chain,
        "client.pem": CLIENT.key_file(PASSWORD) + CLIENT.chain,
        "right.txt": f"{PASSWORD}\n".encode(),
        "wrong.txt": f"{WRONG}\n".encode(),
    }
    for name, data in given.items():
        (folder / name).write_bytes(data)
        (folder / name).chmod(0o600)
    watched = Watched(folder, [folder / name for name in given])

    def sign(name: str, who: str, code: int, *more: str, right: bool = True) -> None:
        key = ("--identity", f"{who}.pem", "--password-file", "right.txt" if right else "wrong.txt")
        watched.run((*CALLS[name], *key, *more), code)

    yield watched, sign


@contextmanager
def in_a_token(folder: Path) -> Iterator[tuple[Watched, Callable[..., None]]]:
    """The same keys in a token, the PIN through a pipe."""
    place = folder / "token"
    place.mkdir()
    setting = make_token(place, keys={"facility": FACILITY, "client": CLIENT})
    watched = Watched(folder, [place])

    def sign(name: str, who: str, code: int, *more: str, right: bool = True) -> None:
        key = ("--pkcs11-module", str(module()), "--token", TOKEN, "--key-label", who)
        watched.run((*CALLS[name], *key, *more), code, PIN if right else WRONG, **setting)

    yield watched, sign


@pytest.mark.parametrize("keys", [in_files, in_a_token])
def test_keys_and_secrets_appear_nowhere(
    desk: Callable[..., Path], tmp_path: Path, keys: Callable[[Path], object]
) -> None:
    desk("bright")
    with keys(tmp_path) as (watched, sign):  # type: ignore[attr-defined]
        sign("assess", "facility", 1)
        sign("countersign", "client", 0)
        sign("deviation", "client", 0)
        sign("deliver", "facility", 0)
        sign("assess", "facility", 2, "--replace", right=False)
        written = dict(watched.files())
    names = {path.name for path in written}
    assert {"KX-7-1-tiny.pdf", "second.pdf", "d.json", "signature.p7s", "events"} <= names
    assert b"is wrong" in watched.seen and b"Traceback" in watched.seen
    assert b"DEBUG:" in watched.seen and b"assess\0job.yaml" in watched.seen
    assert b"open (" in written[tmp_path / "events"]
    secrets = {"password": PASSWORD.encode(), "PIN": PIN.encode(), "wrong one": WRONG.encode()}
    for who, holder in (("facility", FACILITY), ("client", CLIENT)):
        secrets |= {f"{who}, {name}": form for name, form in forms(holder).items()}
    for name, secret in secrets.items():
        assert secret not in watched.seen, name
        for path, data in written.items():
            assert secret not in data, f"{name} in {path}"


# ---------------------------------------------------------------- exceptions


def chain_of(fault: BaseException | None) -> Iterator[BaseException]:
    """An exception and all that stand behind it."""
    seen: list[BaseException] = []
    waiting = [fault]
    while waiting:
        each = waiting.pop()
        if each is not None and each not in seen:
            seen.append(each)
            waiting += [each.__cause__, each.__context__]
    yield from seen


@pytest.mark.parametrize(
    "data",
    [
        new_identity("Ada Quill", "Low House", "ada@example.org", PASSWORD, MADE),
        FACILITY.key_file(PASSWORD) + FACILITY.chain,
        FACILITY.key_file(PASSWORD, traditional=True) + FACILITY.chain,
        FACILITY.key_file() + ROOT.pem,
        FACILITY.key_file()[:-60],
    ],
    ids=["PKCS#12", "PEM", "older PEM", "another certificate", "damaged"],
)
def test_what_is_raised_carries_no_secret(data: bytes) -> None:
    with pytest.raises(ComplianceError) as caught:
        load_identity(data, WRONG)
    for each in chain_of(caught.value):
        for told in (str(each), repr(each), repr(each.args), *getattr(each, "__notes__", ())):
            assert WRONG not in told and PASSWORD not in told
            assert not any(form.decode("latin-1") in told for form in forms(FACILITY).values())


def test_an_identity_does_not_print_its_key() -> None:
    who = load_identity(FACILITY.key_file() + FACILITY.chain, None)
    assert who.key
    for told in (str(who), repr(who), repr([who]), f"{who}"):
        assert repr(who.key)[2:-1] not in told
        assert not any(form.decode("latin-1") in told for form in forms(FACILITY).values())
