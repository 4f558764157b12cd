"""The elements that the sheet is set from: verdict marks, headings, facts, rows.

Filled disc: pass. Disc filled on the left: conditional pass; on the right:
conditional fail. Barred ring: fail. Dotted ring: not assessed, undecided.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from compliance.model import Level, Verdict
from compliance.pictures.canvas import INK, Ink, Pen, ellipsize, mm, wrap
from compliance.pictures.fonts import BOLD, MONO, SANS, SERIF, width
from compliance.report.numbers import NOT_STATED
from compliance.report.verdict import INKS
from compliance.sheet.pagination import Block
from compliance.sheet.provenance import Fact
from compliance.sheet.requirement_rows import Row


def mark_ink(verdict: Verdict) -> Ink:
    """The ink of a verdict's mark and word."""
    ink: Ink = getattr(INK, INKS[verdict].upper())
    return ink


def draw_mark(pen: Pen, x: float, y: float, radius: float, verdict: Verdict) -> None:
    """The mark of `verdict` round (`x`, `y`)."""
    ink = mark_ink(verdict)
    weight = max(0.7, radius * 0.22)
    ring = radius - weight / 2
    if verdict is Verdict.PASS:
        pen.disc(x, y, radius, fill=ink)
    elif verdict is Verdict.NOT_ASSESSED:
        _dotted(pen, x, y, ring, weight, ink)
    elif verdict is Verdict.FAIL:
        pen.disc(x, y, ring, ink=ink, weight=weight)
        reach = ring * math.sqrt(0.5)
        pen.line(x - reach, y - reach, x + reach, y + reach, ink=ink, weight=weight)
    else:
        left = verdict is Verdict.CONDITIONAL_PASS
        pen.disc(x, y, ring, ink=ink, weight=weight)
        _half(pen, x, y, ring, left, ink)


def _dotted(pen: Pen, x: float, y: float, ring: float, weight: float, ink: Ink) -> None:
    count = 8 if ring < 6 else 16
    dot = weight * (0.62 if ring < 6 else 0.55)
    for step in range(count):
        angle = 2 * math.pi * (step + 0.5) / count
        pen.disc(x + ring * math.cos(angle), y + ring * math.sin(angle), dot, fill=ink)


def _half(pen: Pen, x: float, y: float, ring: float, left: bool, ink: Ink) -> None:
    start = math.pi / 2 if left else -math.pi / 2
    arc = [
        (
            x + ring * math.cos(start + math.pi * step / 24),
            y + ring * math.sin(start + math.pi * step / 24),
        )
        for step in range(25)
    ]
    pen.path(arc, fill=ink, close=True)


LEADING = 1.32
SIZE = 8.2
SMALL = 7.2
MOST_LINES = 40


def heading(text: str, measure: float, *, space: float = mm(9)) -> Block:
    """A section's heading over a rule."""

    def draw(pen: Pen, x: float, top: float) -> None:
        pen.line(x, top, x + measure, top, ink=INK.TEXT, weight=1.1)
        pen.text(x, top - 18, ellipsize(text, SERIF, 13.5, measure), face=SERIF, size=13.5)

    return Block(mm(10), draw, space, keep=True)


def subheading(text: str, measure: float, *, space: float = mm(4)) -> Block:
    """A heading inside a section."""

    def draw(pen: Pen, x: float, top: float) -> None:
        pen.text(x, top - 8, ellipsize(text, BOLD, 8.6, measure), face=BOLD, size=8.6)

    return Block(13.0, draw, space, keep=True)


