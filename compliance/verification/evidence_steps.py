"""Steps 4 to 6: the evidence is what is stated, the assessment follows, the pages show it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from compliance.documents import assessment_document
from compliance.evidence.attachments import (
    Attached,
    Document,
    digest_faults,
    is_deviation,
    name_faults,
)
from compliance.model.signatures import Signer
from compliance.model.stated import TOOL
from compliance.plain_data import digest
from compliance.verification.compare import ABSENT, Difference, Topic, compare, tool_version
from compliance.verification.result import Expected, Outcome, Status, one_line, result_or_exception

if TYPE_CHECKING:
    from compliance.model import Assessment


OURS = (TOOL.version, TOOL.engine)
"""What computes here: its version, and the number of its definitions."""
MOST_DETAILS = 20
"""Differences told one by one; the rest is counted."""


SHAPELESS = "assessment.json has not the shape of one"

# ---------------------------------------------------------------- 4: the attachments


def check_attachments(
    attached: Attached | Exception,
    stated: Document | Exception,
    expected: Expected,
    facility: Signer | None,
) -> Outcome:
    """(4) `facility` is who signed the sheet first, where somebody did."""
    if isinstance(attached, Exception):
        return Status.FAIL, f"cannot be read: {one_line(attached)}", ()
    faults = list(name_faults(attached))
    if isinstance(stated, Exception):
        faults.append(one_line(stated))
    else:
        found = result_or_exception(lambda: list(digest_faults(attached, stated)))
        faults += _in_words(found) if isinstance(found, Exception) else found
    if faults:
        return Status.FAIL, "not what the assessment was made from", tuple(dict.fromkeys(faults))
    told = f"{', '.join(sorted(attached))}: as stated"
    accepted = result_or_exception(lambda: _who_accepted(attached, expected, facility))
    if isinstance(accepted, Exception):
        return Status.FAIL, one_line(accepted), ()
    lines = tuple(line for line, _ in accepted)
    if expected.any_signer or all(known for _, known in accepted):
        return Status.OK, told, lines
    return Status.UNKNOWN, f"{told}; a deviation's signer is not among the trusted", lines


def _in_words(fault: Exception) -> list[str]:
    return [one_line(fault) if isinstance(fault, ValueError) else SHAPELESS]


def _who_accepted(
    attached: Attached, expected: Expected, facility: Signer | None
) -> list[tuple[str, bool]]:
    if not any(map(is_deviation, attached)):
        return []
    from compliance.evidence.deviation_file import acceptor_trust

    return acceptor_trust(attached, expected.signers, expected.stamping, facility)


# ---------------------------------------------------------------- 5: once more


def check_recomputation(stated: Document | Exception, again: Assessment | Exception) -> Outcome:
    """(5)"""
    if isinstance(stated, Exception):
        return Status.FAIL, "not possible without the attachments", ()
    if isinstance(again, Exception):
        return Status.FAIL, f"not possible: {one_line(again)}", ()
    differences = result_or_exception(lambda: compare(stated, assessment_document(again)))
    if isinstance(differences, Exception):
        return Status.FAIL, SHAPELESS, ()
    return _compared(differences, tool_version(stated))


def _compared(differences: Sequence[Difference], theirs: tuple[Any, Any]) -> Outcome:
    """(5) Another version may word a remark otherwise or state less, another engine compute so."""
    about = {difference.topic for difference in differences}
    if not differences:
        return Status.OK, "every value, limit and verdict comes out as stated", ()
    if about == {Topic.WORDS} and theirs != OURS:
        text = f"comes out as stated; version {theirs[0]} had other remarks"
        return Status.OK, text, _told_each(differences)
    if theirs[0] != OURS[0] and all(each.stated is ABSENT for each in differences):
        text = f"comes out as stated; version {theirs[0]} did not state all that is stated today"
        return Status.OK, text, _told_each(differences)
    if theirs[1] != OURS[1]:
        text = (
            f"stated with definitions {theirs[1]}, computed with {OURS[1]}: "
            f"{len(differences)} differences, which that may explain"
        )
        return Status.UNKNOWN, text, _told_each(differences)
    told = "; ".join(topic for topic in Topic if topic in about)
    return Status.FAIL, told, _told_each(differences)


def _told_each(differences: Sequence[Difference]) -> tuple[str, ...]:
    told = tuple(str(difference) for difference in differences[:MOST_DETAILS])
    rest = len(differences) - len(told)
    return (*told, f"and {rest} more") if rest else told


LETTER_WIDTH = 612
"""Points; A4 has 595."""
MOST_DIFFERENCES = 10


def check_pages(
    data: bytes, stated: Document | Exception, again: Assessment | Exception, *, signed: bool
) -> Outcome:
    """(6) Alike in any case is proven; unlike is a fault only where nothing else explains it."""
    if not signed:
        return Status.NOT_DONE, "not compared: the sheet is not signed", ()
    if isinstance(stated, Exception) or isinstance(again, Exception):
        return Status.FAIL, "not possible without the evidence", ()
    found = result_or_exception(lambda: _differences(data, again))
    if found == []:
        return Status.OK, "drawn again from the evidence, they are those of the sheet", ()
    excuse = _excuse(data, stated, again)
    if excuse is not None:
        return Status.NOT_DONE, f"not compared: {excuse}", ()
    if isinstance(found, Exception):
        return Status.FAIL, "the pages cannot be compared: the file is damaged", ()
    text = "the pages do not show what the evidence says"
    return Status.FAIL, text, tuple(found[:MOST_DIFFERENCES])


def _differences(data: bytes, again: Assessment) -> list[str]:
    from compliance.sheet.make_sheet import archival_sheet
    from compliance.verification.compare_pages import differences, page_size

    width, _ = page_size(data)
    fresh = archival_sheet(again, page="letter" if round(width) == LETTER_WIDTH else "a4")
    return list(differences(data, fresh.pdf, fresh.boxes))


def _excuse(data: bytes, stated: Document, again: Assessment) -> str | None:
    """Why honest pages may look otherwise here; None if there is no reason."""
    theirs = tool_version(stated)
    if theirs != OURS:
        return f"version {theirs[0]} drew them, and this is {OURS[0]}"
    if result_or_exception(lambda: digest(stated)) != digest(assessment_document(again)):
        return "the assessment, computed again, is not the same to the last digit"
    drawn_by = result_or_exception(lambda: _producer(data))
    if isinstance(drawn_by, str) and drawn_by != (ours_by := _own_producer()):
        return f"{drawn_by} drew them, and this is {ours_by}"
    return None


def _producer(data: bytes) -> str:
    from compliance.verification.compare_pages import producer

    return producer(data)


def _own_producer() -> str:
    from compliance.sheet.pdfa import PRODUCER

    return PRODUCER
