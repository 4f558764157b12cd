"""Inks, type sizes and the page grid, in points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["INK", "PAGES", "Grid", "Ink", "mm"]

Ink = tuple[float, float, float]


def mm(length: float) -> float:
    """Millimetres as points."""
    return length * 72 / 25.4


def _hex(code: str) -> Ink:
    red, green, blue = (int(code[at : at + 2], 16) / 255 for at in (0, 2, 4))
    return red, green, blue


class INK:
    """Few inks; the four of the verdicts differ in lightness too, so that grey tells them."""

    TEXT = _hex("1b2330")
    QUIET = _hex("56606d")
    FAINT = _hex("8b949e")
    HAIR = _hex("c9ced4")
    WASH = _hex("f1f3f5")
    BAND = _hex("e3e7eb")
    GUARD = _hex("bcc4cc")
    PAPER = _hex("ffffff")
    TEAL = _hex("0f6b66")
    OCHRE = _hex("a8700f")
    PLUM = _hex("7a1f5c")
    GREY = _hex("5d6672")


@dataclass(frozen=True, slots=True)
class Grid:
    """A page and where things stand on it."""

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


PAGES: Mapping[str, Grid] = {
    "a4": Grid(mm(210), mm(297)),
    "letter": Grid(612.0, 792.0),
}