def paragraph(
    text: str,
    measure: float,
    *,
    size: float = SIZE,
    ink: Ink = INK.TEXT,
    face: str = SANS,
    space: float = 3.0,
    bullet: bool = False,
) -> list[Block]:
    """A paragraph, one block per line; its first two and last two lines stay together."""
    indent = mm(3.2) if bullet else 0.0
    lines = wrap(text, face, size, measure - indent)
    height = size * LEADING
    blocks = []
    for index, line in enumerate(lines):
        marked = bullet and index == 0

        def draw(pen: Pen, x: float, top: float, line: str = line, marked: bool = marked) -> None:
            if marked:
                pen.text(x, top - size, "–", face=face, size=size, ink=INK.FAINT)
            pen.text(x + indent, top - size, line, face=face, size=size, ink=ink)

        keep = len(lines) > 1 and index in (0, len(lines) - 2)
        blocks.append(Block(height, draw, space if index == 0 else 0.0, keep=keep))
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
    """A label with its value beside it, one block per line."""
    face = MONO if fact.mono else SANS
    value_size = size - 1.3 if fact.mono else size
    labels = wrap(fact.label, SANS, size, label_width - mm(2))
    values = wrap(fact.value, face, value_size, measure - label_width)
    if most is not None and len(values) > most:
        tail = " ".join(values[most - 1 :])
        values = [*values[: most - 1], ellipsize(tail, face, value_size, measure - label_width)]
    if most is not None:
        labels = labels[:most]
    ink = INK.FAINT if fact.value == NOT_STATED else INK.TEXT
    count = max(len(labels), len(values))
    blocks = []
    for index in range(count):
        label = labels[index] if index < len(labels) else ""
        value = values[index] if index < len(values) else ""

        def draw(pen: Pen, x: float, top: float, label: str = label, value: str = value) -> None:
            pen.text(x, top - size, label, size=size, ink=INK.QUIET)
            pen.text(x + label_width, top - size, value, face=face, size=value_size, ink=ink)

        keep = index < count - 1 if count <= 6 else index in (0, count - 2)
        blocks.append(Block(size * LEADING, draw, space if index == 0 else 0.0, keep=keep))
    return blocks


# ---------------------------------------------------------------- requirements

COLUMNS = (0.0, 0.145, 0.43, 0.62, 0.815)
"""Left edges, as shares of the measure: verdict, requirement, value, limits, basis."""
HEADS = ("Verdict", "Requirement", "Value", "Limits", "Clause and basis")
PAD = mm(3)


def _edges(measure: float) -> list[tuple[float, float]]:
    starts = [share * measure for share in COLUMNS]
    ends = [*(start - PAD for start in starts[1:]), measure]
    return [(start, end - start) for start, end in zip(starts, ends, strict=True)]


def requirement_head(measure: float) -> Block:
    """The table's head, set again on each page."""

    def draw(pen: Pen, x: float, top: float) -> None:
        for (start, _), text in zip(_edges(measure), HEADS, strict=True):
            pen.text(x + start, top - 9, text, size=SMALL, ink=INK.QUIET)
        pen.line(x, top - 14, x + measure, top - 14, ink=INK.TEXT, weight=0.7)

    return Block(15.0, draw, keep=True)


def level_head(level: Level, count: int, measure: float, again: Block) -> Block:
    """The line above the rows of one level."""
    told = {
        Level.SHALL: "Shall: these decide the verdict",
        Level.SHOULD: "Should: graded, without bearing on the verdict",
    }[level]

    def draw(pen: Pen, x: float, top: float) -> None:
        pen.box(x, top - 15, measure, 15, fill=INK.WASH)
        pen.text(x + 4, top - 10.5, told, face=BOLD, size=SMALL + 0.4)
        pen.text(x + measure - 4, top - 10.5, str(count), size=SMALL + 0.4, align="right")

    return Block(16.0, draw, keep=True, again=again)


Cell = list[tuple[str, str, float, Ink]]
"""Lines of a cell: text, face, size, ink."""


def _lines(text: str, face: str, size: float, measure: float, ink: Ink = INK.TEXT) -> Cell:
    lines = wrap(text, face, size, measure)
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 1], "…"]
    return [(line, face, size, ink) for line in lines]


def _stack(parts: Iterable[Cell]) -> Cell:
    cell = [line for part in parts for line in part]
    if len(cell) > MOST_LINES:
        return [*cell[: MOST_LINES - 1], ("…", SANS, SMALL, INK.QUIET)]
    return cell


