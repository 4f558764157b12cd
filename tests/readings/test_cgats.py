"""Keyword text (CGATS.17, ISO 28178): what is read, and every refusal word for word."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.other_formats import CGATS, CSV, edited, read

from compliance.errors import ReadingsError


def messages(text: str, encoding: str | None = "rgb-10-full", form: str | None = None) -> list[str]:
    with pytest.raises(ReadingsError) as raised:
        read(text, encoding, form)
    return str(raised.value).split("\n")


def test_the_same_readings_as_in_csv() -> None:
    found, csv = read(CGATS), read(CSV)
    assert found.form == "cgats"
    for name in ("codes", "xyz", "window", "seconds", "deviation"):
        np.testing.assert_array_equal(getattr(found, name), getattr(csv, name))
    for name in ("position", "pattern", "background"):
        assert getattr(found, name) == getattr(csv, name)
    assert found.lines == (20, 21, 22)
    assert found.data == CGATS.encode()


CHANGES = {
    "line ends": lambda text: text.replace("\n", "\r\n"),
    "no identifier": lambda text: text.removeprefix("CGATS.17\n"),
    "iso": lambda text: text.replace("CGATS.17", "ISO 28178"),
    "one's own kind": lambda text: text.replace("CGATS.17", "XYZ1"),
    "no counts": lambda text: edited(
        text, ("NUMBER_OF_FIELDS 13\n", ""), ("NUMBER_OF_SETS 3\n", "")
    ),
    "fields over lines": lambda text: text.replace(" XYZ_X", "\n# more\nXYZ_X"),
    "a set behind its begin": lambda text: text.replace("BEGIN_DATA\n", "BEGIN_DATA "),
    "end behind a set": lambda text: text.replace('60 ""\nEND_DATA', '60 "" END_DATA'),
    "a remark behind": lambda text: text.replace('"" 60 ""', '"" 60 "" # dusk'),
    "observer of 2°": lambda text: text.replace(
        'LAMP "warm"', 'WEIGHTING_FUNCTION "OBSERVER, 2 degree"'
    ),
    "ours": lambda text: text.replace(
        'LAMP "warm"', 'ENCODING "rgb-10-full"\nOBSERVER "cie-1931-2"\nUNIT "cd/m2"'
    ),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_ways_to_write_the_same(change) -> None:
    np.testing.assert_array_equal(read(change(CGATS)).xyz, read(CGATS).xyz)


def test_chromaticity_and_other_standard_fields() -> None:
    text = (
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME RGB_R RGB_G RGB_B XYY_X XYY_Y XYY_CAPY LAB_L\n"
        'END_DATA_FORMAT\nBEGIN_DATA\n"the white" 1023 1023 1023 .3127 .3290 100 100\nEND_DATA\n'
    )
    np.testing.assert_allclose(read(text).xyz, [[95.0456, 100, 108.9058]], atol=1e-4)
    both = text.replace("LAB_L", "XYZ_X XYZ_Y XYZ_Z").replace("100 100\n", "100 9 10 11\n")
    np.testing.assert_array_equal(read(both).xyz, [[9, 10, 11]])


def test_codes_of_x_y_z() -> None:
    text = (
        'CGATS.17\nKEYWORD "C1"\nBEGIN_DATA_FORMAT\nC1 C2 C3 XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\n'
        "BEGIN_DATA\n3794 3960 3890 43 48 45\nEND_DATA\n"
    )
    assert read(text, "xyz-12-full").codes.tolist() == [[3794, 3960, 3890]]


FIELDS = "RGB_R, RGB_G, RGB_B, C1, C2, C3, XYZ_X, XYZ_Y, XYZ_Z, XYY_CAPY, XYY_X, XYY_Y, POSITION, "
FIELDS += "WINDOW, PATTERN, BACKGROUND, SECONDS, SD, REPLACED"
CODE = "expected a code value of rgb-10-full, 0 to 1023"

FAULTS = {
    "unknown field": (
        ("SAMPLE_ID RGB_R", "GAIN RGB_R"),
        [f"f:16: unknown field 'GAIN'; expected one of {FIELDS}"],
    ),
    "misspelt field": (
        ("PATTERN BACK", "PATERN BACK"),
        ["f:16: unknown field 'PATERN'; did you mean 'PATTERN'?"],
    ),
    "field twice": (("WINDOW PATTERN", "WINDOW WINDOW"), ["f:16: duplicate field 'WINDOW'"]),
    "no codes": (
        ("SAMPLE_ID RGB_R RGB_G RGB_B", "SAMPLE_ID LAB_L LAB_A LAB_B"),
        [
            "f:15: no columns for code values; expected RGB_R, RGB_G, RGB_B or C1, C2, C3; if "
            "the file has none, take them from the plan that was measured: compliance convert "
            "FILE OUT --plan PLAN.csv"
        ],
    ),
    "half of the values": (
        ("XYZ_Z", "LAB_L"),
        [
            "f:15: missing columns for the measured colour: found only XYZ_X, XYZ_Y; expected "
            "XYZ_X, XYZ_Y, XYZ_Z or XYZ_Y, XYY_X, XYY_Y"
        ],
    ),
    "unknown keyword": (
        ('LAMP "warm"', 'LUMP "warm"'),
        ["f:13: unknown keyword 'LUMP', which the file does not declare"],
    ),
    "misspelt keyword": (
        ('LAMP "warm"', 'ENCODNG "rgb-10-full"'),
        [
            "f:13: unknown keyword 'ENCODNG', which the file does not declare; did you mean "
            "'ENCODING'?"
        ],
    ),
    "included file": (
        ('LAMP "warm"', ".INCLUDE other.txt"),
        ["f:13: unknown keyword '.INCLUDE', which the file does not declare"],
    ),
    "relative": (
        ('LAMP "warm"', 'NORMALIZED_TO_Y_100 "YES"'),
        [
            "f:13: NORMALIZED_TO_Y_100: the values are relative, white is 100; expected cd/m² as "
            "measured"
        ],
    ),
    "another unit": (
        ('LAMP "warm"', 'UNIT "fL"'),
        ["f:13: UNIT: unsupported unit 'fL'; expected cd/m2"],
    ),
    "another observer": (
        ('LAMP "warm"', 'OBSERVER "cie-1964-10"'),
        ["f:13: OBSERVER: 'cie-1964-10' is not the observer that rules use; expected cie-1931-2"],
    ),
    "weighted by another observer": (
        ('LAMP "warm"', 'WEIGHTING_FUNCTION "OBSERVER, 10 degree"'),
        [
            "f:13: WEIGHTING_FUNCTION: 'OBSERVER, 10 degree' is not the observer that rules "
            "use; expected cie-1931-2 (2°)"
        ],
    ),
    "another encoding": (
        ('LAMP "warm"', 'ENCODING "rgb-8-full"'),
        ["f: ENCODING: 'rgb-8-full' is not the encoding given for this file; expected rgb-10-full"],
    ),
    "count of fields": (
        ("NUMBER_OF_FIELDS 13", "NUMBER_OF_FIELDS 12"),
        ["f:14: NUMBER_OF_FIELDS: the file states 12, but has 13 field names"],
    ),
    "count of sets": (
        ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS 4"),
        ["f:18: NUMBER_OF_SETS: the file states 4, but has 3 sets of data"],
    ),
    "no count": (
        ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS many"),
        ["f:18: NUMBER_OF_SETS: 'many' is not a count; expected a whole number"],
    ),
    "too many values": (
        ('"" 60 ""', '"" 60 "" 7'),
        ["f:23: 14 values; expected 13, one for each field"],
    ),
    "too few values": (('"" 60 ""', '"" 60'), ["f:22: 12 values; expected 13, one for each field"]),
    "open quotes": (
        ('"grey, 18 %"', '"grey, 18 %'),
        ['f:20: a quoted text is not closed; expected a closing "'],
    ),
    "no data": (
        ("BEGIN_DATA\n", "# BEGIN_DATA\n"),
        [
            "f:20: unknown keyword '1', which the file does not declare",
            "f:21: unknown keyword '2', which the file does not declare",
            "f:22: unknown keyword 'A3', which the file does not declare",
            "f:23: unknown keyword 'top-left', which the file does not declare",
            "f:24: unknown keyword 'END_DATA', which the file does not declare",
            "f: the file ends without BEGIN_DATA",
        ],
    ),
    "no end": (("END_DATA\n", ""), ["f: the file ends without END_DATA"]),
    "a code": (
        ("A3 512", "A3 51.2"),
        [f"f:22: RGB_R: '51.2' is not a whole number; {CODE}"],
    ),
    "a value": (
        ("10.3 5.4", "ten 5.4"),
        ["f:22: XYZ_X: 'ten' is not a number; expected cd/m², e.g. 95.05"],
    ),
    "a place": (
        ("top-left 100", "topleft 100"),
        ["f:22: POSITION: unknown position 'topleft'; did you mean 'top-left'?"],
    ),
}


@pytest.mark.parametrize(("change", "expected"), FAULTS.values(), ids=FAULTS)
def test_faults(change: tuple[str, str], expected: list[str]) -> None:
    old, new = change
    text = edited(CGATS, (old, new)) if old != "END_DATA\n" else CGATS.removesuffix(old)
    found = messages(text)
    assert sorted(found) == sorted(expected)


def test_a_second_table() -> None:
    assert messages(CGATS + CGATS.partition("\n")[2]) == [
        "f:25: found 'ORIGINATOR' after END_DATA; expected one table in a file"
    ]


def test_what_may_be_percent_is_not_taken_for_codes() -> None:
    text = (
        "CGATS.17\nBEGIN_DATA_FORMAT\nRGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\n"
        "BEGIN_DATA\n0 0 0 0 0 0\n100 100 100 95 100 109\nEND_DATA\n"
    )
    (told,) = messages(text)
    assert told.startswith("f:2: RGB_R: no code value is above 100: are they percent?")
    (same,) = messages(text.replace(" 100", " 99.61").replace("0 0 0 0 0 0", "0.0 0.0 0.0 0 0 0"))
    assert same == told
    stated = text.replace("17\n", '17\nKEYWORD "ENCODING"\nENCODING "rgb-8-full"\n')
    assert read(stated, "rgb-8-full").codes.max() == 100


STATED = edited(CGATS, ('LAMP "warm"', 'ENCODING "rgb-10-full"'))


def test_the_encoding_that_the_file_states() -> None:
    assert read(STATED, None).encoding.name == "rgb-10-full"
    assert messages(CGATS, None)[0].startswith("f: the encoding of the code values is not stated")
    assert messages(edited(STATED, ("10-full", "10-ful")), None) == [
        "f: unknown encoding 'rgb-10-ful'; did you mean 'rgb-10-full'?"
    ]


def test_another_encoding_than_stated_is_told_and_not_each_code_that_leaves_it() -> None:
    assert messages(STATED, "rgb-8-full") == [
        "f: ENCODING: 'rgb-10-full' is not the encoding given for this file; expected rgb-8-full"
    ]


def test_insisting_on_the_format() -> None:
    assert len(read(CGATS, form="cgats")) == 3
    assert "f: the file ends without BEGIN_DATA_FORMAT" in messages(CSV, form="cgats")
    assert messages(CGATS, form="csv") == [
        "f: the file is CGATS text, by its content; expected CSV"
    ]
