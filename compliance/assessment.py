"""The loop over a rule's requirements, the remarks, the verdict and the document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import NamedTuple

from compliance import documents as records
from compliance.diagnosis.diagnose import diagnosis_of
from compliance.grading import deviation_check
from compliance.grading.decide import outcome
from compliance.grading.match import DeclaredFacts, MatchedReadings, match_readings
from compliance.grading.monte_carlo import findings_of, white_spread
from compliance.model import (
    Assessment,
    Cause,
    Deviation,
    Display,
    Disposition,
    GradedReadings,
    Job,
    Meter,
    Readings,
    ReadingsEntry,
    Remark,
    Rule,
)
from compliance.pictures.data import picture_data
from compliance.planning.meter_capability import inadequate
from compliance.remarks import calibration_change as calibrations
from compliance.remarks import reading_remarks
from compliance.remarks.circumstances import circumstance_remarks

SEED = 0
DRAWS = 10_000
"""Enough to tell a probability to about half a per cent (JCGM 101, 7.2)."""

PICTURED = 2000
"""Draws for the picture of the white, where no digit is read off."""


class Trial(NamedTuple):
    """How often readings are drawn, and from which stream."""

    seed: int
    draws: int


def assess(
    rule: Rule,
    readings: Readings | None,
    *,
    now: datetime,
    job: Job | None = None,
    before: Readings | None = None,
    meter: Meter | None = None,
    display: Display | None = None,
    deviations: Sequence[Deviation] = (),
    seed: int = SEED,
    draws: int = DRAWS,
) -> Assessment:
    """Grade one slot's readings against a rule.

    `job` is reduced to the slot (`job.only_slot`); `readings` may be None where the
    slot has only readings `before` calibration, which are then assessed under that
    heading. `now` is aware. `draws` copies of the readings are drawn from what the meter's
    file says, none without it. `display` is for readings without a job, which says its own.
    `deviations` are those that the client has signed, signatures checked
    (`deviations.load_deviation`). Raises RuleError where rule and encoding do not suit each
    other, DeviationError where a deviation does not hold here, ValueError where there is nothing
    to grade, or a display beside a job.
    """
    if job is not None and len(job.slots) != 1:
        raise ValueError("assess takes a job with one slot; reduce it with only_slot")
    if job is not None and display is not None:
        raise ValueError("assess takes no display beside a job, which says its own")
    slot = job.slots[0] if job else None
    display = slot.display if slot else display
    entry = slot.readings if slot else None
    first = slot.before if slot else None
    graded_before = None
    known = meter is not None and meter.uncertainty is not None
    trial = Trial(seed, draws if known else 0)
    changed = None
    if readings is not None:
        heading = "calibrated"
        case, state = _grade(rule, readings, entry, job, meter, display, now, trial)
        state = _explained(case, state, before, entry, job, meter)
        if before is not None:
            earlier, graded_before = _grade(rule, before, first, job, meter, display, now, trial)
            changed = calibrations.calibration_change(
                case, earlier, state.findings, graded_before.findings
            )
            state = _noting(
                state,
                calibrations.before_after_mismatch(case, earlier, readings, before, job),
                *calibrations.headroom_remarks(earlier, case),
            )
    elif before is not None:
        heading = "before"
        earlier, state = _grade(rule, before, first, job, meter, display, now, trial)
        state = _explained(earlier, state, None, first, job, meter)
        state = _noting(state, *calibrations.headroom_remarks(earlier, None))
    else:
        raise ValueError("there are no readings to assess")
    held = deviation_check.check_deviations(deviations, state.findings, rule=rule, job=job, now=now)
    accepted = deviation_check.disposition(held, state.findings, rule.decision)
    heads = records.Heads(
        rule=rule,
        job=job,
        meter=meter,
        assessed=now,
        valid_until=_end(valid_until(rule, meter, state.measured), held, accepted),
        heading=heading,
        seed=trial.seed,
        draws=trial.draws,
        deviations=held,
        disposition=accepted,
        display=display,
    )
    document = records.record(heads, state, graded_before, changed)
    return Assessment(
        number=document["number"],
        assessed=now,
        valid_until=heads.valid_until,
        heading=heading,
        rule=rule,
        job=job,
        meter=meter,
        state=state,
        before=graded_before,
        document=document,
        deviations=held,
        disposition=accepted,
        calibration=changed,
    )


NO_LUMINANCES = {"unit", "normalised"}
"""Remarks by which the readings may be no luminances in cd/m², and"""
OF_LUMINANCE = {"luminance", "raised-black"}
"""causes that tell nothing then."""


def _explained(
    case: MatchedReadings,
    state: GradedReadings,
    before: Readings | None,
    entry: ReadingsEntry | None,
    job: Job | None,
    meter: Meter | None,
) -> GradedReadings:
    """The state with likely causes of what failed, and with remarks on the readings as such."""
    found = diagnosis_of(state.findings, case, state.readings, before)
    odd = reading_remarks(
        case,
        state.readings,
        meter=meter,
        job=job,
        entry=entry,
        causes=found.causes,
        expected=found.expected,
    )
    return _noting(replace(state, causes=_undoubted(found.causes, state.remarks)), *odd)


def _undoubted(causes: tuple[Cause, ...], noted: Sequence[Remark]) -> tuple[Cause, ...]:
    """The causes without those of luminance, where the white is off and the readings' unit is in
    doubt."""
    doubted = NO_LUMINANCES & {remark.kind for remark in noted}
    if not doubted or "luminance" not in {one.kind for one in causes}:
        return causes
    return tuple(one for one in causes if one.kind not in OF_LUMINANCE)


def _noting(state: GradedReadings, *found: Remark | None) -> GradedReadings:
    """The state with more remarks."""
    more = tuple(remark for remark in found if remark is not None)
    return replace(state, remarks=(*state.remarks, *more))


def _grade(
    rule: Rule,
    readings: Readings,
    entry: ReadingsEntry | None,
    job: Job | None,
    meter: Meter | None,
    display: Display | None,
    now: datetime,
    trial: Trial,
) -> tuple[MatchedReadings, GradedReadings]:
    case = match_readings(rule, readings, meter=meter, stated=_stated(job, display, entry))
    uncertainty = meter.uncertainty if meter else None
    findings = findings_of(case, uncertainty, count=trial.draws, seed=trial.seed)
    verdict, reason, conditional = outcome(findings, rule.decision)
    spread = white_spread(case, uncertainty, count=min(trial.draws, PICTURED), seed=trial.seed)
    measured = entry.measured if entry else None
    unproven = inadequate(rule, meter if trial.draws else None, readings.encoding)
    noticed = circumstance_remarks(
        case,
        readings,
        meter=meter,
        measured=measured,
        job=job,
        unproven=[row.requirement for row in unproven],
        now=now,
    )
    return case, GradedReadings(
        readings=readings,
        measured=measured,
        verdict=verdict,
        reason=reason,
        conditional=conditional,
        findings=findings,
        remarks=noticed,
        charts=picture_data(case, findings, spread),
    )


def _stated(job: Job | None, display: Display | None, entry: ReadingsEntry | None) -> DeclaredFacts:
    """What job and display say, under the names that `recorded` and `declared` use."""
    technology = display.technology if display else None
    if job is None:
        return DeclaredFacts(technology)
    slot = job.slots[0]
    age = None
    if slot.calibrated is not None and entry is not None:
        passed = (entry.measured - slot.calibrated).total_seconds() / 86400
        age = passed if passed >= 0 else None
    return DeclaredFacts(
        technology=technology,
        recorded={
            "surround": job.room.surround,
            "ambient": job.room.ambient,
            "warm-up": slot.warm_up,
            "hours": slot.display.hours,
            "calibration-age": age,
        },
        declared={name: declaration.value for name, declaration in slot.declared.items()},
    )


def _end(
    until: datetime | None, deviations: Sequence[Deviation], accepted: Disposition | None
) -> datetime | None:
    """No longer than what was accepted holds."""
    if accepted is None:
        return until
    ends = [deviation_check.expiry(each) for each in deviations]
    return min([*ends, *([until] if until is not None else [])])


def valid_until(rule: Rule, meter: Meter | None, measured: datetime | None) -> datetime | None:
    """End of a verdict's life: the rule's, or the meter certificate's due date if earlier.

    Never before the readings were taken; None where the rule gives no life or the
    time of measuring is not known. A due date lasts to 24:00 UTC.
    """
    if rule.valid_days is None or measured is None:
        return None
    end = measured + timedelta(days=rule.valid_days)
    due = meter.certificate.due if meter and meter.certificate else None
    if due is not None:
        end = min(end, datetime.combine(due, time(), UTC) + timedelta(days=1))
    return max(end, measured)
