"""The elements that the sheet is set from: verdict marks, headings, facts, rows.

Filled disc: pass. Disc filled on the left: conditional pass; on the right:
conditional fail. Barred ring: fail. Dotted ring: not assessed, undecided.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

from compliance.model import Level, Verdict
from compliance.pictures.canvas import INK, Align, Canvas, Ink, Spot
from compliance.pictures.fonts import BOLD, MONO, SANS, SERIF, ellipsize, width, wrap
from compliance.report.report import Fact, Row
from compliance.report.verdict import INKS
from compliance.report.words.en import headings
from compliance.sheet.pagination import Block, mm

# ---------------------------------------------------------------- marks

MARK_INKS: Mapping[Verdict, Ink] = {
    verdict: getattr(INK, name.upper()) for verdict, name in INKS.items()
}
"""The ink of a verdict's mark and word."""


def draw_mark(canvas: Canvas, x: float, y: float, radius: float, verdict: Verdict) -> None:
    """The mark of `verdict` round (`x`, `y`)."""
    ink = MARK_INKS[verdict]
    weight = max(0.7, radius * 0.22)
    ring = radius - weight / 2

    def on_ring(angle: float) -> Spot:
        return x + ring * math.cos(angle), y + ring * math.sin(angle)

    if verdict is Verdict.PASS:
        canvas.disc(x, y, radius, fill=ink)
        return
    if verdict is Verdict.NOT_ASSESSED:
        count, dot = (8, 0.62 * weight) if ring < 6 else (16, 0.55 * weight)
        for step in range(count):
            canvas.disc(*on_ring(2 * math.pi * (step + 0.5) / count), dot, fill=ink)
        return
    canvas.disc(x, y, ring, ink=ink, weight=weight)
    if verdict is Verdict.FAIL:
        reach = ring * math.sqrt(0.5)
        canvas.line(x - reach, y - reach, x + reach, y + reach, ink=ink, weight=weight)
    else:
        start = math.pi / 2 if verdict is Verdict.CONDITIONAL_PASS else -math.pi / 2
        canvas.polygon([on_ring(start + math.pi * step / 24) for step in range(25)], fill=ink)


# ---------------------------------------------------------------- lines of text

LEADING = 1.32
SIZE = 8.2
SMALL = 7.2


@dataclass(frozen=True, slots=True)
class Text:
    """A line of print in a block."""

    text: str
    base: float
    """Base line, from the block's upper edge down."""
    x: float = 0.0
    face: str = SANS
    size: float = SIZE
    ink: Ink = INK.TEXT
    align: Align = "left"

    def draw(self, canvas: Canvas, x: float, top: float) -> None:
        """Draw it in the block whose left and upper edge are given."""
        canvas.text(
            x + self.x,
            top - self.base,
            self.text,
            face=self.face,
            size=self.size,
            ink=self.ink,
            align=self.align,
        )


def text_block(height: float, *texts: Text, space: float = 0.0, keep: bool = False) -> Block:
    """A block that holds lines of print and nothing else."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for text in texts:
            text.draw(canvas, x, top)

    return Block(height, draw, space, keep)


def heading(text: str, measure: float) -> Block:
    """A section's heading over a rule."""
    title = Text(ellipsize(text, SERIF, 13.5, measure), 18, face=SERIF, size=13.5)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.line(x, top, x + measure, top, ink=INK.TEXT, weight=1.1)
        title.draw(canvas, x, top)

    return Block(mm(10), draw, mm(9), keep=True)


def subheading(text: str, measure: float, *, space: float = mm(4)) -> Block:
    """A heading inside a section."""
    title = Text(ellipsize(text, BOLD, 8.6, measure), 8, face=BOLD, size=8.6)
    return text_block(13.0, title, space=space, keep=True)


