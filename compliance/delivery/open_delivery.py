"""Open a delivery for reading: a folder, or a .zip of one; nothing is written.

Links and paths that lead out are not followed, and sizes are limited before anything is
read: a folder from an unknown source may be made to do harm.
"""

from __future__ import annotations

import os
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from compliance.delivery.bag import TOP, path_fault
from compliance.errors import DeliveryError, Problem, system_reason

LARGEST = 64 << 20
"""Most bytes of one file; the largest, a sheet, has some hundred thousand."""
LARGEST_ALL = 1 << 30
"""Most bytes of all files together."""
MOST = 5000
"""Most files."""
DEEPEST = 20
"""Most levels of folders."""
DIRECTORY = 4 << 20
"""Most bytes of a .zip's directory, which is read as a whole."""
ENTRY, END, END64 = b"PK\x03\x04", b"PK\x05\x06", b"PK\x06\x07"
HEAD = struct.Struct("<4s2xHH4xIIIHH")
"""Header of a file in a .zip: mark, flags, method, CRC, sizes, lengths of name and extra field."""
NOTHING = 2
"""Bytes of an empty file, deflated."""
AFTER = 0x8
"""Flag of a file whose sizes follow it."""
STORED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


@dataclass(frozen=True, slots=True)
class Opened:
    """The files of a delivery by path, each read on demand."""

    names: tuple[str, ...]
    faults: tuple[str, ...]
    """Faults of its entries: links, paths that lead out, files that are too large."""
    _read: Callable[[str], bytes] = field(repr=False)

    def read(self, name: str) -> bytes:
        """Read the file of one of the names; ValueError if it cannot be read."""
        return self._read(name)


def is_zip(path: Path) -> bool:
    """Return whether the file at `path` begins as a .zip does."""
    try:
        with path.open("rb") as file:
            return file.read(4) in (ENTRY, END)
    except OSError:
        return False


@contextmanager
def open_delivery(path: Path) -> Iterator[Opened]:
    """Open the folder or .zip at `path`; DeliveryError if it is neither."""
    if path.is_dir():
        yield _folder(path)
        return
    if not is_zip(path):
        raise DeliveryError(Problem(str(path), "is neither a folder nor a .zip"))
    _check_directory(path)
    try:
        archive = zipfile.ZipFile(path)
    except OSError as error:
        raise DeliveryError(Problem(str(path), system_reason(error))) from None
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        raise DeliveryError(Problem(str(path), "is a damaged .zip")) from None
    with archive:
        yield _zip(path, archive)


# ---------------------------------------------------------------- a folder


