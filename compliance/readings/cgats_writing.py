"""Readings written as keyword text: CGATS.17, which ISO 28178 reads too."""

from __future__ import annotations

import re
from datetime import datetime

from compliance.model import Encoding
from compliance.readings.cgats_names import FIELDS, OURS, UNITS
from compliance.readings.records import OBSERVER
from compliance.readings.tables import Table

__all__ = ["written"]


def written(table: Table, *, encoding: Encoding, created: datetime, tool: str) -> str:
    """A table as CGATS.17 text, every cell as it stands."""
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
    """A cell as a token; in quotes where it would be none, or another."""
    if re.fullmatch(r'[^\s"#]+', cell) and cell != "END_DATA":
        return cell
    return '"' + cell.replace('"', '""') + '"'