def paragraph(
    text: str,
    measure: float,
    *,
    size: float = SIZE,
    face: str = SANS,
    space: float = 3.0,
    bullet: bool = False,
) -> list[Block]:
    """A paragraph, one block per line; its first two and last two lines stay together."""
    indent = mm(3.2) if bullet else 0.0
    lines = wrap(text, face, size, measure - indent)
    blocks = []
    for index, line in enumerate(lines):
        texts = [Text(line, size, indent, face, size)]
        if bullet and index == 0:
            texts.insert(0, Text("–", size, 0.0, face, size, INK.FAINT))
        keep = len(lines) > 1 and index in (0, len(lines) - 2)
        above = space if index == 0 else 0.0
        blocks.append(text_block(size * LEADING, *texts, space=above, keep=keep))
    return blocks


def fact_blocks(
    fact: Fact,
    measure: float,
    *,
    label_width: float = mm(27),
    size: float = SIZE,
    space: float = 1.6,
    most: int | None = None,
) -> list[Block]:
    """A label with its value beside it, one block per line, of which there are at most `most`."""
    face, value_size = (MONO, size - 1.3) if fact.mono else (SANS, size)
    ink = INK.TEXT if fact.known else INK.FAINT
    labels = wrap(fact.label, SANS, size, label_width - mm(2))[:most]
    values = wrap(fact.value, face, value_size, measure - label_width, most)
    count = max(len(labels), len(values))
    blocks = []
    for index, (label, value) in enumerate(zip_longest(labels, values, fillvalue="")):
        texts = (
            Text(label, size, size=size, ink=INK.QUIET),
            Text(value, size, label_width, face, value_size, ink),
        )
        keep = index < count - 1 if count <= 6 else index in (0, count - 2)
        above = space if index == 0 else 0.0
        blocks.append(text_block(size * LEADING, *texts, space=above, keep=keep))
    return blocks


# ---------------------------------------------------------------- requirements

Edges = Sequence[tuple[float, float]]
"""Left edge and width of each column of a table."""
PAD = mm(3)
"""Between two columns."""
MOST_LINES = 40
"""Of a cell."""


def _edges(measure: float, *shares: float) -> Edges:
    """The columns of a table, from their left edges as shares of the measure."""
    starts = [share * measure for share in shares]
    ends = [*(start - PAD for start in starts[1:]), measure]
    return [(start, end - start) for start, end in zip(starts, ends, strict=True)]


