"""The formats that readings come in, and reading a file in any of them.

A format is told from what stands in the file, never from the file's name, and the same way
wherever the file is read: what a sheet carries is read again as it was read first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from compliance.errors import ReadingsError, UsageError
from compliance.model import CHROMATICITY_FLOOR, ENCODINGS, Encoding, Readings
from compliance.readings.raw_table import SpectralOptions, Table
from compliance.readings.text import MOST_BYTES, Problems, text_of
from compliance.readings.validate import validate
from compliance.yaml_nodes.messages import did_you_mean, quoted
from compliance.yaml_nodes.read_file import read_bytes


@dataclass(frozen=True, slots=True)
class Format:
    """One format of readings."""

    title: str
    """What messages call it, after `the file is`."""
    module: str
    """Under `compliance.readings`, with `read(text, problems, spectral)`; imported when needed."""
    suffixes: tuple[str, ...]
    """Of files that are written in it; the first is that of the file inside a sheet."""
    writer: str = ""
    """The module with `write(table, …)`; empty where the format is only read."""


FORMATS: Mapping[str, Format] = {
    "csv": Format("CSV", "csv_format", (".csv",), "csv_format"),
    "cgats": Format("CGATS text", "cgats", (".txt", ".cgats"), "cgats"),
    "cxf": Format("CxF", "cxf", (".cxf", ".xml"), "cxf"),
    "spectra": Format("CSV of spectra", "spectra", (".csv",)),
    "tm27": Format("IES TM-27", "tm27", (".spdx", ".xml")),
}

BEGINNING = 65_536
"""Characters in which a file must show what it is."""
ROOT = re.compile(
    r"\s*(?:<\?.{0,4000}?\?>\s*|<!--.{0,4000}?-->\s*){0,20}"
    r"<(?:!DOCTYPE\s{1,9})?(?:[\w.-]{1,40}:)?([A-Za-z]\w{0,40})",
    re.DOTALL,
)
CGATS = re.compile(r"\s*(?:CGATS\.\d+|ISO ?28178|IT8\.7/\d)[\w.-]*\s*$", re.MULTILINE)
FORMAT_SECTION = re.compile(r"^[ \t]*BEGIN_DATA_FORMAT\b", re.MULTILINE)
WAVELENGTHS = re.compile(r'(?:^|,)"?(?:nm)?[ _]?[2-9]\d\d(?:\.\d+)?[ _]?(?:nm)?"?(?=,|$)')
FIRST_WAVELENGTH = re.compile(r'"?(?:wavelength|lambda|nm)\b', re.IGNORECASE)
MANY = 20
"""Columns named by numbers, from which a header is one of spectra."""


def detect_format(text: str) -> str:
    """The name of the format that a text is in; `csv` where nothing tells another."""
    start = text[:BEGINNING].lstrip().replace("\r\n", "\n").replace("\r", "\n")
    if start.startswith("<"):
        root = ROOT.match(start)
        name = root[1] if root else ""
        if name == "CxF":
            return "cxf"
        return "tm27" if name.upper().startswith("IESTM27") else "csv"
    if CGATS.match(start) or FORMAT_SECTION.search(start):
        return "cgats"
    header, *_ = start.splitlines() or [""]
    named = FIRST_WAVELENGTH.match(header) and "," in header
    if named or ("," in header and _many_wavelengths(header)):
        return "spectra"
    return "csv"


def _many_wavelengths(header: str) -> bool:
    """Whether columns are named by wavelengths, beside at least one that is not."""
    count = sum(1 for _ in WAVELENGTHS.finditer(header))
    return count >= MANY and re.match(r'"?[A-Za-z]', header) is not None


def read_raw(
    text: str, problems: Problems, form: str | None = None, spectral: SpectralOptions | None = None
) -> Table:
    """The table in a text, in the format `form` or in the one it shows.

    Raises ReadingsError where it is not in that format, UsageError where there is no such.
    """
    detected = detect_format(text)
    if form is not None and form not in FORMATS:
        raise UsageError(f"{quoted(form)} is no format of readings; {did_you_mean(form, FORMATS)}")
    if form is not None and form != detected and detected != "csv":
        message = f"the file is {FORMATS[detected].title}, by what stands in it"
        raise problems.stop(f"{message}; expected {FORMATS[form].title}")
    read: Callable[[str, Problems, SpectralOptions], Table] = import_module(
        f"compliance.readings.{FORMATS[form or detected].module}"
    ).read
    table = read(text, problems, spectral or SpectralOptions())
    if form is not None and form != detected:  # it would not be read again from a sheet
        raise problems.stop(f"the file does not begin as {FORMATS[form].title} does")
    return table


def format_for_suffix(suffix: str) -> str | None:
    """The format that a file with that suffix is written in; None where none is."""
    for name, form in FORMATS.items():
        if form.writer and suffix.lower() in form.suffixes:
            return name
    return None


def load_readings(
    path: str | Path,
    encoding: Encoding | str | None = None,
    *,
    floor: float = CHROMATICITY_FLOOR,
    form: str | None = None,
) -> Readings:
    """The readings in a file.

    `encoding` is that of the code values, by itself or by name; a file that states its own
    needs none, and may not state another. Below `floor` (cd/m²) no chromaticity is judged, nor
    any colour refused for it. `form` insists on a format; else the file's content tells it.
    Raises ReadingsError with what is wrong, and UsageError for an unknown encoding or format.
    """
    known = _encoding(encoding)
    data = read_bytes(path, ReadingsError, "readings", limit=MOST_BYTES)
    return readings_from_bytes(data, str(path), known, floor=floor, form=form)


def readings_from_bytes(
    data: bytes,
    name: str,
    encoding: Encoding | str | None = None,
    *,
    floor: float = CHROMATICITY_FLOOR,
    form: str | None = None,
) -> Readings:
    """The readings in a file's bytes; `name` is what messages call it.

    Units, bounds and errors as `load_readings`.
    """
    known = _encoding(encoding)
    problems = Problems(name)
    table = read_raw(text_of(data, problems), problems, form)
    return validate(table, data, known, floor=floor, problems=problems)


def _encoding(encoding: Encoding | str | None) -> Encoding | None:
    if encoding is None or isinstance(encoding, Encoding):
        return encoding
    if encoding in ENCODINGS:
        return ENCODINGS[encoding]
    raise UsageError(f"{quoted(encoding)} is no encoding; {did_you_mean(encoding, ENCODINGS)}")
