"""What is said of a cause: its numbers, its words, and when nothing is said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import faulty_displays, shipped, simulated
from helpers.fault_table import WINDOWS, Trial, diagnosed
from helpers.faulty_displays import Fault
from helpers.shipped import shipped_rule

from compliance.assessment import assess
from compliance.colour.spaces import WHITES, xy_to_uv
from compliance.diagnosis.candidates import FITTED
from compliance.diagnosis.colour_faults import NAMED, daylight, nearest_daylight
from compliance.diagnosis.diagnose import CAUSES, diagnose
from compliance.documents import assessment_document
from compliance.grading.match import match_readings
from compliance.model import Assessment, Cause, Measurement, Outcome, Readings
from compliance.report.words import cause_next_step, cause_text, cause_title, evidence_text

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)


def causes(rule: str, *faults: Fault, seed: int = 3) -> tuple[Cause, ...]:
    return diagnosed(Trial(rule, faults, seed)).causes


def only(found: Sequence[Cause]) -> Cause:
    (one,) = found
    return one


def number(cause: Cause, what: str) -> float:
    (value,) = (each.value for each in cause.evidence if evidence_text(each) == what)
    return value


# ---------------------------------------------------------------- numbers


@pytest.mark.parametrize("exponent", [1.8, 2.2, 2.6])
def test_the_exponent_that_the_display_follows(exponent: float) -> None:
    cause = only(causes("sdr-broadcast", faulty_displays.power(exponent)))
    assert number(cause, "exponent") == pytest.approx(exponent, abs=0.03)
    better = number(cause, "mean difference without it")
    assert number(cause, "mean difference with it") < 0.2 * better


@pytest.mark.parametrize(("curve", "name"), [("srgb", "the sRGB curve"), ("hlg", "HLG")])
def test_a_curve_with_a_name(curve: str, name: str) -> None:
    cause = causes("sdr-broadcast", faulty_displays.curve(curve))[0]
    assert cause_title(cause) == f"The display follows {name}, not BT.1886"


@pytest.mark.parametrize("name", ["bt709", "bt2020"])
def test_which_primaries(name: str) -> None:
    cause = only(causes("cinema-review-room", faulty_displays.primaries(name)))
    words = {"bt709": "BT.709", "bt2020": "BT.2020"}[name]
    assert cause_title(cause) == f"The colours are those of {words}, not P3"


def test_a_signal_taken_for_another_container() -> None:
    cause = only(causes("hdr-pq-1000", faulty_displays.taken("bt709")))
    assert cause_title(cause) == "The signal is taken for BT.709, not BT.2020"


@pytest.mark.parametrize(("name", "word"), [("d50", "D50"), ("dci", "the cinema's white")])
def test_a_white_with_a_name(name: str, word: str) -> None:
    cause = only(causes("web-srgb", faulty_displays.white(name, WHITES[name])))
    assert cause_title(cause) == f"White is that of {word}"
    assert number(cause, "from the white named") < 0.0015


@pytest.mark.parametrize("kelvin", [5800, 7000, 8500])
def test_a_white_on_the_daylight_locus(kelvin: int) -> None:
    x, y = (float(value) for value in daylight(np.array(float(kelvin))))
    cause = only(causes("sdr-broadcast", faulty_displays.white("daylight", (x, y))))
    told = number(cause, "temperature of the nearest daylight")
    assert told == pytest.approx(kelvin, rel=0.01)
    assert cause_title(cause) == f"White is that of daylight of {round(told, -2):.0f}\u00a0K"


@pytest.mark.parametrize(
    ("white", "kelvin"),
    [((0.3457, 0.3585), 5003), ((0.3324, 0.3474), 5503), ((0.3127, 0.3290), 6504),
     ((0.2990, 0.3149), 7504)],
)  # fmt: skip
def test_daylight_of_the_standard_illuminants(white: tuple[float, float], kelvin: float) -> None:
    """CIE 15:2018, table T.3: x, y of D50, D55, D65, D75, and their temperatures."""
    assert nearest_daylight(xy_to_uv(white)) == pytest.approx(kelvin, abs=15)


@pytest.mark.parametrize("share", [0.93, 0.85, 0.7])
def test_the_level_from_which_highlights_are_clipped(share: float) -> None:
    cause = causes("sdr-broadcast", faulty_displays.clipped(share))[0]
    level = cause.evidence[0]
    if level.unit == "%":
        assert level.value == pytest.approx(100 * share, abs=1.5)
    else:
        assert level.value == pytest.approx(100 * share**2.4, rel=0.05)


@pytest.mark.parametrize("level", [0.12, 0.2])
def test_the_level_up_to_which_blacks_are_crushed(level: float) -> None:
    """Between the last patch that shows black, every 5 % of the signal, and the next."""
    cause = only(causes("sdr-broadcast", faulty_displays.crushed(level)))
    below = 100 * level - 100 * level % 5
    assert below - 1 <= number(cause, "signal up to which") <= below + 6


@pytest.mark.parametrize("channel", [0, 1, 2])
@pytest.mark.parametrize("factor", [0.7, 1.1])
def test_the_gain_of_a_channel(channel: int, factor: float) -> None:
    cause = only(causes("web-srgb", faulty_displays.gained(channel, factor)))
    name = ("red", "green", "blue")[channel]
    assert number(cause, f"light of {name}") == pytest.approx(100 * factor, abs=2.5)


@pytest.mark.parametrize("by", [-0.04, 0.04])
def test_the_offset_of_a_channel(by: float) -> None:
    cause = causes("hdr-pq-1000", faulty_displays.shifted(2, by))[0]
    assert number(cause, "offset of blue") == pytest.approx(100 * by, abs=0.5)


def test_channels_by_name() -> None:
    cause = only(causes("sdr-broadcast", faulty_displays.swapped(2, 1, 0)))
    assert "blue where red belongs and red where blue belongs" in cause_text(cause)


def test_a_limiter_by_area() -> None:
    cause = only(causes("hdr-pq-1000", faulty_displays.limited(80.0)))
    assert number(cause, "luminance at 100 % of the screen") == pytest.approx(80, rel=0.02)
    assert number(cause, "luminance at 10 % of the screen") == pytest.approx(800, rel=0.02)


def test_warm_up_drift() -> None:
    cause = only(causes("sdr-broadcast", faulty_displays.drifting(0.05)))
    assert number(cause, "change of the light over the session") == pytest.approx(5.0, abs=0.3)


def test_white_set_to_another_luminance() -> None:
    rule = shipped_rule("sdr-broadcast")
    read = simulated.readings(simulated.ideal(rule, white=130.0, black=0.03), rule.encoding)
    cause = only(diagnose(match_readings(rule, read), read).causes)
    assert cause.kind == "luminance"
    assert number(cause, "white as read") == pytest.approx(130, rel=0.001)


def test_ranges_either_way() -> None:
    stretched = only(causes("web-srgb", faulty_displays.stretched()))
    squeezed = only(causes("web-srgb", faulty_displays.squeezed()))
    assert cause_title(stretched) == "A full-range signal is shown as narrow range"
    assert cause_title(squeezed) == "A narrow-range signal is shown as full range"
    assert "code 16 of 255" in cause_text(stretched)
    assert "code 16 of 255" in cause_text(squeezed)


# ---------------------------------------------------------------- whites


def test_named_whites_are_where_daylight_puts_them() -> None:
    """CIE 15:2018, 4.1.2, at nominal temperature times 1.4388/1.438; D93 of the trade is plain."""
    for name, nominal in (
        ("d50", 5000),
        ("d55", 5500),
        ("d60", 6000),
        ("d65", 6500),
        ("d75", 7500),
    ):
        point = daylight(np.array(nominal * 1.4388 / 1.438))
        apart = np.linalg.norm(xy_to_uv(point) - xy_to_uv(NAMED[name]))
        assert apart < 0.0002, name
    apart = np.linalg.norm(xy_to_uv(daylight(np.array(9300.0))) - xy_to_uv(NAMED["d93"]))
    assert apart < 0.0002


# ---------------------------------------------------------------- two sessions


def read(rule: str, *faults: Fault, seed: int = 0) -> Readings:
    return faulty_displays.readings(shipped_rule(rule), faults, np.random.RandomState(seed))


def again(first: Readings, seed: int) -> Readings:
    """The same display read once more, with the meter's noise."""
    random = np.random.RandomState(seed)
    xyz = first.xyz * (1 + 0.001 * random.normal(size=(len(first), 1)))
    return replace(first, xyz=xyz, sha256="")


