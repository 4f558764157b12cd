"""Times in a job's time zone: which offset they are printed with, and where that is stated.

Data about time zones changes from release to release. So the offsets that a sheet was printed
with are stated in its document, and are held against today's data only loosely: a zone's rules
change by an hour at most, but for the few that changed the date.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from zoneinfo import ZoneInfo

from compliance.model import Deviation, Measurement, ReadingsEntry, Slot, Statement
from compliance.model.assessment import Fact
from compliance.model.local_time import PrintedOffset, read_offset, written_offset
from compliance.model.stated import (
    StatedAssessment,
    StatedDeviation,
    StatedGrade,
    StatedOffset,
    StatedTimezone,
)

Change = Callable[[datetime], datetime]
MOST_APART = 60
"""Minutes that a stated offset may differ from today's data about its zone."""


@cache
def zone_names() -> frozenset[str]:
    """The names of all time zones (IANA)."""
    return frozenset((files("tzdata") / "zones").read_text(encoding="utf-8").split())


def offset_at(name: str, moment: datetime) -> PrintedOffset | None:
    """A zone's offset at an instant, to the minute; None if this data does not know the zone."""
    if name not in zone_names():
        return None
    offset = moment.astimezone(ZoneInfo(name)).utcoffset()
    assert offset is not None
    return PrintedOffset(round(offset.total_seconds() / 60))


# ---------------------------------------------------------------- a zone


@dataclass(frozen=True, slots=True)
class Zone:
    """A time zone, and the offsets that are already stated for some instants."""

    name: str | None = None
    """IANA; None: a time without a stated offset is printed in UTC."""
    stated: Mapping[datetime, PrintedOffset] = field(default_factory=dict)

    def local(self, moment: datetime) -> datetime:
        """The same instant, carrying the offset to print it with."""
        offset = self.stated.get(moment)
        if offset is None and self.name is not None:
            offset = offset_at(self.name, moment)
        return moment if offset is None else moment.astimezone(offset)


def zone_as_stated(stated: StatedTimezone | None) -> Zone:
    """A zone with nothing but the stated offsets. ValueError if one is not possible."""
    if stated is None:
        return Zone()
    return Zone(None, {each.time: read_offset(each.offset) for each in stated.offsets})


def zone_of(name: str | None, stated: StatedTimezone | None) -> Zone:
    """The zone of a job, with those of the stated offsets that it may have had.

    ValueError if a stated offset is not possible in any zone.
    """
    if name is None or stated is None:
        return Zone(name)
    possible = zone_as_stated(stated).stated
    return Zone(name, {at: offset for at, offset in possible.items() if _may_be(name, at, offset)})


def _may_be(name: str, moment: datetime, stated: PrintedOffset) -> bool:
    known = offset_at(name, moment)
    return known is None or abs(known.minutes - stated.minutes) <= MOST_APART


# ---------------------------------------------------------------- times of a measurement


def measurement_in(zone: Zone, measurement: Measurement) -> Measurement:
    """A measurement with the times of its job and its deviations in a zone."""
    job = measurement.job
    if job is None or job.timezone is None:
        return measurement
    slots = tuple(_slot_in(zone, slot) for slot in job.slots)
    deviations = tuple(_accepted_in(zone, each) for each in measurement.deviations)
    return replace(measurement, job=replace(job, slots=slots), deviations=deviations)


def _slot_in(zone: Zone, slot: Slot) -> Slot:
    return replace(
        slot,
        calibrated=slot.calibrated and zone.local(slot.calibrated),
        before=slot.before and _entry_in(zone, slot.before),
        readings=slot.readings and _entry_in(zone, slot.readings),
    )


def _entry_in(zone: Zone, entry: ReadingsEntry) -> ReadingsEntry:
    return replace(
        entry,
        measured=zone.local(entry.measured),
        started=entry.started and zone.local(entry.started),
        ended=entry.ended and zone.local(entry.ended),
    )


def _accepted_in(zone: Zone, deviation: Deviation) -> Deviation:
    return replace(deviation, accepted=zone.local(deviation.accepted))


# ---------------------------------------------------------------- times of a document


def stated_in(zone: Zone, stated: StatedAssessment) -> StatedAssessment:
    """An assessment document with all of its times in a zone."""
    return _changed(stated, zone.local)


def stated_timezone(name: str | None, stated: StatedAssessment) -> StatedTimezone | None:
    """The time zone to state in a document: its name, and the offset of each of the times."""
    if name is None:
        return None
    found: dict[datetime, str] = {}

    def note(moment: datetime) -> datetime:
        offset = written_offset(moment)
        if offset is not None:
            found[moment.astimezone(UTC)] = offset
        return moment

    _changed(stated, note)
    return StatedTimezone(name, tuple(StatedOffset(at, found[at]) for at in sorted(found)))


def _changed(stated: StatedAssessment, change: Change) -> StatedAssessment:
    slot, before = stated.slot, stated.before
    if slot is not None and slot.calibrated is not None:
        slot = replace(slot, calibrated=change(slot.calibrated))
    return replace(
        stated,
        assessed=change(stated.assessed),
        valid_until=stated.valid_until and change(stated.valid_until),
        slot=slot,
        state=_grade(stated.state, change),
        before=before and _grade(before, change),
        deviations=tuple(_deviations(stated.deviations, change)),
        lapsed=tuple(_deviations(stated.lapsed, change)),
    )


def _grade(grade: StatedGrade, change: Change) -> StatedGrade:
    readings = grade.readings
    readings = replace(
        readings,
        measured=readings.measured and change(readings.measured),
        started=readings.started and change(readings.started),
        ended=readings.ended and change(readings.ended),
    )
    return replace(grade, readings=readings)


def _deviations(stated: Iterable[StatedDeviation], change: Change) -> Iterator[StatedDeviation]:
    return (replace(each, accepted=change(each.accepted)) for each in stated)


# ---------------------------------------------------------------- times in words


def statement_in(zone: Zone, statement: Statement) -> Statement:
    """A statement with the times among its facts in a zone."""
    if not isinstance(statement.facts, Mapping):
        return statement
    facts = {name: _fact_in(zone, fact) for name, fact in statement.facts.items()}
    return replace(statement, facts=facts)


def _fact_in(zone: Zone, fact: Fact) -> Fact:
    if isinstance(fact, datetime):
        return zone.local(fact)
    if isinstance(fact, Statement):
        return statement_in(zone, fact)
    return tuple(_fact_in(zone, each) for each in fact) if isinstance(fact, tuple) else fact
