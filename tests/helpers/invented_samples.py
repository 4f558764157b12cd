"""Invented assessments: every kind of outcome, by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from compliance.model import (
    ENCODINGS,
    Assessment,
    Certificate,
    Change,
    Decision,
    Interval,
    NotJudged,
    Outcome,
    Party,
    People,
    ReadingsEntry,
    Reason,
    Remark,
    Statement,
    Texts,
    Verdict,
)
from compliance.pictures.data import Charts
from helpers.invented_charts import charts
from helpers.sample_assessments import (
    MEASURED,
    REQUIREMENTS,
    VALUES,
    PicturedMeasurement,
    assessment,
    finding,
    job,
    meter,
    of_another,
    readings,
    rule,
    slot,
    state,
    uncertain,
)

TOO_DARK = Statement("", Texts("too dark for the meter"))


def compliant() -> Assessment:
    return assessment(state(tuple(finding(need) for need in REQUIREMENTS)))


def failing() -> Assessment:
    changed = {
        "tracking": finding(REQUIREMENTS[6], Verdict.FAIL, 12.41, failing=9),
        "gamma": finding(REQUIREMENTS[5], Verdict.FAIL, 2.2143),
        "coverage": finding(REQUIREMENTS[11], Verdict.FAIL, 93.1),
    }
    findings = tuple(changed.get(need.id) or finding(need) for need in REQUIREMENTS)
    late = meter(
        certificate=Certificate(
            "C-2025-077", "Lantern Hill Metrology", date(2025, 3, 2), date(2026, 3, 2)
        )
    )
    remarks = (
        Remark(
            "meter", Texts("The meter's certificate was due on 2026-03-02, before the readings.")
        ),
        Remark("drift", Texts("The repeated white drifted by 0.3 % over the readings.")),
    )
    graded = state(findings, verdict=Outcome.NOT_COMPLIANT, remarks=remarks, pictures=charts(5.0))
    return assessment(graded, meter=late, valid_until=MEASURED)


def doubtful() -> Assessment:
    """One value surely outside, one possibly, judged with uncertainty by a poor meter."""
    findings = tuple(uncertain(need) for need in REQUIREMENTS)
    changed = {
        "tracking": finding(
            REQUIREMENTS[6], Verdict.FAIL, 12.41, failing=9, probability=0.0, joint=0.0
        ),
        "gamma": finding(REQUIREMENTS[5], Verdict.CONDITIONAL_FAIL, 2.2961, probability=0.31),
    }
    names = [need.title for need in REQUIREMENTS[:9]]
    remarks = (
        Remark("drift", Texts("The repeated white drifted by 0.3 % over the readings.")),
        Remark("correlation-unknown", Texts("How errors in x and y go together is not known.")),
        Remark("meter-inadequate", {"titles": tuple(names)}),
        Remark("meter-past-due", Texts("The certificate of meter spot-1 was due on 2026-03-02.")),
    )
    graded = state(
        tuple(changed.get(row.id, row) for row in findings),
        verdict=Outcome.NOT_COMPLIANT,
        remarks=remarks,
        pictures=charts(5.0, sure=12.0),
    )
    return assessment(graded, draws=20000, seed=1)


def unproven(acceptance: str = "guarded") -> Assessment:
    """Inside all limits, with several values too near to be proven."""
    near = {"gamma": 0.763, "white-box": 0.94996, "colours": 0.774, "grey-balance": 0.923}
    findings = []
    for need in REQUIREMENTS:
        graded = uncertain(need)
        if need.id in near:
            graded = replace(graded, verdict=Verdict.CONDITIONAL_PASS, probability=near[need.id])
        findings.append(graded)
    guarding = acceptance == "guarded"
    return assessment(
        state(
            tuple(findings),
            verdict=Outcome.UNDECIDED if guarding else Outcome.COMPLIANT,
            reason=Reason.UNCERTAINTY if guarding else None,
            conditional=not guarding,
            pictures=charts(2.0, sure=2.0),
        ),
        rule=rule(decision=Decision(acceptance, 0.95)),
        draws=20000,
        seed=1,
    )


def split() -> Assessment:
    """The grey nearest its limit is surely inside; a dark one, read with less certainty, is not.

    Its 95 % bound is above the limit although its value is far from it.
    """
    base = unproven("simple")
    findings = []
    for row in base.state.findings:
        if row.id == "grey-balance":
            nearest, dark, *rest = row.points
            nearest = replace(
                nearest,
                verdict=Verdict.PASS,
                probability=0.9996,
                interval=Interval(0.0, 0.82, 0.95, 1),
            )
            dark = replace(
                dark,
                value=0.044,
                verdict=Verdict.CONDITIONAL_PASS,
                probability=0.86,
                interval=Interval(0.0, 1.33, 0.95, 1),
            )
            sure = [replace(point, probability=0.99) for point in rest]
            row = replace(
                row,
                points=(nearest, dark, *sure),
                probability=0.86,
                interval=nearest.interval,
            )
        findings.append(row)
    return replace(base, state=replace(base.state, findings=tuple(findings)))


def proven(acceptance: str = "guarded") -> Assessment:
    """Surely inside all limits."""
    findings = tuple(
        replace(uncertain(need), verdict=Verdict.PASS, probability=0.993) for need in REQUIREMENTS
    )
    return assessment(
        state(findings, pictures=charts(sure=1.0)),
        rule=rule(decision=Decision(acceptance, 0.95)),
        draws=20000,
        seed=1,
    )


def undecided() -> Assessment:
    gone = tuple(
        f"{hue} {step} %" for hue in ("red", "green", "blue") for step in (25, 50, 75, 100)
    )
    changed = {
        "colours": finding(
            REQUIREMENTS[9],
            Verdict.NOT_ASSESSED,
            None,
            reason=Reason.MISSING_READINGS,
            missing=gone,
        ),
        "uniformity": finding(
            REQUIREMENTS[12], Verdict.NOT_ASSESSED, None, reason=Reason.NOT_APPLICABLE
        ),
        "contrast": finding(REQUIREMENTS[2], bound="at-least"),
        "grey-balance": finding(
            REQUIREMENTS[4],
            not_judged=tuple(
                NotJudged((64 + code,) * 3, f"grey {code} %", "centre", 100.0, TOO_DARK)
                for code in (1, 2, 3)
            ),
        ),
    }
    findings = tuple(changed.get(need.id) or finding(need) for need in REQUIREMENTS)
    thin = replace(charts(), colours=(), differences=())
    graded = state(
        findings, verdict=Outcome.UNDECIDED, reason=Reason.MISSING_READINGS, pictures=thin
    )
    return assessment(graded, meter=None)


def both() -> Assessment:
    """Before and after calibration, with uncertainties and a house rule's changes."""
    findings = tuple(uncertain(need) for need in REQUIREMENTS)
    worse = {
        "gamma": finding(REQUIREMENTS[5], Verdict.FAIL, 2.2143),
        "white-level": finding(REQUIREMENTS[0], Verdict.FAIL, 118.3),
        "grey-balance": finding(REQUIREMENTS[4], Verdict.CONDITIONAL_FAIL, 1.12),
    }
    findings_before = tuple(worse.get(need.id) or finding(need) for need in REQUIREMENTS)
    named = "readings/slot-1-before.csv"
    encoding = ENCODINGS["rgb-10-narrow"]
    entry = ReadingsEntry(Path(named), named, MEASURED - timedelta(hours=2), encoding)
    house = rule(
        id="low-tide-broadcast",
        title="Low Tide broadcast master",
        extends="sdr-broadcast@1",
        changes=(
            Change(
                "requirements.black-level",
                "The room is darker than the parent assumes",
                "Low Tide Films",
                date(2026, 9, 1),
            ),
            Change(
                "requirements.primary-level",
                "Not asked for",
                "Low Tide Films",
                date(2026, 9, 1),
                True,
            ),
        ),
    )
    measurement = PicturedMeasurement(
        house,
        readings(),
        readings(named),
        job=job(slot(before=entry)),
        meter=meter(),
        charts=charts(sure=1.5),
    )
    as_found = replace(measurement, readings=None, charts=charts(4.0, 7, sure=1.5))
    return assessment(
        state(findings, measurement=measurement, conditional=True),
        before=state(findings_before, measurement=as_found, verdict=Outcome.NOT_COMPLIANT),
        draws=20000,
        seed=1,
    )


