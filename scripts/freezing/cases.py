"""Cases: calls of the command one after the other in one folder, stored in a file."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["Call", "Case", "load_cases", "save_cases"]


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the command."""

    args: tuple[str, ...]
    stdin: str = ""
    settings: Mapping[str, str] = field(default_factory=dict)
    """Of the environment, in addition to the fixed ones."""
    encoding: str = "utf-8"
    """Of standard output and error."""


@dataclass(frozen=True, slots=True)
class Case:
    """Calls in a folder of their own, next to `inputs`; each sees the files of those before it."""

    name: str
    calls: tuple[Call, ...]
    quick: bool = False
    """Whether it belongs to the representative subset."""
    pixels: bool = True
    """Whether the pages of its sheets are drawn."""
    copied: Mapping[str, str] = field(default_factory=dict)
    """Files to put into the folder, and their sources in `inputs`."""
    written: Mapping[str, str] = field(default_factory=dict)
    """Files to put into the folder, and their text."""
    seconds: float = 0.0
    """Computing time when it was recorded: long ones start first."""


def save_cases(file: Path, cases: Iterable[Case]) -> None:
    """Write cases as JSON."""
    lines = (json.dumps(asdict(case), ensure_ascii=False) for case in cases)
    file.write_text("[\n" + ",\n".join(lines) + "\n]\n", encoding="utf-8")


def load_cases(file: Path) -> list[Case]:
    """The cases that `save_cases` wrote."""
    return [_case(stated) for stated in json.loads(file.read_text(encoding="utf-8"))]


def _case(stated: dict[str, Any]) -> Case:
    calls = tuple(Call(**{**call, "args": tuple(call["args"])}) for call in stated["calls"])
    return Case(**{**stated, "calls": calls})
