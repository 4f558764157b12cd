"""Every text of a sheet is large and dark enough to be read, on paper and in grey.

Contrast: WCAG 2.1, 1.4.3 (at least 4.5 : 1 for text of ordinary size); relative luminance as
defined there. Smallest type: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from compliance.model import Assessment, Verdict
from compliance.pictures.canvas import INK, Ink
from compliance.pictures.pdf_canvas import PdfCanvas
from compliance.report.verdict import INKS
from compliance.sheet import draw_sheet
from compliance.sheet.elements import MARK_INKS

Sample = Callable[[str], Assessment]
Printed = tuple[str, float, Ink]

NAMES = ("both", "doubtful", "failing", "long-names", "many", "one", "undecided", "unproven")


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Printed]]:
    """Text, size and ink of all that is drawn in the test."""
    seen: list[Printed] = []
    text_of = PdfCanvas.text

    def text(self: PdfCanvas, x: float, y: float, text: str, **style: Any) -> None:
        if text.strip():
            seen.append((text, style.get("size", math.nan), style.get("ink", INK.TEXT)))
        text_of(self, x, y, text, **style)

    monkeypatch.setattr(PdfCanvas, "text", text)
    yield seen
    assert len(seen) > 100


def luminance(ink: Ink) -> float:
    red, green, blue = (
        part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in ink
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: Ink, second: Ink) -> float:
    low, high = sorted(map(luminance, (first, second)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_that_of_the_standard() -> None:
    """Black on white has 21 : 1, and #767676 on white 4.54 : 1 (WCAG 2.1, from memory)."""
    grey = 0x76 / 255
    assert contrast((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)) == pytest.approx(21.0)
    assert contrast((grey, grey, grey), (1.0, 1.0, 1.0)) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("name", NAMES)
def test_no_text_is_small_or_pale(
    sample: Sample, printed: list[Printed], name: str, page: str
) -> None:
    draw_sheet(sample(name), page=page, signed=False)
    for text, size, ink in printed:
        assert size >= 7.0, text
        paper = INK.TEXT if ink == INK.PAPER else INK.PAPER
        assert contrast(ink, paper) >= 4.5, text


def test_a_fail_is_told_from_a_pass_in_grey() -> None:
    """Verdicts that fail share an ink, and it is darker than that of any that passes."""
    assert INKS[Verdict.FAIL] == INKS[Verdict.CONDITIONAL_FAIL]
    darkest = min(luminance(MARK_INKS[each]) for each in (Verdict.PASS, Verdict.CONDITIONAL_PASS))
    assert luminance(MARK_INKS[Verdict.FAIL]) < 0.8 * darkest
