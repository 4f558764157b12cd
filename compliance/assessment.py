"""From a measurement to its assessment: findings, verdict, remarks, likely causes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

from compliance.diagnosis.diagnose import diagnosis_of
from compliance.documents import numbered
from compliance.grading.decide import outcome, uncertainty_unknown
from compliance.grading.deviation_check import check_deviations, disposition, expiry
from compliance.grading.match import matched
from compliance.grading.monte_carlo import findings_of, silent_requirements
from compliance.grading.rule_size import check_rule_size
from compliance.model import (
    Appendix,
    Assessment,
    Cause,
    Deviation,
    Face,
    GradedReadings,
    Measurement,
    Remark,
)
from compliance.planning.meter_capability import inadequate
from compliance.remarks import reading_remarks
from compliance.remarks.calibration_change import calibration_change, calibration_remarks
from compliance.remarks.circumstances import circumstance_remarks
from compliance.remarks.lapsed_deviations import lapsed_remarks
from compliance.remarks.replaced_readings import replaced_readings
from compliance.time_zones import Zone, measurement_in

SEED = 0
DRAWS = 10_000
"""Enough for a probability to about half a per cent (JCGM 101, 7.2)."""


def assess(
    measurement: Measurement,
    *,
    now: datetime,
    replaces: str | None = None,
    faces: tuple[Face, ...] = (),
    zone: Zone | None = None,
    appendices: tuple[Appendix, ...] = (),
) -> Assessment:
    """Grade a slot's readings against a rule.

    If the slot has readings from before and after calibration, both are graded. `now` has a time
    zone. `DRAWS` copies of the readings are drawn from the uncertainty in the meter's file with
    `SEED`, none without it: nobody chooses the draws of a document. `replaces` is the number of an
    assessment whose files this one overwrites, `faces` what draws letters of its texts that this
    program's own faces lack (`lettering.choose`). Times carry the offset to print them with, in
    `zone`; default: the job's, by today's data. `appendices` follow its sheet's last page. Raises
    RuleError if rule and encoding do not suit each other or the rule asks for too much,
    DeviationError if a deviation is not valid here.
    """
    zone = zone or Zone(measurement.job.timezone if measurement.job else None)
    measurement, now = measurement_in(zone, measurement), zone.local(now)
    rule, meter, as_found = measurement.rule, measurement.meter, measurement.as_found
    state = graded_state(measurement, now=now, seed=SEED, draws=DRAWS)
    before = _graded(as_found, now, SEED, DRAWS) if as_found else None
    deviations, lapsed = check_deviations(measurement, state.findings, now)
    state = _with_remarks(state, lapsed_remarks(lapsed, state.findings))
    accepted = disposition(deviations, state.findings, rule.decision)
    until = valid_until(measurement, now, deviations if accepted else ())
    assessment = Assessment(
        assessed=now,
        valid_until=until and zone.local(until),
        seed=SEED,
        draws=DRAWS if meter and meter.uncertainty else 0,
        state=_with_remarks(state, calibration_remarks(measurement)),
        before=before,
        calibration=calibration_change(before, state) if before else None,
        deviations=deviations,
        lapsed=tuple(each.deviation for each in lapsed),
        disposition=accepted,
        replaces=replaces,
        faces=faces,
        appendices=appendices,
    )
    return numbered(assessment)


def graded_state(
    measurement: Measurement, *, now: datetime, seed: int, draws: int
) -> GradedReadings:
    """Grade one set of readings, with remarks and likely causes; no document is made of it.

    For simulations: `draws` copies of the readings are drawn with `seed` from the uncertainty in
    the meter's file, none without it.
    """
    return _with_causes(_graded(measurement, now, seed, draws))


def _graded(measurement: Measurement, now: datetime, seed: int, draws: int) -> GradedReadings:
    """The graded readings with findings, verdict and remarks on the circumstances."""
    rule, meter = measurement.rule, measurement.meter
    check_rule_size(rule)
    uncertainty = meter.uncertainty if meter else None
    draws = draws if uncertainty else 0
    findings = findings_of(matched(measurement), uncertainty, count=draws, seed=seed)
    verdict, reason, conditional = outcome(findings, rule.decision)
    unproven = inadequate(rule, meter, measurement.graded.encoding) if meter and draws else ()
    silent: Mapping[str, tuple[str, ...]] = {}
    if uncertainty and any(map(uncertainty_unknown, findings)):
        silent = silent_requirements(matched(measurement), uncertainty)
    return GradedReadings(
        measurement=measurement,
        verdict=verdict,
        reason=reason,
        conditional=conditional,
        findings=findings,
        remarks=(
            *filter(None, [replaced_readings(measurement, findings)]),
            *circumstance_remarks(measurement, unproven, silent, now),
        ),
    )


def _with_causes(state: GradedReadings) -> GradedReadings:
    """The state with likely causes of failures, and with remarks on odd readings."""
    diagnosis = diagnosis_of(state.measurement, state.findings)
    odd = reading_remarks(state.measurement, diagnosis.causes, diagnosis.expected)
    causes = _undoubted(diagnosis.causes, state.remarks)
    return _with_remarks(replace(state, causes=causes), odd)


def _with_remarks(state: GradedReadings, remarks: Iterable[Remark]) -> GradedReadings:
    """The state with more remarks."""
    return replace(state, remarks=(*state.remarks, *remarks))


NO_LUMINANCES = {"unit", "normalised"}
"""Remarks that the readings may not be luminances in cd/m²."""
OF_LUMINANCE = {"luminance", "raised-black"}
"""Causes that mean nothing in that case."""


def _undoubted(causes: tuple[Cause, ...], remarks: Sequence[Remark]) -> tuple[Cause, ...]:
    """The causes, without those of luminance if the white is off and the readings' unit is in
    doubt."""
    doubted = NO_LUMINANCES & {remark.kind for remark in remarks}
    if not doubted or "luminance" not in {cause.kind for cause in causes}:
        return causes
    kept = [cause for cause in causes if cause.kind not in OF_LUMINANCE]
    ranks = sorted({cause.rank for cause in kept})
    return tuple(replace(cause, rank=ranks.index(cause.rank) + 1) for cause in kept)


def valid_until(
    measurement: Measurement, now: datetime, accepted: Sequence[Deviation] = ()
) -> datetime | None:
    """The end of a verdict's validity: by the rule, the meter certificate's due date, or the
    accepted deviations, whichever is first.

    The first two apply only if the rule limits the validity and the time of measuring is known;
    they never end it before the readings were taken. A due date lasts to 24:00 UTC. Readings that
    are dated after the assessment, at `now`, count from then.
    """
    days, meter, measured = measurement.rule.valid_days, measurement.meter, measurement.measured
    ends = [expiry(deviation) for deviation in accepted]
    if days is not None and measured is not None:
        begun = min(measured, now)
        end = begun + timedelta(days=days)
        due = meter.certificate.due if meter and meter.certificate else None
        if due is not None:
            end = min(end, datetime.combine(due, time(), UTC) + timedelta(days=1))
        ends.append(max(end, begun))
    return min(ends, default=None)
