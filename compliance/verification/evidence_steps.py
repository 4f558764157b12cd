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
from compliance.model import Facts, Statement
from compliance.model.signatures import Signer
from compliance.model.stated import TOOL
from compliance.model.verification import Check, Expected, Status, Step
from compliance.plain_data import digest
from compliance.verification.compare import ABSENT, Difference, Topic, compare, tool_version
from compliance.verification.faults import (
    first_details,
    one_line,
    quoted,
    result_or_exception,
)

if TYPE_CHECKING:
    from compliance.model import Assessment


OURS = (TOOL.version, TOOL.engine)
"""What computes here: its version, and the number of its definitions."""

# ---------------------------------------------------------------- 4: the attachments


def check_attachments(
    attached: Attached | Exception,
    stated: Document | Exception,
    expected: Expected,
    facility: Signer | None,
) -> Step:
    """(4) `facility` is who signed the sheet first, where somebody did."""
    if isinstance(attached, Exception):
        unreadable = Statement("unreadable-attachments", {"fault": one_line(attached)})
        return Step(Check.ATTACHMENTS, Status.FAIL, unreadable)
    faults = list(map(quoted, name_faults(attached)))
    if isinstance(stated, Exception):
        faults.append(quoted(one_line(stated)))
    else:
        unlike = result_or_exception(lambda: list(digest_faults(attached, stated)))
        faults += [_shape_fault(unlike)] if isinstance(unlike, Exception) else map(quoted, unlike)
    if faults:
        details = tuple(fault for at, fault in enumerate(faults) if fault not in faults[:at])
        return Step(Check.ATTACHMENTS, Status.FAIL, Statement("not-the-source"), details)
    accepted = result_or_exception(lambda: _who_accepted(attached, expected, facility))
    if isinstance(accepted, Exception):
        return Step(Check.ATTACHMENTS, Status.FAIL, quoted(one_line(accepted)))
    names: Facts = {"names": tuple(sorted(attached))}
    details = tuple(quoted(line) for line, _ in accepted)
    if expected.any_signer or all(known for _, known in accepted):
        return Step(Check.ATTACHMENTS, Status.OK, Statement("attachments", names), details)
    untrusted = Statement("attachments", names, "acceptor-untrusted")
    return Step(Check.ATTACHMENTS, Status.UNKNOWN, untrusted, details)


def _shape_fault(fault: Exception) -> Statement:
    return quoted(one_line(fault)) if isinstance(fault, ValueError) else Statement("shapeless")


def _who_accepted(
    attached: Attached, expected: Expected, facility: Signer | None
) -> list[tuple[str, bool]]:
    if not any(map(is_deviation, attached)):
        return []
    from compliance.evidence.deviation_file import acceptor_trust

    return acceptor_trust(attached, expected.signers, expected.stamping, facility)


# ---------------------------------------------------------------- 5: once more


def check_recomputation(stated: Document | Exception, again: Assessment | Exception) -> Step:
    """(5)"""
    if isinstance(stated, Exception):
        return Step(Check.RECOMPUTATION, Status.FAIL, Statement("no-attachments"))
    if isinstance(again, Exception):
        impossible = Statement("not-computable", {"fault": one_line(again)})
        return Step(Check.RECOMPUTATION, Status.FAIL, impossible)
    differences = result_or_exception(lambda: compare(stated, assessment_document(again)))
    if isinstance(differences, Exception):
        return Step(Check.RECOMPUTATION, Status.FAIL, Statement("shapeless"))
    status, result = _compared(differences, tool_version(stated))
    details = first_details(quoted(str(difference)) for difference in differences)
    return Step(Check.RECOMPUTATION, status, result, details)


def _compared(
    differences: Sequence[Difference], theirs: tuple[Any, Any]
) -> tuple[Status, Statement]:
    """(5) Another version may word a remark otherwise or state less, another engine compute so."""
    topics = {difference.topic for difference in differences}
    if not differences:
        return Status.OK, Statement("same-again")
    if topics == {Topic.WORDS} and theirs != OURS:
        return Status.OK, Statement("other-remarks", {"version": theirs[0]})
    if theirs[0] != OURS[0] and all(each.stated is ABSENT for each in differences):
        return Status.OK, Statement("stated-less", {"version": theirs[0]})
    if theirs[1] != OURS[1]:
        facts = {"stated": theirs[1], "computed": OURS[1], "count": len(differences)}
        return Status.UNKNOWN, Statement("other-definitions", facts)
    return Status.FAIL, quoted("; ".join(topic for topic in Topic if topic in topics))


# ---------------------------------------------------------------- 6: the pages

LETTER_WIDTH = 612
"""Points; A4 has 595."""
MOST_DIFFERENCES = 10


def check_pages(
    data: bytes, stated: Document | Exception, again: Assessment | Exception, *, signed: bool
) -> Step:
    """(6) Alike in any case is proven; unlike is a fault only where nothing else explains it."""
    if not signed:
        return Step(Check.PAGES, Status.NOT_DONE, Statement("pages-unsigned"))
    if isinstance(stated, Exception) or isinstance(again, Exception):
        return Step(Check.PAGES, Status.FAIL, Statement("no-evidence"))
    unlike = result_or_exception(lambda: _differences(data, again))
    if unlike == []:
        return Step(Check.PAGES, Status.OK, Statement("same-pages"))
    excuse = _excuse(data, stated, again)
    if excuse is not None:
        return Step(Check.PAGES, Status.NOT_DONE, excuse)
    if isinstance(unlike, Exception):
        return Step(Check.PAGES, Status.FAIL, Statement("pages-damaged"))
    details = tuple(map(quoted, unlike[:MOST_DIFFERENCES]))
    return Step(Check.PAGES, Status.FAIL, Statement("other-pages"), details)


def _differences(data: bytes, again: Assessment) -> list[str]:
    from compliance.sheet.make_sheet import archival_sheet
    from compliance.verification.compare_pages import differences, page_size

    width, _ = page_size(data)
    fresh = archival_sheet(again, page="letter" if round(width) == LETTER_WIDTH else "a4")
    return list(differences(data, fresh.pdf, fresh.boxes))


def _excuse(data: bytes, stated: Document, again: Assessment) -> Statement | None:
    """Why honest pages may look otherwise here; None if there is no reason."""
    theirs = tool_version(stated)
    if theirs != OURS:
        return Statement("pages-of-version", {"theirs": theirs[0], "ours": OURS[0]})
    if result_or_exception(lambda: digest(stated)) != digest(assessment_document(again)):
        return Statement("pages-of-other-digits")
    drawn_by = result_or_exception(lambda: _producer(data))
    if isinstance(drawn_by, str) and drawn_by != (ours_by := _own_producer()):
        return Statement("pages-of-program", {"theirs": drawn_by, "ours": ours_by})
    return None


def _producer(data: bytes) -> str:
    from compliance.verification.compare_pages import producer

    return producer(data)


def _own_producer() -> str:
    from compliance.sheet.pdfa import PRODUCER

    return PRODUCER