def guarded() -> Assessment:
    """Every value inside its limits, but none with uncertainty, as guarded acceptance requires."""
    graded = state(
        tuple(finding(need) for need in REQUIREMENTS),
        verdict=Outcome.UNDECIDED,
        reason=Reason.UNCERTAINTY,
    )
    return assessment(graded, rule=rule(decision=Decision("guarded", 0.95)))


def only_before() -> Assessment:
    encoding = ENCODINGS["rgb-10-narrow"]
    entry = ReadingsEntry(Path("b.csv"), "readings/slot-1-before.csv", MEASURED, encoding)
    return of_another(
        replace(failing(), valid_until=None),
        readings=None,
        before=readings(),
        job=job(slot(readings=None, before=entry, calibrated=None)),
    )


def many() -> Assessment:
    needs = tuple(
        replace(
            REQUIREMENTS[at % len(REQUIREMENTS)],
            id=f"need-{at}",
            title=f"{REQUIREMENTS[at % len(REQUIREMENTS)].title}, field {at}",
        )
        for at in range(60)
    )
    findings = tuple(
        finding(
            need,
            (Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL, Verdict.FAIL)[
                at % 4
            ],
            VALUES[REQUIREMENTS[at % len(REQUIREMENTS)].id],
        )
        for at, need in enumerate(needs)
    )
    return assessment(state(findings, verdict=Outcome.NOT_COMPLIANT), rule=rule(needs))


