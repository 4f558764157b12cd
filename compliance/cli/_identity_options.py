"""The options of the key that signs and of time stamps, and how the key is opened.

The data folder is `COMPLIANCE_DATA`, or the platform's place for a user's data.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli._files import read_bounded
from compliance.cli._options import PATH, Command, together
from compliance.cli._terminal import escape_controls, print_note
from compliance.errors import IdentityError, UsageError, system_reason

if TYPE_CHECKING:
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


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
        why = system_reason(error)
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
    return read_bounded(file, LARGEST, IdentityError, "accepted here")


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
    from compliance.signing.keys import load_identity, needs_password

    password = None
    if needs_password(data):
        password = ask_password(password_file, f"Password of {place}")
    return load_identity(data, password, file=str(place), chain=certificates, chain_file=str(chain))


@dataclass(frozen=True, slots=True)
class SigningMeans:
    """What sheets are signed with."""

    identity: Identity | None = None
    stamper: Stamper | None = None


@dataclass(frozen=True, slots=True)
class KeyOptions:
    """What a call says of the key that signs, and of the time stamp."""

    identity: Path | None = None
    chain: Path | None = None
    password_file: Path | None = None
    pkcs11_module: Path | None = None
    token: str | None = None
    key_label: str | None = None
    pin_fd: int | None = None
    timestamp: str | None = None
    timestamp_optional: bool = False

    @property
    def files(self) -> tuple[Path, ...]:
        """That are read."""
        named = (self.identity, self.chain, self.password_file)
        return tuple(path for path in named if path is not None)

    def check(self) -> None:
        """That the options fit each other. Raises UsageError."""
        if self.pkcs11_module is not None:
            for option, there in (
                ("--identity", self.identity),
                ("--password-file", self.password_file),
            ):
                if there is not None:
                    raise UsageError(f"{option} and --pkcs11-module exclude each other")
        else:
            for option, given in (
                ("--token", self.token),
                ("--key-label", self.key_label),
                ("--pin-fd", self.pin_fd),
            ):
                if given is not None:
                    raise UsageError(f"{option} goes with --pkcs11-module")
        if self.timestamp_optional and self.timestamp is None:
            raise UsageError("--timestamp-optional goes with --timestamp URL")

    def open(self) -> Identity | None:
        """The key; None where none is named and the user has none. Raises ComplianceError."""
        if self.pkcs11_module is not None:
            return self._token()
        identity = open_identity(self.identity, self.password_file, self.chain)
        if identity is not None:
            _warn_of(self.identity or default_identity())
        return identity

    def _token(self) -> Identity:
        from compliance.signing.token import find_token, open_token

        assert self.pkcs11_module is not None
        chain = read_small(self.chain) if self.chain is not None else None
        token = find_token(self.pkcs11_module, self.token)
        pin = ask_pin(self.pin_fd, f"PIN of token {escape_controls(token.label)!r}")
        return open_token(token, self.key_label, pin, chain, str(self.chain))

    def means(self) -> SigningMeans:
        """The key, and who is asked for the time. Raises ComplianceError."""
        stamper = None
        if self.timestamp is not None:
            from compliance.signing.timestamps import Stamper

            stamper = Stamper(self.timestamp, optional=self.timestamp_optional)
        return SigningMeans(self.open(), stamper)


NAMES = tuple(KeyOptions.__dataclass_fields__)
"""Of the options, as click passes them."""


def pop_key_options(given: dict[str, Any]) -> KeyOptions:
    """Take these options out of what click passes."""
    return KeyOptions(**{name: given.pop(name) for name in NAMES if name in given})


def signing_options(whose: str) -> Callable[[Command], Command]:
    """The options that name a key and a time-stamping server; `whose` key ends the first."""
    return together(
        click.option("--identity", metavar="FILE", type=PATH, help=f"PKCS#12 or PEM key {whose}"),
        click.option(
            "--chain",
            metavar="FILE",
            type=PATH,
            help="Certificate of the key, and of the authorities above it, where they do not "
            "stand with it.",
        ),
        click.option(
            "--password-file", metavar="FILE", type=PATH, help="Its first line opens the identity."
        ),
        click.option(
            "--pkcs11-module",
            metavar="FILE",
            type=PATH,
            help="Sign with a key in a token, through this module.",
        ),
        click.option(
            "--token", metavar="LABEL", help="The token, where the module has more than one."
        ),
        click.option(
            "--key-label", metavar="LABEL", help="The key, where the token has more than one."
        ),
        click.option(
            "--pin-fd",
            metavar="N",
            type=click.IntRange(min=0),
            help="File descriptor that gives the token's PIN as a line; asked for unless said.",
        ),
        click.option(
            "--timestamp",
            metavar="URL",
            help="Have the time of signing stamped by this server (RFC 3161).",
        ),
        click.option(
            "--timestamp-optional",
            is_flag=True,
            help="Sign without a stamp where the server gives none.",
        ),
    )


def warn_missing_timestamp(stamper: Stamper | None) -> None:
    """Say on standard error that there is no stamp, where one was only wished for."""
    if stamper is not None and stamper.missed is not None:
        print_note(f"signed without a time stamp: {stamper.missed.why}")


def _warn_of(place: Path) -> None:
    """A key that lies open is a mistake, but perhaps one that a machine's set-up asks for."""
    from compliance.signing.keys import needs_password

    try:
        mode = stat.S_IMODE(place.stat().st_mode)
        open_key = os.name == "posix" and mode & 0o077 and not needs_password(read_small(place))
    except OSError:
        return
    if open_key:
        print_note(
            f"{place}: the key is under no password, and others may read the file (mode {mode:o}); "
            "'chmod 600' keeps it to you"
        )
