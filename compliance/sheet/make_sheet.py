"""Make the finished sheet from an assessment: draw, make archival, sign."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from compliance.errors import SheetError
from compliance.lettering.choose import lettering
from compliance.lettering.texts import cut_name, right_to_left, signer_texts
from compliance.model import Assessment, Face
from compliance.pictures.canvas import INK, Ink
from compliance.pictures.fonts import BOLD, MONO, SANS, ellipsize
from compliance.pictures.letters import Letters, Program, letters_in_use, no_program
from compliance.pictures.pdf_canvas import PdfCanvas
from compliance.report.numbers import format_time
from compliance.sheet.layout import Drawing, draw_sheet

if TYPE_CHECKING:
    from compliance.lettering.font_files import FontFile
    from compliance.model.signatures import Signer
    from compliance.sheet.structure_tree import Field
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


CSV = "text/csv"
JSON = "application/json"
FORMATS = ((".csv", CSV), (".txt", "text/plain"), (".cxf", "application/xml"))
"""Suffix and MIME type of readings."""
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
DEVIATION = JSON, "A value outside its limits that the client accepts, signed by who accepts it"


def write_sheet(
    assessment: Assessment,
    *,
    identity: Identity | None = None,
    page: str = "a4",
    stamper: Stamper | None = None,
    program: Program = no_program,
) -> bytes:
    """Make the sheet of an assessment as PDF/A-3a and PDF/UA-1 with its evidence attached.

    `page` is `a4` or `letter`. With an identity the sheet is certified at the time of the
    assessment, and stamped by `stamper`; without one every page is marked NOT SIGNED. Raises
    SheetError if a character cannot be printed, IdentityError if the certificate is not valid
    then, TimestampError if there is no time stamp, DeviationError if this identity accepted a
    deviation of the assessment. `program` embeds the assessment's faces
    (`lettering.choose.Lettering.program`).
    """
    for face in assessment.faces:
        if not program(face):
            raise SheetError(f"the file of face {face.name} is not here; give it with --font FILE")
    if identity is not None and assessment.deviations:
        from compliance.evidence.deviation_file import check_acceptor

        for deviation in assessment.deviations:
            check_acceptor(deviation, identity.signer)
    sheet = archival_sheet(assessment, page=page, signed=identity is not None, program=program)
    if identity is None:
        return sheet.pdf
    return _signed(sheet, assessment, identity, stamper, program)


def archival_sheet(
    assessment: Assessment,
    *,
    page: str = "a4",
    signed: bool = True,
    program: Program = no_program,
) -> Drawing:
    """Make the sheet before signing; `signed`: it will be signed. Same input, same bytes."""
    from compliance.evidence.recompute import attachments
    from compliance.sheet.pdfa import archival

    drawing = draw_sheet(assessment, page=page, signed=signed, program=program)
    fields = fields_of(drawing) if signed else {}
    pdf = archival(
        drawing.pdf,
        title=f"{assessment.rule.title}: {assessment.number}",
        subject=f"Compliance sheet {assessment.number}, rule {assessment.rule.id} "
        f"revision {assessment.rule.revision}",
        author=_facility(assessment),
        attachments={name: (data, *_kind(name)) for name, data in attachments(assessment).items()},
        created=assessment.assessed,
        structure=drawing.structure,
        fields=fields,
    )
    return replace(drawing, pdf=pdf)


def fields_of(drawing: Drawing) -> dict[str, Field]:
    """Return the fields for signatures at the boxes of a drawing."""
    from compliance.sheet.structure_tree import Field
    from compliance.signing.sign import LABELS, Box

    boxes = {name: Box(*place) for name, place in drawing.boxes.items()}
    return {name: Field(LABELS[name], box.page, box.corners) for name, box in boxes.items()}


def _facility(assessment: Assessment) -> str:
    job = assessment.job
    return job.facility.name if job is not None and job.facility is not None else ""


def signature_texts(assessment: Assessment) -> tuple[str, str | None]:
    """Return reason and place that the facility's signature of a sheet states."""
    return f"Assessment {assessment.number}", _facility(assessment) or None


