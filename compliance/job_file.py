"""Read the job file: who measured which slots, for whom, for which deliverables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from compliance.errors import JobError, Problem
from compliance.model import (
    ENCODINGS,
    Declaration,
    Display,
    Job,
    Party,
    People,
    ReadingsEntry,
    Room,
    Slot,
)
from compliance.plain_data import from_plain
from compliance.time_zones import zone_names
from compliance.yaml_nodes.json_schema import as_time
from compliance.yaml_nodes.messages import did_you_mean, quoted, suggestion
from compliance.yaml_nodes.nodes import Location, Node, SourceLocations, locate
from compliance.yaml_nodes.read_file import (
    read_bytes,
    read_data,
    read_nodes,
    read_yaml,
    resolve_inside,
)
from compliance.yaml_nodes.schema_reader import as_float

Data = Mapping[str, Any]
YES_NO = {"yes": 1.0, "no": 0.0}


def load_job(path: str | Path, *, allow_outside: bool = False, measured: bool = True) -> Job:
    """A job from its file. Raises JobError with every problem.

    Files are named from the job's folder and must be inside it unless `allow_outside`; they
    are not opened here, so that a bad file is the fault of its slot alone. A slot needs
    readings unless `measured` is false: a plan is made before there are any.
    """
    node = read_yaml(read_bytes(path, JobError, "job"), str(path), JobError)
    document = read_nodes(node, str(path), "job", JobError)
    _check_timezone(document, node, str(path))
    return _job(document, node, Path(path), allow_outside, measured)


def job_from_document(document: Data, file: str | Path) -> Job:
    """Rebuild a job from `Job.document` after a round trip through JSON. Raises JobError.

    `file` is the job's file; it is not opened and need not exist.
    """
    node, typed = read_data(document, str(file), "job", JobError)
    return _job(typed, node, Path(file), allow_outside=True)


def only_slot(job: Job, name: str) -> Job:
    """Reduce the job to one slot, in its document too: no trace of the others is left.

    A display or meter that the slot replaces by its own is removed as well, and the names of
    deviations, which a sheet has itself. Raises JobError if
    the job has no such slot.
    """
    names = [slot.name for slot in job.slots]
    if name not in names:
        message = f"{quoted(name)} is not a slot of this job; {did_you_mean(name, names)}"
        raise JobError(Problem(str(job.file), message, field="slots"))
    entry = job.document["slots"][names.index(name)]
    replaced = {"deviations", *(key for key in ("display", "meter") if key in entry)}
    document = {key: value for key, value in job.document.items() if key not in replaced}
    document["slots"] = [entry]
    return replace(job, slots=(job.slots[names.index(name)],), document=document)


# ---------------------------------------------------------------- building


def _job(document: Data, node: Node, file: Path, allow_outside: bool, measured: bool = True) -> Job:
    places = SourceLocations([(str(file), node)], JobError)
    builder = _Builder(document, file, allow_outside, measured)
    slots, deviations = builder.slots(places), builder.deviations(places)
    places.raise_if_any()
    suite = document.get("suite", {})
    return Job(
        reference=document["job"],
        title=document.get("title"),
        client=from_plain(document["client"], Party) if "client" in document else None,
        facility=from_plain(document["facility"], Party) if "facility" in document else None,
        suite=suite.get("id"),
        room=from_plain(suite.get("room", {}), Room),
        people=_people(document.get("people", {})),
        slots=slots,
        file=file,
        document=document,
        deviations=deviations,
        procedure=document.get("procedure"),
        timezone=document.get("timezone"),
    )


def _people(data: Data) -> People:
    (by, did), (authority, role) = (
        (who.get("name"), who.get("function")) if isinstance(who, Mapping) else (who, None)
        for who in (data.get("measured_by"), data.get("authorised_by"))
    )
    return People(by, authority, measured_as=did, authorised_as=role)


def _check_timezone(document: Data, node: Node, file: str) -> None:
    """Raise JobError for a time zone that is not known here; a sheet may state a newer one."""
    name = document.get("timezone")
    if name is not None and name not in zone_names():
        known = suggestion(name, zone_names()) or "expected a name of the IANA, e.g. Europe/Lisbon"
        line, field = locate(node, ("timezone",))[0], "timezone"
        raise JobError(Problem(file, f"unknown time zone {quoted(name)}; {known}", line, field))


class _Builder:
    """Builds the slots and notes problems that the schema cannot express."""

    def __init__(self, document: Data, file: Path, allow_outside: bool, measured: bool) -> None:
        self._measured = measured
        self._document = document
        self._folder = file.parent
        self._allow_outside = allow_outside

    def slots(self, places: SourceLocations) -> tuple[Slot, ...]:
        shared = self._document.get("meter")
        meter = self._path(shared, places.at("meter")) if shared else None
        known: dict[str, int] = {}
        slots = []
        for number, data in enumerate(self._document["slots"]):
            here = places.at("slots", number)
            first = known.setdefault(data["slot"], number)
            if first != number:
                message = f"{quoted(data['slot'])} is already the name of another slot"
                _, line = places.find(("slots", first, "slot"))
                where = f" (line {line})" if line else ""
                here.at("slot").problem(message + where)
            slots.append(self._slot(data, here, meter))
        return tuple(slots)

    def deviations(self, places: SourceLocations) -> tuple[Path, ...]:
        named = self._document.get("deviations", [])
        return tuple(self._path(each, places.at("deviations", at)) for at, each in enumerate(named))

    def _slot(self, data: Data, here: Location, meter: Path | None) -> Slot:
        if self._measured and "readings" not in data and "before" not in data:
            here.at("readings").problem(
                "missing; expected e.g. readings: {file: readings/slot-1.csv, measured: …}"
            )
        deliverable = data["deliverable"]
        named = deliverable if isinstance(deliverable, list) else [deliverable]
        calibrated = _time(data, "calibrated")
        before = self._readings(data.get("before"), here.at("before"))
        readings = self._readings(data.get("readings"), here.at("readings"))
        _check_order(data, calibrated, before, readings, here)
        own = data.get("meter")
        return Slot(
            name=data["slot"],
            deliverables=tuple(named),
            display=from_plain(data.get("display", self._document.get("display", {})), Display),
            meter=self._path(own, here.at("meter")) if own else meter,
            calibrated=calibrated,
            settings=data.get("settings", {}),
            warm_up=as_float(data.get("warm_up")),
            nominal_peak=as_float(data.get("nominal_peak")),
            declared={key: _declaration(entry) for key, entry in data.get("declared", {}).items()},
            before=before,
            readings=readings,
        )

    def _readings(self, data: Data | None, here: Location) -> ReadingsEntry | None:
        if data is None:
            return None
        measured = as_time(data["measured"])
        assert measured is not None  # the schema's format
        return ReadingsEntry(
            file=self._path(data["file"], here.at("file")),
            named=data["file"],
            measured=measured,
            encoding=ENCODINGS[data.get("encoding", self._document["encoding"])],
            ambient=data.get("ambient"),
            geometry=data.get("geometry"),
            started=_time(data, "started"),
            ended=_time(data, "ended"),
            temperature=as_float(data.get("temperature")),
            humidity=as_float(data.get("humidity")),
        )

    def _path(self, named: str, here: Location) -> Path:
        """A file named in the job, inside the job's folder unless that is allowed."""
        if not self._allow_outside and resolve_inside(self._folder, named) is None:
            here.problem(
                f"{quoted(named)} is outside the job's folder; expected a file in it or below"
            )
        return self._folder / named