def _folder(path: Path) -> Opened:
    faults: list[str] = []
    sizes = dict(_walk(path, "", faults))
    names = _sound(sizes.items(), faults)

    def read(name: str) -> bytes:
        try:
            descriptor = os.open(path / name, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
            with open(descriptor, "rb") as file:
                data = file.read(LARGEST + 1)
        except OSError as error:
            raise ValueError(f"{name}: {system_reason(error)}") from None
        if len(data) > LARGEST:
            raise ValueError(f"{name}: is too large")
        return data

    return Opened(names, tuple(faults), read)


def _walk(folder: Path, prefix: str, faults: list[str]) -> Iterator[tuple[str, int]]:
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        faults.append(f"{prefix or folder}: {system_reason(error)}")
        return
    for entry in entries:
        name = prefix + entry.name
        status = entry.stat(follow_symlinks=False)
        if stat.S_ISLNK(status.st_mode):
            faults.append(f"{_shown(name)}: is a link; a delivery has only plain files")
        elif stat.S_ISDIR(status.st_mode):
            if name.count("/") < DEEPEST:
                yield from _walk(folder / entry.name, f"{name}/", faults)
            else:
                faults.append(f"{_shown(name)}: is nested too deeply")
        elif stat.S_ISREG(status.st_mode):
            yield name, status.st_size
        else:
            faults.append(f"{_shown(name)}: is not a plain file")


# ---------------------------------------------------------------- a .zip


def _check_directory(path: Path) -> None:
    """Check that a .zip ends with its directory, and that this is small enough to read."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - 66_000))
        tail = file.read()
    at = tail.rfind(END)
    if size > LARGEST_ALL or at < 0 or len(tail) < at + 22 or END64 in tail:
        raise DeliveryError(
            Problem(str(path), "is not a .zip of a delivery: it is too large or cut off")
        )
    (length,) = struct.unpack_from("<I", tail, at + 12)
    if length > DIRECTORY:
        raise DeliveryError(Problem(str(path), f"has too many files; expected at most {MOST}"))
    if len(tail) != at + 22:
        raise DeliveryError(Problem(str(path), "has data added after the end of the .zip"))


def _strewn(path: Path, archive: zipfile.ZipFile) -> Iterable[str]:
    """Yield a fault if the entries do not follow one another from the first byte on.

    Some programs use the directory, others the header of each entry: a .zip in which the two
    differ could unpack to other files than those checked here.
    """
    place = 0
    with path.open("rb") as file:
        for entry in sorted(archive.infolist(), key=lambda each: each.header_offset):
            if entry.header_offset - place not in _between(place):
                break
            file.seek(entry.header_offset)
            head = file.read(HEAD.size)
            if len(head) < HEAD.size:
                break
            mark, *stated, name, extra = HEAD.unpack(head)
            if mark != ENTRY or not _same(stated, entry):
                break
            place = entry.header_offset + HEAD.size + name + extra + entry.compress_size
        else:
            if archive.start_dir - place in _between(place):
                return
    yield "the .zip has more in it than its directory says"


def _same(stated: Sequence[int], entry: zipfile.ZipInfo) -> bool:
    """Return whether an entry's header agrees with the directory; its sizes may come after it."""
    flags, method, *sizes = stated
    found = [entry.CRC, entry.compress_size, entry.file_size]
    return method == entry.compress_type and (bool(flags & AFTER) or sizes == found)


def _between(place: int) -> Sequence[int]:
    """Return how many bytes may precede an entry: none, or the sizes of the previous one."""
    return (0, 12, 16) if place else (0,)


def _zip(path: Path, archive: zipfile.ZipFile) -> Opened:
    faults = list(_strewn(path, archive))
    entries: dict[str, zipfile.ZipInfo] = {}
    tops = set()
    for entry in archive.infolist():
        name, fault = entry.orig_filename, _entry_fault(entry)
        if fault is not None:
            faults.append(fault)
        elif not name.endswith("/"):
            top, slash, inner = name.partition("/")
            tops.add(top if slash else "")
            if inner in entries:
                faults.append(f"{_shown(inner)}: is in the .zip twice")
            elif slash:
                entries[inner] = entry
            else:
                faults.append(f"{_shown(name)}: is outside the delivery's folder")
    if len(tops) != 1:
        faults.append(f"{len(tops)} folders at the top of the .zip; expected 1")
    names = _sound(((name, entry.file_size) for name, entry in entries.items()), faults)

    def read(name: str) -> bytes:
        try:
            with archive.open(entries[name]) as file:
                data = file.read(LARGEST + 1)
        except (zipfile.BadZipFile, OSError, zlib.error, EOFError, RuntimeError):
            raise ValueError(f"{name}: is damaged") from None
        if len(data) != entries[name].file_size:
            raise ValueError(f"{name}: has another size than the .zip states")
        return data

    return Opened(names, tuple(faults), read)


def _entry_fault(entry: zipfile.ZipInfo) -> str | None:
    name = entry.orig_filename
    fault = path_fault(name.removesuffix("/"))
    if fault is not None:
        return fault
    if name.endswith("/") and (entry.file_size or entry.compress_size > NOTHING):
        return f"{_shown(name)}: is a folder with content of its own"
    mode = entry.external_attr >> 16
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG, stat.S_IFDIR):
        return f"{_shown(name)}: is a link or another special file; a delivery has only plain files"
    if entry.flag_bits & 0x1:
        return f"{_shown(name)}: is encrypted"
    if entry.compress_type not in STORED:
        return f"{_shown(name)}: has an unsupported compression; expected stored or deflated"
    return None


# ---------------------------------------------------------------- either


def _sound(sizes: Iterable[tuple[str, int]], faults: list[str]) -> tuple[str, ...]:
    """Return the names that may be read, sorted; append the faults of the others."""
    names: list[str] = []
    alike: dict[str, str] = {}
    total = 0
    # Tag files come first: they are read even if there are too many other files.
    for name, size in sorted(sizes, key=lambda each: (each[0] not in TOP, each)):
        fault = path_fault(name)
        folded = unicodedata.normalize("NFC", name).casefold()
        if fault is None and folded in alike:
            fault = f"{_shown(name)}: differs from {_shown(alike[folded])} in capitals or accents"
        if fault is None and size > LARGEST:
            fault = f"{_shown(name)}: has {size} bytes; expected at most {LARGEST}"
        if fault is None and len(names) >= MOST:
            faults.append(f"more than {MOST} files; the rest is not checked")
            break
        if fault is None and total + size > LARGEST_ALL:
            faults.append(f"more than {LARGEST_ALL} bytes; the rest is not checked")
            break
        alike.setdefault(folded, name)
        if fault is not None:
            faults.append(fault)
        else:
            names.append(name)
            total += size
    return tuple(sorted(names))


def _shown(name: str) -> str:
    return ascii(name[:120])[1:-1]
