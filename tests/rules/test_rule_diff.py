"""What a change of a rule is called: held to brute force over what each side accepts."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pytest
from helpers.budget import LONG
from helpers.sample_text import RULE, edited, rule_folder
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.errors import RuleError
from compliance.grading.patches import Plan
from compliance.model import ENCODINGS, POSITIONS, Band, Level, Limits, Over, PatchSet, Requirement
from compliance.rules import git_history
from compliance.rules.compare import Difference, difference, requirement_details
from compliance.rules.compare_parts import (
    Extent,
    Kind,
    combine,
    limits_kind,
    over_extent,
    set_extent,
)
from compliance.rules.library import load_rule

BUDGET = settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

MIRROR = {
    Kind.SAME: Kind.SAME,
    Kind.REWORDED: Kind.REWORDED,
    Kind.TIGHTENED: Kind.LOOSENED,
    Kind.LOOSENED: Kind.TIGHTENED,
    Kind.CHANGED: Kind.CHANGED,
    Kind.ADDED: Kind.WITHDRAWN,
    Kind.WITHDRAWN: Kind.ADDED,
}

PLAIN = Requirement(
    id="a",
    title="A",
    quantity="luminance-error",
    level=Level.SHALL,
    basis="house",
    clause=None,
    over=Over(("grey",)),
    limits=Limits(-5, 5),
)


# ---------------------------------------------------------------- limits, bands, by_patch, boxes

ENDS = st.integers(-3, 3)


@st.composite
def limits(draw: st.DrawFn) -> Limits:
    low, high = sorted((draw(ENDS), draw(ENDS)))
    exclusive = draw(st.booleans()) and low < high
    sides = draw(st.sampled_from(["both", "min", "max"]))
    return Limits(
        float(low) if sides != "max" else None,
        float(high) if sides != "min" else None,
        exclusive=exclusive,
    )


@st.composite
def limited(draw: st.DrawFn) -> Requirement:
    form = draw(st.sampled_from(["limits", "bands", "by_patch"]))
    if form == "limits":
        return replace(PLAIN, limits=draw(limits()))
    if form == "by_patch":
        found = {name: draw(limits()) for name in ("red", "green")}
        return replace(PLAIN, limits=None, by_patch=found)
    edges = sorted(draw(st.sets(st.integers(1, 3), max_size=2)))
    bands = [Band(float(edge), draw(limits())) for edge in edges]
    return replace(PLAIN, limits=None, bands=(*bands, Band(None, draw(limits()))))


VALUES = [number / 2 for number in range(-8, 9)]
LEVELS = [0.5, 1, 1.5, 2, 2.5, 3, 3.5]
PLACES = list(itertools.product(LEVELS, ("red", "green"), VALUES))
"""Nominal target, name of a patch, value: every place where an answer can turn."""


def within(value: float, one: Limits) -> bool:
    low, high = one.minimum, one.maximum
    if one.exclusive and value in (low, high):
        return False
    return (low is None or low <= value) and (high is None or value <= high)


def accepts(requirement: Requirement, level: float, name: str, value: float) -> bool:
    if requirement.limits is not None:
        return within(value, requirement.limits)
    if requirement.by_patch:
        return within(value, requirement.by_patch[name])
    reached = (b for b in requirement.bands if b.upto is None or level <= b.upto)
    return within(value, next(reached).limits)


def by_force(new: Requirement, old: Requirement) -> tuple[bool, bool]:
    """Whether the new accepts something more, and something less."""
    pairs = [(accepts(new, *place), accepts(old, *place)) for place in PLACES]
    return any(a and not b for a, b in pairs), any(b and not a for a, b in pairs)


@BUDGET
@given(new=limited(), old=limited())
def test_limits_are_called_what_they_do(new: Requirement, old: Requirement) -> None:
    kind, back = limits_kind(new, old), limits_kind(old, new)
    more, less = by_force(new, old)
    assert back is MIRROR[kind]
    expected = {
        (False, False): (Kind.SAME, Kind.REWORDED),
        (False, True): (Kind.TIGHTENED,),
        (True, False): (Kind.LOOSENED,),
        (True, True): (Kind.CHANGED,),
    }[more, less]
    of_two_forms = bool(new.by_patch) != bool(old.by_patch)
    if of_two_forms and kind is Kind.CHANGED:
        return  # patches have no known level: only what holds at every one is proved
    assert kind in expected


@BUDGET
@given(st.lists(st.integers(1, 4), min_size=4, max_size=4), st.booleans(), st.booleans())
def test_boxes_are_called_what_they_do(half: list[int], open_new: bool, open_old: bool) -> None:
    new = replace(PLAIN, limits=Limits(box=(half[0], half[1]), exclusive=open_new))
    old = replace(PLAIN, limits=Limits(box=(half[2], half[3]), exclusive=open_old))

    def inside(x: float, y: float, one: Limits) -> bool:
        assert one.box is not None
        dx, dy = one.box
        return (abs(x) < dx and abs(y) < dy) if one.exclusive else (abs(x) <= dx and abs(y) <= dy)

    points = itertools.product(VALUES, VALUES)
    assert new.limits is not None
    assert old.limits is not None
    answers = [(inside(*p, new.limits), inside(*p, old.limits)) for p in points]
    more, less = any(a and not b for a, b in answers), any(b and not a for a, b in answers)
    kind = limits_kind(new, old)
    assert (more, less) == {
        Kind.SAME: (False, False),
        Kind.TIGHTENED: (False, True),
        Kind.LOOSENED: (True, False),
        Kind.CHANGED: (True, True),
    }[kind]


def test_another_nominal_in_the_same_interval_is_a_word() -> None:
    old = replace(PLAIN, limits=Limits(95, 105))
    assert limits_kind(replace(PLAIN, limits=Limits(95, 105, nominal=100)), old) is Kind.REWORDED


def test_patches_that_lost_their_limits_are_a_loosening() -> None:
    old = replace(PLAIN, limits=None, by_patch={"red": Limits(-1, 1), "blue": Limits(-1, 1)})
    assert limits_kind(replace(old, by_patch={"red": Limits(-1, 1)}), old) is Kind.LOOSENED
    assert limits_kind(old, replace(old, by_patch={"red": Limits(-1, 1)})) is Kind.TIGHTENED
    assert limits_kind(replace(old, by_patch={"red": Limits(-0.5, 0.5)}), old) is Kind.CHANGED


# ---------------------------------------------------------------- sets


@st.composite
def patch_sets(draw: st.DrawFn) -> PatchSet:
    kind = draw(st.sampled_from(["hues", "saturations", "list", "positions", "windows", "repeats"]))
    window = draw(st.sampled_from([None, None, 10.0]))

    def some(names: tuple[object, ...]) -> tuple[object, ...]:
        return tuple(sorted(draw(st.sets(st.sampled_from(names), min_size=1)), key=str))

    if kind in ("hues", "saturations"):
        steps = draw(st.sampled_from([1, 2, 4])) if kind == "saturations" else None
        hues = some(("red", "green", "cyan"))
        return PatchSet("a", kind, steps=steps, hues=hues, window=window)  # type: ignore[arg-type]
    if kind == "list":
        codes = {"x": (100, 100, 100), "y": (500, 400, 300), "z": (940, 64, 64)}
        listed = tuple((str(name), codes[str(name)]) for name in some(tuple(codes)))
        encoding = ENCODINGS["rgb-10-narrow"]
        return PatchSet("a", kind, patches=listed, encoding=encoding, window=window)
    if kind == "positions":
        return PatchSet("a", kind, positions=some(POSITIONS[:3]), of="white", window=window)  # type: ignore[arg-type]
    if kind == "windows":
        return PatchSet("a", kind, windows=some((1.0, 4.0, 10.0)), of="white")  # type: ignore[arg-type]
    return PatchSet("a", kind, repeats=draw(st.integers(2, 4)), of="white", window=window)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    rule = load_rule(rule_folder(tmp_path_factory.mktemp("plan")) / "sdr.yaml")
    return Plan(rule, rule.encoding)


def shown(plan: Plan, patch_set: PatchSet) -> set[object]:
    """What a set asks to see, one entry per reading."""
    return {
        (patch.signal, patch.position, patch.window, patch.pattern, number)
        for patch in plan.expanded(patch_set)
        for number in range(patch.count)
    }


@BUDGET
@given(new=patch_sets(), old=patch_sets())
def test_sets_are_called_what_they_ask_for(plan: Plan, new: PatchSet, old: PatchSet) -> None:
    mine, theirs = shown(plan, new), shown(plan, old)
    extent = set_extent(new, old)
    if extent is Extent.OTHER and new.kind != old.kind:
        return  # red as a hue and as a saturation: not looked for
    if mine == theirs:
        assert extent is Extent.SAME
    elif mine < theirs:
        assert extent is Extent.FEWER
    elif mine > theirs:
        assert extent is Extent.MORE
    else:
        assert extent is Extent.OTHER


RAMPS = [
    ((21, None), (11, None), Extent.FEWER),
    ((21, None), (20, None), Extent.FEWER),
    ((11, None), (21, None), Extent.MORE),
    ((20, None), (21, None), Extent.OTHER),
    ((11, None), (30, None), Extent.MORE),
    ((21, None), (21, (0.0, 1.0)), Extent.SAME),
    ((21, None), (11, (0.0, 0.5)), Extent.FEWER),
    ((11, None), (21, (0.1, 0.5)), Extent.OTHER),
    ((11, (0.0, 0.5)), (21, None), Extent.MORE),
    ((11, (0.0, 0.5)), (41, None), Extent.MORE),
    ((11, (0.0, 0.5)), (11, None), Extent.OTHER),
    ((11, (0.0, 0.5)), (11, (0.1, 0.6)), Extent.OTHER),
]


@pytest.mark.parametrize(("old", "new", "extent"), RAMPS)
def test_ramps(
    old: tuple[int, tuple[float, float] | None],
    new: tuple[int, tuple[float, float] | None],
    extent: Extent,
) -> None:
    ramps = [PatchSet("grey", "ramp", steps=steps, signal=signal) for steps, signal in (new, old)]
    assert set_extent(*ramps) is extent


@st.composite
def overs(draw: st.DrawFn) -> Over:
    names = ("primaries", "steps", "edges", "sizes", "white")
    sets = draw(st.sets(st.sampled_from(names), min_size=1, max_size=2))

    def maybe(strategy: st.SearchStrategy[object]) -> object:
        return draw(strategy) if draw(st.integers(0, 3)) == 0 else None

    ends = st.tuples(st.sampled_from([0.0, 1.0, 20.0]), st.sampled_from([50.0, 80.0, 100.0]))
    share = st.tuples(st.sampled_from([0.0, 0.15]), st.sampled_from([0.5, 1.0]))
    places = st.sets(st.sampled_from(["centre", "left", "right"]), min_size=1)
    sizes = st.sets(st.sampled_from([1.0, 4.0]), min_size=1)
    position, window = maybe(places), maybe(sizes)
    return Over(
        patches=tuple(sorted(sets)),
        target=maybe(ends),  # type: ignore[arg-type]
        signal=maybe(share),  # type: ignore[arg-type]
        position=tuple(sorted(position)) if position else None,  # type: ignore[call-overload]
        window=tuple(sorted(window)) if window else None,  # type: ignore[call-overload]
        seconds=maybe(st.just((60.0,))),  # type: ignore[arg-type]
        exclude=("blue",) if draw(st.integers(0, 4)) == 0 else (),
    )


@BUDGET
@given(new=overs(), old=overs())
def test_over_takes_what_it_is_said_to_take(plan: Plan, new: Over, old: Over) -> None:
    def asked(over: Over) -> set[object]:
        return {
            (patch.signal, patch.position, patch.window, patch.pattern, patch.seconds)
            for name in over.patches
            for patch in plan.asked(name, over)
        }

    mine, theirs = asked(new), asked(old)
    extent = over_extent(new, old, plan.rule.sets, plan.rule.sets)
    if extent is Extent.SAME:
        assert mine == theirs
    elif extent is Extent.FEWER:
        assert mine <= theirs
    elif extent is Extent.MORE:
        assert mine >= theirs


# ---------------------------------------------------------------- whole rules, edited

T, L, C, R, A, W = (
    Kind.TIGHTENED,
    Kind.LOOSENED,
    Kind.CHANGED,
    Kind.REWORDED,
    Kind.ADDED,
    Kind.WITHDRAWN,
)
MORE_WHITE = "  white-low: {quantity: luminance, over: white, limits: {min: 80}}\n"

EDITS: list[tuple[str, str, str, Kind]] = [
    ("title: SDR broadcast master, HD", "title: Ours", "title", R),
    ("{days: 30}", "{days: 20}", "valid_for", T),
    ("{days: 30}", "{days: 31}", "valid_for", L),
    ("valid_for: {days: 30}\n", "", "valid_for", L),
    ("acceptance: simple", "acceptance: guarded", "decision", T),
    ("confidence: 0.95", "confidence: 0.9", "decision", L),
    ("confidence: 0.95", "confidence: 0.99", "decision", T),
    ("{acceptance: simple, confidence: 0.95}", "{acceptance: guarded, confidence: 0.9}",
     "decision", C),
    ("{acceptance: simple, confidence: 0.95}", "{}", "decision", R),
    ("window: 100", "window: 50", "window", C),
    ("white: d65", "white: d55", "target", C),
    ("white: d65", "white: [0.3127, 0.3290]", "target", R),
    ("{curve: bt1886}", "{curve: power, exponent: 2.4}", "target", C),
    ("luminance: {white: 100}", "luminance: {white: 101}", "target", C),
    ("rgb-10-narrow", "rgb-10-full", "signal", C),
    # levels, limits
    ("limits: {max: 0.05}}", "limits: {max: 0.05}, level: should}", "requirements.black-level", L),
    ("{min: 1000}, level: should", "{min: 1000}", "requirements.contrast", T),
    ("max: 0.05", "max: 0.04", "requirements.black-level", T),
    ("max: 0.05", "max: 0.06", "requirements.black-level", L),
    ("max: 0.05", "min: 0.05", "requirements.black-level", C),
    ("max: 0.05", "max: 0.05, exclusive: true", "requirements.black-level", T),
    ("max: 0.05", "min: 0.01, max: 0.05", "requirements.black-level", T),
    ("max: 0.05", "min: 0.01, max: 0.06", "requirements.black-level", C),
    ("box: [0.002, 0.002]", "box: [0.002, 0.001]", "requirements.white-chromaticity", T),
    ("box: [0.002, 0.002]", "box: [0.003, 0.002]", "requirements.white-chromaticity", L),
    ("box: [0.002, 0.002]", "box: [0.003, 0.001]", "requirements.white-chromaticity", C),
    ("{upto: 10, within: 10}", "{upto: 10, within: 9}", "requirements.tracking", T),
    ("{upto: 10, within: 10}", "{upto: 12, within: 10}", "requirements.tracking", L),
    ("{upto: 10, within: 10}", "{upto: 12, within: 9}", "requirements.tracking", C),
    ("bands: [{upto: 10, within: 10}, {within: 5}]", "limits: {within: 5}",
     "requirements.tracking", T),
    ("red: {nominal: 21.2, within_percent: 5}", "red: {nominal: 21.2, within_percent: 4}",
     "requirements.primary-level", T),
    ("red: {nominal: 21.2, within_percent: 5}", "red: {nominal: 21, within_percent: 5}",
     "requirements.primary-level", C),
    ("nominal: 10, within: 2", "min: 8, max: 12", "requirements.surround", R),
    # which patches
    ("ramp: neutral, steps: 21", "ramp: neutral, steps: 41", "requirements.tracking", T),
    ("ramp: neutral, steps: 21", "ramp: neutral, steps: 11", "requirements.tracking", L),
    ("ramp: neutral, steps: 21", "ramp: neutral, steps: 11", "requirements.grey-balance", L),
    ("ramp: neutral, steps: 21", "ramp: neutral, steps: 22", "requirements.tracking", C),
    ("[grey, steps]", "[grey]", "requirements.tracking", L),
    ("[grey, steps]", "[steps, grey]", "requirements.tracking", R),
    ("[grey, steps], target: [1, 100]", "[grey, steps]", "requirements.tracking", T),
    ("{patches: grey, target: [1, 100]}", "{patches: grey, target: [2, 90]}",
     "requirements.grey-balance", L),
    ("{patches: grey, target: [1, 100]}", "{patches: grey, target: [2, 101]}",
     "requirements.grey-balance", C),
    ("over: primaries\n    by_patch:\n      red: {nominal: 21.2, within_percent: 5}\n",
     "over: {patches: primaries, except: red}\n    by_patch:\n", "requirements.primary-level", L),
    ("over: black", "over: white", "requirements.black-level", C),
    ("steps: {list: patches/steps.yaml}", "steps: {list: patches/steps.yaml, window: 10}",
     "requirements.tracking", C),
    ("edges: {positions: [sides, corners], of: white}", "edges: {positions: sides, of: white}",
     "patches.edges", R),
    # how
    ("reference: white\n", "reference: target\n", "requirements.grey-balance", C),
    ("    reference: white\n    limits: {max: 1}", "    reference: white\n    statistic: mean\n"
     "    limits: {max: 1}", "requirements.grey-balance", L),
    ("quantity: contrast", "quantity: checkerboard-contrast", "requirements.contrast", C),
    ("field: surround", "field: ambient", "requirements.surround", C),
    ("over: black, limits", "over: black, displays: projector, limits",
     "requirements.black-level", L),
    # words
    ("over: black,", "over: black, title: Dark,", "requirements.black-level", R),
    ("over: black,", "over: black, clause: 7.1,", "requirements.black-level", R),
    ("over: black,", "over: black, basis: memory,", "requirements.black-level", R),
    ("over: black,", "over: black, unit: cd/m2,", "requirements.black-level", R),
    ("over: black,", "over: {patches: black},", "requirements.black-level", R),
    # coming and going
    ("requirements:\n", "requirements:\n" + MORE_WHITE, "requirements.white-low", A),
    ("  contrast: {quantity: contrast, limits: {min: 1000}, level: should}\n", "",
     "requirements.contrast", W),
]  # fmt: skip


@pytest.fixture(autouse=True)
def without_git(monkeypatch: pytest.MonkeyPatch) -> None:
    """git is not asked, for speed."""
    monkeypatch.setattr(git_history, "_ask", lambda *_: None)


def compared(folder: Path, old: str, new: str) -> Difference:
    rules = []
    for name, text in (("old", old), ("new", new)):
        rules.append(load_rule(rule_folder(folder / name, sdr=text) / "sdr.yaml"))
    return difference(*rules)


def kinds(found: Difference) -> dict[str, Kind]:
    return {row.subject: row.kind for row in found.rows}


@pytest.mark.parametrize(("old", "new", "subject", "kind"), EDITS)
def test_every_kind_of_change(tmp_path: Path, old: str, new: str, subject: str, kind: Kind) -> None:
    found = compared(tmp_path, RULE, edited(RULE, old, new))
    assert kinds(found)[subject] is kind
    assert all(name == subject or "steps: 21" in old for name in kinds(found))
    assert found.harmless is (kind in (T, R, A))
    assert found.same_revision
    if "steps: 22" not in new:  # fewer steps are a loosening, more are not always provable
        back = kinds(compared(tmp_path, edited(RULE, old, new), RULE))
        assert back[subject] is MIRROR[kind]


def test_no_change_is_no_row(tmp_path: Path) -> None:
    found = compared(tmp_path, RULE, RULE + "# a comment\n")
    assert (found.rows, found.kind, found.harmless) == ((), Kind.SAME, True)


def test_another_order_is_a_word(tmp_path: Path) -> None:
    line = "  contrast: {quantity: contrast, limits: {min: 1000}, level: should}\n"
    moved = edited(edited(RULE, line, ""), "requirements:\n", "requirements:\n" + line)
    assert kinds(compared(tmp_path, RULE, moved)) == {"requirements": R}


@settings(BUDGET, max_examples=120)
@given(data=st.data())
def test_several_changes_at_once(tmp_path: Path, data: st.DataObject) -> None:
    chosen = data.draw(st.lists(st.sampled_from(range(len(EDITS))), min_size=2, max_size=5))
    text, expected = RULE, {}
    for number in dict.fromkeys(chosen):
        old, new, subject, kind = EDITS[number]
        touched = subject in expected or "steps: 21" in old or subject == "patches.edges"
        if text.count(old) != 1 or touched or RULE.count(old) != 1:
            continue
        text = text.replace(old, new)
        expected[subject] = kind
    found = compared(tmp_path, RULE, text)
    assert kinds(found) == expected
    weighed = {A: T, W: L}
    assert found.kind is combine(weighed.get(kind, kind) for kind in expected.values())
    assert found.harmless is all(kind in (T, R, A) for kind in expected.values())


@settings(BUDGET, max_examples=1000 if LONG else 80)
@given(places=st.lists(st.integers(0, len(RULE) - 1), min_size=1, max_size=3), data=st.data())
def test_there_is_a_row_exactly_where_there_is_a_difference(
    tmp_path: Path, places: list[int], data: st.DataObject
) -> None:
    text = RULE
    for place in places:
        if text[place].isdigit():
            text = text[:place] + data.draw(st.sampled_from("0123456789")) + text[place + 1 :]
    old = load_rule(rule_folder(tmp_path / "old") / "sdr.yaml")
    rule_folder(tmp_path / "new", sdr=text)
    try:
        new = load_rule(tmp_path / "new" / "sdr.yaml")
    except RuleError:
        return
    for found in (difference(old, new), difference(new, old)):
        assert bool(found.rows) is (old.digest != new.digest) or old.revision != new.revision


HEAD = "rule: house\nextends: sdr@1\ntitle: Ours\nrevision: 1\n"

BOX = "limits: {box: [0.002, 0.002]}"
BANDS = "bands: [{upto: 10, within: 10}, {within: 5}]"

HOUSE_EDITS = [
    # what a house rule says, and the same in the parent's own text: what stood there, what does
    ("valid_for: {days: N}", "valid_for: {days: 30}", "valid_for: {days: N}"),
    ("decision: {confidence: 0.9N}", "confidence: 0.95", "confidence: 0.9N"),
    ("patches: {grey: {ramp: neutral, steps: N}}", "steps: 21", "steps: N"),
    ("requirements: {black-level: {limits: {max: 0.0N}}}", "max: 0.05", "max: 0.0N"),
    ("requirements: {black-level: {limits: {min: 0.00N, max: 0.05}}}", "max: 0.05",
     "min: 0.00N, max: 0.05"),
    ("requirements: {tracking: {bands: [{upto: N, within: 10}, {within: 5}]}}", BANDS,
     "bands: [{upto: N, within: 10}, {within: 5}]"),
    ("requirements: {tracking: {bands: [{upto: 10, within: N}, {within: 5}]}}", BANDS,
     "bands: [{upto: 10, within: N}, {within: 5}]"),
    ("requirements: {grey-balance: {over: {patches: grey, target: [1, N]}}}",
     "{patches: grey, target: [1, 100]}", "{patches: grey, target: [1, N]}"),
    ("requirements: {contrast: {limits: {min: N00}, level: shall}}",
     "limits: {min: 1000}, level: should", "limits: {min: N00}"),
    ("requirements: {white-chromaticity: {limits: {box: [0.002, 0.00N]}}}", BOX,
     "limits: {box: [0.002, 0.00N]}"),
]  # fmt: skip


@settings(BUDGET, max_examples=1000 if LONG else 60)
@given(edit=st.sampled_from(HOUSE_EDITS), number=st.integers(5, 120))
def test_a_house_rule_explains_what_the_comparison_does_not_call_harmless(
    tmp_path: Path, edit: tuple[str, str, str], number: int
) -> None:
    body, old, new = (part.replace("N", str(number)) for part in edit)
    alone = edited(edited(RULE, "rule: sdr\n", "rule: alone\n"), old, new)
    rule_folder(tmp_path, house=f"{HEAD}{body}\n", alone=alone)
    parent = load_rule(tmp_path / "sdr.yaml")
    try:
        load_rule(tmp_path / "house.yaml")
        silent = True
    except RuleError as error:
        assert all("not provably tighter" in one.message for one in error.problems)
        silent = False
    assert difference(parent, load_rule(tmp_path / "alone.yaml")).harmless is silent


def test_a_stated_reason_stands_with_its_row(tmp_path: Path) -> None:
    body = (
        "requirements:\n  black-level: {limits: {max: 0.06}, "
        "change: {reason: r, agreed_by: a, date: 2026-11-02}}\n"
    )
    rule_folder(tmp_path, house=HEAD + body)
    found = difference(load_rule(tmp_path / "sdr.yaml"), load_rule(tmp_path / "house.yaml"))
    (row,) = [row for row in found.rows if row.subject == "requirements.black-level"]
    assert row.kind is Kind.LOOSENED
    assert row.stated is not None
    assert row.stated.reason == "r"
    assert not found.same_revision


# ---------------------------------------------------------------- more is not always harder


@pytest.mark.parametrize(
    ("fields", "more"),
    [
        ({"statistic": "each"}, T),
        ({"statistic": "mean"}, C),
        ({"statistic": "percentile", "percentile": 95.0}, C),
        ({"statistic": "spread", "limits": Limits(maximum=5.0)}, T),
        ({"statistic": "spread", "limits": Limits(minimum=5.0)}, C),
        ({"quantity": "delta-e-2000", "statistic": "pairwise", "limits": Limits(maximum=5.0)}, T),
        ({"quantity": "non-uniformity", "limits": Limits(maximum=5.0)}, T),
        ({"quantity": "stability", "limits": Limits(maximum=5.0)}, T),
        ({"quantity": "monotonicity", "limits": Limits(minimum=0.0, exclusive=True)}, T),
        ({"quantity": "monotonicity", "limits": Limits(minimum=-1.0)}, C),
        ({"quantity": "slope-monotonicity", "limits": Limits(minimum=0.0)}, T),
        ({"quantity": "slope-monotonicity", "limits": Limits(minimum=0.1)}, C),
        ({"quantity": "fitted-exponent", "limits": Limits(2.3, 2.5)}, C),
        ({"quantity": "clipping-level", "limits": Limits(minimum=900.0)}, C),
    ],
)
def test_more_patches(fields: dict[str, object], more: Kind) -> None:
    one = replace(PLAIN, **fields)  # type: ignore[arg-type]
    few, many = ({"grey": PatchSet("grey", "ramp", steps=steps)} for steps in (11, 21))
    (detail,) = requirement_details(one, one, many, few)
    assert (detail.key, detail.kind) == ("patches.grey", more)
    (detail,) = requirement_details(one, one, few, many)
    assert detail.kind is MIRROR[more]


@pytest.mark.parametrize(
    ("old", "new", "kind"),
    [
        ({"statistic": "each"}, {"statistic": "mean"}, L),
        ({"statistic": "mean"}, {"statistic": "each"}, T),
        ({"statistic": "each", "limits": Limits(-1, 5)}, {"statistic": "mean"}, C),
        ({"percentile": 95.0}, {"percentile": 90.0}, L),
        ({"percentile": 90.0}, {"percentile": 95.0}, T),
        ({"percentile": 90.0}, {"statistic": "mean"}, C),
        ({"statistic": "each"}, {"statistic": "spread"}, C),
        ({"floor": 1.0}, {"floor": 2.0}, L),
        ({"floor": 2.0}, {"floor": 1.0}, T),
        ({}, {"floor": 1.0}, C),
        ({"displays": "projector"}, {}, T),
        ({"displays": "projector"}, {"displays": "direct-view"}, C),
        ({}, {"above_black": True}, C),
    ],
)
def test_other_keys(old: dict[str, object], new: dict[str, object], kind: Kind) -> None:
    def made(fields: dict[str, object]) -> Requirement:
        if "percentile" in fields:
            fields = {"statistic": "percentile", **fields}
        shared = {"limits": old["limits"]} if "limits" in old else {}
        return replace(PLAIN, **{**shared, **fields})  # type: ignore[arg-type]

    sets = {"grey": PatchSet("grey", "ramp", steps=11)}
    found = requirement_details(made(new), made(old), sets, sets)
    assert combine(detail.kind for detail in found) is kind


def test_coverage_goes_by_the_hues_it_takes(tmp_path: Path) -> None:
    text = edited(
        RULE,
        "requirements:\n",
        "requirements:\n  coverage: {quantity: gamut-coverage, limits: {min: 97}}\n",
    )
    other = edited(text, "hues: [red, green, blue]", "hues: [red, green, blue], neutral: 50")
    assert kinds(compared(tmp_path, text, other))["requirements.coverage"] is C
    named = edited(text, "quantity: gamut-coverage,", "quantity: gamut-coverage, over: primaries,")
    assert kinds(compared(tmp_path, text, named)) == {"requirements.coverage": R}
    cyan = edited(text, "hues: [red, green, blue]", "hues: [red, green, blue, cyan]")
    cyan = edited(
        cyan, "      red: {nominal", "      cyan: {nominal: 80, within: 1}\n      red: {nominal"
    )
    assert kinds(compared(tmp_path, text, cyan)) == {
        "requirements.primary-level": T,
        "requirements.coverage": R,
    }
