"""Where the user's identity lies, and how it is opened.

The data folder is `COMPLIANCE_DATA`, or the platform's place for a user's data.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from compliance.errors import IdentityError, UsageError

if TYPE_CHECKING:
    from compliance.identity import Identity

__all__ = [
    "MAKE_ONE",
    "ask_password",
    "ask_pin",
    "data_folder",
    "default_identity",
    "open_identity",
    "read_small",
]

MAKE_ONE = "compliance identity new --name NAME --organisation FACILITY --email ADDRESS"
"""The command that makes an identity."""
LARGEST = 1 << 20
"""Bytes of an identity or password file; real ones have a few thousand."""
LONGEST_PIN = 256


def data_folder() -> Path:
    """The user's data folder; it need not exist yet."""
    stated = os.environ.get("COMPLIANCE_DATA")
    if stated:
        return Path(stated)
    return _platform_folder() / "compliance"


def _platform_folder() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")


def default_identity() -> Path:
    """Where the user's own identity is kept; it need not exist yet."""
    return data_folder() / "identity.p12"


def ask_password(file: Path | None, prompt: str, *, confirm: bool = False) -> str:
    """The first line of `file`, or what the user types without it being shown.

    Raises IdentityError on an unreadable or empty file, UsageError where nobody is there to type.
    """
    if file is not None:
        return _first_line(file)
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageError(
            f"{prompt[:1].lower()}{prompt[1:]} cannot be asked for here; "
            "give --password-file FILE, its first line the password"
        )
    answer: str = click.prompt(prompt, hide_input=True, confirmation_prompt=confirm, err=True)
    return answer


def ask_pin(descriptor: int | None, prompt: str) -> str:
    """The first line that a file descriptor gives, or what the user types unseen.

    Raises UsageError where the descriptor gives none, or nobody is there to type.
    """
    if descriptor is not None:
        return _line_of(descriptor)
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageError(f"{prompt} cannot be asked for here; give --pin-fd N, e.g. 3<pin.txt")
    answer: str = click.prompt(prompt, hide_input=True, err=True)
    return answer


def _line_of(descriptor: int) -> str:
    data = b""
    try:
        while b"\n" not in data and len(data) <= LONGEST_PIN:
            part = os.read(descriptor, LONGEST_PIN)
            if not part:
                break
            data += part
        line = data.splitlines()[0].decode() if data.strip() else ""
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise UsageError(f"--pin-fd: {descriptor} cannot be read: {why}") from None
    except UnicodeDecodeError:
        raise UsageError(f"--pin-fd: {descriptor} gives no UTF-8 text") from None
    if not line or len(line) > LONGEST_PIN:
        raise UsageError(f"--pin-fd: {descriptor} gives no PIN; expected it on the first line")
    return line


def _first_line(file: Path) -> str:
    try:
        text = read_small(file).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise IdentityError(f"{file}: is no UTF-8 text; expected the password on line 1") from None
    lines = text.splitlines()
    if not lines or not lines[0]:
        raise IdentityError(f"{file}: line 1 is empty; expected the password")
    return lines[0]


def read_small(file: Path) -> bytes:
    """Of a key, a certificate or a password. Raises IdentityError."""
    try:
        with file.open("rb") as source:
            data = source.read(LARGEST + 1)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise IdentityError(f"{file}: cannot be read: {why}") from error
    if len(data) > LARGEST:
        raise IdentityError(f"{file}: is larger than {LARGEST >> 20} MiB, the most accepted here")
    return data


def open_identity(
    file: Path | None, password_file: Path | None, chain: Path | None = None
) -> Identity | None:
    """The identity in `file`, or the user's own; None where `file` is None and there is none.

    `chain` is a file of certificates that belong to it. Raises IdentityError where it
    cannot be opened, UsageError where its password is not at hand.
    """
    place = file or default_identity()
    if file is None and not place.exists():
        return None
    data = read_small(place)
    certificates = read_small(chain) if chain is not None else None
    from compliance.identity import load_identity, needs_password

    password = None
    if needs_password(data):
        password = ask_password(password_file, f"Password of {place}")
    return load_identity(data, password, file=str(place), chain=certificates, chain_file=str(chain))
