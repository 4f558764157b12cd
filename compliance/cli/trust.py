"""The certificates that a call names as trusted: files, or folders of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from compliance.errors import IdentityError

if TYPE_CHECKING:
    from compliance.identity import Signer

__all__ = ["read_trust"]

LARGEST = 1 << 20
"""Bytes of a file of certificates."""
SUFFIXES = (".pem", ".crt", ".cer", ".der")
"""Of what is read in a folder."""


def read_trust(places: Sequence[Path]) -> list[Signer]:
    """The certificates in files, PEM or DER, and in folders of such. Raises IdentityError."""
    from compliance.identity import read_certificates

    found: dict[str, Signer] = {}
    for file in (file for place in places for file in _files(place)):
        for signer in read_certificates(_read(file), file=str(file)):
            found[signer.fingerprint] = signer
    return list(found.values())


def _files(place: Path) -> Iterator[Path]:
    if not place.is_dir():
        yield place
        return
    try:
        files = sorted(file for file in place.iterdir() if file.suffix.lower() in SUFFIXES)
    except OSError as error:
        raise _unreadable(place, error) from error
    if not files:
        *some, last = SUFFIXES
        expected = f"{', '.join(some)} or {last}"
        raise IdentityError(f"{place}: no certificates in that folder; expected files {expected}")
    yield from files


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


def _unreadable(place: Path, error: OSError) -> IdentityError:
    return IdentityError(f"{place}: cannot be read: {(error.strerror or str(error)).lower()}")
