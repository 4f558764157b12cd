"""The evidence attached to a sheet, and the assessment recomputed from it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from compliance import documents
from compliance.assessment import assess
from compliance.errors import SheetError
from compliance.evidence.attachments import (
    is_deviation,
    largest_size,
    parse_json,
    readings_name,
)
from compliance.evidence.deviation_file import mark_checked, read_deviation
from compliance.job_file import job_from_document
from compliance.lettering.choose import needed
from compliance.lettering.texts import foreign_clusters, texts_of
from compliance.meter_file import meter_from_document
from compliance.model import (
    Appendix,
    Archived,
    Assessment,
    Deviation,
    Display,
    Face,
    Job,
    Measurement,
    Readings,
    Rule,
    RuleFile,
)
from compliance.model.stated import TOOL, StatedTimezone
from compliance.plain_data import ShapeError, canonical_bytes, from_plain, timestamp, to_plain
from compliance.readings.load import FORMATS, readings_from_bytes
from compliance.rules.library import rule_from_resolved
from compliance.rules.parents import shipped_by_pin
from compliance.time_zones import Zone, zone_of


def attachments(assessment: Assessment) -> dict[str, bytes]:
    """Return the files of the evidence by their fixed names; readings as the bytes read.

    Raises SheetError if one is larger than a sheet may hold.
    """
    calibrated = assessment.heading == "calibrated"
    stated = documents.statement(assessment)
    files = {
        "assessment.json": _text(documents.written(stated)),
        _name("readings" if calibrated else "before", assessment.state.readings): (
            assessment.state.readings.data
        ),
        "rule.json": canonical_bytes(assessment.rule.resolved),
    }
    if assessment.before is not None:
        files[_name("before", assessment.before.readings)] = assessment.before.readings.data
    if assessment.job is not None:
        files["job.json"] = _in_order(assessment.job.document)
    if assessment.meter is not None:
        files["meter.json"] = _in_order(assessment.meter.document)
    entries = (*stated.deviations, *stated.lapsed)
    deviations = (*assessment.deviations, *assessment.lapsed)
    for entry, deviation in zip(entries, deviations, strict=True):
        files[entry.file] = canonical_bytes(deviation.document)
    for name, data in files.items():
        if len(data) > (most := largest_size(name)):
            raise SheetError(f"{name} has {len(data)} bytes; a sheet holds at most {most}")
    return dict(sorted(files.items()))


def _name(stem: str, readings: Readings) -> str:
    """Return a fixed stem with the suffix of the readings' format."""
    return stem + FORMATS[readings.form].suffixes[0]


def _text(document: Mapping[str, Any]) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def _in_order(document: Mapping[str, Any]) -> bytes:
    """Write keys in the order of the file read: the sheet prints settings in that order."""
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


@dataclass(frozen=True, slots=True)
class _Readings:
    file: str
    encoding: str


@dataclass(frozen=True, slots=True)
class _Acceptor:
    checked: bool = False


@dataclass(frozen=True, slots=True)
class _Deviation:
    file: str
    signer: _Acceptor


@dataclass(frozen=True, slots=True)
class _Grade:
    readings: _Readings


@dataclass(frozen=True, slots=True)
class _Rule:
    files: tuple[RuleFile, ...]
    archived: Archived | None = None


@dataclass(frozen=True, slots=True)
class _Stated:
    """The parts of a document that the other evidence does not contain."""

    assessed: datetime
    heading: str
    display: Any
    """For readings without a job; a job states its own."""
    rule: _Rule
    readings: _Readings
    before: _Grade | None = None
    replaces: str | None = None
    deviations: tuple[_Deviation, ...] = ()
    lapsed: tuple[_Deviation, ...] = ()
    timezone: StatedTimezone | None = None
    appendices: tuple[Appendix, ...] = ()

    @property
    def checked(self) -> set[str]:
        """The attached deviations whose signers the facility says it has checked."""
        entries = (*self.deviations, *self.lapsed)
        return {each.file for each in entries if each.signer.checked}

    def readings_of(self, name: str) -> _Readings:
        """Return the file name and encoding of the readings attached under `name`."""
        if not name.startswith("before.") or self.heading != "calibrated":
            return self.readings
        if self.before is None:
            raise ShapeError(f"{name} is attached, but the assessment does not mention it")
        return self.before.readings


