"""Remarks on meter, dates, whites: each where it applies, and not a step beyond."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from helpers import builders, faulty_displays, shipped, simulated
from helpers.shipped import shipped_rule

from compliance.assessment import assess, graded_state
from compliance.model import (
    Certificate,
    Display,
    Job,
    LuminanceBand,
    Measurement,
    Meter,
    Readings,
    ReadingsEntry,
    RepeatabilityBand,
)
from compliance.report.words import remark_text

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
RULE = shipped_rule("web-srgb")


def read(whites: Sequence[float] = (100.3,)) -> Readings:
    """An ideal display; `whites` are its readings of white, at the file's end, in cd/m²."""
    shown = simulated.ideal(RULE, black=0.1, white=100.3)
    whole = [one for one in shown if one.codes == (255, 255, 255)]
    (white,) = [one for one in whole if one.patch.position == "centre"]
    light = white.xyz / white.xyz[1]
    kept = [one for one in shown if one is not white]
    again = [replace(white, patch=replace(white.patch, count=1), xyz=light * y) for y in whites]
    return simulated.readings([*kept, *again], RULE.encoding)


def job(measured: datetime, calibrated: datetime | None = None) -> Job:
    made = shipped.job(RULE)
    entry = ReadingsEntry(made.file, "r.csv", measured, RULE.encoding)
    return replace(made, slots=(replace(made.slots[0], readings=entry, calibrated=calibrated),))


def noted(
    readings: Readings | None = None, *, meter: Meter | None = None, job: Job | None = None
) -> dict[str, str]:
    """Texts by kind; no kind comes twice."""
    measurement = Measurement(RULE, readings or read(), meter=meter, job=job)
    made = graded_state(measurement, now=NOW, seed=0, draws=100)
    kinds = [one.kind for one in made.remarks]
    assert len(kinds) == len(set(kinds))
    return {one.kind: remark_text(one) for one in made.remarks}


def test_a_full_statement_has_nothing_to_note() -> None:
    found = noted(meter=builders.meter(), job=job(NOW - timedelta(hours=2)))
    assert not found


# ---------------------------------------------------------------- white


@pytest.mark.parametrize(
    ("whites", "told"),
    [
        ((100, 101, 102), "White drifted by +2.0 % over the 3 times it was read."),
        ((102, 101, 100), "White drifted by −2.0 % over the 3 times it was read."),
        ((100, 100.25, 100.5, 100.75), "White drifted by +0.7 % over the 4 times it was read."),
        ((100, 100.2, 100.4), None),
        ((100, 102, 100), None),  # scatter, no drift
        ((100, 110), None),  # of two nothing can be said
    ],
)
def test_drift_of_the_repeated_white(whites: tuple[float, ...], told: str | None) -> None:
    assert noted(read(whites)).get("drift") == told


def test_drift_is_one_of_luminance() -> None:
    steady = read((100, 100, 100))
    tint = np.ones_like(steady.xyz)
    tint[-3:] = np.array([[1, 1, 1], [0.99, 1, 1.02], [0.98, 1, 1.04]])
    assert "drift" not in noted(replace(steady, xyz=steady.xyz * tint))


def test_drift_goes_by_the_order_of_the_file() -> None:
    shown = read((102, 101, 100))
    backwards = np.arange(len(shown))[::-1]
    turned = replace(
        shown,
        codes=shown.codes[backwards],
        xyz=shown.xyz[backwards],
        position=shown.position[::-1],
        pattern=shown.pattern[::-1],
        window=shown.window[backwards],
        seconds=shown.seconds[backwards],
    )
    assert "−2.0 %" in noted(shown)["drift"]
    assert "+2.0 %" in noted(turned)["drift"]


@pytest.mark.parametrize(("level", "expected"), [(100.0, True), (100.0001, False), (99.9, False)])
def test_a_white_of_exactly_100(level: float, expected: bool) -> None:
    readings = read((level,))
    assert readings.xyz[-1, 1] == level
    assert ("normalised" in noted(readings)) == expected


