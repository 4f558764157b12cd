"""Things noticed that are no requirement; they never change a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta

import numpy as np

from compliance.grading.match import MatchedReadings, matched
from compliance.model import Measurement, Meter, Readings, Remark, Requirement, Rule, Slot

FOOT_LAMBERT = 1 / (np.pi * 0.3048**2)
"""cd/m²: 1/π cd/ft², and the foot of 0.3048 m (NIST SP 811, B.8)."""
UNITS = {"fL": FOOT_LAMBERT, "mcd/m²": 0.001}
"""cd/m² that one of a unit is."""
ABOUT = 0.1
"""Share by which white may be off and still tell the unit (practice)."""
DARK = 1e-6
"""cd/m²"""
EXACT = 0.005
"""Share by which the brightest of readings that were normalised may be off."""
FAR = 0.3
"""Share of its target by which it differs then."""
DRIFT = 0.5
"""% of the mean from which a drift of the repeated white is worth a remark (practice)."""


def circumstance_remarks(
    measurement: Measurement, unproven: Sequence[Requirement], now: datetime
) -> tuple[Remark, ...]:
    """All remarks on one set of readings, the most serious first.

    `unproven` are the requirements that the meter is inadequate for.
    """
    case, meter, measured = matched(measurement), measurement.meter, measurement.measured
    remarks = [
        _certificate(meter, measured),
        _no_meter(meter),
        _inadequate(unproven),
        _changed_files(case.rule),
        _unversioned_files(case.rule),
        _correlation(meter),
        _repeatability(case, meter),
        _future(measured, now),
        _older_than_calibration(measurement.slot, measured),
        _normalised(case),
        _other_unit(case),
        _drift(case, measurement.graded),
    ]
    return tuple(remark for remark in remarks if remark is not None)


def _certificate(meter: Meter | None, measured: datetime | None) -> Remark | None:
    due = meter.certificate.due if meter and meter.certificate else None
    if meter is None or due is None or measured is None:
        return None
    if measured < datetime.combine(due, time(), UTC) + timedelta(days=1):
        return None
    return Remark("meter-past-due", {"meter": meter.name, "due": due})


def _no_meter(meter: Meter | None) -> Remark | None:
    if meter is None:
        return Remark("no-meter")
    return Remark("no-uncertainty") if meter.uncertainty is None else None


def _inadequate(unproven: Sequence[Requirement]) -> Remark | None:
    titles = tuple(requirement.title for requirement in unproven)
    return Remark("meter-inadequate", {"titles": titles}) if titles else None


def _correlation(meter: Meter | None) -> Remark | None:
    uncertainty = meter.uncertainty if meter else None
    if uncertainty is None or uncertainty.correlation is not None or not uncertainty.chromaticity:
        return None
    return Remark("correlation-unknown")


def _changed_files(rule: Rule) -> Remark | None:
    files = tuple(file.path for file in rule.files if file.dirty)
    return Remark("rule-changed", {"files": files}) if files else None


def _unversioned_files(rule: Rule) -> Remark | None:
    files = tuple(file.path for file in rule.files if file.commit is None and not file.shipped)
    return Remark("rule-unversioned", {"files": files}) if files else None


def _repeatability(case: MatchedReadings, meter: Meter | None) -> Remark | None:
    uncertainty = meter.uncertainty if meter else None
    if uncertainty is None or uncertainty.repeatability or not np.isnan(case.deviation).any():
        return None
    return Remark("repeatability-unknown")


def _future(measured: datetime | None, now: datetime) -> Remark | None:
    return None if measured is None or measured <= now else Remark("measured-later")


def _older_than_calibration(slot: Slot | None, measured: datetime | None) -> Remark | None:
    if slot is None or slot.readings is None or slot.calibrated is None or measured is None:
        return None
    if measured != slot.readings.measured or measured >= slot.calibrated:
        return None
    return Remark("older-than-calibration")


def _normalised(case: MatchedReadings) -> Remark | None:
    index = case.built_in("white")
    if index is not None and float(case.view.xyz[index, 1]) == 100.0:
        return Remark("normalised", variant="white")
    brightest = int(np.argmax(case.view.xyz[:, 1]))
    read = float(case.view.xyz[brightest, 1])
    nominal = max(float(case.patches.nominal[brightest]), DARK)
    for whole in (1.0, 100.0):
        if abs(read / whole - 1) <= EXACT and abs(read / nominal - 1) > FAR:
            return Remark("normalised", {"read": read, "nominal": nominal}, variant="brightest")
    return None


def _other_unit(case: MatchedReadings) -> Remark | None:
    """White, and the brightest patch, that would be the rule's if the file were in another unit."""
    index = case.built_in("white")
    if index is None:
        return None
    brightest = int(np.argmax(case.view.xyz[:, 1]))
    asked = np.maximum(case.patches.nominal[[index, brightest]], DARK)
    shares = case.view.xyz[[index, brightest], 1] / asked
    read, nominal = float(case.view.xyz[index, 1]), float(case.patches.nominal[index])
    for unit, factor in UNITS.items():
        if np.abs(shares * factor - 1).max() <= ABOUT:
            return Remark(
                "unit",
                {"read": read, "unit": unit, "converted": read * factor, "nominal": nominal},
            )
    return None


def _drift(case: MatchedReadings, readings: Readings) -> Remark | None:
    """Linear drift of the repeated white in the order of the file."""
    index = case.built_in("white")
    if index is None or case.patches.count[index] < 3:
        return None
    places = np.sort(case.patches.order[case.patches.rows == index])
    luminance = readings.xyz[places, 1]
    if luminance.mean() <= 0:
        return None
    slope = float(np.polyfit(np.linspace(0.0, 1.0, len(places)), luminance, 1)[0])
    change = 100 * slope / float(luminance.mean())
    if abs(change) < DRIFT:
        return None
    return Remark("drift", {"change": change, "times": len(places)})
