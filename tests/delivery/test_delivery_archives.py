"""Folders and .zips made to deceive: hidden files, and archives that unpack in two ways."""

from __future__ import annotations

import io
import os
import random
import struct
import zipfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from helpers.deliveries import as_folder, as_zip, checked, delivery, told

from compliance.errors import DeliveryError


@pytest.mark.parametrize("depth", [13, 40])
def test_a_file_in_many_folders_is_not_overlooked(tmp_path: Path, depth: int) -> None:
    name = "data/" + "d/" * depth + "x"
    found = checked(as_folder({**delivery(), name: b"hello"}, tmp_path / "d"))
    assert found.exit_code == 1
    assert "is nested too deeply" in told(found, 1) or "is not a plain path" in told(found, 1)


def test_the_manifests_are_read_whatever_else_lies_there(tmp_path: Path) -> None:
    """A huge file, which sorts before them, hides nothing of what is wrong or right."""
    folder = as_folder(delivery(), tmp_path / "d")
    (folder / "data" / "big").touch()
    os.truncate(folder / "data" / "big", 20 << 30)
    found = checked(folder)
    assert told(found, 1).splitlines()[2:] == [
        f"data/big: has {20 << 30} bytes; expected at most {64 << 20}"
    ]
    assert [str(step.status) for step in found.steps] == ["fail", "ok", "ok", "ok"]


def test_another_program_may_pack_the_same_files(tmp_path: Path) -> None:
    """With folders of their own, deflated, and sizes that come after each file."""

    class Pipe(io.RawIOBase):
        def __init__(self) -> None:
            self.data = bytearray()

        def writable(self) -> bool:
            return True

        def write(self, data: Any) -> int:
            self.data += bytes(data)
            return len(bytes(data))

    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("delivery/", b"")
        for name, data in delivery().items():
            archive.writestr(f"delivery/{name}", data)
    (tmp_path / "d.zip").write_bytes(pipe.data)
    assert checked(tmp_path / "d.zip").exit_code == 0


def glued(archive: bytes) -> bytes:
    """Behind another of which some programs see the first."""
    return archive.replace(b"Not compliant", b"    Compliant") + archive


def between(archive: bytes) -> bytes:
    """A file between the last one and the directory, which does not name it."""
    at, end = archive.index(b"PK\x01\x02"), archive.rindex(b"PK\x05\x06")
    first = archive[: archive.index(b"PK\x03\x04", 4)]
    (place,) = struct.unpack_from("<I", archive, end + 16)
    moved = struct.pack("<I", place + len(first))
    return archive[:at] + first + archive[at : end + 16] + moved + archive[end + 20 :]


def another_size_before(archive: bytes) -> bytes:
    """Before the first file another size than in the directory."""
    return archive[:22] + bytes([archive[22] ^ 1]) + archive[23:]


def folder_with_bytes(archive: bytes) -> bytes:
    """A file whose name ends as a folder's does, and which unpackers leave out."""
    return archive.replace(b"delivery/index.html", b"delivery/index.htm/")


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (glued, "the .zip has more in it than its directory says"),
        (between, "the .zip has more in it than its directory says"),
        (another_size_before, "the .zip has more in it than its directory says"),
        (folder_with_bytes, "delivery/index.htm/: is a folder with content of its own"),
        (lambda data: data + b"hello", "has data added after the end of the .zip"),
        (lambda data: data[:-1], "is not a .zip of a delivery: it is too large or cut off"),
    ],
)
def test_zips_that_programs_unpack_differently(
    tmp_path: Path, change: Callable[[bytes], bytes], expected: str
) -> None:
    place = as_zip(delivery(), tmp_path / "d.zip")
    place.write_bytes(change(place.read_bytes()))
    try:
        found = checked(place)
    except DeliveryError as fault:
        assert expected in str(fault)
    else:
        assert found.exit_code == 1
        assert expected in told(found, 1)


def test_no_byte_of_a_zips_structure_makes_it_fall_over(tmp_path: Path) -> None:
    """It holds, or does not: whatever its directory says, nothing else is raised."""
    place, chance = as_zip(delivery(), tmp_path / "d.zip"), random.Random(4)
    data = place.read_bytes()
    directory = data.index(b"PK\x01\x02")
    for _ in range(150):
        at = chance.randrange(directory, len(data))
        place.write_bytes(data[:at] + bytes([data[at] ^ chance.randrange(1, 256)]) + data[at + 1 :])
        try:
            found = checked(place)
        except DeliveryError:
            continue
        if found.exit_code == 0:
            assert str(found.steps[1].status) == "ok"


def test_an_entry_without_a_name(tmp_path: Path) -> None:
    place = as_zip(delivery(), tmp_path / "d.zip")
    data = bytearray(place.read_bytes())
    at = data.index(b"PK\x01\x02")
    struct.pack_into("<H", data, at + 28, 0)
    place.write_bytes(data)
    with suppress(DeliveryError):
        assert checked(place).exit_code == 1
