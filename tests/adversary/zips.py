"""Archives as a forger writes them: each field of a .zip by hand (PKWARE, APPNOTE 6.3.10)."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

FOLDER = "delivery"
"""In which `deliver` puts the files of an archive."""
DOS_TIME, DOS_DATE = 0, 0x21
"""Midnight of the first day that the format knows, 1980-01-01."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A file, and what its two headers say of it."""

    name: bytes
    data: bytes
    local_name: bytes | None = None
    local_extra: bytes = b""
    extra: bytes = b""
    comment: bytes = b""
    flags: int = 0
    method: int = 0
    behind: bytes = b""
    """Bytes between this entry and the next."""
    size: int | None = None
    """Unpacked; of a compressed entry."""
    crc: int | None = None
    descriptor: bool = False
    """Bit 3: checksum and sizes follow the data, and are zero in the local header."""

    @property
    def _flags(self) -> int:
        return self.flags | (8 if self.descriptor else 0)

    @property
    def _sums(self) -> tuple[int, int, int]:
        crc = zlib.crc32(self.data) if self.crc is None else self.crc
        return crc, len(self.data), len(self.data) if self.size is None else self.size

    def local(self) -> bytes:
        """The header before the data, the data, and what is behind it."""
        name = self.name if self.local_name is None else self.local_name
        sums = (0, 0, 0) if self.descriptor else self._sums
        header = struct.pack(
            "<4s5H3I2H",
            b"PK\x03\x04",
            *(20, self._flags, self.method, DOS_TIME, DOS_DATE),
            *sums,
            *(len(name), len(self.local_extra)),
        )
        after = struct.pack("<4s3I", b"PK\x07\x08", *self._sums) if self.descriptor else b""
        return header + name + self.local_extra + self.data + after + self.behind

    def in_directory(self, at: int) -> bytes:
        """Its entry in the directory at the archive's end."""
        header = struct.pack(
            "<4s6H3I5H2I",
            b"PK\x01\x02",
            *((3 << 8) | 20, 20, self._flags, self.method, DOS_TIME, DOS_DATE),
            *self._sums,
            *(len(self.name), len(self.extra), len(self.comment), 0, 0, 0o100644 << 16, at),
        )
        return header + self.name + self.extra + self.comment


def entries(files: Mapping[str, bytes]) -> list[Entry]:
    """The files as `deliver` packs them."""
    return [Entry(f"{FOLDER}/{name}".encode(), data) for name, data in sorted(files.items())]


def archive(given: Sequence[Entry], *, before: bytes = b"", comment: bytes = b"") -> bytes:
    """The entries one after the other, their directory, and the end."""
    body, directory = bytearray(before), bytearray()
    for entry in given:
        directory += entry.in_directory(len(body))
        body += entry.local()
    count = min(len(given), 0xFFFF)
    end = struct.pack(
        "<4s4H2IH", b"PK\x05\x06", 0, 0, count, count, len(directory), len(body), len(comment)
    )
    return bytes(body + directory + end + comment)


def with_entry(given: Sequence[Entry], name: str, **changed: object) -> list[Entry]:
    """The entries, of which the one with that end of its name is changed."""
    found = [
        replace(each, **changed) if each.name.endswith(name.encode()) else each  # type: ignore[arg-type]
        for each in given
    ]
    assert found != list(given), name
    return found
