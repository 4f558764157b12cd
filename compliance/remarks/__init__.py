"""Observations about readings that are not requirements; they never change a verdict."""

from __future__ import annotations

from collections.abc import Sequence

from compliance.grading.match import matched
from compliance.model import Cause, Measurement, Remark
from compliance.remarks.circumstances import (
    ambient,
    background,
    black_unmeasured,
    dimming,
    encoding,
)
from compliance.remarks.expected_light import Array, order, readings_lag, rows
from compliance.remarks.meter_limits import (
    all_identical,
    floor,
    observer,
    repeatability,
    repeats_disagree,
    repeats_identical,
    saturation,
)

EXPLAINED = {
    "out-of-order": {"channels"},
    "dimmed-by-area": {"limiter"},
    "dimmed-in-time": {"sag"},
}
"""Causes that make a remark superfluous, or make correct readings look wrong."""


def reading_remarks(
    measurement: Measurement, causes: Sequence[Cause] = (), expected: Array | None = None
) -> tuple[Remark, ...]:
    """Remarks on odd readings, the most serious first.

    Remarks that one of the display's `causes` explains are left out; `expected` (P, 3) is the
    XYZ of the patches with these causes, NaN if not modelled.
    """
    case, readings = matched(measurement), measurement.graded
    shown = rows(case, readings, expected)
    nothing = all_identical(readings, shown)
    remarks = [
        encoding(case, readings) or readings_lag(case, readings) or order(shown),
        observer(case),
        nothing or saturation(case, readings, shown),
        None if nothing else floor(case, readings, shown),
        repeats_disagree(case) or repeats_identical(case) or repeatability(case, measurement.meter),
        ambient(case, measurement.job, measurement.entry),
        black_unmeasured(case),
        dimming(case, "window"),
        dimming(case, "seconds"),
        background(case),
    ]
    kinds = {cause.kind for cause in causes}
    return tuple(
        remark
        for remark in remarks
        if remark is not None and not kinds & EXPLAINED.get(remark.kind, set())
    )
