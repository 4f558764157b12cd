"""What a client accepts stands on page 1, beside the verdict, which stays."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import missed
import pytest
from missed import AGAIN, assessment, both
from sealing import run, tool

from compliance.sheet.content import gather
from compliance.sheet.front import _extent, _fitting, _room
from compliance.sheet.style import PAGES
from compliance.sheet.write import write_sheet


def page(pdf: bytes, folder: Path, number: int | None = None) -> str:
    """The text of one page, or of all, on one line."""
    place = folder / "sheet.pdf"
    place.write_bytes(pdf)
    pages = ["-f", str(number), "-l", str(number)] if number else []
    return " ".join(run([tool("pdftotext"), *pages, place, "-"]).stdout.split())


def test_page_1_lists_each(tmp_path: Path) -> None:
    text = page(missed.sheet(accepted=True), tmp_path, 1)
    assert "Not compliant" in text
    assert "Accepted with deviations, by the client, until 2026-12-11 00:00 UTC." in text
    assert (
        "White luminance: 112.5 cd/m² accepted (limit 95 to 105 cd/m²) by Cleo Client, "
        "until 2026-12-10: only for the offline edit" in text
    )
    assert "White: x −0.0092, y +0.0124 accepted" in text
    assert "Outside limits" in text


def test_the_last_pages_name_who_signed(tmp_path: Path) -> None:
    text = page(missed.sheet(accepted=True), tmp_path)
    assert "deviation-1.json, accepted 2026-11-20 18:00 UTC, signed by Cleo Client" in text
    assert missed.client().signer.fingerprint[:40] in text.replace(" ", "")


def test_in_part_it_is_listed_and_accepts_nothing(tmp_path: Path) -> None:
    text = page(write_sheet(assessment(both()[:1], now=AGAIN)), tmp_path, 1)
    assert "White luminance: 112.5 cd/m² accepted" in text
    assert "Accepted with deviations" not in text
    assert "Put right what lies outside" in text


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_many_with_long_reasons_leave_room_for_the_signatures(size: str) -> None:
    found = assessment(both(), now=AGAIN)
    long = replace(both()[0], reason="for the offline edit, " * 11, accepted_by="Cleo Client " * 8)
    grid = PAGES[size]
    blocks, _ = _fitting(gather(replace(found, deviations=(long,) * 9)).front, grid)
    assert _extent(blocks) <= _room(grid)
