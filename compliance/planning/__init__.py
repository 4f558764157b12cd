"""What to measure: the patches that rules ask for, in a good order, and how long that takes."""

from compliance.planning.merging import Further, Stimulus, grid, merged
from compliance.planning.ordering import hotness, ordered
from compliance.planning.plan import MeasuringPlan, measuring_plan
from compliance.planning.stimuli import at_limit, ideal_readings, planned
from compliance.planning.timing import duration

__all__ = [
    "Further",
    "MeasuringPlan",
    "Stimulus",
    "at_limit",
    "duration",
    "grid",
    "hotness",
    "ideal_readings",
    "measuring_plan",
    "merged",
    "ordered",
    "planned",
]
