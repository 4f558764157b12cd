"""Drawing on a page: inks, type sizes and grid; the only place where text meets the canvas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from compliance.pictures.fonts import SANS, normalise, require_glyphs, width

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


ELLIPSIS = "…"
SOFT_BREAKS = "-/_.,;:@·"


def wrap(text: str, face: str, size: float, measure: float) -> list[str]:
    """`text` broken into lines of at most `measure` points; long words are broken too."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines.extend(_wrap_line(require_glyphs(normalise(paragraph), face), face, size, measure))
    return lines


@lru_cache(maxsize=8192)
def _wrap_line(text: str, face: str, size: float, measure: float) -> tuple[str, ...]:
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        trial = f"{line} {word}" if line else word
        if width(trial, face, size) <= measure:
            line = trial
            continue
        if line:
            lines.append(line)
        pieces = _break_word(word, face, size, measure)
        lines.extend(pieces[:-1])
        line = pieces[-1]
    lines.append(line)
    return tuple(lines)


def _break_word(word: str, face: str, size: float, measure: float) -> list[str]:
    """A word wider than the measure, broken after a joint if there is one near the end."""
    pieces: list[str] = []
    while word and width(word, face, size) > measure:
        count = max(1, _fitting(word, face, size, measure))
        joint = max((word.rfind(mark, 0, count) for mark in SOFT_BREAKS), default=-1) + 1
        if joint > count // 2:
            count = joint
        pieces.append(word[:count])
        word = word[count:]
    if word or not pieces:
        pieces.append(word)
    return pieces


def _fitting(text: str, face: str, size: float, measure: float) -> int:
    total = 0.0
    for count, character in enumerate(text):
        total += width(character, face, size)
        if total > measure:
            return count
    return len(text)


def ellipsize(text: str, face: str, size: float, measure: float) -> str:
    """`text` on one line, its end cut with an ellipsis where it is too long."""
    text = require_glyphs(normalise(text), face)
    if width(text, face, size) <= measure:
        return text
    room = measure - width(ELLIPSIS, face, size)
    return text[: _fitting(text, face, size, room)].rstrip() + ELLIPSIS


def fit_middle(text: str, face: str, size: float, measure: float) -> str:
    """`text` on one line, its middle cut with an ellipsis: both ends still tell it apart."""
    text = require_glyphs(normalise(text), face)
    cut = len(text)
    while cut > 2 and width(text, face, size) > measure:
        cut -= 2
        half = cut // 2
        shown = f"{text[:half]}{ELLIPSIS}{text[-half:]}"
        if width(shown, face, size) <= measure:
            return shown
    return text


class Pen:
    """A thin layer over a reportlab canvas; lengths in points, origin lower left."""

    def __init__(self, canvas: Any) -> None:
        self.canvas = canvas

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        face: str = SANS,
        size: float = 8.5,
        ink: Ink = INK.TEXT,
        align: str = "left",
        spacing: float = 0.0,
    ) -> None:
        """One line of guarded text with its base line at `y`."""
        shown = require_glyphs(text, face)
        extent = width(shown, face, size) + spacing * max(0, len(shown) - 1)
        start = x - {"left": 0.0, "centre": extent / 2, "right": extent}[align]
        self.canvas.setFillColorRGB(*ink)
        line = self.canvas.beginText(start, y)
        line.setFont(face, size)
        line.setCharSpace(spacing)
        line.textOut(shown)
        if spacing:
            line.setCharSpace(0)
        self.canvas.drawText(line)

    def turned(self, x: float, y: float, text: str, *, size: float, ink: Ink) -> None:
        """One line of guarded text upwards, ending at (`x`, `y`)."""
        self.canvas.saveState()
        self.canvas.translate(x, y)
        self.canvas.rotate(90)
        self.text(0, 0, text, size=size, ink=ink, align="right")
        self.canvas.restoreState()

    def line(
        self,
        x0: float,
        y0: float,
        x1: float,
        y1: float,
        *,
        ink: Ink = INK.HAIR,
        weight: float = 0.5,
        dash: Sequence[float] = (),
    ) -> None:
        """A straight line."""
        self._stroke(ink, weight, dash)
        self.canvas.line(x0, y0, x1, y1)

    def path(
        self,
        points: Sequence[tuple[float, float]],
        *,
        ink: Ink | None = None,
        weight: float = 0.8,
        dash: Sequence[float] = (),
        fill: Ink | None = None,
        close: bool = False,
    ) -> None:
        """A line through points, or an area."""
        if len(points) < 2:
            return
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if close:
            path.close()
        if ink is not None:
            self._stroke(ink, weight, dash)
        if fill is not None:
            self.canvas.setFillColorRGB(*fill)
        self.canvas.drawPath(path, stroke=int(ink is not None), fill=int(fill is not None))

    def box(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        *,
        ink: Ink | None = None,
        weight: float = 0.5,
        fill: Ink | None = None,
        dash: Sequence[float] = (),
    ) -> None:
        """A rectangle from its lower left corner."""
        if ink is not None:
            self._stroke(ink, weight, dash)
        if fill is not None:
            self.canvas.setFillColorRGB(*fill)
        self.canvas.rect(x, y, w, h, stroke=int(ink is not None), fill=int(fill is not None))

    def disc(
        self,
        x: float,
        y: float,
        radius: float,
        *,
        ink: Ink | None = None,
        weight: float = 0.8,
        fill: Ink | None = None,
        dash: Sequence[float] = (),
    ) -> None:
        """A circle round (`x`, `y`)."""
        if ink is not None:
            self._stroke(ink, weight, dash)
        if fill is not None:
            self.canvas.setFillColorRGB(*fill)
        self.canvas.circle(x, y, radius, stroke=int(ink is not None), fill=int(fill is not None))

    def _stroke(self, ink: Ink, weight: float, dash: Sequence[float]) -> None:
        self.canvas.setStrokeColorRGB(*ink)
        self.canvas.setLineWidth(weight)
        self.canvas.setDash(list(dash))