@pytest.mark.parametrize(
    ("rule", "white", "factor", "words"),
    [
        ("cinema-review-room", 48, 14 / 48, "reads 14; were that in foot-lamberts, it would be 48"),
        ("sdr-broadcast", 100, 1000, "were that in mcd/m², it would be 100 cd/m² where the rule's"),
        ("hdr-pq-1000", 100, 0.29186, "were that in foot-lamberts, it would be 100 cd/m²"),
        ("cinema-review-room", 48, 0.35, ""),
        ("sdr-broadcast", 100, 0.8, ""),
    ],
)
def test_a_file_in_another_unit(rule: str, white: float, factor: float, words: str) -> None:
    """14 fL are the cinema's 48 cd/m² (SMPTE ST 431-1); 1 fL = 3.426 cd/m² (NIST SP 811, B.8)."""
    loaded = shipped_rule(rule)
    shown = shipped.ideal(loaded, white=white)
    readings = simulated.readings(
        [replace(one, xyz=one.xyz * factor) for one in shown], loaded.encoding
    )
    found = assess(Measurement(loaded, readings), now=NOW).state.remarks
    (text,) = [remark_text(one) for one in found if one.kind == "unit"] or [""]
    assert words in text and bool(words) == bool(text)


def test_a_white_alone_does_not_tell_the_unit() -> None:
    """Gamma 2.4 up to 150 cd/m² shows PQ's white of 100 cd/m² at 29.6, as foot-lamberts would."""
    rule = shipped_rule("hdr-pq-1000")
    shown = shipped.ideal(rule, white=100)
    top = max(one.codes[1] for one in shown)
    dim = [
        replace(one, xyz=150 * (one.codes[1] / top) ** 2.4 * one.xyz / max(one.xyz[1], 1e-9))
        for one in shown
    ]
    found = assess(Measurement(rule, simulated.readings(dim, rule.encoding)), now=NOW).state
    assert "unit" not in {one.kind for one in found.remarks}


def test_where_the_unit_is_doubted_no_luminance_is_a_cause() -> None:
    loaded = shipped_rule("sdr-broadcast")
    shown = [replace(one, xyz=one.xyz / 3.4263) for one in shipped.ideal(loaded, white=100)]
    found = assess(Measurement(loaded, simulated.readings(shown, loaded.encoding)), now=NOW).state
    assert "unit" in {one.kind for one in found.remarks}
    assert not {"luminance", "raised-black"} & {one.kind for one in found.causes}


def test_without_the_luminance_the_other_causes_begin_at_the_first_rank() -> None:
    loaded = shipped_rule("sdr-broadcast")
    shown = faulty_displays.readings(
        loaded, [faulty_displays.gained(2, 0.85)], np.random.RandomState(1)
    )
    in_mcd = replace(shown, xyz=1000 * shown.xyz)
    found = assess(Measurement(loaded, in_mcd), now=NOW).state
    assert "unit" in {one.kind for one in found.remarks}
    assert found.causes[0].kind == "gain"
    assert found.causes[0].rank == 1


def test_a_white_of_exactly_100_hides_no_black_that_is_raised() -> None:
    """The remark doubts the unit, and the white is right all the same."""
    loaded = shipped_rule("sdr-broadcast")
    shown = simulated.readings(shipped.ideal(loaded, white=100, black=0.2), loaded.encoding)
    white = shown.codes.sum(axis=1) == shown.codes.sum(axis=1).max()
    xyz = shown.xyz.copy()
    xyz[white] *= 100 / xyz[white, 1:2]
    exact = replace(shown, xyz=xyz)
    found = assess(Measurement(loaded, exact), now=NOW).state
    assert "normalised" in {one.kind for one in found.remarks}
    assert [one.kind for one in found.causes] == ["raised-black"]


@pytest.mark.parametrize(
    ("rule", "white", "top", "expected"),
    [
        ("cinema-review-room", 48, 100.0, True),
        ("cinema-review-room", 48, 1.001, True),
        ("hdr-pq-1000", 100, 100.2, True),
        ("sdr-broadcast", 100, 1.0, True),
        ("sdr-broadcast", 100, 100.2, False),
        ("cinema-review-room", 48, 98.0, False),
        ("web-srgb", 80, 100.2, False),
    ],
)
def test_a_file_normalised_to_1_or_100(rule: str, white: float, top: float, expected: bool) -> None:
    """The brightest patch is 1 or 100, and far from what the rule asks for."""
    loaded = shipped_rule(rule)
    shown = shipped.ideal(loaded, white=white)
    factor = top / max(one.xyz[1] for one in shown)
    readings = simulated.readings(
        [replace(one, xyz=one.xyz * factor) for one in shown], loaded.encoding
    )
    found = {one.kind for one in assess(Measurement(loaded, readings), now=NOW).state.remarks}
    assert ("normalised" in found) == expected


