"""What is said of displays that were simulated by their physics, apart from the models of a fault.

Each display has one thing wrong that a simulation with the models' own simplifications would not
show: light added beside a black in the drive, a panel's own drive, channels that clip, primaries
without a name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from helpers import physical
from helpers.outside_tools import colour
from helpers.physical import BT709, CINEMA, D65, P3, Panel, Read, matrix, white_xyz
from helpers.shipped import shipped_rule

from compliance.diagnosis.diagnose import diagnose
from compliance.diagnosis.tone_faults import black_cause
from compliance.grading.match import DeclaredFacts, match_readings
from compliance.model import Cause, Limits
from compliance.report.words import cause_text, cause_title, evidence_text

Array = np.ndarray


def only(found: Read) -> Cause:
    (one,) = found.causes
    return one


def number(cause: Cause, what: str) -> float:
    (value,) = (each.value for each in cause.evidence if evidence_text(each) == what)
    return value


def read(rule: str, light: Callable[[Array], Array] = lambda xyz: xyz, **asked: object) -> Read:
    """Readings of what the rule asks for, changed by `light`."""
    return physical.read(rule, lambda signal: light(physical.asked(rule, signal, **asked)))  # type: ignore[arg-type]


def panel(rule: str, **built: object) -> Callable[[Array], Array]:
    """A panel of a kind that the rule is for, driven for what the rule asks."""
    made = Panel(white=physical.white_of(rule), peak=1.3 * physical.WHITES[rule], **built)  # type: ignore[arg-type]
    return made.shows


# ---------------------------------------------------------------- the dark


@pytest.mark.parametrize(
    ("rule", "level"),
    [
        ("sdr-broadcast", 0.03),
        ("sdr-broadcast", 0.15),
        ("sdr-broadcast", 1.0),
        ("web-srgb", 0.5),
        ("hdr-pq-1000", 0.02),
        ("hdr-pq-1000", 0.1),
        ("hdr-hlg-1000", 0.03),
        ("hdr-hlg-1000", 0.1),
        ("cinema-review-room", 0.05),
    ],
)
def test_light_added_in_the_dark(rule: str, level: float) -> None:
    cause = only(read(rule, lambda xyz: xyz + level * white_xyz(*physical.white_of(rule))))
    assert cause_title(cause) == "Light is added in the dark"
    own = physical.GOOD_BLACK[rule]
    assert number(cause, "black as read") == pytest.approx(level + own, rel=1e-3)
    assert number(cause, "light added") == pytest.approx(level, abs=own + 0.02 * level)


def test_a_plain_power_and_a_black_beside_it() -> None:
    """BT.1886 has the black in the drive: here the dark greys lack it, black itself is there."""

    def shows(signal: Array) -> Array:
        light = physical.power(signal, 99.97, 2.4) @ matrix(BT709, D65).T
        return np.asarray(light + 0.03 * white_xyz(*D65))

    cause = only(physical.read("sdr-broadcast", shows))
    assert cause_title(cause) == "Light is added in the dark"
    assert number(cause, "light added") == pytest.approx(0.03, rel=0.01)
    assert "Black itself is within its limit" in cause_text(cause)


@pytest.mark.parametrize("black", [0.2, 0.5])
def test_a_black_level_set_too_high(black: float) -> None:
    cause = only(read("sdr-broadcast", black=black))
    assert (cause.kind, cause_title(cause)) == ("raised-black", "The black level is set too high")
    assert number(cause, "black as read") == pytest.approx(black)


@pytest.mark.parametrize(
    ("rule", "most"), [("sdr-broadcast", 0.1), ("hdr-pq-1000", 0.005), ("hdr-hlg-1000", 0.005)]
)
def test_a_black_just_over_its_limit(rule: str, most: float) -> None:
    """Too little for the greys to tell where it comes from; 3 % over may be the meter's noise."""
    for over in (1.06, 1.1):
        cause = only(read(rule, black=over * most))
        assert (cause.kind, cause_title(cause)) == (
            "raised-black",
            f"Black is {over - 1:.0%} too bright".replace("%", "\u00a0%"),
        )
        assert number(cause, "black as read") == pytest.approx(over * most)
        assert number(cause, "black that the rule admits") == pytest.approx(most)
    assert not read(rule, black=1.03 * most).causes


