"""Bytes changed in valid files, and texts made at random: readings, or an error of ours.

By hand for longer: LONG_TESTS=1 python -m pytest tests/readings/test_fuzzed_files.py
"""

from __future__ import annotations

import os
import random
from contextlib import suppress
from datetime import UTC, datetime

import pytest
from helpers.budget import LONG
from helpers.other_formats import CGATS, CSV, CXF, cgats_spectra, cxf_of_spectra, spectra, tm27
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutations.changes import changed_bytes

from compliance.errors import ReadingsError
from compliance.model import ENCODINGS
from compliance.readings.cgats import FIELDS, KEYWORDS
from compliance.readings.convert import Source, convert
from compliance.readings.load import FORMATS, readings_from_bytes
from compliance.readings.raw_table import LEGAL

TRIES = 20_000 if LONG else 200
NOW = datetime(2026, 11, 20, tzinfo=UTC)

VALID = {
    "csv": CSV.encode(),
    "cgats": CGATS.encode(),
    "cgats of spectra": cgats_spectra().encode(),
    "cxf": CXF.encode(),
    "cxf of spectra": cxf_of_spectra().encode(),
    "spectra": spectra().encode(),
    "tm27": tm27().encode(),
}
SIGNS = [b'"', b"\n", b"\r", b",", b"<", b">", b"&", b"/", b"#", b"\x00", b"\xff", b"9" * 30, b"-"]
SIGNS += [b"END_DATA", b"BEGIN_DATA_FORMAT", b"<cc:X>", b"</cc:Object>", b"e99", b"nan", b"]]>"]

bounded = settings(
    max_examples=TRIES,
    deadline=None,  # large files and their time are in test_hostile_files.py
    derandomize=not LONG,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def hold(data: bytes, form: str | None) -> None:
    """Readings, or an error that tells where, in few lines; converted likewise."""
    try:
        found = readings_from_bytes(data, "f", "rgb-10-full", form=form)
    except ReadingsError as error:
        assert 1 <= len(error.problems) <= 21
        for problem in error.problems:
            assert str(problem).startswith("f:")
            assert "\n" not in str(problem)
            assert len(str(problem)) < 600
    else:
        assert len(found) == len(found.lines) > 0
        for to in ("csv", "cgats", "cxf"):
            encoding = ENCODINGS["rgb-10-full"]
            done = convert([Source("f", data)], to, created=NOW, tool="t", encoding=encoding)
            again = readings_from_bytes(done.data, "f", encoding)
            assert again.codes.tolist() == found.codes.tolist()
            assert again.xyz.tolist() == found.xyz.tolist()
            assert again.position == found.position
            assert again.background == found.background


@pytest.mark.parametrize("name", VALID)
def test_changed_bytes(name: str) -> None:
    source = random.Random(f"{name} {os.urandom(8).hex() if LONG else ''}")
    form, *_ = name.split()
    for _ in range(TRIES):
        data = changed_bytes(source, VALID[name], SIGNS)
        hold(data, source.choice((None, form)))


# ---------------------------------------------------------------- made at random

SHORT = st.text(max_size=12)
NUMBERS = st.one_of(
    st.integers(-10, 5000).map(str), st.floats(-1, 300).map(lambda v: f"{v:.4g}"), SHORT
)


@bounded
@given(st.binary(max_size=300), st.sampled_from([None, *FORMATS]))
def test_any_bytes(data: bytes, form: str | None) -> None:
    hold(data, form)


@bounded
@given(
    st.lists(st.one_of(st.sampled_from(LEGAL), SHORT), max_size=12),
    st.lists(st.lists(NUMBERS, max_size=12), max_size=6),
)
def test_any_table(header: list[str], rows: list[list[str]]) -> None:
    hold("\n".join(",".join(cells) for cells in (header, *rows)).encode(), None)


CODES = st.one_of(st.sampled_from(["0", "64", "940", "1023", "100", "49.95"]), NUMBERS)


@bounded
@given(
    st.sampled_from(["r,g,b,X,Y,Z", "r,g,b,X,Y,Z,position,encoding", "c1,c2,c3,Y,x,y", "X,Y,Z"]),
    st.lists(st.lists(CODES, min_size=3, max_size=8), min_size=1, max_size=4),
    st.sampled_from(["r,g,b,X,Y,Z", "c1,c2,c3,X,Y,Z", "X,Y,Z", "r,g,X,Y,Z"]),
    st.lists(st.lists(CODES, min_size=3, max_size=6), min_size=1, max_size=4),
)
def test_any_plan(head: str, plan: list[list[str]], own: str, rows: list[list[str]]) -> None:
    """A file joined with a plan: both may be anything."""
    texts = [
        "\n".join(",".join(cells) for cells in ([names], *lines)).encode()
        for names, lines in ((own, rows), (head, plan))
    ]
    source, asked = (Source(name, data) for name, data in zip(("f", "p"), texts, strict=True))
    with suppress(ReadingsError):
        known = ENCODINGS["rgb-10-full"]
        convert([source], "csv", created=NOW, tool="t", encoding=known, plan=asked)


WORDS = ["BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA", "NUMBER_OF_SETS"]
WORDS += ["NUMBER_OF_FIELDS", "KEYWORD", '"', "#", "\n", "CGATS.17", *FIELDS, *KEYWORDS]


@bounded
@given(st.lists(st.one_of(st.sampled_from(WORDS), NUMBERS), max_size=60))
def test_any_keyword_text(words: list[str]) -> None:
    hold(" ".join(["CGATS.17\n", *words]).encode(), "cgats")


NAMES = st.sampled_from(
    [
        *("Resources", "ObjectCollection", "Object", "ColorValues", "DeviceColorValues"),
        *("ColorEmissiveCIEXYZ", "ColorEmissiveCIExyY", "X", "Y", "Z", "x", "y"),
        *("ColorRGB", "R", "G", "B", "MaxRange", "TagCollection", "Tag", "EmissiveSpectrum"),
        *("ColorSpecificationCollection", "ColorSpecification", "MeasurementSpec"),
        *("LuminanceUnitsType", "SpectralDistribution", "SpectralQuantity", "SpectralData"),
    ]
)


def element(children: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    attribute = st.sampled_from(
        ["", ' Name="readings"', ' Name="position" Value="centre"', ' Id="a" StartWL="380"', " a=b"]
    )
    inside = st.lists(st.one_of(children, NUMBERS.map(lambda text: text.replace("<", "&lt;"))))
    return st.tuples(NAMES, attribute, inside).map(
        lambda made: f"<{made[0]}{made[1]}>{''.join(made[2])}</{made[0]}>"
    )


TREES = st.recursive(st.just(""), element, max_leaves=25)


@bounded
@given(TREES, st.sampled_from(["cxf", "tm27"]))
def test_any_elements(inside: str, form: str) -> None:
    if form == "cxf":
        space = "http://colorexchangeformat.com/CxF3-core"
        text = f'<CxF xmlns="{space}"><Resources><ObjectCollection>{inside}</ObjectCollection>'
        text += "</Resources></CxF>"
    else:
        text = f"<IESTM2714><SpectralDistribution>{inside}</SpectralDistribution></IESTM2714>"
    hold(text.encode("utf-8", "replace"), form)
