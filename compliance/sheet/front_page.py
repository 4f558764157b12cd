"""Page 1: what the client wants to know, in plain words, and where it is signed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from compliance.model import Verdict
from compliance.pictures.canvas import INK, Grid, Pen, ellipsize, fit_middle, mm, wrap
from compliance.pictures.fonts import BOLD, MONO, SANS, SERIF, face_with_glyphs, normalise, width
from compliance.report.numbers import NOT_STATED
from compliance.sheet.content import Content, Front, Tally
from compliance.sheet.elements import LEADING, draw_mark, fact_blocks, mark_ink, paragraph
from compliance.sheet.pagination import Block
from compliance.sheet.provenance import Fact
from compliance.sheet.requirement_rows import Row

INDENT = mm(4)
"""Room for the mark before a title."""
GAP = mm(4)
LEAST = 0.43
"""Least of the room for the titles, where the columns beside them leave it."""
WIDEST = 0.33
"""Most of the room that a column beside the title may take."""
ROW_LEADING = 1.3
MOST_LINES = 2


def wrap_to(text: str, face: str, size: float, measure: float, most: int) -> list[str]:
    """At most `most` lines, the last cut with an ellipsis."""
    lines = wrap(text, face, size, measure)
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], ellipsize(" ".join(lines[most - 1 :]), face, size, measure)]


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
        lines = [(0.0, 0, line, SANS) for line in wrap_to(row.title, SANS, size, room, MOST_LINES)]
        below = len(lines)
        lines = [(0.0, at, line, SANS) for at, (_, _, line, _) in enumerate(lines)]
        shown = wrap_to(row.short, SANS, size, room, MOST_LINES)
        lines += [(0.0, below + at, line, SANS) for at, line in enumerate(shown)]
    else:
        cells = ((row.title, SANS), *_cells(row))
        lines = [
            (start, at, line, face)
            for (text, face), (start, extent) in zip(cells, edges, strict=True)
            if text
            for at, line in enumerate(wrap_to(text, face, size, extent, MOST_LINES))
        ]
        below = 1 + max(at for _, at, _, _ in lines)
        shown = wrap_to(row.least_sure, SANS, size, room, MOST_LINES) if row.least_sure else []
        lines += [(0.0, below + at, line, SANS) for at, line in enumerate(shown)]
    depth = 1 + max(at for _, at, _, _ in lines)

    def draw(pen: Pen, x: float, top: float) -> None:
        draw_mark(pen, x + rail + 4, top - size * 0.72, 3.4, row.verdict)
        for start, at, text, face in lines:
            y = top - size * (1.05 + ROW_LEADING * at)
            pen.text(x + rail + INDENT + start, y, text, face=face, size=size)

    return Block(size * (ROW_LEADING * depth + 0.2), draw, space=0.6)


def _labelled(block: Block, label: str, rail: float, size: float) -> Block:
    lines = wrap(label, BOLD, size, rail - mm(3))

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, line in enumerate(lines):
            pen.text(x, top - size * (1.05 + ROW_LEADING * index), line, face=BOLD, size=size)
        block.draw(pen, x, top)

    return replace(block, height=max(block.height, size * ROW_LEADING * len(lines)), draw=draw)


def _more(text: str, rail: float, size: float) -> Block:
    def draw(pen: Pen, x: float, top: float) -> None:
        pen.text(x + rail + INDENT, top - size * 1.05, text, size=size, ink=INK.QUIET)

    return Block(size * 1.5, draw)


Box = tuple[float, float, float, float]

SIGNATURE = mm(23)
"""Height of a signature box."""


def draw_frame(
    pen: Pen, grid: Grid, content: Content, number: int, total: int, signed: bool
) -> None:
    """Head and foot: what it is, its number, page x of y, NOT SIGNED where it is not."""
    right = grid.width - grid.right
    head = grid.height - mm(14)
    pen.text(grid.left, head, "Compliance sheet", face=BOLD, size=8.4)
    if number > 1:
        start = grid.left + width("Compliance sheet", BOLD, 8.4) + mm(4)
        room = grid.measure * 0.5
        pen.text(start, head, ellipsize(content.running, SANS, 8.4, room), size=8.4, ink=INK.QUIET)
    else:
        start = grid.left + width("Compliance sheet", BOLD, 8.4) + mm(4)
        room = grid.measure * 0.5
        shown = "" if content.front.facility == NOT_STATED else content.front.facility
        pen.text(start, head, ellipsize(shown, SANS, 8.4, room), size=8.4, ink=INK.QUIET)
    if not signed:
        _not_signed(pen, right, head)
    foot = mm(11)
    pen.line(grid.left, foot + 11, right, foot + 11, ink=INK.HAIR)
    room = grid.measure - mm(30)
    face = face_with_glyphs(content.number, MONO)
    size = max(5.4, min(7.4, 7.4 * room / width(normalise(content.number), face, 7.4)))
    label = fit_middle(content.number, face, size, room)
    pen.text(grid.left, foot, label, face=face, size=size)
    pen.text(right, foot, f"Page {number} of {total}", size=8.0, align="right")


def _not_signed(pen: Pen, right: float, base: float) -> None:
    extent = width("NOT SIGNED", BOLD, 8.4) + 9 * 0.8
    pen.box(right - extent - 10, base - 3.2, extent + 10, 13, fill=INK.TEXT)
    pen.text(
        right - 5,
        base,
        "NOT SIGNED",
        face=BOLD,
        size=8.4,
        ink=INK.PAPER,
        align="right",
        spacing=0.8,
    )


def draw_boxes(pen: Pen, grid: Grid, front: Front, signed: bool) -> dict[str, Box]:
    """Two boxes at the foot of the page, captions above."""
    bottom = grid.bottom + mm(1)
    told = (
        ("FacilitySignature", "For the facility", front.facility),
        ("Countersignature", "Countersignature", ""),
    )
    boxes: dict[str, Box] = {}
    for index, (name, caption, who) in enumerate(told):
        left = grid.left + index * (grid.half + grid.gutter)
        pen.box(left, bottom, grid.half, SIGNATURE, ink=INK.QUIET, weight=0.6)
        caption_width = width(caption, BOLD, 8) + mm(2.5)
        y = bottom + SIGNATURE + 4
        pen.text(left, y, caption, face=BOLD, size=8)
        shown = ellipsize(who, SANS, 8, grid.half - caption_width)
        pen.text(left + caption_width, y, shown, size=8, ink=INK.QUIET)
        if not signed and index == 0:
            middle = bottom + SIGNATURE / 2 - 5
            pen.text(
                left + grid.half / 2,
                middle,
                "NOT SIGNED",
                face=BOLD,
                size=15,
                ink=INK.FAINT,
                align="centre",
                spacing=2.0,
            )
        boxes[name] = (left, bottom, left + grid.half, bottom + SIGNATURE)
    return boxes


RAIL = mm(31)
"""Width of the left column that carries labels and marks."""
TIGHTNESS = (
    (1.08, 3, 6),
    (1.04, 3, 6),
    (1.0, 3, 6),
    (0.95, 3, 5),
    (0.92, 2, 4),
    (0.88, 2, 3),
    (0.85, 1, 2),
    (0.8, 1, 1),
)
"""Scale of type, most lines of a fact, most rows and remarks; tried in order."""


def draw_front(pen: Pen, grid: Grid, content: Content, *, signed: bool) -> dict[str, Box]:
    """Draw page 1 below its head; returns the signature boxes in points."""
    blocks, _ = _fitting(content.front, grid)
    spare = _room(grid) - _extent(blocks)
    airy = [block for block in blocks if block.space >= mm(4)]
    extra = min(mm(9), max(0.0, spare) / max(1, len(airy)))
    top = grid.height - grid.top
    for index, block in enumerate(blocks):
        if index:
            top -= block.space + (extra if block.space >= mm(4) else 0.0)
        block.draw(pen, grid.left, top)
        top -= block.height
    return draw_boxes(pen, grid, content.front, signed)


def shows_all_remarks(content: Content, grid: Grid) -> bool:
    """Whether page 1 has room for every remark in full."""
    told = set(content.front.remarks) == set(content.now.remarks)
    return told and _fitting(content.front, grid)[1]


def _room(grid: Grid) -> float:
    return grid.depth - SIGNATURE - mm(9)


def _fitting(front: Front, grid: Grid) -> tuple[list[Block], bool]:
    """The blocks in the largest type that fits, and whether every remark is whole."""
    blocks: list[Block] = []
    whole = False
    for scale, lines, most in TIGHTNESS:
        blocks = front_blocks(front, grid, scale, lines, most)
        room = grid.measure - RAIL - mm(4)
        heights = [len(wrap(text, SANS, 8.0 * scale, room)) for text in front.remarks]
        whole = len(heights) <= most and max(heights, default=0) <= lines + 1
        if _extent(blocks) <= _room(grid):
            break
    return blocks, whole


def _extent(blocks: list[Block]) -> float:
    return sum(block.height + (block.space if index else 0) for index, block in enumerate(blocks))


def front_blocks(front: Front, grid: Grid, scale: float, lines: int, most: int) -> list[Block]:
    """The blocks of page 1 above the signatures."""
    measure = grid.measure
    told = [*_title(front, measure, scale, lines), _verdict(front, measure, scale, lines)]
    for index, tally in enumerate(front.tallies):
        told.append(_tally(tally, measure, index))
        told += _missed(tally, measure, 8.0 * scale, lines)
    if front.deciding:
        told += reason_blocks(
            front.deciding,
            front.deciding_title,
            most,
            rail=RAIL,
            measure=measure,
            size=8.4 * scale,
        )
    if front.accepted:
        told.append(_listed("Accepted by the client", front.accepted, measure, scale, lines))
    told.append(
        _listed("The decision and its risk", front.decision, measure, scale, 9, bullet=False)
    )
    if front.remarks:
        shown = front.remarks[: max(most, front.serious)]
        if len(shown) < len(front.remarks):
            more = len(front.remarks) - len(shown)
            shown = (*shown, f"{more} more on the following pages.")
        told.append(_listed("Noted", shown, measure, scale, lines + 1))
    told.append(_facts(front, grid, scale, lines))
    told.append(_listed("What this sheet does not say", front.not_said, measure, scale, lines + 2))
    return told


def _title(front: Front, measure: float, scale: float, lines: int) -> list[Block]:
    size = 23 * scale
    face = face_with_glyphs(front.title, SERIF)
    titles = wrap(front.title, face, size, measure)
    if len(titles) > 2:
        size = 15 * scale
        titles = wrap_to(front.title, face, size, measure, 2)
    below = wrap_to(front.subtitle, SANS, 9.6 * scale, measure, lines)
    blocks = [_text_block(line, face, size, 1.2) for line in titles]
    blocks += [
        replace(_text_block(line, SANS, 9.6 * scale, 1.38), space=3.0 if index == 0 else 0.0)
        for index, line in enumerate(below)
    ]
    return blocks


def _text_block(line: str, face: str, size: float, leading: float) -> Block:
    def draw(pen: Pen, x: float, top: float) -> None:
        pen.text(x, top - size, line, face=face, size=size)

    return Block(size * leading, draw)


def _verdict(front: Front, measure: float, scale: float, lines: int) -> Block:
    """The mark, the word and the sentence between two rules."""
    room = measure - RAIL
    size = 27 * scale
    small = 9.8 * scale
    sentence = wrap_to(front.sentence, SANS, small, room, lines + 1)
    heading = wrap_to(front.heading, BOLD, small, room, 2) if front.heading else []
    validity = wrap_to(front.validity, BOLD, small, room, lines)
    said = [*((line, BOLD) for line in heading), *((line, SANS) for line in sentence)]
    said += [(line, BOLD) for line in validity]
    padding = mm(5) * scale
    height = 2 * padding + size * 0.95 + 5 + small * 1.4 * len(said)

    def draw(pen: Pen, x: float, top: float) -> None:
        pen.line(x, top, x + measure, top, ink=INK.TEXT, weight=1.4)
        radius = mm(9.2) * scale
        draw_mark(pen, x + radius + 1, top - height / 2, radius, front.mark)
        y = top - padding - size * 0.78
        ink = mark_ink(front.mark)
        pen.text(
            x + RAIL, y, ellipsize(front.word, SERIF, size, room), face=SERIF, size=size, ink=ink
        )
        y -= 7 + small * 1.2
        for line, face in said:
            pen.text(x + RAIL, y, line, face=face, size=small)
            y -= small * 1.4
        pen.line(x, top - height, x + measure, top - height, ink=INK.TEXT, weight=0.5)

    return Block(height, draw, space=mm(5))


def _tally(tally: Tally, measure: float, index: int) -> Block:
    """One mark per requirement of a level, in the rule's order, and the count in words."""
    step = 11.5
    words = width(tally.words, SANS, 8.4) + mm(4)
    per_line = max(8, int((measure - RAIL - words) / step))
    lines = [tally.marks[at : at + per_line] for at in range(0, len(tally.marks), per_line)]
    height = 13.5 * len(lines)

    def draw(pen: Pen, x: float, top: float) -> None:
        pen.text(x, top - 9.3, tally.label, face=BOLD, size=8.4)
        for row, marks in enumerate(lines):
            for column, mark in enumerate(marks):
                at = x + RAIL + 4 + column * step
                draw_mark(pen, at, top - 6.4 - row * 13.5, 3.9, mark)
        pen.text(x + measure, top - 9.3, tally.words, size=8.4, align="right")

    return Block(height, draw, space=mm(4.2) if index == 0 else 1.0)


