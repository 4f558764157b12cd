"""Set blocks on pages, independent of their content."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from compliance.pictures.canvas import Canvas

DUST = 1e-6


def mm(length: float) -> float:
    """Convert millimetres to points."""
    return length * 72 / 25.4


@dataclass(frozen=True, slots=True)
class Grid:
    """A page and the position of its body; lengths in points."""

    width: float
    height: float
    left: float = mm(18)
    right: float = mm(18)
    top: float = mm(22)
    """From the upper edge to the first line of the body."""
    bottom: float = mm(20)
    gutter: float = mm(6)

    @property
    def measure(self) -> float:
        """Width of the body."""
        return self.width - self.left - self.right

    @property
    def depth(self) -> float:
        """Height of the body."""
        return self.height - self.top - self.bottom

    @property
    def half(self) -> float:
        """Width of one of two columns."""
        return (self.measure - self.gutter) / 2

    @property
    def second(self) -> float:
        """From the left edge of the first column to that of the second."""
        return self.half + self.gutter


PAGES: Mapping[str, Grid] = {
    "a4": Grid(mm(210), mm(297)),
    "letter": Grid(612.0, 792.0),
}


@dataclass(frozen=True, slots=True)
class Block:
    """An element of known height that is never split."""

    height: float
    draw: Callable[[Canvas, float, float], None]
    """Called with the canvas, the left edge and the upper edge."""
    space: float = 0.0
    """The space above it, unless it starts a page or a column."""
    keep: bool = False
    """It stays on the page of the next block."""
    again: Block | None = None
    """The block above it if it starts a page, such as a table's head."""


def stack_height(blocks: Sequence[Block]) -> float:
    """Return the height of blocks below one another, without the space above the first."""
    return sum(block.height + (block.space if index else 0) for index, block in enumerate(blocks))


def draw_stack(canvas: Canvas, x: float, top: float, blocks: Iterable[Block]) -> None:
    """Draw blocks below one another, without the space above the first."""
    for index, block in enumerate(blocks):
        top -= block.space if index else 0
        block.draw(canvas, x, top)
        top -= block.height


@dataclass(frozen=True, slots=True)
class Chain:
    """Blocks that stay together, measured once."""

    blocks: tuple[Block, ...]
    height: float
    """The height with the space above."""
    height_first: float
    """The height as the first of a page or column: without the space above, with the head."""


def keep_together(blocks: Iterable[Block]) -> list[Chain]:
    """Join blocks into chains that must stay together."""
    chains: list[Chain] = []
    held: list[Block] = []
    for block in blocks:
        held.append(block)
        if not block.keep:
            chains.append(_chain(held))
            held = []
    return [*chains, _chain(held)] if held else chains


def _chain(blocks: Sequence[Block]) -> Chain:
    first = blocks[0]
    height = sum(block.height + block.space for block in blocks)
    head = first.again.height if first.again else 0.0
    return Chain(tuple(blocks), height, height - first.space + head)


@dataclass(frozen=True)
class Columns:
    """Blocks in two columns of equal width, balanced at the end."""

    blocks: tuple[Block, ...]
    offset: float
    """From the left edge of the first column to that of the second."""
    space: float = 0.0
    least: float = 40.0
    """The least room on a page to start on it."""

    @cached_property
    def chains(self) -> tuple[Chain, ...]:
        """Its blocks as chains that must stay together."""
        return tuple(keep_together(self.blocks))


Items = Sequence[Block | Columns]


@dataclass(frozen=True, slots=True)
class Placed:
    """A block and its position from the left and upper edge of the page's body."""

    block: Block
    left: float
    top: float
    repeated: bool = False
    """It is a head that was read on an earlier page."""


@dataclass(frozen=True, slots=True)
class Page:
    placed: tuple[Placed, ...]
    filled: float
    """The height used of the body."""


class _Setter:
    """The pages while they are filled."""

    def __init__(self, depth: float, filled: float) -> None:
        self.depth = depth
        self.pages: list[Page] = []
        self.placed: list[Placed] = []
        self.top = filled

    def turn(self) -> None:
        """Start a new page, unless this one is empty."""
        if self.top:
            self.pages.append(Page(tuple(self.placed), self.top))
        self.placed = []
        self.top = 0.0

    def turn_unless_fits(self, height: float) -> None:
        if self.top and self.top + height > self.depth + DUST:
            self.turn()

    def chain(self, chain: Chain, below: float = 0.0) -> None:
        """Set a chain on one page, with room for `below` under it; on several if it is longer."""
        self.turn_unless_fits(chain.height + below)
        for block in chain.blocks:
            self.turn_unless_fits(block.space + block.height)
            if self.top:
                self.top += block.space
            elif block.again is not None:
                self.placed.append(Placed(block.again, 0.0, 0.0, repeated=True))
                self.top = block.again.height
            self.placed.append(Placed(block, 0.0, self.top))
            self.top += block.height

    def columns(self, columns: Columns) -> None:
        rest: Sequence[Chain] = columns.chains
        space = columns.space
        while rest:
            start = self.top + space if self.top else 0.0
            room = self.depth - start
            if self.top and room < max(rest[0].height_first, columns.least):
                self.turn()
                continue
            first, height = _balanced(rest, room)
            second = _fill(rest[first:], height)
            for left, count in ((0.0, first), (columns.offset, second)):
                self.column(rest[:count], left, start)
                rest = rest[count:]
            space = 0.0
            if rest:
                self.turn()

    def column(self, chains: Sequence[Chain], left: float, start: float) -> None:
        top = start
        for index, block in enumerate(block for chain in chains for block in chain.blocks):
            top += block.space if index else 0.0
            self.placed.append(Placed(block, left, top))
            top += block.height
        self.top = max(self.top, start + _column_height(chains))


def _column_height(chains: Sequence[Chain]) -> float:
    """Return the height of chains below one another from the top of a column."""
    return sum(chain.height if index else chain.height_first for index, chain in enumerate(chains))


def _fill(chains: Sequence[Chain], height: float) -> int:
    """Count the chains that fit into a column of `height`: at least one, if there is one."""
    top = 0.0
    for count, chain in enumerate(chains):
        top += chain.height if count else chain.height_first
        if count and top > height + DUST:
            return count
    return len(chains)


def _balanced(chains: Sequence[Chain], room: float) -> tuple[int, float]:
    """Count the chains of the first column; return also the height: even, or `room` if too many."""
    total = _column_height(chains)
    left = 0.0
    best, least = 0, math.inf
    for count, chain in enumerate(chains, 1):
        left += chain.height_first if count == 1 else chain.height
        right = total - left - (chains[count].blocks[0].space if count < len(chains) else 0.0)
        if max(left, right) < least:
            best, least = count, max(left, right)
    if least <= room + DUST:
        return best, least
    return _fill(chains, room), room


def paginate(items: Items, depth: float, filled: float = 0.0) -> list[Page]:
    """Set blocks on pages whose body is `depth` points high, in order.

    The upper `filled` points of the first page are already used.
    """
    setter = _Setter(depth, filled)
    waiting: list[Block] = []
    for item in items:
        if isinstance(item, Columns):
            if waiting:
                setter.chain(_chain(waiting), below=item.least)
            setter.columns(item)
            waiting = []
        else:
            waiting.append(item)
            if not item.keep:
                setter.chain(_chain(waiting))
                waiting = []
    if waiting:
        setter.chain(_chain(waiting))
    setter.turn()
    return setter.pages
