"""Parts of invented assessments, made only from the model's dataclasses."""

from dataclasses import dataclass, field, fields, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from compliance.grading.decide import uncertainty_unknown
from compliance.model import (
    ENCODINGS,
    Assessment,
    Band,
    Certificate,
    ChromaticityBand,
    Decision,
    Declaration,
    Display,
    Finding,
    GradedReadings,
    Interval,
    Job,
    Level,
    Limits,
    Linearity,
    LuminanceBand,
    Measurement,
    Meter,
    Outcome,
    Over,
    Party,
    People,
    Point,
    Readings,
    ReadingsEntry,
    RepeatabilityBand,
    Requirement,
    Room,
    Rule,
    RuleFile,
    Saturated,
    Slot,
    Target,
    Uncertainty,
    Verdict,
)
from compliance.pictures.data import Charts
from compliance.report.verdict import shall_of
from helpers.invented_charts import charts

BT709 = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
NOW = datetime(2026, 11, 20, 16, 0, tzinfo=UTC)
MEASURED = datetime(2026, 11, 20, 15, 10, tzinfo=UTC)
DIGEST = "3f9a1c07d2be48a6915e07bb6cf0d1a4e88273950b6d4c1fa2e7905c3d8841ba"

WITHIN_5 = Limits(minimum=-5.0, maximum=5.0)
WITHIN_10 = Limits(minimum=-10.0, maximum=10.0)


def readings(name: str = "readings/slot-1.csv") -> Readings:
    count = 64
    return Readings(
        encoding=ENCODINGS["rgb-10-narrow"],
        codes=np.zeros((count, 3), dtype=np.int64),
        xyz=np.ones((count, 3)),
        position=("centre",) * count,
        window=np.full(count, np.nan),
        pattern=("",) * count,
        background=("",) * count,
        seconds=np.zeros(count),
        deviation=np.full(count, np.nan),
        lines=tuple(range(2, count + 2)),
        file=name,
        data=b"",
        sha256=DIGEST,
    )


def requirement(
    id: str, title: str, quantity: str, limits: Limits | None, **more: Any
) -> Requirement:
    return Requirement(
        id=id,
        title=title,
        quantity=quantity,
        level=more.pop("level", Level.SHALL),
        basis=more.pop("basis", "practice"),
        clause=more.pop("clause", None),
        over=more.pop("over", None),
        limits=limits,
        **more,
    )


SHOULD = Level.SHOULD

REQUIREMENTS = (
    requirement(
        "white-level",
        "White luminance",
        "luminance",
        Limits(minimum=95.0, maximum=105.0, nominal=100.0),
        over=Over(("white",)),
        clause="ITU-R BT.2035 for the aim; the tolerance is practice",
    ),
    requirement(
        "black-level", "Black luminance", "luminance", Limits(maximum=0.1), over=Over(("black",))
    ),
    requirement("contrast", "Full-screen contrast", "contrast", Limits(minimum=1000.0)),
    requirement(
        "white-point",
        "White point, grade 2",
        "delta-uv-star",
        Limits(maximum=4.0),
        over=Over(("white",)),
        basis="digest",
        clause="EBU Tech 3320 v4.1, 1.5.7",
    ),
    requirement(
        "grey-balance",
        "Grey balance",
        "delta-uv-star",
        Limits(maximum=1.0),
        over=Over(("grey",), target=(1.0, 100.0)),
        reference="white",
        basis="digest",
        clause="EBU Tech 3320 v4.1, 1.5.5",
    ),
    requirement(
        "gamma",
        "Gamma",
        "fitted-exponent",
        Limits(minimum=2.3, maximum=2.5, nominal=2.4),
        over=Over(("grey",)),
        basis="digest",
        clause="EBU Tech 3320 v4.1, 1.5.4",
    ),
    requirement(
        "tracking",
        "Luminance tracking",
        "luminance-error",
        None,
        bands=(Band(10.0, WITHIN_10), Band(None, WITHIN_5)),
        over=Over(("grey",), target=(1.0, 100.0)),
    ),
    requirement(
        "primaries",
        "Primaries",
        "chromaticity-difference",
        Limits(maximum=0.008),
        over=Over(("primaries",)),
    ),
    requirement(
        "white-box",
        "White chromaticity",
        "chromaticity",
        Limits(box=(0.002, 0.002)),
        over=Over(("white",)),
        basis="house",
    ),
    requirement(
        "colours",
        "Hues and saturations",
        "delta-e-2000",
        Limits(maximum=3.0),
        over=Over(("primaries", "secondaries", "sweep")),
    ),
    requirement(
        "stability", "Stability of white", "stability", Limits(maximum=2.0), over=Over(("again",))
    ),
    requirement("coverage", "Gamut coverage", "gamut-coverage", Limits(minimum=97.0), level=SHOULD),
    requirement(
        "uniformity",
        "Uniformity of the screen",
        "non-uniformity",
        Limits(maximum=10.0),
        over=Over(("screen",)),
        level=SHOULD,
    ),
    requirement(
        "surround",
        "Surround",
        "recorded",
        Limits(minimum=8.0, maximum=12.0, nominal=10.0),
        field="surround",
        level=SHOULD,
        basis="digest",
        clause="ITU-R BT.2035",
    ),
)

