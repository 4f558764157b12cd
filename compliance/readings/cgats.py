"""Readings as keyword text: CGATS.17 and its successor ISO 28178, read and written.

The standards define spectra of reflected light, as shares; for emitted light they define only
the field's name. So a file states its unit, as `SPECTRAL_UNIT`, or is converted with one.

A file is an identifier, keywords with values, the names of the fields between
`BEGIN_DATA_FORMAT` and `END_DATA_FORMAT`, and the data between `BEGIN_DATA` and `END_DATA`.
Place, window and time, for which the standards have no name, are in fields of our own, declared
as private keywords as the standards require.

Code values are `RGB_R, RGB_G, RGB_B` as integers of the encoding, or our `C1, C2, C3`;
values `XYZ_X, XYZ_Y, XYZ_Z` or `XYY_X, XYY_Y, XYY_CAPY` in cd/m²; if neither is complete,
spectral radiance in fields named by their wavelengths. A set of data begins on a new line and
may continue on the following ones.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from compliance.model import Encoding
from compliance.readings.raw_table import NUMBER, SpectralOptions, Table
from compliance.readings.text import MOST_ROWS, Problems, Row, numbered_lines
from compliance.readings.validate import OBSERVER
from compliance.yaml_nodes.messages import did_you_mean, quoted, suggestion

FIELDS: Mapping[str, str] = {
    "RGB_R": "r", "RGB_G": "g", "RGB_B": "b",
    "C1": "c1", "C2": "c2", "C3": "c3",
    "XYZ_X": "X", "XYZ_Y": "Y", "XYZ_Z": "Z",
    "XYY_CAPY": "Y", "XYY_X": "x", "XYY_Y": "y",
    "POSITION": "position", "WINDOW": "window", "PATTERN": "pattern",
    "BACKGROUND": "background", "SECONDS": "seconds", "SD": "sd", "REPLACED": "replaced",
}  # fmt: skip
"""Fields that are read, and our names of them."""
PASSED_FIELDS = re.compile(
    r"SAMPLE_ID|SAMPLEID|SAMPLE_NAME|SAMPLE_LOC|STRING|LAB_[LABCH]|D_[A-Z]+|STDEV_[A-Z]+|"
    r"MEAN_DE|CHI_SQD_PAR"
)
"""Standard fields that are not used."""
OURS = (
    "C1", "C2", "C3", "POSITION", "WINDOW", "PATTERN", "BACKGROUND", "SECONDS", "SD", "REPLACED",
)  # fmt: skip
UNIT = "SPECTRAL_UNIT"
HEADS = ("ENCODING", "OBSERVER", "UNIT", UNIT)
"""Keywords of our own before the data."""
UNITS = ("cd/m2", "cd/m²")
KEYWORDS = (
    "ORIGINATOR", "DESCRIPTOR", "FILE_DESCRIPTOR", "CREATED", "MANUFACTURER", "MANUFACTURE",
    "MODEL", "SERIAL", "PROD_DATE", "MATERIAL", "INSTRUMENTATION", "MEASUREMENT_SOURCE",
    "MEASUREMENT_GEOMETRY", "PRINT_CONDITIONS", "SAMPLE_BACKING", "FILTER", "POLARIZATION",
    "WEIGHTING_FUNCTION", "COMPUTATIONAL_PARAMETER", "TARGET_TYPE", "COLORANT",
    "TABLE_DESCRIPTOR", "TABLE_NAME",
)  # fmt: skip
"""The standards' keywords; of these only the observer is used."""
SCALED = "NORMALIZED_TO_Y_100"
"""A private keyword in use; YES means that the values are relative."""


SPECTRAL = re.compile(r"(?:SPECTRAL_NM|SPECTRAL|SPEC|NM)_?([0-9]{3,4}(?:\.[0-9]+)?)", re.IGNORECASE)
"""A field named by its wavelength in nm: `SPECTRAL_NM380`, `SPECTRAL_NM_380`, `SPEC_380`, …"""
REFLECTED = ("SPECTRAL_DEC", "SPECTRAL_PCT", "SPECTRAL_NM")
"""The standards' own fields: shares of reflected or transmitted light, wavelength by wavelength."""


NAME = "cgats"
MOST_CHARACTERS = 16_384
"""of a line"""
MOST_LINES = 8 * MOST_ROWS
MOST_FIELDS = 2200
MOST_KEYWORDS = 1000
MOST_VALUES = 5_000_000
"""9,261 readings of 401 wavelengths have 3,713,661, not counting the other fields."""

