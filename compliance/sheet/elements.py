"""The elements of the sheet's layout: verdict marks, headings, facts, rows.

Filled disc: pass. Disc filled on the left: conditional pass. Barred ring: fail; half filled:
conditional fail. Dotted ring: not assessed, undecided.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace

from compliance.model import Level, Verdict
from compliance.pictures.canvas import INK, Canvas, Ink, Spot, TextStyle
from compliance.pictures.directions import without_marks
from compliance.pictures.fonts import BOLD, MONO, SANS, SERIF, ellipsize, normalise, width, wrap
from compliance.pictures.structure import Element, figure
from compliance.report.report import Fact, Row
from compliance.report.verdict import INKS
from compliance.report.words.en import headings, pictures
from compliance.sheet.pagination import Block, mm

# ---------------------------------------------------------------- marks

MARK_INKS: Mapping[Verdict, Ink] = {
    verdict: getattr(INK, name.upper()) for verdict, name in INKS.items()
}
"""The ink of a verdict's mark and word."""


def draw_mark(canvas: Canvas, x: float, y: float, radius: float, verdict: Verdict) -> None:
    """Draw the mark of `verdict` around (`x`, `y`)."""
    ink = MARK_INKS[verdict]
    weight = max(0.7, radius * 0.22)
    ring = radius - weight / 2

    def on_ring(angle: float) -> Spot:
        return x + ring * math.cos(angle), y + ring * math.sin(angle)

    if verdict is Verdict.PASS:
        canvas.disc(x, y, radius, fill=ink)
        return
    if verdict is Verdict.NOT_ASSESSED:
        count, dot = (8, 0.85 * weight) if ring < 6 else (16, 0.55 * weight)
        for step in range(count):
            canvas.disc(*on_ring(2 * math.pi * (step + 0.5) / count), dot, fill=ink)
        return
    canvas.disc(x, y, ring, ink=ink, weight=weight)
    failed = verdict is not Verdict.CONDITIONAL_PASS
    if failed:
        reach = ring * math.sqrt(0.5)
        canvas.line(x - reach, y - reach, x + reach, y + reach, ink=ink, weight=weight)
    if verdict is not Verdict.FAIL:
        start = -0.75 * math.pi if failed else 0.5 * math.pi
        canvas.polygon([on_ring(start + math.pi * step / 24) for step in range(25)], fill=ink)


# ---------------------------------------------------------------- lines of text

LEADING = 1.32
SIZE = 8.2
SMALL = 7.2
LEAST = 7.0
"""The smallest type on a sheet, in points."""


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
    element: Element | None = None
    """What it is when the page is read aloud; None for what is not read."""
    broken: bool = False
    """The next line goes on with the same word."""

    def draw(self, canvas: Canvas, x: float, top: float) -> None:
        """Draw the line in a block, given the block's left and upper edge."""
        x, y = x + self.x, top - self.base
        style = TextStyle(face=self.face, size=self.size, ink=self.ink, broken=self.broken)
        with canvas.tagged(self.element) if self.element else nullcontext():
            canvas.text(x, y, self.text, **style)


def wrapped(
    text: str, face: str, size: float, measure: float, most: int | None = None
) -> list[tuple[str, bool]]:
    """Break a text into lines, as `wrap` does; return also whether each ends within a word."""
    lines = wrap(text, face, size, measure, most)
    whole = " ".join(map(normalise, text.split("\n")))
    found, at = [], 0
    for line in lines:
        at += len(without_marks(line))
        broken = not whole.startswith(" ", at) and at < len(whole)
        found.append((line, broken))
        at += not broken
    return found


def list_item(items: Element) -> Element:
    """Make an item of a list; return its body."""
    return Element("LBody", Element("LI", items))


def next_page(parent: Element) -> Element:
    """Make a link from page 1 to the pages after it."""
    return Element("Link", parent, headings.to_page(2), target=1)


def text_block(height: float, *texts: Text, space: float = 0.0, keep: bool = False) -> Block:
    """Make a block of lines of print."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for text in texts:
            text.draw(canvas, x, top)

    return Block(height, draw, space, keep)


def heading(text: str, measure: float) -> Block:
    """Make a section's heading below a rule."""
    shown = ellipsize(text, SERIF, 13.5, measure)
    title = Text(shown, 18, face=SERIF, size=13.5, element=Element("H2", text=text))

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.line(x, top, x + measure, top, ink=INK.TEXT, weight=1.1)
        title.draw(canvas, x, top)

    return Block(mm(10), draw, mm(9), keep=True)


