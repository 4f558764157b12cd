"""The assessment as plain data, as `schemas/assessment.json` describes it.

Numbers are unrounded, times RFC 3339 in UTC, verdicts the words of the model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from compliance import __version__, canonical, explained
from compliance.model import (
    Calibration,
    Deviation,
    Display,
    Disposition,
    Finding,
    Interval,
    Job,
    Limits,
    Meter,
    NotJudged,
    Point,
    Readings,
    Rule,
    State,
    Value,
)

__all__ = ["ENGINE", "SCHEMA", "Heads", "record", "timestamp"]

SCHEMA = "https://deliverable-compliance.invalid/schemas/assessment-1.json"
"""Names the format; nothing is fetched from it."""

ENGINE = 1
"""Raised whenever a definition changes, so that old numbers are not called tampered with."""


def timestamp(time: datetime | None) -> str | None:
    """RFC 3339 in UTC, to the second where that is exact."""
    return None if time is None else time.astimezone(UTC).isoformat().replace("+00:00", "Z")


@dataclass(frozen=True, slots=True)
class Heads:
    """What an assessment says besides its findings."""

    rule: Rule
    job: Job | None
    meter: Meter | None
    assessed: datetime
    valid_until: datetime | None
    heading: str
    seed: int
    draws: int
    """0 where the meter's file gives nothing to draw from."""
    deviations: tuple[Deviation, ...] = ()
    disposition: Disposition | None = None
    display: Display | None = None


def record(
    heads: Heads, state: State, before: State | None, calibration: Calibration | None = None
) -> dict[str, Any]:
    """The document of an assessment, with its number."""
    slot = heads.job.slots[0] if heads.job else None
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "assessed": timestamp(heads.assessed),
        "valid_until": timestamp(heads.valid_until),
        "tool": {"name": "deliverable-compliance", "version": __version__, "engine": ENGINE},
        "job": _job(heads.job),
        "slot": None if slot is None else _plain(_slot(heads.job)),
        "display": None if heads.display is None else _stated(heads.display),
        "room": None if heads.job is None else _stated(heads.job.room),
        "rule": _rule(heads.rule),
        "meter": _meter(heads.meter),
        "decision": {
            "acceptance": heads.rule.decision.acceptance,
            "confidence": heads.rule.decision.confidence,
        },
        "seed": heads.seed,
        "draws": heads.draws,
        "heading": heads.heading,
        **_state(state),
        "causes": explained.causes(state.causes),
        "calibration": explained.calibration(calibration),
        "disposition": heads.disposition.value if heads.disposition else None,
        "deviations": [_deviation(number, one) for number, one in enumerate(heads.deviations, 1)],
        "before": None if before is None else _state(before),
    }
    document["number"] = f"{_stem(heads)}-{canonical.digest(document)[:8]}"
    return document


def _stem(heads: Heads) -> str:
    reference = heads.job.reference if heads.job else "readings"
    slot = heads.job.slots[0].name if heads.job else "only"
    return f"{reference}-{slot}-{heads.rule.id}"


def _state(state: State) -> dict[str, Any]:
    return {
        "readings": _readings(state.readings, state.measured),
        "verdict": state.verdict.value,
        "reason": state.reason.value if state.reason else None,
        "conditional": state.conditional,
        "findings": [_finding(one) for one in state.findings],
        "remarks": [{"kind": one.kind, "text": one.text} for one in state.remarks],
    }


def _readings(readings: Readings, measured: datetime | None) -> dict[str, Any]:
    return {
        "file": readings.file.replace("\\", "/").rsplit("/", 1)[-1],
        "sha256": readings.sha256,
        "encoding": readings.encoding.name,
        "measured": timestamp(measured),
        "count": len(readings),
    }


def _finding(one: Finding) -> dict[str, Any]:
    return {
        "id": one.id,
        "title": one.title,
        "quantity": one.quantity,
        "unit": one.unit,
        "level": one.level.value,
        "statistic": one.statistic,
        "value": _value(one.value),
        "bound": one.bound,
        "interval": _interval(one.interval),
        "limits": _limits(one.limits),
        "probability": one.probability,
        "joint": one.joint,
        "verdict": one.verdict.value,
        "reason": one.reason.value if one.reason else None,
        "basis": one.basis,
        "clause": one.clause,
        "note": one.note,
        "points": [_point(point) for point in one.points],
        "missing": list(one.missing),
        "not_judged": [_not_judged(point) for point in one.not_judged],
    }


