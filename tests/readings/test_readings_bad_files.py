"""Files that are no readings: each with its exact message."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from compliance.errors import ReadingsError
from compliance.readings import text
from compliance.readings.load import load_readings, readings_from_bytes

EXPECTED = "expected readings as CSV: a header row, e.g. r,g,b,X,Y,Z, then a row for each reading"
LEGAL = (
    "r, g, b, c1, c2, c3, X, Y, Z, x, y, position, window, pattern, background, seconds, "
    "encoding, sd, replaced, observer"
)
CODES = "expected r, g, b or c1, c2, c3"
VALUES = "expected X, Y, Z or Y, x, y"
ROW = b"1,2,3,4,5,6\n"
OWN = "; columns of your own begin with x-"


def messages(data: bytes) -> list[str]:
    with pytest.raises(ReadingsError) as raised:
        readings_from_bytes(data, "f", "rgb-10-full")
    return str(raised.value).split("\n")


# ---------------------------------------------------------------- kind and text

KINDS = {
    "empty": (b"", f"f: the file is empty; {EXPECTED}"),
    "blank": (b" \r\n\n", f"f: the file is empty; {EXPECTED}"),
    "mark-only": (b"\xef\xbb\xbf", f"f: the file is empty; {EXPECTED}"),
    "commas-only": (b",,,\n,,\n", f"f: the file is empty; {EXPECTED}"),
    "quotes-only": (b'""\n', f"f: the file is empty; {EXPECTED}"),
    "pdf": (b"%PDF-1.7\n1 0 obj", f"f: the file is a PDF document; {EXPECTED}"),
    "zip": (
        b"PK\x03\x04\x14\x00",
        f"f: the file is a zip archive or a spreadsheet; export the sheet as CSV; {EXPECTED}",
    ),
    "png": (b"\x89PNG\r\n\x1a\n\x00", f"f: the file is a PNG picture; {EXPECTED}"),
    "jpeg": (b"\xff\xd8\xff\xe0", f"f: the file is a JPEG picture; {EXPECTED}"),
    "gzip": (b"\x1f\x8b\x08", f"f: the file is a gzip archive; unpack it first; {EXPECTED}"),
    "office": (
        b"\xd0\xcf\x11\xe0\xa1\xb1",
        "f: the file is a spreadsheet or another office document; export the sheet as CSV; "
        + EXPECTED,
    ),
    "xml": (b'\n<?xml version="1.0"?>\n<a/>', f"f: the file is XML; {EXPECTED}"),
    "html": (b"<!DOCTYPE html>\n<html>", f"f: the file is HTML; {EXPECTED}"),
    "json": (b'{"job": 1}', f"f: the file is JSON; {EXPECTED}"),
    "yaml": (b"# of today\njob: SY-0412\nslots:\n", f"f: the file is YAML; {EXPECTED}"),
    "yaml-start": (b"---\nrule: a\n", f"f: the file is YAML; {EXPECTED}"),
    "utf-16": (
        "r,g,b,X,Y,Z\n".encode("utf-16"),
        "f: the text is UTF-16, by its byte-order mark; save it as UTF-8",
    ),
    "utf-16-big": (
        b"\xfe\xff" + "r,g\n".encode("utf-16-be"),
        "f: the text is UTF-16, by its byte-order mark; save it as UTF-8",
    ),
    "utf-16-unmarked": (
        "r,g,b\n".encode("utf-16-le"),
        "f:1: contains a NUL byte: this is UTF-16 or not a text file; expected CSV in UTF-8",
    ),
    "zero-byte": (
        b"r,g,b,X,Y,Z\r\n1,2,3,4,5,6\r\n1,\x00",
        "f:3: contains a NUL byte: this is UTF-16 or not a text file; expected CSV in UTF-8",
    ),
    "latin-1": (
        b"r,g,b,X,Y,Z,background\n1,2,3,4,5,6,gr\xfcn\n",
        "f:2: the byte 0xFC is not valid UTF-8; save the file as UTF-8",
    ),
    "latin-1-after-mark": (
        b"\xef\xbb\xbfr,g,b\n\n\xe9",
        "f:3: the byte 0xE9 is not valid UTF-8; save the file as UTF-8",
    ),
}


@pytest.mark.parametrize(("data", "message"), KINDS.values(), ids=KINDS.keys())
def test_kind(data: bytes, message: str) -> None:
    assert messages(data) == [message]


# ---------------------------------------------------------------- header

HEADERS = {
    "only": (b"r,g,b,X,Y,Z\n", ["f:1: no readings below the header row"]),
    "blank-before": (
        b"\nr,g,b,X,Y,Z\n" + ROW,
        ["f:1: found a blank line; expected the header row, e.g. r,g,b,X,Y,Z"],
    ),
    "both separators": (
        b"r;g;b,X,Y,Z\n" + ROW,
        [
            "f:1: the columns are separated by commas and semicolons; expected commas and decimal "
            "points, or semicolons and decimal commas"
        ],
    ),
    "tabs": (
        b"r\tg\tb\tX\tY\tZ\n1\t2\t3\t4\t5\t6\n",
        [
            "f:1: the columns are separated by tabs; expected commas and decimal points, or "
            "semicolons and decimal commas"
        ],
    ),
    "none": (
        b"1,2,3,4,5,6\n" + ROW,
        ["f:1: found numbers; expected the header row, e.g. r,g,b,X,Y,Z"],
    ),
    "none, with words": (
        b"940,940,940,94,99,107,centre,100,full,0\n" + ROW,
        ["f:1: found numbers; expected the header row, e.g. r,g,b,X,Y,Z"],
    ),
    "other": (
        b"time,level\n1,2\n",
        [
            f"f:1: unknown column 'time'; expected one of {LEGAL}{OWN}",
            f"f:1: unknown column 'level'; expected one of {LEGAL}{OWN}",
            f"f:1: no columns for code values; {CODES}",
            f"f:1: no columns for the measured colour; {VALUES}",
        ],
    ),
    "case-of-both": (
        b"r,g,b,X,Y,y\n" + ROW,
        [f"f:1: missing columns for the measured colour: found only X, Y, y; {VALUES}"],
    ),
    "x-in-both-cases": (
        b"r,g,b,X,Y,z,x\n1,2,3,4,5,6,7\n",
        [f"f:1: too many columns for the measured colour: X, Y, Z, x; {VALUES}".replace("Z", "z")],
    ),
    "missing": (
        b"r,g,X,Y,Z\n" + ROW,
        [f"f:1: missing columns for code values: found only r, g; {CODES}"],
    ),
    "mixed": (
        b"r,c2,b,X,Y,Z\n" + ROW,
        [f"f:1: missing columns for code values: found only r, b, c2; {CODES}"],
    ),
    "both": (
        b"r,g,b,X,Y,Z,x,y\n1,2,3,4,5,6,.3,.3\n",
        [f"f:1: too many columns for the measured colour: X, Y, Z, x, y; {VALUES}"],
    ),
    "twice": (b"r,g,b,X,Y,Z,Y\n1,2,3,4,5,6,7\n", ["f:1: Y: duplicate column: columns 5 and 7"]),
    "no-name": (
        b"r,g,b,X,Y,Z,\n1,2,3,4,5,6,\n",
        ["f:1: column 7 has no name; remove it or name it"],
    ),
    "misspelt": (
        b"r,g,b,X,Y,Z,postion,windw\n1,2,3,4,5,6,centre,10\n",
        [
            "f:1: unknown column 'postion'; did you mean 'position'?" + OWN,
            "f:1: unknown column 'windw'; did you mean 'window'?" + OWN,
        ],
    ),
}


@pytest.mark.parametrize(("data", "expected"), HEADERS.values(), ids=HEADERS.keys())
def test_header(data: bytes, expected: list[str]) -> None:
    assert messages(data) == expected


# ---------------------------------------------------------------- bounds


def test_too_large(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert text.MOST_BYTES == 50 * 1024 * 1024
    monkeypatch.setattr(text, "MOST_BYTES", 3 << 20)
    assert messages(b"r" * (3 << 20) + b"r") == ["f: the file is larger than 3 MiB, the limit"]
    path = tmp_path / "large.csv"
    with path.open("wb") as stream:
        stream.truncate(50 * 1024 * 1024 + 1)
    with pytest.raises(ReadingsError) as raised:
        load_readings(path, "rgb-10-full")
    assert str(raised.value) == (
        f"{path}: is larger than 51,200 KiB, the most a readings file may have"
    )


def test_too_many_rows() -> None:
    full = b"r,g,b,X,Y,Z\n" + ROW * text.MOST_ROWS
    assert len(readings_from_bytes(full, "f", "rgb-10-full")) == 10_000
    assert messages(full + ROW) == ["f:10002: more than 10000 readings; split the file"]


def test_too_long_a_line() -> None:
    data = b"r,g,b,X,Y,Z\n" + ROW + b"1," * 3000 + b"\n"
    assert messages(data) == ["f:3: the line has 6001 characters; expected at most 4096"]


# ---------------------------------------------------------------- paths


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError) as raised:
        load_readings(tmp_path / "a.csv", "rgb-10-full")
    assert str(raised.value) == f"{tmp_path / 'a.csv'}: no such readings file"


def test_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError) as raised:
        load_readings(tmp_path, "rgb-10-full")
    assert str(raised.value) == f"{tmp_path}: is a folder; expected a readings file"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ReadingsError) as raised:
        load_readings(tmp_path / "pipe", "rgb-10-full")
    assert str(raised.value) == (
        f"{tmp_path / 'pipe'}: is not a regular file; expected a readings file"
    )