def subheading(text: str, measure: float, *, space: float = mm(4)) -> Block:
    """Make a heading inside a section."""
    shown = ellipsize(text, BOLD, 8.6, measure)
    title = Text(shown, 8, face=BOLD, size=8.6, element=Element("H3", text=text))
    return text_block(13.0, title, space=space, keep=True)


def paragraph(
    text: str,
    measure: float,
    *,
    size: float = SIZE,
    face: str = SANS,
    space: float = 3.0,
    items: Element | None = None,
    onward: bool = False,
) -> Iterable[Block]:
    """Make a paragraph, a block per line; its first two and last two lines stay together.

    With `items` it is an item of that list, with a dash before it; `onward`: it is a link from
    page 1 to the next.
    """
    indent = mm(3.2) if items else 0.0
    element = list_item(items) if items else Element("P")
    if onward:
        element = next_page(element)
    lines = wrapped(text, face, size, measure - indent)
    for index, (line, broken) in enumerate(lines):
        texts = [Text(line, size, indent, face, size, element=element, broken=broken)]
        if items and index == 0:
            texts.insert(0, Text("–", size, 0.0, face, size, INK.FAINT))
        yield text_block(
            size * LEADING,
            *texts,
            space=space if index == 0 else 0.0,
            keep=len(lines) > 1 and index in (0, len(lines) - 2),
        )


def fact_blocks(
    facts: Iterable[Fact],
    measure: float,
    *,
    label_width: float = mm(27),
    size: float = SIZE,
    space: float = 1.6,
    most: int | None = None,
) -> Iterable[Block]:
    """Make labels with values beside them, a block per line; at most `most` lines per fact."""
    for fact in facts:
        face, value_size = (MONO, LEAST) if fact.mono else (SANS, size)
        ink = INK.TEXT if fact.known else INK.FAINT
        labels = wrapped(fact.label, SANS, size, label_width - mm(2))[:most]
        values = wrapped(fact.value, face, value_size, measure - label_width, most)
        count = max(len(labels), len(values))
        whole = Element("P")
        beside = len(labels) > 1  # the lines of both are drawn in turn
        label_of, value_of = (Element("Span", whole) if beside else whole for _ in range(2))
        for index in range(count):
            texts = [
                Text(line, size, size=size, ink=INK.QUIET, element=label_of, broken=broken)
                for line, broken in labels[index : index + 1]
            ]
            texts += [
                Text(line, size, label_width, face, value_size, ink, value_of, broken)
                for line, broken in values[index : index + 1]
            ]
            yield text_block(
                size * LEADING,
                *texts,
                space=space if index == 0 else 0.0,
                keep=index < count - 1 if count <= 6 else index in (0, count - 2),
            )


# ---------------------------------------------------------------- requirements

Edges = Sequence[tuple[float, float]]
"""Left edge and width of each column of a table."""
PAD = mm(3)
"""Space between two columns."""
MOST_LINES = 40
"""Most lines of a cell."""
TOGETHER = 3
"""Rows at both ends of a table of texts that stay together."""


def _edges(measure: float, *shares: float) -> Edges:
    """Return the columns of a table, given their left edges as shares of the measure."""
    starts = [share * measure for share in shares]
    ends = [*(start - PAD for start in starts[1:]), measure]
    return [(start, end - start) for start, end in zip(starts, ends, strict=True)]


def _table_head(
    table: Element, edges: Edges, titles: Sequence[str], measure: float, space: float = 0.0
) -> Block:
    """Make a table's head, which is repeated on each page."""
    row = Element("TR", Element("THead", table))
    texts = [
        Text(title, 9, start, size=SMALL, ink=INK.QUIET, element=_column_head(row))
        for (start, _), title in zip(edges, titles, strict=True)
    ]

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for text in texts:
            text.draw(canvas, x, top)
        canvas.line(x, top - 14, x + measure, top - 14, ink=INK.TEXT, weight=0.7)

    return Block(15.0, draw, space, keep=True)


def _column_head(row: Element, span: int = 1) -> Element:
    return Element("TH", row, scope="Column", span=span)


def _cells(body: Element, count: int, head: int) -> list[Element]:
    """Make the cells of a row; the one at `head` names the row."""
    row = Element("TR", body)
    return [
        Element("TH", row, scope="Row") if at == head else Element("TD", row) for at in range(count)
    ]