def _point(point: Point) -> dict[str, Any]:
    return {
        "patch": list(point.patch),
        "name": point.name,
        "position": point.position,
        "window": point.window,
        "target": point.target,
        "value": _value(point.value),
        "interval": _interval(point.interval),
        "limits": _limits(point.limits),
        "probability": point.probability,
        "verdict": point.verdict.value if point.verdict else None,
    }


def _deviation(number: int, one: Deviation) -> dict[str, Any]:
    return {
        "file": f"deviation-{number}.json",
        "sha256": canonical.digest(one.document),
        "requirement": one.requirement,
        "assessment": one.assessment,
        "value": _value(one.value),
        "limits": _limits(one.limits),
        "reason": one.reason,
        "accepted_by": one.accepted_by,
        "accepted": timestamp(one.accepted),
        "until": one.until.isoformat(),
        "signer": {
            "name": one.signer.name,
            "organisation": one.signer.organisation,
            "sha256": one.signer.sha256,
        },
    }


def _not_judged(point: NotJudged) -> dict[str, Any]:
    return {
        "patch": list(point.patch),
        "name": point.name,
        "position": point.position,
        "window": point.window,
        "why": point.why,
    }


def _value(value: Value | None) -> float | list[float] | None:
    return list(value) if isinstance(value, tuple) else value


def _interval(interval: Interval | None) -> dict[str, Any] | None:
    if interval is None:
        return None
    return {
        "low": _value(interval.low),
        "high": _value(interval.high),
        "coverage": interval.coverage,
        "sided": interval.sided,
    }


def _limits(limits: Limits | None) -> dict[str, Any] | None:
    if limits is None:
        return None
    return {
        "min": limits.minimum,
        "max": limits.maximum,
        "nominal": limits.nominal,
        "box": None if limits.box is None else list(limits.box),
        "exclusive": limits.exclusive,
    }


def _rule(rule: Rule) -> dict[str, Any]:
    return {
        "id": rule.id,
        "title": rule.title,
        "revision": rule.revision,
        "extends": rule.extends,
        "digest": rule.digest,
        "files": [_stated(file) for file in rule.files],
        "changes": [
            {
                "subject": change.subject,
                "reason": change.reason,
                "agreed_by": change.agreed_by,
                "date": change.date.isoformat(),
                "withdrawn": change.withdrawn,
            }
            for change in rule.changes
        ],
    }


def _meter(meter: Meter | None) -> dict[str, Any] | None:
    if meter is None:
        return None
    certificate = meter.certificate
    return {
        "meter": meter.name,
        "kind": meter.kind,
        "make": meter.make,
        "model": meter.model,
        "serial": meter.serial,
        "lowest": meter.lowest,
        "certificate": None
        if certificate is None
        else {
            "number": certificate.number,
            "laboratory": certificate.laboratory,
            "issued": _date(certificate.issued),
            "due": _date(certificate.due),
        },
        "digest": canonical.digest(meter.document),
    }


def _date(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _job(job: Job | None) -> dict[str, Any] | None:
    if job is None:
        return None
    return {
        "reference": job.reference,
        "title": job.title,
        "client": None if job.client is None else _stated(job.client),
        "facility": None if job.facility is None else _stated(job.facility),
        "suite": job.suite,
        "measured_by": job.people.measured_by,
        "authorised_by": job.people.authorised_by,
        "digest": canonical.digest(job.document),
    }


def _slot(job: Job | None) -> dict[str, Any]:
    if job is None:
        return {}
    slot = job.slots[0]
    entry = slot.readings or slot.before
    return {
        "slot": slot.name,
        "calibrated": timestamp(slot.calibrated),
        "warm_up": slot.warm_up,
        "settings": dict(slot.settings),
        "ambient": entry.ambient if entry else None,
        "geometry": entry.geometry if entry else None,
        "declared": {
            name: {"value": one.value, "by": one.by, "date": one.date.isoformat()}
            for name, one in slot.declared.items()
        },
    }


def _stated(part: Any) -> dict[str, Any]:
    """The fields of a small frozen dataclass, as they stand."""
    return {name: getattr(part, name) for name in part.__dataclass_fields__}


def _plain(value: Any) -> Any:
    """Free values of a job (settings) as JSON: dates and times as text."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return timestamp(value)
    if isinstance(value, date):
        return value.isoformat()
    return value
