"""Page 1: the outcome for the client, in plain words, and the signature boxes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.fonts import (
    BOLD,
    SANS,
    SERIF,
    ellipsize,
    face_with_glyphs,
    normalise,
    width,
    wrap,
)
from compliance.pictures.structure import Element, figure
from compliance.report.report import Report, Tally
from compliance.report.words.en import headings, pictures
from compliance.report.words.en.remarks import FOLLOWING
from compliance.sheet.elements import (
    LEADING,
    LEAST,
    MARK_INKS,
    Text,
    draw_mark,
    fact_blocks,
    legend,
    paragraph,
    text_block,
    wrapped,
)
from compliance.sheet.frame import SIGNATURE, Box, draw_boxes
from compliance.sheet.nearest import deciding_rows
from compliance.sheet.pagination import Block, Grid, draw_stack, mm, stack_height

RAIL = mm(31)
"""Width of the left column that carries labels and marks."""


class Ease(NamedTuple):
    """A setting of page 1."""

    scale: float
    """Scale of the type."""
    lines: int
    """Most lines of a fact."""
    most: int
    """Most rows and remarks."""


EASES = (
    Ease(1.08, 3, 6),
    Ease(1.04, 3, 6),
    Ease(1.0, 3, 6),
    Ease(0.95, 3, 5),
    Ease(0.92, 2, 4),
    Ease(0.88, 2, 3),
    Ease(0.85, 1, 2),
    Ease(0.8, 1, 1),
)
"""Settings, tried in this order."""
MOST_ACCEPTED = 3
"""Accepted values that page 1 lists at least, if there are as many; every row tells its own."""
PARTED = mm(4)
"""Blocks with at least this space above share the free space of the page."""


def draw_front(canvas: Canvas, grid: Grid, report: Report, *, signed: bool) -> dict[str, Box]:
    """Draw page 1 below its head; return the signature boxes in points."""
    blocks, _ = fit_front(report, grid)
    spare = front_depth(grid) - stack_height(blocks)
    parted = sum(block.space >= PARTED for block in blocks)
    extra = min(mm(9), max(0.0, spare) / max(1, parted))
    spread = [
        replace(block, space=block.space + extra) if block.space >= PARTED else block
        for block in blocks
    ]
    draw_stack(canvas, grid.left, grid.height - grid.top, spread)
    return draw_boxes(canvas, grid, report, signed)


def shows_all_remarks(report: Report, grid: Grid) -> bool:
    """Return whether page 1 has room for every remark in full."""
    same = set(report.remarks) == set(report.now.remarks)
    return same and fit_front(report, grid)[1]


def front_depth(grid: Grid) -> float:
    """Return the height of page 1 above the signatures."""
    return grid.depth - SIGNATURE - mm(9)


def fit_front(report: Report, grid: Grid) -> tuple[list[Block], bool]:
    """Return the blocks in the largest type that fits, and whether every remark is complete."""
    blocks: list[Block] = []
    whole = False
    room = grid.measure - RAIL - mm(4)
    for ease in EASES:
        blocks = list(_front_blocks(report, grid, ease))
        heights = [
            len(wrap(text, SANS, max(LEAST, 8.0 * ease.scale), room)) for text in report.remarks
        ]
        whole = len(heights) <= ease.most and max(heights, default=0) <= ease.lines + 1
        if stack_height(blocks) <= front_depth(grid):
            break
    return blocks, whole


def _front_blocks(report: Report, grid: Grid, ease: Ease) -> Iterable[Block]:
    """Make the blocks of page 1 above the signatures."""
    scale, lines, most = ease
    measure = grid.measure
    yield from _title(report, measure, ease)
    yield _verdict(report, measure, ease)
    for index, tally in enumerate(report.tallies):
        yield _tally(tally, measure, mm(4.2) if index == 0 else 1.0)
        yield from _missed(tally, measure, max(LEAST, 8.0 * scale), lines)
    yield _legend(report)
    yield from deciding_rows(report, most, measure, max(LEAST, 8.4 * scale))
    if report.accepted:
        first = report.accepted[: MOST_ACCEPTED + most]
        more = len(report.accepted) - len(first)
        rest = (headings.more_remarks(more),) if more else ()
        yield _listed(headings.ACCEPTED, (*first, *rest), measure, scale, lines)
    yield _listed(headings.DECISION_AND_RISK, report.risk, measure, scale, 9, bullet=False)
    if report.remarks:
        shown = report.remarks[: max(most, report.serious)]
        more = len(report.remarks) - len(shown)
        rest = (headings.more_remarks(more),) if more else ()
        yield _listed(headings.NOTED, (*shown, *rest), measure, scale, lines + 1)
    yield _facts(report, grid, ease)
    yield _listed(headings.SCOPE, report.scope, measure, scale, lines + 2)


def _title(report: Report, measure: float, ease: Ease) -> Iterable[Block]:
    """Make what was judged, for which deliverable, and with which rule."""
    scale = ease.scale
    title = Element("H1", text=normalise(report.title))
    yield from _large(report.title, 21 * scale, measure, title)
    purpose = Element("P")
    yield from _large(report.purpose, 14.5 * scale, measure, purpose)
    small = 9.0 * scale
    below = Element("P")
    lines = wrapped(report.subtitle, SANS, small, measure, ease.lines)
    for index, (line, broken) in enumerate(lines):
        space = 3.0 if index == 0 else 0.0
        text = Text(line, small, size=small, element=below, broken=broken)
        yield text_block(small * 1.38, text, space=space)


def _large(words: str, size: float, measure: float, element: Element) -> Iterable[Block]:
    """Make up to two lines of large type, smaller if more would be needed."""
    face = face_with_glyphs(words, SERIF)
    lines = wrapped(words, face, size, measure)
    if len(lines) > 2:
        size *= 0.65
        lines = wrapped(words, face, size, measure, 2)
    for line, broken in lines:
        text = Text(line, size, 0.0, face, size, element=element, broken=broken)
        yield text_block(size * 1.24, text)


def _legend(report: Report) -> Block:
    """Make the legend of the marks above it."""
    marks = {mark for tally in report.tallies for mark in tally.marks}
    return legend(marks, RAIL)


def _verdict(report: Report, measure: float, ease: Ease) -> Block:
    """Make the mark, the word and the sentence between two rules."""
    scale, lines, _ = ease
    room = measure - RAIL
    size = 27 * scale
    small = 9.8 * scale
    parts = [
        (report.heading, BOLD, 2),
        (report.untraceable, BOLD, 2),
        (report.now.sentence, SANS, lines + 1),
        (report.house, BOLD, lines + 2),
        (report.validity, BOLD, lines),
    ]
    sentences = [
        (*line, face, element)
        for text, face, most in parts
        if text
        for element in [Element("P")]
        for line in wrapped(text, face, small, room, most)
    ]
    padding = mm(5) * scale
    height = 2 * padding + size * 0.95 + 5 + small * 1.4 * len(sentences)
    word = ellipsize(report.now.headline, SERIF, size, room)
    title = Element("H2", text=report.now.headline)
    radius = mm(9.2) * scale

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.line(x, top, x + measure, top, ink=INK.TEXT, weight=1.4)
        draw_mark(canvas, x + radius + 1, top - height / 2, radius, report.now.mark)
        y = top - padding - size * 0.78
        with canvas.tagged(title):
            canvas.text(x + RAIL, y, word, face=SERIF, size=size, ink=MARK_INKS[report.now.mark])
        y -= 7 + small * 1.2
        for line, broken, face, element in sentences:
            with canvas.tagged(element):
                canvas.text(x + RAIL, y, line, face=face, size=small, broken=broken)
            y -= small * 1.4
        canvas.line(x, top - height, x + measure, top - height, ink=INK.TEXT)

    return Block(height, draw, space=mm(5))


def _tally(tally: Tally, measure: float, space: float) -> Block:
    """Make one mark per requirement of a level, in the rule's order, and the count in words."""
    step, leading = 11.5, 13.5
    words = width(tally.words, SANS, 8.4) + mm(4)
    per_line = max(8, int((measure - RAIL - words) / step))
    height = leading * math.ceil(len(tally.marks) / per_line)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        text = Element("P")
        corners = x + RAIL, top - height, x + measure - words, top
        with canvas.tagged(text):
            canvas.text(x, top - 9.3, tally.label, face=BOLD, size=8.4)
        with canvas.tagged(figure(pictures.marks(tally.marks), corners, text)):
            for index, mark in enumerate(tally.marks):
                line, column = divmod(index, per_line)
                left = x + RAIL + 4 + column * step
                draw_mark(canvas, left, top - 6.4 - line * leading, 3.9, mark)
        with canvas.tagged(text):
            canvas.text(x + measure, top - 9.3, tally.words, size=8.4, align="right")

    return Block(height, draw, space=space)


