"""What a client accepts stands on page 1, beside the verdict, which stays."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from helpers import near_limit, sample_assessments
from helpers.near_limit import AGAIN, assessment, both, deviation
from helpers.signing import run, tool

from compliance.model import Certificate, Reason, Verdict
from compliance.report.build import build_report
from compliance.report.words.en.verdicts import validity
from compliance.sheet.front_page import fit_front, front_depth
from compliance.sheet.make_sheet import write_sheet
from compliance.sheet.pagination import PAGES, stack_height


def page(pdf: bytes, folder: Path, number: int | None = None) -> str:
    """The text of one page, or of all, on one line."""
    place = folder / "sheet.pdf"
    place.write_bytes(pdf)
    pages = ["-f", str(number), "-l", str(number)] if number else []
    return " ".join(run([tool("pdftotext"), *pages, place, "-"]).stdout.split())


def test_page_1_lists_each(tmp_path: Path) -> None:
    text = page(near_limit.sheet(accepted=True), tmp_path, 1)
    assert "Not compliant" in text
    assert "Accepted with deviations, by the client, until the end of 2026-12-10 (UTC)." in text
    assert (
        "White luminance: 112.5 cd/m² accepted (limit 95 to 105 cd/m²) by Cleo Client "
        "(identity not checked), until 2026-12-10: only for the offline edit" in text
    )
    assert "White: x −0.0092, y +0.0124 accepted" in text
    assert "Outside limits" in text


def test_the_last_pages_name_who_signed(tmp_path: Path) -> None:
    text = page(near_limit.sheet(accepted=True), tmp_path)
    assert "deviation-1.json, accepted 2026-11-20 18:00 UTC, signed by Cleo Client" in text
    assert near_limit.client().signer.fingerprint[:40] in text.replace(" ", "")


def test_in_part_it_is_listed_and_accepts_nothing(tmp_path: Path) -> None:
    text = page(write_sheet(assessment(both()[:1], now=AGAIN)), tmp_path, 1)
    assert "White luminance: 112.5 cd/m² accepted" in text
    assert "Accepted with deviations" not in text
    assert "Accepted only in part. Correct the others, then measure again: White." in text


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_many_with_long_reasons_leave_room_for_the_signatures(size: str) -> None:
    found = assessment(both(), now=AGAIN)
    long = replace(both()[0], reason="for the offline edit, " * 11, accepted_by="Cleo Client " * 8)
    grid = PAGES[size]
    blocks, _ = fit_front(build_report(replace(found, deviations=(long,) * 9)), grid)
    assert stack_height(blocks) <= front_depth(grid)


def test_the_row_of_what_is_accepted_says_so(tmp_path: Path) -> None:
    pdf = write_sheet(assessment(both()[:1], now=AGAIN))
    text = page(pdf, tmp_path, 2)
    assert text.count("Accepted by Cleo Client (identity not checked) until 2026-12-10;") == 1
    assert "Accepted by" not in page(near_limit.sheet(), tmp_path)


def test_of_two_ends_page_1_names_the_first_and_why() -> None:
    """Readings of 2026-11-20 15:10 UTC, a rule that holds for 30 days."""
    late = [deviation(each, until=date(2027, 5, 1)) for each in ("white-level", "white-colour")]
    found = assessment(late, now=AGAIN)
    assert validity(found) == (
        "Accepted with deviations, by the client, until 2026-12-20 15:10 UTC, when the rule asks "
        "for a new measurement, before the day that the client named."
    )
    due = Certificate("C-1", None, date(2026, 11, 1), date(2026, 12, 12))
    metered = sample_assessments.of_another(
        replace(found, valid_until=datetime(2026, 12, 13, tzinfo=UTC)),
        meter=sample_assessments.meter(certificate=due),
    )
    assert "2026-12-13 00:00 UTC, when the meter's certificate ends, before" in validity(metered)


def test_what_stays_open_beside_what_is_accepted_is_said() -> None:
    found = assessment(both(), now=AGAIN)
    floor = next(row for row in found.state.findings if row.id == "black-level")
    gone = replace(floor, verdict=Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS)
    told = tuple(gone if row is floor else row for row in found.state.findings)
    partly = replace(found, state=replace(found.state, findings=told), disposition=None)
    assert validity(partly) == (
        "What lies outside is accepted; measure what stays open, then assess again."
    )
