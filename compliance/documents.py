"""The assessment as a document: plain data, as `schemas/assessment.json` describes it.

Numbers are unrounded, times RFC 3339 in UTC, verdicts the words of the model.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from compliance import __version__
from compliance.model import (
    Assessment,
    Calibration,
    Cause,
    Deviation,
    Finding,
    GradedReadings,
    Interval,
    Job,
    Level,
    Limits,
    Measurement,
    Meter,
    NotJudged,
    Point,
    Readings,
    Reason,
    Rule,
    Shift,
    Statement,
    Texts,
    Value,
    Verdict,
)
from compliance.plain_data import digest, timestamp
from compliance.report.words import (
    cause_next_step,
    cause_text,
    cause_title,
    evidence_text,
    note_text,
    reason_text,
    remark_text,
)

SCHEMA = "https://deliverable-compliance.invalid/schemas/assessment-1.json"
"""Names the format; nothing is fetched from it."""

ENGINE = 1
"""Raised whenever a definition changes, so that old numbers are not called tampered with."""


def record(assessment: Assessment) -> dict[str, Any]:
    """The document of an assessment, with its number."""
    measurement, before = assessment.measurement, assessment.before
    rule, job, display = measurement.rule, measurement.job, measurement.measured_display
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "assessed": timestamp(assessment.assessed),
        "valid_until": timestamp(assessment.valid_until),
        "tool": {"name": "deliverable-compliance", "version": __version__, "engine": ENGINE},
        "job": _job(job),
        "slot": None if job is None else _plain(_slot(job)),
        "display": None if display is None else _stated(display),
        "room": None if job is None else _stated(job.room),
        "rule": _rule(rule),
        "meter": _meter(measurement.meter),
        "decision": {
            "acceptance": rule.decision.acceptance,
            "confidence": rule.decision.confidence,
        },
        "seed": assessment.seed,
        "draws": assessment.draws,
        "heading": measurement.heading,
        **_state(assessment.state),
        "causes": causes_as_data(assessment.state.causes),
        "calibration": calibration_as_data(assessment.calibration),
        "disposition": assessment.disposition.value if assessment.disposition else None,
        "deviations": [
            _deviation(number, one) for number, one in enumerate(assessment.deviations, 1)
        ],
        "before": None if before is None else _state(before),
    }
    document["number"] = f"{_stem(measurement)}-{digest(document)[:8]}"
    return document


def _stem(measurement: Measurement) -> str:
    reference = measurement.job.reference if measurement.job else "readings"
    slot = measurement.slot.name if measurement.slot else "only"
    return f"{reference}-{slot}-{measurement.rule.id}"


def _state(state: GradedReadings) -> dict[str, Any]:
    return {
        "readings": _readings(state.readings, state.measured),
        "verdict": state.verdict.value,
        "reason": state.reason.value if state.reason else None,
        "conditional": state.conditional,
        "findings": [_finding(one) for one in state.findings],
        "remarks": [{"kind": one.kind, "text": remark_text(one)} for one in state.remarks],
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
        "note": note_text(one),
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
        "sha256": digest(one.document),
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
        "why": reason_text(point),
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
        "digest": digest(meter.document),
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
        "digest": digest(job.document),
    }


def _slot(job: Job) -> dict[str, Any]:
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


def causes_as_data(found: Sequence[Cause]) -> list[dict[str, Any]]:
    """The causes in their order, the likeliest first."""
    return [_cause(one) for one in found]


def _cause(one: Cause) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "title": cause_title(one),
        "text": cause_text(one),
        "next_step": cause_next_step(one),
        "share": one.share,
        "evidence": [
            {"what": evidence_text(each), "value": each.value, "unit": each.unit}
            for each in one.evidence
        ],
    }


def calibration_as_data(one: Calibration | None) -> dict[str, Any] | None:
    """What calibration changed; None where no readings before it are there."""
    if one is None:
        return None
    return {
        "white_before": one.white_before,
        "white_after": one.white_after,
        "lost": one.lost,
        "asked": one.asked,
        "wanted": one.wanted,
        "shifts": [_shift(shift) for shift in one.shifts],
    }


def _shift(one: Shift) -> dict[str, Any]:
    return {
        "id": one.id,
        "title": one.title,
        "unit": one.unit,
        "before": _plain_value(one.before),
        "after": _plain_value(one.after),
    }


def _plain_value(value: Value) -> float | list[float]:
    return list(value) if isinstance(value, tuple) else value


def finding_of(row: Mapping[str, Any]) -> Finding:
    """A finding as `schemas/assessment.json` describes it, without its points.

    KeyError, TypeError or ValueError where it is not of that shape.
    """
    return Finding(
        id=row["id"],
        title=row["title"],
        quantity=row["quantity"],
        unit=row["unit"],
        level=Level(row["level"]),
        statistic=row["statistic"],
        basis=row["basis"],
        clause=row["clause"],
        verdict=Verdict(row["verdict"]),
        reason=None if row["reason"] is None else Reason(row["reason"]),
        value=_value_of(row["value"]),
        bound=row["bound"],
        limits=_limits_of(row["limits"]),
        interval=_interval_of(row["interval"]),
        probability=row["probability"],
        joint=row["joint"],
        missing=tuple(row["missing"]),
        note=None if row["note"] is None else Statement("", Texts(row["note"])),
    )


def _value_of(value: Any) -> Value | None:
    if isinstance(value, list):
        x, y = value
        return float(x), float(y)
    return None if value is None else float(value)


def _needed(value: Any) -> Value:
    found = _value_of(value)
    if found is None:
        raise ValueError("an interval has two ends")
    return found


def _limits_of(said: Mapping[str, Any] | None) -> Limits | None:
    if said is None:
        return None
    box = _value_of(said["box"])
    return Limits(
        minimum=said["min"],
        maximum=said["max"],
        nominal=said["nominal"],
        box=box if isinstance(box, tuple) else None,
        exclusive=said["exclusive"],
    )


def _interval_of(said: Mapping[str, Any] | None) -> Interval | None:
    if said is None:
        return None
    return Interval(_needed(said["low"]), _needed(said["high"]), said["coverage"], said["sided"])
