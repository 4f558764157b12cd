"""All checks of one set of readings."""

from __future__ import annotations

from collections.abc import Sequence

from compliance.checks.background import background
from compliance.checks.dimming import dimming
from compliance.checks.encoding import encoding
from compliance.checks.expected import Array, rows
from compliance.checks.observer import observer
from compliance.checks.order import behind, order
from compliance.checks.reach import alike, floor, saturation
from compliance.checks.repeatability import conflicting, copied, repeatability
from compliance.checks.room import ambient, unseen
from compliance.grading.case import Case
from compliance.model import Cause, Job, Meter, Readings, ReadingsEntry, Remark

__all__ = ["checks"]

EXPLAINED = {
    "out-of-order": {"channels"},
    "dimmed-by-area": {"limiter"},
    "dimmed-in-time": {"sag"},
}
"""Causes that a remark would only repeat, or that make a display look as if its readings were
wrong."""


def checks(
    case: Case,
    readings: Readings,
    *,
    meter: Meter | None,
    job: Job | None,
    entry: ReadingsEntry | None,
    causes: Sequence[Cause] = (),
    expected: Array | None = None,
) -> tuple[Remark, ...]:
    """What is odd about the readings as readings, the gravest first.

    Left out is what one of the display's own `causes` explains; `expected` (P, 3) is the XYZ
    that they make of the patches, NaN where they say nothing.
    """
    shown = rows(case, readings, expected)
    nothing = alike(readings, shown)
    found = [
        encoding(case, readings) or behind(case, readings) or order(shown),
        observer(case),
        nothing or saturation(case, readings, shown),
        None if nothing else floor(case, readings, shown),
        conflicting(case) or copied(case) or repeatability(case, meter),
        ambient(case, job, entry),
        unseen(case),
        dimming(case, "window"),
        dimming(case, "seconds"),
        background(case),
    ]
    kinds = {one.kind for one in causes}
    return tuple(
        remark
        for remark in found
        if remark is not None and not kinds & EXPLAINED.get(remark.kind, set())
    )
