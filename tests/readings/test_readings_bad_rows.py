"""Rows that cannot be readings: each with its exact message."""

from __future__ import annotations

import random

import pytest

from compliance.errors import ReadingsError
from compliance.readings.load import readings_from_bytes

HEADER = "r,g,b,X,Y,Z"
YXY = "r,g,b,Y,x,y"
FULL = f"{HEADER},position,window,pattern,background,seconds,encoding,sd"
CODE = "expected a code value of rgb-10-full, 0 to 1023"
LEVEL = "expected cd/m², e.g. 95.05"
WINDOW = "expected % of area, above 0, up to 100"
POSITIONS = (
    "centre, left, right, top, bottom, top-left, top-right, bottom-left, bottom-right, "
    "inner-top-left, inner-top-right, inner-bottom-left, inner-bottom-right"
)


def messages(text: str, floor: float = 0.1) -> list[str]:
    with pytest.raises(ReadingsError) as raised:
        readings_from_bytes(text.encode(), "f", "rgb-10-full", floor=floor)
    return str(raised.value).split("\n")


# One row below a header; the problem is in line 2.
ROWS = {
    # code values
    "code-text": (HEADER, "a,2,3,4,5,6", f"r: 'a' is not a number; {CODE}"),
    "code-empty": (HEADER, "1,,3,4,5,6", f"g: the cell is empty; {CODE}"),
    "code-point": (HEADER, "1,2,940.0,4,5,6", f"b: '940.0' is not a whole number; {CODE}"),
    "code-share": (HEADER, "1,2,.5,4,5,6", f"b: '.5' is not a whole number; {CODE}"),
    "code-power": (HEADER, "1,2,1e3,4,5,6", f"b: '1e3' is not a whole number; {CODE}"),
    "code-nan": (HEADER, "NaN,2,3,4,5,6", f"r: 'NaN' is not a finite number; {CODE}"),
    "code-high": (HEADER, "1024,2,3,4,5,6", f"r: '1024' is outside the encoding; {CODE}"),
    "code-low": (HEADER, "-1,2,3,4,5,6", f"r: '-1' is outside the encoding; {CODE}"),
    "code-huge": (
        HEADER,
        "1" * 60 + ",2,3,4,5,6",
        f"r: '{'1' * 39}…' is outside the encoding; {CODE}",
    ),
    "code-grouped": (HEADER, "1_0,2,3,4,5,6", f"r: '1_0' is not a number; {CODE}"),
    "code-script": (HEADER, "٣,2,3,4,5,6", f"r: '٣' is not a number; {CODE}"),
    # the measured colour
    "text": (HEADER, "1,2,3,n/a,5,6", f"X: 'n/a' is not a number; {LEVEL}"),
    "unit": (HEADER, "1,2,3,4,5 cd,6", f"Y: '5 cd' is not a number; {LEVEL}"),
    "nothing": (HEADER, "1,2,3,4,5,", f"Z: the cell is empty; {LEVEL}"),
    "nan": (HEADER, "1,2,3,4,nan,6", f"Y: 'nan' is not a finite number; {LEVEL}"),
    "infinite": (HEADER, "1,2,3,4,5,-Infinity", f"Z: '-Infinity' is not a finite number; {LEVEL}"),
    "overflow": (HEADER, "1,2,3,4,5,1e999", f"Z: '1e999' is not a finite number; {LEVEL}"),
    "decimal-comma": (
        HEADER,
        '1,2,3,"95,05",5,6',
        "X: '95,05' has a decimal comma; expected a decimal point: cd/m², e.g. 95.05",
    ),
    "thousands": (HEADER, '1,2,3,4,"1,234.5",6', f"Y: '1,234.5' is not a number; {LEVEL}"),
    "hidden": (HEADER, "1,2,3,4,5\x07,6", f"Y: '5\\u0007' is not a number; {LEVEL}"),
    "negative": (
        HEADER,
        "1,2,3,4,-0.02,6",
        "Y: '-0.02' is below the noise at black; expected -0.01 cd/m² or more",
    ),
    "blinding": (HEADER, "1,2,3,4,2e6,6", f"Y: '2e6' is more than any display can show; {LEVEL}"),
    "no-colour": (
        HEADER,
        "1,2,3,90,10,10",
        "X 90, Y 10, Z 10 is not a possible colour: more than 0.01 in u′v′ outside the spectral "
        "locus",
    ),
    "no-colour-in-the-dark": (
        HEADER,
        "1,2,3,90,0.005,0",
        "X 90, Y 0.005, Z 0 is not a possible colour: more than 0.01 in u′v′ outside the spectral "
        "locus",
    ),
    # Y, x, y
    "x-missing": (YXY, "1,2,3,4,,0.3", "x: the cell is empty; expected CIE 1931 x, e.g. 0.3127"),
    "y-text": (YXY, "1,2,3,4,0.3,-", "y: '-' is not a number; expected CIE 1931 y, e.g. 0.3290"),
    "y-zero": (
        YXY,
        "1,2,3,12,0.3,0",
        "y: '0' leaves a patch of 12 cd/m² without colour; expected y above 0",
    ),
    "y-tiny": (
        YXY,
        "1,2,3,12,0.3,1e-9",
        "y: '1e-9' with x 0.3 and Y 12 is not a colour; expected CIE 1931 x, y",
    ),
    "y-negative": (
        YXY,
        "1,2,3,12,0.3,-0.2",
        "Y 12, x 0.3, y -0.2 is not a possible colour: more than 0.01 in u′v′ outside the "
        "spectral locus",
    ),
    "xy-outside": (
        YXY,
        "1,2,3,12,0.02,0.2",
        "Y 12, x 0.02, y 0.2 is not a possible colour: more than 0.01 in u′v′ outside the "
        "spectral locus",
    ),
    "xy-swapped-scale": (
        YXY,
        "1,2,3,12,31.3,32.9",
        "Y 12, x 31.3, y 32.9 is not a possible colour: more than 0.01 in u′v′ outside the "
        "spectral locus",
    ),
    "y-negative-in-the-dark": (
        YXY,
        "1,2,3,0.05,0.3,-0.2",
        "Y 0.05, x 0.3, y -0.2 is below the noise at black; expected X, Y and Z of -0.01 cd/m² or "
        "more",
    ),
    # optional columns
    "position": (
        FULL,
        "1,2,3,4,5,6,center,,,,,,",
        "position: unknown position 'center'; did you mean 'centre'?",
    ),
    "position-other": (
        FULL,
        "1,2,3,4,5,6,7,,,,,,",
        f"position: unknown position '7'; expected one of {POSITIONS}",
    ),
    "position-case": (
        FULL,
        "1,2,3,4,5,6,Top-Left,,,,,,",
        "position: unknown position 'Top-Left'; did you mean 'top-left'?",
    ),
    "window-zero": (FULL, "1,2,3,4,5,6,,0,,,,,", f"window: '0' is out of range; {WINDOW}"),
    "window-large": (FULL, "1,2,3,4,5,6,,100.1,,,,,", f"window: '100.1' is out of range; {WINDOW}"),
    "window-percent": (FULL, "1,2,3,4,5,6,,10%,,,,,", f"window: '10%' is not a number; {WINDOW}"),
    "pattern": (
        FULL,
        "1,2,3,4,5,6,,,windows,,,,",
        "pattern: unknown pattern 'windows'; did you mean 'window'?",
    ),
    "pattern-other": (
        FULL,
        "1,2,3,4,5,6,,,L20,,,,",
        "pattern: unknown pattern 'L20'; expected one of full, window, checkerboard",
    ),
    "background": (
        FULL,
        f"1,2,3,4,5,6,,,,{'a' * 81},,,",
        f"background: '{'a' * 39}…' is not a short text; expected at most 80 printable characters "
        "on one line",
    ),
    "background-lines": (
        FULL,
        '1,2,3,4,5,6,,,,"a\nb",,,',
        "background: 'a b' is not a short text; expected at most 80 printable characters on one "
        "line",
    ),
    "seconds": (
        FULL,
        "1,2,3,4,5,6,,,,,-1,,",
        "seconds: '-1' is out of range; expected seconds, 0 or more",
    ),
    "sd": (
        FULL,
        "1,2,3,4,5,6,,,,,,,-0.1",
        "sd: '-0.1' is out of range; expected % of the mean Y, 0 or more",
    ),
    "encoding": (
        FULL,
        "1,2,3,4,5,6,,,,,,rgb-10-narrow,",
        "encoding: 'rgb-10-narrow' is not the encoding given for this file; expected rgb-10-full",
    ),
    # the row itself
    "few-cells": (HEADER, "1,2,3,4,5", "5 cells; expected 6 as in the header row"),
    "one-cell": (HEADER, "1;2;3;4;5;6", "1 cell; expected 6 as in the header row"),
    "decimal-commas": (
        HEADER,
        "1,2,3,4,0,5,0,6,0",
        "9 cells; expected 6 as in the header row; write decimals with a point",
    ),
    "commas-behind": (
        HEADER,
        "1,2,3,4,5,6,,",
        "8 cells; expected 6 as in the header row; remove the empty cells at its end",
    ),
    "blank": (HEADER, "\n1,2,3,4,5,6", "a blank line between the readings; remove it"),
    "commas": (HEADER, ",,,,,\n1,2,3,4,5,6", "a blank line between the readings; remove it"),
    "open-quote": (
        HEADER,
        '1,2,3,4,5,"6\n7,8\n',
        'a quoted cell that begins in this row is not closed; expected a closing "',
    ),
    "behind-quote": (
        HEADER,
        '1,2,3,4,5,"6"7',
        'found text after a closing "; expected a separator or the end of the line',
    ),
}


