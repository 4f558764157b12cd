"""Writing a folder whole or not at all."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from compliance.cli.files import REPLACE, check_folder
from compliance.errors import OutputError, UsageError

__all__ = ["check_place", "write_folder"]

SIGN = "bagit.txt"
"""Stands in every folder that may be replaced here, and in hardly another."""


def check_place(folder: Path, replace: bool) -> None:
    """That `folder` can be written: nothing stands there, or with `replace` a delivery.

    Raises UsageError where not, or where its parent is no folder.
    """
    check_folder(folder.absolute().parent)
    if not os.path.lexists(folder):
        return
    if not folder.is_dir() or folder.is_symlink():
        raise UsageError(f"{folder}: a file stands there; expected a place for a folder")
    if not any(folder.iterdir()):
        return
    if not (folder / SIGN).is_file():
        raise UsageError(f"{folder}: a folder stands there that is no delivery; name another")
    if not replace:
        raise UsageError(f"{folder}: stands there already; {REPLACE}")


def write_folder(folder: Path, files: Mapping[str, bytes], *, replace: bool) -> None:
    """Write `files`, by path below it, as the new `folder`, or nothing.

    A delivery that stands there is put aside until the new one is in its place, and then
    removed. Raises OutputError where the system refuses, UsageError where another folder
    stands there.
    """
    check_place(folder, replace)
    named, folder = folder, folder.absolute()
    new = folder.with_name(f".{secrets.token_hex(8)}.part")
    old = folder.with_name(f".{secrets.token_hex(8)}.old")
    try:
        for name, data in files.items():
            _fill(new / name, new, data)
        _change(new, folder, old, replace)
    except OSError as error:
        if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
            raise UsageError(f"{named}: has appeared while this ran; {REPLACE}") from None
        why = (error.strerror or str(error)).lower()
        raise OutputError(f"{named}: cannot be written: {why}") from error
    finally:
        for each in (new, *([old] if folder.exists() else [])):
            with suppress(OSError):
                shutil.rmtree(each)


def _change(new: Path, folder: Path, old: Path, replace: bool) -> None:
    """Put `new` in the place of `folder`, which becomes `old`; back again if that fails."""
    try:
        if replace and folder.exists():
            os.rename(folder, old)
        elif folder.exists():
            folder.rmdir()  # fails unless it is empty: another run may have been faster
        os.rename(new, folder)
    except BaseException:
        if old.exists() and not folder.exists():
            os.rename(old, folder)
        raise


def _fill(path: Path, top: Path, data: bytes) -> None:
    if ".." in path.parts or not path.is_relative_to(top):
        raise OutputError(f"{path}: leads out of the folder")
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
