"""How long a verified sheet holds, and whether it has what a reader requires, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from compliance.model.results import Answer, Required, Validity
from compliance.report.numbers import format_time

NO_END = "No end of validity is stated"
REQUIRED: Mapping[tuple[Required, bool], str] = {
    (Required.COMPLIANT, True): "the verdict is compliant",
    (Required.COMPLIANT, False): "the verdict is not compliant",
    (Required.CURRENT, True): "the verdict is still valid",
    (Required.CURRENT, False): "the verdict is no longer valid",
    (Required.COUNTERSIGNED, True): "somebody signed for the client",
    (Required.COUNTERSIGNED, False): "nobody signed for the client",
    (Required.STAMPED, True): "a trusted authority stamped every signature",
    (Required.STAMPED, False): "not every signature has a time stamp",
}


def validity_words(state: Validity, until: datetime | None) -> str:
    """Say until when a verdict holds, or since when it does not; nothing if that is unknown."""
    if state is Validity.NO_END:
        return NO_END
    if state is Validity.UNKNOWN or until is None:
        return ""
    if state is Validity.EXPIRED:
        return f"Expired since {format_time(until)}: measure again"
    return f"Measure again by {format_time(until)}"


def delivery_validity_words(ends: Sequence[tuple[Validity, datetime | None]]) -> str:
    """Say the same of a delivery: how many of its sheets have expired, or which ends first."""
    expired = sum(state is Validity.EXPIRED for state, _ in ends)
    if expired:
        which = "its sheet" if len(ends) == 1 else f"{expired} of its {len(ends)} sheets"
        return f"Expired: {which}; measure again"
    current = [until for state, until in ends if state is Validity.CURRENT and until is not None]
    if current:
        return validity_words(Validity.CURRENT, min(current))
    return NO_END if any(state is Validity.NO_END for state, _ in ends) else ""


def answer_words(answer: Answer) -> str:
    """Say whether something required is met."""
    if answer.met is None:
        return f"{answer.name}: cannot be told"
    word = "met" if answer.met else "not met"
    return f"{answer.name}: {word}: {REQUIRED[answer.name, answer.met]}"


ENDING: Mapping[str, str] = {
    "validity": "the verdict of {name}",
    "meter-certificate": "the certificate of the meter {name}",
    "deviation": "the deviation for {name}",
    "signer-certificate": "the certificate of the signer {name}",
}


def ending_words(kind: str, name: str, end: datetime, *, ended: bool) -> str:
    """Say when something ended or ends."""
    what = ENDING[kind].format(name=name)
    if not ended:
        return f"{what} expires on {format_time(end)}"
    hint = "; measure again" if kind == "validity" else ""
    return f"{what} has expired on {format_time(end)}{hint}"