VALUES: dict[str, Any] = {
    "white-level": 99.42,
    "black-level": 0.0412,
    "contrast": 2413.1,
    "white-point": 0.84,
    "grey-balance": 0.612,
    "gamma": 2.412,
    "tracking": -3.94,
    "primaries": 0.0043,
    "white-box": (0.0012, -0.0004),
    "colours": 1.84,
    "stability": 0.31,
    "coverage": 98.72,
    "uniformity": 7.4,
    "surround": 10.2,
}


def points(
    need: Requirement, value: Any, limits: Limits | None, verdict: Verdict, failing: int = 0
) -> tuple[Point, ...]:
    if need.quantity in ("recorded", "contrast", "gamut-coverage", "fitted-exponent", "stability"):
        return ()
    if need.over is None or need.over.patches[0] in ("white", "black"):
        return (
            Point(
                patch=(940,) * 3,
                name=need.over.patches[0] if need.over else "",
                position="centre",
                window=100.0,
                target=100.0,
                value=value,
                limits=limits,
                verdict=verdict,
            ),
        )
    findings = []
    for step in range(1, 13):
        outside = step <= failing
        findings.append(
            Point(
                patch=(64 + 70 * step,) * 3,
                name=f"{need.over.patches[0]} {5 * step} %",
                position="centre",
                window=100.0,
                target=float(step * 8),
                value=value
                if step == 1
                else (value * (1 - 0.05 * step) if outside else value * 0.3),
                limits=limits,
                verdict=verdict if outside or step == 1 else Verdict.PASS,
            )
        )
    return tuple(findings)


def finding(
    need: Requirement, verdict: Verdict = Verdict.PASS, value: Any = "", **more: Any
) -> Finding:
    unit = {
        "luminance": "cd/m²",
        "luminance-error": "%",
        "gamut-coverage": "%",
        "non-uniformity": "%",
        "stability": "%",
        "recorded": "cd/m²",
    }.get(need.quantity, "1")
    limits = need.limits or WITHIN_5
    value = VALUES[need.id] if value == "" else value
    shown = more.pop("points", None)
    if shown is None:
        shown = (
            () if value is None else points(need, value, limits, verdict, more.pop("failing", 0))
        )
    return Finding(
        id=need.id,
        title=need.title,
        quantity=need.quantity,
        unit=unit,
        level=need.level,
        statistic=need.statistic,
        basis=need.basis,
        clause=need.clause,
        verdict=verdict,
        value=value,
        limits=limits,
        points=shown,
        **more,
    )


def rule(requirements: tuple[Requirement, ...] = REQUIREMENTS, **more: Any) -> Rule:
    fields: dict[str, Any] = {
        "id": "sdr-broadcast",
        "title": "SDR broadcast master, HD",
        "revision": 1,
        "valid_days": 30,
        "target": Target(
            primaries=BT709,
            primaries_name="bt709",
            white=(0.3127, 0.3290),
            white_name="d65",
            curve="bt1886",
            exponent=None,
            black="lift",
            black_level=None,
            scale="relative",
            luminance_white=100.0,
            luminance_peak=100.0,
            container=BT709,
            container_name="bt709",
            system_gamma=None,
        ),
        "encoding": ENCODINGS["rgb-10-narrow"],
        "window": 100.0,
        "decision": Decision(),
        "sets": {},
        "requirements": requirements,
        "resolved": {"requirements": [{"id": each.id} for each in requirements]},
        "digest": DIGEST[::-1],
        "files": (
            RuleFile(
                "sdr-broadcast.yaml", DIGEST, "0f3c9a7712de4b5560aa1298f34cbb02d1e7a3c4", False
            ),
        ),
    }
    return Rule(**{**fields, **more})


def meter(**more: Any) -> Meter:
    fields: dict[str, Any] = {
        "name": "spot-1",
        "kind": "spectroradiometer",
        "make": None,
        "model": None,
        "serial": "SP-0441",
        "certificate": Certificate(
            "C-2026-118", "Lantern Hill Metrology", date(2026, 3, 2), date(2027, 3, 2)
        ),
        "uncertainty": Uncertainty(
            k=2.0,
            luminance=(LuminanceBand(0.003, 4.0), LuminanceBand(1.0, 2.0)),
            linearity=Linearity(),
            dark=0.002,
            resolution=0.0001,
            chromaticity=(
                ChromaticityBand(0.1, 0.004, 0.004),
                ChromaticityBand(5.0, 0.0015, 0.0015),
            ),
            saturated=Saturated(0.003, 0.003, 3.0),
            correlation=0.3,
            repeatability=(RepeatabilityBand(1.0, 0.3, 0.0003, 0.0003),),
        ),
        "stated_lowest": 0.003,
        "settle": 1.0,
        "reading_time": ((0.0, 12.0), (1.0, 4.0)),
        "correction": None,
        "document": {},
        "file": "meters/spot-1.yaml",
        "sha256": DIGEST,
    }
    return Meter(**{**fields, **more})


