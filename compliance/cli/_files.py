"""Read files of limited size; write files and folders completely or not at all.

A file is written beside its place under a temporary name, flushed to disk, and then moved
there in one step. Without permission to replace, the step fails if a file has appeared
meanwhile, so that only one of two simultaneous runs writes.
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
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.cli._terminal import print_note
from compliance.errors import ComplianceError, OutputError, SheetError, UsageError, system_reason

if TYPE_CHECKING:
    from filelock import BaseFileLock

    from compliance.model.results import Verification


LONGEST = 70
"""Most bytes of one part of a name: three parts with hyphens and suffix stay under 255."""
REPLACE = "use --replace to overwrite"
"""The hint if a file exists that may be overwritten."""
RESERVED = frozenset('<>:"/\\|?*%')
LOCK = ".compliance.lock"
"""The lock file of a folder that a run writes to; removed when the run ends."""


def clean_name(text: str) -> str:
    """Make `text` one part of a file name: it cannot leave its folder, hide or be an option.

    Letters and digits of every script stay; separators, spaces, characters that some file
    system reserves, control and direction characters become hyphens, and a name that Windows
    reserves for a device gets an underscore. Different texts may give the same name: a caller
    that writes several files compares them (`check_targets`).
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


def read_bounded(file: Path, limit: int, error: type[ComplianceError], expected: str) -> bytes:
    """Read `file`; raise `error`, in one line, if it cannot be read or is larger than `limit`.

    `expected` ends the line about its size: "the most that a sheet may have".
    """
    try:
        with file.open("rb") as source:
            data = source.read(limit + 1)
    except OSError as fault:
        raise error(f"{file}: cannot be read: {system_reason(fault)}") from fault
    if len(data) > limit:
        raise error(f"{file}: is larger than {limit >> 20} MiB, the most {expected}")
    return data


# ---------------------------------------------------------------- checks


def check_folder(folder: Path) -> None:
    """Create `folder` if it does not exist, and check that a file can be created in it.

    Raises UsageError if it is a file, OutputError if the system refuses.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise UsageError(f"{folder}: is a file, not a folder") from None
    except OSError as error:
        raise OutputError(f"{folder}: cannot be created: {system_reason(error)}") from error
    _try(folder)


def _try(folder: Path) -> None:
    trial = _beside(folder / "trial")
    try:
        os.close(os.open(trial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        trial.unlink()
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot write files in this folder: {system_reason(error)}"
        ) from error


def check_new_file(path: Path, replace: bool) -> None:
    """Check that one file can be written: `check_folder` for its folder, `check_targets` for it."""
    check_folder(path.parent)
    check_targets([path], replace)


def check_targets(paths: Iterable[Path], replace: bool) -> None:
    """Check that each path can be written: it is new unless `replace`, and not a folder.

    Raises UsageError with one line per path; OutputError if the system refuses.
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
        return f"{path}: is a folder, not a file"
    if path.exists() and not path.is_file():
        return f"{path}: is not a regular file; expected the name of a new file"
    return None if replace else f"{path}: already exists; {REPLACE}"


@contextmanager
def lock_folder(folder: Path) -> Iterator[None]:
    """Lock `folder` against other runs while inside; print a note if another run has it.

    The system releases the lock when the process ends, however it ends. If the system or the
    file system has no such lock, files are still written completely and never over another.
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
    """Release the lock and remove its file: on POSIX while locked, elsewhere after that."""
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

    Raises OutputError if the disk is full or the folder is read-only; UsageError if, without
    `replace`, a file already exists. Nothing unfinished is left behind. If the file system
    cannot keep others out of a private file, a warning goes to standard error.
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
    """Write one file, overwriting an existing one; write directly to devices and pipes.

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
    """Warn if others may read, by its mode, a file written for its owner alone."""
    with suppress(OSError):
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & 0o077:
            print_note(
                f"{path}: others may be able to read this file (mode {mode:o}): permissions of a "
                "single file cannot be set here; keep it in a private folder, with a password"
            )


def _beside(path: Path) -> Path:
    """Return a new name in the folder of `path`; hidden, so that it is not taken for a result."""
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
        raise UsageError(f"{path}: was created by another run; {REPLACE}") from None
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
"""A file that marks a delivery: only such a folder may be replaced."""


def check_place(folder: Path, replace: bool) -> None:
    """Check that `folder` can be written: it is new, or with `replace` a delivery.

    Raises UsageError if not, or if its parent is not a folder.
    """
    check_folder(folder.absolute().parent)
    if not os.path.lexists(folder):
        return
    if not folder.is_dir() or folder.is_symlink():
        raise UsageError(f"{folder}: is a file, not a folder")
    if not any(folder.iterdir()):
        return
    if not (folder / SIGN).is_file():
        raise UsageError(f"{folder}: is a folder but not a delivery; choose another name")
    if not replace:
        raise UsageError(f"{folder}: already exists; {REPLACE}")