def assess_again(
    files: Mapping[str, bytes], *, faces: Sequence[Face] = (), signed_by: Sequence[str] = ()
) -> Assessment:
    """Recompute the assessment from the evidence, with the draws of every document.

    `faces` are those that the document states, as found here (`lettering.choose.found_again`),
    and `signed_by` are the names in the facility's signature, which its box shows. Raises
    SheetError or InputError if the evidence is unfit.
    """
    document = _parsed(files, "assessment.json")
    try:
        stated = from_plain(document, _Stated)
        display = None
        if "job.json" not in files and stated.display:
            display = from_plain(stated.display, Display)
        names = readings_name("readings", files), readings_name("before", files)
        called = {name: stated.readings_of(name) for name in names if name in files}
        at = timestamp(stated.assessed)
    except (ShapeError, OverflowError):
        raise SheetError("assessment.json is not an assessment document") from None
    if at != document["assessed"]:
        raise SheetError("assessment.json: assessed: is not a time in UTC")
    rule = rule_from_resolved(_parsed(files, "rule.json"), stated.rule.files, stated.rule.archived)
    if document.get("tool") == to_plain(TOOL):
        rule = _as_known(rule)
    job = meter = None
    if "job.json" in files:
        job = job_from_document(_parsed(files, "job.json"), "job.json")
    if "meter.json" in files:
        meter = meter_from_document(_parsed(files, "meter.json"), "meter.json", "")
    floor = meter.chromaticity_floor if meter else 0.1
    readings, before = (
        readings_from_bytes(files[name], called[name].file, called[name].encoding, floor=floor)
        if name in called
        else None
        for name in names
    )
    measurement = Measurement(
        rule=rule,
        readings=readings,
        before=before,
        job=job,
        meter=meter,
        display=display,
        deviations=_deviations(files, stated.checked),
    )
    drawn = foreign_clusters([*texts_of(measurement), *signed_by]) if faces else ()
    return assess(
        measurement,
        now=stated.assessed,
        replaces=stated.replaces,
        faces=needed(faces, drawn),
        zone=_zone(job, stated),
        appendices=stated.appendices,
    )


def _zone(job: Job | None, stated: _Stated) -> Zone:
    """Return the job's zone, with the offsets that were printed then."""
    try:
        return zone_of(job.timezone if job else None, stated.timezone)
    except ValueError as fault:
        raise SheetError(f"assessment.json: timezone: {fault}") from None


def _was_newest(stated: Archived | None, known: Archived | None) -> bool:
    """Return whether a stated revision may have been the newest where the sheet was made."""
    if stated is None or known is None or replace(stated, newest=known.newest) != known:
        return False
    (name, _, used), (same, _, then) = (
        each.rpartition("@") for each in (stated.used, stated.newest)
    )
    return name == same and used.isdecimal() and then.isdecimal() and int(used) < int(then)


def _as_known(rule: Rule) -> Rule:
    """Return a rule with what this version knows of it beside its limits, whatever is stated.

    Of a shipped rule, or of the shipped parent of a house rule, that there are later revisions; of
    a shipped rule the names of its files. A rule that nobody ships stays as it is.
    """
    known = shipped_by_pin(rule.extends or f"{rule.id}@{rule.revision}")
    if known is None:
        return rule
    if not _was_newest(rule.archived, known.archived):
        rule = replace(rule, archived=known.archived)
    if known.digest != rule.digest:
        return rule
    if [each.path for each in rule.files] != [each.path for each in known.files]:
        return replace(rule, files=known.files)
    return replace(rule, files=tuple(replace(each, shipped=True) for each in rule.files))


def _deviations(files: Mapping[str, bytes], checked: Set[str]) -> tuple[Deviation, ...]:
    """Read the deviations attached and check their signatures, but not who signed."""
    return tuple(
        mark_checked(deviation) if name in checked else deviation
        for name, data in sorted(files.items())
        if is_deviation(name)
        for deviation, _ in [read_deviation(data, name)]
    )


def _parsed(files: Mapping[str, bytes], name: str) -> Any:
    if name not in files:
        raise SheetError(f"{name} is missing from the sheet")
    try:
        return parse_json(files[name], name)
    except ValueError as error:
        raise SheetError(str(error)) from None
