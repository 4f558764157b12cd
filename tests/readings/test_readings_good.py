"""Readings that are right, and what comes of them."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from compliance.errors import ReadingsError, UsageError
from compliance.model import ENCODINGS, PATTERNS, POSITIONS
from compliance.readings.load import load_readings, readings_from_bytes

PLAIN = b"r,g,b,X,Y,Z\n1023,1023,1023,95.05,100,108.9\n0,0,0,0.01,0.02,0.03\n"


def read(data: bytes | str, encoding: str = "rgb-10-full", floor: float = 0.1):
    raw = data.encode() if isinstance(data, str) else data
    return readings_from_bytes(raw, "some.csv", encoding, floor=floor)


def test_plain() -> None:
    readings = read(PLAIN)
    assert len(readings) == 2
    assert readings.encoding is ENCODINGS["rgb-10-full"]
    assert readings.codes.dtype == np.int64
    assert readings.codes.tolist() == [[1023] * 3, [0] * 3]
    assert readings.xyz.tolist() == [[95.05, 100, 108.9], [0.01, 0.02, 0.03]]
    assert readings.file == "some.csv"
    assert readings.lines == (2, 3)


def test_a_file_that_states_its_encoding_needs_none_said() -> None:
    stated = b"r,g,b,X,Y,Z,encoding\n255,255,255,95.05,100,108.9,rgb-8-full\n0,0,0,1,1,1,\n"
    assert readings_from_bytes(stated, "some.csv").encoding is ENCODINGS["rgb-8-full"]
    with pytest.raises(ReadingsError) as found:
        readings_from_bytes(PLAIN, "some.csv")
    assert str(found.value) == (
        "some.csv: the encoding of the code values is not stated; use --encoding NAME, "
        f"one of {', '.join(ENCODINGS)}"
    )


def test_what_is_not_said() -> None:
    readings = read(PLAIN)
    assert readings.position == ("centre", "centre")
    assert np.isnan(readings.window).all()
    assert readings.pattern == ("", "")
    assert readings.background == ("", "")
    assert readings.seconds.tolist() == [0, 0]
    assert np.isnan(readings.deviation).all()


def test_empty_cells_of_optional_columns_say_nothing() -> None:
    header = "c1,c2,c3,X,Y,Z,position,window,pattern,background,seconds,encoding,sd\n"
    readings = read(header + "1,2,3,4,5,6,,,,,,,\n")
    assert readings.position == ("centre",)
    assert np.isnan(readings.window[0])
    assert readings.pattern == ("",)
    assert readings.seconds[0] == 0
    assert np.isnan(readings.deviation[0])


def test_every_column_in_any_order() -> None:
    readings = read(
        "Y,sd,seconds,background,x,y,b,g,r,encoding,pattern,window,position\n"
        "100,0.2,60,black,0.3127,0.329,3,2,1,rgb-10-full,window,10,top-left\n"
    )
    assert readings.codes.tolist() == [[1, 2, 3]]
    assert_allclose(readings.xyz, [[95.0456, 100, 108.9058]], atol=1e-4)
    assert readings.position == ("top-left",)
    assert readings.window.tolist() == [10]
    assert readings.pattern == ("window",)
    assert readings.background == ("black",)
    assert readings.seconds.tolist() == [60]
    assert readings.deviation.tolist() == [0.2]


@pytest.mark.parametrize("position", POSITIONS)
def test_positions(position: str) -> None:
    assert read(f"r,g,b,X,Y,Z,position\n1,1,1,1,1,1,{position}\n").position == (position,)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_patterns(pattern: str) -> None:
    assert read(f"r,g,b,X,Y,Z,pattern\n1,1,1,1,1,1,{pattern}\n").pattern == (pattern,)


@pytest.mark.parametrize("name", ENCODINGS)
def test_the_ends_of_each_encoding(name: str) -> None:
    top = ENCODINGS[name].top
    readings = read(f"r,g,b,X,Y,Z\n0,0,{top},1,1,1\n", name)
    assert readings.codes.tolist() == [[0, 0, top]]


# ---------------------------------------------------------------- ways to write CSV


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.replace(b"\n", b"\r\n"),
        PLAIN.replace(b"\n", b"\r"),
        PLAIN.rstrip(),
        b"\xef\xbb\xbf" + PLAIN,
        PLAIN + b"\n\r\n  \n",
        PLAIN + b",,,,,\n",
        PLAIN.replace(b",", b", "),
        b'"r","g","b","X","Y","Z"\r\n"1023","1023","1023","95.05","100","108.9"\r\n'
        b'0,0,"0",0.01,2e-2,+.03\r\n',
    ],
    ids=[
        "crlf",
        "cr",
        "no-last-newline",
        "utf-8-mark",
        "blank-end",
        "commas-end",
        "blanks",
        "quoted",
    ],
)
def test_the_same_readings(data: bytes) -> None:
    readings, plain = read(data), read(PLAIN)
    assert readings.codes.tolist() == plain.codes.tolist()
    assert readings.xyz.tolist() == plain.xyz.tolist()
    assert readings.lines == (2, 3)
    assert readings.data == data
    assert readings.sha256 == hashlib.sha256(data).hexdigest()


def test_quoted_cells_may_hold_commas_and_quotes() -> None:
    # RFC 4180, 2.6 and 2.7
    readings = read('r,g,b,X,Y,Z,background\n1,2,3,4,5,6,"grey, ""18 %"""\n')
    assert readings.background == ('grey, "18 %"',)