def slot(**more: Any) -> Slot:
    encoding = ENCODINGS["rgb-10-narrow"]
    fields: dict[str, Any] = {
        "name": "1",
        "deliverables": ("sdr-broadcast",),
        "display": Display("Oriel Row", "Panel 31", "RD-31-0007", "lcd", "2.4.1", 1840.0),
        "meter": Path("meters/spot-1.yaml"),
        "calibrated": datetime(2026, 11, 20, 14, 5, tzinfo=UTC),
        "settings": {"preset": "user 1", "backlight": 25, "lut": "luts/slot-1.cube"},
        "warm_up": 45.0,
        "declared": {"local-dimming-off": Declaration(1.0, "M. Ferro", date(2026, 11, 20))},
        "before": None,
        "readings": ReadingsEntry(
            Path("readings/slot-1.csv"), "readings/slot-1.csv", MEASURED, encoding, "off", "contact"
        ),
    }
    return Slot(**{**fields, **more})


def job(the_slot: Slot | None = None, **more: Any) -> Job:
    fields: dict[str, Any] = {
        "reference": "SY-0412",
        "title": "A river documentary in six parts",
        "client": Party("Low Tide Films", "post@lowtide.example"),
        "facility": Party("Slipway Post", None, "4 Harbour Steps, Exmouth"),
        "suite": "suite-2",
        "room": Room(10.2, 12.0),
        "people": People("M. Ferro", "J. Okafor"),
        "slots": (the_slot or slot(),),
        "file": Path("job.yaml"),
        "document": {},
    }
    return Job(**{**fields, **more})


@dataclass(frozen=True, eq=False)
class PicturedMeasurement(Measurement):
    """A measurement whose pictures are invented too."""

    charts: Charts = field(default_factory=charts)


def invented_charts_of(made: Assessment) -> list[Charts]:
    """The invented pictures of an invented assessment, those before calibration first."""
    states = (made.before, made.state)
    measurements = [state.measurement for state in states if state is not None]
    return [each.charts for each in measurements if isinstance(each, PicturedMeasurement)]


def state(
    findings: tuple[Finding, ...], *, pictures: Charts | None = None, **more: Any
) -> GradedReadings:
    measurement = PicturedMeasurement(
        rule(), readings(), job=job(), meter=meter(), charts=pictures or charts()
    )
    fields: dict[str, Any] = {
        "measurement": measurement,
        "verdict": Outcome.COMPLIANT,
        "reason": None,
        "conditional": False,
        "findings": findings,
        "remarks": (),
    }
    made = GradedReadings(**{**fields, **more})
    unknown = any(map(uncertainty_unknown, shall_of(made)))
    if made.verdict is Outcome.COMPLIANT and unknown and "conditional" not in more:
        return replace(made, conditional=True)
    return made


MEASUREMENT_PARTS = {field.name for field in fields(Measurement)} - {"before"}


def assessment(the_state: GradedReadings, **more: Any) -> Assessment:
    """An assessment of a state; parts of its measurement in `more` are changed there."""
    given: dict[str, Any] = {
        "number": "SY-0412-1-sdr-broadcast-7c41f09e",
        "assessed": NOW,
        "valid_until": MEASURED + timedelta(days=30),
        "seed": 0,
        "draws": 0,
    }
    given |= {name: value for name, value in more.items() if name not in MEASUREMENT_PARTS}
    parts = {name: value for name, value in more.items() if name in MEASUREMENT_PARTS}
    return of_another(Assessment(state=the_state, **given), **parts)


def of_another(made: Assessment, **parts: Any) -> Assessment:
    """The assessment of a measurement that differs in some parts."""
    state, before = (
        each and replace(each, measurement=replace(each.measurement, **parts))
        for each in (made.state, made.before)
    )
    assert state is not None
    return replace(made, state=state, before=before)


def uncertain(need: Requirement) -> Finding:
    """A finding graded with uncertainty; that of contrast has none."""
    near = need.id == "gamma"
    graded = finding(need, Verdict.CONDITIONAL_PASS if near else Verdict.PASS)
    if need.quantity in ("contrast", "recorded"):
        return graded
    interval = Interval(1.0, 2.0, 0.95, 2)
    if need.quantity == "chromaticity":
        interval = Interval((-0.0003, -0.0019), (0.0027, 0.0011), 0.95, 2)
    elif need.id == "stability":
        interval = Interval(0.0, 0.3099, 0.95, 1)
    probability = {"gamma": 0.81, "coverage": 1.0}.get(need.id, 0.993)
    return with_points(replace(graded, probability=probability, joint=0.97, interval=interval))


def with_points(graded: Finding) -> Finding:
    """The finding, its points that count as sure as it is itself."""
    points = (
        replace(point, probability=graded.probability if point.verdict else None)
        for point in graded.points
    )
    return replace(graded, points=tuple(points))
