"""Step 6: the pages show what the evidence says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from compliance.canonical import digest
from compliance.enclosures import Document
from compliance.recomputation import tool_of
from compliance.verification.outcome import Outcome, Status, attempt

if TYPE_CHECKING:
    from compliance.model import Assessment

__all__ = ["as_drawn"]

LETTER_WIDTH = 612
"""Points; A4 has 595."""
MOST_DETAILS = 10


def as_drawn(
    data: bytes, stated: Document | Exception, again: Assessment | Exception, *, signed: bool
) -> Outcome:
    """(6) Alike in any case is proven; unlike is a fault only where nothing else explains it."""
    if not signed:
        return Status.NOT_DONE, "not compared: the sheet is not signed", ()
    if isinstance(stated, Exception) or isinstance(again, Exception):
        return Status.FAIL, "not possible without the evidence", ()
    found = attempt(lambda: _differences(data, again))
    if found == []:
        return Status.OK, "drawn again from the evidence, they are those of the sheet", ()
    excuse = _excuse(data, stated, again)
    if excuse is not None:
        return Status.NOT_DONE, f"not compared: {excuse}", ()
    if isinstance(found, Exception):
        return Status.FAIL, "the pages cannot be compared: the file is damaged", ()
    text = "the pages do not show what the evidence says"
    return Status.FAIL, text, tuple(found[:MOST_DETAILS])


def _differences(data: bytes, again: Assessment) -> list[str]:
    from compliance.likeness import differences, page_size
    from compliance.sheet.write import archival_sheet

    width, _ = page_size(data)
    fresh = archival_sheet(again, page="letter" if round(width) == LETTER_WIDTH else "a4")
    return list(differences(data, fresh.pdf, fresh.boxes))


def _excuse(data: bytes, stated: Document, again: Assessment) -> str | None:
    """Why honest pages may look otherwise here; None if there is no reason."""
    theirs, ours = tool_of(stated), tool_of(again.document)
    if theirs != ours:
        return f"version {theirs[0]} drew them, and this is {ours[0]}"
    if attempt(lambda: digest(stated)) != digest(again.document):
        return "the assessment, computed again, is not the same to the last digit"
    drawn_by = attempt(lambda: _producer(data))
    if isinstance(drawn_by, str) and drawn_by != (ours_by := _own_producer()):
        return f"{drawn_by} drew them, and this is {ours_by}"
    return None


def _producer(data: bytes) -> str:
    from compliance.likeness import producer

    return producer(data)


def _own_producer() -> str:
    from compliance.sheet.archive import PRODUCER

    return PRODUCER
