"""From readings to likely causes: direct tests, then models of a display with faults.

Causes that cannot be told apart stand together at one rank. A cause is reported only if it
explains a requirement that is outside (`gate`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from compliance.diagnosis.candidates import candidates
from compliance.diagnosis.fitting import Array
from compliance.diagnosis.gate import Missed, explained_by, missed
from compliance.diagnosis.groups import Group
from compliance.diagnosis.meter_faults import UNKNOWN, Instrument, instrument_of
from compliance.grading.match import MatchedReadings, matched
from compliance.model import Cause, Finding, Level, Measurement, Readings

CAUSES: Mapping[str, str] = {
    "unloaded": "slot never loaded: before equals after",
    "range": "full and narrow range mixed up, either way",
    "curve": "another transfer function",
    "channels": "channels swapped",
    "primaries": "other primaries, of the signal or of the display",
    "white": "white at another standard white, on the daylight locus, or elsewhere",
    "limiter": "luminance limited by area",
    "sag": "luminance that falls while a patch is shown",
    "highlights": "highlights clipped or bent",
    "blacks": "blacks crushed",
    "raised-black": "light added in the dark, or the black level set too high",
    "gain": "gain of one channel",
    "offset": "offset of one channel",
    "clipping": "one channel ends below white",
    "tint": "mid-greys tinted by one channel",
    "crosstalk": "channels leak into each other",
    "deliverable": "another deliverable's table",
    "luminance": "white set to another luminance",
    "misread": "a reading that disagrees with all others",
    "drift": "warm-up drift",
    "colour-drift": "white that changes its colour during the session",
    "meter": "meter not matched to this display",
}
"""Every kind of cause."""


class Diagnosis(NamedTuple):
    """The likely causes, and the light of a display with them."""

    causes: tuple[Cause, ...]
    """The likeliest first."""
    expected: Array | None = None
    """(P, 3) XYZ in cd/m² of the case's patches, NaN if not modelled; None: the target"""


def diagnosis_of(measurement: Measurement, findings: Sequence[Finding]) -> Diagnosis:
    """Likely causes of the findings outside their limits, each with those that it explains.

    Causes of a shall come before those of recommendations alone. Searches nothing if no finding is
    outside.
    """
    case, as_found = matched(measurement), measurement.as_found
    outside = missed(case, findings)
    if not outside:
        return Diagnosis(())
    before = as_found.graded if as_found else None
    groups, expected = candidates(case, measurement.graded, before, instrument_of(measurement))
    explaining = [_explaining(group, outside, case) for group in groups]
    explaining.sort(key=lambda causes: not any(map(_explains_shall, causes)))
    return Diagnosis(_ranked(explaining), expected)


def _explaining(group: Group, outside: Sequence[Missed], case: MatchedReadings) -> list[Cause]:
    """The causes of a group that explain something, with what they explain."""
    explaining = (
        replace(each.cause, explains=explained_by(each.undone, outside, case)) for each in group
    )
    return [cause for cause in explaining if cause.explains]


def _explains_shall(cause: Cause) -> bool:
    return any(explained.level is Level.SHALL for explained in cause.explains)


def _ranked(groups: Iterable[Iterable[Cause]]) -> tuple[Cause, ...]:
    filled = filter(None, map(tuple, groups))
    return tuple(
        replace(cause, rank=rank) for rank, group in enumerate(filled, 1) for cause in group
    )


def diagnose(
    case: MatchedReadings,
    readings: Readings,
    before: Readings | None = None,
    instrument: Instrument = UNKNOWN,
) -> Diagnosis:
    """The likely causes of a display's deviations, for any verdict."""
    groups, expected = candidates(case, readings, before, instrument)
    return Diagnosis(_ranked([each.cause for each in group] for group in groups), expected)