TOKEN = re.compile(r'\s*(?:"((?:[^"]|"")*)"|(#.*)|([^\s"]+))', re.DOTALL)
VALUES: Mapping[str, set[str]] = {
    "XYZ_": {"XYZ_X", "XYZ_Y", "XYZ_Z"},
    "XYY_": {"XYY_X", "XYY_Y", "XYY_CAPY"},
}
IDENTIFIER = re.compile(r"(?:ISO 28178)[\w.-]*")
BEGINS = ("BEGIN_DATA_FORMAT", "BEGIN_DATA")
PERCENT = 100
"""If no code value is above this and the file states no encoding, they may be percent."""


@dataclass(slots=True)
class _File:
    """The file as far as it has been read."""

    problems: Problems
    declared: set[str] = field(default_factory=set)
    counts: dict[str, tuple[int, int]] = field(default_factory=dict)
    """NUMBER_OF_FIELDS and NUMBER_OF_SETS: count and line."""
    encoding: str = ""
    unit: str = ""
    """Of spectra."""
    fields: list[str] = field(default_factory=list)
    fields_line: int | None = None
    rows: list[Row] = field(default_factory=list)
    begun: bool = False
    """Whether anything came before the current line."""
    pending: Row | None = None
    """A set that has begun but is not complete yet."""
    section: str = "head"
    """`head`, `format`, `after`, `data` or `end`."""


def read(text: str, problems: Problems, spectral: SpectralOptions) -> Table:
    """The table in a text. Raises ReadingsError if there is none or more than one."""
    file = _File(problems)
    for line, content in numbered_lines(text, MOST_CHARACTERS, problems):
        if line > MOST_LINES:
            raise problems.stop(f"more than {MOST_LINES} lines; split the file", line)
        tokens = _tokens(content, line, problems)
        if tokens:
            STEPS[file.section](file, tokens, line)
    _check_end(file)
    return _table(file, spectral)


Token = tuple[str, bool]
"""Text, and whether it was in quotes."""


def _tokens(content: str, line: int, problems: Problems) -> list[Token]:
    tokens: list[Token] = []
    at = 0
    content = content.rstrip()
    while at < len(content):
        match = TOKEN.match(content, at)
        if match is None:
            raise problems.stop('a quoted text is not closed; expected a closing "', line)
        text, comment, word = match.groups()
        if text is not None:
            tokens.append((text.replace('""', '"').strip(" \t"), True))
        elif comment is None:
            tokens.append((word, False))
        at = match.end()
    return tokens


def _head(file: _File, tokens: list[Token], line: int) -> None:
    """Read a line before the data: an identifier, a keyword with its value, a section's start."""
    name, in_quotes = tokens[0]
    values = [text for text, _ in tokens[1:]]
    if in_quotes:
        raise file.problems.stop(f"found {quoted(name)}; expected a keyword", line)
    first, file.begun = not file.begun, True
    if first and (not values or IDENTIFIER.fullmatch(f"{name} {values[0]}")) and name not in BEGINS:
        return  # the kind of file
    if name == "BEGIN_DATA_FORMAT":
        if file.fields:
            raise file.problems.stop("a second table begins; split the file", line)
        file.section, file.fields_line = "format", line
        _format(file, tokens[1:], line)
    elif name == "BEGIN_DATA":
        if not file.fields:
            raise file.problems.stop("data before its format; expected BEGIN_DATA_FORMAT", line)
        file.section = "data"
        if values:
            _data(file, tokens[1:], line)
    else:
        _keyword(file, name, values, line)


def _keyword(file: _File, name: str, values: list[str], line: int) -> None:
    value = " ".join(values)
    if name == "KEYWORD":
        if len(file.declared) >= MOST_KEYWORDS:
            raise file.problems.stop(f"more than {MOST_KEYWORDS} keywords", line)
        file.declared.add(value)
    elif name in ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS"):
        if not re.fullmatch(r"[0-9]{1,6}", value):
            message = f"{quoted(value)} is not a count; expected a whole number"
            file.problems.add(message, line, name)
        else:
            file.counts[name] = int(value), line
    elif name == "ENCODING":
        file.encoding = value
    elif name == UNIT:
        file.unit = value
    elif name == "OBSERVER" and value != OBSERVER:
        message = f"{quoted(value)} is not the observer that rules use; expected {OBSERVER}"
        file.problems.add(message, line, name)
    elif name == "UNIT" and value not in UNITS:
        file.problems.add(f"unsupported unit {quoted(value)}; expected {UNITS[0]}", line, name)
    elif name == SCALED and value.upper().startswith("Y"):
        message = "the values are relative, white is 100; expected cd/m² as measured"
        file.problems.add(message, line, name)
    elif name == "WEIGHTING_FUNCTION" and re.search(r"OBSERVER\W*10", value.upper()):
        message = f"{quoted(value)} is not the observer that rules use; expected {OBSERVER} (2°)"
        file.problems.add(message, line, name)
    elif name not in (*KEYWORDS, *HEADS, *file.declared):
        near = suggestion(name, [*KEYWORDS, *HEADS])
        message = f"unknown keyword {quoted(name)}, which the file does not declare"
        file.problems.add(f"{message}; {near}" if near else message, line)


