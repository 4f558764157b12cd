"""Plan, filled in, to CGATS, to CxF, to a table: equal to the last printed digit."""

from __future__ import annotations

from csv import reader
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from helpers import little_cms
from helpers.other_formats import (
    CGATS,
    CSV,
    CXF,
    WAVELENGTHS,
    cgats_spectra,
    cxf_of_spectra,
    read,
    spectra,
    tm27,
)
from helpers.planned_readings import filled_in
from helpers.shipped import shipped_rule

from compliance.colour.codes import decode
from compliance.colour.spaces import xyz_to_xy
from compliance.errors import ReadingsError, UsageError
from compliance.model import ENCODINGS, Encoding
from compliance.planning.plan import measuring_plan
from compliance.planning.stimuli import ExtraPatches
from compliance.readings.convert import Converted, Source, convert
from compliance.readings.csv_format import comma_separated
from compliance.readings.load import readings_from_bytes
from compliance.readings.raw_table import SpectralOptions

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)


RULES = ("sdr-broadcast", "web-srgb", "hdr-pq-1000", "cinema-review-room")


def converted(data: bytes | str, to: str, encoding: str | None = None, **how) -> Converted:
    raw = data.encode() if isinstance(data, str) else data
    known: Encoding | None = ENCODINGS[encoding] if encoding else None
    source = [Source("f", raw)]
    return convert(source, to, created=NOW, tool="a test", encoding=known, **how)


def cells(data: bytes) -> list[list[str]]:
    return [line.split(",") for line in data.decode().splitlines()]


@pytest.mark.parametrize("name", RULES)
def test_plan_csv_cgats_cxf_csv(name: str) -> None:
    rule = shipped_rule(name)
    filled = filled_in(measuring_plan([rule], rule.encoding, technology="lcd"), rule)
    cgats = converted(filled, "cgats")
    cxf = converted(cgats.data, "cxf")
    csv = converted(cxf.data, "csv")
    again = converted(converted(csv.data, "cxf").data, "cgats")
    assert (cgats.forms, cxf.forms, csv.forms) == (("csv",), ("cgats",), ("cxf",))
    assert cells(csv.data) == cells(filled)
    assert again.data == cgats.data
    readings = [
        readings_from_bytes(one, "f", rule.encoding)
        for one in (filled, cgats.data, cxf.data, csv.data)
    ]
    for other in readings[1:]:
        np.testing.assert_array_equal(other.xyz, readings[0].xyz)
        np.testing.assert_array_equal(other.codes, readings[0].codes)


BACKGROUNDS = ("", "grey, 18 %", 'a "dark" one', "#1 & <2>", "Büro, Licht ’aus’", "END_DATA", "0,5")


@pytest.mark.parametrize("chromaticity", [False, True], ids=["X, Y, Z", "Y, x, y"])
@pytest.mark.parametrize("name", ["sdr-broadcast", "hdr-pq-1000", "cinema-review-room"])
def test_everything_that_a_session_can_say(name: str, chromaticity: bool) -> None:
    """Points, windows, times, repeats, backgrounds, deviations, and digits as meters write them."""
    rule = shipped_rule(name)
    plan = measuring_plan([rule], rule.encoding, further=ExtraPatches(13, windows=True))
    _, *light = cells(filled_in(plan, rule))
    header, *steps = plan.rows(chromaticity=chromaticity)
    made = [(*header[:-1], "background", "sd", "encoding")]
    for place, (step, row) in enumerate(zip(steps, light, strict=True)):
        values = row[3:6]
        if chromaticity:
            values = [values[1], *(f"{xy:.4f}" for xy in xyz_to_xy(np.array(values, float)))]
        shown = BACKGROUNDS[place % len(BACKGROUNDS)]
        written = (values[0] + ("0" if "." in values[0] else ""), "+" + values[1], values[2])
        made.append((*step[:3], *written, *step[6:-1], shown, f".{place}0", step[-1]))
    first = comma_separated(made).encode()
    cgats = converted(first, "cgats")
    csv = converted(converted(cgats.data, "cxf").data, "csv")
    assert csv.data == converted(first, "csv").data
    rows = list(reader(StringIO(csv.data.decode())))
    assert sorted(rows[0]) == sorted(made[0])
    order = [rows[0].index(column) for column in made[0]]
    assert [tuple(row[at] for at in order) for row in rows] == [tuple(row) for row in made]
    before, after = (readings_from_bytes(one, "f", rule.encoding) for one in (first, csv.data))
    for field in ("codes", "xyz", "window", "seconds", "deviation"):
        np.testing.assert_array_equal(getattr(after, field), getattr(before, field))
    for field in ("position", "pattern", "background"):
        assert getattr(after, field) == getattr(before, field)


