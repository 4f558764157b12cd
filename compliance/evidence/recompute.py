"""What travels with a sheet, and the assessment computed again from it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from compliance.assessment import assess
from compliance.errors import SheetError
from compliance.evidence.attachments import is_deviation, parse_json, readings_name
from compliance.evidence.deviation_file import read_deviation
from compliance.job_file import job_from_document
from compliance.meter_file import meter_from_document
from compliance.model import Assessment, Deviation, Display, Measurement, Readings, RuleFile
from compliance.plain_data import canonical_bytes, timestamp
from compliance.readings.load import FORMATS, readings_from_bytes
from compliance.rules.library import rule_from_resolved

MOST_SEEDS, MOST_DRAWS = 1 << 63, 200_000
"""Beyond these a stated assessment is not computed again: it would not end."""


def attachments(assessment: Assessment) -> dict[str, bytes]:
    """Files of the evidence by their fixed names; readings byte for byte as they were read."""
    calibrated = assessment.heading == "calibrated"
    files = {
        "assessment.json": _text(assessment.document),
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
    for stated, deviation in zip(
        assessment.document["deviations"], assessment.deviations, strict=True
    ):
        files[stated["file"]] = canonical_bytes(deviation.document)
    return dict(sorted(files.items()))


def _name(stem: str, readings: Readings) -> str:
    """A fixed stem, and the suffix of the format that the readings came in."""
    return stem + FORMATS[readings.form].suffixes[0]


def _text(document: Mapping[str, Any]) -> bytes:
    return (json.dumps(document, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def _in_order(document: Mapping[str, Any]) -> bytes:
    """Keys in the order of the file they were read from: the sheet prints settings in it."""
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def reassess(files: Mapping[str, bytes]) -> dict[str, Any]:
    """The document of the assessment computed again; as `assess_again`."""
    return dict(assess_again(files).document)


def assess_again(files: Mapping[str, bytes]) -> Assessment:
    """Compute the assessment again from the evidence; SheetError or InputError if it is unfit."""
    stated = _parsed(files, "assessment.json")
    try:
        said = _said(files, stated)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        raise SheetError("assessment.json has not the shape of one") from None
    rule = rule_from_resolved(_parsed(files, "rule.json"), said.rule_files)
    job = meter = None
    if "job.json" in files:
        job = job_from_document(_parsed(files, "job.json"), "job.json")
    if "meter.json" in files:
        meter = meter_from_document(_parsed(files, "meter.json"), "meter.json", "")
    floor = meter.chromaticity_floor if meter else 0.1
    readings, before = (
        readings_from_bytes(files[name], *said.readings[name], floor=floor)
        if name in files
        else None
        for name in (readings_name("readings", files), readings_name("before", files))
    )
    measurement = Measurement(
        rule=rule,
        readings=readings,
        before=before,
        job=job,
        meter=meter,
        display=said.display,
        deviations=_deviations(files),
    )
    return assess(measurement, now=said.now, seed=said.seed, draws=said.draws)


@dataclass(frozen=True, slots=True)
class _Said:
    """What an assessment states that cannot be seen from the other evidence."""

    now: datetime
    seed: int
    draws: int
    display: Display | None
    """Where there is no job to say so."""
    rule_files: tuple[RuleFile, ...]
    """Where the rule came from."""
    readings: Mapping[str, tuple[str, str]]
    """For each attached file of readings, what it was called and its encoding."""


def _said(files: Mapping[str, bytes], stated: Mapping[str, Any]) -> _Said:
    """SheetError where it is beyond what is computed again; others where it has another shape."""
    now = datetime.fromisoformat(stated["assessed"])
    if timestamp(now) != stated["assessed"]:
        raise SheetError("assessment.json: assessed: no time in UTC")
    if not (0 <= stated["seed"] < MOST_SEEDS and 0 <= stated["draws"] <= MOST_DRAWS):
        raise SheetError("assessment.json: seed, draws: beyond what is computed again")
    return _Said(
        now=now,
        seed=stated["seed"],
        draws=stated["draws"],
        display=None
        if "job.json" in files or not stated["display"]
        else Display(**stated["display"]),
        rule_files=tuple(
            RuleFile(file["path"], file["sha256"], file["commit"], file["dirty"], file["shipped"])
            for file in stated["rule"]["files"]
        ),
        readings={
            name: _called(name, stated)
            for name in (readings_name("readings", files), readings_name("before", files))
            if name in files
        },
    )


def _deviations(files: Mapping[str, bytes]) -> tuple[Deviation, ...]:
    """Those attached, their signatures checked; by whom is for the reader to judge."""
    return tuple(
        read_deviation(data, name)[0] for name, data in sorted(files.items()) if is_deviation(name)
    )


def _parsed(files: Mapping[str, bytes], name: str) -> Any:
    if name not in files:
        raise SheetError(f"{name} is missing from the sheet")
    try:
        return parse_json(files[name], name)
    except ValueError as error:
        raise SheetError(str(error)) from None


def _called(name: str, stated: Mapping[str, Any]) -> tuple[str, str]:
    part = stated
    if name.startswith("before.") and stated["heading"] == "calibrated":
        part = stated["before"]
    file, encoding = part["readings"]["file"], part["readings"]["encoding"]
    if not (isinstance(file, str) and isinstance(encoding, str)):
        raise TypeError("names are text")
    return file, encoding