def _time(data: Data, key: str) -> datetime | None:
    return as_time(data[key]) if key in data else None


def _check_order(
    data: Data,
    calibrated: datetime | None,
    before: ReadingsEntry | None,
    readings: ReadingsEntry | None,
    here: Location,
) -> None:
    """Check the order in time: before, calibrated, readings; of each start, measured, end."""
    for key, entry in (("before", before), ("readings", readings)):
        if entry is not None:
            _check_span(data[key], entry, calibrated, here.at(key))
    if calibrated and readings and readings.measured < calibrated:
        here.at("readings", "measured").problem(
            f"{data['readings']['measured']} is earlier than calibrated, {data['calibrated']}; "
            "readings taken before a calibration belong under before"
        )
    after = calibrated or (readings.measured if readings else None)
    if before and after and before.measured > after:
        key = "calibrated" if calibrated else "readings.measured"
        here.at("before", "measured").problem(
            f"{data['before']['measured']} is later than {key}; readings taken after a "
            "calibration belong under readings"
        )


def _check_span(
    data: Data, entry: ReadingsEntry, calibrated: datetime | None, here: Location
) -> None:
    """Check that readings were taken within the time stated, on one side of a calibration."""
    started, ended, measured = entry.started, entry.ended, entry.measured
    if started is not None and started > measured:
        here.at("started").problem(f"{data['started']} is later than measured, {data['measured']}")
    if ended is not None and ended < measured:
        here.at("ended").problem(f"{data['ended']} is earlier than measured, {data['measured']}")
    if calibrated is None or started is None or not measured >= calibrated > started:
        return
    here.at("started").problem(
        f"{data['started']} is earlier than calibrated; readings after a calibration begin after it"
    )


def _declaration(data: Data) -> Declaration:
    value = data["value"]
    return from_plain({**data, "value": YES_NO.get(value, value)}, Declaration)
