"""How long a plan takes, and what it warns of."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from helpers.shipped import shipped_rule

from compliance.meter_file import load_meter
from compliance.model import Limits, Meter, Over, PatchSet, Requirement, Rule
from compliance.planning.plan import duration, measuring_plan
from compliance.planning.stimuli import Stimulus

SDR = shipped_rule("sdr-broadcast")


def meter(settle: float | None, reading_time: tuple[tuple[float, float], ...]) -> Meter:
    known = load_meter(Path(__file__).parents[2] / "demo" / "meters" / "filter-colorimeter.yaml")
    return replace(known, settle=settle, reading_time=reading_time)


def steps(*levels: float) -> list[Stimulus]:
    return [
        Stimulus((place, place, place), "centre", 100.0, "full", 0.0, level, "grey")
        for place, level in enumerate(levels)
    ]


def ramp(count: int) -> Rule:
    """A rule whose plan has that many neutral patches."""
    level = SDR.requirements[0].level
    over = Over(("ramp",))
    asked = Requirement("a", "a", "luminance", level, "practice", None, over, Limits(maximum=1000))
    sets = {"ramp": PatchSet("ramp", "ramp", steps=count)}
    return replace(SDR, sets=sets, requirements=(asked,))


def test_a_hundred_and_one_patches_take_about_fourteen_minutes() -> None:
    # Common practice, no source: one second settle and a typical colorimeter's reading.
    one = meter(1.0, ((0, 20.0), (0.1, 12.0), (1, 6.0)))
    plan = measuring_plan([ramp(101)], SDR.encoding, meter=one)
    assert len({step.codes for step in plan.steps}) == 101
    assert plan.duration.seconds / 60 == pytest.approx(14, abs=1)
    assert not plan.duration.assumed
    unknown = measuring_plan([ramp(101)], SDR.encoding)
    assert unknown.duration.seconds / 60 == pytest.approx(14, abs=0.5)
    assert unknown.duration.assumed


def test_readings_take_what_the_meter_says_for_their_luminance() -> None:
    one = meter(0.5, ((0, 5.0), (1, 1.0)))
    assert duration(steps(0.5, 0.99, 1.0, 100), one).seconds == 4 * 0.5 + 5 + 5 + 1 + 1
    late = meter(0.0, ((0.01, 9.0), (1, 2.0)))
    assert duration(steps(0.001, 2), late).seconds == 11


def test_what_stays_on_is_waited_for() -> None:
    one = meter(1.0, ((0, 4.0),))
    (shown,) = steps(100)
    series = [replace(shown, seconds=second) for second in (0.0, 60.0, 300.0)]
    # 1 s settling and 4 s reading, then read at 60 s for 4 s and at 300 s for 4 s
    assert duration(series, one).seconds == 304
    assert duration(series[1:2], one).seconds == 64


def test_half_a_meter_is_an_assumption() -> None:
    assert duration(steps(1), meter(None, ((0, 4.0),))).assumed
    assert duration(steps(1), meter(1.0, ())).assumed
    assert duration(steps(1), None).seconds == pytest.approx(8.3)


@pytest.mark.parametrize(
    ("rule", "technology", "kinds"),
    [
        ("sdr-broadcast", "lcd", ["flashing"]),
        ("sdr-broadcast", "oled", ["flashing", "burn-in"]),
        ("sdr-broadcast", None, ["flashing", "burn-in"]),
        ("cinema-review-room", "projector", ["flashing", "beam"]),
        ("cinema-review-room", "led", ["flashing", "burn-in"]),
        ("cinema-review-room", None, ["flashing", "beam", "burn-in"]),
    ],
)
def test_cautions_that_apply(rule: str, technology: str | None, kinds: list[str]) -> None:
    known = shipped_rule(rule)
    plan = measuring_plan([known], known.encoding, technology=technology)
    assert [caution.kind for caution in plan.cautions] == kinds
