"""Read the project's files: bytes within bounds, and YAML documents by their schemas."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path
from typing import Any, BinaryIO

from compliance.errors import InputError, Problem
from compliance.yaml_nodes.json_schema import load_schema, validator
from compliance.yaml_nodes.nodes import Node, SourceLocations, node_from_data, other_kind, parse
from compliance.yaml_nodes.schema_faults import Hint, note_faults
from compliance.yaml_nodes.schema_reader import Reader

DOCUMENT_LIMIT = 1 << 20
"""Largest size of a rule, job, meter or patch list, in bytes."""


def open_plain_file(path: str | Path, *, follow: bool = True) -> BinaryIO:
    """Open a plain file, without waiting for one that is none; `follow` a link to it.

    OSError, or ValueError if it is a folder, a pipe or another special file.
    """
    binary, no_link = getattr(os, "O_BINARY", 0), 0 if follow else getattr(os, "O_NOFOLLOW", 0)
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | binary | no_link)
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise ValueError(f"{ascii(str(path)[:120])[1:-1]}: is not a plain file")
    return os.fdopen(descriptor, "rb")


def read_bytes(
    path: str | Path, error: type[InputError], what: str, *, limit: int = DOCUMENT_LIMIT
) -> bytes:
    """The bytes of a regular file. Raises `error` if it is unreadable or larger than `limit`."""
    name = str(path)
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise error(Problem(name, f"is a folder; expected a {what} file"))
        if not stat.S_ISREG(status.st_mode):
            raise error(Problem(name, f"is not a regular file; expected a {what} file"))
        with open_plain_file(path) as stream:
            data = stream.read(limit + 1)
    except FileNotFoundError:
        raise error(Problem(name, f"no such {what} file")) from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise error(Problem(name, f"cannot be read as a {what} file: {reason}")) from None
    if len(data) > limit:
        message = f"is larger than {limit / 1024:,.0f} KiB, the most a {what} file may have"
        raise error(Problem(name, message))
    return data


def sha256(data: bytes) -> str:
    """SHA-256 of a file's bytes, in hex."""
    return hashlib.sha256(data).hexdigest()


def resolve_inside(folder: Path, named: str) -> Path | None:
    """`named` relative to `folder`, links followed; None if that is outside `folder`."""
    home = Path(os.path.realpath(folder))
    resolved = Path(os.path.realpath(home / named))
    return resolved if resolved.is_relative_to(home) else None


PORTS = tuple(f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³")
DEVICES = frozenset(("aux", "con", "conin$", "conout$", "nul", "prn", *PORTS))
"""Names that Windows reserves for devices: no file can have them, with or without a suffix."""


def is_device_name(name: str) -> bool:
    """Return whether Windows reserves a file's name for a device."""
    return name.partition(".")[0].rstrip(" ").lower() in DEVICES


# ---------------------------------------------------------------- documents


def read_yaml(data: bytes, file: str, error: type[InputError]) -> Node:
    """The bytes of a YAML file as nodes. Raises `error` with the line if that is impossible."""
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
    start: str = "#",
    hint: Hint | None = None,
    places: SourceLocations | None = None,
) -> Any:
    """Nodes as plain data by a schema, or by its part `start`. Raises `error` with every problem.

    Another kind of document is reported as the only problem. `places` are the files that the
    document was made of, if there are several.
    """
    other = other_kind(node, schema) if start == "#" else None
    if other is not None:
        raise error(Problem(file, f"is a {other} file; expected a {schema} file"))
    places = places or SourceLocations([(file, node)], error)
    reader = Reader(load_schema(schema), places)
    data = reader.read(node, load_schema(schema) if start == "#" else {"$ref": start})
    note_faults(data, reader, validator(schema, start), places, hint)
    places.raise_if_any()
    return data


def read_data(
    data: Any,
    file: str,
    schema: str,
    error: type[InputError],
    *,
    start: str = "#",
) -> tuple[Node, Any]:
    """Validate plain data (as from JSON) by a schema; returns its nodes and the same data.

    Raises `error` with every problem, also if reading a file would give the data in another
    form, so that a document read back equals the written one.
    """
    try:
        node = node_from_data(data)
    except (ValueError, RecursionError) as fault:
        raise error(Problem(file, str(fault))) from None
    typed = read_nodes(node, file, schema, error, start=start)
    if typed != data:
        raise error(Problem(file, "has values in another form than those read from a file"))
    return node, typed
