"""The requirements that decide, on page 1: each with value, interval, scale, limits, p."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from compliance.model import Verdict
from compliance.pictures.canvas import INK, Canvas, Ink
from compliance.pictures.fonts import BOLD, SANS, width
from compliance.pictures.structure import Element
from compliance.report.nearness import Gauge
from compliance.report.report import Report, Row
from compliance.report.words.en import headings
from compliance.sheet.elements import (
    MARK_INKS,
    SMALL,
    Text,
    draw_mark,
    list_item,
    mark_figure,
    paragraph,
    text_block,
    wrapped,
)
from compliance.sheet.pagination import Block, mm

INDENT = mm(4)
"""Left edge of a title, with room for the mark before it."""
GAP = mm(3.5)
LEAST = 0.32
"""Least share of the room for the titles; wider columns beside them break their lines."""
NARROW = mm(24)
"""A column beside the titles is not made narrower."""
SCALE = mm(17)
"""Length of the scale of a value."""
LEADING = 1.3
MOST_LINES = 2
MOST = 5
"""Rows of requirements that are all met."""

Edges = Sequence[tuple[float, float]]
"""Left edge and width of each column: title, value, interval, scale, limits, probability."""


def deciding_rows(report: Report, most: int, measure: float, size: float) -> Iterable[Block]:
    """Make the requirements that decide below their title: `most` as rows, the others in a line.

    Where all are met these are the nearest to their limits, and the others are not named.
    """
    if not report.deciding:
        return
    met = report.now.mark in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    rows, rest = report.deciding[:most], report.deciding[most:]
    if met:
        rows, rest = report.deciding[: min(most, MOST)], ()
    title = Element("H2", text=report.deciding_title)
    heading = Text(report.deciding_title, size, 0.0, BOLD, size, element=title)
    scale = Text(
        headings.SCALE,
        size,
        measure - width(headings.SCALE, SANS, SMALL),
        size=SMALL,
        ink=INK.QUIET,
        element=Element("P"),
    )
    texts = (heading, scale) if any(row.gauge for row in rows) else (heading,)
    yield text_block(size * 1.45, *texts, space=mm(4.2), keep=True)
    room = measure - INDENT
    judged = [row for row in rows if row.finding.verdict is not Verdict.NOT_ASSESSED]
    edges = _edges(judged, room, size)
    items = Element("L")
    for row in rows:
        yield _row(row, items, edges, room, size)
    if rest:
        yield from paragraph(headings.also(rest), measure, size=size, space=1.0)


def _cells(row: Row) -> tuple[tuple[str, str], ...]:
    """Return text and face of the cells beside a title; that of the scale is empty.

    The intervals of a pair stand in the table of requirements only.
    """
    pair = isinstance(row.finding.value, tuple)
    return (
        (row.value, BOLD),
        ("" if pair else row.interval, SANS),
        ("", SANS),
        (row.limit, SANS),
        (row.probability, SANS),
    )


def _edges(rows: Sequence[Row], room: float, size: float) -> Edges:
    """Return the columns, as wide as their texts, and the title's as wide as they leave it."""
    if not rows:
        return [(0.0, room)]
    columns = zip(*map(_cells, rows), strict=True)
    natural = [max(width(text, face, size) for text, face in column) + 0.5 for column in columns]
    extents = [extent if extent > 1 else 0.0 for extent in natural]
    if any(row.gauge for row in rows):
        extents[2] = SCALE
    taken = sum(extent + GAP for extent in extents if extent)
    while taken > (1 - LEAST) * room and max(extents) > NARROW:
        extents[extents.index(max(extents))] *= 0.95
        taken = sum(extent + GAP for extent in extents if extent)
    rest = room - taken
    widest_title = max((width(row.finding.title, SANS, size) for row in rows), default=0.0)
    edges = [(0.0, min(rest, max(widest_title + 0.5, LEAST * room)))]
    right = edges[0][1]
    for extent in extents:
        right += GAP if extent else 0.0
        edges.append((right, extent))
        right += extent
    return edges


def _row(row: Row, items: Element, edges: Edges, room: float, size: float) -> Block:
    """Make a requirement: mark, title and cells beside it, and a note below."""
    scale = None
    if row.finding.verdict is Verdict.NOT_ASSESSED:
        cells, columns, note = [(row.finding.title, SANS)], [(0.0, room)], row.short
    else:
        cells, columns, note = (
            [(row.finding.title, SANS), *_cells(row)],
            list(edges),
            row.least_sure,
        )
        scale = row.gauge
    lines = [
        (*line, at, start, face)
        for (text, face), (start, extent) in zip(cells, columns, strict=True)
        if text
        for at, line in enumerate(wrapped(text, face, size, extent, MOST_LINES))
    ]
    below = 1 + max(at for _, _, at, _, _ in lines)
    notes = wrapped(note, SANS, size, room, MOST_LINES) if note else []
    lines += [(*line, at, 0.0, SANS) for at, line in enumerate(notes, below)]
    body = list_item(items)
    texts = [
        Text(line, _base(at, size), INDENT + start, face, size, element=body, broken=broken)
        for line, broken, at, start, face in lines
    ]

    def draw(canvas: Canvas, x: float, top: float) -> None:
        left, middle = x + 4, top - size * 0.72
        with canvas.tagged(mark_figure(left, middle, 3.4, row.word, body)):
            draw_mark(canvas, left, middle, 3.4, row.mark)
        for text in texts:
            text.draw(canvas, x, top)
        if scale is not None:
            start, extent = columns[3]
            _draw_scale(canvas, x + INDENT + start, middle, extent, MARK_INKS[row.mark], scale)

    return Block(size * (LEADING * (below + len(notes)) + 0.2), draw, space=0.6)


def _base(line: int, size: float) -> float:
    return size * (1.05 + LEADING * line)


def _draw_scale(canvas: Canvas, x: float, y: float, extent: float, ink: Ink, scale: Gauge) -> None:
    """Draw a value beside its limits: what is allowed shaded, the interval, a dot.

    It is not read aloud: the cells beside it tell the same.
    """
    with canvas.silent():
        canvas.line(x, y, x + extent, y, ink=INK.FAINT)
        canvas.box(
            x + scale.low * extent, y - 3, (scale.high - scale.low) * extent, 6, fill=INK.WASH
        )
        for limit in (scale.low, scale.high):
            if 0 < limit < 1:
                at = x + limit * extent
                canvas.line(at, y - 4, at, y + 4, ink=INK.TEXT, weight=0.8)
        if scale.end > scale.start:
            start, end = x + scale.start * extent, x + scale.end * extent
            canvas.line(start, y, end, y, ink=ink, weight=1.4)
        canvas.disc(x + scale.value * extent, y, 2.0, fill=ink)
