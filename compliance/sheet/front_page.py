"""Page 1: the outcome for the client, in plain words, and the signature boxes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from compliance.model import Verdict
from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.fonts import (
    BOLD,
    MONO,
    SANS,
    SERIF,
    ellipsize,
    face_with_glyphs,
    fit_middle,
    normalise,
    width,
    wrap,
)
from compliance.pictures.structure import Element, figure
from compliance.report.report import Report, Row, Tally
from compliance.report.words.en import headings, pictures
from compliance.report.words.en.remarks import FOLLOWING
from compliance.sheet.elements import (
    LEADING,
    MARK_INKS,
    Text,
    draw_mark,
    fact_blocks,
    list_item,
    mark_figure,
    next_page,
    paragraph,
    text_block,
    wrapped,
)
from compliance.sheet.pagination import Block, Grid, draw_stack, mm, stack_height

RAIL = mm(31)
"""Width of the left column that carries labels and marks."""

# ---------------------------------------------------------------- the deciding requirements

INDENT = RAIL + mm(4)
"""Left edge of a title, with room for the mark before it."""
GAP = mm(4)
LEAST = 0.43
"""Least share of the room for the titles, if the columns beside them leave it."""
WIDEST = 0.33
"""Largest share of the room for a column beside the title."""
ROW_LEADING = 1.3
MOST_LINES = 2


def _reasons(report: Report, most: int, measure: float, size: float) -> list[Block]:
    """Make the deciding requirements beside a label, at most `most`, and the count of the rest."""
    if not report.deciding:
        return []
    rows, rest = report.deciding[:most], report.deciding[most:]
    room = measure - INDENT
    edges = _edges(
        [row for row in rows if row.finding.verdict is not Verdict.NOT_ASSESSED], room, size
    )
    items = Element("L")
    first, *others = (_reason(row, items, edges, room, size) for row in rows)
    if rest:
        more = headings.more_rows(len(rest))
        below = next_page(Element("P"))
        others.append(
            text_block(
                size * 1.5,
                Text(more, size * 1.05, INDENT, size=size, ink=INK.QUIET, element=below),
            )
        )
    title = Element("H2", text=report.deciding_title)
    label = [
        Text(line, _row_base(at, size), 0.0, BOLD, size, element=title)
        for at, line in enumerate(wrap(report.deciding_title, BOLD, size, RAIL - mm(3)))
    ]

    def draw_labelled(canvas: Canvas, x: float, top: float) -> None:
        for line in label:
            line.draw(canvas, x, top)
        first.draw(canvas, x, top)

    height = max(first.height, size * ROW_LEADING * len(label))
    return [Block(height, draw_labelled, mm(4.2)), *others]


def _row_base(line: int, size: float) -> float:
    return size * (1.05 + ROW_LEADING * line)


def _cells(row: Row) -> tuple[tuple[str, str], ...]:
    """Return text and face of the cells beside a title: value, limits, probability."""
    return (row.value, BOLD), (row.limit, SANS), (row.probability, SANS)


def _edges(rows: Sequence[Row], room: float, size: float) -> list[tuple[float, float]]:
    """Return left edge and width of the columns, the title's first, as wide as their texts."""
    columns = zip(*(_cells(row) for row in rows), strict=True)
    natural = [max(width(text, face, size) for text, face in column) + 0.5 for column in columns]
    extents = [min(extent, WIDEST * room) if extent > 1 else 0.0 for extent in natural]
    rest = room - sum(extent + GAP for extent in extents if extent)
    widest_title = max((width(row.finding.title, SANS, size) for row in rows), default=0.0)
    edges = [(0.0, min(rest, max(widest_title + 0.5, LEAST * room)))]
    right = edges[0][1]
    for extent in extents:
        right += GAP if extent else 0.0
        edges.append((right, extent))
        right += extent
    return edges


def _reason(
    row: Row, items: Element, edges: Sequence[tuple[float, float]], room: float, size: float
) -> Block:
    """Make a deciding requirement: mark, title and cells beside it, and a note below."""
    if row.finding.verdict is Verdict.NOT_ASSESSED:
        cells, edges, note = [(row.finding.title, SANS)], [(0.0, room)], row.short
    else:
        cells, note = [(row.finding.title, SANS), *_cells(row)], row.least_sure
    lines = [
        (*line, at, start, face)
        for (text, face), (start, extent) in zip(cells, edges, strict=True)
        if text
        for at, line in enumerate(wrapped(text, face, size, extent, MOST_LINES))
    ]
    below = 1 + max(at for _, _, at, _, _ in lines)
    notes = wrapped(note, SANS, size, room, MOST_LINES) if note else []
    lines += [(*line, at, 0.0, SANS) for at, line in enumerate(notes, below)]
    body = list_item(items)
    texts = [
        Text(line, _row_base(at, size), INDENT + start, face, size, element=body, broken=broken)
        for line, broken, at, start, face in lines
    ]

    def draw(canvas: Canvas, x: float, top: float) -> None:
        left, middle = x + RAIL + 4, top - size * 0.72
        with canvas.tagged(mark_figure(left, middle, 3.4, row.word, body)):
            draw_mark(canvas, left, middle, 3.4, row.finding.verdict)
        for text in texts:
            text.draw(canvas, x, top)

    return Block(size * (ROW_LEADING * (below + len(notes)) + 0.2), draw, space=0.6)


# ---------------------------------------------------------------- head, foot, signatures

Box = tuple[float, float, float, float]

SIGNATURE = mm(23)
"""Height of a signature box."""
FRAME = 8.4
"""Type size of head and foot."""


