"""Statistics, bands, names and missing patches: one finding each, checked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers import builders

from compliance import model
from compliance.errors import RuleError
from compliance.grading.grade import evaluate
from compliance.grading.match import DeclaredFacts, match_readings
from compliance.model import (
    Band,
    Finding,
    Limits,
    Over,
    PatchSet,
    Readings,
    Reason,
    Requirement,
    Rule,
    Verdict,
)

LIST = PatchSet(
    name="some",
    kind="list",
    patches=(("dark", (64, 64, 64)), ("mid", (128, 128, 128)), ("light", (192, 192, 192))),
    encoding=model.ENCODINGS["rgb-8-full"],
)


def graded(rule: Rule, readings: Readings) -> Finding:
    return evaluate(rule.requirements[0], match_readings(rule, readings))


def over_list(requirement: Requirement) -> Rule:
    return builders.rule(builders.target("power", exponent=2.0), requirement, sets=(LIST,))


def listed(errors: tuple[float, float, float]) -> Readings:
    """White 100, black 0 and the three patches of the list off by `errors` in %."""
    codes = np.array([64, 128, 192])
    luminance = 100 * (codes / 255) ** 2 * (1 + np.array(errors) / 100)
    rows = [[255] * 3, [0] * 3, *([code] * 3 for code in codes)]
    levels = np.concatenate([[100.0, 0.0], luminance])
    white = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
    return builders.readings(rows, levels[:, None] * white)


def error(**changes: object) -> Requirement:
    changes.setdefault("limits", Limits(-5, 5))
    return builders.requirement("luminance-error", "some", **changes)


def test_each_takes_the_point_with_the_least_margin() -> None:
    one = graded(over_list(error()), listed((2, -4, 3)))
    assert one.value == pytest.approx(-4)
    assert one.verdict is Verdict.PASS
    assert [point.name for point in one.points] == ["dark", "mid", "light"]


def test_signed_errors_do_not_cancel() -> None:
    one = graded(over_list(error(statistic="mean")), listed((6, -6, 6)))
    assert one.value == pytest.approx(6)
    assert one.verdict is Verdict.FAIL


def test_percentile_is_the_nearest_rank() -> None:
    one = graded(over_list(error(statistic="percentile", percentile=50.0)), listed((1, -4, 9)))
    assert one.value == pytest.approx(4)
    one = graded(over_list(error(statistic="percentile", percentile=95.0)), listed((1, -4, 9)))
    assert one.value == pytest.approx(9)


def test_spread_keeps_the_sign() -> None:
    one = graded(
        over_list(error(statistic="spread", limits=Limits(maximum=12))), listed((6, -6, 1))
    )
    assert one.value == pytest.approx(12)
    assert one.verdict is Verdict.PASS


def test_band_ends_are_inclusive_and_the_last_is_open() -> None:
    nominal = 100 * (128 / 255) ** 2
    bands = (Band(nominal, Limits(-1, 1)), Band(None, Limits(-10, 10)))
    one = graded(over_list(error(limits=None, bands=bands)), listed((0, 0.9, 9)))
    assert one.verdict is Verdict.PASS
    assert [p.limits.maximum for p in one.points if p.limits] == [1, 1, 10]
    assert graded(over_list(error(limits=None, bands=bands)), listed((0, 1.1, 0))).value == (
        pytest.approx(1.1)
    )


def test_limits_by_patch_and_a_name_without_one() -> None:
    names = {name: Limits(-5, 5) for name in ("dark", "mid", "light")}
    assert graded(over_list(error(limits=None, by_patch=names)), listed((0, 0, 6))).value == (
        pytest.approx(6)
    )
    del names["mid"]
    with pytest.raises(RuleError, match="no limits for patch 'mid'"):
        graded(over_list(error(limits=None, by_patch=names)), listed((0, 0, 0)))


def test_a_missing_patch_leaves_it_open_unless_one_is_outside() -> None:
    complete = listed((0, 0, 0))
    short = builders.readings(complete.codes[:-1], complete.xyz[:-1])
    one = graded(over_list(error()), short)
    assert (one.verdict, one.reason) == (Verdict.NOT_ASSESSED, Reason.MISSING_READINGS)
    assert one.missing == ("light",)
    bad = listed((7, 0, 0))
    assert graded(over_list(error()), builders.readings(bad.codes[:-1], bad.xyz[:-1])).verdict is (
        Verdict.FAIL
    )
    one = graded(
        over_list(error(statistic="mean")), builders.readings(bad.codes[:-1], bad.xyz[:-1])
    )
    assert one.verdict is Verdict.NOT_ASSESSED


def test_missing_white_is_named() -> None:
    complete = listed((0, 0, 0))
    one = graded(over_list(error()), builders.readings(complete.codes[1:], complete.xyz[1:]))
    assert one.verdict is Verdict.NOT_ASSESSED
    assert one.missing == ("white",)


def test_pairwise_is_between_the_patches_themselves() -> None:
    """Two whites .01 from the target on opposite sides are .02 apart in u'v'."""
    screen = PatchSet(name="screen", kind="positions", positions=("left", "right"), of="white")
    requirement = builders.requirement(
        "chromaticity-difference", "screen", statistic="pairwise", limits=Limits(maximum=0.015)
    )
    u, v = 0.1978, 0.4683
    rows = []
    for shift in (-0.01, 0.01):
        uv = np.array([u + shift, v])
        rows.append([9 * uv[0] / (4 * uv[1]), 1, (12 - 3 * uv[0] - 20 * uv[1]) / (4 * uv[1])])
    xyz = 100 * np.array([*rows, rows[0], [0, 0, 0]])
    readings = builders.readings(
        [[255] * 3] * 3 + [[0] * 3], xyz, position=("left", "right", "centre", "centre")
    )
    one = graded(builders.rule(builders.target(), requirement, sets=(screen,)), readings)
    assert one.value == pytest.approx(0.02, abs=1e-12)
    assert one.verdict is Verdict.FAIL


def test_repeats_are_averaged_and_the_order_of_rows_is_no_matter() -> None:
    codes = [[255] * 3, [255] * 3, [0] * 3]
    xyz = np.array([[94, 98, 106], [96, 102, 110], [0.01, 0.01, 0.01]])
    rule = builders.rule(
        builders.target(), builders.requirement("luminance", "white", limits=Limits(99, 101))
    )
    forward = graded(rule, builders.readings(codes, xyz))
    backward = graded(rule, builders.readings(codes[::-1], xyz[::-1]))
    assert forward == backward
    assert forward.value == 100


def test_a_requirement_for_another_kind_of_display() -> None:
    requirement = builders.requirement("luminance", "white", displays="projector")
    rule = builders.rule(builders.target(), requirement)
    readings = listed((0, 0, 0))
    got = [
        evaluate(
            requirement, match_readings(rule, readings, stated=DeclaredFacts(technology=technology))
        )
        for technology in (None, "oled", "projector")
    ]
    assert [one.reason for one in got] == [Reason.MISSING_READINGS, Reason.NOT_APPLICABLE, None]
    assert got[2].verdict is Verdict.FAIL


def test_recorded_and_declared() -> None:
    recorded = builders.requirement("recorded", None, field="surround", limits=Limits(8, 12))
    declared = builders.requirement("declared", None, declaration="dimming-off", limits=Limits(1))
    rule = builders.rule(builders.target(), recorded, declared)
    case = match_readings(
        rule,
        listed((0, 0, 0)),
        stated=DeclaredFacts(recorded={"surround": 12.0}, declared={"dimming-off": 0.0}),
    )
    assert evaluate(recorded, case).verdict is Verdict.PASS
    assert evaluate(recorded, case).unit == "cd/m²"
    assert evaluate(declared, case).verdict is Verdict.FAIL
    nothing = match_readings(rule, listed((0, 0, 0)))
    assert evaluate(recorded, nothing).reason is Reason.MISSING_READINGS


def test_over_names_a_range_that_holds_nothing() -> None:
    requirement = error()
    over = Over(("some",), target=(90.0, 95.0))
    one = graded(over_list(replace(requirement, over=over)), listed((0, 0, 0)))
    assert one.verdict is Verdict.NOT_ASSESSED
