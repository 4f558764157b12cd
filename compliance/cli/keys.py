"""Which key signs, and who stamps the time: options that several commands share."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from compliance.cli.keyring import ask_pin, default_identity, open_identity, read_small
from compliance.cli.terminal import harmless
from compliance.errors import UsageError

if TYPE_CHECKING:
    from compliance.identity import Identity
    from compliance.stamping import Stamper

__all__ = ["NAMES", "Keys", "Means", "key_options", "stamp_options", "taken", "tell_missed"]

PATH = click.Path(path_type=Path)

F = TypeVar("F", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Means:
    """What sheets are signed with."""

    identity: Identity | None = None
    stamper: Stamper | None = None


@dataclass(frozen=True, slots=True)
class Keys:
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
        from compliance.tokens import find_token, open_token

        assert self.pkcs11_module is not None
        chain = read_small(self.chain) if self.chain is not None else None
        token = find_token(self.pkcs11_module, self.token)
        pin = ask_pin(self.pin_fd, f"PIN of token {harmless(token.label)!r}")
        return open_token(token, self.key_label, pin, chain, str(self.chain))

    def means(self) -> Means:
        """The key, and who is asked for the time. Raises ComplianceError."""
        stamper = None
        if self.timestamp is not None:
            from compliance.stamping import Stamper

            stamper = Stamper(self.timestamp, optional=self.timestamp_optional)
        return Means(self.open(), stamper)


NAMES = tuple(Keys.__dataclass_fields__)
"""Of the options, as click passes them."""


def taken(given: dict[str, Any]) -> Keys:
    """Take these options out of what click passes."""
    return Keys(**{name: given.pop(name) for name in NAMES if name in given})


def key_options(whose: str) -> Callable[[F], F]:
    """The options that name a key; `whose` ends the sentence about the file."""
    return _all(
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
    )


def stamp_options() -> Callable[[F], F]:
    """The options that name a time-stamping server."""
    return _all(
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


def _all(*options: Callable[[Any], Any]) -> Callable[[F], F]:
    def decorate(command: F) -> F:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def tell_missed(stamper: Stamper | None) -> None:
    """Say on standard error that there is no stamp, where one was only wished for."""
    if stamper is not None and stamper.missed is not None:
        why = str(stamper.missed).partition("; --timestamp-optional")[0]
        click.echo(f"compliance: signed without a time stamp: {harmless(why)}", err=True)


def _warn_of(place: Path) -> None:
    """A key that lies open is a mistake, but perhaps one that a machine's set-up asks for."""
    from compliance.identity import needs_password

    try:
        mode = stat.S_IMODE(place.stat().st_mode)
        open_key = os.name == "posix" and mode & 0o077 and not needs_password(read_small(place))
    except OSError:
        return
    if open_key:
        click.echo(
            f"compliance: {harmless(str(place))}: the key is under no password, and others may "
            f"read the file (mode {mode:o}); 'chmod 600' keeps it to you",
            err=True,
        )
