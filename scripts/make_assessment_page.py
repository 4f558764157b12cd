"""Writes docs/assessment.md: the assessment document, key by key, from its schema, and one.

    .venv/bin/python scripts/make_assessment_page.py             # --check compares only

Run it when the schema or the golden files change; a test compares the two.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pikepdf

from compliance import __version__

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "assessment.md"
SCHEMA = ROOT / "compliance" / "schemas" / "assessment.json"
SHEET = ROOT / "tests" / "golden" / __version__ / "accepted.pdf"
WIDTH = 100

HEAD = """\
# The assessment document

`compliance assess` writes one JSON document for each slot and deliverable, `JOB-SLOT-RULE.json`,
and attaches the same bytes to the sheet as `assessment.json`. With `--format json` it prints
`{"assessments": [documents], "errors": […]}`. This page is made from
`compliance/schemas/assessment.json` (JSON Schema 2020-12), which other programs can hold a document
to; every object in it is closed.

Numbers are unrounded and in the unit of their quantity, luminances in cd/m², chromaticities CIE
1931 x, y. Times are RFC 3339 in UTC. What there is not is `null`, never left out. `number` ends in
the first 8 hex digits of the SHA-256 of the document without it, as RFC 8785 JSON, so that a
changed document does not bear its number. `tool.engine` is raised whenever a definition changes
that could change a value.

The same findings come as one flat table with `--csv FILE`: UTF-8, a header row, a row per
requirement, empty cells for what there is not. Texts that a spreadsheet would take for a formula
begin with an apostrophe there. `--junit FILE` writes them as JUnit XML.
"""


def kind(part: Mapping[str, Any]) -> str:
    """The type of a value, in a few words."""
    if "$ref" in part:
        name = part["$ref"].rsplit("/", 1)[-1]
        return f"[{name}](#{name.replace('_', '-')})"
    if "const" in part:
        return "text"
    if "enum" in part:
        return ", ".join("null" if each is None else f"`{each}`" for each in part["enum"])
    if "anyOf" in part:
        return " or ".join(kind(each) for each in part["anyOf"])
    types = part.get("type", "anything")
    types = [types] if isinstance(types, str) else types
    told = [word(each, part) for each in types if each != "null"]
    return " or ".join([*told, *(["null"] if "null" in types else [])])


def word(name: str, part: Mapping[str, Any]) -> str:
    """The trade's word for a JSON type."""
    if name == "array":
        items = part.get("items", {})
        inner = "object" if "properties" in items else kind(items)
        return f"list of {inner}"
    return {"string": "text", "integer": "whole number"}.get(name, name)


def described(part: Mapping[str, Any]) -> str:
    """What a value is, as one line of a table."""
    return str(part.get("description", "")).replace("|", "\\|").strip()


def rows(part: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every key below an object, by its path, in the order of the schema."""
    for key, entry in part.get("properties", {}).items():
        place = f"{path}{key}"
        yield place, entry
        yield from rows(entry, f"{place}.")
        items = entry.get("items", {})
        if isinstance(items, Mapping) and "properties" in items:
            yield from rows(items, f"{place}[].")


def table(part: Mapping[str, Any]) -> Iterable[str]:
    """The keys of an object as a table."""
    yield "| key | type | |"
    yield "|---|---|---|"
    for place, entry in rows(part):
        yield f"| `{place}` | {kind(entry)} | {described(entry)} |"


EXAMPLE = """\
## An example

As it is attached to `tests/golden/VERSION/accepted.pdf`, an HDR slot of the demo whose peak the
client accepts. Of each list of objects only the first is shown.
"""


def example() -> Any:
    """The document attached to a golden sheet, lists of objects cut after the first."""
    with pikepdf.open(SHEET) as sheet:
        data = sheet.attachments["assessment.json"].get_file().read_bytes()
    return cut(json.loads(data))


def cut(value: Any) -> Any:
    """A value whose lists of objects hold one each."""
    if isinstance(value, Mapping):
        return {key: cut(entry) for key, entry in value.items()}
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return [cut(value[0])]
    return value


def laid_out(value: Any, key: str = "", depth: int = 0) -> Iterator[str]:
    """A value as lines of JSON: one where it fits, else a line for each entry."""
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
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    lines = [HEAD, *table(schema)]
    for name, part in schema["$defs"].items():
        lines += ["", f"## {name.replace('_', '-')}", "", described(part), ""]
        if "properties" in part:
            lines += table(part)
    lines += ["", EXAMPLE, "```json", *laid_out(example()), "```"]
    return "\n".join(lines).rstrip() + "\n"


def main() -> int:
    """Write the page; with `--check` return 1 where it is behind."""
    text = page()
    if "--check" in sys.argv[1:]:
        return int(PAGE.read_text(encoding="utf-8") != text)
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