@pytest.mark.parametrize("slot", ["slot-1", "slot-1-before", "slot-2", "slot-3", "slot-4"])
def test_readings_of_the_demo(slot: str) -> None:
    data = (ROOT / "demo" / "readings" / f"{slot}.csv").read_bytes()
    encodings = {"2": "rgb-8-full", "3": "rgb-10-full", "4": "xyz-12-full"}
    encoding = encodings.get(slot.split("-")[1], "rgb-10-narrow")
    there = converted(converted(data, "cxf", encoding).data, "cgats")
    back = converted(there.data, "csv")
    assert [row[:-1] for row in cells(back.data)] == cells(data)
    assert {row[-1] for row in cells(back.data)[1:]} == {encoding}


def test_every_column_and_awkward_text() -> None:
    text = CSV.replace("grey, 18 %", 'a ""grey"" #1 & <2> ’')
    first = converted(text, "cgats", "rgb-10-full")
    back = converted(converted(first.data, "cxf").data, "csv")
    assert read(back.data).background == ('a "grey" #1 & <2> ’', "", "")
    assert converted(back.data, "csv").data == back.data


def test_chromaticities_and_negative_noise_stay_as_they_are() -> None:
    text = "r,g,b,Y,x,y\n1023,1023,1023,100.0,.31270,0.3290\n0,0,0,-0.001,0.3,0.3\n"
    cxf = converted(text, "cxf", "rgb-10-full")
    assert (cxf.count, cxf.negative) == (2, 1)
    back = converted(converted(cxf.data, "cgats").data, "csv")
    assert [row[:6] for row in cells(back.data)] == cells(text.encode())


@pytest.mark.parametrize("text", [CGATS, CXF], ids=["cgats", "cxf"])
def test_files_made_by_hand(text: str) -> None:
    found = read(converted(text, "csv", "rgb-10-full").data)
    np.testing.assert_array_equal(found.xyz, read(CSV).xyz)
    assert found.background == read(CSV).background


# ---------------------------------------------------------------- other libraries


def test_another_library_reads_the_cgats_text_written() -> None:
    data = (ROOT / "demo" / "readings" / "slot-1.csv").read_bytes()
    text = converted(data, "cgats", "rgb-10-narrow").data
    fields = ["RGB_R", "RGB_G", "RGB_B", "XYZ_X", "XYZ_Y", "XYZ_Z", "POSITION", "WINDOW"]
    found = little_cms.values(text, fields)
    rows = [list(row) for row in zip(*(found[field] for field in fields), strict=True)]
    assert rows == [row[:8] for row in cells(data)[1:]]


def test_cgats_text_that_another_library_writes() -> None:
    fields = ["SAMPLE_ID", "RGB_R", "RGB_G", "RGB_B", "XYZ_X", "XYZ_Y", "XYZ_Z"]
    rows = [["1", "1023", "1023", "1023", "95.0400", "100.10", "108.9"],
            ["2", "0", "0", "0", "0.0010", "0.0020", "0.003"]]  # fmt: skip
    text = little_cms.written(fields, rows, {"ORIGINATOR": "a test", "DESCRIPTOR": "white"})
    found = converted(text, "csv", "rgb-10-full")
    assert [row[:6] for row in cells(found.data)[1:]] == [row[1:] for row in rows]


def test_another_library_reads_the_cxf_written() -> None:
    from colour_cxf import read_cxf

    data = (ROOT / "demo" / "readings" / "slot-1.csv").read_bytes()
    cxf = read_cxf(converted(data, "cxf", "rgb-10-narrow").data)
    objects = cxf.resources.object_collection.object_value
    for row, one in zip(cells(data)[1:], objects, strict=True):
        (colour,), (codes,) = one.color_values.choice, one.device_color_values.choice
        assert [codes.r, codes.g, codes.b] == [int(cell) for cell in row[:3]]
        assert [colour.x, colour.y, colour.z] == [float(cell) for cell in row[3:6]]
        tags = {tag.name: tag.value for tag in one.tag_collection[0].tag}
        assert tags["position"] == row[6]
    (known,) = cxf.resources.color_specification_collection.color_specification
    assert known.measurement_spec.luminance_units_type.value.value == "cd/m2"


# ---------------------------------------------------------------- joined with the plan


def plan_of(*rows: tuple[str, ...]) -> Source:
    header = ("r", "g", "b", "X", "Y", "Z", "position", "window", "encoding")
    return Source("plan.csv", comma_separated([header, *rows]).encode())


PLAN = plan_of(
    ("1023", "1023", "1023", "", "", "", "centre", "10", "rgb-10-full"),
    ("0", "0", "0", "", "", "", "top-left", "100", "rgb-10-full"),
)


