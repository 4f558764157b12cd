"""The certificates that a call names as trusted."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from compliance.errors import IdentityError

if TYPE_CHECKING:
    from compliance.identity import Signer

LARGEST = 1 << 20


def read_trust(files: Sequence[Path]) -> list[Signer]:
    """The certificates in `files`, PEM or DER. Raises IdentityError."""
    from compliance.identity import read_certificates

    found: list[Signer] = []
    for file in files:
        try:
            data = file.read_bytes()[: LARGEST + 1]
        except OSError as error:
            why = (error.strerror or str(error)).lower()
            raise IdentityError(f"{file}: cannot be read: {why}") from error
        found += read_certificates(data, file=str(file))
    return found
