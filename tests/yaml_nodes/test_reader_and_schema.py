"""The reader and a plain validation by the schema agree on what is accepted.

Good documents are changed in one place. An editor that validates by the published schema should
say yes and no to the same files as we do, except where the reader knows more.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from helpers.sample_text import HOUSE, JOB, METER, RULE
from jsonschema import Draft202012Validator

from compliance.errors import InputError
from compliance.rules.library import shipped_folder
from compliance.yaml_nodes.json_schema import load_schema
from compliance.yaml_nodes.nodes import node_from_data
from compliance.yaml_nodes.read_file import read_nodes, read_yaml

DEMO = Path(__file__).resolve().parents[2] / "demo"
SAMPLES = [("rule", RULE), ("rule", HOUSE), ("job", JOB), ("meter", METER)]
DEMOS = [("job", DEMO / "job.yaml"), *(("meter", path) for path in DEMO.glob("meters/*.yaml"))]
RULES = sorted([*shipped_folder().glob("*.yaml"), *DEMO.glob("rules/*.yaml")])

VALUES: dict[str, Any] = {
    "nothing": None, "mapping": {}, "list": [], "list of itself": [...], "empty": "", "word": "x",
    "digits": "5", "a text that is written true": True, "negative": -1, "zero": 0, "half": 0.5,
    "large": 1e9, "long": "x" * 400, "a day that no month has": "2026-02-30",
}  # fmt: skip
"""What a value is replaced by."""
READER_REFUSES: dict[str, Any] = {
    "too large to be exact in JSON": 1e16,
    "turns the direction of what follows": "a\u202eb",
    "a day long before such files": "1969-12-31",
}
"""What the reader may refuse where the schema has nothing against it."""
NUMBERS = ("negative", "zero", "half", "large", "too large to be exact in JSON")
READER_TAKES = ("a text that is written true", *NUMBERS)
"""What the reader may take for a text where the schema sees another type."""
TIMES = ("calibrated", "measured")
"""Keys of times, which the library checks only where another package is installed."""


def places(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of every value in a document."""
    if path:
        yield path
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from places(value, (*path, key))


def changed(data: Any, path: tuple[Any, ...], change: str, value: Any) -> Any:
    """A copy of a document with one value replaced, dropped or renamed, or a key beside it."""
    copied = copy.deepcopy(data)
    parent = copied
    for key in path[:-1]:
        parent = parent[key]
    key = path[-1]
    if change == "drop":
        del parent[key]
    elif change == "add" and isinstance(parent, dict):
        parent["extra"] = 1
    elif change == "rename" and isinstance(parent, dict):
        parent[f"{key} 2"] = parent.pop(key)
    else:
        parent[key] = [parent[key]] if value == [...] else value
    return copied


@cache
def validator(schema: str) -> Draft202012Validator:
    return Draft202012Validator(
        load_schema(schema), format_checker=Draft202012Validator.FORMAT_CHECKER
    )


def taken(data: Any, schema: str) -> bool:
    try:
        read_nodes(node_from_data(data), "a.yaml", schema, InputError)
    except InputError:
        return False
    return True


def disagreements(text: str, schema: str, count: int) -> list[str]:
    """Changes of a document that only one of the two accepts, of `count` drawn."""
    chance = random.Random(f"{schema} {len(text)}")
    data = read_nodes(read_yaml(text.encode(), "a", InputError), "a", schema, InputError)
    assert validator(schema).is_valid(data)
    everywhere = list(places(data))
    values = {**VALUES, **READER_REFUSES}
    found = []
    for _ in range(count):
        path = chance.choice(everywhere)
        change = chance.choice(["drop", "add", "rename", *values])
        wrong = changed(data, path, change, values.get(change))
        ours, plain = taken(wrong, schema), validator(schema).is_valid(wrong)
        known = change in (READER_TAKES if ours else READER_REFUSES)
        if ours != plain and not known and not (plain and path[-1] in TIMES):
            found.append(f"{path}: {change}: {'taken' if ours else 'refused'} by the reader only")
    return found


@pytest.mark.parametrize(("schema", "text"), SAMPLES)
def test_samples(schema: str, text: str) -> None:
    assert disagreements(text, schema, 250) == []


@pytest.mark.parametrize(("schema", "path"), DEMOS, ids=lambda part: getattr(part, "name", part))
def test_files_of_the_demo(schema: str, path: Path) -> None:
    assert disagreements(path.read_text(encoding="utf-8"), schema, 100) == []


@pytest.mark.parametrize("path", RULES, ids=lambda path: path.stem)
def test_shipped_rules(path: Path) -> None:
    assert disagreements(path.read_text(encoding="utf-8"), "rule", 15) == []


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("value", READER_REFUSES["too large to be exact in JSON"]),
        ("by", READER_REFUSES["turns the direction of what follows"]),
        ("date", READER_REFUSES["a day long before such files"]),
        ("by", True),
    ],
)
def test_the_reader_does_know_more(key: str, value: Any) -> None:
    data = read_nodes(read_yaml(JOB.encode(), "a", InputError), "a", "job", InputError)
    wrong = changed(data, ("slots", 0, "declared", "local-dimming-off", key), "value", value)
    assert taken(wrong, "job") != validator("job").is_valid(wrong)