def _format(file: _File, tokens: list[Token], line: int) -> None:
    for name, _ in tokens:
        if file.section == "after":
            raise file.problems.stop(f"found {quoted(name)} after END_DATA_FORMAT", line)
        if name == "END_DATA_FORMAT":
            file.section = "after"
            if not file.fields:
                raise file.problems.stop("no field names; expected, e.g., RGB_R RGB_G RGB_B …")
            _check_count(file, "NUMBER_OF_FIELDS", len(file.fields), "field names")
            continue
        if len(file.fields) >= MOST_FIELDS:
            raise file.problems.stop(f"more than {MOST_FIELDS} fields", line)
        if name in REFLECTED:
            message = (
                "is a share of reflected light; expected spectral radiance in fields named by "
            )
            raise file.problems.stop(f"{message}their wavelengths, e.g. SPECTRAL_NM380", line, name)
        if name in file.fields:
            file.problems.add(f"duplicate field {quoted(name)}", line)
        elif not (name in FIELDS or PASSED_FIELDS.fullmatch(name) or SPECTRAL.fullmatch(name)):
            message = f"unknown field {quoted(name)}; {did_you_mean(name, FIELDS)}"
            file.problems.add(message, line)
        file.fields.append(name)


def _data(file: _File, tokens: list[Token], line: int) -> None:
    """Read a line of data: a set, or the rest of one."""
    words = [text for text, _ in tokens]
    ends = bool(tokens) and tokens[-1] == ("END_DATA", False)
    if ends:
        words.pop()
    if words:
        before = file.pending
        cells = (*(before.cells if before else ()), *words)
        begun = before.line if before else line
        count = len(file.fields)
        if len(cells) > count:
            message = f"{len(cells)} values; expected {count}, one for each field"
            raise file.problems.stop(message, line)
        file.pending = Row(begun, cells)
        if len(cells) == count:
            file.rows.append(file.pending)
            file.pending = None
    if len(file.rows) > MOST_ROWS:
        raise file.problems.stop(f"more than {MOST_ROWS} readings; split the file", line)
    if len(file.rows) * len(file.fields) > MOST_VALUES:
        raise file.problems.stop(f"more than {MOST_VALUES} values; split the file", line)
    if ends:
        file.section = "end"
        if file.pending is not None:
            message = f"{len(file.pending.cells)} values; expected {len(file.fields)}"
            raise file.problems.stop(f"{message}, one for each field", file.pending.line)


def _end(file: _File, tokens: list[Token], line: int) -> None:
    message = f"found {quoted(tokens[0][0])} after END_DATA; expected one table in a file"
    raise file.problems.stop(message, line)


STEPS = {"head": _head, "format": _format, "after": _head, "data": _data, "end": _end}


def _check_end(file: _File) -> None:
    missing = {
        "head": "BEGIN_DATA_FORMAT",
        "format": "END_DATA_FORMAT",
        "after": "BEGIN_DATA",
        "data": "END_DATA",
    }
    if file.section in missing:
        raise file.problems.stop(f"the file ends without {missing[file.section]}")
    _check_count(file, "NUMBER_OF_FIELDS", len(file.fields), "field names")
    _check_count(file, "NUMBER_OF_SETS", len(file.rows), "sets of data")
    if not file.rows:
        raise file.problems.stop("no readings between BEGIN_DATA and END_DATA")


def _check_count(file: _File, name: str, count: int, what: str) -> None:
    stated, line = file.counts.pop(name, (count, 0))
    if stated != count:
        file.problems.add(f"the file states {stated}, but has {count} {what}", line, name)