def draw_frame(
    canvas: Canvas, grid: Grid, report: Report, number: int, total: int, signed: bool
) -> None:
    """Draw head and foot: kind of document, number, page x of y, NOT SIGNED if it is not."""
    with canvas.silent("Header"):
        _draw_head(canvas, grid, report, number, signed)
    with canvas.silent("Footer"):
        _draw_foot(canvas, grid, report, number, total)


def _draw_head(canvas: Canvas, grid: Grid, report: Report, number: int, signed: bool) -> None:
    right = grid.width - grid.right
    head = grid.height - mm(14)
    canvas.text(grid.left, head, headings.SHEET, face=BOLD, size=FRAME)
    facility = report.facility
    first = facility.value if facility.known else ""
    running = report.running if number > 1 else first
    start = grid.left + width(headings.SHEET, BOLD, FRAME) + mm(4)
    shown = ellipsize(running, SANS, FRAME, grid.measure * 0.5)
    canvas.text(start, head, shown, size=FRAME, ink=INK.QUIET)
    if not signed:
        extent = width(headings.NOT_SIGNED, BOLD, FRAME) + 9 * 0.8
        canvas.box(right - extent - 10, head - 3.2, extent + 10, 13, fill=INK.TEXT)
        canvas.text(
            right - 5,
            head,
            headings.NOT_SIGNED,
            face=BOLD,
            size=FRAME,
            ink=INK.PAPER,
            align="right",
            spacing=0.8,
        )


def _draw_foot(canvas: Canvas, grid: Grid, report: Report, number: int, total: int) -> None:
    right = grid.width - grid.right
    foot = mm(11)
    canvas.line(grid.left, foot + 11, right, foot + 11)
    room = grid.measure - mm(30)
    face = face_with_glyphs(report.number, MONO)
    size = max(5.4, min(7.4, 7.4 * room / width(normalise(report.number), face, 7.4)))
    label = fit_middle(report.number, face, size, room)
    canvas.text(grid.left, foot, label, face=face, size=size)
    canvas.text(right, foot, headings.page_of(number, total), size=8.0, align="right")


def _draw_boxes(canvas: Canvas, grid: Grid, report: Report, signed: bool) -> dict[str, Box]:
    """Draw two boxes at the foot of the page, with captions above."""
    bottom = grid.bottom + mm(1)
    facility = report.facility
    captions = (
        ("FacilitySignature", facility.label, facility.value),
        ("Countersignature", headings.COUNTERSIGNATURE, ""),
    )
    boxes: dict[str, Box] = {}
    for index, (name, caption, signer) in enumerate(captions):
        left = grid.left + index * grid.second
        canvas.box(left, bottom, grid.half, SIGNATURE, ink=INK.QUIET, weight=0.6)
        caption_width = width(caption, BOLD, 8) + mm(2.5)
        y = bottom + SIGNATURE + 4
        with canvas.tagged(Element("P")):
            canvas.text(left, y, caption, face=BOLD, size=8)
            shown = ellipsize(signer, SANS, 8, grid.half - caption_width)
            canvas.text(left + caption_width, y, shown, size=8, ink=INK.QUIET)
        if signed:
            with canvas.tagged(Element("Form", text=name)):
                pass
        elif index == 0:
            with canvas.tagged(Element("P")):
                canvas.text(
                    left + grid.half / 2,
                    bottom + SIGNATURE / 2 - 5,
                    headings.NOT_SIGNED,
                    face=BOLD,
                    size=15,
                    ink=INK.FAINT,
                    align="centre",
                    spacing=2.0,
                )
        boxes[name] = (left, bottom, left + grid.half, bottom + SIGNATURE)
    return boxes


# ---------------------------------------------------------------- the whole page


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
MOST_ACCEPTED = 6
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
    return _draw_boxes(canvas, grid, report, signed)


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
        heights = [len(wrap(text, SANS, 8.0 * ease.scale, room)) for text in report.remarks]
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
        yield from _missed(tally, measure, 8.0 * scale, lines)
    yield from _reasons(report, most, measure, 8.4 * scale)
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
    yield _listed(headings.NOT_SAID, report.not_said, measure, scale, lines + 2)


def _title(report: Report, measure: float, ease: Ease) -> Iterable[Block]:
    scale = ease.scale
    face = face_with_glyphs(report.title, SERIF)
    size = 23 * scale
    titles = wrapped(report.title, face, size, measure)
    if len(titles) > 2:
        size = 15 * scale
        titles = wrapped(report.title, face, size, measure, 2)
    title = Element("H1", text=normalise(report.title))
    for line, broken in titles:
        text = Text(line, size, 0.0, face, size, element=title, broken=broken)
        yield text_block(size * 1.2, text)
    small = 9.6 * scale
    below = Element("P")
    lines = wrapped(report.subtitle, SANS, small, measure, ease.lines)
    for index, (line, broken) in enumerate(lines):
        space = 3.0 if index == 0 else 0.0
        text = Text(line, small, size=small, element=below, broken=broken)
        yield text_block(small * 1.38, text, space=space)


def _verdict(report: Report, measure: float, ease: Ease) -> Block:
    """Make the mark, the word and the sentence between two rules."""
    scale, lines, _ = ease
    room = measure - RAIL
    size = 27 * scale
    small = 9.8 * scale
    parts = [(report.now.sentence, SANS, lines + 1), (report.validity, BOLD, lines)]
    if report.heading:
        parts.insert(0, (report.heading, BOLD, 2))
    sentences = [
        (*line, face, element)
        for text, face, most in parts
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
    size = 8.4 * ease.scale
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
    size, label_size = 8.0 * scale, 8.4 * scale
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