def countersign_sheet(
    pdf: bytes,
    *,
    identity: Identity,
    role: str,
    when: datetime,
    stamper: Stamper | None = None,
    fonts: Sequence[FontFile] = (),
) -> bytes:
    """Add a visible second signature to a signed sheet, in the field reserved for it.

    The given file is kept byte for byte; the signature follows it. `fonts` draw letters of the
    names that this program's own faces lack, before the system's. Raises SheetError if no face
    has them, and otherwise as `write_sheet`. The caller has to verify the sheet first.
    """
    from compliance.signing.sign import COUNTER_FIELD, countersign, field_size, role_reason

    width, height = field_size(pdf, COUNTER_FIELD)
    chosen = lettering(signer_texts(identity.signer, role), fonts)
    return countersign(
        pdf,
        identity,
        when=when,
        appearance=draw_stamp(
            identity.signer,
            when,
            width=width,
            height=height,
            role=role,
            faces=chosen.faces,
            program=chosen.program,
        ),
        reason=role_reason(role),
        stamper=stamper,
    )


def _kind(name: str) -> tuple[str, str]:
    return KINDS.get(name, DEVIATION)


def _signed(
    sheet: Drawing,
    assessment: Assessment,
    identity: Identity,
    stamper: Stamper | None,
    program: Program,
) -> bytes:
    from compliance.signing.sign import COUNTER_FIELD, FACILITY_FIELD, Box, sign
    from compliance.signing.timestamps import check_stamped_in_time

    box = Box(*sheet.boxes[FACILITY_FIELD])
    x0, y0, x1, y1 = box.corners
    reason, location = signature_texts(assessment)
    signed = sign(
        sheet.pdf,
        identity,
        when=assessment.assessed,
        box=box,
        counter_box=Box(*sheet.boxes[COUNTER_FIELD]),
        appearance=draw_stamp(
            identity.signer,
            assessment.assessed,
            width=x1 - x0,
            height=y1 - y0,
            faces=assessment.faces,
            program=program,
        ),
        reason=reason,
        location=location,
        stamper=stamper,
    )
    if stamper is not None and stamper.missed is None:
        check_stamped_in_time(stamper, assessment.assessed)
    return signed


PAD = 5.0
LEAD = 1.3
"""Line height over type size."""
GROUP, GROUPS = 8, 4
"""Digits of the fingerprint in a group, and groups in a line."""

Line = tuple[str, str, float, Ink]


def draw_stamp(
    signer: Signer,
    when: datetime,
    *,
    width: float,
    height: float,
    role: str | None = None,
    faces: Sequence[Face] = (),
    program: Program = no_program,
) -> bytes:
    """Draw a one-page PDF of `width` by `height` points with signer, role and time.

    `when` is printed with the offset that it carries, else in UTC.

    `faces` draw letters that this program's own lack, and `program` embeds them. Lines without
    room at the foot are left out. Raises SheetError for a letter that no face has.
    """
    names = right_to_left(signer_texts(signer, role))
    with letters_in_use(Letters(faces, names, program)):
        canvas = PdfCanvas(width, height, created=when)
        y = height - PAD
        for text, face, size, ink in _lines(signer, when, role):
            y -= size * LEAD
            if y < 0:
                break
            shown = ellipsize(text, face, size, width - 2 * PAD)
            canvas.text(PAD, y + size * (LEAD - 1), shown, face=face, size=size, ink=ink)
        canvas.end_page()
        return canvas.finish()


def _lines(signer: Signer, when: datetime, role: str | None) -> list[Line]:
    digits = signer.fingerprint
    groups = [digits[at : at + GROUP] for at in range(0, len(digits), GROUP)]
    affiliation = ", ".join(cut_name(part) for part in (role, signer.organisation) if part)
    lines = [
        (f"Signed by {cut_name(signer.name)}", BOLD, 9.0, INK.TEXT),
        (affiliation, SANS, 8.0, INK.TEXT),
        (f"{format_time(when)}, certificate SHA-256", SANS, 7.0, INK.QUIET),
        (" ".join(groups[:GROUPS]), MONO, 7.0, INK.QUIET),
        (" ".join(groups[GROUPS:]), MONO, 7.0, INK.QUIET),
    ]
    return [line for line in lines if line[0]]
