"""Read files within bounds; write files and folders whole or not at all, where they belong.

A file is written beside its place under a name of its own, put to disk, and then
moved there in one step. Without leave to replace, the step fails if a file has
appeared meanwhile, so that of two runs at once only one writes.
"""

from __future__ import annotations

import errno
import json
import logging
import os
import secrets
import shutil
import stat
import sys
import unicodedata
import warnings
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.cli._terminal import print_note
from compliance.errors import ComplianceError, OutputError, SheetError, UsageError, system_reason

if TYPE_CHECKING:
    from filelock import BaseFileLock

    from compliance.model.results import Verification


LONGEST = 70
"""Bytes of one part of a name: three of them, hyphens and suffix stay under the usual 255."""
REPLACE = "--replace writes over it"
"""What to do where something stands in the way that may be replaced."""
RESERVED = frozenset('<>:"/\\|?*%')
LOCK = ".compliance.lock"
"""Of a folder that a run writes to; gone when the run ends."""


def clean_name(text: str) -> str:
    """`text` as one part of a file's name: it cannot leave its folder, hide or be an option.

    Letters and digits of every script stay; separators, spaces, signs that some file
    system reserves, control and direction characters become hyphens, and what Windows keeps
    for a device gets an underscore. Different texts may come out alike: a caller that writes
    several files compares them (`check_targets`).
    """
    from compliance.yaml_nodes.read_file import is_device_name

    text = unicodedata.normalize("NFC", text)
    kept = "".join(char if _keeps(char) else "-" for char in text)
    words = [word for word in kept.split("-") if word]
    name = "-".join(words).strip("-.~").encode()[:LONGEST].decode(errors="ignore")
    name = name.rstrip("-.~") or "unnamed"
    stem, dot, rest = name.partition(".")
    return f"{stem}_{dot}{rest}" if is_device_name(name) else name


def _keeps(char: str) -> bool:
    return char not in RESERVED and unicodedata.category(char)[0] not in "CZ"


# ---------------------------------------------------------------- reading


def read_bounded(
    file: Path,
    limit: int,
    error: type[ComplianceError],
    expected: str,
    *,
    unreadable: str = "cannot be read: ",
) -> bytes:
    """The bytes of `file`; `error` in one line where it cannot be read or is above `limit`.

    `expected` ends the line about its size: "the most that a sheet may have".
    """
    try:
        with file.open("rb") as source:
            data = source.read(limit + 1)
    except OSError as fault:
        raise error(f"{file}: {unreadable}{system_reason(fault)}") from fault
    if len(data) > limit:
        raise error(f"{file}: is larger than {limit >> 20} MiB, the most {expected}")
    return data


# ---------------------------------------------------------------- checks


def check_folder(folder: Path) -> None:
    """Make `folder` where there is none and try that a file can be made in it.

    Raises UsageError where a file stands in its place, OutputError where the system refuses.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise UsageError(f"{folder}: a file stands there; expected a folder") from None
    except OSError as error:
        raise OutputError(f"{folder}: cannot be made: {system_reason(error)}") from error
    _try(folder)


def _try(folder: Path) -> None:
    trial = _beside(folder / "trial")
    try:
        os.close(os.open(trial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        trial.unlink()
    except OSError as error:
        raise OutputError(
            f"{folder}: no file can be written there: {system_reason(error)}"
        ) from error


def check_new_file(path: Path, replace: bool) -> None:
    """That one file can be written: `check_folder` of its folder, `check_targets` of itself."""
    check_folder(path.parent)
    check_targets([path], replace)


def check_targets(paths: Iterable[Path], replace: bool) -> None:
    """Check that each path can be written: it is new unless `replace`, and not a folder.

    Raises UsageError with one line per path; OutputError where the system refuses.
    """
    faults = [fault for path in paths if (fault := _taken(path, replace))]
    if faults:
        raise UsageError("\n".join(faults))


def _taken(path: Path, replace: bool) -> str | None:
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return None
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {system_reason(error)}") from error
    if stat.S_ISDIR(mode):
        return f"{path}: a folder stands there"
    if path.exists() and not path.is_file():
        return f"{path}: is no regular file; expected a new file's name"
    return None if replace else f"{path}: stands there already; {REPLACE}"


@contextmanager
def lock_folder(folder: Path) -> Iterator[None]:
    """Hold `folder` against other runs while inside; say so where one is at work.

    The system lets go when the process ends, however it ends. Where the system or the file
    system knows no such lock, files are still placed whole and never two in one place.
    """
    lock: BaseFileLock | None = None
    try:
        with suppress(NotImplementedError, OSError):
            lock = _locked(folder)
        yield
    finally:
        if lock is not None:
            _unlock(lock)


def _locked(folder: Path) -> BaseFileLock:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a system without locks has one by a file's existence
        from filelock import FileLock, Timeout

    lock = FileLock(folder / LOCK)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        print_note(f"waiting for another run that writes to {folder}")
        lock.acquire()
    return lock


def _unlock(lock: BaseFileLock) -> None:
    """Let go, and leave no file: on POSIX removed while it is held, elsewhere once it is not."""
    from filelock import UnixFileLock

    file = Path(lock.lock_file)
    if isinstance(lock, UnixFileLock):
        _drop([file])
    with suppress(OSError):
        lock.release()
    if sys.platform == "win32":
        _drop([file])


# ---------------------------------------------------------------- writing


def write_new(
    files: Mapping[Path, bytes], *, replace: bool, private: Collection[Path] = ()
) -> None:
    """Write all `files` or none; those in `private` so that only their owner may read them.

    Raises OutputError where the disk is full or the folder is read-only; UsageError where,
    without `replace`, a file stands in a place. Nothing unfinished is left behind. Where the
    file system cannot keep others out of a private file, a line on standard error says so.
    """
    ready: dict[Path, Path] = {}
    placed: list[Path] = []
    try:
        for path, data in files.items():
            ready[path] = _beside(path)
            _fill(ready[path], data, path, 0o600 if path in private else 0o666)
        for path, temporary in ready.items():
            _place(temporary, path, replace)
            placed.append(path)
        for path in private:
            _warn_if_open(path)
    except BaseException:
        _drop(() if replace else placed)
        raise
    finally:
        _drop(ready.values())


def write_file(path: Path, data: bytes) -> None:
    """Write one file over whatever stands there; devices and pipes are written to as they are.

    Raises OutputError.
    """
    try:
        path = path.resolve()
        special = path.exists() and not path.is_file()
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {system_reason(error)}") from error
    if not special:
        write_new({path: data}, replace=True)
        return
    try:
        path.write_bytes(data)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {system_reason(error)}") from error


def _warn_if_open(path: Path) -> None:
    """Say so where a file written for its owner alone is open to others by its mode."""
    with suppress(OSError):
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & 0o077:
            print_note(
                f"{path}: others may be able to read this file (mode {mode:o}): the rights of a "
                "single file cannot be set here; keep it in a folder of your own, under a password"
            )


def _beside(path: Path) -> Path:
    """A new name in the folder of `path`; hidden, so that no reader takes it for a result."""
    return path.with_name(f".{secrets.token_hex(8)}.part")


def _fill(temporary: Path, data: bytes, path: Path, mode: int) -> None:
    try:
        descriptor = os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode)
        with open(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {system_reason(error)}") from error


def _place(temporary: Path, path: Path, replace: bool) -> None:
    try:
        if replace:
            os.replace(temporary, path)
        else:
            _place_new(temporary, path)
    except FileExistsError:
        raise UsageError(f"{path}: has appeared while this ran; {REPLACE}") from None
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {system_reason(error)}") from error


def _place_new(temporary: Path, path: Path) -> None:
    """Move to `path` only if nothing is there; FileExistsError otherwise."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links: claim the name first
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        os.replace(temporary, path)


