"""A folder is written whole or not at all, and what stood there before is not lost."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from compliance.cli._files import sheets_of, write_folder
from compliance.errors import OutputError, SheetError, UsageError

OLD = {"bagit.txt": b"old", "data/a": b"old"}
NEW = {"bagit.txt": b"new", "data/b": b"new"}


def content(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def failing(name: str, at: int, error: BaseException) -> Callable[..., Any]:
    """A function of `os` that raises at its call of that number, and works otherwise."""
    real, calls = getattr(os, name), iter(range(1, 1000))

    def call(*arguments: Any, **named: Any) -> Any:
        if next(calls) == at:
            raise error
        return real(*arguments, **named)

    return call


FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize(
    ("name", "at"), [("fsync", 1), ("fsync", 2), ("rename", 1), ("rename", 2), ("rename", 3)]
)
@pytest.mark.parametrize("error", [FULL, KeyboardInterrupt()], ids=["full", "interrupted"])
@pytest.mark.parametrize("before", [OLD, {}], ids=["replaced", "new"])
def test_what_goes_wrong_leaves_what_was_there(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    at: int,
    error: BaseException,
    before: dict[str, bytes],
) -> None:
    place = tmp_path / "delivery"
    if before:
        write_folder(place, before, replace=False)
    monkeypatch.setattr(os, name, failing(name, at, error))
    moves = 2 if before else 1
    if name == "rename" and at > moves:
        write_folder(place, NEW, replace=True)
        assert content(place) == NEW
    else:
        with pytest.raises((OutputError, KeyboardInterrupt)) as caught:
            write_folder(place, NEW, replace=True)
        if error is FULL:
            assert str(caught.value) == f"{place}: cannot be written: no space left on device"
        assert content(place) == before
    assert [path.name for path in tmp_path.iterdir()] == (["delivery"] if place.exists() else [])


def test_of_two_at_once_the_first_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless told to replace, whoever is slower writes over nothing."""
    place, flush = tmp_path / "delivery", os.fsync

    def meanwhile(descriptor: int) -> None:
        monkeypatch.setattr(os, "fsync", flush)
        write_folder(place, OLD, replace=False)

    monkeypatch.setattr(os, "fsync", meanwhile)
    with pytest.raises(UsageError, match="delivery: was created by another run; use --replace"):
        write_folder(place, NEW, replace=False)
    assert content(place) == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["delivery"]


def test_an_empty_folder_may_stand_there(tmp_path: Path) -> None:
    (tmp_path / "delivery").mkdir()
    write_folder(tmp_path / "delivery", NEW, replace=False)
    assert content(tmp_path / "delivery") == NEW


@pytest.mark.parametrize("name", ["../x", "data/../../x", "/x"])
def test_no_file_leaves_the_folder(tmp_path: Path, name: str) -> None:
    home = tmp_path / "home"
    home.mkdir()
    with pytest.raises(OutputError, match="leads out of the folder"):
        write_folder(home / "delivery", {"bagit.txt": b"", name: b"hello"}, replace=False)
    assert [str(path) for path in tmp_path.rglob("*")] == [str(home)]


@pytest.mark.parametrize(
    ("there", "message"),
    [
        (lambda place: place.write_text("mine"), "is a file, not a folder"),
        (lambda place: place.symlink_to(place.parent), "is a file, not a folder"),
        (lambda place: place.symlink_to("nowhere"), "is a file, not a folder"),
    ],
)
def test_neither_files_nor_links_are_written_over(
    tmp_path: Path, there: Callable[[Path], object], message: str
) -> None:
    place = tmp_path / "delivery"
    there(place)
    with pytest.raises(UsageError, match=message):
        write_folder(place, NEW, replace=True)
    assert [path.name for path in tmp_path.iterdir()] == ["delivery"]


def test_sheets_of_a_plain_folder_are_bounded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("compliance.cli._files.MOST_SHEETS", 2)
    for name in ("b.pdf", "a.PDF", "c.txt"):
        (tmp_path / name).touch()
    assert [each.name for each in sheets_of(tmp_path)] == ["a.PDF", "b.pdf"]
    (tmp_path / "d.pdf").touch()
    with pytest.raises(SheetError, match=r"has more than 2 files \.pdf"):
        sheets_of(tmp_path)
