"""Folders and .zips made to deceive: hidden files, and archives that unpack in two ways."""

from __future__ import annotations

import io
import os
import re
import struct
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from helpers.deliveries import as_folder, as_zip, checked, delivery, first, told, zip_of

from compliance.delivery import open_delivery
from compliance.delivery.open_delivery import is_zip
from compliance.delivery.stored_zip import NotOurZipError, read_directory, zip_bytes


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


def test_more_files_than_a_delivery_has_are_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither in a folder, however deep, nor in a .zip; empty folders count too."""
    monkeypatch.setattr(open_delivery, "MOST", 30)
    folder = as_folder(delivery(), tmp_path / "d")
    assert checked(folder).exit_code == 0
    (folder / "data" / "many").mkdir()
    for number in range(10):
        (folder / "data" / "many" / str(number)).mkdir()
    many = as_zip({**delivery(), **{f"x{at}": b"" for at in range(20)}}, tmp_path / "d.zip")
    for place in (folder, many):
        found = checked(place)
        assert found.exit_code == 1
        assert "has too many files; expected at most 30" in told(found, 1)
        assert not found.sheets and not found.signed


def test_more_bytes_than_a_delivery_has_are_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    most = sum(map(len, delivery().values()))
    monkeypatch.setattr(open_delivery, "LARGEST_ALL", most)
    for place in (as_folder(delivery(), tmp_path / "d"), as_zip(delivery(), tmp_path / "d.zip")):
        assert checked(place).exit_code == 0
    monkeypatch.setattr(open_delivery, "LARGEST_ALL", most - 1)
    for place in (tmp_path / "d", tmp_path / "d.zip"):
        found = checked(place)
        assert f"has more than {most - 1} bytes; none was read" in told(found, 1)
        assert not found.sheets


def test_a_manifest_is_no_place_for_megabytes(tmp_path: Path) -> None:
    folder = as_folder(delivery(), tmp_path / "d")
    os.truncate(folder / "manifest-sha256.txt", 17 << 20)
    assert f"has {17 << 20} bytes; expected at most {16 << 20}" in told(checked(folder), 1)


@pytest.mark.parametrize("special", ["sheets/three.pdf", "evidence/one/x", "../signature.p7s"])
def test_what_is_no_plain_file_is_never_opened(
    tmp_path: Path, special: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pipe would wait for ever: neither as it lies there, nor put there after the list."""
    folder = as_folder(delivery(), tmp_path / "d")
    pipe = folder / "data" / special
    pipe.unlink(missing_ok=True)
    os.mkfifo(pipe)
    assert "is not a plain file" in told(checked(folder), 1)
    later = DirEntries(folder, pipe)
    monkeypatch.setattr(open_delivery, "_walk", later.walk)
    assert "is not a plain file" in told(checked(folder), 1)


class DirEntries:
    """Lists a pipe as a plain file, as if it had been one a moment ago."""

    def __init__(self, folder: Path, pipe: Path) -> None:
        self.names = [str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()]
        self.names.append(os.path.relpath(pipe, folder))

    def walk(self, *_: object) -> Iterator[tuple[str, int]]:
        """Yield names with the size of an empty file."""
        return ((name, 0) for name in self.names)


# ---------------------------------------------------------------- .zips


ONE, TWO = b"delivery/data/sheets/one.pdf", b"delivery/data/sheets/two.pdf"


def swapped(data: bytes) -> bytes:
    return re.sub(ONE + b"|" + TWO, lambda found: ONE if found[0] == TWO else TWO, data)


def swapped_before(archive: bytes) -> bytes:
    """Two sheets under each other's names, for programs that read the header of each."""
    start = archive.index(b"PK\x01\x02")
    return swapped(archive[:start]) + archive[start:]


def swapped_behind(archive: bytes) -> bytes:
    """The same, for programs that read the directory."""
    start = archive.index(b"PK\x01\x02")
    return archive[:start] + swapped(archive[start:])


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


def overlapping(archive: bytes) -> bytes:
    """The second entry of the directory is at the first one's place."""
    second = archive.index(b"PK\x01\x02", archive.index(b"PK\x01\x02") + 1)
    return archive[: second + 42] + bytes(4) + archive[second + 46 :]


def another_size_before(archive: bytes) -> bytes:
    """Before the first file another size than in the directory."""
    return archive[:22] + bytes([archive[22] ^ 1]) + archive[23:]


def folder_with_bytes(archive: bytes) -> bytes:
    """A file whose name ends as a folder's does, and which unpackers leave out."""
    return archive.replace(b"delivery/index.html", b"delivery/index.htm/")


def another_count(archive: bytes) -> bytes:
    """An end that names fewer files than there are."""
    end = archive.rindex(b"PK\x05\x06")
    fewer = struct.pack("<H", struct.unpack_from("<H", archive, end + 8)[0] - 1)
    return archive[: end + 8] + 2 * fewer + archive[end + 12 :]


