"""The steps of a verification, numbered as in its plan.

1: the file. 2, 3 and 6, who signed it, when, and what its pages show, are in `signer_check`,
`time_check` and `page_check`. 4 and 5: the evidence is as stated, the assessment follows from it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeVar

from compliance.documents import assessment_document
from compliance.errors import ComplianceError, InputError
from compliance.evidence.attachments import (
    Attached,
    Document,
    digest_faults,
    effective_deviations,
    is_deviation,
    name_faults,
)
from compliance.model import Facts, Statement, Texts
from compliance.model.results import Check, Expected, Status, Step
from compliance.model.signatures import Detached, Signer
from compliance.model.stated import ENGINE, SCHEMA, TOOL, number_digits
from compliance.signing.read import PdfSignatures
from compliance.verification.compare import (
    ABSENT,
    Difference,
    Topic,
    compare,
    tool_version,
)
from compliance.verification.other_engine import evidence_differences, outcome_differences
from compliance.verification.signer_check import client_trust
from compliance.verification.versions import Standing, standing

if TYPE_CHECKING:
    from compliance.model import Assessment


MOST_DETAILS = 20
"""The number of faults that are listed; the rest is counted."""

T = TypeVar("T")


def result_or_exception(do: Callable[[], T]) -> T | Exception:
    """Return the result of `do`, or the exception it raised: a damaged file can raise any."""
    try:
        return do()
    except Exception as fault:
        return fault


def one_line(fault: Exception) -> str:
    """Describe an exception in one line."""
    if isinstance(fault, InputError):
        return "; ".join(str(problem) for problem in fault.problems)
    words = str(fault).splitlines()[0] if str(fault) else ""
    if isinstance(fault, ValueError | ComplianceError):
        return words or type(fault).__name__
    return f"{type(fault).__name__}: {words}"


class WithheldError(Exception):
    """The assessment was not computed again, since no signature answers for its evidence."""

    def __init__(self, *, unsigned: bool) -> None:
        super().__init__()
        self.why = Statement("not-done-unsigned" if unsigned else "not-done-changed")


def quoted(text: str) -> Statement:
    """Wrap a fault that already has its words."""
    return Statement("fault", Texts(text))


def first_details(details: Iterable[Statement], most: int = MOST_DETAILS) -> tuple[Statement, ...]:
    """Return the first of many details, and the number of the rest."""
    rest = iter(details)
    first = tuple(islice(rest, most))
    left = sum(1 for _ in rest)
    return (*first, Statement("more", {"count": left})) if left else first


SealOrFault = PdfSignatures | Exception


# ---------------------------------------------------------------- 1: the file


def check_intact(seal: SealOrFault) -> Step:
    """Check that the file is as it was signed (1)."""
    if isinstance(seal, Exception):
        unreadable = Statement("unreadable-pdf", {"fault": one_line(seal)})
        return Step(Check.INTACT, Status.FAIL, unreadable)
    if not seal.signatures:
        return Step(Check.INTACT, Status.FAIL, Statement("unsigned"))
    if seal.all_faults:
        details = tuple(map(quoted, seal.all_faults))
        return Step(Check.INTACT, Status.FAIL, Statement("changed"), details)
    intact = Statement("intact", {"count": len(seal.signatures), "stamps": len(seal.stamps)})
    added = tuple(
        Statement("only-signed", {"field": signature.field, "role": signature.role})
        for signature in seal.signatures[1:]
    )
    stamped = tuple(Statement("only-stamped", {"field": stamp.field}) for stamp in seal.stamps)
    return Step(Check.INTACT, Status.OK, intact, (*added, *stamped))


DIGITS = number_digits(SCHEMA)
"""Hex digits in the number of today's documents."""

# ---------------------------------------------------------------- 4: the attachments


def check_attachments(
    attached: Attached | Exception,
    stated: Document | Exception,
    expected: Expected,
    facility: Signer | None,
) -> Step:
    """Check that the attachments are as stated (4); `facility` is the sheet's first signer."""
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
    held = effective_deviations(attached, stated) if isinstance(stated, Mapping) else attached
    accepted = result_or_exception(lambda: _who_accepted(held, expected, facility))
    if isinstance(accepted, Exception):
        return Step(Check.ATTACHMENTS, Status.FAIL, quoted(one_line(accepted)))
    names: Facts = {"names": tuple(sorted(attached))}
    details = tuple(quoted(line) for _, line, _ in accepted)
    if isinstance(stated, Mapping) and (digits := number_digits(stated.get("schema"))) < DIGITS:
        details = (*details, Statement("short-number", {"digits": digits, "today": DIGITS}))
    judged = [(name, *client_trust(signature, expected)) for name, _, signature in accepted]
    for name, status, trust in judged:
        if status is Status.FAIL:
            namesake = Statement("acceptor-namesake", {"file": name, "trust": trust})
            return Step(Check.ATTACHMENTS, status, namesake, details)
    if all(status is Status.OK for _, status, _ in judged):
        return Step(Check.ATTACHMENTS, Status.OK, Statement("attachments", names), details)
    untrusted = Statement("attachments", names, "acceptor-untrusted")
    return Step(Check.ATTACHMENTS, Status.UNKNOWN, untrusted, details)


