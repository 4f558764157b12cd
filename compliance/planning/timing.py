"""How long a plan takes: settling and reading by the meter's file, and what stays on longer.

Moving the meter, setting up patterns and warming up are not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from compliance.model import Meter
from compliance.planning.merging import Stimulus

__all__ = ["TYPICAL_READING", "TYPICAL_SETTLE", "Duration", "duration"]

TYPICAL_SETTLE = 1.0
TYPICAL_READING = 7.3
"""s, a colorimeter's where its file does not say: 101 patches take about 14 minutes (practice)."""


@dataclass(frozen=True, slots=True)
class Duration:
    seconds: float
    assumed: bool
    """Settling or reading is a typical meter's, for want of the meter's own."""


def duration(steps: Sequence[Stimulus], meter: Meter | None) -> Duration:
    """How long measuring takes, from the first patch shown to the last reading done."""
    settle = meter.settle if meter else None
    bands = meter.reading_time if meter else ()
    total, shown, on = 0.0, None, 0.0
    for step in steps:
        reading = reading_time(step.level, bands)
        if step.shown != shown or not step.seconds:
            shown, on = step.shown, 0.0
        waiting = max(step.seconds - on, 0.0)
        if not step.seconds:
            waiting = TYPICAL_SETTLE if settle is None else settle
        on += waiting + reading
        total += waiting + reading
    return Duration(total, settle is None or not bands)


def reading_time(level: float, bands: Sequence[tuple[float, float]]) -> float:
    """s for a reading at that luminance in cd/m², by the meter's bands; a typical one without."""
    if not bands:
        return TYPICAL_READING
    held = [seconds for start, seconds in bands if level >= start]
    return held[-1] if held else bands[0][1]