def test_lines_are_the_files_own_after_a_cell_with_a_line_break() -> None:
    with pytest.raises(Exception) as raised:
        read('r,g,b,X,Y,Z,background\n1,2,3,4,5,6,"two\nlines"\n1,2,3,a,5,6,\n')
    assert [problem.line for problem in raised.value.problems] == [2, 4]


# ---------------------------------------------------------------- what is normal


def test_noise_at_black_and_repeats_are_kept() -> None:
    readings = read("r,g,b,X,Y,Z\n" + "0,0,0,-0.01,-0.004,0.002\n" * 3)
    assert readings.xyz.tolist() == [[-0.01, -0.004, 0.002]] * 3


def test_no_chromaticity_is_asked_of_the_dark() -> None:
    # x .9, y .08 would lie far outside; under the floor that is noise
    row = "r,g,b,X,Y,Z\n0,0,0,0.09,0.008,0.002\n0,0,1,0.18,0.07,0.95\n"
    assert len(read(row)) == 2


@pytest.mark.parametrize("floor", [0, 0.003, 0.1])
def test_noise_at_black_is_kept_whatever_the_floor(floor: float) -> None:
    # 0 0 0 has no chromaticity, nor has a sum of 0
    rows = "r,g,b,X,Y,Z\n0,0,0,0,0,0\n0,0,0,0.001,0.002,-0.003\n0,0,0,0.009,0.004,-0.01\n"
    assert len(read(rows, floor=floor)) == 3


def test_dark_rows_without_chromaticity_are_black() -> None:
    readings = read("r,g,b,Y,x,y\n0,0,0,0,0.3,0.3\n0,0,0,0,0,0\n1,1,1,0.004,0,0\n")
    assert readings.xyz.tolist() == [[0, 0, 0], [0, 0, 0], [0.004, 0.004, 0.004]]


def test_a_floor_below_the_noise_counts_as_the_noise() -> None:
    assert read("r,g,b,Y,x,y\n0,0,0,0.004,0.3,0\n", floor=0).xyz[0, 1] == 0.004


def test_a_floor_moves_what_counts_as_dark() -> None:
    assert read("r,g,b,Y,x,y\n1,1,1,0.4,0,0\n", floor=0.5).xyz[0, 1] == 0.4


def test_a_little_outside_the_locus_is_let_through() -> None:
    # x + y = 1.0016 gives Z = −.03 cd/m²: rounded or noisy, yet no further out than .01
    assert read("r,g,b,Y,x,y\n1,0,0,5,0.7357,0.2659\n").xyz[0, 2] < -0.01