def test_one_file_a_reading_and_the_plan() -> None:
    sources = [Source("1.spdx", tm27().encode()), Source("2.spdx", tm27(value="1e-6").encode())]
    found = convert(sources, "csv", created=NOW, tool="a test", plan=PLAN)
    readings = read(found.data)
    assert found.forms == ("tm27",)
    assert readings.codes[:, 0].tolist() == [1023, 0]
    assert readings.position == ("centre", "top-left")
    np.testing.assert_allclose(readings.xyz[0], 1000 * readings.xyz[1])
    np.testing.assert_array_equal(readings.xyz[0], read(spectra()).xyz[0])


def test_values_alone_and_the_plan() -> None:
    found = converted("X,Y,Z,sd\n95,100,109,0.1\n0,0,0,\n", "csv", plan=PLAN)
    assert cells(found.data) == [
        ["r", "g", "b", "X", "Y", "Z", "position", "window", "sd", "encoding"],
        ["1023", "1023", "1023", "95", "100", "109", "centre", "10", "0.1", "rgb-10-full"],
        ["0", "0", "0", "0", "0", "0", "top-left", "100", "", "rgb-10-full"],
    ]


@pytest.mark.parametrize("name", ["sdr-broadcast", "web-srgb", "hdr-pq-1000"])
@pytest.mark.parametrize("digits", [None, 1, 2, 6])
def test_codes_in_percent_are_held_against_the_plans(name: str, digits: int | None) -> None:
    """As other programs write them, to one digit behind the point or more; or as codes."""
    rule = shipped_rule(name)
    plan = measuring_plan([rule], rule.encoding)
    header, *rows = cells(filled_in(plan, rule))
    signal = np.asarray(
        decode(np.array([row[:3] for row in rows], int), rule.encoding.bits, rule.encoding.narrow)
    )
    shown = [
        row[:3] if digits is None else [f"{100 * one:.{digits}f}" for one in three]
        for row, three in zip(rows, signal.tolist(), strict=True)
    ]
    sets = "\n".join(" ".join([*codes, *row[3:6]]) for codes, row in zip(shown, rows, strict=True))
    text = (
        "CGATS.17\nBEGIN_DATA_FORMAT\nRGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{sets}\nEND_DATA\n"
    )
    source = Source("plan.csv", comma_separated(plan.rows()).encode())
    assert cells(converted(text, "csv", plan=source).data) == [header, *rows]
    turned = text.replace(sets, "\n".join(sets.split("\n")[::-1]))
    with pytest.raises(ReadingsError, match="as in the plan"):
        converted(turned, "csv", plan=source)


def test_columns_of_spectra_and_the_plan() -> None:
    rows = "\n".join(f"{at},0.001,1e-6" for at in WAVELENGTHS)
    how = {"plan": PLAN, "spectral": SpectralOptions(unit="W/(sr·m²·nm)")}
    found = converted(f"wavelength,a,b\n{rows}\n", "cgats", **how)
    np.testing.assert_allclose(read(found.data).xyz[0], read(spectra()).xyz[0], rtol=1e-12)


