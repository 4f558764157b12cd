"""The assessment as a document, written and read: `schemas/assessment.json`, version 1.

Numbers are unrounded, times RFC 3339 in UTC, verdicts the words of the model; texts are made when
a document is written, and kept unchanged when it is read.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING, fields, replace
from typing import Any, TypeVar

from cattrs import Converter
from cattrs.gen import make_dict_unstructure_fn, override

from compliance.model import (
    Assessment,
    Cause,
    Deviation,
    GradedReadings,
    Job,
    Meter,
    Rule,
    Statement,
    Texts,
)
from compliance.model.stated import (
    TOOL,
    StatedAcceptor,
    StatedAssessment,
    StatedCause,
    StatedDeviation,
    StatedEvidence,
    StatedGrade,
    StatedJob,
    StatedMeter,
    StatedReadings,
    StatedRemark,
    StatedRule,
    StatedSlot,
)
from compliance.plain_data import CONVERTER, ShapeError, digest, from_plain
from compliance.report.words import (
    cause_next_step,
    cause_text,
    cause_title,
    evidence_text,
    remark_text,
    statement_text,
)
from compliance.yaml_nodes.json_schema import validator
from compliance.yaml_nodes.messages import dotted, inline_yaml, quoted

T = TypeVar("T")

SCHEMA = "https://deliverable-compliance.invalid/schemas/assessment-1.json"
"""The name of the format; nothing is fetched from it."""


def assessment_document(assessment: Assessment) -> dict[str, Any]:
    """The document of an assessment as plain data."""
    document: dict[str, Any] = written(statement(assessment))
    return document


def written(data: Any) -> Any:
    """A document or a part of one as plain data."""
    return DOCUMENTS.unstructure(data)


def read_document(data: Any) -> StatedAssessment:
    """A document from its plain data. Raises ShapeError if it does not follow its schema.

    Keys that the schema does not know are ignored, as written by a later version. Keys that were
    added later may be missing.
    """
    try:
        fault = next(_schema_faults(data), None)
    except RecursionError:
        fault = "is nested too deeply"
    if fault is not None:
        raise ShapeError(fault)
    return from_plain(data, StatedAssessment, DOCUMENTS)


def _schema_faults(data: Any) -> Iterator[str]:
    for error in validator("assessment").iter_errors(data):
        path, keyword, wanted = tuple(error.path), error.validator, error.validator_value
        if keyword == "required":
            missing = [key for key in wanted if key not in error.instance]
            late = set() if path else GAINED_LATER
            yield from (f"{dotted((*path, key))}: missing" for key in missing if key not in late)
        elif keyword != "additionalProperties":
            found = inline_yaml(error.instance)
            allowed = f"{keyword} {inline_yaml(wanted)}" if keyword != "anyOf" else "another form"
            yield f"{dotted(path) or 'the document'}: found {quoted(found)}; expected {allowed}"


GAINED_LATER = {field.name for field in fields(StatedAssessment) if field.default is not MISSING}
"""Keys that the first documents of version 1 do not have."""


def read_part(data: Any, kind: type[T]) -> T:
    """A part of a document, in which keys may be missing. Raises ShapeError."""
    return from_plain(data, kind, DOCUMENTS)


def numbered(assessment: Assessment) -> Assessment:
    """The assessment with its number, which ends with the digest of the rest of its document."""
    measurement, document = assessment.measurement, assessment_document(assessment)
    del document["number"]
    reference = measurement.job.reference if measurement.job else "readings"
    slot = measurement.slot.name if measurement.slot else "only"
    number = f"{reference}-{slot}-{measurement.rule.id}-{digest(document)[:8]}"
    return replace(assessment, number=number)


# ---------------------------------------------------------------- what an assessment states


def statement(assessment: Assessment) -> StatedAssessment:
    """The content of an assessment's document."""
    measurement, before = assessment.measurement, assessment.before
    rule, job, meter = measurement.rule, measurement.job, measurement.meter
    return StatedAssessment(
        schema=SCHEMA,
        assessed=assessment.assessed,
        valid_until=assessment.valid_until,
        tool=TOOL,
        job=_job(job) if job else None,
        slot=_slot(job) if job else None,
        display=measurement.measured_display,
        room=job.room if job else None,
        rule=_rule(rule),
        meter=_meter(meter) if meter else None,
        decision=rule.decision,
        seed=assessment.seed,
        draws=assessment.draws,
        heading=measurement.heading,
        state=_grade(assessment.state),
        causes=tuple(map(_cause, assessment.state.causes)),
        calibration=assessment.calibration,
        disposition=assessment.disposition,
        deviations=tuple(
            _deviation(number, deviation)
            for number, deviation in enumerate(assessment.deviations, 1)
        ),
        before=_grade(before) if before else None,
        number=assessment.number,
    )


