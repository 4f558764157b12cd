"""The assessment as a document, written and read: `schemas/assessment.json`, version 2.

Numbers are unrounded, times RFC 3339 in UTC, verdicts the words of the model; remarks, causes,
notes and reasons are kind and facts. Documents of version 1 (`schemas/assessment-1.json`), which
have sentences there, are read, and never written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import MISSING, fields, replace
from functools import partial
from typing import Any, TypeVar

from cattrs import Converter

from compliance.document_facts import register_facts, register_texts
from compliance.model import (
    Assessment,
    Deviation,
    GradedReadings,
    Job,
    Meter,
    Rule,
)
from compliance.model.stated import (
    SCHEMA,
    SCHEMA_V1,
    TOOL,
    StatedAcceptor,
    StatedAssessment,
    StatedDeviation,
    StatedGrade,
    StatedJob,
    StatedMeter,
    StatedReadings,
    StatedRule,
    StatedSlot,
    number_digits,
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
from compliance.time_zones import stated_in, stated_timezone, zone_as_stated
from compliance.yaml_nodes.json_schema import validator
from compliance.yaml_nodes.messages import dotted, inline_yaml, quoted

T = TypeVar("T")


def assessment_document(assessment: Assessment) -> dict[str, Any]:
    """The document of an assessment as plain data."""
    document: dict[str, Any] = written(statement(assessment))
    return document


def written(data: Any) -> Any:
    """A document or a part of one as plain data."""
    return DOCUMENTS.unstructure(data)


def read_document(data: Any) -> StatedAssessment:
    """A document from its plain data. Raises ShapeError if it does not follow its schema.

    In a document of version 1, keys that were added later may be missing, and unknown ones are
    ignored; version 2 is read strictly, and its statements must have words in this program.
    """
    is_old = isinstance(data, dict) and data.get("schema") == SCHEMA_V1
    try:
        fault = next(_faults(data, is_old=is_old), None)
    except RecursionError:
        fault = "is nested too deeply"
    if fault is not None:
        raise ShapeError(fault)
    if is_old:
        return from_plain(data, StatedAssessment, DOCUMENTS_V1)
    stated = from_plain(data, StatedAssessment, DOCUMENTS)
    _check_words(stated)
    try:
        return stated_in(zone_as_stated(stated.timezone), stated)
    except ValueError as fault:
        raise ShapeError(f"timezone.offsets: {fault}") from None


def _faults(data: Any, *, is_old: bool) -> Iterator[str]:
    """Differences from the schema of version 2, or of version 1 as `read_document` allows it."""
    for error in validator("assessment-1" if is_old else "assessment").iter_errors(data):
        path = tuple(error.path)
        if error.validator == "required":
            late = GAINED_LATER if is_old and not path else set()
            missing = (key for key in error.validator_value if key not in error.instance)
            yield from (f"{dotted((*path, key))}: missing" for key in missing if key not in late)
        elif error.validator != "additionalProperties":
            yield _value_fault(path, error)
        elif not is_old:
            known = error.schema.get("properties", {})
            unknown = (key for key in error.instance if key not in known)
            yield from (f"{dotted((*path, key))}: unknown key" for key in unknown)


def _value_fault(path: tuple[str | int, ...], error: Any) -> str:
    found, wanted = inline_yaml(error.instance), error.validator_value
    form = error.validator == "anyOf"
    allowed = "another form" if form else f"{error.validator} {inline_yaml(wanted)}"
    return f"{dotted(path) or 'the document'}: found {quoted(found)}; expected {allowed}"


GAINED_LATER = {field.name for field in fields(StatedAssessment) if field.default is not MISSING}
"""Keys that the first documents of version 1 do not have."""


def _check_words(stated: StatedAssessment) -> None:
    """Raise ShapeError if a statement has a kind or facts that this program has no words for."""
    for place, kind, words in _worded(stated):
        try:
            words()
        except (KeyError, IndexError, TypeError, ValueError, AttributeError):
            raise ShapeError(
                f"{place}: this version has no words for the kind {quoted(kind)} with these "
                "facts; use a newer version"
            ) from None


def _worded(stated: StatedAssessment) -> Iterator[tuple[str, str, Callable[[], object]]]:
    """Each statement's place and kind, and what makes its words."""
    for place, state in (("", stated.state), ("before.", stated.before)):
        if state is None:
            continue
        for remark in state.remarks:
            yield f"{place}remarks", remark.kind, partial(remark_text, remark)
        for finding in state.findings:
            notes = [finding.note] if finding.note else []
            for each in (*notes, *(patch.why for patch in finding.not_judged)):
                yield f"{place}findings.{finding.id}", each.kind, partial(statement_text, each)
    for cause in stated.causes:
        for words in (cause_title, cause_text, cause_next_step):
            yield "causes", cause.kind, partial(words, cause)
        for evidence in cause.evidence:
            yield "causes.evidence", evidence.kind, partial(evidence_text, evidence)


