"""Blocks on pages."""

from __future__ import annotations

from compliance.pictures.canvas import Canvas
from compliance.sheet.pagination import Block, Columns, paginate


def nothing(canvas: Canvas, x: float, top: float) -> None:
    """Draws nothing."""


def block(
    height: float, space: float = 0.0, keep: bool = False, again: Block | None = None
) -> Block:
    return Block(height, nothing, space, keep, again)


def test_a_full_page_turns() -> None:
    pages = paginate([block(40), block(40), block(40)], 100)
    assert [len(page.placed) for page in pages] == [2, 1]
    assert [page.filled for page in pages] == [80, 40]


def test_space_is_dropped_at_the_top_of_a_page() -> None:
    pages = paginate([block(60), block(60, space=30)], 100)
    assert [page.placed[0].top for page in pages] == [0, 0]
    assert pages[1].filled == 60


def test_a_heading_stays_with_what_follows() -> None:
    pages = paginate([block(80), block(10, keep=True), block(40)], 100)
    assert [len(page.placed) for page in pages] == [1, 2]


def test_a_table_head_is_set_again() -> None:
    head = block(10, keep=True)
    rows = [block(30, again=head) for _ in range(5)]
    pages = paginate([head, *rows], 100)
    assert [page.placed[0].block for page in pages] == [head, head]
    assert [len(page.placed) for page in pages] == [4, 3]


def test_columns_are_balanced() -> None:
    pages = paginate([Columns(tuple(block(10) for _ in range(6)), 50.0)], 100)
    assert [placed.left for placed in pages[0].placed] == [0, 0, 0, 50, 50, 50]
    assert pages[0].filled == 30


def test_columns_run_over_pages_and_end_balanced() -> None:
    pages = paginate([block(50), Columns(tuple(block(10) for _ in range(14)), 50.0)], 100)
    assert [page.filled for page in pages] == [100, 20]
    assert sum(len(page.placed) for page in pages) == 15


def test_chains_in_columns_are_not_torn() -> None:
    chain = (block(30, keep=True), block(30, keep=True), block(30))
    pages = paginate([Columns((*chain, block(10)), 50.0)], 100)
    lefts = [placed.left for placed in pages[0].placed]
    assert lefts[:3] == [0, 0, 0]


def test_every_block_is_placed_once() -> None:
    blocks = [block(7 + at % 5, space=3, keep=at % 3 == 0) for at in range(200)]
    items: list[Block | Columns] = [
        *blocks[:60],
        Columns(tuple(blocks[60:150]), 50.0),
        *blocks[150:],
    ]
    pages = paginate(items, 100)
    placed = [placed.block for page in pages for placed in page.placed]
    assert sorted(map(id, placed)) == sorted(map(id, blocks))
    assert all(page.filled <= 100.001 for page in pages)