def _missed(tally: Tally, measure: float, size: float, lines: int) -> list[Block]:
    """What is not met although it decides nothing, below the marks."""
    shown = wrap_to(tally.missed, SANS, size, measure - RAIL, lines) if tally.missed else []

    def block(line: str) -> Block:
        def draw(pen: Pen, x: float, top: float) -> None:
            pen.text(x + RAIL, top - size, line, size=size)

        return Block(size * LEADING, draw)

    return [block(line) for line in shown]


def _facts(front: Front, grid: Grid, scale: float, lines: int) -> Block:
    """Two columns: what was asked and by whom, what was measured and with what."""
    size = 8.4 * scale
    columns = [_column(facts, grid.half, size, lines) for facts in (front.asked, front.measured)]
    depth = max(_extent(column) for column in columns)
    padding = mm(3.2)

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, column in enumerate(columns):
            left = x + index * (grid.half + grid.gutter)
            pen.line(left, top, left + grid.half, top, ink=INK.TEXT, weight=0.5)
            at = top - padding
            for place, block in enumerate(column):
                at -= block.space if place else 0
                block.draw(pen, left, at)
                at -= block.height

    return Block(depth + padding, draw, space=mm(5))


def _column(facts: tuple[Fact, ...], measure: float, size: float, lines: int) -> list[Block]:
    return [
        block
        for fact in facts
        for block in fact_blocks(
            fact, measure, label_width=mm(23), size=size, space=2.4, most=lines
        )
    ]