def _table_head(edges: Edges, titles: Sequence[str], measure: float, space: float = 0.0) -> Block:
    """A table's head, set again on each page."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for (start, _), title in zip(edges, titles, strict=True):
            canvas.text(x + start, top - 9, title, size=SMALL, ink=INK.QUIET)
        canvas.line(x, top - 14, x + measure, top - 14, ink=INK.TEXT, weight=0.7)

    return Block(15.0, draw, space, keep=True)


def _requirement_edges(measure: float) -> Edges:
    return _edges(measure, 0.0, 0.145, 0.43, 0.62, 0.815)


def requirement_head(measure: float) -> Block:
    """The head of the table of requirements."""
    return _table_head(_requirement_edges(measure), headings.REQUIREMENT_COLUMNS, measure)


def level_head(level: Level, count: int, measure: float, again: Block) -> Block:
    """The line above the rows of one level."""
    meaning = headings.LEVELS[level]

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.box(x, top - 15, measure, 15, fill=INK.WASH)
        canvas.text(x + 4, top - 10.5, meaning, face=BOLD, size=SMALL + 0.4)
        canvas.text(x + measure - 4, top - 10.5, str(count), size=SMALL + 0.4, align="right")

    return Block(16.0, draw, keep=True, again=again)


Cell = list[tuple[str, str, float, Ink]]
"""Lines of a cell: text, face, size, ink."""


def _lines(text: str, face: str, size: float, measure: float, ink: Ink = INK.TEXT) -> Cell:
    lines = wrap(text, face, size, measure)
    if len(lines) > MOST_LINES:
        lines[MOST_LINES - 1 :] = ["…"]
    return [(line, face, size, ink) for line in lines]


def _stack(parts: Iterable[Cell]) -> Cell:
    cell = [line for part in parts for line in part]
    if len(cell) > MOST_LINES:
        cell[MOST_LINES - 1 :] = [("…", SANS, SMALL, INK.QUIET)]
    return cell


def requirement_row(row: Row, measure: float, again: Block, air: float = 1.0) -> Block:
    """One requirement: mark and word, title, value, limits, clause and basis."""
    edges = _requirement_edges(measure)
    word, title, value, limits, basis = (extent for _, extent in edges)
    indent = mm(4.6)
    cells = [
        _lines(row.word, BOLD, SIZE, word - indent, MARK_INKS[row.finding.verdict]),
        _stack(
            (
                _lines(row.finding.title, BOLD, SIZE, title),
                _lines(row.about, SANS, SMALL, title, INK.QUIET),
            )
        ),
        _stack(
            (
                _lines(row.value, BOLD, SIZE, value),
                *(_lines(note, SANS, SMALL, value, INK.QUIET) for note in row.value_notes),
            )
        ),
        _stack(_lines(line, SANS, SIZE, limits) for line in row.limits),
        _stack(
            (
                *((_lines(row.finding.clause, SANS, SMALL, basis),) if row.finding.clause else ()),
                _lines(row.finding.basis, SANS, SMALL, basis, INK.QUIET),
            )
        ),
    ]
    start_of_title, start_of_basis = edges[1][0], edges[4][0]
    below = start_of_basis - PAD - start_of_title
    details = _stack(_lines(detail, SANS, SMALL, below) for detail in row.details)
    above = 4.0 * air
    body = max(map(_cell_height, cells))
    gap = 1.5 if details else 0.0
    height = above + body + gap + _cell_height(details) + above

    def draw(canvas: Canvas, x: float, top: float) -> None:
        first = top - above
        draw_mark(canvas, x + 4.6, first - SIZE * 0.64, 3.6, row.finding.verdict)
        for index, (cell, (start, _)) in enumerate(zip(cells, edges, strict=True)):
            _draw_cell(canvas, x + start + (indent if index == 0 else 0.0), first, cell)
        _draw_cell(canvas, x + start_of_title, first - body - gap, details)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw, again=again)


def _cell_height(cell: Cell) -> float:
    return sum(size * LEADING for _, _, size, _ in cell)


def _draw_cell(canvas: Canvas, x: float, top: float, cell: Cell) -> None:
    for text, face, size, ink in cell:
        canvas.text(x, top - size * 0.95, text, face=face, size=size, ink=ink)
        top -= size * LEADING


def compared_rows(
    before: Sequence[Row], after: Sequence[Row], measure: float, air: float = 1.0
) -> list[Block]:
    """Each requirement's value and verdict before calibration and after, side by side."""
    edges = _edges(measure, 0.0, 0.46, 0.73)
    head = _table_head(edges, headings.COMPARED_COLUMNS, measure, mm(4))
    earlier = {row.finding.id: row for row in before}
    rows = (_compared_row(earlier.get(row.finding.id), row, edges, measure, air) for row in after)
    return [head, *(replace(row, again=head) for row in rows)]


def _compared_row(
    before: Row | None, after: Row, edges: Edges, measure: float, air: float
) -> Block:
    above = 3.0 * air
    line = SIZE * LEADING
    (_, title_width), *columns = edges
    title = wrap(after.finding.title, SANS, SIZE, title_width)[:4]
    height = 2 * above + line * len(title)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        base = top - above - SIZE * 0.95
        for index, text in enumerate(title):
            canvas.text(x, base - index * line, text, size=SIZE)
        for row, (start, extent) in zip((before, after), columns, strict=True):
            left = x + start
            if row is None:
                canvas.text(left, base, "–", size=SIZE, ink=INK.FAINT)
                continue
            draw_mark(canvas, left + 3.4, base + SIZE * 0.32, 3.0, row.finding.verdict)
            result = row.word if row.finding.verdict is Verdict.NOT_ASSESSED else row.value
            shown = ellipsize(result, SANS, SIZE, extent - mm(3.8))
            canvas.text(left + mm(3.8), base, shown, size=SIZE)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw)


def legend() -> Block:
    """The five marks and their words."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for verdict, word in headings.LEGEND.items():
            draw_mark(canvas, x + 3.6, top - 6, 3.2, verdict)
            canvas.text(x + mm(3.8), top - 8.5, word, size=SMALL)
            x += mm(3.8) + width(word, SANS, SMALL) + mm(5)

    return Block(14.0, draw, 2.0)
