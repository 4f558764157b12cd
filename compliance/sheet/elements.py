"""The elements of the sheet's layout: verdict marks, headings, facts, rows.

Filled disc: pass. Disc filled on the left: conditional pass; on the right:
conditional fail. Barred ring: fail. Dotted ring: not assessed, undecided.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

from compliance.model import Level, NotCovered, Verdict
from compliance.pictures.canvas import INK, Canvas, Ink, Spot
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

    def draw(self, canvas: Canvas, x: float, top: float) -> None:
        """Draw the line in a block, given the block's left and upper edge."""
        x, y = x + self.x, top - self.base
        canvas.text(x, y, self.text, face=self.face, size=self.size, ink=self.ink)


def text_block(height: float, *texts: Text, space: float = 0.0, keep: bool = False) -> Block:
    """Make a block of lines of print."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for text in texts:
            text.draw(canvas, x, top)

    return Block(height, draw, space, keep)


def heading(text: str, measure: float) -> Block:
    """Make a section's heading below a rule."""
    title = Text(ellipsize(text, SERIF, 13.5, measure), 18, face=SERIF, size=13.5)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.line(x, top, x + measure, top, ink=INK.TEXT, weight=1.1)
        title.draw(canvas, x, top)

    return Block(mm(10), draw, mm(9), keep=True)