def _listed(
    label: str,
    texts: tuple[str, ...],
    measure: float,
    scale: float,
    lines: int,
    *,
    bullet: bool = True,
) -> Block:
    """A label in the rail and short paragraphs beside it, under a rule."""
    size = 8.0 * scale
    room = measure - RAIL
    parts = [
        paragraph(
            " ".join(wrap_to(text, SANS, size, room - mm(4), lines)),
            room,
            size=size,
            space=1.4,
            bullet=bullet,
        )
        for text in texts
    ]
    body = [block for part in parts for block in part]
    labels = wrap(label, BOLD, 8.4 * scale, RAIL - mm(3))
    padding = mm(2.4)
    least = len(labels) * 8.4 * scale * LEADING

    def draw(pen: Pen, x: float, top: float) -> None:
        pen.line(x, top, x + measure, top, ink=INK.HAIR, weight=0.5)
        for index, line in enumerate(labels):
            y = top - padding - 8.4 * scale * (0.95 + LEADING * index)
            pen.text(x, y, line, face=BOLD, size=8.4 * scale)
        at = top - padding
        for place, block in enumerate(body):
            at -= block.space if place else 0
            block.draw(pen, x + RAIL, at)
            at -= block.height

    return Block(padding + max(least, _extent(body)), draw, space=mm(4.6))
