"""Options that several commands share: times, folders of rules, trusted certificates."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from compliance.errors import IdentityError

if TYPE_CHECKING:
    from compliance.signing.certificates import Signer


def time_option(ctx: click.Context, param: click.Parameter, value: str | None) -> datetime | None:
    """The aware time that `value` writes, None where the option is not given (a click callback)."""
    if value is None:
        return None
    from compliance.yaml_nodes.schema_reader import as_time

    found = as_time(value)
    if found is None:
        raise click.BadParameter(
            f"{value!r} is no time; expected RFC 3339 with its offset, e.g. 2026-11-20T16:00:00Z",
            ctx,
            param,
        )
    return found


def date_option(ctx: click.Context, param: click.Parameter, value: str | None) -> date | None:
    """The date that `value` writes, None where the option is not given (a click callback)."""
    if value is None:
        return None
    from compliance.yaml_nodes.schema_reader import as_date

    found = as_date(value)
    if found is None:
        raise click.BadParameter(f"{value!r} is no date; expected one like 2026-12-31", ctx, param)
    return found


Command = TypeVar("Command", bound=Callable[..., Any])


def specs_option(command: Command) -> Command:
    """The option `--specs DIR` of a command, passed to it as `specs`."""
    option = click.option(
        "--specs",
        metavar="DIR",
        type=click.Path(path_type=Path),
        multiple=True,
        help="Folder of further rule files; may be repeated.",
    )
    return option(command)


def search_path(specs: Sequence[Path], start: Path | None = None) -> tuple[Path, ...]:
    """Folders of rule files for a job in the folder `start`, or for the folder one stands in.

    The shipped ones are not among them; they are always searched last. Raises RuleError where
    the repository's `.compliance.yaml` is wrong.
    """
    from compliance.rules.library import repository_folders

    return (*specs, *repository_folders(start if start is not None else Path()))


LARGEST = 1 << 20
"""Bytes of a file of certificates."""
SUFFIXES = (".pem", ".crt", ".cer", ".der")
"""Of what is read in a folder."""


def read_trust(places: Sequence[Path]) -> list[Signer]:
    """The certificates in files, PEM or DER, and in folders of such. Raises IdentityError."""
    from compliance.signing.certificates import read_certificates

    found: dict[str, Signer] = {}
    for file in (file for place in places for file in _files(place)):
        data = _read(file)
        if _is_key_store(data):
            raise IdentityError(f"{file}: holds a key under a password; expected {_instead(file)}")
        for signer in read_certificates(data, file=str(file)):
            found[signer.fingerprint] = signer
    return list(found.values())


def _files(place: Path) -> Iterator[Path]:
    if not place.is_dir():
        yield place
        return
    try:
        files = sorted(
            file
            for file in place.iterdir()
            if file.suffix.lower() in SUFFIXES and not _is_special(file)
        )
    except OSError as error:
        raise _unreadable(place, error) from error
    if not files:
        *some, last = SUFFIXES
        expected = f"{', '.join(some)} or {last}"
        raise IdentityError(f"{place}: no certificates in that folder; expected files {expected}")
    yield from files


def _is_special(file: Path) -> bool:
    """Whether it is a folder, a pipe, a device: nothing that a folder keeps certificates in."""
    return file.exists() and not file.is_file()


def _read(file: Path) -> bytes:
    try:
        with file.open("rb") as source:
            data = source.read(LARGEST + 1)
    except OSError as error:
        raise _unreadable(file, error) from error
    if len(data) > LARGEST:
        raise IdentityError(
            f"{file}: is larger than {LARGEST >> 20} MiB, the most that certificates may have"
        )
    return data


def _is_key_store(data: bytes) -> bool:
    """Whether it begins as PKCS#12 does (RFC 7292, 4): a DER sequence, its first item version 3."""
    length = 2 if data[1:2] < b"\x80" else 2 + (data[1] & 0x7F)
    return data[:1] == b"\x30" and data[length : length + 3] == b"\x02\x01\x03"


def _instead(file: Path) -> str:
    """Where the certificate of a key store is to be had."""
    beside = file.with_suffix(".pem")
    if beside.is_file():
        return f"the certificate alone, {beside}"
    return f"the certificate alone, as 'compliance identity show {file} --pem' prints it"


def _unreadable(place: Path, error: OSError) -> IdentityError:
    return IdentityError(f"{place}: cannot be read: {(error.strerror or str(error)).lower()}")
