"""Lay out text as lines and tables that fit a terminal and its encoding."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any

import click

from compliance.cli._terminal import colour_wanted, escape_controls, to_encoding, width

COLUMNS = 80
GAP = 2

INKS = {"teal": "36", "ochre": "33", "plum": "35", "grey": "90", "strong": "1"}
"""Inks and their ECMA-48 SGR codes; the terminal's palette decides the actual colours."""


@dataclass(frozen=True, slots=True)
class Style:
    """The encoding of the output, and whether it shows colour."""

    encoding: str = "utf-8"
    colour: bool = False

    def text(self, text: str) -> str:
        """Make `text` safe to print and readable in the encoding; no-break spaces stay."""
        return to_encoding(escape_controls(text), self.encoding)

    def ink(self, text: str, name: str) -> str:
        """Colour `text` if the output shows colour; an empty name is no ink."""
        return f"\x1b[{INKS[name]}m{text}\x1b[0m" if self.colour and name and text else text


def pad(text: str, columns: int, *, right: bool = False) -> str:
    """Pad `text` with spaces to a number of columns; on its left if `right`."""
    space = " " * max(0, columns - width(text))
    return space + text if right else text + space


def shorten(text: str, columns: int, style: Style) -> str:
    """Cut `text` to a number of columns; an ellipsis marks the cut."""
    if width(text) <= columns:
        return text
    sign = style.text("…")
    kept = text
    while kept and width(kept) + width(sign) > columns:
        kept = kept[:-1]
    return kept.rstrip() + sign


def wrap(text: str, columns: int) -> list[str]:
    """Break `text` into lines of at most `columns`, at spaces; inside a word that is too long."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        joined = f"{line} {word}" if line else word
        if width(joined) <= columns:
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while width(line) > columns:
            cut = _fitting(line, columns)
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line] if line or not lines else lines


def _fitting(text: str, columns: int) -> int:
    cut = 1
    while cut < len(text) and width(text[: cut + 1]) <= columns:
        cut += 1
    return cut


def columns(
    rows: Sequence[Sequence[tuple[str, str]]], widths: Sequence[int], style: Style
) -> list[str]:
    """Lay out a table; a cell is its text and its ink, and wraps inside its column."""
    lines: list[str] = []
    for cells in rows:
        parts = [wrap(text, size) for (text, _), size in zip(cells, widths, strict=True)]
        for index in range(max(map(len, parts))):
            line = ""
            for part, (_, ink), size in zip(parts, cells, widths, strict=True):
                text = part[index] if index < len(part) else ""
                line += style.ink(text, ink) + " " * (size - width(text) + GAP)
            lines.append(line.rstrip())
    return lines


MARKS = re.compile(r"([\\`*_{}\[\]<>#|~])")


def style() -> Style:
    """Return the style of standard output."""
    if sys.stdout is None:
        return Style()
    return Style(sys.stdout.encoding or "ascii", colour_wanted(sys.stdout))


def print_lines(lines: Iterable[str]) -> None:
    """Print lines to standard output."""
    text = "\n".join(lines)
    if text:
        click.echo(text, color=style().colour)


def print_json(data: Any) -> None:
    """Print data as JSON to standard output."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    click.echo(json.dumps(data, indent=2, ensure_ascii=encoding != "utf8", allow_nan=False))


def hanging_indent(text: str, indent: int, look: Style, *, first: str = "") -> list[str]:
    """Break `text` into lines of 80 columns, indented by `indent`; `first` is in the first's."""
    lines = wrap(look.text(text), COLUMNS - indent)
    head = look.text(first).ljust(indent)
    return [(head if not number else " " * indent) + line for number, line in enumerate(lines)]


def cell(text: str) -> str:
    """Escape `text` for a cell of a Markdown table: no mark, mention or line break."""
    plain = MARKS.sub(r"\\\1", escape_controls(text).replace("\u00a0", " "))
    return plain.replace("@", "&#64;")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lay out a Markdown table; cells are already escaped."""
    lines = [f"| {' | '.join(heads)} |", f"|{'---|' * len(heads)}"]
    return lines + [f"| {' | '.join(row)} |" for row in rows]


CLEAR = "\r\x1b[K"


class Progress:
    """One line, rewritten for each step and erased at the end; silent without a terminal."""

    def __init__(self, total: int) -> None:
        self._total = total
        self._count = 0
        self._drawn = False
        self._shown = sys.stderr is not None and sys.stderr.isatty()

    def step(self, what: str) -> None:
        """Show that the next step begins."""
        self._count += 1
        self.show(f"{self._count} of {self._total}: {what}")

    def show(self, what: str) -> None:
        """Show what is done, without counting it."""
        if self._shown:
            self._drawn = True
            style = Style(sys.stderr.encoding)
            sys.stderr.write(CLEAR + shorten(style.text(what), 79, style))
            sys.stderr.flush()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._drawn:
            sys.stderr.write(CLEAR)
            sys.stderr.flush()