def write_folder(folder: Path, files: Mapping[str, bytes], *, replace: bool) -> None:
    """Write `files`, by path below it, as the new `folder`, or nothing.

    An existing delivery is moved aside until the new one is in its place, and then removed.
    Raises OutputError if the system refuses, UsageError if another folder exists there.
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
            raise UsageError(f"{named}: was created by another run; {REPLACE}") from None
        raise OutputError(f"{named}: cannot be written: {system_reason(error)}") from error
    finally:
        for each in (new, *([old] if folder.exists() else [])):
            with suppress(OSError):
                shutil.rmtree(each)


def _change(new: Path, folder: Path, old: Path, replace: bool) -> None:
    """Move `new` to `folder`, and `folder` to `old`; undo this on failure."""
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
    """Return whether `path` is a folder of sheets, as `assess --out` writes it, not a delivery."""
    from compliance.delivery.bag import TOP

    if not path.is_dir():
        return False
    return not any((path / name).exists() for name in (*TOP, "data"))


def sheets_in(folder: Path) -> list[Path]:
    """List the sheets in a folder, in order. Raises OSError; SheetError if they are too many."""
    found = (file for file in folder.iterdir() if file.suffix.lower() == ".pdf")
    sheets = sorted(islice(found, MOST_SHEETS + 1))
    if len(sheets) > MOST_SHEETS:
        raise SheetError(
            f"{folder}: has more than {MOST_SHEETS} files .pdf; name the sheets, or smaller folders"
        )
    return sheets


MOST_SHEETS = 5000
"""Most sheets of one folder, as of a delivery."""


def sheets_of(path: Path) -> list[Path]:
    """List the sheets in a plain folder; return any other path as it is. Raises SheetError.

    Only a delivery lists the sheets that should be in it; a plain folder may lack some.
    """
    if not is_sheet_folder(path):
        return [path]
    try:
        sheets = sheets_in(path)
    except OSError as error:
        raise SheetError(f"{path}: {system_reason(error)}") from error
    if not sheets:
        raise SheetError(
            f"{path}: is neither a delivery (it has no bagit.txt) nor a folder of sheets (it has "
            "no .pdf)"
        )
    return sheets


def read_sheet(file: Path) -> bytes:
    """Read a plain file that should be a sheet. Raises SheetError."""
    from compliance.verification import LARGEST_SHEET
    from compliance.yaml_nodes.read_file import open_plain_file

    try:
        with open_plain_file(file) as source:
            data = source.read(LARGEST_SHEET + 1)
    except OSError as fault:
        raise SheetError(f"{file}: {system_reason(fault)}") from fault
    except ValueError:
        raise SheetError(f"{file}: is not a regular file; expected a sheet") from None
    if len(data) > LARGEST_SHEET:
        limit = f"{LARGEST_SHEET >> 20} MiB, the most that a sheet may have"
        raise SheetError(f"{file}: is larger than {limit}")
    return data


def reject_non_sheet(file: Path, data: bytes) -> None:
    """Refuse a JSON document that belongs to a sheet. Raises SheetError with what to do instead."""
    from compliance.evidence.attachments import is_assessment

    document = _json_object(data)
    if document is None:
        return
    if is_assessment(document):
        sheet = file.with_suffix(".pdf")
        instead = str(sheet) if sheet.is_file() else "its sheet (.pdf)"
        raise SheetError(
            f"{file}: is an assessment without signature and evidence, so it cannot be verified; "
            f"verify {instead}"
        )
    if {"deviation", "signature"} <= document.keys():
        raise SheetError(f"{file}: is a deviation; run 'compliance deviation verify {file}'")


def _json_object(data: bytes) -> Mapping[str, Any] | None:
    if not data.lstrip().startswith(b"{"):
        return None
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def silence_libraries() -> None:
    """Keep the signing libraries from logging on damaged files: the steps report the faults."""
    for name in ("pyhanko", "pyhanko_certvalidator"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def check_valid(sheet: Path, found: Verification, undone: str) -> None:
    """Raise SheetError if a sheet is not valid, so that something is left undone."""
    from compliance.report.verification import step_line

    if found.failed:
        raise SheetError(
            f"{sheet}: not {undone}: the sheet is not valid: {step_line(found.failed[0])}; "
            f"see: compliance verify {sheet}"
        )


def write_back(sheet: Path, out: Path | None, data: bytes, replace: bool) -> None:
    """Write a sheet with more in it to `out`, which `replace` lets overwrite, or to itself."""
    if out is None:
        write_file(sheet, data)
    else:
        write_new({out: data}, replace=replace)


def verify_any_signer(data: bytes, now: datetime) -> Verification:
    """Verify a sheet with any signer accepted; it must not have been signed after `now`."""
    from compliance.verification import verify_sheet

    silence_libraries()
    return verify_sheet(data, any_signer=True, now=now)