REFUSED = {
    "count": (
        "X,Y,Z\n1,1,1\n",
        {"plan": PLAN},
        "plan.csv: the plan has 2 rows; expected as many readings, found 1",
    ),
    "own codes": (
        CSV,
        {"plan": PLAN},
        "plan.csv: the plan has 2 rows; expected as many readings, found 3",
    ),
    "own codes, same count": (
        "r,g,b,X,Y,Z\n1023,1023,1023,1,1,1\n1,1,1,1,1,1\n",
        {"plan": PLAN},
        "f:3: r: found 1, 1, 1; expected 0, 0, 0 as in the plan, or the same in percent of the "
        "signal",
    ),
    "codes and percent": (
        "r,g,b,X,Y,Z\n1023,1023,1023,1,1,1\n0.04,0,0,1,1,1\n",
        {"plan": PLAN},
        "f:3: r: found 0.04, 0, 0; expected 0, 0, 0 as in the plan",
    ),
    "percent of nothing known": (
        "r,g,b,X,Y,Z\n100,100,100,1,1,1\n0,0,0,1,1,1\n",
        {"plan": Source("plan.csv", PLAN.data.replace(b"rgb-10-full", b""))},
        "f:2: r: found 100, 100, 100; expected 1023, 1023, 1023 as in the plan",
    ),
    "no number at all": (
        "r,g,b,X,Y,Z\n1e999,1,1,1,1,1\n0,0,0,1,1,1\n",
        {"plan": PLAN},
        "f:2: r: found 1e999, 1, 1; expected 1023, 1023, 1023 as in the plan",
    ),
    "a plan of no codes": (
        "r,g,b,X,Y,Z\n1,1,1,1,1,1\n0,0,0,1,1,1\n",
        {"plan": Source("plan.csv", PLAN.data.replace(b"1023,1023", b"1e999,9" + b"9" * 40))},
        "f:2: r: found 1, 1, 1; expected 1e999, 9999",
    ),
    "no numbers": (
        "r,g,b,X,Y,Z\nwhite,1023,1023,1,1,1\n0,0,0,1,1,1\n",
        {"plan": PLAN},
        "f:2: r: found white, 1023, 1023; expected 1023, 1023, 1023 as in the plan",
    ),
    "codes of another kind": (
        "c1,c2,c3,X,Y,Z\n1023,1023,1023,1,1,1\n0,0,0,1,1,1\n",
        {"plan": PLAN},
        "f:1: other columns for code values than the plan's; expected r, g, b",
    ),
    "no encoding": (CSV, {}, "f: the encoding of the code values is not stated; use --enc"),
    "another encoding": (
        CGATS.replace('LAMP "warm"', 'ENCODING "rgb-10-full"'),
        {"encoding": "rgb-12-full"},
        "f: ENCODING: 'rgb-10-full' is not the encoding given for this file; expected rgb-12",
    ),
    "unmeasured": (
        PLAN.data.decode(),
        {},
        "f:2: not measured yet: X, Y and Z are empty; also in line 3",
    ),
    "not written": (CSV, {"to": "tm27"}, "tm27 cannot be written; expected csv or cgats or cxf"),
    "values are no spectra": (
        CSV,
        {"spectral": SpectralOptions("cie-1964-10"), "encoding": "rgb-10-full"},
        "f: no spectra, from which to compute values for another observer",
    ),
    "another observer": (
        spectra(),
        {"to": "cxf", "spectral": SpectralOptions("cie-1964-10"), "encoding": "rgb-10-full"},
        "values for cie-1964-10 can only be written as csv",
    ),
}


@pytest.mark.parametrize(("text", "how", "told"), REFUSED.values(), ids=REFUSED)
def test_what_is_not_converted(text: str, how: dict[str, object], told: str) -> None:
    how = {"to": "csv", **how}
    with pytest.raises((ReadingsError, UsageError)) as raised:
        converted(text, **how)  # type: ignore[arg-type]
    assert str(raised.value).startswith(told)


def test_another_observer_is_for_comparison_only() -> None:
    done = converted(spectra(), "csv", "rgb-10-full", spectral=SpectralOptions("cie-1964-10"))
    assert cells(done.data)[0][6:] == ["observer", "encoding"]
    with pytest.raises(ReadingsError, match="'cie-1964-10' is not the observer that rules use"):
        read(done.data)


def test_another_observer_of_each_format_of_spectra() -> None:
    ten, plain = SpectralOptions("cie-1964-10"), converted(spectra(), "csv", "rgb-10-full").data
    texts = (spectra(), cgats_spectra(), cxf_of_spectra())
    made = [converted(text, "csv", "rgb-10-full", spectral=ten).data for text in texts]
    found = [list(reader(StringIO(data.decode()))) for data in made]
    said = [[row[header.index("observer")] for row in rows] for header, *rows in found]
    assert said == [["cie-1964-10"] * len(rows) for _, *rows in found]
    assert [rows[1][:6] for rows in found] == [found[0][1][:6]] * 3
    assert found[0][1][3:6] != cells(plain)[1][3:6]


def test_not_measured_yet() -> None:
    rule = shipped_rule("web-srgb")
    plan = measuring_plan([rule], rule.encoding)
    for chromaticity, names in ((False, "X, Y and Z"), (True, "Y, x and y")):
        data = comma_separated(plan.rows(chromaticity=chromaticity)).encode()
        with pytest.raises(ReadingsError) as raised:
            readings_from_bytes(data, "plan.csv", rule.encoding)
        rest = len(plan.steps) - 1
        assert str(raised.value) == (
            f"plan.csv:2: not measured yet: {names} are empty; also in {rest} more lines"
        )


def test_half_measured() -> None:
    half = "r,g,b,X,Y,Z\n0,0,0,0,0,0\n1,1,1,,,\n3,3,3,1,1,1\n"
    assert read(half).codes[:, 0].tolist() == [0, 3]
    assert read(half).lines == (2, 4)
    with pytest.raises(ReadingsError) as raised:
        read(half + "2,2,2,,5,\n")
    assert [line[:7] for line in str(raised.value).split("\n")] == ["f:5: X:", "f:5: Z:"]


def test_a_half_measured_plan_is_not_converted() -> None:
    with pytest.raises(ReadingsError) as raised:
        converted("r,g,b,X,Y,Z\n0,0,0,0,0,0\n1,1,1,,,\n", "csv", "rgb-10-full")
    assert str(raised.value) == "f:3: not measured yet: X, Y and Z are empty"
