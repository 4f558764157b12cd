"""The sheet: an assessment as a PDF that a client can read and anyone can check."""

from __future__ import annotations

from compliance.model import Assessment
from compliance.pictures.data import charts_of
from compliance.report.build import build_report
from compliance.sheet.layout import Drawing, render


def draw_sheet(assessment: Assessment, *, page: str = "a4", signed: bool) -> Drawing:
    """Draw the sheet of `assessment` as PDF, on `a4` or `letter`.

    `signed` says whether a signature will be put on it; without one every page is
    marked NOT SIGNED. Same assessment, same bytes. Raises `SheetError` for another
    page and for a character that the sheet's fonts lack.
    """
    report = build_report(assessment)
    facility = assessment.job.facility if assessment.job else None
    return render(
        report,
        charts_of(assessment),
        page,
        signed=signed,
        moment=assessment.assessed,
        author=facility.name if facility else "",
        subject=f"{report.number}: {report.running}",
    )
