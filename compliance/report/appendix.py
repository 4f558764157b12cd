"""Readings as a table: an appendix of a sheet, on request."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from compliance.model import Appendix, Assessment, GradedReadings, Place
from compliance.report.numbers import NONE, format_plain
from compliance.report.report import ReadingTable
from compliance.report.words.en import headings


def reading_tables(assessment: Assessment) -> tuple[ReadingTable, ...]:
    """The tables of an assessment's readings, those before calibration last; empty unless asked."""
    if Appendix.READINGS not in assessment.appendices:
        return ()
    states = [(assessment.state, assessment.heading == "before")]
    if assessment.before is not None:
        states.append((assessment.before, True))
    return tuple(
        ReadingTable(headings.readings_title(before=before), tuple(_rows(state)))
        for state, before in states
    )


def _rows(state: GradedReadings) -> Iterable[tuple[str, ...]]:
    readings, own = state.readings, state.measurement.rule.window
    known = _known(state)
    for row in range(len(readings)):
        a, b, c = map(int, readings.codes[row])
        stated = float(readings.window[row])
        window = own if math.isnan(stated) else stated
        place = (a, b, c), readings.position[row], window
        name, target = known.get(place, (NONE, NONE))
        where = f"{readings.position[row]}, {format_plain(window)}\u00a0%"
        xyz = (format_plain(float(value)) for value in readings.xyz[row])
        yield name, f"{a} {b} {c}", where, *xyz, target


def _known(state: GradedReadings) -> Mapping[Place, tuple[str, str]]:
    """Name and target luminance of the patches in findings; of two scales both targets."""
    names: dict[Place, str] = {}
    targets: dict[Place, dict[str, None]] = {}
    for finding in state.findings:
        for point in finding.points:
            names.setdefault(point.place, point.name)
            if point.target is not None:
                shown = f"{point.target:.5g}"
                targets.setdefault(point.place, {})[format_plain(float(shown))] = None
    return {
        place: (name or NONE, " / ".join(targets.get(place, ())) or NONE)
        for place, name in names.items()
    }