def read_part(data: Any, kind: type[T]) -> T:
    """A part of a document, in which keys may be missing. Raises ShapeError."""
    return from_plain(data, kind, DOCUMENTS)


def numbered(assessment: Assessment) -> Assessment:
    """The assessment with its number, which ends with the digest of the rest of its document."""
    measurement, document = assessment.measurement, assessment_document(assessment)
    del document["number"]
    reference = measurement.job.reference if measurement.job else "readings"
    slot = measurement.slot.name if measurement.slot else "only"
    tail = digest(document)[: number_digits(SCHEMA)]
    number = f"{reference}-{slot}-{measurement.rule.id}-{tail}"
    return replace(assessment, number=number)


# ---------------------------------------------------------------- what an assessment states


def statement(assessment: Assessment) -> StatedAssessment:
    """The content of an assessment's document."""
    measurement, before = assessment.measurement, assessment.before
    rule, job, meter = measurement.rule, measurement.job, measurement.meter
    stated = StatedAssessment(
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
        causes=assessment.state.causes,
        calibration=assessment.calibration,
        disposition=assessment.disposition,
        deviations=tuple(
            _deviation(number, deviation)
            for number, deviation in enumerate(assessment.deviations, 1)
        ),
        lapsed=tuple(
            _deviation(number, deviation)
            for number, deviation in enumerate(assessment.lapsed, 1 + len(assessment.deviations))
        ),
        before=_grade(before) if before else None,
        replaces=assessment.replaces,
        faces=assessment.faces,
        appendices=assessment.appendices,
        number=assessment.number,
    )
    return replace(stated, timezone=stated_timezone(job.timezone if job else None, stated))


def _grade(state: GradedReadings) -> StatedGrade:
    readings, entry = state.readings, state.measurement.entry
    return StatedGrade(
        readings=StatedReadings(
            file=readings.file_name,
            sha256=readings.sha256,
            encoding=readings.encoding.name,
            measured=state.measured,
            count=len(readings),
            replaced=len(readings.replaced),
            started=entry.started if entry else None,
            ended=entry.ended if entry else None,
            temperature=entry.temperature if entry else None,
            humidity=entry.humidity if entry else None,
        ),
        verdict=state.verdict,
        reason=state.reason,
        conditional=state.conditional,
        findings=state.findings,
        remarks=state.remarks,
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
        measured_as=job.people.measured_as,
        authorised_as=job.people.authorised_as,
        procedure=job.procedure,
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
        nominal_peak=slot.nominal_peak,
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
        not_covered=rule.not_covered,
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
        up_to=deviation.up_to,
        signer=StatedAcceptor(signer.name, signer.organisation, signer.sha256, signer.checked),
    )


# ---------------------------------------------------------------- as plain data


def _converter(register: Callable[[Converter], None]) -> Converter:
    """The converter of documents; the keys of an assessment's state are on its top level."""
    converter = CONVERTER.copy()
    register(converter)
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


DOCUMENTS = _converter(register_facts)
DOCUMENTS_V1 = _converter(register_texts)