def test_a_slot_that_was_never_loaded() -> None:
    rule, before = shipped_rule("sdr-broadcast"), read("sdr-broadcast", faulty_displays.power(2.0))
    after = again(before, 1)
    found = diagnose(match_readings(rule, after), after, before).causes
    assert [one.kind for one in found] == ["unloaded", "curve"]
    assert number(found[0], "patches in common") >= 40


def test_the_same_file_twice_is_told() -> None:
    rule, before = shipped_rule("sdr-broadcast"), read("sdr-broadcast", faulty_displays.power(2.0))
    found = diagnose(match_readings(rule, before), before, before).causes
    assert "byte for byte" in cause_text(found[0])


def test_a_calibration_that_changed_something_was_loaded() -> None:
    rule = shipped_rule("sdr-broadcast")
    before, after = read("sdr-broadcast", faulty_displays.power(2.0)), read("sdr-broadcast", seed=1)
    assert not diagnose(match_readings(rule, after), after, before).causes


# ---------------------------------------------------------------- when nothing is said


def judged(rule: str, *faults: Fault, seed: int = 3) -> Assessment:
    loaded = shipped_rule(rule)
    windows = WINDOWS if any(one.cause == "limiter" for one in faults) else ()
    random = np.random.RandomState(seed)
    return assess(
        Measurement(loaded, faulty_displays.readings(loaded, faults, random, windows)), now=NOW
    )


