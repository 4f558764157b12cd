"""What a reader requires of a sheet beyond its being intact: `verify --require`.

Each requirement is met, not met, or cannot be told. An archived sheet stays intact whatever
becomes of its slot, so that only who requires something gets another exit code.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from compliance.model import Outcome
from compliance.model.results import (
    Answer,
    DeliveryVerification,
    Required,
    Validity,
    Verification,
)


def validity(sheet: Verification, at: datetime) -> Validity:
    """Return whether a sheet's verdict still holds at an aware time."""
    if sheet.exit_code == 1 or sheet.verdict is None:
        return Validity.UNKNOWN
    if sheet.valid_until is None:
        return Validity.NO_END
    return Validity.CURRENT if sheet.valid_until >= at else Validity.EXPIRED


def requirements_of(
    sheet: Verification, asked: Iterable[Required], at: datetime
) -> tuple[Answer, ...]:
    """Return what is asked of a sheet at an aware time, and whether it is met."""
    return tuple(Answer(each, _met(sheet, each, at)) for each in asked)


def _met(sheet: Verification, name: Required, at: datetime) -> bool | None:
    if sheet.exit_code == 1:
        return None
    if name is Required.COMPLIANT:
        return _compliant(sheet)
    if name is Required.CURRENT:
        return {Validity.CURRENT: True, Validity.EXPIRED: False}.get(validity(sheet, at))
    if name is Required.COUNTERSIGNED:
        return sheet.countersigned
    return _stamped(sheet)


def _compliant(sheet: Verification) -> bool | None:
    """Return what is stated, if the same comes out again; an undecided verdict is no answer."""
    computed = sheet.computed
    if computed is None or computed.verdict != sheet.verdict:
        return None
    return {Outcome.COMPLIANT: True, Outcome.NOT_COMPLIANT: False}.get(Outcome(computed.verdict))


def _stamped(sheet: Verification) -> bool | None:
    """Return whether a trusted authority stamped every signature."""
    stamps = [signature.stamp for signature in sheet.signatures]
    if not all(stamps):
        return False
    return True if all(each and each.trusted_as for each in stamps) else None


def requirements_of_delivery(
    delivery: DeliveryVerification, asked: Iterable[Required], at: datetime
) -> tuple[Answer, ...]:
    """Return what is asked of a delivery: met if every sheet meets it."""
    if delivery.exit_code == 1:
        return tuple(Answer(each, None) for each in asked)
    return tuple(
        Answer(each, _all([_met(sheet, each, at) for sheet in delivery.sheets.values()]))
        for each in asked
    )


def _all(answers: Sequence[bool | None]) -> bool | None:
    return False if False in answers else None if None in answers else True


def required_code(code: int, answers: Sequence[Answer]) -> int:
    """Return an exit code with what is required: unmet 1, cannot be told 3.

    A 3 replaces only a 0.
    """
    met = [each.met for each in answers]
    if code in (0, 3) and False in met:
        return 1
    return 3 if code == 0 and None in met else code
