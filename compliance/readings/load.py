"""The formats of readings, and reading a file in any of them.

A format is detected from the file's content, never from its name, and always in the same way:
readings attached to a sheet are read again as they were first read.
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
    """Its name in messages, after `the file is`."""
    module: str
    """Under `compliance.readings`, with `read(text, problems, spectral)`; imported when needed."""
    suffixes: tuple[str, ...]
    """Of files in this format; the first is used for the file inside a sheet."""
    writer: str = ""
    """The module with `write(table, …)`; empty if the format is only read."""


FORMATS: Mapping[str, Format] = {
    "csv": Format("CSV", "csv_format", (".csv",), "csv_format"),
    "cgats": Format("CGATS text", "cgats", (".txt", ".cgats"), "cgats"),
    "cxf": Format("CxF", "cxf", (".cxf", ".xml"), "cxf"),
    "spectra": Format("CSV of spectra", "spectra", (".csv",)),
    "tm27": Format("IES TM-27", "tm27", (".spdx", ".xml")),
}

BEGINNING = 65_536
"""Characters in which a file must show its format."""
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
"""Columns named by numbers, from which a header counts as one of spectra."""


def detect_format(text: str) -> str:
    """The name of a text's format; `csv` unless its content shows another."""
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
    """Whether columns are named by wavelengths, and at least one is not."""
    count = sum(1 for _ in WAVELENGTHS.finditer(header))
    return count >= MANY and re.match(r'"?[A-Za-z]', header) is not None


def read_raw(
    text: str, problems: Problems, form: str | None = None, spectral: SpectralOptions | None = None
) -> Table:
    """The table in a text, in the format `form`; default: detected from the content.

    Raises ReadingsError if it is not in that format, UsageError if the format is unknown.
    """
    detected = detect_format(text)
    if form is not None and form not in FORMATS:
        raise UsageError(f"unknown readings format {quoted(form)}; {did_you_mean(form, FORMATS)}")
    if form is not None and form != detected and detected != "csv":
        message = f"the file is {FORMATS[detected].title}, by its content"
        raise problems.stop(f"{message}; expected {FORMATS[form].title}")
    read: Callable[[str, Problems, SpectralOptions], Table] = import_module(
        f"compliance.readings.{FORMATS[form or detected].module}"
    ).read
    table = read(text, problems, spectral or SpectralOptions())
    if form is not None and form != detected:  # it would not be read again from a sheet
        raise problems.stop(f"the file does not begin like {FORMATS[form].title}")
    return table


def format_for_suffix(suffix: str) -> str | None:
    """The format in which a file with that suffix is written; None if there is none."""
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

    `encoding` is that of the code values, as an object or by name; a file that states its own
    needs none, and may not state another. Below `floor` (cd/m²) no chromaticity is judged, and
    no colour is refused for it. `form` requires a format; default: detected from the content.
    Raises ReadingsError with all problems, and UsageError for an unknown encoding or format.
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
    """The readings in a file's bytes; `name` is the file's name in messages.

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
    raise UsageError(f"unknown encoding {quoted(encoding)}; {did_you_mean(encoding, ENCODINGS)}")