def _missed(tally: Tally, measure: float, size: float, lines: int) -> Iterable[Block]:
    """Make the list of requirements missed that do not decide, below the marks."""
    if tally.missed:
        element = Element("P")
        for line, broken in wrapped(tally.missed, SANS, size, measure - RAIL, lines):
            text = Text(line, size, RAIL, size=size, element=element, broken=broken)
            yield text_block(size * LEADING, text)


def _facts(report: Report, grid: Grid, ease: Ease) -> Block:
    """Make two columns: the rule and the client, the measurement and the meter."""
    size = max(LEAST, 8.4 * ease.scale)
    columns = [
        list(
            fact_blocks(facts, grid.half, label_width=mm(23), size=size, space=2.4, most=ease.lines)
        )
        for facts in (report.asked, report.measured)
    ]
    padding = mm(3.2)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for index, column in enumerate(columns):
            left = x + index * grid.second
            canvas.line(left, top, left + grid.half, top, ink=INK.TEXT)
            draw_stack(canvas, left, top - padding, column)

    return Block(max(map(stack_height, columns)) + padding, draw, space=mm(5))


def _listed(
    label: str,
    texts: Sequence[str],
    measure: float,
    scale: float,
    lines: int,
    *,
    bullet: bool = True,
) -> Block:
    """Make a label in the rail with short paragraphs beside it, below a rule."""
    size, label_size = max(LEAST, 8.0 * scale), max(LEAST, 8.4 * scale)
    room = measure - RAIL
    items = Element("L") if bullet else None
    body = [
        block
        for text in texts
        for block in paragraph(
            " ".join(wrap(text, SANS, size, room - mm(4), lines)),
            room,
            size=size,
            space=1.4,
            items=items,
            onward=FOLLOWING in text,
        )
    ]
    padding = mm(2.4)
    title = Element("H2", text=label)
    labels = [
        Text(
            line,
            padding + label_size * (0.95 + LEADING * index),
            0.0,
            BOLD,
            label_size,
            element=title,
        )
        for index, line in enumerate(wrap(label, BOLD, label_size, RAIL - mm(3)))
    ]
    least = len(labels) * label_size * LEADING

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.line(x, top, x + measure, top)
        for line in labels:
            line.draw(canvas, x, top)
        draw_stack(canvas, x + RAIL, top - padding, body)

    return Block(padding + max(least, stack_height(body)), draw, space=mm(4.6))