def repacked(archive: bytes, kind: int, *, at_once: bool = True, **fields: object) -> bytes:
    """By another program."""

    class Pipe(io.BytesIO):
        def seek(self, *place: int) -> int:
            if not at_once:
                raise OSError("a pipe")
            return super().seek(*place)

    out = Pipe()
    with (
        zipfile.ZipFile(io.BytesIO(archive)) as source,
        zipfile.ZipFile(out, "w", kind) as written,
    ):
        for each in source.infolist():
            entry = zipfile.ZipInfo(each.filename)
            entry.create_system, entry.external_attr = 3, 0o100644 << 16
            entry.compress_type = kind
            for name, value in fields.items():
                setattr(entry, name, value)
            written.writestr(entry, source.read(each))
    return out.getvalue()


EXTRA = b"\x75\x70\x05\x00\x01" + bytes(4)  # another name of the file (APPNOTE.TXT, 4.6.9)
MORE_IN_IT = "the .zip: has more in it than its directory says"
NOT_WRITTEN = "has flags, extra fields or a comment, which 'deliver' does not write"


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (swapped_before, "one.pdf: has another name, delivery/data/sheets/two.pdf, before its con"),
        (swapped_behind, "two.pdf: has another name, delivery/data/sheets/one.pdf, before its con"),
        (glued, MORE_IN_IT),
        (between, MORE_IN_IT),
        (another_count, MORE_IN_IT),
        (overlapping, "does not follow the file before it"),
        (another_size_before, "bag-info.txt: its header says otherwise than the .zip's directory"),
        (folder_with_bytes, "'delivery/index.htm/': is not a plain path"),
        (lambda data: data + b"hello", "the .zip: is cut off, or has data added after its end"),
        (lambda data: data[:-1], "the .zip: is cut off, or has data added after its end"),
        (lambda data: repacked(data, zipfile.ZIP_DEFLATED), "is compressed; expected a stored"),
        (lambda data: repacked(data, zipfile.ZIP_STORED, at_once=False), NOT_WRITTEN),
        (lambda data: repacked(data, zipfile.ZIP_STORED, extra=EXTRA), NOT_WRITTEN),
        (lambda data: repacked(data, zipfile.ZIP_STORED, comment=b"hello"), NOT_WRITTEN),
        (
            lambda data: repacked(data, zipfile.ZIP_STORED, external_attr=0o104755 << 16),
            "is not a plain file, or has other times or rights",
        ),
    ],
)
def test_zips_that_programs_unpack_differently(
    tmp_path: Path, change: Callable[[bytes], bytes], expected: str
) -> None:
    place = as_zip(delivery(), tmp_path / "d.zip")
    changed = change(place.read_bytes())
    assert changed != place.read_bytes()
    place.write_bytes(changed)
    found = checked(place)
    assert found.exit_code == 1
    assert expected in told(found, 1)


def test_the_plainest_zip_of_another_program_is_the_same(tmp_path: Path) -> None:
    """Python's own writes these bytes too."""
    data = as_zip(delivery(), tmp_path / "d.zip").read_bytes()
    assert repacked(data, zipfile.ZIP_STORED) == data


def test_no_byte_of_a_zips_structure_is_free() -> None:
    """A small one, every byte outside the files' contents changed in three ways."""
    data = zip_bytes({"a.txt": b"AAAA", "ä.txt": b"BBBB"}, "d")
    assert faults(data) == []
    for at in set(range(len(data))) - {*places(data, b"AAAA"), *places(data, b"BBBB")}:
        for bits in (0x01, 0x80, 0xFF):
            assert faults(data[:at] + bytes([data[at] ^ bits]) + data[at + 1 :]), (at, bits)


def test_the_order_of_the_files_is_not_free() -> None:
    given = [("d/a.txt", b"AAAA"), ("d/b.txt", b"BBBB")]
    assert faults(zip_of(given)) == []
    assert faults(zip_of(given[::-1])) == ["d/a.txt: is not in the order of the names"]


def places(data: bytes, part: bytes) -> range:
    return range(data.index(part), data.index(part) + len(part))


def faults(data: bytes) -> list[str]:
    try:
        return [each for each in read_directory(io.BytesIO(data), 10) if isinstance(each, str)]
    except NotOurZipError as fault:
        return [str(fault)]


@pytest.mark.parametrize("change", [lambda data: data + b"hello", lambda data: b"hello" + data])
def test_of_a_refused_zip_nothing_else_is_said(
    tmp_path: Path, change: Callable[[bytes], bytes]
) -> None:
    place = as_zip(delivery(), tmp_path / "d.zip")
    place.write_bytes(change(place.read_bytes()))
    found = checked(place) if is_zip(place) else None
    assert found is not None
    assert found.exit_code == 1
    assert "is missing" not in told(found, 1)
    assert len(told(found, 1).splitlines()) == 3
    for number in (2, 3, 4):
        assert told(found, number) == "not done\nnot done: nothing of it was read (step 1)"


def test_a_sheet_is_no_zip_whatever_follows_it(tmp_path: Path) -> None:
    place = tmp_path / "sheet.pdf"
    place.write_bytes(first() + as_zip(delivery(), tmp_path / "d.zip").read_bytes())
    assert not is_zip(place)
