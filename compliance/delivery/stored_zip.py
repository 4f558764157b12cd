"""Write and read a .zip in the one form of a delivery: stored files, one after the other.

Programs differ in which of a file's two headers they follow, and each allows extra fields,
comments and gaps in which something else can be hidden. Here every byte that is not a file's
content follows from the names, sizes and checksums, and reading writes these bytes again and
compares them: what is checked is what any program unpacks. The format is APPNOTE.TXT 6.3.10.
"""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import BinaryIO

from compliance.errors import system_reason

LOCAL, CENTRAL, END = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
VERSION = 20
"""The version of the format that a reader needs."""
UNIX, PLAIN_FILE = 3, 0o100644 << 16
UTF8 = 1 << 11
"""The flag of a name that is not ASCII (4.4.4)."""
STORED = 0
MIDNIGHT, FIRST_DAY = 0, 33
"""1980-01-01, the earliest time in a .zip: files of a delivery have no time of their own."""

SHARED = struct.Struct("<HHHHHIIIHH")
"""What both headers state: version, flags, method, time, day, CRC, sizes, lengths (4.3.7)."""
MORE = struct.Struct("<HHHII")
"""What the directory states besides: comment, disk, attributes, place (4.3.12)."""
ENDING = struct.Struct("<4sHHHHIIH")
HEAD = len(LOCAL) + SHARED.size
DIRECTORY_HEAD = len(CENTRAL) + 2 + SHARED.size + MORE.size

LONGEST_NAME = 4096
"""Most bytes of a name."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A file of a .zip, as its directory states it."""

    name: str
    crc: int
    size: int
    at: int
    """The place of its header."""

    @property
    def content(self) -> int:
        """The place of its content."""
        return self.at + len(self.header)

    @property
    def _shared(self) -> bytes:
        flags = 0 if self.name.isascii() else UTF8
        length = len(self.name.encode())
        times = (MIDNIGHT, FIRST_DAY)
        sizes = (self.size, self.size)
        return SHARED.pack(VERSION, flags, STORED, *times, self.crc, *sizes, length, 0)

    @property
    def header(self) -> bytes:
        """The header before its content."""
        return LOCAL + self._shared + self.name.encode()

    @property
    def in_directory(self) -> bytes:
        """Its entry in the directory."""
        made_by = struct.pack("<BB", VERSION, UNIX)
        more = MORE.pack(0, 0, 0, PLAIN_FILE, self.at)
        return CENTRAL + made_by + self._shared + more + self.name.encode()


def zip_bytes(files: Mapping[str, bytes], top: str) -> bytes:
    """Pack `files` by path below the folder `top`, sorted and uncompressed.

    Uncompressed, because libraries deflate differently, and sheets already contain their
    evidence deflated.
    """
    parts: list[bytes] = []
    directory: list[bytes] = []
    at = 0
    for name, data in sorted(files.items()):
        entry = Entry(f"{top}/{name}", zlib.crc32(data), len(data), at)
        parts += [entry.header, data]
        directory.append(entry.in_directory)
        at += len(entry.header) + len(data)
    return b"".join([*parts, *directory, _ending(len(directory), sum(map(len, directory)), at)])


def _ending(count: int, length: int, at: int) -> bytes:
    return ENDING.pack(END, 0, 0, count, count, length, at, 0)


# ---------------------------------------------------------------- reading


class NotOurZipError(ValueError):
    """A .zip that is not in the form of a delivery, in one line."""


def read_directory(file: BinaryIO, most: int) -> Iterator[Entry | str]:
    """Yield the files of a .zip in their order, each as its entry or as the fault of it.

    NotOurZipError if there are more than `most`, or if directory and end are not as
    `zip_bytes` writes them; before that no content is read.
    """
    size = file.seek(0, os.SEEK_END)
    end = _read(file, max(0, size - ENDING.size), ENDING.size)
    if len(end) != ENDING.size or not end.startswith(END):
        raise NotOurZipError("is cut off, or has data added after its end")
    _, _, _, _, count, length, start, _ = ENDING.unpack(end)
    if count > most or length > most * (DIRECTORY_HEAD + LONGEST_NAME):
        raise NotOurZipError(f"has too many files; expected at most {most}")
    if end != _ending(count, length, start) or start + length + ENDING.size != size:
        raise NotOurZipError("has more in it than its directory says")
    yield from _entries(file, _read(file, start, length), count, start)