def requirement_row(row: Row, measure: float, again: Block, air: float = 1.0) -> Block:
    """One requirement: mark and word, title, value, limits, clause and basis."""
    edges = _edges(measure)
    indent = mm(4.6)
    wide = edges[4][0] - PAD - edges[1][0]
    cells = [
        _lines(row.word, BOLD, SIZE, edges[0][1] - indent, mark_ink(row.verdict)),
        _stack(
            (
                _lines(row.title, BOLD, SIZE, edges[1][1]),
                _lines(row.about, SANS, SMALL, edges[1][1], INK.QUIET),
            )
        ),
        _stack(
            (
                _lines(row.value, BOLD, SIZE, edges[2][1]),
                *(_lines(note, SANS, SMALL, edges[2][1], INK.QUIET) for note in row.value_notes),
            )
        ),
        _stack(_lines(line, SANS, SIZE, edges[3][1]) for line in row.limits),
        _stack(
            (
                *((_lines(row.clause, SANS, SMALL, edges[4][1]),) if row.clause else ()),
                _lines(row.basis, SANS, SMALL, edges[4][1], INK.QUIET),
            )
        ),
    ]
    details = _stack(_lines(detail, SANS, SMALL, wide) for detail in row.details)
    above = 4.0 * air
    body = max(_depth(cell) for cell in cells)
    gap = 1.5 if details else 0.0
    height = above + body + gap + _depth(details) + above

    def draw(pen: Pen, x: float, top: float) -> None:
        first = top - above
        draw_mark(pen, x + 4.6, first - SIZE * 0.64, 3.6, row.verdict)
        for index, (cell, (start, _)) in enumerate(zip(cells, edges, strict=True)):
            _draw_cell(pen, x + start + (indent if index == 0 else 0.0), first, cell)
        _draw_cell(pen, x + edges[1][0], first - body - gap, details)
        pen.line(x, top - height, x + measure, top - height)

    return Block(height, draw, again=again)


def _depth(cell: Sequence[tuple[str, str, float, Ink]]) -> float:
    return sum(size * LEADING for _, _, size, _ in cell)


def _draw_cell(pen: Pen, x: float, top: float, cell: Cell) -> None:
    for text, face, size, ink in cell:
        pen.text(x, top - size * 0.95, text, face=face, size=size, ink=ink)
        top -= size * LEADING


def compared_rows(
    before: Sequence[Row], after: Sequence[Row], measure: float, air: float = 1.0
) -> list[Block]:
    """Each requirement's value and verdict before calibration and after, side by side."""
    starts = (0.0, 0.46 * measure, 0.73 * measure)
    wide = (starts[1] - PAD, starts[2] - starts[1] - PAD, measure - starts[2])

    def head(pen: Pen, x: float, top: float) -> None:
        told = ("Requirement", "Before calibration", "After calibration")
        for start, text in zip(starts, told, strict=True):
            pen.text(x + start, top - 9, text, size=SMALL, ink=INK.QUIET)
        pen.line(x, top - 14, x + measure, top - 14, ink=INK.TEXT, weight=0.7)

    header = Block(15.0, head, mm(4), keep=True)
    blocks = [header]
    known = {row.id: row for row in before}
    for row in after:
        blocks.append(replace(_compared(row, known.get(row.id), starts, wide, air), again=header))
    return blocks


def _compared(
    row: Row,
    earlier: Row | None,
    starts: tuple[float, float, float],
    wide: tuple[float, float, float],
    air: float,
) -> Block:
    above = 3.0 * air
    line = SIZE * LEADING
    title = wrap(row.title, SANS, SIZE, wide[0])[:4]
    height = 2 * above + line * len(title)
    measure = starts[2] + wide[2]

    def side(pen: Pen, x: float, base: float, shown: Row | None, room: float) -> None:
        if shown is None:
            pen.text(x, base, "–", size=SIZE, ink=INK.FAINT)
            return
        draw_mark(pen, x + 3.4, base + SIZE * 0.32, 3.0, shown.verdict)
        said = shown.word if shown.verdict is Verdict.NOT_ASSESSED else shown.value
        pen.text(x + mm(3.8), base, ellipsize(said, SANS, SIZE, room - mm(3.8)), size=SIZE)

    def draw(pen: Pen, x: float, top: float) -> None:
        base = top - above - SIZE * 0.95
        for index, text in enumerate(title):
            pen.text(x, base - index * line, text, size=SIZE)
        side(pen, x + starts[1], base, earlier, wide[1])
        side(pen, x + starts[2], base, row, wide[2])
        pen.line(x, top - height, x + measure, top - height)

    return Block(height, draw)


def legend(measure: float) -> Block:
    """The five marks and their words."""
    told = (
        (Verdict.PASS, "pass"),
        (Verdict.CONDITIONAL_PASS, "conditional pass"),
        (Verdict.CONDITIONAL_FAIL, "conditional fail"),
        (Verdict.FAIL, "fail"),
        (Verdict.NOT_ASSESSED, "not assessed, undecided"),
    )

    def draw(pen: Pen, x: float, top: float) -> None:
        for verdict, word in told:
            draw_mark(pen, x + 3.6, top - 6, 3.2, verdict)
            pen.text(x + mm(3.8), top - 8.5, word, size=SMALL)
            x += mm(3.8) + width(word, SANS, SMALL) + mm(5)

    return Block(14.0, draw, 2.0)
