"""The meter as a cause: when it is named, in which order, and that its matrix is found."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import filter_meters, physical, sample_assessments
from helpers.filter_meters import FilterMeter
from helpers.physical import BT709, D65, P3, matrix
from helpers.shipped import shipped_rule

from compliance.assessment import graded_state
from compliance.colour.spaces import PRIMARIES
from compliance.diagnosis.inputs import gather
from compliance.diagnosis.meter_faults import LUMINANCE_MOST, nearest_matrix
from compliance.grading.match import match_readings
from compliance.model import Cause, Display, Measurement, Meter
from compliance.report.words import cause_next_step, cause_text, cause_title

Array = np.ndarray
NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
SPECTRO = sample_assessments.meter()
PLAIN = replace(SPECTRO, kind="colorimeter")
"""Its file names no correction."""
MATCHED = replace(PLAIN, correction={"name": "m", "made_for": "A", "date": "2026-11-02"})
OTHER = replace(PLAIN, correction={"name": "m", "made_for": "B", "date": "2026-11-02"})
OLDER = replace(PLAIN, correction={"name": "m", "made_for": "A", "date": "2026-01-02"})
FILTERS = FilterMeter((3.0, -2.0, 2.0), (6.0, 5.0, 4.0))
RULES = ("sdr-broadcast", "hdr-pq-1000", "cinema-review-room")


def told(rule: str, shows: Callable[[Array], Array], meter: Meter | None) -> tuple[Cause, ...]:
    """The causes of a slot, with a little noise."""
    read = physical.read(rule, shows).readings
    random = np.random.RandomState(1)
    noise = 1 + 0.0003 * random.normal(size=read.xyz.shape)
    noise *= 1 + 0.001 * random.normal(size=(len(read.xyz), 1))
    read = replace(read, xyz=read.xyz * noise)
    measured = Measurement(shipped_rule(rule), read, meter=meter, display=Display(serial="A"))
    return graded_state(measured, now=NOW, seed=0, draws=200).causes


def through(rule: str, turned: Array, **asked: object) -> Callable[[Array], Array]:
    """What the rule asks for, read through a matrix."""
    return lambda signal: physical.asked(rule, signal, **asked) @ turned.T  # type: ignore[arg-type]


def first(causes: tuple[Cause, ...]) -> list[str]:
    """The kinds at the first rank, in their order."""
    return [cause.kind for cause in causes if cause.rank == 1]


# ---------------------------------------------------------------- meters by their filters


@pytest.mark.parametrize("rule", RULES)
def test_an_uncorrected_colorimeter_comes_first(rule: str) -> None:
    causes = told(rule, through(rule, FILTERS.matrix(4)), PLAIN)
    assert first(causes)[0] == "meter"
    assert not [cause for cause in causes if cause.rank > 1]
    explained = {one.id for one in causes[0].explains}
    assert all({one.id for one in other.explains} <= explained for other in causes[1:])


def test_invented_filters_are_never_told_as_the_display_alone() -> None:
    random = np.random.RandomState(4)
    outside = 0
    for turn in range(4):
        meter = filter_meters.drawn(random, (None, 2)[turn % 2])
        causes = told("sdr-broadcast", through("sdr-broadcast", meter.matrix(4)), PLAIN)
        outside += bool(causes)
        assert not causes or first(causes)[0] == "meter"
    assert outside >= 2


def test_a_meter_beside_another_exponent() -> None:
    turned = FILTERS.matrix(4)
    causes = told("sdr-broadcast", through("sdr-broadcast", turned, exponent=2.15), PLAIN)
    assert {"curve", "meter"} <= {cause.kind for cause in causes}


def test_the_numbers_told_are_those_of_the_matrix() -> None:
    turned = FILTERS.matrix(4)
    cause = told("sdr-broadcast", through("sdr-broadcast", turned), PLAIN)[0]
    true = np.vstack([matrix(BT709, D65).sum(axis=1), matrix(BT709, D65).T])
    uv = [np.array([4 * x / (x + 15 * y + 3 * z), 9 * y / (x + 15 * y + 3 * z)])
          for x, y, z in [*true, *(true @ turned.T)]]  # fmt: skip
    away = [float(np.linalg.norm(uv[at + 4] - uv[at])) for at in range(4)]
    moves = [one for one in cause.evidence if one.kind == "meter-moves"]
    assert [one.facts["colour"] for one in moves] == ["white", "red", "green", "blue"]
    assert [one.value for one in moves] == pytest.approx(away, abs=2e-4)
    assert cause.fit is not None and cause.fit.error < 0.2 * cause.fit.error_without


def test_the_matrix_is_found() -> None:
    turned = FILTERS.matrix(4)
    read = physical.read("sdr-broadcast", through("sdr-broadcast", turned))
    inputs = gather(match_readings(shipped_rule("sdr-broadcast"), read.readings))
    assert inputs is not None
    light = physical.asked("sdr-broadcast", inputs.signal)
    assert nearest_matrix(light, inputs) == pytest.approx(turned, abs=2e-4)
    brighter = nearest_matrix(light / 1.5, inputs)
    assert brighter @ light[-1] == pytest.approx(
        turned @ light[-1] * (1 + LUMINANCE_MOST) / (turned @ light[-1])[1] * light[-1][1], rel=0.02
    )


# ---------------------------------------------------------------- faults of the display


def gained(rule: str, channel: int, factor: float) -> Callable[[Array], Array]:
    gains = np.ones(3)
    gains[channel] = factor
    turned = matrix(BT709, D65)
    return through(rule, turned @ np.diag(gains) @ np.linalg.inv(turned))


SMALL = (
    ("gain", gained("sdr-broadcast", 0, 0.85)),
    ("white", lambda signal: physical.asked("sdr-broadcast", signal, white=(0.32163, 0.33774))),
    ("white", lambda signal: physical.asked("sdr-broadcast", signal, white=(0.325, 0.320))),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "shows"), SMALL)
def test_a_small_fault_of_colour_is_not_told_alone_by_an_unmatched_meter(
    kind: str, shows: Callable[[Array], Array]
) -> None:
    assert first(told("sdr-broadcast", shows, PLAIN)) == ["meter", kind]


@pytest.mark.parametrize(("kind", "shows"), SMALL)
@pytest.mark.parametrize("meter", [MATCHED, None])
def test_it_is_told_alone_by_another_meter(
    kind: str, shows: Callable[[Array], Array], meter: Meter | None
) -> None:
    assert [cause.kind for cause in told("sdr-broadcast", shows, meter)] == [kind]


def test_no_meter_makes_another_gamut() -> None:
    def shows(signal: Array) -> Array:
        return physical.asked("sdr-broadcast", signal, primaries=P3)

    assert [cause.kind for cause in told("sdr-broadcast", shows, PLAIN)] == ["primaries"]


def test_primaries_with_a_name_come_before_the_meter() -> None:
    """Those of BT.601 with 525 lines are near enough to BT.709 for a meter to make them."""

    def shows(signal: Array) -> Array:
        return physical.asked("sdr-broadcast", signal, primaries=PRIMARIES["bt601-525"])

    assert first(told("sdr-broadcast", shows, PLAIN)) == ["primaries", "meter"]
    assert [cause.kind for cause in told("sdr-broadcast", shows, SPECTRO)] == ["primaries"]


NEARLY = ((0.66, 0.33), (0.31, 0.61), (0.142, 0.048))
FAR = ((0.70, 0.295), (0.22, 0.70), (0.14, 0.05))


def test_primaries_without_a_name_come_first_of_a_good_meter() -> None:
    """A small difference may yet be the meter's, which comes second; a larger one is not."""

    def near(signal: Array) -> Array:
        return physical.asked("sdr-broadcast", signal, primaries=NEARLY)

    def far(signal: Array) -> Array:
        return physical.asked("sdr-broadcast", signal, primaries=FAR)

    assert first(told("sdr-broadcast", near, SPECTRO)) == ["primaries", "meter"]
    assert first(told("sdr-broadcast", near, PLAIN)) == ["meter", "primaries"]
    assert [one.kind for one in told("sdr-broadcast", far, MATCHED)] == ["primaries"]