def _entries(file: BinaryIO, directory: bytes, count: int, start: int) -> Iterator[Entry | str]:
    """Yield `count` entries, which fill the file up to `start` without gap or overlap."""
    place, at, last = 0, 0, ""
    for _ in range(count):
        stated, at = _next(directory, at)
        if stated.at != place or place + len(stated.header) + stated.size > start:
            raise NotOurZipError(
                f"{_shown(stated.name)}: does not follow the file before it: something is "
                "between them, or they overlap"
            )
        if stated.name < last:
            yield f"{_shown(stated.name)}: is not in the order of the names"
        yield _fault(directory, at, _read(file, place, len(stated.header)), stated) or stated
        last = stated.name
        place += len(stated.header) + stated.size
    if at != len(directory) or place != start:
        raise NotOurZipError("has more in it than its directory says")


def _next(directory: bytes, at: int) -> tuple[Entry, int]:
    """Read the entry at a place of the directory; return it and the place behind it."""
    head = directory[at : at + DIRECTORY_HEAD]
    if len(head) != DIRECTORY_HEAD or not head.startswith(CENTRAL):
        raise NotOurZipError("has a damaged directory")
    shared = SHARED.unpack_from(head, len(CENTRAL) + 2)
    _, flags, method, _, _, crc, packed, size, length, extra = shared
    comment, _, _, _, place = MORE.unpack_from(head, DIRECTORY_HEAD - MORE.size)
    raw = directory[at + DIRECTORY_HEAD : at + DIRECTORY_HEAD + length]
    try:
        name = raw.decode()
    except UnicodeDecodeError:
        raise NotOurZipError(f"{ascii(raw[:100])[2:-1]}: expected a name in UTF-8") from None
    if method != STORED or packed != size:
        raise NotOurZipError(
            f"{_shown(name)}: is compressed; expected a stored file, as 'deliver' writes it; "
            "unpack the .zip and check the folder"
        )
    if flags & ~UTF8 or extra or comment:
        raise NotOurZipError(
            f"{_shown(name)}: has flags, extra fields or a comment, which 'deliver' does not "
            "write; unpack the .zip and check the folder"
        )
    return Entry(name, crc, size, place), at + DIRECTORY_HEAD + length


def _fault(directory: bytes, end: int, header: bytes, entry: Entry) -> str | None:
    """Return what is wrong with an entry whose directory's bytes stop at `end`."""
    shown = _shown(entry.name)
    if header != entry.header:
        other = header[HEAD:].decode(errors="replace")
        if other != entry.name:
            return f"{shown}: has another name, {_shown(other)}, before its content"
        return f"{shown}: its header says otherwise than the .zip's directory"
    written = entry.in_directory
    if directory[end - len(written) : end] != written:
        return f"{shown}: is not a plain file, or has other times or rights than 'deliver' writes"
    return None


def read_content(file: BinaryIO, entry: Entry) -> bytes:
    """Read a file of a .zip; ValueError if it is damaged."""
    try:
        data = _read(file, entry.content, entry.size)
    except OSError as error:
        raise ValueError(f"{_shown(entry.name)}: {system_reason(error)}") from None
    if len(data) != entry.size or zlib.crc32(data) != entry.crc:
        raise ValueError(f"{_shown(entry.name)}: is damaged")
    return data


def _read(file: BinaryIO, at: int, length: int) -> bytes:
    file.seek(at)
    return file.read(length)


def _shown(name: str) -> str:
    return ascii(name[:120])[1:-1]
