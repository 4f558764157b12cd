"""A cause is told where it bears on what failed, in the numbers that were read."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import fault_table, faulty_displays, simulated
from helpers.budget import LONG
from helpers.shipped import shipped_rule
from numpy.typing import NDArray

from compliance.assessment import assess
from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.session_faults import find_limiters
from compliance.grading.match import match_readings
from compliance.model import Assessment, Cause, Measurement, Outcome, Readings
from compliance.report.words import cause_text, cause_title, evidence_text

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
Array = NDArray[np.float64]


def assessed(rule: str, read: Readings, before: Readings | None = None) -> Assessment:
    return assess(Measurement(shipped_rule(rule), read, before=before), now=NOW)


def ideal(rule: str, white: float, black: float = 0.01) -> Readings:
    loaded = shipped_rule(rule)
    return simulated.readings(simulated.ideal(loaded, white=white, black=black), loaded.encoding)


def scaled(read: Readings, shares: Array) -> Readings:
    """Readings with light that changes from row to row."""
    return replace(read, xyz=read.xyz * shares[:, None])


def plain(rule: str) -> Readings:
    """An ideal display, read as the plan says with white at start, middle and end."""
    return faulty_displays.readings(shipped_rule(rule), (), np.random.RandomState(1))


def evidence(cause: Cause, what: str) -> float:
    (value,) = (one.value for one in cause.evidence if evidence_text(one) == what)
    return value


# ---------------------------------------------------------------- white


@pytest.mark.parametrize(
    ("rule", "white"),
    [("sdr-broadcast", 92), ("sdr-broadcast", 94), ("sdr-broadcast", 106), ("sdr-broadcast", 112),
     ("cinema-review-room", 44), ("cinema-review-room", 52), ("web-srgb", 70), ("web-srgb", 175)],
)  # fmt: skip
def test_a_white_outside_is_told_as_it_was_read(rule: str, white: float) -> None:
    found = assessed(rule, ideal(rule, white, 0.005))
    assert found.state.verdict is Outcome.NOT_COMPLIANT
    (cause,) = found.state.causes
    assert cause.kind == "luminance"
    assert evidence(cause, "white as read") == pytest.approx(white, rel=1e-3)
    asked = evidence(cause, "white that the rule asks for")
    (level,) = (one.limits for one in shipped_rule(rule).requirements if one.id == "white-level")
    assert level is not None
    assert level.minimum <= asked <= level.maximum
    word = "bright" if white > asked else "dark"
    assert cause_title(cause) == f"White is {100 * abs(white / asked - 1):.2g}\u00a0% too {word}"


def test_bent_highlights_leave_a_white_that_is_right() -> None:
    """An S of contrast about the middle keeps black and white where they are."""
    rule = shipped_rule("sdr-broadcast")
    for size in (0.02, 0.05, 0.08):
        s_shaped = faulty_displays.Fault(
            "curve", "s", signal=lambda v, _rule, a=size: v - a * np.sin(2 * np.pi * v)
        )
        read = faulty_displays.readings(rule, (s_shaped,), np.random.RandomState(2))
        found = diagnose(match_readings(rule, read), read).causes
        assert "luminance" not in {cause.kind for cause in found}


def test_of_another_absolute_curve_the_white_is_a_part() -> None:
    rule = shipped_rule("sdr-broadcast")
    read = faulty_displays.readings(rule, (faulty_displays.curve("pq"),), np.random.RandomState(2))
    found = diagnose(match_readings(rule, read), read).causes
    assert [cause.kind for cause in found] == ["curve"]


# ---------------------------------------------------------------- drift


@pytest.mark.parametrize("change", [-0.3, -0.2, -0.1, 0.1, 0.25])
def test_drift_is_told_from_start_to_end(change: float) -> None:
    read = plain("sdr-broadcast")
    drifting = scaled(read, np.linspace(1, 1 + change, len(read)))
    rule = shipped_rule("sdr-broadcast")
    cause = next(
        one
        for one in diagnose(match_readings(rule, drifting), drifting).causes
        if one.kind == "drift"
    )
    told = evidence(cause, "change of the light over the session")
    assert told == pytest.approx(100 * change, abs=0.04 * abs(100 * change) + 0.3)
    word = "rose" if change > 0 else "fell"
    assert cause_title(cause).startswith(f"The light {word} by ")


def test_of_a_drift_alone_nothing_else_is_told() -> None:
    """White falls from 104 to 97: its mean is right, and so is the rest."""
    read = plain("sdr-broadcast")
    white = float(read.xyz[0, 1])
    falling = scaled(read, np.linspace(104, 97, len(read)) / white)
    found = assessed("sdr-broadcast", falling)
    assert [cause.kind for cause in found.state.causes] == ["drift"]


def test_readings_out_of_step_are_no_drift() -> None:
    read = plain("sdr-broadcast")
    late = replace(read, xyz=np.roll(read.xyz, 1, axis=0))
    rule = shipped_rule("sdr-broadcast")
    found = diagnose(match_readings(rule, late), late).causes
    assert "drift" not in {cause.kind for cause in found}


# ---------------------------------------------------------------- what failed


def test_what_meets_its_limits_is_no_cause() -> None:
    """Gamma 2.2 is within the tolerances of the web rule, its white is not."""
    rule = shipped_rule("web-srgb")
    faults = (faulty_displays.power(2.2), faulty_displays.white("6100 K", (0.3195, 0.3360)))
    read = faulty_displays.readings(rule, faults, np.random.RandomState(3))
    kinds = {cause.kind for cause in diagnose(match_readings(rule, read), read).causes}
    found = assessed("web-srgb", read)
    failed = {one.id for one in found.state.findings if one.verdict.value == "fail"}
    assert failed == {"white-point"}
    assert kinds == {"curve", "white"}
    assert [cause.kind for cause in found.state.causes] == ["white"]


def test_each_cause_of_the_table_bears_on_what_it_makes_fail() -> None:
    """Single faults: filtered by what failed, the same cause comes first as without."""
    kept = told = 0
    for rule in fault_table.RULES[:: 1 if LONG else 3]:
        for trial in fault_table.singles([rule], 1, each=1):
            windows = fault_table.WINDOWS if trial.faults[0].cause == "limiter" else ()
            loaded = shipped_rule(rule)
            read = faulty_displays.readings(
                loaded, trial.faults, np.random.RandomState(trial.seed), windows
            )
            found = assessed(rule, read).state
            if found.verdict is not Outcome.NOT_COMPLIANT:
                continue
            told += 1
            kept += [cause.kind for cause in found.causes][:1] == trial.wanted
    assert told > 20
    assert kept / told >= 0.95


def test_a_slot_whose_panel_is_uneven_was_loaded_all_the_same() -> None:
    """Before equals after, and only the screen's corners are outside."""
    read = plain("sdr-broadcast")
    corners = np.array([place != "centre" for place in read.position])
    assert corners.any()
    uneven = scaled(read, np.where(corners, 0.7, 1.0))
    found = assessed("sdr-broadcast", uneven, before=uneven).state
    failed = {one.quantity for one in found.findings if one.verdict.value == "fail"}
    assert failed == {"non-uniformity"}
    assert [cause.kind for cause in found.causes] == []


