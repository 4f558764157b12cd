"""Open a delivery for reading: a folder, or a .zip of one; nothing is written.

Links and paths that lead out are not followed, only plain files are opened, and names, counts
and sizes are limited before anything is read: a folder from an unknown source may be made to
do harm.
"""

from __future__ import annotations

import os
import stat
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from compliance.delivery.bag import path_fault
from compliance.delivery.stored_zip import (
    END,
    ENDING,
    LOCAL,
    Entry,
    NotOurZipError,
    read_content,
    read_directory,
)
from compliance.errors import DeliveryError, Problem, system_reason
from compliance.yaml_nodes.read_file import open_plain_file

LARGEST = 64 << 20
"""Most bytes of one file; the largest, a sheet, has some hundred thousand."""
LARGEST_TAG = 16 << 20
"""Most bytes of a file beside `data`, which describes the others."""
LARGEST_ALL = 1 << 30
"""Most bytes of all files together."""
MOST = 5000
"""Most files."""
DEEPEST = 20
"""Most levels of folders."""


PDF = b"%PDF-"


@dataclass(frozen=True, slots=True)
class Opened:
    """The files of a delivery by path, each read on demand."""

    names: tuple[str, ...]
    faults: tuple[str, ...]
    """Faults of its entries: links, paths that lead out, files that are too large."""
    _read: Callable[[str], bytes] = field(repr=False)
    refused: bool = False
    """Nothing of it may be read, so that nothing can be said of its files."""

    def read(self, name: str) -> bytes:
        """Read the file of one of the names; ValueError if it cannot be read."""
        return self._read(name)


def is_zip(path: Path) -> bool:
    """Return whether the file at `path` begins or ends as a .zip does, and is no PDF."""
    try:
        with open_plain_file(path) as file:
            head = file.read(len(PDF))
            file.seek(max(0, file.seek(0, os.SEEK_END) - ENDING.size))
            return head.startswith((LOCAL, END)) or (head != PDF and file.read(4) == END)
    except (OSError, ValueError):
        return False


@contextmanager
def open_delivery(path: Path) -> Iterator[Opened]:
    """Open the folder or .zip at `path`; DeliveryError if it is neither."""
    if path.is_dir():
        yield _folder(path)
        return
    if not is_zip(path):
        raise DeliveryError(Problem(str(path), "is neither a folder nor a .zip"))
    try:
        file = open_plain_file(path)
    except (OSError, ValueError):
        raise DeliveryError(Problem(str(path), "cannot be read")) from None
    with file:
        yield _zip(file)


# ---------------------------------------------------------------- a folder


def _folder(path: Path) -> Opened:
    faults: list[str] = []
    sizes: dict[str, int] = {}
    for count, (name, size) in enumerate(_walk(path, "", faults), 1):
        if count > MOST:
            return _unread(f"has too many files; expected at most {MOST}; none was read")
        if size is not None:
            sizes[name] = size

    def read(name: str) -> bytes:
        try:
            with open_plain_file(path / name, follow=False) as file:
                data = file.read(LARGEST + 1)
        except OSError as error:
            raise ValueError(f"{_shown(name)}: {system_reason(error)}") from None
        except ValueError:
            raise ValueError(f"{_shown(name)}: is not a plain file") from None
        if len(data) > LARGEST:
            raise ValueError(f"{_shown(name)}: is too large")
        return data

    return _limited(sizes, faults, read)


Found = tuple[str, int | None]
"""A path in a folder, with the size of a plain file."""


def _walk(folder: Path, prefix: str, faults: list[str]) -> Iterator[Found]:
    """Yield all that is in a folder, in no order."""
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                yield from _entry(entry, prefix, faults)
    except OSError as error:
        faults.append(f"{_shown(prefix or str(folder))}: {system_reason(error)}")


def _entry(entry: os.DirEntry[str], prefix: str, faults: list[str]) -> Iterator[Found]:
    name = prefix + entry.name
    status = entry.stat(follow_symlinks=False)
    if stat.S_ISREG(status.st_mode):
        yield name, status.st_size
        return
    yield name, None
    if stat.S_ISLNK(status.st_mode):
        faults.append(f"{_shown(name)}: is a link; a delivery has only plain files")
    elif not stat.S_ISDIR(status.st_mode):
        faults.append(f"{_shown(name)}: is not a plain file")
    elif name.count("/") >= DEEPEST:
        faults.append(f"{_shown(name)}: is nested too deeply")
    else:
        yield from _walk(Path(entry.path), f"{name}/", faults)


# ---------------------------------------------------------------- a .zip


def _zip(file: BinaryIO) -> Opened:
    faults: list[str] = []
    entries: dict[str, Entry] = {}
    tops = set()
    try:
        for entry in read_directory(file, MOST):
            if isinstance(entry, str):
                faults.append(entry)
                continue
            top, slash, inner = entry.name.partition("/")
            tops.add(top if slash else "")
            if not slash:
                faults.append(f"{_shown(entry.name)}: is outside the delivery's folder")
            elif fault := path_fault(entry.name):
                faults.append(fault)
            elif entries.setdefault(inner, entry) is not entry:
                faults.append(f"{_shown(inner)}: is in the .zip twice")
    except NotOurZipError as fault:
        return _unread(f"the .zip: {fault}")
    if len(tops) != 1:
        faults.append(f"{len(tops)} folders at the top of the .zip; expected 1")
    sizes = {name: entry.size for name, entry in entries.items()}
    return _limited(sizes, faults, lambda name: read_content(file, entries[name]))


# ---------------------------------------------------------------- either


def _limited(sizes: dict[str, int], faults: list[str], read: Callable[[str], bytes]) -> Opened:
    """Return the files that may be read, with the faults of the others."""
    names = _sound(sizes.items(), faults)
    if sum(sizes[name] for name in names) > LARGEST_ALL:
        return _unread(f"has more than {LARGEST_ALL} bytes; none was read")
    return Opened(names, tuple(sorted(faults)), read)


def _unread(fault: str) -> Opened:
    """Return a delivery of which nothing may be read."""

    def read(name: str) -> bytes:
        raise ValueError(f"{name}: was not read")

    return Opened((), (fault,), read, refused=True)


def _sound(sizes: Iterable[tuple[str, int]], faults: list[str]) -> tuple[str, ...]:
    """Return the names that may be read, sorted; append the faults of the others."""
    names: list[str] = []
    alike: dict[str, str] = {}
    for name, size in sorted(sizes):
        most = LARGEST if name.startswith("data/") else LARGEST_TAG
        fault = path_fault(name)
        folded = unicodedata.normalize("NFC", name).casefold()
        if fault is None and folded in alike:
            fault = f"{_shown(name)}: differs from {_shown(alike[folded])} in capitals or accents"
        if fault is None and size > most:
            fault = f"{_shown(name)}: has {size} bytes; expected at most {most}"
        alike.setdefault(folded, name)
        if fault is not None:
            faults.append(fault)
        else:
            names.append(name)
    return tuple(names)


def _shown(name: str) -> str:
    return ascii(name[:120])[1:-1]
