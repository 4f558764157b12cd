"""The page of the assessment document: every key, from its schema, and an example."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

import pikepdf

from compliance.documents import assessment_document
from compliance.evidence.recompute import assess_again
from pages.markdown import ROOT, Fields, schema

SHEET = ROOT / "tests" / "golden" / "0.1.0" / "accepted.pdf"
WIDTH = 100

HEAD = """\
<!-- Written by scripts/make_pages.py from compliance/schemas/assessment.json. -->

# The assessment document

`compliance assess` writes one JSON document for each slot and deliverable, `JOB-SLOT-RULE.json`,
and attaches the same bytes to the sheet as `assessment.json`. With `--format json` it prints
`{"assessments": [documents], "errors": […]}`. This page is made from
`compliance/schemas/assessment.json` (JSON Schema 2020-12), with which other programs can validate
a document; no object may have other keys.

Numbers are unrounded and in the unit of their quantity, luminances in cd/m², chromaticities CIE
1931 x, y. Times are RFC 3339 in UTC. Missing values are `null`, never left out. `number` ends in
the first 32 hex digits of the SHA-256 of the document without it, as RFC 8785 JSON, so that a
changed document no longer matches its number; on paper they are printed in groups of four.
`tool.engine` is raised if a definition changes in a way that could change a value.

Remarks, causes, notes and reasons are stored as a kind and facts; the sheet, `explain` and the
other commands make the words of them. `compliance explain --format json` has them with their words.

This is version 2 of the document. Version 1, of release 0.1.0, has sentences there and 8 digits in
`number`; it is still read and verified, and its schema is `compliance/schemas/assessment-1.json`.

The same findings come as one flat table with `--csv FILE`: UTF-8, a header row, a row per
requirement, empty cells for missing values. Texts that a spreadsheet would take for a formula
begin with an apostrophe there. `--junit FILE` writes them as JUnit XML.
"""


EXAMPLE = """\
## An example

The evidence of `tests/golden/0.1.0/accepted.pdf`, an HDR slot of the demo whose peak the client
accepts, as this version assesses it. Only the first object of each list is shown.
"""


def example() -> Any:
    """The document of a golden sheet's evidence, lists of objects cut after the first."""
    with pikepdf.open(SHEET) as sheet:
        files = {name: part.get_file().read_bytes() for name, part in sheet.attachments.items()}
    return cut(assessment_document(assess_again(files)))


def cut(value: Any) -> Any:
    """A value with its lists of objects cut to one entry."""
    if isinstance(value, Mapping):
        return {key: cut(entry) for key, entry in value.items()}
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return [cut(value[0])]
    return value


def laid_out(value: Any, key: str = "", depth: int = 0) -> Iterator[str]:
    """A value as lines of JSON: one line if it fits, else a line for each entry."""
    begin = "  " * depth + (f"{json.dumps(key)}: " if key else "")
    line = begin + json.dumps(value, ensure_ascii=False)
    if len(line) < WIDTH or not isinstance(value, Mapping | list):
        yield line
        return
    entries = value.items() if isinstance(value, Mapping) else [("", each) for each in value]
    blocks = [list(laid_out(each, name, depth + 1)) for name, each in entries]
    first, last = "{}" if isinstance(value, Mapping) else "[]"
    yield begin + first
    for block in blocks[:-1]:
        yield from (*block[:-1], f"{block[-1]},")
    yield from blocks[-1]
    yield "  " * depth + last


def page() -> str:
    """The whole page."""
    fields = Fields(schema("assessment"), examples=False)
    lines = [HEAD, *fields.top(), *fields.sections()]
    lines += [EXAMPLE, "```json", *laid_out(example()), "```"]
    return "\n".join(lines).rstrip() + "\n"