def _enter_cells(canvas: Canvas, cells: Iterable[Element]) -> None:
    """Enter the cells of a row in their order, whatever the order of drawing; some are empty."""
    for cell in cells:
        with canvas.tagged(cell):
            pass


def _requirement_edges(measure: float) -> Edges:
    return _edges(measure, 0.0, 0.145, 0.43, 0.62, 0.815)


def requirement_head(table: Element, measure: float) -> Block:
    """Make the head of the table of requirements."""
    return _table_head(table, _requirement_edges(measure), headings.REQUIREMENT_COLUMNS, measure)


def level_head(body: Element, level: Level, count: int, measure: float, again: Block) -> Block:
    """Make the line above the rows of one level, which are a table's `body`."""
    meaning = headings.LEVELS[level]
    cell = _column_head(Element("TR", body), span=len(headings.REQUIREMENT_COLUMNS))

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.box(x, top - 15, measure, 15, fill=INK.WASH)
        with canvas.tagged(cell):
            canvas.text(x + 4, top - 10.5, meaning, face=BOLD, size=SMALL + 0.4)
            canvas.text(x + measure - 4, top - 10.5, str(count), size=SMALL + 0.4, align="right")

    return Block(16.0, draw, keep=True, again=again)


Print = tuple[str, str, float, Ink]
"""Text that may take several lines; its face, size and ink."""


def _set_lines(
    prints: Iterable[Print], cell: Element, x: float, top: float, measure: float
) -> tuple[Sequence[Text], float]:
    """Set prints of a cell below one another; return their lines and the lower edge."""
    lines: list[tuple[str, bool, str, float, Ink]] = []
    for text, face, size, ink in prints:
        broken = wrapped(text, face, size, measure)
        if len(broken) > MOST_LINES:
            broken[MOST_LINES - 1 :] = [("…", False)]
        lines += [(*line, face, size, ink) for line in broken]
    if len(lines) > MOST_LINES:
        lines[MOST_LINES - 1 :] = [("…", False, SANS, SMALL, INK.QUIET)]
    texts = []
    for line, within, face, size, ink in lines:
        texts.append(Text(line, top + size * 0.95, x, face, size, ink, cell, within))
        top += size * LEADING
    return texts, top


def requirement_row(
    row: Row, body: Element, measure: float, again: Block, air: float = 1.0
) -> Block:
    """Make the row of a requirement: mark and word, title, value, limits, clause and basis."""

    def strong(text: str, ink: Ink = INK.TEXT) -> Print:
        return text, BOLD, SIZE, ink

    def small(text: str, ink: Ink = INK.QUIET) -> Print:
        return text, SANS, SMALL, ink

    finding = row.finding
    columns: list[list[Print]] = [
        [strong(row.word, MARK_INKS[row.mark])],
        [strong(finding.title), small(row.about)],
        [strong(row.value), *map(small, row.value_notes)],
        [(line, SANS, SIZE, INK.TEXT) for line in row.limits],
        [*([small(finding.clause, INK.TEXT)] if finding.clause else []), small(finding.basis)],
    ]
    edges = list(_requirement_edges(measure))
    title, basis = edges[1][0], edges[4][0]
    edges[0] = (mm(4.6), edges[0][1] - mm(4.6))
    above = 4.0 * air
    texts: list[Text] = []
    lower = above
    cells = _cells(body, len(columns), head=1)
    for prints, cell, (start, extent) in zip(columns, cells, edges, strict=True):
        lines, end = _set_lines(prints, cell, start, above, extent)
        texts += lines
        lower = max(lower, end)
    gap = 1.5 if row.details else 0.0
    notes = (small(detail, INK.TEXT) for detail in row.details)
    details, end = _set_lines(notes, cells[2], title, lower + gap, basis - PAD - title)
    texts += details
    height = end + above

    def draw(canvas: Canvas, x: float, top: float) -> None:
        draw_mark(canvas, x + 4.6, top - above - SIZE * 0.64, 3.6, row.mark)
        _enter_cells(canvas, cells)
        for text in texts:
            text.draw(canvas, x, top)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw, again=again)


