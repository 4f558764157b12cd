"""The YAML documents of the project: bounded, with lines, typed by their schemas."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from compliance.errors import InputError, Problem
from compliance.yaml_nodes.nodes import Node, node_from_data, other_kind, parse
from compliance.yaml_nodes.schema_reader import Hint, Reader

SCHEMAS = Path(__file__).resolve().parent.parent / "schemas"


@cache
def load_schema(name: str) -> Any:
    """The JSON Schema of `rule`, `job` or `meter`."""
    return json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))


def read_yaml(data: bytes, file: str, error: type[InputError]) -> Node:
    """The bytes of a YAML file as nodes; `error` with the line where that is impossible."""
    node = parse(data, file)
    if isinstance(node, Problem):
        raise error(node)
    return node


def read_nodes(
    node: Node,
    file: str,
    schema: str,
    error: type[InputError],
    *,
    start: str | None = None,
    hint: Hint | None = None,
) -> Any:
    """Nodes as plain data by a schema, or by its part `start`; `error` with every problem.

    Of a document of another kind, that is the only problem.
    """
    other = other_kind(node, schema) if start is None else None
    if other is not None:
        raise error(Problem(file, f"is a {other} file; expected a {schema} file"))
    reader = Reader(load_schema(schema), file, hint)
    data = reader.read(node, start)
    if reader.problems:
        raise error(reader.problems)
    return data


def read_data(
    data: Any, file: str, schema: str, error: type[InputError], *, start: str | None = None
) -> tuple[Node, Any]:
    """Plain data (as from JSON) held to a schema: its nodes, and the same data.

    `error` with every problem, also where the data is not in the form that reading a file
    gives, so that what is read back is what was written.
    """
    try:
        node = node_from_data(data)
    except (ValueError, RecursionError) as fault:
        raise error(Problem(file, str(fault))) from None
    typed = read_nodes(node, file, schema, error, start=start)
    if typed != data:
        raise error(Problem(file, "holds values in another form than a file that was read gives"))
    return node, typed