@pytest.mark.parametrize(("header", "row", "message"), ROWS.values(), ids=ROWS.keys())
def test_row(header: str, row: str, message: str) -> None:
    assert messages(f"{header}\n{row}\n") == [f"f:2: {message}"]


def test_all_problems_of_a_row_are_told() -> None:
    assert messages(f"{HEADER}\n1,2,3,4,5,6\n1,2000,b,4,x,6\n") == [
        f"f:3: g: '2000' is outside the encoding; {CODE}",
        f"f:3: b: 'b' is not a number; {CODE}",
        f"f:3: Y: 'x' is not a number; {LEVEL}",
    ]


def test_problems_come_by_line() -> None:
    text = f"{HEADER}\n1,2,3,90,10,10\n1,2,3,4,x,6\n1,2,3,91,10,10\n"
    assert [line.split(":")[1] for line in messages(text)] == ["2", "3", "4"]


@pytest.mark.parametrize(
    ("count", "rest"), [(20, None), (21, "1 more problem"), (500, "480 more problems")]
)
def test_no_more_than_twenty_are_told(count: int, rest: str | None) -> None:
    rows = (f"1,2,3,4,x{number},6\n" for number in range(2, count + 2))
    told = messages(f"{HEADER}\n{''.join(rows)}")
    expected = [f"f:{line}: Y: 'x{line}' is not a number; {LEVEL}" for line in range(2, 22)]
    assert told == expected + ([f"f: and {rest}"] if rest else [])