def _shape_fault(fault: Exception) -> Statement:
    return quoted(one_line(fault)) if isinstance(fault, ValueError) else Statement("shapeless")


def _who_accepted(
    attached: Attached, expected: Expected, facility: Signer | None
) -> list[tuple[str, str, Detached]]:
    if not any(map(is_deviation, attached)):
        return []
    from compliance.evidence.deviation_file import acceptors_of

    return acceptors_of(attached, expected, facility)


# ---------------------------------------------------------------- 5: computed again


def check_recomputation(stated: Document | Exception, again: Assessment | Exception) -> Step:
    """Check that the recomputed assessment is as stated (5)."""
    if isinstance(stated, Exception):
        return Step(Check.RECOMPUTATION, Status.FAIL, Statement("no-attachments"))
    if isinstance(again, WithheldError):
        return Step(Check.RECOMPUTATION, Status.NOT_DONE, again.why)
    version, engine = tool_version(stated)
    theirs = standing(version, engine)
    if theirs is Standing.LATER_ENGINE:
        newer = Statement("newer-engine", {"stated": engine, "ours": ENGINE})
        return Step(Check.RECOMPUTATION, Status.UNKNOWN, newer)
    if isinstance(again, Exception):
        impossible = Statement("not-computable", {"fault": one_line(again)})
        return Step(Check.RECOMPUTATION, Status.FAIL, impossible)
    if theirs is Standing.EARLIER:
        step = result_or_exception(lambda: _by_other_definitions(stated, again))
        shapeless = Step(Check.RECOMPUTATION, Status.FAIL, Statement("shapeless"))
        return shapeless if isinstance(step, Exception) else step
    differences = result_or_exception(lambda: compare(stated, assessment_document(again)))
    if isinstance(differences, Exception):
        return Step(Check.RECOMPUTATION, Status.FAIL, Statement("shapeless"))
    status, result = _compared(differences, theirs, version)
    details = first_details(quoted(str(difference)) for difference in differences)
    if theirs is Standing.UNKNOWN:
        stated_tool: Facts = {"version": str(version), "engine": str(engine)}
        details = (Statement("never-released", stated_tool), *details)
    return Step(Check.RECOMPUTATION, status, result, details)


def _compared(
    differences: Sequence[Difference], theirs: Standing, version: Any
) -> tuple[Status, Statement]:
    """Judge the differences of a sheet of this engine (5).

    Another version may word remarks differently, and a later one may state more.
    """
    topics = {difference.topic for difference in differences} - {Topic.EDGE}
    if not differences and theirs is Standing.UNKNOWN:
        return Status.UNKNOWN, Statement("as-stated")
    if not differences:
        return Status.OK, Statement("same-again")
    if not topics:
        return Status.UNKNOWN, Statement("on-the-edge")
    if topics == {Topic.WORDS} and theirs is Standing.RELEASED:
        return Status.UNKNOWN, Statement("other-remarks", {"version": version})
    if theirs is Standing.LATER and all(map(_may_be_later, differences)):
        newer = {"version": version, "ours": TOOL.version}
        return Status.UNKNOWN, Statement("later-version", newer)
    return Status.FAIL, _topics(differences)


def _may_be_later(difference: Difference) -> bool:
    """Return whether a later version may state this: other words, or a key that we lack."""
    return difference.topic in (Topic.WORDS, Topic.EDGE) or difference.computed is ABSENT


def _by_other_definitions(stated: Document, again: Assessment) -> Step:
    """Judge a sheet of an earlier engine (5): its evidence and limits must agree."""
    computed = assessment_document(again)
    faults = evidence_differences(stated, computed, again.rule)
    if faults:
        details = first_details(quoted(str(fault)) for fault in faults)
        return Step(Check.RECOMPUTATION, Status.FAIL, _topics(faults), details)
    otherwise = outcome_differences(stated, computed)
    facts: Facts = {
        "stated": tool_version(stated)[1],
        "computed": ENGINE,
        "count": len({each.place.partition(":")[0] for each in otherwise}),
        "all": len(computed["findings"]),
    }
    details = first_details(quoted(str(each)) for each in otherwise)
    result = Statement("other-definitions", facts)
    return Step(Check.RECOMPUTATION, Status.UNKNOWN, result, details)


def _topics(differences: Sequence[Difference]) -> Statement:
    topics = {difference.topic for difference in differences}
    return quoted("; ".join(topic for topic in Topic if topic in topics))