def test_a_black_is_not_too_bright_beside_a_white_that_is_too_dark() -> None:
    """Contrast fails there for want of white: 0.03 cd/m² would do beside the rule's 48.

    The black that the rule asks of direct view, 0.024 cd/m², is judged on direct view alone.
    """
    found = read("cinema-review-room", lambda xyz: 0.6 * xyz, black=0.03 / 0.6)
    rule = shipped_rule("cinema-review-room")
    for technology, kinds in (
        (None, ["luminance"]),
        ("projector", ["luminance"]),
        ("led", ["luminance", "raised-black"]),
    ):
        case = match_readings(rule, found.readings, stated=DeclaredFacts(technology))
        assert [one.kind for one in diagnose(case, found.readings).causes] == kinds


def test_a_display_that_is_too_dim_is_told_by_what_the_rule_asks() -> None:
    """Every level at 82 %: not by how far white lies from what would do."""
    cause = only(read("hdr-pq-1000", lambda xyz: 0.82 * xyz))
    assert cause_title(cause) == "White is 18\u00a0% too dark"
    assert number(cause, "white that the rule asks for") == 100
    times = only(read("sdr-broadcast", lambda xyz: 1000 * xyz, black=0.00001))
    assert cause_title(times) == "White is 1000 times as bright as it should be"


def test_a_rule_that_admits_no_black_at_all() -> None:
    shown, rule = read("sdr-broadcast"), shipped_rule("sdr-broadcast")
    none = tuple(
        replace(one, limits=Limits(maximum=0.0)) if one.id == "black-level" else one
        for one in rule.requirements
    )
    asked = replace(rule, requirements=none)
    assert none != rule.requirements
    found = diagnose(match_readings(asked, shown.readings), shown.readings).causes
    assert [one.kind for one in found] == ["raised-black"]
    assert cause_title(black_cause(0.02, 0.0)) == "Black is brighter than none at all"


@pytest.mark.parametrize("white", [(0.4476, 0.4074), (0.25, 0.22)])
def test_a_white_far_from_any_daylight_has_no_hue(white: tuple[float, float]) -> None:
    (cause,) = (one for one in read("web-srgb", white=white).causes if one.kind == "white")
    assert "towards" not in cause_text(cause)


def test_another_curve_explains_the_white_of_pq() -> None:
    """Gamma 2.4 up to 1000 cd/m²: the white of 100 cd/m², code 520, is no matter then."""

    def shows(signal: Array) -> Array:
        return physical.power(signal, 1000.0, 2.4) @ matrix(P3, D65).T

    found = physical.read("hdr-pq-1000", shows)
    assert found.causes[0].kind == "curve"
    assert "luminance" not in [one.kind for one in found.causes]


@pytest.mark.parametrize("by", [0.06, 0.1])
def test_a_drive_that_begins_too_high(by: float) -> None:
    def shows(signal: Array) -> Array:
        return physical.asked("web-srgb", signal * (1 - by) + by)

    cause = only(physical.read("web-srgb", shows))
    assert cause_title(cause) == "The black level is set too high"


def test_blacks_are_crushed_up_to_a_grey_that_reads_black() -> None:
    """The lowest grey but black is at 10 %: of a signal lowered by 3 % no grey shows black."""

    def lowered(by: float) -> Read:
        return physical.read(
            "sdr-broadcast",
            lambda signal: physical.asked("sdr-broadcast", np.maximum(signal - by, 0.0) / (1 - by)),
        )

    little, much = only(lowered(0.03)), only(lowered(0.12))
    assert (little.kind, cause_title(little)) == ("blacks", "The black level is set too low")
    assert number(little, "signal lowered by") == pytest.approx(3, abs=0.3)
    assert cause_title(much) == "Blacks are crushed up to 10\u00a0% of the signal"
    assert number(much, "reading there") == pytest.approx(0.02, rel=0.01)


# ---------------------------------------------------------------- the panel's own drive


@pytest.mark.parametrize("rule", list(physical.WHITES))
@pytest.mark.parametrize(("channel", "by"), [(0, 0.03), (1, -0.03), (2, 0.04), (0, 0.01)])
def test_an_offset_in_a_panels_own_drive(rule: str, channel: int, by: float) -> None:
    offset = [0.0, 0.0, 0.0]
    offset[channel] = by
    found = read(rule, panel(rule, primaries=P3, offset=tuple(offset)), black=0.0)
    cause = found.causes[0]
    assert cause.kind == "offset"
    assert not [one for one in found.causes if one.kind == "gain"]
    name = ("red", "green", "blue")[channel]
    assert number(cause, f"offset of {name}") == pytest.approx(100 * by, rel=0.3)


# ---------------------------------------------------------------- curves


