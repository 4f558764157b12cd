"""What pages say when they are read aloud: the tree of their headings, paragraphs and tables.

Whoever draws names the element that the marks belong to; the canvas notes which stretch of which
page that is. Marks without an element, such as rules and the heads of pages, are not read.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Role = Literal[
    "H1", "H2", "H3", "P", "L", "LI", "LBody", "Table", "THead", "TBody", "TR", "TH", "TD",
    "Figure", "Form", "Link", "Span",
]  # fmt: skip
"""Standard structure types (ISO 32000-1, 14.8.4)."""
Silent = Literal["", "Header", "Footer"]
"""Marks that are not read: ornaments, and what stands at the head and foot of each page."""


@dataclass(frozen=True, eq=False, slots=True)
class Element:
    """An element of the tree; two are the same only if they are one object."""

    role: Role
    parent: Element | None = None
    """Default: the document."""
    text: str = ""
    """What a figure shows, where a link leads, what a span is read as, the whole text of a heading,
    or the name of a form's field."""
    scope: Literal["", "Row", "Column"] = ""
    """The cells that a heading of a table is for."""
    span: int = 1
    """Columns that a cell takes."""
    box: tuple[int, int, int, int] | None = None
    """The place of a figure on its page: left, lower, right and upper edge in points."""
    target: int = 0
    """The page that a link leads to, counted from 0."""


def figure(
    text: str, box: tuple[float, float, float, float], parent: Element | None = None
) -> Element:
    """Make a figure in a box of its page that shows what `text` says."""
    return Element("Figure", parent, text, box=_rounded(box))


def _rounded(box: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
    left, lower, right, upper = map(round, box)
    return left, lower, right, upper


@dataclass(frozen=True, slots=True)
class Stretch:
    """A marked stretch of the drawing of a page."""

    page: int
    """Counted from 0."""
    number: int
    """On its page, from 0."""


@dataclass(slots=True)
class Node:
    """An element at its place in the tree, with what it contains in the order of reading."""

    element: Element | None
    """None: the document."""
    parts: list[Node | Stretch] = field(default_factory=list)
    place: tuple[int, float] | None = None
    """Page of its first text, and the upper edge in points from the page's lower one."""
    lines: list[tuple[int, tuple[int, int, int, int]]] = field(default_factory=list)
    """Page and box of each line of a link."""


class Structure:
    """The tree while pages are drawn: an element is entered when it is first drawn."""

    def __init__(self) -> None:
        self.document = Node(None)
        self._nodes: dict[Element | None, Node] = {None: self.document}
        self._counts: dict[int, int] = {}

    def enter(self, element: Element) -> Node:
        """Return the node of an element, new below its parent if it is not in the tree yet."""
        node = self._nodes.get(element)
        if node is None:
            node = self._nodes[element] = Node(element)
            above = self.document if element.parent is None else self.enter(element.parent)
            above.parts.append(node)
        return node

    def begin(self, element: Element, page: int, top: float) -> Stretch:
        """Begin a stretch of an element on a page; `top` is the upper edge of its text."""
        number = self._counts.get(page, 0)
        self._counts[page] = number + 1
        stretch = Stretch(page, number)
        self.enter(element).parts.append(stretch)
        above: Element | None = element
        while above is not None and self._nodes[above].place is None:
            self._nodes[above].place = page, top
            above = above.parent
        return stretch

    def cover(self, element: Element, page: int, box: tuple[float, float, float, float]) -> None:
        """Note the place of a line of text, if it belongs to a link."""
        above: Element | None = element
        while above is not None:
            if above.role == "Link":
                self._nodes[above].lines.append((page, _rounded(box)))
            above = above.parent
