"""Text, Markdown and JSON for what `compliance rules` prints."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable, Sequence
from typing import Any

import click

from compliance.cli.layout import Style, wrap
from compliance.cli.terminal import colour_wanted, harmless

__all__ = ["cell", "folded", "print_json", "print_lines", "style", "table"]

COLUMNS = 80
MARKS = re.compile(r"([\\`*_{}\[\]<>#|~])")


def style() -> Style:
    """What standard output can show."""
    if sys.stdout is None:
        return Style()
    return Style(sys.stdout.encoding or "ascii", colour_wanted(sys.stdout))


def print_lines(lines: Iterable[str]) -> None:
    """Lines to standard output."""
    text = "\n".join(lines)
    if text:
        click.echo(text, color=style().colour)


def print_json(data: Any) -> None:
    """Data as JSON to standard output."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    click.echo(json.dumps(data, indent=2, ensure_ascii=encoding != "utf8", allow_nan=False))


def folded(text: str, indent: int, look: Style, *, first: str = "") -> list[str]:
    """`text` in lines of at most 80 columns, `indent` wide; `first` begins the first."""
    lines = wrap(look.text(text), COLUMNS - indent)
    head = look.text(first).ljust(indent)
    return [(head if not number else " " * indent) + line for number, line in enumerate(lines)]


def cell(text: str) -> str:
    """`text` for a cell of a Markdown table: no mark, mention or line break of its own."""
    plain = MARKS.sub(r"\\\1", harmless(text).replace("\u00a0", " "))
    return plain.replace("@", "&#64;")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A Markdown table; cells are given ready to stand in one."""
    lines = [f"| {' | '.join(heads)} |", f"|{'---|' * len(heads)}"]
    return lines + [f"| {' | '.join(row)} |" for row in rows]
