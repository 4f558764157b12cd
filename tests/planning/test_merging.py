"""Which patches a plan has: what rules share is there once, and nothing they ask for is missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers import shipped
from helpers.outside_tools import colour
from helpers.planned_readings import filled_in
from helpers.shipped import shipped_rule

from compliance.assessment import assess
from compliance.errors import RuleError
from compliance.grading.match import match_readings
from compliance.model import (
    ENCODINGS,
    PLACES,
    POSITION_GROUPS,
    Measurement,
    Over,
    PatchSet,
    Reason,
    Requirement,
    Rule,
)
from compliance.planning.plan import measuring_plan
from compliance.planning.stimuli import ExtraPatches, grid, merged
from compliance.readings.load import readings_from_bytes
from compliance.report.words import cause_text, statement_text

SDR = shipped_rule("sdr-broadcast")
PQ = shipped_rule("hdr-pq-1000")


# ---------------------------------------------------------------- what is asked


@pytest.mark.parametrize("name", shipped.RULES)
def test_a_plan_filled_in_leaves_nothing_missing(name: str) -> None:
    rule = shipped_rule(name)
    for kind in shipped.technologies(rule):
        plan = measuring_plan([rule], rule.encoding, technology=kind)
        black = shipped.black(rule, kind)
        data = filled_in(plan, rule, black)
        readings = readings_from_bytes(data, "plan.csv", rule.encoding)
        assert len(readings) == len(plan.steps)
        found = assess(Measurement(rule, readings, job=shipped.job(rule, kind)), now=shipped.NOW)
        assert not [one.id for one in found.state.findings if one.missing]
        assert all(one.reason in (None, Reason.NOT_APPLICABLE) for one in found.state.findings), (
            name
        )


@pytest.mark.parametrize("name", shipped.RULES)
def test_nor_in_the_generators_own_encoding(name: str) -> None:
    rule = shipped_rule(name)
    in_xyz = ["xyz-12-full"] if rule.target.curve in ("dcdm", "pq") else []
    for encoding in ("rgb-8-full", "rgb-8-narrow", *in_xyz):
        known = ENCODINGS[encoding]
        plan = measuring_plan([rule], known)
        case = match_readings(rule, readings_from_bytes(filled_in(plan, rule), "plan.csv", known))
        for one in rule.requirements:
            if one.over is not None:
                found = case.matcher.select(one.over, all_neutrals=True)
                assert found.chosen, (encoding, one.id)
                assert not found.missing, (encoding, one.id)


def test_rules_that_share_patches_ask_for_them_once() -> None:
    grades = [shipped_rule(f"sdr-broadcast-grade-{grade}") for grade in (1, 2, 3)]
    alone = measuring_plan(grades[:1], SDR.encoding)
    together = measuring_plan(grades, SDR.encoding)
    assert {step.identity for step in alone.steps} <= {step.identity for step in together.steps}
    assert len(together.steps) == len(alone.steps)


def test_every_rule_finds_its_patches_in_a_merged_plan() -> None:
    encoding = ENCODINGS["rgb-10-full"]
    rules = [shipped_rule(name) for name in ("sdr-broadcast", "web-srgb", "hdr-pq-1000")]
    every = {one.identity for one in merged(rules, encoding)}
    for rule in rules:
        assert {one.identity for one in merged([rule], encoding)} <= every


def test_levels_are_the_luminances_that_the_rule_asks_for() -> None:
    # ITU-R BT.709: Y = 0.2126 R + 0.7152 G + 0.0722 B; of two rules the brighter one counts
    level = {one.codes: one.level for one in merged([SDR], SDR.encoding)}
    assert level[(940, 940, 940)] == pytest.approx(100)
    for codes, luminance in (((940, 64, 64), 21.26), ((64, 940, 64), 71.52), ((64, 64, 940), 7.22)):
        assert level[codes] == pytest.approx(luminance, abs=0.01)
    both = merged([shipped_rule("cinema-theatre"), SDR], ENCODINGS["rgb-10-narrow"])
    assert max(one.level for one in both if one.codes == (940, 940, 940)) == pytest.approx(100)
    assert max(one.level for one in merged([PQ], PQ.encoding)) == pytest.approx(1000, rel=0.01)


def test_one_code_in_a_coarse_encoding_is_one_patch() -> None:
    rules = [SDR, shipped_rule("sdr-uhd")]
    coarse = [one.identity for one in merged(rules, ENCODINGS["rgb-8-narrow"])]
    assert len(coarse) == len(set(coarse))
    assert len(coarse) <= len(merged(rules, ENCODINGS["rgb-12-full"]))


def test_limits_for_projectors_are_no_work_on_another_display() -> None:
    rule = shipped_rule("cinema-review-room")
    led = {one.identity for one in merged([rule], rule.encoding, technology="led")}
    either = {one.identity for one in merged([rule], rule.encoding)}
    assert led < either


def test_x_y_z_rules_and_rgb_codes() -> None:
    with pytest.raises(RuleError, match="takes RGB signals"):
        merged([SDR], ENCODINGS["xyz-12-full"])


def test_a_direct_view_lcd_is_read_full_field_in_8_bit_full_range() -> None:
    # common practice, no source: full-field patches, and the range stated in the plan
    web = shipped_rule("web-srgb")
    plan = measuring_plan([web], ENCODINGS["rgb-8-full"], technology="lcd")
    assert {(step.window, step.pattern) for step in plan.steps} == {(100.0, "full")}
    header, *rows = plan.rows()
    assert header[-1] == "encoding"
    assert {row[-1] for row in rows} == {"rgb-8-full"}
    assert {row[0] for row in rows} >= {"0", "255"}


# ---------------------------------------------------------------- a grid


@pytest.mark.parametrize(("points", "patches"), [(9, 729), (17, 4913), (21, 9261)])
def test_a_grid_has_the_cube_of_its_points(points: int, patches: int) -> None:
    # common practice, no source
    found = grid(SDR, SDR.encoding, points)
    assert len({one.codes for one in found}) == patches
    plan = measuring_plan([SDR], SDR.encoding, points=points)
    shown = {step.codes for step in plan.steps if (step.window, step.pattern) == (100, "full")}
    assert {one.codes for one in found} <= shown
    assert len(plan.rows()) - 1 == len(plan.steps) >= patches


def test_a_grid_runs_from_black_to_white_in_even_steps_of_code() -> None:
    found = grid(SDR, SDR.encoding, 5)
    assert sorted({one.codes[0] for one in found}) == [64, 283, 502, 721, 940]


def test_a_grid_in_pq_ends_at_the_peak() -> None:
    (peak,) = {max(one.codes) for one in merged([PQ], PQ.encoding) if one.name == "peak"}
    assert max(max(one.codes) for one in grid(PQ, PQ.encoding, 9)) == peak


def test_grids_that_cannot_be() -> None:
    cinema = shipped_rule("cinema-review-room")
    with pytest.raises(ValueError, match="expected RGB for a grid"):
        grid(cinema, cinema.encoding, 9)
    with pytest.raises(ValueError, match="34 points"):
        grid(SDR, SDR.encoding, 34)


# ---------------------------------------------------------------- places, windows, time


def with_sets(rule: Rule, *sets: PatchSet, **over: tuple[float, ...]) -> Rule:
    """The rule asking for luminance of further sets, and nothing else."""
    (like,) = (one for one in rule.requirements if one.id == "black-level")
    asked = tuple(
        Requirement(
            id=one.name,
            title=one.name,
            quantity="luminance",
            level=like.level,
            basis=like.basis,
            clause=None,
            over=Over((one.name,), **over),
            limits=like.limits,
        )
        for one in sets
    )
    named = {one.name: one for one in sets}
    return replace(rule, sets={**rule.sets, **named}, requirements=asked)


@pytest.mark.parametrize("count", [5, 9, 13])
def test_uniformity_grids(count: int) -> None:
    # the named points of EBU Tech 3325: asked for by a rule, or measured beside it
    points = POSITION_GROUPS[f"{count}-points"]
    rule = with_sets(SDR, PatchSet("screen", "positions", positions=points, of="white"))
    asked = measuring_plan([rule], rule.encoding)
    bare = with_sets(SDR)
    beside = measuring_plan([bare], bare.encoding, further=ExtraPatches(points=count))
    assert len(points) == count
    for plan in (asked, beside):
        white = [step for step in plan.steps if step.codes == (940, 940, 940)]
        assert {step.position for step in white} == set(points)
        away = [step.position for step in white if step.position != "centre"]
        assert len(away) == count - 1


def test_points_that_a_rule_asks_for_are_there_once() -> None:
    alone = measuring_plan([SDR], SDR.encoding)
    assert measuring_plan([SDR], SDR.encoding, further=ExtraPatches(points=9)).steps == alone.steps


def test_places_mirror_each_other() -> None:
    for name, (across, down) in PLACES.items():
        turned = name
        for one, other in (("left", "right"), ("top", "bottom")):
            turned = turned.replace(one, "*").replace(other, one).replace("*", other)
        assert PLACES[turned] == (100 - across, 100 - down)
    assert set(PLACES) == set(POSITION_GROUPS["13-points"])
    assert len(set(PLACES.values())) == 13


def test_corners_and_sides_for_cinema() -> None:
    # luminance of the corners is limited in a review room (SMPTE ST 431-1), evenness and colour
    # over the whole screen everywhere (DCI CTP 1.4, 7.5.15)
    places = {"centre", *POSITION_GROUPS["sides"], *POSITION_GROUPS["corners"]}
    for name in ("cinema-theatre", "cinema-review-room"):
        rule = shipped_rule(name)
        for technology in ("projector", "led"):
            plan = measuring_plan([rule], rule.encoding, technology=technology)
            assert {step.position for step in plan.steps} == places


def test_peak_by_window_and_sustained() -> None:
    sizes = (1.0, 4.0, 10.0, 25.0, 81.0, 100.0)
    rule = with_sets(
        PQ, PatchSet("sizes", "windows", windows=sizes, of="peak"), seconds=(0.0, 60.0, 300.0)
    )
    asked = measuring_plan([rule], rule.encoding)
    beside = measuring_plan([PQ], PQ.encoding, further=ExtraPatches(windows=True))
    for plan, times in ((asked, (0.0, 60.0, 300.0)), (beside, (0.0, 60.0))):
        own = {(size, 0.0) for size in PQ.sets["sizes"].windows} if plan is beside else set()
        peaks = [step for step in plan.steps if step.codes == (769, 769, 769)]
        assert {(step.window, step.seconds) for step in peaks} == {
            (size, second) for size in sizes for second in times
        } | own
        assert {step.pattern for step in peaks if step.window == 100} == {"full"}
        assert {step.pattern for step in peaks if step.window < 100} == {"window"}


def test_windows_beside_the_rules_show_a_limiter() -> None:
    plan = measuring_plan([PQ], PQ.encoding, further=ExtraPatches(windows=True))
    good = readings_from_bytes(filled_in(plan, PQ), "plan.csv", PQ.encoding)
    area = good.window / 100
    xyz = good.xyz * np.minimum(1, 80 / (area * np.maximum(good.xyz[:, 1], 1e-9)))[:, None]
    found = assess(Measurement(PQ, replace(good, xyz=xyz)), now=shipped.NOW)
    assert found.state.causes[0].kind == "limiter"
    assert "80\u00a0cd/m² at 100\u00a0% of the screen" in cause_text(found.state.causes[0])


# ---------------------------------------------------------------- encodings


def test_steps_of_pq_in_8_bits_are_those_of_its_definition() -> None:
    # ITU-R BT.2100: two neighbouring codes of 256 through the PQ EOTF of colour-science
    levels = colour.eotf(np.arange(256) / 255, function="ITU-R BT.2100 PQ")
    lit = levels[(levels >= 1) & (levels <= 1000)]
    (told,) = measuring_plan([PQ], ENCODINGS["rgb-8-full"]).doubts
    assert f"up to {100 * np.max(lit[1:] / lit[:-1]) - 100:.2g} % of luminance" in statement_text(
        told
    )
    assert not measuring_plan([PQ], ENCODINGS["rgb-10-full"]).doubts


def test_an_encoding_of_another_kind_than_the_rules() -> None:
    for name, encoding in (("hdr-pq-1000", "xyz-12-full"), ("cinema-theatre", "rgb-12-full")):
        rule = shipped_rule(name)
        (told,) = measuring_plan([rule], ENCODINGS[encoding]).doubts
        words = f"{name} is written for {rule.encoding.name}: in {encoding} "
        assert statement_text(told).startswith(words)
        assert not measuring_plan([rule], rule.encoding).doubts