@pytest.mark.parametrize("gamma", [1.0, 1.05, 1.1, 1.3, 1.4, 1.45])
def test_another_system_gamma(gamma: float) -> None:
    cause = only(read("hdr-hlg-1000", exponent=gamma))
    assert cause.kind == "curve"
    assert cause_title(cause).startswith("The display follows HLG with system gamma 1")
    assert cause_title(cause).endswith(", not 1.2")
    assert number(cause, "system gamma") == pytest.approx(gamma, abs=0.02)


@pytest.mark.parametrize("by", [0.006, 0.01, 0.015])
def test_no_exponent_while_the_rule_finds_its_own(by: float) -> None:
    """A signal that is lowered a little: the fitted exponent stays within its limits."""
    found = physical.read(
        "sdr-broadcast",
        lambda signal: physical.asked("sdr-broadcast", np.clip(signal - by, 0.0, 1.0)),
    )
    assert not [one for one in found.causes if one.kind == "curve"]


@pytest.mark.parametrize("black", [0.01, 0.02, 0.05, 0.1])
def test_the_rules_own_curve_at_any_black(black: float) -> None:
    assert not read("sdr-broadcast", black=black).causes


def test_the_exponent_told_beside_the_one_that_the_rule_measures() -> None:
    cause = only(read("sdr-broadcast", exponent=2.2))
    assert number(cause, "exponent") == pytest.approx(2.2, abs=0.02)
    assert number(cause, "exponent in the rule's form") == pytest.approx(2.2, abs=0.02)
    assert "In the rule's own form the exponent measures 2.2." in cause_text(cause)


@pytest.mark.parametrize("top", [250.0, 400.0, 700.0])
def test_pq_on_a_panel_whose_channels_clip(top: float) -> None:
    shows = Panel(primaries=BT709, peak=top, black=0.02).shows
    found = physical.read(
        "sdr-broadcast", lambda signal: shows(physical.pq(signal) @ matrix(BT709, D65).T)
    )
    assert cause_title(found.causes[0]) == "The display follows PQ, not BT.1886"


# ---------------------------------------------------------------- highlights


@pytest.mark.parametrize("peak", [800.0, 700.0, 620.0, 500.0, 400.0])
def test_highlights_that_are_rolled_off(peak: float) -> None:
    """Nothing is told as the brightest that something read is brighter than."""
    found = read("hdr-pq-1000", lambda xyz: physical.rolled_off(xyz, peak))
    cause = only(found)
    assert cause.kind == "highlights"
    brightest = found.xyz[:, 1].max()
    (told,) = (
        one.value
        for one in cause.evidence
        if evidence_text(one) in ("highest luminance", "brightest reading")
    )
    assert told == pytest.approx(brightest, rel=1e-3)


def test_a_hard_end_is_told_as_one() -> None:
    found = read("hdr-pq-1000", lambda xyz: physical.capped(xyz, 620.0))
    assert cause_title(only(found)) == "Nothing is brighter than 620\u00a0cd/m²"


@pytest.mark.parametrize("peak", [48.0, 50.0, 52.0])
def test_swapped_channels_on_a_panel_that_clips_are_no_bend_at_the_top(peak: float) -> None:
    made = Panel(primaries=P3, white=CINEMA, peak=peak, gamma=2.6)
    found = physical.read(
        "cinema-review-room",
        lambda signal: made.shows(52.37 * signal[:, [1, 0, 2]] ** 2.6) + 0.015 * white_xyz(*CINEMA),
    )
    assert [one.kind for one in found.causes] == ["channels"]


# ---------------------------------------------------------------- colours


@pytest.mark.parametrize("primaries", [P3, BT709])
@pytest.mark.parametrize("white", [(0.3457, 0.3585), (0.2831, 0.2971)])
def test_a_container_and_a_white_both(
    primaries: physical.Points, white: tuple[float, float]
) -> None:
    turn = np.linalg.inv(matrix(P3, D65)).T @ matrix(P3, white).T
    shows = Panel(primaries=P3, peak=1050).shows
    found = read("hdr-pq-1000", lambda xyz: shows(xyz) @ turn, primaries=primaries)
    name = {P3: "P3", BT709: "BT.709"}[primaries]
    assert {cause_title(one) for one in found.causes if one.kind == "primaries"} == {
        f"The signal is taken for {name}, not BT.2020"
    }
    assert {one.kind for one in found.causes} == {"white", "primaries"}


