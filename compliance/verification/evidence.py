"""Steps 4 and 5: the evidence is what the assessment states, and the assessment follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from compliance.enclosures import (
    Attached,
    Document,
    digest_faults,
    is_deviation,
    name_faults,
)
from compliance.identity import Signer
from compliance.recomputation import ABSENT, Difference, Topic, compare, tool_of
from compliance.verification.outcome import Expected, Outcome, Status, attempt, reason

__all__ = ["as_stated", "computed_again"]

MOST_DETAILS = 20
"""Differences told one by one; the rest is counted."""


SHAPELESS = "assessment.json has not the shape of one"

# ---------------------------------------------------------------- 4: the attachments


def as_stated(
    attached: Attached | Exception,
    stated: Document | Exception,
    expected: Expected,
    facility: Signer | None,
) -> Outcome:
    """(4) `facility` is who signed the sheet first, where somebody did."""
    if isinstance(attached, Exception):
        return Status.FAIL, f"cannot be read: {reason(attached)}", ()
    faults = list(name_faults(attached))
    if isinstance(stated, Exception):
        faults.append(reason(stated))
    else:
        found = attempt(lambda: list(digest_faults(attached, stated)))
        faults += _in_words(found) if isinstance(found, Exception) else found
    if faults:
        return Status.FAIL, "not what the assessment was made from", tuple(dict.fromkeys(faults))
    told = f"{', '.join(sorted(attached))}: as stated"
    accepted = attempt(lambda: _who_accepted(attached, expected, facility))
    if isinstance(accepted, Exception):
        return Status.FAIL, reason(accepted), ()
    lines = tuple(line for line, _ in accepted)
    if expected.any_signer or all(known for _, known in accepted):
        return Status.OK, told, lines
    return Status.UNKNOWN, f"{told}; a deviation's signer is not among the trusted", lines


def _in_words(fault: Exception) -> list[str]:
    return [reason(fault) if isinstance(fault, ValueError) else SHAPELESS]


def _who_accepted(
    attached: Attached, expected: Expected, facility: Signer | None
) -> list[tuple[str, bool]]:
    if not any(map(is_deviation, attached)):
        return []
    from compliance.deviations import who_accepted

    return who_accepted(attached, expected.signers, expected.stamping, facility)


# ---------------------------------------------------------------- 5: once more


def computed_again(stated: Document | Exception, again: Document | Exception) -> Outcome:
    """(5)"""
    if isinstance(stated, Exception):
        return Status.FAIL, "not possible without the attachments", ()
    if isinstance(again, Exception):
        return Status.FAIL, f"not possible: {reason(again)}", ()
    differences = attempt(lambda: compare(stated, again))
    if isinstance(differences, Exception):
        return Status.FAIL, SHAPELESS, ()
    return _compared(differences, tool_of(stated), tool_of(again))


def _compared(
    differences: Sequence[Difference], theirs: tuple[Any, Any], ours: tuple[Any, Any]
) -> Outcome:
    """(5) Another version may word a remark otherwise or state less, another engine compute so."""
    about = {difference.topic for difference in differences}
    if not differences:
        return Status.OK, "every value, limit and verdict comes out as stated", ()
    if about == {Topic.WORDS} and theirs != ours:
        text = f"comes out as stated; version {theirs[0]} had other remarks"
        return Status.OK, text, _told_each(differences)
    if theirs[0] != ours[0] and all(each.stated is ABSENT for each in differences):
        text = f"comes out as stated; version {theirs[0]} did not state all that is stated today"
        return Status.OK, text, _told_each(differences)
    if theirs[1] != ours[1]:
        text = (
            f"stated with definitions {theirs[1]}, computed with {ours[1]}: "
            f"{len(differences)} differences, which that may explain"
        )
        return Status.UNKNOWN, text, _told_each(differences)
    told = "; ".join(topic for topic in Topic if topic in about)
    return Status.FAIL, told, _told_each(differences)


def _told_each(differences: Sequence[Difference]) -> tuple[str, ...]:
    told = tuple(str(difference) for difference in differences[:MOST_DETAILS])
    rest = len(differences) - len(told)
    return (*told, f"and {rest} more") if rest else told