def test_an_exponent_is_not_the_meters() -> None:
    def shows(signal: Array) -> Array:
        return physical.asked("sdr-broadcast", signal, exponent=2.1)

    causes = told("sdr-broadcast", shows, PLAIN)
    assert causes and "meter" not in [cause.kind for cause in causes]


@pytest.mark.parametrize("rule", RULES)
def test_nothing_is_told_of_a_good_display(rule: str) -> None:
    assert not told(rule, lambda signal: physical.asked(rule, signal), PLAIN)


# ---------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("meter", "words"),
    [
        (PLAIN, "names no correction"),
        (OTHER, "corrected for another display (B); this one is A"),
        (OLDER, "of 2026-01-02, is older than its certificate, of 2026-03-02"),
    ],
)
def test_the_words_say_what_is_known_of_the_correction(meter: Meter, words: str) -> None:
    cause = told("sdr-broadcast", SMALL[0][1], meter)[0]
    assert cause_title(cause) == "The meter is not matched to this display"
    assert words in cause_text(cause)
    assert re.search(r"white by 0\.00\d+, red by 0(\.\d{1,4})?, ", cause_text(cause))
    assert "against a spectroradiometer" in cause_next_step(cause)
    assert "Leave the slot as it is" in cause_next_step(cause)


@pytest.mark.parametrize(
    ("meter", "shows"),
    [
        (PLAIN, through("sdr-broadcast", FILTERS.matrix(4))),
        (PLAIN, SMALL[0][1]),
        (SPECTRO, lambda signal: physical.asked("sdr-broadcast", signal, primaries=NEARLY)),
    ],
)
def test_causes_of_one_rank_do_not_deny_each_other(
    meter: Meter, shows: Callable[[Array], Array]
) -> None:
    causes = told("sdr-broadcast", shows, meter)
    assert {cause.rank for cause in causes} == {1} and len(causes) > 1
    titles = set(map(cause_title, causes))
    for cause in causes:
        text = cause_text(cause)
        assert text.endswith("check both.")
        assert any(f"“{title}”" in text for title in titles - {cause_title(cause)})