@pytest.mark.parametrize(
    "primaries",
    [
        ((0.69, 0.31), (0.2, 0.73), (0.148, 0.042)),
        ((0.70, 0.295), (0.22, 0.70), (0.14, 0.05)),
        ((0.66, 0.33), (0.24, 0.66), (0.15, 0.06)),
        ((0.68, 0.32), (0.30, 0.60), (0.15, 0.06)),
    ],
)
def test_primaries_without_a_name(primaries: physical.Points) -> None:
    cause = only(read("sdr-broadcast", primaries=primaries))
    assert cause_title(cause) == (
        "The colours are those of none of the known sets of primaries, nor of BT.709"
    )
    x, y = primaries[1]
    assert f"green reads x {x:g}, y {y:g}" in cause_text(cause)


@pytest.mark.parametrize("gain", [(0.85, 1.0, 1.0), (1.0, 0.9, 1.0), (1.0, 1.0, 0.85)])
@pytest.mark.parametrize("rule", ["sdr-broadcast", "web-srgb"])
def test_a_gain_does_not_make_other_primaries(rule: str, gain: tuple[float, float, float]) -> None:
    """On a wide panel a channel's gain turns every hue a little."""
    found = read(rule, panel(rule, gain=gain, black=physical.GOOD_BLACK[rule]))
    assert [one.kind for one in found.causes] == ["gain"]


@pytest.mark.parametrize(
    ("rule", "white", "hue"),
    [
        ("sdr-broadcast", (0.325, 0.320), "magenta"),
        ("web-srgb", (0.325, 0.320), "magenta"),
        ("hdr-pq-1000", (0.3127, 0.345), "green"),
    ],
)
def test_a_white_without_a_name(rule: str, white: tuple[float, float], hue: str) -> None:
    """Beside the daylight locus, and of no one channel's gain; the distance is colour-science's."""
    cause = only(read(rule, white=white))
    uv = [colour.xy_to_Luv_uv(np.array(each)) for each in (white, D65)]
    away = float(np.linalg.norm(uv[0] - uv[1]))
    assert (cause.kind, cause_title(cause)) == ("white", f"White is off by Δu'v' {away:.2g}")
    assert f"towards {hue}." in cause_text(cause)
    assert number(cause, "from the rule's white") == pytest.approx(away, rel=0.01)
    assert number(cause, "x of white as read") == pytest.approx(white[0], abs=1e-4)


@pytest.mark.parametrize("channel", [1, 2])
def test_a_channel_that_is_a_little_weak_is_not_left_without_a_word(channel: int) -> None:
    """Too little for a gain to be told from a white: what is seen is a white that is off."""
    gains = np.ones(3)
    gains[channel] = 0.95
    turned = matrix(BT709, D65)
    found = read("sdr-broadcast", lambda xyz: (xyz @ np.linalg.inv(turned).T * gains) @ turned.T)
    assert [one.kind for one in found.causes] in (["white"], ["gain"])


@pytest.mark.parametrize("channel", [0, 1, 2])
@pytest.mark.parametrize("gain", [0.85, 0.9, 1.12])
def test_a_gain_is_told_as_it_is(channel: int, gain: float) -> None:
    """On the rule's own primaries; the tolerance of a good display's white takes no part of it."""
    gains = np.ones(3)
    gains[channel] = gain
    turned = matrix(BT709, D65)

    def shows(xyz: Array) -> Array:
        return np.asarray((xyz @ np.linalg.inv(turned).T * gains) @ turned.T)

    cause = only(read("web-srgb", shows))
    name = ("red", "green", "blue")[channel]
    assert number(cause, f"light of {name}") == pytest.approx(100 * gain, abs=0.15)


# ---------------------------------------------------------------- range


@pytest.mark.parametrize(
    ("encoding", "black", "white"), [("rgb-10-narrow", 119, 869), ("rgb-10-full", 64, 940)]
)
def test_codes_are_those_of_the_readings(encoding: str, black: int, white: int) -> None:
    low, high = 64 / 1023, 940 / 1023

    def shows(signal: Array) -> Array:
        return physical.asked("sdr-broadcast", np.clip((signal - low) / (high - low), 0.0, 1.0))

    cause = only(physical.read("sdr-broadcast", shows, encoding))
    assert f"at or below code {black} of 1023 shows as black" in cause_text(cause)
    assert f"at or above {white} as white" in cause_text(cause)


@pytest.mark.parametrize("rule", list(physical.WHITES))
def test_a_good_display_gets_no_cause(rule: str) -> None:
    assert not read(rule).causes