def one() -> Assessment:
    """A bare readings file against a rule with a single requirement."""
    graded = state((finding(REQUIREMENTS[0]),), pictures=Charts())
    return assessment(
        graded, rule=rule(REQUIREMENTS[:1], valid_days=None), job=None, meter=None, valid_until=None
    )


def long_names() -> Assessment:
    tale = "The Quite Extraordinarily Long-Winded Partnership for Moving Pictures and Sons "
    the_slot = slot(
        name="a slot with a name that nobody would give to a slot but somebody did",
        settings={
            "notes": "Turn the third knob until it clicks, then back by half a turn. " * 60,
            "matrix": ["0.123456"] * 200,
            "path": "luts/" + "deep/" * 60 + "slot.cube",
            **{f"control {at}": at for at in range(50)},
        },
    )
    order = job(
        the_slot,
        title=tale * 3,
        client=Party(tale * 2, "x" * 200, tale),
        facility=Party(tale * 2, tale, tale * 2),
        people=People("Wilhelmina Featherstonehaugh-Cholmondeley " * 3, "Ærøskøbing Žižkov " * 6),
        suite="suite " * 20,
        reference="R" * 60,
    )
    base = failing()
    remarks = tuple(Remark("order", Texts(f"Remark {at}: {tale * 2}")) for at in range(12))
    return of_another(
        replace(
            base,
            number="R" * 60 + "-" + "s" * 60 + "-sdr-broadcast-7c41f09e",
            state=replace(base.state, remarks=remarks),
        ),
        job=order,
        rule=rule(title=tale * 2),
    )


SAMPLES: dict[str, Callable[[], Assessment]] = {
    "compliant": compliant,
    "failing": failing,
    "undecided": undecided,
    "both": both,
    "guarded": guarded,
    "doubtful": doubtful,
    "unproven": unproven,
    "near": lambda: unproven("simple"),
    "split": split,
    "proven": proven,
    "proven-simply": lambda: proven("simple"),
    "only-before": only_before,
    "many": many,
    "one": one,
    "long-names": long_names,
}