# ---------------------------------------------------------------- files


def test_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "slot-1.csv"
    path.write_bytes(PLAIN)
    for named in (path, str(path)):
        readings = load_readings(named, ENCODINGS["rgb-12-full"])
        assert readings.file == str(path)
        assert readings.data == PLAIN
        assert readings.encoding.name == "rgb-12-full"


def test_an_unknown_encoding_is_a_wrong_call() -> None:
    with pytest.raises(UsageError) as raised:
        read(PLAIN, "rgb-10-ful")
    assert str(raised.value) == "unknown encoding 'rgb-10-ful'; did you mean 'rgb-10-full'?"


def test_ten_thousand_readings() -> None:
    rows = b"".join(b"%d,0,0,41.2,21.3,1.9\n" % (n % 1024) for n in range(10_000))
    assert len(read(b"r,g,b,X,Y,Z\n" + rows)) == 10_000


# ---------------------------------------------------------------- how a file may be written

COMMAS = (
    "r,g,b,X,Y,Z,window,seconds,sd,background\n"
    "1023,0,0,41.24,21.26,1.93,10.5,0,.25,black\n0,0,0,-0.001,0.002,1e-3,,2.5,,\n"
)


def test_semicolons_with_decimal_commas_are_the_same_readings() -> None:
    swapped = COMMAS.translate(str.maketrans(",.", ";,"))
    one, other = read(COMMAS), read(swapped)
    assert "41,24" in swapped
    assert other.data == swapped.encode()
    for field in ("codes", "xyz", "window", "seconds", "deviation"):
        assert np.array_equal(getattr(other, field), getattr(one, field), equal_nan=True), field
    assert other.background == one.background


def test_a_decimal_point_among_semicolons_is_refused() -> None:
    with pytest.raises(ReadingsError) as found:
        read("r;g;b;X;Y;Z\n0;0;0;95,05;100;108,9\n1;1;1;0,01;0.02;0,03\n")
    assert str(found.value) == (
        "some.csv:3: Y: '0.02' has a decimal point; expected a decimal comma, as semicolons "
        "separate the columns"
    )
    with pytest.raises(ReadingsError, match=r"'1.234,5' is not a number"):
        read("r;g;b;X;Y;Z\n0;0;0;1.234,5;100;108,9\n")


@pytest.mark.parametrize(
    "header",
    ["R,G,B,X,Y,Z", "r,g,b,x,y,z", "r,G,b,X,y,Z", "C1,C2,C3,x,Y,z", "r,g,b,X,Y,Z"],
)
def test_the_case_of_a_header(header: str) -> None:
    readings = read(f"{header},POSITION,Sd\n1,2,3,20,30,40,left,0.5\n")
    assert readings.codes.tolist() == [[1, 2, 3]]
    assert readings.xyz.tolist() == [[20, 30, 40]]
    assert readings.position == ("left",)
    assert readings.deviation.tolist() == [0.5]


def test_chromaticities_keep_their_case() -> None:
    assert read("R,G,B,Y,x,y\n1,2,3,30,0.25,0.5\n").xyz.tolist() == [[15, 30, 15]]
    with pytest.raises(ReadingsError, match="missing columns for the measured colour"):
        read("r,g,b,y,x,Y,\n1,2,3,30,0.25,0.5,".replace(",Y,", ",X,"))


def test_a_message_names_a_column_as_the_file_does() -> None:
    with pytest.raises(ReadingsError, match=r"^some.csv:2: G: '2048' is outside the encoding"):
        read("R,G,B,X,Y,Z\n0,2048,0,1,1,1\n")


def test_columns_of_ones_own_are_ignored() -> None:
    own = "r,g,b,X,x-note,Y,Z,X-temp,x-note\n1,2,3,20,warm,30,40,abc,\n"
    assert read(own).xyz.tolist() == [[20, 30, 40]]
    with pytest.raises(ReadingsError, match=r"unknown column 'note'.*begin with x-"):
        read(own.replace("x-note", "note", 1))