def _drop(paths: Iterable[Path]) -> None:
    for path in paths:
        with suppress(OSError):
            path.unlink(missing_ok=True)


SIGN = "bagit.txt"
"""Stands in every folder that may be replaced here, and in hardly another."""


def check_place(folder: Path, replace: bool) -> None:
    """Check that `folder` can be written: it is new, or with `replace` a delivery.

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
            _fill_folder(new / name, new, data)
        _change(new, folder, old, replace)
    except OSError as error:
        if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
            raise UsageError(f"{named}: has appeared while this ran; {REPLACE}") from None
        raise OutputError(f"{named}: cannot be written: {system_reason(error)}") from error
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


def _fill_folder(path: Path, top: Path, data: bytes) -> None:
    if ".." in path.parts or not path.is_relative_to(top):
        raise OutputError(f"{path}: leads out of the folder")
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def is_sheet_folder(path: Path) -> bool:
    """Whether `path` is a folder with nothing of a delivery in it, as `assess --out` writes one."""
    from compliance.delivery.bag import TOP

    if not path.is_dir():
        return False
    return not any((path / name).exists() for name in (*TOP, "data"))


def sheets_in(folder: Path) -> list[Path]:
    """The sheets that lie in a folder, in order. Raises OSError."""
    return sorted(file for file in folder.iterdir() if file.suffix.lower() == ".pdf")


def sheets_of(path: Path) -> list[Path]:
    """The sheets in a plain folder; anything else as it is. Raises SheetError.

    Only a delivery says which sheets there should be, so a folder without one holds as many
    as it happens to hold.
    """
    if not is_sheet_folder(path):
        return [path]
    try:
        sheets = sheets_in(path)
    except OSError as error:
        raise SheetError(f"{path}: {system_reason(error)}") from error
    if not sheets:
        raise SheetError(
            f"{path}: neither a delivery (there is no bagit.txt in it) nor a folder of sheets "
            "(there is no .pdf in it)"
        )
    return sheets


def read_sheet(file: Path) -> bytes:
    """The bytes of what should be a sheet. Raises SheetError."""
    from compliance.verification import LARGEST_SHEET

    return read_bounded(file, LARGEST_SHEET, SheetError, "that a sheet may have", unreadable="")


def reject_non_sheet(file: Path, data: bytes) -> None:
    """Refuse a JSON document that goes with sheets. Raises SheetError, with what to do instead."""
    from compliance.evidence.attachments import is_assessment

    document = _json_object(data)
    if document is None:
        return
    if is_assessment(document):
        sheet = file.with_suffix(".pdf")
        where = str(sheet) if sheet.is_file() else "the sheet made with it"
        raise SheetError(
            f"{file}: is an assessment without signature and evidence, so there is nothing to "
            f"check it by; verify {where}"
        )
    if {"deviation", "signature"} <= document.keys():
        raise SheetError(f"{file}: is a deviation; expected 'compliance deviation verify {file}'")


def _json_object(data: bytes) -> Mapping[str, Any] | None:
    if not data.lstrip().startswith(b"{"):
        return None
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def silence_libraries() -> None:
    """Keep the libraries of signatures from writing of a damaged file: the steps say it already."""
    for name in ("pyhanko", "pyhanko_certvalidator"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def verify_any_signer(data: bytes) -> Verification:
    """What a sheet is found to be, by anybody's signature."""
    from compliance.verification import verify_sheet

    silence_libraries()
    return verify_sheet(data, any_signer=True)