def _table(file: _File, spectral: SpectralOptions) -> Table:
    wanted = [name for name in file.fields if name in FIELDS]
    whole = [kind for kind, group in VALUES.items() if group <= set(wanted)]
    of_spectra = not whole and any(SPECTRAL.fullmatch(name) for name in file.fields)
    if whole or of_spectra:  # of several groups of values use one, X, Y, Z first
        wanted = [name for name in wanted if name[:4] not in VALUES or name[:4] in whole[:1]]
    places = [file.fields.index(name) for name in wanted]
    rows = tuple(Row(row.line, tuple(row.cells[at] for at in places)) for row in file.rows)
    file.problems.check()
    names = tuple(FIELDS[name] for name in wanted)
    if of_spectra:
        computed = _computed(file, spectral)
        file.problems.check()
        names = (*names, *computed[0])
        rows = tuple(
            Row(row.line, (*row.cells, *cells.values()))
            for row, cells in zip(rows, computed, strict=True)
        )
    # There are two standard names for Y; messages use the one in the file.
    labels = {FIELDS[name]: name for name in (*FIELDS, *wanted)} | {"encoding": "ENCODING"}
    if "XYY_CAPY" not in wanted:
        labels["Y"] = "XYZ_Y"
    table = Table(NAME, names, rows, file.fields_line, labels, file.encoding)
    return replace(table, doubt=_percent(table))


def _computed(file: _File, spectral: SpectralOptions) -> list[dict[str, str]]:
    """X, Y, Z of each row of data, from its spectrum; notes problems."""
    from compliance.readings.spectral_integration import stated_unit, tristimulus_cells

    named = [(at, SPECTRAL.fullmatch(name)) for at, name in enumerate(file.fields)]
    places = [(at, float(match[1])) for at, match in named if match]
    wavelengths = [wavelength for _, wavelength in places]
    unit = stated_unit(file.unit or spectral.unit, file.problems.at(file.fields_line, UNIT))
    if unit is None:
        raise file.problems.error()
    first = file.fields[places[0][0]]
    return [
        tristimulus_cells(
            wavelengths,
            [row.cells[at] for at, _ in places],
            unit,
            spectral.observer,
            file.problems.at(row.line, first),
        )
        for row in file.rows
    ]


def _percent(table: Table) -> str:
    """Doubt about RGB that may be in percent, as some programs write it, and look like dark codes.

    Empty if there is none.
    """
    codes = [cell for name in ("r", "g", "b") for cell in table.cells(name)]
    numbers = [float(cell) for cell in codes if NUMBER.fullmatch(cell)]
    if table.encoding or not numbers or max(numbers) > PERCENT:
        return ""
    return (
        f"no code value is above {PERCENT}: are they percent? Take the codes from the plan that "
        "was measured: compliance convert FILE OUT --plan PLAN; if they are codes, add KEYWORD "
        '"ENCODING" and, e.g., ENCODING "rgb-10-full"'
    )


def write(table: Table, *, encoding: Encoding, created: datetime, tool: str) -> str:
    """A table as CGATS.17 text, every cell unchanged."""
    fields = {ours: name for name, ours in FIELDS.items()}
    if "x" not in table.names:
        fields["Y"] = "XYZ_Y"
    names = [name for name in table.names if name in fields]
    places = [table.names.index(name) for name in names]
    sets = [
        "\t".join((str(number), *(_written(row.cells[at]) for at in places)))
        for number, row in enumerate(table.rows, 1)
    ]
    heads = {"ENCODING": encoding.name, "OBSERVER": OBSERVER, "UNIT": UNITS[0]}
    private = [*heads, *(fields[name] for name in names if fields[name] in OURS)]
    lines = [
        "CGATS.17",
        f'ORIGINATOR\t"{tool}"',
        'DESCRIPTOR\t"Readings of a display"',
        f'CREATED\t"{created.isoformat()}"',
        *(f'KEYWORD\t"{name}"' for name in private),
        *(f'{name}\t"{value}"' for name, value in heads.items()),
        f"NUMBER_OF_FIELDS\t{len(names) + 1}",
        "BEGIN_DATA_FORMAT",
        "\t".join(("SAMPLE_ID", *(fields[name] for name in names))),
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS\t{len(sets)}",
        "BEGIN_DATA",
        *sets,
        "END_DATA",
    ]
    return "\n".join(lines) + "\n"


def _written(cell: str) -> str:
    """A cell as a token, in quotes if it would not be read as one or would be another."""
    if re.fullmatch(r'[^\s"#]+', cell) and cell != "END_DATA":
        return cell
    return '"' + cell.replace('"', '""') + '"'
