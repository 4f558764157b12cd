"""Words into lines and tables that fit a terminal, in what its encoding can show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from compliance.cli.terminal import encodable, harmless, width

__all__ = ["COLUMNS", "INKS", "Style", "columns", "pad", "shorten", "wrap"]

COLUMNS = 80
GAP = 2

INKS = {"teal": "36", "ochre": "33", "plum": "35", "grey": "90", "strong": "1"}
"""Names of inks and their codes in ECMA-48 SGR; the terminal's palette has the last word."""


@dataclass(frozen=True, slots=True)
class Style:
    """What the output can show."""

    encoding: str = "utf-8"
    colour: bool = False

    def text(self, text: str) -> str:
        """`text` made harmless and readable in the encoding; no-break spaces stay."""
        return encodable(harmless(text), self.encoding)

    def ink(self, text: str, name: str) -> str:
        """`text` in an ink, where there is colour; an empty name is none."""
        return f"\x1b[{INKS[name]}m{text}\x1b[0m" if self.colour and name and text else text


def pad(text: str, columns: int, *, right: bool = False) -> str:
    """`text` filled with spaces to a number of columns; to its left if `right`."""
    space = " " * max(0, columns - width(text))
    return space + text if right else text + space


def shorten(text: str, columns: int, style: Style) -> str:
    """`text` cut to a number of columns, with an ellipsis where something was left out."""
    if width(text) <= columns:
        return text
    sign = style.text("…")
    kept = text
    while kept and width(kept) + width(sign) > columns:
        kept = kept[:-1]
    return kept.rstrip() + sign


def wrap(text: str, columns: int) -> list[str]:
    """Lines of at most that many columns, broken at spaces; a longer word is broken inside."""
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
    """Lines of a table; a cell is its text and its ink, and wraps inside its column."""
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
