"""Can a meter prove a rule? The ratios by hand, the exit codes, the traps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from helpers import builders
from scipy import stats

from compliance import model
from compliance.errors import RuleError
from compliance.grading import rule_size
from compliance.model import (
    Level,
    Limits,
    Linearity,
    LuminanceBand,
    Meter,
    PatchSet,
    RepeatabilityBand,
    Requirement,
    Rule,
)
from compliance.model.results import Adequacy, Capability
from compliance.planning import meter_capability
from compliance.planning.meter_capability import capability, inadequate
from compliance.report.words import statement_text

WHITE = builders.requirement("luminance", "white", limits=Limits(95, 105))


def rule(*requirements: Requirement) -> Rule:
    named = [replace(one, id=f"r-{i}") for i, one in enumerate(requirements)]
    return builders.rule(builders.target(), *named, sets=(builders.HUES, builders.ramp(11)))


NONE_BY_LEVEL = Linearity(1e-9, 1e-9)
"""All levels err alike."""


def meter(relative: float, **changes: object) -> Meter:
    """Expanded relative uncertainty of luminance in %, and little else."""
    plain = {
        "luminance": (LuminanceBand(0.0001, relative),),
        "linearity": NONE_BY_LEVEL,
        "dark": 0.0,
        "repeatability": (RepeatabilityBand(0.0, 0.0, 0.0, 0.0),),
    }
    return builders.meter(0.0, **(plain | changes))


def row(requirement: Requirement, instrument: Meter) -> Capability:
    (only,) = capability(rule(requirement), instrument)
    return only


@pytest.mark.parametrize(
    ("relative", "adequacy"),
    [(1.0, Adequacy.ADEQUATE), (3.0, Adequacy.MARGINAL), (6.0, Adequacy.INADEQUATE)],
)
def test_two_sided_limits_by_c_m(relative: float, adequacy: Adequacy) -> None:
    """JCGM 106:2012, 7.6.3: C_m = (TU − TL)/(2U), here 5/relative with U at 95 %."""
    one = row(WHITE, meter(relative))
    assert one.ratio == pytest.approx(10 / (2 * relative * 1.96 / 2), rel=0.04)
    assert one.adequacy is adequacy
    assert one.needed == pytest.approx(5 / 3)
    assert one.uncertainty == pytest.approx(relative * 0.98, rel=0.04)


def test_distances_by_the_quantile_of_a_perfect_display() -> None:
    """Equal u in u' and v' would be Rayleigh: q95 = 2.448·u (from scipy)."""
    aim = builders.requirement("chromaticity-difference", "white", limits=Limits(maximum=0.004))
    one = row(aim, builders.meter(0.0))
    assert one.uncertainty is not None and one.ratio is not None
    # du'/dx and dv'/dy at D65 from the plane's definition: about 1.59, −.73 and .60, .91
    assert 0.001 * 0.9 < one.uncertainty < 2.6 * 0.0018
    assert one.ratio == pytest.approx(0.004 / one.uncertainty)
    assert stats.rayleigh.ppf(0.95) == pytest.approx(2.448, abs=1e-3)


def test_one_sided_limits_by_their_guard_band() -> None:
    """Black ≤ .1 with u = 2 %: guard band 1.645 · .002 = .00329; the limit is 30 times that."""
    black = builders.requirement("luminance", "black", limits=Limits(maximum=0.1))
    one = row(black, meter(4.0))
    assert one.ratio == pytest.approx(0.1 / (1.645 * 0.002), rel=0.05)
    assert one.adequacy is Adequacy.ADEQUATE
    coarse = row(black, meter(50.0))
    assert coarse.adequacy is Adequacy.MARGINAL
    assert coarse.ratio == pytest.approx(1 / (1.645 * 0.25), rel=0.05)


def test_a_guarded_limit_below_the_meters_reach_is_inadequate() -> None:
    black = builders.requirement("luminance", "black", limits=Limits(maximum=0.005))
    one = row(black, replace(meter(4.0), stated_lowest=0.0049))
    assert one.adequacy is Adequacy.INADEQUATE
    assert one.why is not None and one.why.kind == "guarded-limit-below-meter"
    assert "below what the meter can tell" in statement_text(one.why)


def test_contrast_at_its_limit_not_at_the_ideal_display() -> None:
    """Contrast 1000 at 100 cd/m²: black .1; u by repeatability and dark part alone."""
    contrast = builders.requirement("contrast", None, limits=Limits(minimum=1000))
    one = row(
        contrast,
        builders.meter(0.0, luminance=(LuminanceBand(0.0001, 2.0),), linearity=NONE_BY_LEVEL),
    )
    relative = (2 * 0.003**2 + (0.001 / 0.1) ** 2) ** 0.5
    assert one.uncertainty == pytest.approx(2 * 1000 * relative, rel=0.05)
    silent = row(contrast, meter(2.0, repeatability=()))
    assert (silent.adequacy, silent.ratio) == (Adequacy.UNKNOWN, None)
    assert silent.why is not None
    told = statement_text(silent.why)
    assert told == "the meter's file does not state repeatability"


def test_coverage_has_the_room_below_a_perfect_display() -> None:
    """None covers more than 100 %: the guard band (JCGM 106:2012, 8.3) has 3 % for a limit of 97,
    not 97 %."""
    aim = builders.requirement("gamut-coverage", "primaries", limits=Limits(minimum=97))
    one = row(aim, builders.meter(0.0))
    assert one.uncertainty is not None and one.ratio is not None
    guard = stats.norm.ppf(0.95) * one.uncertainty / 2
    assert one.ratio == pytest.approx(3 / guard, rel=1e-6)
    assert one.ratio < 10


def test_stability_and_uniformity_are_taken_at_their_limits() -> None:
    again = PatchSet(name="again", kind="repeats", repeats=3, of="white")
    screen = PatchSet(name="screen", kind="positions", positions=("centre", "left"), of="white")
    made = builders.rule(
        builders.target(),
        replace(builders.requirement("stability", "again", limits=Limits(maximum=2)), id="s"),
        replace(
            builders.requirement("non-uniformity", "screen", limits=Limits(maximum=10)), id="u"
        ),
        sets=(again, screen),
    )
    stability, uniformity = capability(made, builders.meter(0.0, linearity=NONE_BY_LEVEL))
    assert stability.uncertainty == pytest.approx(2 * 100 * 2**0.5 * 0.003, rel=0.06)
    centre_is_read_three_times = (1 + 1 / 3) ** 0.5
    assert uniformity.uncertainty == pytest.approx(
        2 * 90 * centre_is_read_three_times * 0.003, rel=0.06
    )


def test_a_limit_of_zero_is_not_rated() -> None:
    slope = builders.requirement("monotonicity", "grey", limits=Limits(0.0, exclusive=True))
    one = row(slope, builders.meter(0.0))
    assert one.adequacy is Adequacy.NOT_RATED and one.why is not None
    assert statement_text(one.why) == "a limit of 0 gives nothing to compare with"


def test_a_meter_without_uncertainty_is_refused() -> None:
    unknown = replace(meter(1.0), uncertainty=None)
    with pytest.raises(ValueError, match="states no measurement uncertainty"):
        capability(rule(WHITE), unknown)
    assert inadequate(rule(WHITE), unknown, model.ENCODINGS["rgb-8-full"]) == ()


def test_only_shall_requirements_make_a_verdict_rest_on_an_inadequate_meter() -> None:
    should = replace(WHITE, level=Level.SHOULD)
    found = inadequate(rule(WHITE, should), meter(9.0), model.ENCODINGS["rgb-8-full"])
    assert [one.id for one in found] == ["r-0"]


def test_what_a_meter_cannot_prove_is_asked_once_for_equal_rules_and_meters() -> None:
    encoding = model.ENCODINGS["rgb-8-full"]
    inadequate.cache_clear()
    for _ in range(2):
        inadequate(rule(WHITE), meter(9.0), encoding)
    assert inadequate.cache_info().misses == 1
    stricter = replace(rule(WHITE), decision=model.Decision("guarded", 0.99))
    inadequate(stricter, meter(9.0), encoding)
    assert inadequate.cache_info().misses == 2


def test_statements_that_need_no_meter_are_left_out() -> None:
    room = builders.requirement("recorded", None, field="surround", limits=Limits(8, 12))
    assert len(capability(rule(WHITE, room), meter(1.0))) == 1


def colours(quantity: str, limits: Sequence[float]) -> model.Rule:
    """A rule for a list of colours, each with an upper limit."""
    names = [f"p{at}" for at in range(len(limits))]
    codes = tuple((name, (100 + at, 90, 80)) for at, name in enumerate(names))
    own = PatchSet(name="own", kind="list", patches=codes)
    each = {name: Limits(maximum=most) for name, most in zip(names, limits, strict=True)}
    needed = builders.requirement(quantity, "own", limits=None, by_patch=each)
    return builders.rule(builders.target(), needed, sets=(own,))


@pytest.mark.parametrize(
    ("quantity", "limits", "moved"),
    [
        ("luminance", (90.0,) * 5, 1),
        ("luminance", (90.0, 91.0, 91.0), 2),
        ("duv", (0.02, 0.03), 0),
    ],
)
def test_values_with_the_same_limit_are_drawn_once(
    monkeypatch: pytest.MonkeyPatch, quantity: str, limits: Sequence[float], moved: int
) -> None:
    """A display that a limit does not move is the ideal one, which is drawn anyway."""
    drawn, real = [], meter_capability.readings_at_limit
    monkeypatch.setattr(
        meter_capability,
        "readings_at_limit",
        lambda *given: drawn.append(given) or real(*given),
    )
    capability(colours(quantity, limits), builders.meter(0.3))
    assert len(drawn) == moved


def test_displays_on_their_limits_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rule_size, "MOST_MOVED", 8)
    capability(colours("luminance", (90.0,) * 2), builders.meter(0.3))
    with pytest.raises(RuleError, match="has more one-sided limits of luminance and contrast"):
        capability(colours("luminance", (90.0, 91.0, 92.0)), builders.meter(0.3))
