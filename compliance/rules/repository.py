"""What a repository says of its rules: `.compliance.yaml`, found by walking up from a file."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from compliance.documents import inside, quoted, read_bytes, read_nodes, read_yaml
from compliance.errors import RuleError
from compliance.rules.places import Places

__all__ = ["NAME", "read_repository", "repository_file", "repository_folders"]

NAME = ".compliance.yaml"
MOST_LEVELS = 32
"""Folders that are looked into on the way up."""
LIMIT = 1 << 16
"""Bytes."""


def repository_folders(start: Path) -> tuple[Path, ...]:
    """The folders of rule files that the repository around the folder `start` names.

    None where there is no such file. Raises RuleError with every problem of it.
    """
    file = repository_file(start)
    return read_repository(file) if file is not None else ()


def repository_file(start: Path) -> Path | None:
    """The `.compliance.yaml` nearest above the folder `start`, its own included.

    The walk ends at a repository's root (a folder with `.git` in it), at the root of the file
    system, or after 32 folders.
    """
    for folder in _upwards(start):
        if os.path.lexists(folder / NAME):
            return _shown(folder, start) / NAME
        if os.path.lexists(folder / ".git"):
            return None
    return None


def _upwards(start: Path) -> Iterator[Path]:
    folder = Path(os.path.abspath(start))
    yield from (folder, *folder.parents)[:MOST_LEVELS]


def _shown(folder: Path, start: Path) -> Path:
    """The folder as a message should name it: relative where `start` is."""
    return folder if start.is_absolute() else Path(os.path.relpath(folder))


def read_repository(file: Path) -> tuple[Path, ...]:
    """The folders that a `.compliance.yaml` names. Raises RuleError with every problem."""
    shown = str(file)
    node = read_yaml(read_bytes(file, RuleError, "repository", limit=LIMIT), shown, RuleError)
    data = read_nodes(node, shown, "repository", RuleError)
    places = Places([(shown, node)])
    folders = []
    for number, named in enumerate(data["specs"]):
        here = ("specs", number)
        if inside(file.parent, named) is None:
            places.problem(here, f"{quoted(named)} leaves the repository; expected a folder in it")
        elif not os.path.isdir(file.parent / named):
            places.problem(here, f"{quoted(named)}: no such folder of rule files")
        folders.append(file.parent / named)
    places.raise_if_any()
    return tuple(folders)
