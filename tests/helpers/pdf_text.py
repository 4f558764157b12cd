"""The text of a drawing, line by line."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Said:
    """A printed line: page from 0, its box in points, its text."""

    page: int
    x0: float
    y0: float
    x1: float
    y1: float
    text: str


def on_page(said: list[Said], page: int) -> str:
    """All text of a page from 0, in the order of drawing."""
    return everything([line for line in said if line.page == page])


def everything(said: list[Said]) -> str:
    """All text in the order of drawing, every run of spaces as one."""
    return " ".join(" ".join(line.text for line in said).split())
