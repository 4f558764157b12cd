"""Manifests that other programs would read otherwise, and lists that are made to be too much."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from helpers.deliveries import Files, as_folder, checked, delivery, resealed, told

from compliance.delivery import as_stated
from compliance.delivery.bag import MANIFEST, TAG_MANIFEST, path_fault, read_manifests, tags_in
from compliance.delivery.build import AGENT

SHEET = b"data/sheets/one.pdf"
READINGS = b"data/evidence/one/readings.csv"


def faults(files: Files) -> tuple[str, ...]:
    return read_manifests(files, files).faults


def test_its_own_manifests_have_no_fault() -> None:
    assert faults(delivery()) == ()


def line_of(data: bytes, name: bytes) -> bytes:
    return next(line for line in data.splitlines(keepends=True) if line.endswith(name + b"\n"))


def twice(data: bytes) -> bytes:
    """The same path with another digest, of which some programs take the last."""
    line = line_of(data, SHEET)
    return data + b"0" * 64 + line[64:]


def other_case(data: bytes) -> bytes:
    return data + b"0" * 64 + b"  DATA/sheets/one.pdf\n"


def renamed(new: bytes) -> Callable[[bytes], bytes]:
    return lambda data: data.replace(READINGS, new)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (twice, "data/sheets/one.pdf: is listed twice"),
        (other_case, "DATA/sheets/one.pdf: does not belong in this manifest"),
        (lambda data: data.replace(b"\n", b"\r\n"), "contains an invisible character"),
        (lambda data: data.replace(b"\n", b"\r"), f"{MANIFEST}:1: "),
        (lambda data: data.replace(b"\n", "\u2028".encode()), f"{MANIFEST}:1: "),
        (lambda data: data.replace(b"\n", b"\x0b"), f"{MANIFEST}:1: "),
        (lambda data: data.replace(b"  ", b" *"), "expected a SHA-256, two spaces and a path"),
        (lambda data: data.replace(b"  ", b"\t"), "expected a SHA-256, two spaces and a path"),
        (lambda data: data.upper(), "expected a SHA-256, two spaces and a path"),
        (lambda data: b"\xef\xbb\xbf" + data, "expected a SHA-256, two spaces and a path"),
        (lambda data: data + b"\n", "expected a SHA-256, two spaces and a path"),
        (lambda data: b"# a list\n" + data, "expected a SHA-256, two spaces and a path"),
        (lambda data: data[:-1], "is not sorted and written as 'deliver' does it"),
        (
            lambda data: b"".join(sorted(data.splitlines(keepends=True))[::-1]),
            "is not sorted and written as 'deliver' does it",
        ),
        (lambda data: b"\xff" + data, "is not UTF-8 text"),
        (renamed(b"data/evidence/one/readings%2Ecsv"), "has another name on other systems"),
        (renamed(b"data/evidence/one/readings.csv%0D"), "has another name on other systems"),
        (renamed(b"data/evidence/one/readings.csv "), "has another name on other systems"),
        (renamed(b"data/evidence/one/readings.csv:x"), "has another name on other systems"),
        (renamed(b"/data/evidence/one/readings.csv"), "is an absolute path"),
        (renamed(b"C:/evidence/one/readings.csv"), "is an absolute path"),
        (renamed(b"./data/evidence/one/readings.csv"), "is not a plain path"),
        (renamed(b"data//evidence/one/readings.csv"), "is not a plain path"),
        (renamed(b"data/sheets/../evidence/one/readings.csv"), "leads out of the folder"),
        (renamed(b"data\\evidence\\one\\readings.csv"), "is not a plain path"),
        (renamed("data/evidence/one/readings\u200b.csv".encode()), "invisible character"),
    ],
)
def test_games_with_a_manifest(change: Callable[[bytes], bytes], expected: str) -> None:
    files = delivery()
    changed = change(files[MANIFEST])
    assert changed != files[MANIFEST]
    found = faults({**files, MANIFEST: changed})
    assert any(expected in fault for fault in found), found


@pytest.mark.parametrize("name", ["manifest-sha512.txt", "fetch.txt", "metadata/more.xml"])
def test_other_files_that_a_bag_may_have_are_none_of_a_delivery(name: str) -> None:
    files = resealed({**delivery(), name: b"hello"})
    assert f"{name}: does not belong to a delivery" in faults(files)


def test_two_names_that_look_alike_are_two_names(tmp_path: Path) -> None:
    """Composed and decomposed letters: the manifest has to have the name that the file has."""
    files = resealed({**delivery(), "data/é": b"hello"})
    found = checked(as_folder(files, tmp_path / "d"))
    (tmp_path / "d" / "data" / "é").rename(tmp_path / "d" / "data" / "e\u0301")
    again = checked(as_folder({}, tmp_path / "d"))
    assert str(found.steps[0].status) == "ok"
    assert "data/é: is missing" in told(again, 1)


@pytest.mark.parametrize("name", ["data/\ud800", "data/\ue000", "data/a\x7f"])
def test_names_that_are_no_text(name: str) -> None:
    assert path_fault(name) is not None


# ---------------------------------------------------------------- too much


def test_more_lines_than_there_are_files_are_not_read() -> None:
    line = b"0" * 64 + b"  data/x\n"
    found = faults({**delivery(), MANIFEST: 20_001 * line})
    assert f"{MANIFEST}: has more than 20000 lines" in found
    with pytest.raises(ValueError, match=r"bag-info.txt: has more than 20000 lines"):
        tags_in(20_001 * b"a: b\n")


def test_faults_of_a_manifest_end_somewhere() -> None:
    found = faults({**delivery(), TAG_MANIFEST: 10_000 * b"x\n"})
    assert sum(fault.startswith(TAG_MANIFEST) for fault in found) < 200


def test_a_name_of_a_program_is_not_printed_for_ever(tmp_path: Path) -> None:
    files = delivery()
    info, long = files["bag-info.txt"], 100_000 * b"x"
    files["bag-info.txt"] = info.replace(AGENT.encode(), long)
    files["index.html"] += b" "
    found = told(checked(as_folder(resealed(files), tmp_path / "d")), 4)
    assert found.startswith("unknown") and len(found) < 4000
    files["bag-info.txt"] += b"Compliance-Sheet: " + long + b"\n"
    found = told(checked(as_folder(resealed(files), tmp_path / "e")), 4)
    assert found.startswith("fail") and len(found) < 4000


def test_what_cannot_be_described_again_is_a_fault_and_no_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise OverflowError("date value out of range")

    monkeypatch.setattr(as_stated, "bag_info", fails)
    found = checked(as_folder(delivery(), tmp_path / "d"))
    assert str(found.steps[3].status) == "fail"
    assert "cannot be made again from the sheets" in told(found, 4)
