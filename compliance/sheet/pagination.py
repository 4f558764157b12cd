"""Blocks, and how they are set on pages: nothing here knows what they show."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from compliance.pictures.canvas import Pen

DUST = 1e-6


@dataclass(frozen=True, slots=True)
class Block:
    """Something of known height that is never split."""

    height: float
    draw: Callable[[Pen, float, float], None]
    """Called with the pen, the left edge and the upper edge."""
    space: float = 0.0
    """Above it, unless it starts a page or a column."""
    keep: bool = False
    """Stays on the page of the next block."""
    again: Block | None = None
    """Set above it where it starts a page, such as a table's head."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks that run in two columns of equal width, balanced where they end."""

    blocks: tuple[Block, ...]
    offset: float
    """From the left edge of the first column to that of the second."""
    space: float = 0.0
    least: float = 40.0
    """Does not start on a page with less room than this."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A block and its place: from the left and the upper edge of the page's body."""

    block: Block
    left: float
    top: float


@dataclass(frozen=True, slots=True)
class Page:
    placed: tuple[Placed, ...]
    filled: float
    """Height of the body that is used."""


def keep_together(blocks: Sequence[Block]) -> list[list[Block]]:
    """Blocks that must stay together, as lists."""
    told: list[list[Block]] = []
    open_chain = False
    for block in blocks:
        if open_chain:
            told[-1].append(block)
        else:
            told.append([block])
        open_chain = block.keep
    return told


def _extent(chain: Sequence[Block], first: bool) -> float:
    """Height of a chain; the first on a page loses its space and regains its head."""
    total = sum(block.height + block.space for block in chain)
    if first:
        total -= chain[0].space
        total += chain[0].again.height if chain[0].again else 0.0
    return total


class _Setter:
    """The pages as they fill."""

    def __init__(self, depth: float) -> None:
        self.depth = depth
        self.pages: list[Page] = []
        self.placed: list[Placed] = []
        self.top = 0.0

    def turn(self) -> None:
        if self.placed:
            self.pages.append(Page(tuple(self.placed), self.top))
        self.placed = []
        self.top = 0.0

    def chain(self, chain: Sequence[Block]) -> None:
        if self.placed and self.top + _extent(chain, False) > self.depth + DUST:
            self.turn()
        for block in chain:
            self.block(block)

    def block(self, block: Block) -> None:
        if self.placed and self.top + block.space + block.height > self.depth + DUST:
            self.turn()
        if not self.placed and block.again is not None:
            self.placed.append(Placed(block.again, 0.0, 0.0))
            self.top = block.again.height
        elif self.placed:
            self.top += block.space
        self.placed.append(Placed(block, 0.0, self.top))
        self.top += block.height

    def columns(self, columns: Columns) -> None:
        rest = keep_together(columns.blocks)
        space = columns.space
        while rest:
            start = self.top + space if self.placed else 0.0
            room = self.depth - start
            tallest = max(_extent(rest[0], True), columns.least)
            if self.placed and room < tallest:
                self.turn()
                continue
            first, height = _balanced(rest, room)
            counts = (first, _fill(rest[first:], height)[0] if first < len(rest) else 0)
            for side, taken in enumerate(counts):
                self.put(rest[:taken], columns.offset * side, start)
                self.top = max(self.top, start + _column(rest[:taken]))
                rest = rest[taken:]
            space = 0.0
            if rest:
                self.turn()

    def put(self, column: Iterable[Sequence[Block]], left: float, start: float) -> None:
        top = start
        for index, block in enumerate(block for chain in column for block in chain):
            top += block.space if index else 0.0
            self.placed.append(Placed(block, left, top))
            top += block.height


def _column(column: Sequence[Sequence[Block]]) -> float:
    """Height of chains below one another from the top of a column."""
    return sum(_extent(chain, at == 0) for at, chain in enumerate(column))


def _fill(rest: Sequence[Sequence[Block]], height: float) -> tuple[int, float]:
    """How many chains go into a column of `height`, at least one, and where they end."""
    top = 0.0
    for count, chain in enumerate(rest):
        extent = _extent(chain, count == 0)
        if count and top + extent > height + DUST:
            return count, top
        top += extent
    return len(rest), top


def _balanced(rest: Sequence[Sequence[Block]], room: float) -> tuple[int, float]:
    """Chains for the first column, and the height of both: even if all fit, else the room."""
    total = _column(rest)
    left = 0.0
    best, least = 0, math.inf
    for count, chain in enumerate(rest, 1):
        left += _extent(chain, count == 1)
        right = total - left - (rest[count][0].space if count < len(rest) else 0.0)
        if max(left, right) < least:
            best, least = count, max(left, right)
    if least <= room + DUST:
        return best, least
    return _fill(rest, room)[0], room


def paginate(items: Iterable[Block | Columns], depth: float) -> list[Page]:
    """Set blocks on pages whose body is `depth` points high, in order."""
    setter = _Setter(depth)
    waiting: list[Block] = []
    for item in items:
        if isinstance(item, Block):
            waiting.append(item)
            if item.keep:
                continue
            setter.chain(waiting)
            waiting = []
            continue
        if waiting:
            head = _extent(waiting, False) + item.least
            if setter.placed and setter.top + head > depth:
                setter.turn()
            for block in waiting:
                setter.block(block)
            waiting = []
        setter.columns(item)
    if waiting:
        setter.chain(waiting)
    setter.turn()
    return setter.pages
