"""The options for the signing key and for time stamps, and how the key is opened.

The data folder is `COMPLIANCE_DATA`, or the platform's folder for a user's data.
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
    from datetime import datetime

    from compliance.model.signatures import Signer
    from compliance.signing.fetch import Fetcher
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


MAKE_ONE = "compliance identity new --name NAME --organisation FACILITY --email ADDRESS"
"""The command that creates an identity."""
LARGEST = 1 << 20
"""Most bytes of an identity or password file; real ones have a few thousand."""
LONGEST_PIN = 256


def data_folder() -> Path:
    """Return the user's data folder; it need not exist yet."""
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
    """Return the path of the user's own identity; it need not exist yet."""
    return data_folder() / "identity.p12"


def ask_password(file: Path | None, prompt: str, *, confirm: bool = False) -> str:
    """Return the first line of `file`, or prompt for the password without showing it.

    Raises IdentityError on an unreadable or empty file, UsageError without a terminal.
    """
    if file is not None:
        return _first_line(file)
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageError(
            f"{prompt[:1].lower()}{prompt[1:]}: no terminal to type it; "
            "give --password-file FILE with the password on line 1"
        )
    answer: str = click.prompt(prompt, hide_input=True, confirmation_prompt=confirm, err=True)
    return answer


def ask_pin(descriptor: int | None, prompt: str) -> str:
    """Return the first line of a file descriptor, or prompt for the PIN without showing it.

    Raises UsageError if the descriptor gives none, or without a terminal.
    """
    if descriptor is not None:
        return _line_of(descriptor)
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageError(
            f"{prompt}: no terminal to type it; give --pin-fd N, e.g. --pin-fd 3 3<pin.txt"
        )
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
        raise UsageError(f"--pin-fd: {descriptor} is not UTF-8 text") from None
    if not line or len(line) > LONGEST_PIN:
        raise UsageError(f"--pin-fd: {descriptor} has no PIN; expected it on line 1")
    return line


def _first_line(file: Path) -> str:
    try:
        text = read_small(file).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise IdentityError(f"{file}: is not UTF-8 text; expected the password on line 1") from None
    lines = text.splitlines()
    if not lines or not lines[0]:
        raise IdentityError(f"{file}: line 1 is empty; expected the password")
    return lines[0]


def read_small(file: Path) -> bytes:
    """Read the file of a key, a certificate or a password. Raises IdentityError."""
    return read_bounded(file, LARGEST, IdentityError, "accepted here")


