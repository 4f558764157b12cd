"""From an assessment to the finished sheet: draw, make archival, sign."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from compliance.model import Assessment

if TYPE_CHECKING:
    from compliance.identity import Identity

__all__ = ["write_sheet"]

CSV = "text/csv"
JSON = "application/json"
FORMATS = ((".csv", CSV), (".txt", "text/plain"), (".cxf", "application/xml"))
"""Of readings: suffix and MIME type."""
READINGS = "The readings as the meter's file had them"
BEFORE = "Readings of the same slot before it was calibrated"

KINDS: Mapping[str, tuple[str, str]] = {
    "assessment.json": (JSON, "The assessment: every finding with value, limits and verdict"),
    **{f"readings{suffix}": (mime, READINGS) for suffix, mime in FORMATS},
    **{f"before{suffix}": (mime, BEFORE) for suffix, mime in FORMATS},
    "rule.json": (JSON, "The rule with everything it extends and lists"),
    "job.json": (JSON, "The job, as far as it is about this slot"),
    "meter.json": (JSON, "The meter with its certificate and uncertainties"),
}
"""MIME type and description of the attachments."""


def write_sheet(
    assessment: Assessment, *, identity: Identity | None = None, page: str = "a4"
) -> bytes:
    """The sheet of an assessment as PDF/A-3b with its evidence attached.

    `page` is `a4` or `letter`. With an identity it is certified at the time of the
    assessment; without one every page says NOT SIGNED. Raises SheetError where a character
    cannot be printed, IdentityError where the certificate is not valid then.
    """
    from compliance.evidence import attachments
    from compliance.sheet import draw_sheet
    from compliance.sheet.archive import archival

    drawing = draw_sheet(assessment, page=page, signed=identity is not None)
    job = assessment.job
    facility = job.facility.name if job is not None and job.facility is not None else ""
    pdf = archival(
        drawing.pdf,
        title=f"{assessment.rule.title}: {assessment.number}",
        subject=f"Compliance sheet {assessment.number}, rule {assessment.rule.id} "
        f"revision {assessment.rule.revision}",
        author=facility,
        attachments={name: (data, *KINDS[name]) for name, data in attachments(assessment).items()},
        created=assessment.assessed,
    )
    return pdf if identity is None else _signed(pdf, assessment, identity, drawing.boxes, facility)


def _signed(
    pdf: bytes,
    assessment: Assessment,
    identity: Identity,
    boxes: Mapping[str, tuple[int, float, float, float, float]],
    facility: str,
) -> bytes:
    from compliance.sheet.stamp import draw_stamp
    from compliance.signing import COUNTER_FIELD, FACILITY_FIELD, Box, sign

    box = Box(*boxes[FACILITY_FIELD])
    x0, y0, x1, y1 = box.corners
    return sign(
        pdf,
        identity,
        when=assessment.assessed,
        box=box,
        counter_box=Box(*boxes[COUNTER_FIELD]),
        appearance=draw_stamp(identity.signer, assessment.assessed, width=x1 - x0, height=y1 - y0),
        reason=f"Assessment {assessment.number}",
        location=facility or None,
    )