def subheading(text: str, measure: float, *, space: float = mm(4)) -> Block:
    """Make a heading inside a section."""
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
) -> Iterable[Block]:
    """Make a paragraph, a block per line; its first two and last two lines stay together."""
    indent = mm(3.2) if bullet else 0.0
    lines = wrap(text, face, size, measure - indent)
    for index, line in enumerate(lines):
        texts = [Text(line, size, indent, face, size)]
        if bullet and index == 0:
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
        face, value_size = (MONO, size - 1.3) if fact.mono else (SANS, size)
        ink = INK.TEXT if fact.known else INK.FAINT
        labels = wrap(fact.label, SANS, size, label_width - mm(2))[:most]
        values = wrap(fact.value, face, value_size, measure - label_width, most)
        count = max(len(labels), len(values))
        for index, (label, value) in enumerate(zip_longest(labels, values, fillvalue="")):
            yield text_block(
                size * LEADING,
                Text(label, size, size=size, ink=INK.QUIET),
                Text(value, size, label_width, face, value_size, ink),
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
CLAUSES = 3
"""Rows at both ends of the table of clauses that stay together."""


def _edges(measure: float, *shares: float) -> Edges:
    """Return the columns of a table, given their left edges as shares of the measure."""
    starts = [share * measure for share in shares]
    ends = [*(start - PAD for start in starts[1:]), measure]
    return [(start, end - start) for start, end in zip(starts, ends, strict=True)]


def _table_head(edges: Edges, titles: Sequence[str], measure: float, space: float = 0.0) -> Block:
    """Make a table's head, which is repeated on each page."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for (start, _), title in zip(edges, titles, strict=True):
            canvas.text(x + start, top - 9, title, size=SMALL, ink=INK.QUIET)
        canvas.line(x, top - 14, x + measure, top - 14, ink=INK.TEXT, weight=0.7)

    return Block(15.0, draw, space, keep=True)


def _requirement_edges(measure: float) -> Edges:
    return _edges(measure, 0.0, 0.145, 0.43, 0.62, 0.815)


def requirement_head(measure: float) -> Block:
    """Make the head of the table of requirements."""
    return _table_head(_requirement_edges(measure), headings.REQUIREMENT_COLUMNS, measure)


def level_head(level: Level, count: int, measure: float, again: Block) -> Block:
    """Make the line above the rows of one level."""
    meaning = headings.LEVELS[level]

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.box(x, top - 15, measure, 15, fill=INK.WASH)
        canvas.text(x + 4, top - 10.5, meaning, face=BOLD, size=SMALL + 0.4)
        canvas.text(x + measure - 4, top - 10.5, str(count), size=SMALL + 0.4, align="right")

    return Block(16.0, draw, keep=True, again=again)


Print = tuple[str, str, float, Ink]
"""Text that may take several lines; its face, size and ink."""


def _set_lines(
    prints: Iterable[Print], x: float, top: float, measure: float
) -> tuple[Sequence[Text], float]:
    """Set prints below one another from `top` down; return their lines and the lower edge."""
    lines: list[Print] = []
    for text, face, size, ink in prints:
        wrapped = wrap(text, face, size, measure)
        if len(wrapped) > MOST_LINES:
            wrapped[MOST_LINES - 1 :] = ["…"]
        lines += [(line, face, size, ink) for line in wrapped]
    if len(lines) > MOST_LINES:
        lines[MOST_LINES - 1 :] = [("…", SANS, SMALL, INK.QUIET)]
    texts = []
    for line, face, size, ink in lines:
        texts.append(Text(line, top + size * 0.95, x, face, size, ink))
        top += size * LEADING
    return texts, top


def requirement_row(row: Row, measure: float, again: Block, air: float = 1.0) -> Block:
    """Make the row of a requirement: mark and word, title, value, limits, clause and basis."""

    def strong(text: str, ink: Ink = INK.TEXT) -> Print:
        return text, BOLD, SIZE, ink

    def small(text: str, ink: Ink = INK.QUIET) -> Print:
        return text, SANS, SMALL, ink

    finding = row.finding
    columns: list[list[Print]] = [
        [strong(row.word, MARK_INKS[finding.verdict])],
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
    body = above
    for prints, (start, extent) in zip(columns, edges, strict=True):
        cell, end = _set_lines(prints, start, above, extent)
        texts += cell
        body = max(body, end)
    gap = 1.5 if row.details else 0.0
    notes = (small(detail, INK.TEXT) for detail in row.details)
    details, end = _set_lines(notes, title, body + gap, basis - PAD - title)
    texts += details
    height = end + above

    def draw(canvas: Canvas, x: float, top: float) -> None:
        draw_mark(canvas, x + 4.6, top - above - SIZE * 0.64, 3.6, finding.verdict)
        for text in texts:
            text.draw(canvas, x, top)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw, again=again)


def clause_rows(entries: Iterable[NotCovered], measure: float) -> list[Block]:
    """Make rows of clauses that are not tested: clause, what it asks, why not.

    The first rows stay together, and the last ones.
    """
    edges = _edges(measure, 0.0, 0.25, 0.6)
    head = _table_head(edges, headings.NOT_COVERED_COLUMNS, measure)
    rows = [_clause_row(entry, edges, measure, head) for entry in entries]
    last = len(rows) - 1
    return [
        head,
        *(
            replace(row, keep=at < last and (at < CLAUSES - 1 or at > last - CLAUSES))
            for at, row in enumerate(rows)
        ),
    ]


def _clause_row(entry: NotCovered, edges: Edges, measure: float, again: Block) -> Block:
    above = 2.6
    texts: list[Text] = []
    height = 0.0
    for text, (start, extent) in zip((entry.clause, entry.what, entry.why), edges, strict=True):
        cell, end = _set_lines([(text, SANS, SMALL, INK.TEXT)], start, above, extent)
        texts += cell
        height = max(height, end + above)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for text in texts:
            text.draw(canvas, x, top)
        canvas.line(x, top - height, x + measure, top - height)

    return Block(height, draw, again=again)


def compared_rows(
    before: Sequence[Row], after: Sequence[Row], measure: float, air: float = 1.0
) -> list[Block]:
    """Make rows of value and verdict before and after calibration, side by side."""
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
    """Make the line of the five marks and their words."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for verdict, word in headings.LEGEND.items():
            draw_mark(canvas, x + 3.6, top - 6, 3.2, verdict)
            canvas.text(x + mm(3.8), top - 8.5, word, size=SMALL)
            x += mm(3.8) + width(word, SANS, SMALL) + mm(5)

    return Block(14.0, draw, 2.0)
