"""A delivery opened for reading: a folder, or a .zip of one; nothing is written anywhere.

Neither links nor paths that lead out are followed, and sizes are bounded before anything
is read: a folder from somebody else may have been made to do harm.
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
"""Bytes of one file; the largest, a sheet, has some hundred thousand."""
LARGEST_ALL = 1 << 30
"""Bytes of all files together."""
MOST = 5000
"""Files."""
DEEPEST = 20
"""Folders in folders."""
DIRECTORY = 4 << 20
"""Bytes of a .zip's directory, which is read whole."""
ENTRY, END, END64 = b"PK\x03\x04", b"PK\x05\x06", b"PK\x06\x07"
HEAD = struct.Struct("<4s2xHH4xIIIHH")
"""Before each file of a .zip: mark, flags, method, CRC, sizes, lengths of name and extra field."""
NOTHING = 2
"""Bytes of nothing, deflated."""
AFTER = 0x8
"""Flag of a file whose sizes come after it."""
STORED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


@dataclass(frozen=True, slots=True)
class Opened:
    """The files of a delivery by path, each read when asked for."""

    names: tuple[str, ...]
    faults: tuple[str, ...]
    """Of what lies there: links, paths that lead out, what is too large."""
    _read: Callable[[str], bytes] = field(repr=False)

    def read(self, name: str) -> bytes:
        """The bytes of one of the names; ValueError where they cannot be read."""
        return self._read(name)


def is_zip(path: Path) -> bool:
    """Whether the file at `path` begins as a .zip does."""
    try:
        with path.open("rb") as file:
            return file.read(4) in (ENTRY, END)
    except OSError:
        return False


@contextmanager
def open_delivery(path: Path) -> Iterator[Opened]:
    """Open the folder or .zip at `path`; DeliveryError where it is neither."""
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
            faults.append(f"{_shown(name)}: is a link; a delivery holds plain files")
        elif stat.S_ISDIR(status.st_mode):
            if name.count("/") < DEEPEST:
                yield from _walk(folder / entry.name, f"{name}/", faults)
            else:
                faults.append(f"{_shown(name)}: lies too deep to be looked into")
        elif stat.S_ISREG(status.st_mode):
            yield name, status.st_size
        else:
            faults.append(f"{_shown(name)}: is no plain file")


# ---------------------------------------------------------------- a .zip


def _check_directory(path: Path) -> None:
    """That a .zip ends with its directory, which is small enough to be read whole."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - 66_000))
        tail = file.read()
    at = tail.rfind(END)
    if size > LARGEST_ALL or at < 0 or len(tail) < at + 22 or END64 in tail:
        raise DeliveryError(Problem(str(path), "is no .zip of a delivery: too large, or cut off"))
    (length,) = struct.unpack_from("<I", tail, at + 12)
    if length > DIRECTORY:
        raise DeliveryError(Problem(str(path), f"holds more than the {MOST} files of a delivery"))
    if len(tail) != at + 22:
        raise DeliveryError(Problem(str(path), "goes on after the end of the .zip: was added to"))


def _strewn(path: Path, archive: zipfile.ZipFile) -> Iterable[str]:
    """A fault where the entries do not lie one behind the other from the first byte on.

    Some programs go by the directory, others by what stands before each entry: a .zip in
    which the two differ would unpack to something else than what is checked here.
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
    """Whether what stands before an entry is what the directory says; sizes may come after it."""
    flags, method, *sizes = stated
    found = [entry.CRC, entry.compress_size, entry.file_size]
    return method == entry.compress_type and (bool(flags & AFTER) or sizes == found)


def _between(place: int) -> Sequence[int]:
    """How many bytes may lie before an entry: none, or the sizes of the one before it."""
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
                faults.append(f"{_shown(inner)}: stands in the .zip twice")
            elif slash:
                entries[inner] = entry
            else:
                faults.append(f"{_shown(name)}: lies beside the delivery's folder")
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
            raise ValueError(f"{name}: has another size than the .zip says")
        return data

    return Opened(names, tuple(faults), read)


def _entry_fault(entry: zipfile.ZipInfo) -> str | None:
    name = entry.orig_filename
    fault = path_fault(name.removesuffix("/"))
    if fault is not None:
        return fault
    if name.endswith("/") and (entry.file_size or entry.compress_size > NOTHING):
        return f"{_shown(name)}: is a folder with bytes in it"
    mode = entry.external_attr >> 16
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG, stat.S_IFDIR):
        return f"{_shown(name)}: is a link or no plain file; a delivery holds plain files"
    if entry.flag_bits & 0x1:
        return f"{_shown(name)}: is encrypted"
    if entry.compress_type not in STORED:
        return f"{_shown(name)}: is compressed in a way that a delivery does not use"
    return None


# ---------------------------------------------------------------- either


def _sound(sizes: Iterable[tuple[str, int]], faults: list[str]) -> tuple[str, ...]:
    """The names that may be read, sorted; whatever is wrong is put to the faults."""
    names: list[str] = []
    alike: dict[str, str] = {}
    total = 0
    # Those that say what should be there come first: they are read whatever else lies there.
    for name, size in sorted(sizes, key=lambda each: (each[0] not in TOP, each)):
        fault = path_fault(name)
        folded = unicodedata.normalize("NFC", name).casefold()
        if fault is None and folded in alike:
            fault = f"{_shown(name)}: differs from {_shown(alike[folded])} in capitals or accents"
        if fault is None and size > LARGEST:
            fault = f"{_shown(name)}: has {size} bytes; at most {LARGEST} are read"
        if fault is None and len(names) >= MOST:
            faults.append(f"more than {MOST} files; the rest is not looked at")
            break
        if fault is None and total + size > LARGEST_ALL:
            faults.append(f"more than {LARGEST_ALL} bytes; the rest is not looked at")
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