def text_rows(
    titles: Sequence[str],
    starts: Sequence[float],
    rows: Iterable[Sequence[str]],
    measure: float,
    air: float = 2.6,
) -> list[Block]:
    """Make a table of texts; its columns start at the given shares of the measure.

    A text has `air` points above and below. The first cell names its row. The first rows stay
    together, and the last ones.
    """
    edges = _edges(measure, *starts)
    table = Element("Table")
    head = _table_head(table, edges, titles, measure)
    body = Element("TBody", table)
    blocks = [_text_row(texts, body, edges, measure, head, air) for texts in rows]
    last = len(blocks) - 1
    return [
        head,
        *(
            replace(block, keep=at < last and (at < TOGETHER - 1 or at > last - TOGETHER))
            for at, block in enumerate(blocks)
        ),
    ]


def _text_row(
    columns: Sequence[str], body: Element, edges: Edges, measure: float, again: Block, above: float
) -> Block:
    texts: list[Text] = []
    height = 0.0
    cells = _cells(body, len(columns), head=0)
    for text, cell, (start, extent) in zip(columns, cells, edges, strict=True):
        lines, end = _set_lines([(text, SANS, SMALL, INK.TEXT)], cell, start, above, extent)
        texts += lines
        height = max(height, end + above)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        _enter_cells(canvas, cells)
        for text in texts:
            text.draw(canvas, x, top)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw, again=again)


def compared_rows(
    before: Sequence[Row], after: Sequence[Row], measure: float, air: float = 1.0
) -> list[Block]:
    """Make rows of value and verdict before and after calibration, side by side."""
    edges = _edges(measure, 0.0, 0.46, 0.73)
    table = Element("Table")
    head = _table_head(table, edges, headings.COMPARED_COLUMNS, measure, mm(4))
    body = Element("TBody", table)
    earlier = {row.finding.id: row for row in before}
    rows = (
        _compared_row(earlier.get(row.finding.id), row, body, edges, measure, air) for row in after
    )
    return [head, *(replace(row, again=head) for row in rows)]


def _compared_row(
    before: Row | None, after: Row, body: Element, edges: Edges, measure: float, air: float
) -> Block:
    above = 3.0 * air
    line = SIZE * LEADING
    (_, title_width), *columns = edges
    title = wrapped(after.finding.title, SANS, SIZE, title_width)[:4]
    height = 2 * above + line * len(title)
    head, *cells = _cells(body, len(edges), head=0)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        base = top - above - SIZE * 0.95
        with canvas.tagged(head):
            for index, (text, broken) in enumerate(title):
                canvas.text(x, base - index * line, text, size=SIZE, broken=broken)
        for row, cell, (start, extent) in zip((before, after), cells, columns, strict=True):
            with canvas.tagged(cell):
                _draw_result(canvas, row, cell, x + start, base, extent)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw)


def _draw_result(
    canvas: Canvas, row: Row | None, cell: Element, left: float, base: float, measure: float
) -> None:
    """Draw mark and value of a row, whose verdict only the mark tells."""
    if row is None:
        canvas.text(left, base, "–", size=SIZE, ink=INK.FAINT)
        return
    untold = row.finding.verdict is not Verdict.NOT_ASSESSED
    x, y = left + 3.4, base + SIZE * 0.32
    with canvas.tagged(mark_figure(x, y, 3.0, row.word, cell)) if untold else canvas.silent():
        draw_mark(canvas, x, y, 3.0, row.mark)
    shown = ellipsize(row.value if untold else row.word, SANS, SIZE, measure - mm(3.8))
    canvas.text(left + mm(3.8), base, shown, size=SIZE)


def mark_figure(x: float, y: float, radius: float, word: str, parent: Element) -> Element:
    """Make the figure of a mark around (`x`, `y`) that has no word beside it."""
    return figure(word, (x - radius, y - radius, x + radius, y + radius), parent)


def legend(marks: Collection[Verdict], indent: float = 0.0) -> Block:
    """Make the line of the given marks and their words."""
    words = {mark: word for mark, word in headings.LEGEND.items() if mark in marks}

    def draw(canvas: Canvas, x: float, top: float) -> None:
        starts = [x + indent]
        for word in words.values():
            starts.append(starts[-1] + mm(3.8) + width(word, SANS, SMALL) + mm(5))
        box = x + indent, top - 14, starts.pop(), top
        with canvas.tagged(figure(pictures.legend(words), box)):
            for left, (mark, word) in zip(starts, words.items(), strict=True):
                draw_mark(canvas, left + 3.6, top - 6, 3.2, mark)
                canvas.text(left + mm(3.8), top - 8.5, word, size=SMALL, ink=INK.QUIET)

    return Block(14.0, draw, 2.0)