def test_causes_are_of_failures_only() -> None:
    """Gamma 2.2 keeps within the limits for the web, and is another curve all the same."""
    assert [one.kind for one in causes("web-srgb", faulty_displays.power(2.28))] in ([], ["curve"])
    assert not judged("web-srgb", faulty_displays.power(2.2)).state.causes


def test_a_limiter_that_dims_nothing_judged_is_no_cause() -> None:
    found = judged(
        "hdr-pq-1000", faulty_displays.limited(300.0), faulty_displays.white("d50", WHITES["d50"])
    )
    assert [one.kind for one in found.state.causes] == ["white"]


def test_a_handful_of_patches_tells_nothing() -> None:
    rule = shipped_rule("sdr-broadcast")
    shown = shipped.ideal(rule, white=60.0)[:4]
    few = simulated.readings(shown, rule.encoding)
    assert not assess(Measurement(rule, few), now=NOW).state.causes


def test_what_no_model_fits_has_no_known_cause() -> None:
    """A display whose light has nothing to do with the signal."""
    rule = shipped_rule("web-srgb")
    random = np.random.RandomState(8)

    def fault(_patch: object, xyz: np.ndarray) -> np.ndarray:
        return np.asarray(xyz * random.uniform(0.1, 2) * random.uniform(0.8, 1.2, size=3))

    odd = simulated.readings(simulated.ideal(rule, black=0.1, fault=fault), rule.encoding)
    found = assess(Measurement(rule, odd), now=NOW)
    assert found.verdict is Outcome.NOT_COMPLIANT
    assert not found.state.causes


# ---------------------------------------------------------------- words and data


def test_words_are_whole() -> None:
    for fault in (
        faulty_displays.power(2.0),
        faulty_displays.swapped(1, 2, 0),
        faulty_displays.bent(0.6, 0.5),
    ):
        for one in causes("sdr-broadcast", fault):
            assert cause_title(one)[0].isupper()
            assert not cause_title(one).endswith(".")
            for text in (cause_text(one), cause_next_step(one)):
                assert text.endswith(".")
                assert "  " not in text
                assert "nan" not in text


def test_every_kind_is_in_the_schema(root: object) -> None:
    import json
    from pathlib import Path

    schema = json.loads(Path(f"{root}/compliance/schemas/assessment.json").read_text())
    assert schema["$defs"]["cause"]["properties"]["kind"]["enum"] == list(CAUSES)
    assert set(FITTED) - {"white-elsewhere"} <= set(CAUSES)


def test_the_document_states_them_and_is_the_same_again() -> None:
    first = judged("hdr-pq-1000", faulty_displays.bent(0.75, 0.3))
    second = judged("hdr-pq-1000", faulty_displays.bent(0.75, 0.3))
    documents = assessment_document(first), assessment_document(second)
    (cause,) = documents[0]["causes"]
    assert cause["kind"] == "highlights"
    assert cause["share"] > 50
    assert documents[0]["causes"] == documents[1]["causes"]


def test_the_order_of_rows_is_no_matter_to_what_is_fitted() -> None:
    rule = shipped_rule("sdr-broadcast")
    one = read("sdr-broadcast", faulty_displays.gained(0, 0.8))
    turned = np.random.RandomState(4).permutation(len(one))
    other = simulated.picked(one, list(turned))
    found = [diagnose(match_readings(rule, each), each).causes for each in (one, other)]
    assert found[0] == found[1]
