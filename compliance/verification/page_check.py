"""Step 6 of a verification: pages and boxes drawn again, and nothing hidden beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from compliance.documents import assessment_document
from compliance.errors import ComplianceError, SheetError
from compliance.evidence.attachments import Document
from compliance.lettering.choose import Lettering, lettering
from compliance.lettering.font_files import given_fonts
from compliance.lettering.texts import foreign_clusters, signer_texts
from compliance.model import Face, Statement
from compliance.model.results import Check, Status, Step
from compliance.model.signatures import Signature
from compliance.model.stated import TOOL
from compliance.pictures.letters import Program
from compliance.plain_data import digest
from compliance.signing.appearance import BOX_DRAWN_BY, with_appearance
from compliance.signing.read import PdfSignatures
from compliance.signing.sign import COUNTER_FIELD, FACILITY_FIELD, Box
from compliance.verification.compare import compare, compared, tool_version
from compliance.verification.hidden_parts import hidden_faults
from compliance.verification.steps import (
    WithheldError,
    first_details,
    one_line,
    quoted,
    result_or_exception,
)
from compliance.verification.versions import Standing, standing

if TYPE_CHECKING:
    from compliance.model import Assessment

MOST_DIFFERENCES = 10
NO_LETTERS = Lettering()
MISSHAPEN = "a part of the file is of another type than in a sheet"


def check_pages(
    data: bytes,
    seal: PdfSignatures | Exception,
    stated: Document | Exception,
    again: Assessment | Exception,
    letters: Lettering | Exception = NO_LETTERS,
    fonts: Sequence[Path] = (),
) -> Step:
    """Compare the pages (6): equal pages are proof; different ones are a fault if unexplained.

    Nothing explains what no sheet has: hidden parts, actions, other fields.
    """
    if isinstance(again, WithheldError) or isinstance(seal, Exception) or seal.file is None:
        unread = Statement("not-done-changed")
        return _not_done(again.why if isinstance(again, WithheldError) else unread)
    file = seal.file
    hidden = result_or_exception(lambda: list(hidden_faults(file)))
    if isinstance(hidden, Exception):
        hidden = [_fault(hidden)]
    outcome = _compared(data, seal, stated, again, letters, fonts)
    if not hidden:
        return outcome
    details = first_details(map(quoted, hidden), MOST_DIFFERENCES)
    if outcome.status is Status.FAIL:
        return replace(outcome, details=(*outcome.details, *details))
    return _failed(Statement("hidden-parts"), details)


def _compared(
    data: bytes,
    seal: PdfSignatures,
    stated: Document | Exception,
    again: Assessment | Exception,
    letters: Lettering | Exception,
    fonts: Sequence[Path],
) -> Step:
    if not isinstance(stated, Exception) and (
        standing(*tool_version(stated)) is Standing.LATER_ENGINE
    ):
        return _not_done(_of_version(tool_version(stated)[0]))
    if any(isinstance(each, Exception) for each in (stated, again, letters)):
        return _failed(Statement("no-evidence"))
    assert isinstance(stated, Mapping) and isinstance(letters, Lettering)
    assert not isinstance(again, Exception)
    drawn = replace(again, number=str(stated.get("number")))
    certified = data[: seal.certified]
    unsure = letters.unsure

    def unlike_with(skipped: frozenset[str]) -> list[str] | Exception:
        return result_or_exception(
            lambda: _differences(certified, data, seal, drawn, letters.program, skipped)
        )

    unlike = unlike_with(unsure)
    if unlike and letters.by_others - unsure and not unlike_with(letters.by_others):
        unlike, unsure = [], letters.by_others
    if unlike:
        excuse = _excuse(certified, stated, again)
        if excuse is not None:
            return _not_done(excuse)
        if isinstance(unlike, Exception):
            return _failed(Statement("pages-damaged"))
        details = first_details(map(quoted, unlike), MOST_DIFFERENCES)
        return _failed(Statement("other-pages"), details)
    countersigned = _countersigned(data, seal, fonts)
    if not unsure or countersigned.status is not Status.OK:
        return countersigned
    faces = tuple(
        quoted(f"{face.name}, {face.version}: SHA-256 {face.sha256}")
        for face in letters.faces
        if face.name in unsure
    )
    return Step(Check.PAGES, Status.NOT_DONE, Statement("letters-unsure"), faces)


def _fault(fault: Exception) -> str:
    """A line for a reader: what else is raised comes from values of a type no sheet has there."""
    return one_line(fault) if isinstance(fault, ValueError | ComplianceError) else MISSHAPEN


def _failed(result: Statement, details: tuple[Statement, ...] = ()) -> Step:
    return Step(Check.PAGES, Status.FAIL, result, details)


def _not_done(why: Statement) -> Step:
    return Step(Check.PAGES, Status.NOT_DONE, why)


# ---------------------------------------------------------------- pages and boxes


def _differences(
    certified: bytes,
    data: bytes,
    seal: PdfSignatures,
    again: Assessment,
    program: Program,
    unsure: frozenset[str],
) -> list[str]:
    """Compare the file as certified, and the facility's box in the whole of it.

    The programs of the faces named in `unsure` are not compared.
    """
    from compliance.sheet.make_sheet import archival_sheet, signature_texts
    from compliance.verification.compare_pages import (
        box_differences,
        differences,
        paper,
        stated_texts,
    )

    fresh = archival_sheet(again, page=paper(certified), program=program)
    first, *later = seal.signatures
    corners = Box(*fresh.boxes[FACILITY_FIELD]).corners
    shown = {FACILITY_FIELD: _appearance(first, corners, again.faces, program, again.assessed)}
    found = [
        *differences(certified, fresh.pdf, fresh.boxes, unsure),
        *box_differences(data, shown if later else {**shown, COUNTER_FIELD: None}, unsure),
    ]
    if stated_texts(certified, FACILITY_FIELD) != signature_texts(again):
        found.append("the facility's signature states another reason or place")
    return found


def _countersigned(data: bytes, seal: PdfSignatures, fonts: Sequence[Path]) -> Step:
    """Compare the box of the second signature, which its own program drew.

    Which face drew letters of its names is not stated: another than is chosen here may have.
    """
    from compliance.verification.compare_pages import box_differences, box_drawn_by

    for signature in seal.signatures[1:]:
        drawn_by = result_or_exception(lambda: box_drawn_by(data, COUNTER_FIELD))
        if drawn_by != BOX_DRAWN_BY:
            theirs = drawn_by if isinstance(drawn_by, str) else None
            return _not_done(Statement("box-of-program", {"theirs": theirs, "ours": BOX_DRAWN_BY}))
        unlike = result_or_exception(
            lambda each=signature: list(  # type: ignore[misc]
                box_differences(data, {COUNTER_FIELD: _lettered_box(data, each, fonts)})
            )
        )
        other_letters = foreign_clusters(signer_texts(signature.signer, signature.role))
        if other_letters and unlike and isinstance(unlike, list | SheetError):
            return _not_done(Statement("box-letters-unsure"))
        if isinstance(unlike, Exception):
            unlike = [_fault(unlike)]
        if unlike:
            return _failed(Statement("other-pages"), tuple(map(quoted, unlike)))
    return Step(Check.PAGES, Status.OK, Statement("same-pages"))


def _lettered_box(data: bytes, signature: Signature, fonts: Sequence[Path]) -> bytes:
    """Draw the second box with the faces chosen here; SheetError for letters that none has."""
    from compliance.verification.compare_pages import box_corners

    chosen = lettering(signer_texts(signature.signer, signature.role), given_fonts(fonts))
    corners = box_corners(data, COUNTER_FIELD)
    return _appearance(signature, corners, chosen.faces, chosen.program)


def _appearance(
    signature: Signature,
    corners: tuple[int, int, int, int],
    faces: Sequence[Face],
    program: Program,
    assessed: datetime | None = None,
) -> bytes:
    """Draw what a box shows of a signature; ValueError if it names no time.

    The time is printed with the offset that `assessed` carries, in UTC without it.
    """
    from compliance.sheet.make_sheet import draw_stamp

    if signature.claimed is None:
        raise ValueError(f"{signature.field} names no time")
    x0, y0, x1, y1 = corners
    role = None if signature.field == FACILITY_FIELD else signature.role
    page = draw_stamp(
        signature.signer,
        signature.claimed.astimezone(assessed.tzinfo if assessed else UTC),
        width=x1 - x0,
        height=y1 - y0,
        role=role,
        faces=faces,
        program=program,
    )
    return with_appearance(page, x1 - x0, y1 - y0)


# ---------------------------------------------------------------- why they may differ


def _excuse(data: bytes, stated: Document, again: Assessment) -> Statement | None:
    """Return why unchanged pages may look different here; None if there is no reason."""
    from compliance.sheet.pdfa import PRODUCER
    from compliance.verification.compare_pages import box_drawn_by, producer

    theirs = standing(*tool_version(stated))
    if theirs not in (Standing.OURS, Standing.UNKNOWN):
        return _of_version(tool_version(stated)[0])
    computed = assessment_document(again)
    if result_or_exception(lambda: compare(stated, computed)) != ():
        return Statement("pages-of-other-assessment")
    if result_or_exception(lambda: digest(compared(stated))) != digest(compared(computed)):
        return Statement("pages-of-other-digits")
    for drawn_by, ours in (
        (result_or_exception(lambda: producer(data)), PRODUCER),
        (result_or_exception(lambda: box_drawn_by(data, FACILITY_FIELD)), BOX_DRAWN_BY),
    ):
        if isinstance(drawn_by, str) and drawn_by != ours:
            return Statement("pages-of-program", {"theirs": drawn_by, "ours": ours})
    return None


def _of_version(theirs: Any) -> Statement:
    return Statement("pages-of-version", {"theirs": theirs, "ours": TOOL.version})
