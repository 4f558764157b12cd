"""Names that stay in their folder; files written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
import threading
from pathlib import Path

import filelock
import pytest

from compliance.cli import _files
from compliance.cli._files import (
    check_folder,
    check_targets,
    clean_name,
    lock_folder,
    write_file,
    write_new,
)
from compliance.errors import OutputError, UsageError


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("SY-0412", "SY-0412"),
        ("../../etc/passwd", "etc-passwd"),
        ("..", "unnamed"),
        (".", "unnamed"),
        ("", "unnamed"),
        ("/", "unnamed"),
        ("a/b\\c", "a-b-c"),
        ("C:\\x", "C-x"),
        ("Suite 2  left", "Suite-2-left"),
        (".hidden", "hidden"),
        ("-rf", "rf"),
        ("~root", "root"),
        ("a\x00b\nc\x1b[2J", "a-b-c-[2J"),
        ("Großes Zimmer", "Großes-Zimmer"),
        ("映像室", "映像室"),
        ("Zimmer u\u0308ber", "Zimmer-\u00fcber"),
        ("a\u202eb", "a-b"),
        ("\ud800x", "x"),
        ("v1.", "v1"),
        ("CON", "CON_"),
        ("nul.2026", "nul_.2026"),
        ("lpt¹", "lpt¹_"),
        ("com10", "com10"),
        ("console", "console"),
        ("x" * 500, "x" * 70),
        ("映" * 100, "映" * 23),
    ],
)
def test_clean_name(text, name):
    assert clean_name(text) == name


def test_a_folder_is_made_and_tried(tmp_path):
    check_folder(tmp_path / "a" / "b")
    assert list((tmp_path / "a" / "b").iterdir()) == []


def test_a_file_in_the_place_of_the_folder(tmp_path):
    (tmp_path / "out").write_text("")
    for place in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(UsageError) as raised:
            check_folder(place)
        assert str(raised.value) == f"{place}: is a file, not a folder"


def refuse(number: int):
    def call(*args, **kwargs):
        raise OSError(number, os.strerror(number))

    return call


def test_a_folder_without_room_or_leave(tmp_path, monkeypatch):
    monkeypatch.setattr(_files.os, "open", refuse(errno.EROFS))
    with pytest.raises(OutputError) as raised:
        check_folder(tmp_path)
    assert str(raised.value) == (
        f"{tmp_path}: cannot write files in this folder: read-only file system"
    )


def test_all_targets_are_checked(tmp_path):
    (tmp_path / "a").write_text("")
    (tmp_path / "b").symlink_to("nowhere")
    (tmp_path / "c").mkdir()
    paths = [tmp_path / name for name in "abcd"]
    with pytest.raises(UsageError) as raised:
        check_targets(paths, replace=False)
    assert str(raised.value).splitlines() == [
        f"{tmp_path}/a: already exists; use --replace to overwrite",
        f"{tmp_path}/b: already exists; use --replace to overwrite",
        f"{tmp_path}/c: is a folder, not a file",
    ]
    with pytest.raises(UsageError, match="/c: is a folder, not a file"):
        check_targets(paths, replace=True)


def test_files_are_written_whole_with_the_usual_rights(tmp_path):
    before = os.umask(0o022)
    try:
        write_new({tmp_path / "a": b"1", tmp_path / "b": b"2"}, replace=False)
    finally:
        os.umask(before)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"1", "b": b"2"}
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o644


def test_a_private_file_is_its_owners_alone(tmp_path, capsys):
    write_new({tmp_path / "key": b"1"}, replace=False, private={tmp_path / "key"})
    assert stat.S_IMODE((tmp_path / "key").stat().st_mode) == 0o600
    assert capsys.readouterr().err == ""


def test_a_private_file_where_the_system_keeps_no_rights(tmp_path, capsys, monkeypatch):
    without_rights = os.open
    monkeypatch.setattr(
        _files.os, "open", lambda path, flags, mode: without_rights(path, flags, 0o644)
    )
    write_new(
        {tmp_path / "key": b"1", tmp_path / "pem": b"2"}, replace=False, private={tmp_path / "key"}
    )
    assert capsys.readouterr().err == (
        f"compliance: {tmp_path}/key: others may be able to read this file (mode 644): permissions "
        "of a single file cannot be set here; keep it in a private folder, with a password\n"
    )


def test_what_appeared_meanwhile_is_kept_and_nothing_else_written(tmp_path):
    (tmp_path / "b").write_bytes(b"old")
    with pytest.raises(UsageError) as raised:
        write_new({tmp_path / "a": b"1", tmp_path / "b": b"2"}, replace=False)
    assert str(raised.value) == (
        f"{tmp_path}/b: was created by another run; use --replace to overwrite"
    )
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"b": b"old"}
    write_new({tmp_path / "a": b"1", tmp_path / "b": b"2"}, replace=True)
    assert (tmp_path / "b").read_bytes() == b"2"


def test_a_full_disk_leaves_nothing_behind(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"old")
    monkeypatch.setattr(_files.os, "fsync", refuse(errno.ENOSPC))
    with pytest.raises(OutputError) as raised:
        write_new({tmp_path / "a": b"1"}, replace=True)
    assert str(raised.value) == (f"{tmp_path}/a: cannot be written: no space left on device")
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"old"}


def test_an_interrupt_leaves_nothing_behind(tmp_path, monkeypatch):
    def interrupt(*args):
        raise KeyboardInterrupt

    monkeypatch.setattr(_files.os, "link", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_new({tmp_path / "a": b"1"}, replace=False)
    assert list(tmp_path.iterdir()) == []


def test_a_file_system_without_links(tmp_path, monkeypatch):
    monkeypatch.setattr(_files.os, "link", refuse(errno.EPERM))
    write_new({tmp_path / "a": b"1"}, replace=False)
    with pytest.raises(UsageError, match="was created by another run"):
        write_new({tmp_path / "a": b"2"}, replace=False)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"1"}


def test_of_many_at_once_one_writes(tmp_path):
    start, done = threading.Barrier(8), []

    def write(number: int) -> None:
        pair = {tmp_path / name: b"%d" % number for name in ("a", "b")}
        start.wait()
        try:
            write_new(pair, replace=False)
            done.append(number)
        except UsageError:
            pass

    threads = [threading.Thread(target=write, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(done) == 1
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {
        "a": b"%d" % done[0],
        "b": b"%d" % done[0],
    }


def test_a_report_goes_over_what_was_there_and_through_links(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    write_file(tmp_path / "link", b"new")
    assert (tmp_path / "real").read_bytes() == b"new"
    assert (tmp_path / "link").is_symlink()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_devices_are_written_to_and_stay_devices():
    with pytest.raises(OutputError) as raised:
        write_file(Path("/dev/full"), b"x")
    assert str(raised.value) == "/dev/full: cannot be written: no space left on device"
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)
    write_file(Path("/dev/null"), b"x")
    assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)


def test_a_lock_leaves_no_file(tmp_path):
    with lock_folder(tmp_path):
        assert [path.name for path in tmp_path.iterdir()] == [".compliance.lock"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("error", [NotImplementedError("no locks"), OSError(errno.ENOLCK, "none")])
def test_where_there_are_no_locks_the_work_goes_on(tmp_path, monkeypatch, error):
    def refused(*args, **given):
        raise error

    monkeypatch.setattr(filelock.FileLock, "acquire", refused)
    with lock_folder(tmp_path):
        write_new({tmp_path / "a": b"1"}, replace=False)
    assert (tmp_path / "a").read_bytes() == b"1"
