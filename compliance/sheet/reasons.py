"""What made the verdict: the deciding requirements of page 1, with value, limits and p."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from compliance.model import Verdict
from compliance.sheet.flow import Block
from compliance.sheet.fonts import BOLD, SANS, width
from compliance.sheet.marks import draw_mark
from compliance.sheet.pen import Pen, fit, wrap
from compliance.sheet.rows import Row
from compliance.sheet.style import INK, mm

__all__ = ["cut", "reason_blocks"]

INDENT = mm(4)
"""Room for the mark before a title."""
GAP = mm(4)
LEAST = 0.43
"""Least of the room for the titles, where the columns beside them leave it."""
WIDEST = 0.33
"""Most of the room that a column beside the title may take."""
LEADING = 1.3
MOST_LINES = 2


def cut(text: str, face: str, size: float, measure: float, most: int) -> list[str]:
    """At most `most` lines, the last cut with an ellipsis."""
    lines = wrap(text, face, size, measure)
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], fit(" ".join(lines[most - 1 :]), face, size, measure)]


def reason_blocks(
    rows: Sequence[Row], title: str, most: int, *, rail: float, measure: float, size: float
) -> list[Block]:
    """The deciding requirements beside a label, at most `most`, then how many more there are."""
    shown = rows[:most]
    room = measure - rail - INDENT
    edges = _edges([row for row in shown if row.verdict is not Verdict.NOT_ASSESSED], room, size)
    blocks = [_row(row, edges, rail, room, size) for row in shown]
    rest = len(rows) - len(shown)
    if rest:
        blocks.append(_more(f"and {rest} more, from page 2 on", rail, size))
    blocks[0] = _labelled(blocks[0], title, rail, size)
    return [replace(blocks[0], space=mm(4.2)), *blocks[1:]]


def _cells(row: Row) -> tuple[tuple[str, str], ...]:
    """What stands beside a title: text and face of value, limits, probability."""
    return (row.value, BOLD), (row.decisive, SANS), (row.probability, SANS)


def _edges(rows: Sequence[Row], room: float, size: float) -> list[tuple[float, float]]:
    """Left edge and width of the columns, the title's first, as wide as what stands there."""
    columns = zip(*(_cells(row) for row in rows), strict=True)
    wide = [
        min(max(width(text, face, size) for text, face in column) + 0.5, WIDEST * room)
        for column in columns
    ]
    wide = [extent if extent > 1 else 0.0 for extent in wide]
    rest = room - sum(extent + GAP for extent in wide if extent)
    natural = max((width(row.title, SANS, size) for row in rows), default=0.0)
    edges = [(0.0, min(rest, max(natural + 0.5, LEAST * room)))]
    at = edges[0][1]
    for extent in wide:
        at += GAP if extent else 0.0
        edges.append((at, extent))
        at += extent
    return edges


def _row(
    row: Row, edges: Sequence[tuple[float, float]], rail: float, room: float, size: float
) -> Block:
    if row.verdict is Verdict.NOT_ASSESSED:
        lines = [(0.0, 0, line, SANS) for line in cut(row.title, SANS, size, room, MOST_LINES)]
        below = len(lines)
        lines = [(0.0, at, line, SANS) for at, (_, _, line, _) in enumerate(lines)]
        shown = cut(row.short, SANS, size, room, MOST_LINES)
        lines += [(0.0, below + at, line, SANS) for at, line in enumerate(shown)]
    else:
        cells = ((row.title, SANS), *_cells(row))
        lines = [
            (start, at, line, face)
            for (text, face), (start, extent) in zip(cells, edges, strict=True)
            if text
            for at, line in enumerate(cut(text, face, size, extent, MOST_LINES))
        ]
        below = 1 + max(at for _, at, _, _ in lines)
        shown = cut(row.least_sure, SANS, size, room, MOST_LINES) if row.least_sure else []
        lines += [(0.0, below + at, line, SANS) for at, line in enumerate(shown)]
    depth = 1 + max(at for _, at, _, _ in lines)

    def draw(pen: Pen, x: float, top: float) -> None:
        draw_mark(pen, x + rail + 4, top - size * 0.72, 3.4, row.verdict)
        for start, at, text, face in lines:
            y = top - size * (1.05 + LEADING * at)
            pen.text(x + rail + INDENT + start, y, text, face=face, size=size)

    return Block(size * (LEADING * depth + 0.2), draw, space=0.6)


def _labelled(block: Block, label: str, rail: float, size: float) -> Block:
    lines = wrap(label, BOLD, size, rail - mm(3))

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, line in enumerate(lines):
            pen.text(x, top - size * (1.05 + LEADING * index), line, face=BOLD, size=size)
        block.draw(pen, x, top)

    return replace(block, height=max(block.height, size * LEADING * len(lines)), draw=draw)


def _more(text: str, rail: float, size: float) -> Block:
    def draw(pen: Pen, x: float, top: float) -> None:
        pen.text(x + rail + INDENT, top - size * 1.05, text, size=size, ink=INK.QUIET)

    return Block(size * 1.5, draw)