# ---------------------------------------------------------------- meter


def test_what_a_meter_does_not_say() -> None:
    assert "reach, its uncertainty and its certificate" in noted()["no-meter"]
    bare = replace(builders.meter(), uncertainty=None)
    assert set(noted(meter=bare)) == {"no-uncertainty"}
    free = builders.meter(correlation=None)
    assert (
        "the smallest of those with correlations −0.9, 0 and 0.9"
        in (noted(meter=free)["correlation-unknown"])
    )
    assert "correlation-unknown" not in noted(meter=builders.meter(correlation=0.3))


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"repeatability": ()}, "leaves open how well readings repeat."),
        ({"saturated": None}, "the chromaticity of saturated colours (saturated)"),
        ({"luminance": (LuminanceBand(5.0, 2.0),)}, "the uncertainty of these luminances"),
    ],
)
def test_what_a_meters_file_leaves_open(changes: dict[str, object], expected: str) -> None:
    assert expected in noted(meter=builders.meter(**changes))["certificate-silent"]  # type: ignore[arg-type]
    assert "certificate-silent" not in noted(meter=builders.meter())


def test_a_colorimeter_must_be_matched_to_the_display() -> None:
    """Its correction is missing, for another display, or older than its certificate."""
    plain = replace(builders.meter(), kind="colorimeter")
    assert "names no correction" in noted(meter=plain)["correction"]
    matched = {"name": "m", "made_for": "RD-31-0007", "date": "2026-11-02"}
    issued = Certificate(None, None, date(2026, 11, 3), None)
    old = replace(plain, correction=matched, certificate=issued)
    assert "older than its certificate" in noted(meter=old)["correction"]
    other = {**matched, "made_for": "RD-99"}
    shown = Display(serial="RD-31-0007")
    made = assess(
        Measurement(RULE, read(), meter=replace(plain, correction=other), display=shown), now=NOW
    )
    assert (
        "made for another display (RD-99)"
        in {one.kind: remark_text(one) for one in made.state.remarks}["correction"]
    )
    assert "correction" not in noted(meter=replace(plain, correction=matched))


def test_a_meter_too_coarse_for_the_rule() -> None:
    coarse = builders.meter(repeatability=(RepeatabilityBand(0.0, 60.0, 0.05, 0.04),))
    told = noted(meter=coarse)["meter-inadequate"]
    (gamut,) = (one.title for one in RULE.requirements if one.id == "grey")
    assert gamut in told


@pytest.mark.parametrize(
    ("due", "expected"), [(date(2026, 11, 18), True), (date(2026, 11, 19), False)]
)
def test_a_certificate_past_its_due_date(due: date, expected: bool) -> None:
    """A due date lasts to 24:00 UTC."""
    meter = replace(builders.meter(), certificate=Certificate(None, None, None, due))
    measured = datetime(2026, 11, 19, 23, 59, tzinfo=UTC)
    found = noted(meter=meter, job=job(measured))
    assert ("meter-past-due" in found) == expected
    assert "meter-past-due" not in noted(meter=meter)


# ---------------------------------------------------------------- dates


@pytest.mark.parametrize(("hours", "expected"), [(1, True), (0, False), (-1, False)])
def test_readings_from_later_than_now(hours: int, expected: bool) -> None:
    found = noted(job=job(NOW + timedelta(hours=hours)))
    assert ("measured-later" in found) == expected


@pytest.mark.parametrize(("hours", "expected"), [(1, True), (0, False), (-1, False), (None, False)])
def test_readings_from_before_the_calibration(hours: int | None, expected: bool) -> None:
    measured = NOW - timedelta(hours=5)
    calibrated = None if hours is None else measured + timedelta(hours=hours)
    found = noted(job=job(measured, calibrated))
    assert ("older-than-calibration" in found) == expected