def _grade(state: GradedReadings) -> StatedGrade:
    readings = state.readings
    return StatedGrade(
        readings=StatedReadings(
            file=readings.file_name,
            sha256=readings.sha256,
            encoding=readings.encoding.name,
            measured=state.measured,
            count=len(readings),
        ),
        verdict=state.verdict,
        reason=state.reason,
        conditional=state.conditional,
        findings=state.findings,
        remarks=tuple(StatedRemark(remark.kind, remark_text(remark)) for remark in state.remarks),
    )


def _job(job: Job) -> StatedJob:
    return StatedJob(
        reference=job.reference,
        title=job.title,
        client=job.client,
        facility=job.facility,
        suite=job.suite,
        measured_by=job.people.measured_by,
        authorised_by=job.people.authorised_by,
        digest=digest(job.document),
    )


def _slot(job: Job) -> StatedSlot:
    slot = job.slots[0]
    entry = slot.readings or slot.before
    return StatedSlot(
        slot=slot.name,
        calibrated=slot.calibrated,
        warm_up=slot.warm_up,
        settings=slot.settings,
        ambient=entry.ambient if entry else None,
        geometry=entry.geometry if entry else None,
        declared=slot.declared,
    )


def _rule(rule: Rule) -> StatedRule:
    return StatedRule(
        id=rule.id,
        title=rule.title,
        revision=rule.revision,
        extends=rule.extends,
        digest=rule.digest,
        files=rule.files,
        changes=rule.changes,
        archived=rule.archived,
    )


def _meter(meter: Meter) -> StatedMeter:
    return StatedMeter(
        meter=meter.name,
        kind=meter.kind,
        make=meter.make,
        model=meter.model,
        serial=meter.serial,
        lowest=meter.lowest,
        certificate=meter.certificate,
        digest=digest(meter.document),
    )


def _deviation(number: int, deviation: Deviation) -> StatedDeviation:
    signer = deviation.signer
    return StatedDeviation(
        file=f"deviation-{number}.json",
        sha256=digest(deviation.document),
        requirement=deviation.requirement,
        assessment=deviation.assessment,
        value=deviation.value,
        limits=deviation.limits,
        reason=deviation.reason,
        accepted_by=deviation.accepted_by,
        accepted=deviation.accepted,
        until=deviation.until,
        signer=StatedAcceptor(signer.name, signer.organisation, signer.sha256),
    )


def _cause(cause: Cause) -> StatedCause:
    return StatedCause(
        kind=cause.kind,
        title=cause_title(cause),
        text=cause_text(cause),
        next_step=cause_next_step(cause),
        share=cause.share,
        evidence=tuple(
            StatedEvidence(evidence_text(evidence), evidence.value, evidence.unit)
            for evidence in cause.evidence
        ),
    )


# ---------------------------------------------------------------- as plain data


def _converter() -> Converter:
    """The converter of plain data, with texts in place of facts.

    The keys of an assessment's state are on its top level.
    """
    converter = CONVERTER.copy()
    converter.register_unstructure_hook(Statement, statement_text)
    converter.register_structure_hook(
        Statement, lambda data, _: Statement("", CONVERTER.structure({"text": data}, Texts))
    )
    converter.register_unstructure_hook(
        StatedRule,
        make_dict_unstructure_fn(StatedRule, converter, archived=override(omit_if_default=True)),
    )
    write = converter.get_unstructure_hook(StatedAssessment)
    read = converter.get_structure_hook(StatedAssessment)

    def flat(stated: StatedAssessment) -> dict[str, Any]:
        plain: dict[str, Any] = {}
        for key, value in write(stated).items():
            plain |= value if key == "state" else {key: value}
        return plain

    converter.register_unstructure_hook(StatedAssessment, flat)
    converter.register_structure_hook(
        StatedAssessment, lambda data, kind: read({**data, "state": data}, kind)
    )
    return converter


DOCUMENTS = _converter()
