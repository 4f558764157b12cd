"""One slot against one rule, with everything that its verdict needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from compliance.model.jobs import Deviation, Display, Job, ReadingsEntry, Slot
from compliance.model.readings import Meter, Readings
from compliance.model.rules import Rule


@dataclass(frozen=True, eq=False)
class Measurement:
    """Readings of one slot, and the data to judge them. Two are equal only if they are the same.

    Raises ValueError if there are no readings, more than one slot, or both a display and a job.
    """

    rule: Rule
    readings: Readings | None
    """Of the calibrated slot; None if it has only readings before calibration."""
    before: Readings | None = None
    """Of the same slot before calibration."""
    job: Job | None = None
    """Reduced to the slot (`job_file.only_slot`); None for a bare readings file."""
    meter: Meter | None = None
    display: Display | None = None
    """Of a bare readings file; a job names its own."""
    deviations: tuple[Deviation, ...] = ()
    """Signed by the client, signatures checked (`evidence.deviation_file`)."""

    def __post_init__(self) -> None:
        if self.job is not None and len(self.job.slots) != 1:
            raise ValueError("a measurement needs a job with one slot; reduce it with only_slot")
        if self.job is not None and self.display is not None:
            raise ValueError("give a job or a display, not both: a job names its own display")
        if self.readings is None and self.before is None:
            raise ValueError("there are no readings to assess")

    @property
    def graded(self) -> Readings:
        """The readings that decide the verdict."""
        readings = self.before if self.readings is None else self.readings
        assert readings is not None
        return readings

    @property
    def heading(self) -> str:
        """`calibrated`, or `before` if the slot has only readings before calibration."""
        return "before" if self.readings is None else "calibrated"

    @cached_property
    def as_found(self) -> Measurement | None:
        """The slot before calibration, if it has readings from before and after."""
        if self.readings is None or self.before is None:
            return None
        return replace(self, readings=None, deviations=())

    @property
    def slot(self) -> Slot | None:
        """The job's slot."""
        return self.job.slots[0] if self.job else None

    @property
    def entry(self) -> ReadingsEntry | None:
        """The job's entry of the graded readings."""
        if self.slot is None:
            return None
        return self.slot.before if self.readings is None else self.slot.readings

    @property
    def measured(self) -> datetime | None:
        """The time of the graded readings; None if no job states it."""
        return self.entry.measured if self.entry else None

    @property
    def measured_display(self) -> Display | None:
        """The measured display: the slot's, or the one given with bare readings."""
        return self.slot.display if self.slot else self.display

    @property
    def technology(self) -> str | None:
        """One of `TECHNOLOGIES`."""
        return self.measured_display.technology if self.measured_display else None