# ---------------------------------------------------------------- limiter


def windows(levels: dict[tuple[float, str], float]) -> Readings:
    """An ideal HDR display, and its peak at windows on backgrounds in cd/m².

    Of the rule's own larger windows, which are on no background, those are left out that are given.
    """
    rule = shipped_rule("hdr-pq-1000")
    whole = ideal("hdr-pq-1000", 100.0, 0.001)
    sizes = [size for size, _ in levels]
    own = [row for row in range(len(whole)) if whole.window[row] not in sizes]
    read = simulated.picked(whole, own)
    peak = int(np.argmax(read.xyz[:, 1]))
    more = len(levels)
    shares = np.array(list(levels.values())) / read.xyz[peak, 1]

    def same(values: Array) -> Array:
        return np.concatenate([values, np.repeat(values[peak : peak + 1], more, axis=0)])

    xyz = same(read.xyz)
    xyz[-more:] *= shares[:, None]
    full = [size == 100 for size, _ in levels]
    return replace(
        read,
        codes=same(read.codes),
        xyz=xyz,
        position=(*read.position, *["centre"] * more),
        window=np.concatenate([read.window, [size for size, _ in levels]]),
        pattern=(*read.pattern, *("full" if one else "window" for one in full)),
        background=(*read.background, *(background for _, background in levels)),
        seconds=np.concatenate([read.seconds, np.zeros(more)]),
        deviation=np.concatenate([read.deviation, np.full(more, np.nan)]),
        lines=(*read.lines, *range(1000, 1000 + more)),
        encoding=rule.encoding,
    )


def test_a_limiter_is_no_matter_of_the_background() -> None:
    read = windows({(4.0, "black"): 1000, (4.0, "grey"): 800})
    assert find_limiters(match_readings(shipped_rule("hdr-pq-1000"), read)) == ()


def test_a_full_screen_goes_with_windows_on_every_background() -> None:
    read = windows({(4.0, "black"): 1000, (100.0, ""): 300})
    (limiter,) = find_limiters(match_readings(shipped_rule("hdr-pq-1000"), read))
    assert limiter.places[-1] == 100
    assert limiter.lost == pytest.approx(0.7, abs=0.01)


def test_a_limiter_begins_where_the_light_is_most() -> None:
    """Zones of a backlight: the smallest window is not the brightest."""
    read = windows({(1.0, "black"): 900, (4.0, "black"): 1050, (25.0, "black"): 500,
                    (50.0, "black"): 350, (100.0, ""): 200})  # fmt: skip
    (limiter,) = find_limiters(match_readings(shipped_rule("hdr-pq-1000"), read))
    assert limiter.places == (4, 25, 50, 100)
    assert limiter.lost == pytest.approx(1 - 200 / 1050, abs=0.01)


@pytest.mark.parametrize("budget", [50.0, 70.0])
def test_a_limiter_of_hlg_is_not_taken_for_another_system_gamma(budget: float) -> None:
    """The rule judges by the gamma of the peak as read, dimmed here; the display keeps 1.2."""
    trial = fault_table.Trial("hdr-hlg-1000", (faulty_displays.limited(budget),), 3)
    found = fault_table.diagnosed(trial).causes
    assert [one.kind for one in found] == ["limiter"]


def held(read: Readings, share: float) -> Readings:
    """The same with what was held for a while at a share of its light."""
    return scaled(read, np.where(read.seconds > 0, share, 1.0))


def test_a_peak_that_falls_in_time_is_told_beside_a_larger_fall_by_area() -> None:
    """Only the peak after 60 s is outside: the limiter by area dims nothing that is judged."""
    read = held(windows({(4.0, ""): 1000, (100.0, ""): 300}), 0.88)
    found = assessed("hdr-pq-1000", read).state
    failed = {one.id for one in found.findings if one.verdict.value == "fail"}
    assert failed == {"peak-sustained"}
    (cause,) = found.causes
    assert (cause.kind, cause_title(cause)) == (
        "sag",
        "The light falls by 12\u00a0% while a patch is shown",
    )
    assert "cd/m² at once, " in cause_text(cause)
    kinds = {one.kind for one in found.remarks}
    assert "dimmed-by-area" in kinds and "dimmed-in-time" not in kinds
