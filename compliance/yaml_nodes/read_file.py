"""Reading files within bounds, and paths that may not leave a folder."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

from compliance.errors import InputError, Problem

DOCUMENT_LIMIT = 1 << 20
"""Bytes a rule, job, meter or patch list may have."""


def read_bytes(
    path: str | Path, error: type[InputError], what: str, *, limit: int = DOCUMENT_LIMIT
) -> bytes:
    """The bytes of a regular file; `error` where it cannot be read or is above `limit`."""
    name = str(path)
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise error(Problem(name, f"is a folder; expected a {what} file"))
        if not stat.S_ISREG(status.st_mode):
            raise error(Problem(name, f"is no regular file; expected a {what} file"))
        with open(path, "rb") as stream:
            data = stream.read(limit + 1)
    except FileNotFoundError:
        raise error(Problem(name, f"no such {what} file")) from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise error(Problem(name, f"cannot be read as a {what} file: {reason}")) from None
    if len(data) > limit:
        message = f"is larger than {limit / 1024:,.0f} KiB, the most a {what} file may have"
        raise error(Problem(name, message))
    return data


def sha256(data: bytes) -> str:
    """SHA-256 of a file's bytes, in hex."""
    return hashlib.sha256(data).hexdigest()


def resolve_inside(folder: Path, named: str) -> Path | None:
    """`named` taken from `folder`, links followed; None where that leaves `folder`."""
    home = Path(os.path.realpath(folder))
    resolved = Path(os.path.realpath(home / named))
    return resolved if resolved.is_relative_to(home) else None


PORTS = tuple(f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³")
DEVICES = frozenset(("aux", "con", "conin$", "conout$", "nul", "prn", *PORTS))
"""What Windows keeps for devices: no file is called so there, with any suffix or none."""


def is_device_name(name: str) -> bool:
    """Whether a file's name is one that Windows keeps for a device."""
    return name.partition(".")[0].rstrip(" ").lower() in DEVICES
