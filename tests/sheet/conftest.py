"""Invented assessments to draw, and what a drawing prints."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from helpers.invented_samples import SAMPLES
from helpers.pdf_text import Said
from helpers.sample_assessments import invented_charts_of

from compliance.model import Assessment
from compliance.pictures import data
from compliance.pictures.data import Charts
from compliance.pictures.fonts import width
from compliance.pictures.pdf_canvas import PdfCanvas


@pytest.fixture(scope="session")
def sample() -> Callable[[str], Assessment]:
    """An invented assessment by name, see `SAMPLES`."""
    return lambda name: SAMPLES[name]()


@pytest.fixture(params=sorted(SAMPLES))
def each(request: pytest.FixtureRequest) -> Assessment:
    """Each of the invented assessments in turn."""
    return SAMPLES[request.param]()


@pytest.fixture(autouse=True)
def invented_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Invented assessments have invented pictures, others their own."""

    def charts_of(made: Assessment) -> list[Charts]:
        return invented_charts_of(made) or data.charts_of(made)

    monkeypatch.setattr("compliance.sheet.layout.charts_of", charts_of)


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> list[Said]:
    """Everything that a drawing prints, in order."""
    told: list[Said] = []
    drawn = PdfCanvas.text

    def text(self: PdfCanvas, x: float, y: float, text: str, **how: Any) -> None:
        drawn(self, x, y, text, **how)
        size, face = how.get("size", 8.5), how.get("face", "SheetSans")
        extent = width(text, face, size) + how.get("spacing", 0.0) * max(0, len(text) - 1)
        start = x - {"left": 0.0, "centre": extent / 2, "right": extent}[how.get("align", "left")]
        corners = [
            self._pdf.absolutePosition(px, py)
            for px, py in ((start, y), (start + extent, y + 0.7 * size))
        ]
        (ax, ay), (bx, by) = corners
        page = self._pdf.getPageNumber() - 1
        told.append(Said(page, min(ax, bx), min(ay, by), max(ax, bx), max(ay, by), text))

    monkeypatch.setattr(PdfCanvas, "text", text)
    return told
