"""What a rule file becomes: names resolved, defaults filled in, sets and limits as data."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from helpers.sample_text import RULE, edited, rule_folder

from compliance.model import (
    ENCODINGS,
    POSITIONS,
    Band,
    Decision,
    Level,
    Limits,
    Over,
    PatchSet,
    Requirement,
    Rule,
    Target,
)
from compliance.plain_data import digest
from compliance.rules.library import load_rule

BT709 = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
BT2020 = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046))


def loaded(folder: Path, *changes: tuple[str, str]) -> Rule:
    text = RULE
    for old, new in changes:
        text = edited(text, old, new)
    rule_folder(folder, sdr=text)
    return load_rule(folder / "sdr.yaml")


def found(rule: Rule, name: str) -> Requirement:
    return next(one for one in rule.requirements if one.id == name)


def test_the_head_of_a_rule(tmp_path: Path) -> None:
    rule = loaded(tmp_path)
    assert (rule.id, rule.title, rule.revision) == ("sdr", "SDR broadcast master, HD", 1)
    assert (rule.valid_days, rule.window) == (30, 100.0)
    assert rule.encoding == ENCODINGS["rgb-10-narrow"]
    assert rule.decision == Decision("simple", 0.95)
    assert (rule.extends, rule.changes) == (None, ())
    assert rule.digest == digest(rule.resolved)


def test_the_target_of_a_broadcast_rule(tmp_path: Path) -> None:
    assert loaded(tmp_path).target == Target(
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
    )


@pytest.mark.parametrize(
    ("transfer", "black", "scale", "exponent"),
    [
        ("{curve: bt1886}", "lift", "relative", None),
        ("{curve: power, exponent: 2.2}", "add", "relative", 2.2),
        ("{curve: srgb}", "add", "relative", None),
        ("{curve: dcdm}", "add", "relative", 2.6),
        ("{curve: hlg}", "lift", "relative", None),
        ("{curve: pq}", "none", "absolute", None),
        ("{curve: bt1886, black: add}", "add", "relative", None),
        ("{curve: srgb, black: none}", "none", "relative", None),
    ],
)
def test_each_curve_has_its_defaults(
    tmp_path: Path, transfer: str, black: str, scale: str, exponent: float | None
) -> None:
    target = loaded(tmp_path, ("{curve: bt1886}", transfer)).target
    assert (target.black, target.scale, target.exponent) == (black, scale, exponent)


def test_stated_values_go_before_defaults(tmp_path: Path) -> None:
    head = "  white: [0.3, 0.31]\n  scale: absolute\n  black_level: 0.05\n  container: bt2020"
    target = loaded(tmp_path, ("  white: d65", head)).target
    assert (target.white, target.white_name) == ((0.3, 0.31), None)
    assert (target.scale, target.black_level) == ("absolute", 0.05)
    assert (target.container, target.container_name) == (BT2020, "bt2020")
    assert (
        loaded(tmp_path, ("  white: d65", "  white: d65\n  black_level: 0")).target.black_level == 0
    )


def test_primaries_may_be_coordinates(tmp_path: Path) -> None:
    own = "primaries: {red: [0.65, 0.33], green: [0.3, 0.61], blue: [0.15, 0.05]}"
    target = loaded(tmp_path, ("primaries: bt709", own)).target
    assert target.primaries == ((0.65, 0.33), (0.3, 0.61), (0.15, 0.05))
    assert target.primaries_name is None
    assert target.container == target.primaries


def test_the_peak_of_pq(tmp_path: Path) -> None:
    change = (
        "curve: bt1886}\n  luminance: {white: 100}",
        "curve: pq}\n  luminance: {white: 100, peak: 1000}",
    )
    assert loaded(tmp_path, change).target.luminance_peak == 1000.0


@pytest.mark.parametrize("curve", ["dcdm", "pq"])
def test_an_xyz_signal_has_no_container(tmp_path: Path, curve: str) -> None:
    rule = loaded(tmp_path, ("curve: bt1886", f"curve: {curve}"), ("rgb-10-narrow", "xyz-12-full"))
    assert (rule.target.container, rule.target.container_name) == (None, None)


def test_without_a_signal_the_curve_decides_what_is_emitted(tmp_path: Path) -> None:
    no_signal = ("signal: {encoding: rgb-10-narrow}\n", "")
    assert loaded(tmp_path, no_signal).encoding == ENCODINGS["rgb-10-full"]
    dcdm = ("curve: bt1886", "curve: dcdm")
    assert loaded(tmp_path, no_signal, dcdm).encoding == ENCODINGS["xyz-12-full"]


@pytest.mark.parametrize(
    ("peak", "surround", "gamma"),
    [
        # ITU-R BT.2100-3 note 5f: 1.2 at 1000, 1.2 + .42·log10(L/1000) from 400 to 2000 cd/m²
        (1000, None, 1.2),
        (2000, None, 1.2 + 0.42 * 0.30102999566398120),
        (400, None, 1.2 - 0.42 * 0.39794000867203761),
        # outside, 1.2·1.111^log2(L/1000)
        (4000, None, 1.2 * 1.111**2),
        (250, None, 1.2 * 1.111**-2),
        # ITU-R BT.814-4 Annex 5: less .076·log10(surround/5)
        (1000, 50, 1.2 - 0.076),
        (1000, 5, 1.2),
    ],
)
def test_the_system_gamma_of_hlg(
    tmp_path: Path, peak: int, surround: int | None, gamma: float
) -> None:
    around = f"\n  surround: {surround}" if surround else ""
    target = loaded(
        tmp_path,
        (
            "curve: bt1886}\n  luminance: {white: 100}",
            f"curve: hlg}}\n  luminance: {{white: {peak}}}{around}",
        ),
    ).target
    assert target.system_gamma == pytest.approx(gamma, rel=1e-12)


def test_what_a_rule_need_not_say(tmp_path: Path) -> None:
    rule = loaded(
        tmp_path,
        ("valid_for: {days: 30}\n", ""),
        ("window: 100\n", ""),
        ("decision: {acceptance: simple, confidence: 0.95}\n", ""),
        ("defaults: {level: shall, basis: digest, clause: EBU Tech 3320 v4.1}\n", ""),
    )
    assert (rule.valid_days, rule.window, rule.decision) == (None, 100.0, Decision("simple", 0.95))
    black = found(rule, "black-level")
    assert (black.title, black.level, black.basis, black.clause) == (
        "Black level",
        Level.SHALL,
        "house",
        None,
    )


def test_the_kinds_of_sets(tmp_path: Path) -> None:
    assert loaded(tmp_path).sets == {
        "grey": PatchSet("grey", "ramp", steps=21),
        "primaries": PatchSet("primaries", "hues", hues=("red", "green", "blue")),
        "steps": PatchSet(
            "steps",
            "list",
            patches=(("step-1", (102, 102, 102)), ("step-2", (205, 205, 205))),
            encoding=ENCODINGS["rgb-10-full"],
        ),
        "edges": PatchSet(
            "edges",
            "positions",
            positions=("left", "right", "top-left", "top-right", "bottom-left", "bottom-right"),
            of="white",
        ),
        "sizes": PatchSet("sizes", "windows", windows=(1.0, 4.0, 10.0, 25.0), of="white"),
        "again": PatchSet("again", "repeats", repeats=3, of="white"),
    }


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("ramp: neutral, steps: 5, signal: [0, 0.75]",
         {"kind": "ramp", "steps": 5, "signal": (0, 0.75)}),
        ("saturations: [red], steps: 4, neutral: 80",
         {"kind": "saturations", "hues": ("red",), "steps": 4, "neutral": 80.0}),
        ("hues: [cyan], window: 10, pattern: window",
         {"kind": "hues", "hues": ("cyan",), "window": 10.0, "pattern": "window"}),
        ("positions: centre, of: black",
         {"kind": "positions", "positions": ("centre",), "of": "black"}),
        ("positions: [9-points, centre]",
         {"kind": "positions", "positions": POSITIONS[:9], "of": "white"}),
        ("positions: 13-points", {"kind": "positions", "positions": POSITIONS, "of": "white"}),
        ("positions: 5-points",
         {"kind": "positions", "of": "white",
          "positions": ("centre", "top-left", "top-right", "bottom-left", "bottom-right")}),
        ("list: {encoding: rgb-8-full, patches: {skin: [194, 150, 130]}}",
         {"kind": "list", "patches": (("skin", (194, 150, 130)),),
          "encoding": ENCODINGS["rgb-8-full"]}),
    ],
)  # fmt: skip
def test_a_set(tmp_path: Path, written: str, expected: dict[str, object]) -> None:
    rule = loaded(tmp_path, ("  again: {repeats: 3, of: white}", f"  again: {{{written}}}"))
    assert rule.sets["again"] == replace(PatchSet("again", ""), **expected)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("black", Over(("black",))),
        ("[black, grey]", Over(("black", "grey"))),
        ("{patches: grey, signal: [0.1, 0.9]}", Over(("grey",), signal=(0.1, 0.9))),
        ("{patches: [grey], target: [0, 1]}", Over(("grey",), target=(0.0, 1.0))),
        ("{patches: edges, position: corners}",
         Over(("edges",), position=("top-left", "top-right", "bottom-left", "bottom-right"))),
        ("{patches: edges, position: [left, sides]}", Over(("edges",), position=("left", "right"))),
        ("{patches: white, window: 10}", Over(("white",), window=(10.0,))),
        ("{patches: white, window: [4, 10]}", Over(("white",), window=(4.0, 10.0))),
        ("{patches: white, seconds: 60}", Over(("white",), seconds=(60.0,))),
        ("{patches: white, seconds: [0, 60]}", Over(("white",), seconds=(0.0, 60.0))),
        ("{patches: black, pattern: checkerboard}", Over(("black",), pattern="checkerboard")),
        ("{patches: primaries, only: red}", Over(("primaries",), only=("red",))),
        ("{patches: primaries, except: [red, blue]}",
         Over(("primaries",), exclude=("red", "blue"))),
    ],
)  # fmt: skip
def test_over(tmp_path: Path, written: str, expected: Over) -> None:
    rule = loaded(tmp_path, ("over: black", f"over: {written}"))
    assert found(rule, "black-level").over == expected


def test_a_quantity_with_roles_of_its_own_needs_no_patches(tmp_path: Path) -> None:
    assert found(loaded(tmp_path), "contrast").over is None
    rule = loaded(tmp_path, ("quantity: contrast,", "quantity: contrast, over: {window: 10},"))
    assert found(rule, "contrast").over == Over((), window=(10.0,))


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("max: 0.05", Limits(maximum=0.05)),
        ("min: 0", Limits(minimum=0.0)),
        ("min: 1, max: 2, exclusive: true", Limits(1.0, 2.0, exclusive=True)),
        ("min: 2, max: 2", Limits(2.0, 2.0)),
        ("nominal: 2.4, within: 0.1", Limits(2.3, 2.5, 2.4)),
        ("nominal: 21.2, within_percent: 5", Limits(20.14, 22.26, 21.2)),
        ("nominal: .5, within: 1e-1", Limits(0.4, 0.6, 0.5)),
    ],
)
def test_limits(tmp_path: Path, written: str, expected: Limits) -> None:
    rule = loaded(tmp_path, ("{max: 0.05}", f"{{{written}}}"))
    assert found(rule, "black-level").limits == expected


def test_limits_about_zero_of_a_box_by_band_and_by_patch(tmp_path: Path) -> None:
    rule = loaded(tmp_path)
    assert found(rule, "white-chromaticity").limits == Limits(box=(0.002, 0.002))
    assert found(rule, "tracking").bands == (
        Band(10.0, Limits(-10.0, 10.0)),
        Band(None, Limits(-5.0, 5.0)),
    )
    by_patch = found(rule, "primary-level").by_patch
    assert list(by_patch) == ["red", "green", "blue"]
    assert by_patch["green"] == Limits(67.925, 75.075, 71.5)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("statistic: mean", {"statistic": "mean"}),
        ("statistic: {percentile: 95}", {"statistic": "percentile", "percentile": 95.0}),
        ("statistic: spread", {"statistic": "spread"}),
        ("statistic: pairwise", {"statistic": "pairwise"}),
        ("unit: cd/m2", {}),
        ("unit: cd/m²", {}),
        ("displays: projector", {"displays": "projector"}),
        ("title: 'Black, cd/m²'", {"title": "Black, cd/m²"}),
        ("level: should, basis: house, clause: 3.4",
         {"level": Level.SHOULD, "basis": "house", "clause": "3.4"}),
    ],
)  # fmt: skip
def test_the_rest_of_a_requirement(
    tmp_path: Path, written: str, expected: dict[str, object]
) -> None:
    before = found(loaded(tmp_path), "black-level")
    rule = loaded(tmp_path, ("over: black,", f"over: black, {written},"))
    assert found(rule, "black-level") == replace(before, **expected)  # type: ignore[arg-type]


def test_options_of_a_quantity(tmp_path: Path) -> None:
    tracking = ("bands: [{upto", "above_black: true\n    floor: 0.01\n    bands: [{upto")
    found_tracking = found(loaded(tmp_path, tracking), "tracking")
    assert (found_tracking.above_black, found_tracking.floor) == (True, 0.01)
    itp = ("quantity: delta-uv-star", "quantity: delta-e-2000\n    ignore: luminance")
    assert found(loaded(tmp_path, itp), "grey-balance").ignore_luminance
    assert found(loaded(tmp_path), "surround").field == "surround"
    assert found(loaded(tmp_path), "dimming").declaration == "local-dimming-off"


def test_a_mean_needs_no_bands_and_a_sole_one_is_open(tmp_path: Path) -> None:
    rule = loaded(tmp_path, ("[{upto: 10, within: 10}, {within: 5}]", "[{within: 5}]"))
    assert found(rule, "tracking").bands == (Band(None, Limits(-5.0, 5.0)),)


def test_defaults_stand_in_the_resolved_requirements(tmp_path: Path) -> None:
    rule = loaded(tmp_path)
    entries = {entry["id"]: entry for entry in rule.resolved["requirements"]}
    assert "defaults" not in rule.resolved
    assert entries["black-level"]["clause"] == "EBU Tech 3320 v4.1"
    assert (entries["contrast"]["level"], entries["contrast"]["basis"]) == ("should", "digest")


def test_nothing_but_the_files_own_words_is_resolved(tmp_path: Path) -> None:
    """No default of the schema is added, so that a digest outlives a change of defaults."""
    rule = loaded(tmp_path, ("window: 100\n", ""))
    assert "window" not in rule.resolved
    assert rule.resolved["target"] == {
        "primaries": "bt709",
        "white": "d65",
        "transfer": {"curve": "bt1886"},
        "luminance": {"white": 100},
    }
    entry = rule.resolved["requirements"][0]
    assert entry == {
        "id": "black-level",
        "level": "shall",
        "basis": "digest",
        "clause": "EBU Tech 3320 v4.1",
        "quantity": "luminance",
        "over": "black",
        "limits": {"max": 0.05},
    }


def test_lists_are_inlined_in_their_order(tmp_path: Path) -> None:
    entry = next(e for e in loaded(tmp_path).resolved["patches"] if e["set"] == "steps")
    assert entry["list"] == {
        "encoding": "rgb-10-full",
        "clause": "of our own",
        "patches": [
            {"name": "step-1", "codes": [102, 102, 102]},
            {"name": "step-2", "codes": [205, 205, 205]},
        ],
    }


def test_words_of_yaml_that_look_like_other_things_stay_words(tmp_path: Path) -> None:
    rule = loaded(tmp_path, ("title: SDR broadcast master, HD", "title: 1:30"))
    assert rule.title == "1:30"
    assert loaded(tmp_path, ("title: SDR broadcast master, HD", "title: no")).title == "no"
    assert loaded(tmp_path, ("title: SDR broadcast master, HD", "title: 0100")).title == "0100"


def test_a_folded_text_is_one_line(tmp_path: Path) -> None:
    folded = "title: >\n  SDR broadcast\n  master\n\n  HD\n"
    assert (
        loaded(tmp_path, ("title: SDR broadcast master, HD\n", folded)).title
        == "SDR broadcast master HD"
    )
