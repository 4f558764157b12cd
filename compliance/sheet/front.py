"""Page 1: what the client wants to know, in plain words, and where it is signed."""

from __future__ import annotations

from dataclasses import replace

from compliance.sheet.blocks import LEADING, fact_blocks, paragraph
from compliance.sheet.content import Content
from compliance.sheet.cover import Front, Tally
from compliance.sheet.flow import Block
from compliance.sheet.fonts import BOLD, SANS, SERIF, able, width
from compliance.sheet.frame import SIGNATURE, Box, draw_boxes
from compliance.sheet.marks import draw_mark, mark_ink
from compliance.sheet.particulars import Fact
from compliance.sheet.pen import Pen, fit, wrap
from compliance.sheet.reasons import cut, reason_blocks
from compliance.sheet.style import INK, Grid, mm

__all__ = ["draw_front", "shows_all_remarks"]

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
    face = able(front.title, SERIF)
    titles = wrap(front.title, face, size, measure)
    if len(titles) > 2:
        size = 15 * scale
        titles = cut(front.title, face, size, measure, 2)
    below = cut(front.subtitle, SANS, 9.6 * scale, measure, lines)
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
    sentence = cut(front.sentence, SANS, small, room, lines + 1)
    heading = cut(front.heading, BOLD, small, room, 2) if front.heading else []
    validity = cut(front.validity, BOLD, small, room, lines)
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
        pen.text(x + RAIL, y, fit(front.word, SERIF, size, room), face=SERIF, size=size, ink=ink)
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
    shown = cut(tally.missed, SANS, size, measure - RAIL, lines) if tally.missed else []

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
            " ".join(cut(text, SANS, size, room - mm(4), lines)),
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