def open_identity(
    file: Path | None, password_file: Path | None, chain: Path | None = None
) -> Identity | None:
    """Open the identity in `file`, or the user's own; None if `file` is None and there is none.

    `chain` is a file of certificates that belong to it. Raises IdentityError if it cannot be
    opened, UsageError without a password and a terminal.
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
    """The key and the time-stamping server that sheets are signed with."""

    identity: Identity | None = None
    stamper: Stamper | None = None
    fetcher: Fetcher | None = None
    """Fetches revocation data for an archive stamp; None: sheets get none."""

    @property
    def signer(self) -> Signer | None:
        """Who signs; None if sheets are not signed."""
        return self.identity.signer if self.identity is not None else None

    def archived(self, sheet: bytes, when: datetime) -> bytes:
        """Add an archive stamp to a signed sheet, if sheets get one. Raises ComplianceError."""
        if self.fetcher is None or self.stamper is None or self.identity is None:
            return sheet
        from compliance.signing.archive import archive

        return archive(sheet, when=when, stamper=self.stamper, fetcher=self.fetcher)


@dataclass(frozen=True, slots=True)
class KeyOptions:
    """The options of a call for the signing key and the time stamp."""

    identity: Path | None = None
    chain: Path | None = None
    password_file: Path | None = None
    pkcs11_module: Path | None = None
    token: str | None = None
    key_label: str | None = None
    pin_fd: int | None = None
    timestamp: str | None = None
    timestamp_optional: bool = False
    long_term: bool = False
    allow_private_addresses: bool = False

    @property
    def files(self) -> tuple[Path, ...]:
        """The files that are read."""
        named = (self.identity, self.chain, self.password_file)
        return tuple(path for path in named if path is not None)

    def check(self) -> None:
        """Check that the options fit together. Raises UsageError."""
        if self.pkcs11_module is not None:
            for option, file in (
                ("--identity", self.identity),
                ("--password-file", self.password_file),
            ):
                if file is not None:
                    raise UsageError(f"give {option} or --pkcs11-module, not both")
        else:
            for option, given in (
                ("--token", self.token),
                ("--key-label", self.key_label),
                ("--pin-fd", self.pin_fd),
            ):
                if given is not None:
                    raise UsageError(f"{option} requires --pkcs11-module")
        if self.timestamp_optional and self.timestamp is None:
            raise UsageError("--timestamp-optional requires --timestamp URL")
        if self.long_term and (self.timestamp is None or self.timestamp_optional):
            raise UsageError("--long-term requires --timestamp URL, without --timestamp-optional")
        if self.allow_private_addresses and not self.long_term:
            raise UsageError("--allow-private-addresses requires --long-term")

    def open(self) -> Identity | None:
        """Open the key; None if none is named and the user has none. Raises ComplianceError."""
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
        """Open the key and set up the time-stamping server. Raises ComplianceError."""
        stamper = None
        if self.timestamp is not None:
            from compliance.signing.timestamps import Stamper

            stamper = Stamper(self.timestamp, optional=self.timestamp_optional)
        fetcher = fetcher_of(self.allow_private_addresses) if self.long_term else None
        return SigningMeans(self.open(), stamper, fetcher)


def fetcher_of(allow_private: bool) -> Fetcher:
    """Set up what fetches the addresses that certificates name."""
    from compliance.signing.fetch import Fetcher

    return Fetcher(allow_private=allow_private)


NAMES = tuple(KeyOptions.__dataclass_fields__)
"""Names of the options, as click passes them."""


def pop_key_options(given: dict[str, Any]) -> KeyOptions:
    """Take these options out of what click passes."""
    return KeyOptions(**{name: given.pop(name) for name in NAMES if name in given})


def signing_options(whose: str) -> Callable[[Command], Command]:
    """The options for a key and a time-stamping server; `whose` says what the key is for."""
    return together(
        click.option(
            "--identity",
            metavar="FILE",
            type=PATH,
            help=f"PKCS#12 or PEM key {whose}; default: your identity.",
        ),
        click.option(
            "--chain",
            metavar="FILE",
            type=PATH,
            help="Certificates of the key and of the authorities above it, if the key's file "
            "does not contain them.",
        ),
        click.option(
            "--password-file",
            metavar="FILE",
            type=PATH,
            help="File with the identity's password on line 1; default: prompt.",
        ),
        click.option(
            "--pkcs11-module",
            metavar="FILE",
            type=PATH,
            help="Sign with a key in a token, through this module.",
        ),
        click.option("--token", metavar="LABEL", help="The token, if the module has several."),
        click.option("--key-label", metavar="LABEL", help="The key, if the token has several."),
        click.option(
            "--pin-fd",
            metavar="N",
            type=click.IntRange(min=0),
            help="File descriptor with the token's PIN on line 1; default: prompt.",
        ),
        click.option(
            "--timestamp",
            metavar="URL",
            help="Get a time stamp from this server (RFC 3161).",
        ),
        click.option(
            "--timestamp-optional",
            is_flag=True,
            help="Sign without a time stamp if the server gives none.",
        ),
    )


def private_option(of: str) -> Callable[[Command], Command]:
    """`--allow-private-addresses`; `of` says what is fetched."""
    return click.option(
        "--allow-private-addresses",
        is_flag=True,
        help=f"Fetch {of} from addresses of a private network too, as a facility's own authority "
        "has them.",
    )


def long_term_options() -> Callable[[Command], Command]:
    """`--long-term`, and from where its data may be fetched."""
    return together(
        click.option(
            "--long-term",
            is_flag=True,
            help="Add certificates, revocation lists or answers from the addresses that the "
            "certificates name, and a time stamp of it all, so that the signature can be judged "
            "years later (PAdES B-LTA).",
        ),
        private_option("them"),
    )


def warn_missing_timestamp(stamper: Stamper | None) -> None:
    """Warn on standard error if an optional time stamp is missing."""
    if stamper is not None and stamper.missed is not None:
        print_note(f"signed without a time stamp: {stamper.missed.why}")


def _warn_of(place: Path) -> None:
    """Warn of a key that others can read: a mistake, or what a machine's set-up needs."""
    from compliance.signing.keys import needs_password

    try:
        mode = stat.S_IMODE(place.stat().st_mode)
        open_key = os.name == "posix" and mode & 0o077 and not needs_password(read_small(place))
    except OSError:
        return
    if open_key:
        print_note(
            f"{place}: the key has no password and others can read the file (mode {mode:o}); "
            "make it private with 'chmod 600'"
        )