@pytest.mark.parametrize(
    ("count", "rest"),
    [
        (1, ""),
        (2, "; also in line 3"),
        (4, "; also in lines 3, 4 and 5"),
        (500, "; also in 499 more lines"),
    ],
)
def test_the_same_problem_in_many_rows_is_told_once(count: int, rest: str) -> None:
    told = messages(f"{HEADER},encoding\n" + "1,2,3,4,5,6,rgb-8-full\n" * count)
    said = "'rgb-8-full' is not the encoding given for this file; expected rgb-10-full"
    assert told == [f"f:2: encoding: {said}{rest}"]


def test_one_that_is_everywhere_is_read_no_further() -> None:
    told = messages(f"{HEADER}\n" + "1,2,3,4,x,6\n" * 6000 + "1,2,3,y,5,6\n")
    assert told == [
        f"f:2: Y: 'x' is not a number; {LEVEL}; also in 4999 more lines",
        "f: the rest of the file was not read",
    ]


@pytest.mark.parametrize(
    ("columns", "rows", "said"),
    [
        ("", "4,4095,5,4,5,6\n2000,1,1,4,5,6\n1,1,1024,4,5,6\n1,1025,1,4,5,6\n",
         "4 code values are too large, up to 4095; expected 0 to 1023 for rgb-10-full; are they "
         "rgb-12-full or "
         "rgb-12-narrow?"),
        (",encoding", "4,4095,1300,4,5,6,rgb-12-full\n1024,1025,1,4,5,6,\n",
         "4 code values are too large, up to 4095; expected 0 to 1023 for rgb-10-full; are they "
         "rgb-12-full?"),
        ("", "65535,65535,65535,4,5,6\n5000,1,1,4,5,6\n",
         "4 code values are too large, up to 65535; expected 0 to 1023 for rgb-10-full"),
    ],
)  # fmt: skip
def test_code_values_of_a_larger_encoding(columns: str, rows: str, said: str) -> None:
    assert messages(f"{HEADER}{columns}\n{rows}") == [f"f:2: {said}"]


def test_the_floor_is_the_callers() -> None:
    # below it a chromaticity is noise, above it is judged
    text = f"{HEADER}\n0,0,0,0.09,0.02,0\n"
    assert readings_from_bytes(text.encode(), "f", "rgb-10-full", floor=0.1).xyz[0, 1] == 0.02
    assert messages(text, floor=0.003) == [
        "f:2: X 0.09, Y 0.02, Z 0 is not a possible colour: more than 0.01 in u′v′ outside the "
        "spectral locus"
    ]


# ---------------------------------------------------------------- anything else

VALID = (
    f"{FULL}\r\n"
    "0,0,0,0.001,0.002,-0.003,centre,10,window,black,0,rgb-10-full,0.5\r\n"
    '1023,1023,1023,95.05,1.0e2,108.9,top-left,100,full,"grey, half",60,,\r\n'
).encode()


@pytest.mark.parametrize("seed", range(4))
def test_changed_bytes_are_readings_or_a_readings_error(seed: int) -> None:
    source = random.Random(seed)
    for _ in range(500):
        data = bytearray(VALID)
        for _ in range(source.choice((1, 1, 2, 8))):
            place = source.randrange(len(data))
            choice = source.randrange(3)
            if choice == 0:
                data[place] = source.randrange(256)
            elif choice == 1:
                del data[place : place + source.randrange(1, 9)]
            else:
                data[place:place] = bytes([source.choice(b',"\r\n;.eE-+\x00\xff09 ')])
        try:
            readings = readings_from_bytes(bytes(data), "f", "rgb-10-full")
        except ReadingsError as error:
            assert 1 <= len(error.problems) <= 21
            assert "\n" not in str(error.problems[0])
        else:
            assert len(readings) == len(readings.lines) > 0
