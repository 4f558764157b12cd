"""The canvas for pictures and pages: inks, and a few kinds of marks.

Pictures draw marks, independent of any file format; `pdf_canvas` makes a PDF of them.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Literal, TypedDict, Unpack

from compliance.pictures.structure import Element, Silent

Ink = tuple[float, float, float]
"""Red, green and blue of sRGB, from 0 to 1."""
Spot = tuple[float, float]
"""A place: points from the left edge and from the lower edge."""


def _hex(code: str) -> Ink:
    red, green, blue = (int(code[at : at + 2], 16) / 255 for at in (0, 2, 4))
    return red, green, blue


class INK:
    """Few inks; the four of the verdicts also differ in lightness, so that they differ in grey."""

    TEXT = _hex("1b2330")
    QUIET = _hex("56606d")
    FAINT = _hex("6a727d")
    HAIR = _hex("c9ced4")
    WASH = _hex("f1f3f5")
    BAND = _hex("e3e7eb")
    GUARD = _hex("bcc4cc")
    PAPER = _hex("ffffff")
    TEAL = _hex("0f6b66")
    OCHRE = _hex("8f5f0c")
    PLUM = _hex("7a1f5c")
    GREY = _hex("5d6672")


class Style(TypedDict, total=False):
    """The look of a shape: an outline if it has an ink, an area if it has a fill."""

    ink: Ink
    weight: float
    """Width of the outline; default: 0.5."""
    dash: Sequence[float]
    """Lengths of dashes and gaps; default: unbroken."""
    fill: Ink


class TextStyle(TypedDict, total=False):
    """The look of text; default: 8.5 points of the sans serif in the ink of texts."""

    face: str
    size: float
    ink: Ink
    align: Literal["left", "centre", "right"]
    """The part of the line at the given place; default: its left end."""
    spacing: float
    """Points added between letters."""
    broken: bool
    """The next line goes on with the same word: no space is read between them."""


class Canvas(ABC):
    """A page to draw on; lengths in points, origin lower left."""

    @abstractmethod
    def text(self, x: float, y: float, text: str, **style: Unpack[TextStyle]) -> None:
        """Draw one line of text with its base line at `y`."""

    @abstractmethod
    def polyline(self, points: Sequence[Spot], **style: Unpack[Style]) -> None:
        """Draw a line through points; nothing for fewer than two."""

    @abstractmethod
    def polygon(self, points: Sequence[Spot], **style: Unpack[Style]) -> None:
        """Draw the area between points; nothing for fewer than two."""

    @abstractmethod
    def line(self, x0: float, y0: float, x1: float, y1: float, **style: Unpack[Style]) -> None:
        """Draw a straight line; default: a hair line."""

    @abstractmethod
    def box(self, x: float, y: float, w: float, h: float, **style: Unpack[Style]) -> None:
        """Draw a rectangle from its lower left corner."""

    @abstractmethod
    def disc(self, x: float, y: float, radius: float, **style: Unpack[Style]) -> None:
        """Draw a disc around (`x`, `y`); with an ink and no fill a ring."""

    @abstractmethod
    def clipped(self, x: float, y: float, w: float, h: float) -> AbstractContextManager[None]:
        """Clip everything drawn in the context to a rectangle."""

    @abstractmethod
    def turned(self, x: float, y: float) -> AbstractContextManager[None]:
        """Draw in the context with (`x`, `y`) as origin, a quarter turn anticlockwise."""

    @abstractmethod
    def tagged(self, element: Element) -> AbstractContextManager[None]:
        """Draw in the context what is read as `element`, which is entered even if it is empty."""

    @abstractmethod
    def silent(self, kind: Silent = "") -> AbstractContextManager[None]:
        """Draw in the context what is not read, whatever elements are named in it."""
