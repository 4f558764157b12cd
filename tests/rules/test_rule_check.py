"""Complaints about rules: each seeded mistake with its line, none about the library."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers.budget import LONG
from helpers.rule_mistakes import EXTENDED, LISTS, SENSE, STRUCTURE
from helpers.sample_text import HOUSE, RULE, STEPS, edited, rule_folder, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.rules import git_history
from compliance.rules.library import shipped_folder
from compliance.rules.lint import check_file

SPECS = sorted(shipped_folder().glob("*.yaml"))
PATCHES = sorted((shipped_folder() / "patches").glob("*.yaml"))

PQ = """\
rule: pq
title: HDR
revision: 1
target:
  primaries: p3
  white: d65
  transfer: {curve: pq}
  luminance: {white: 100, peak: 1000}
  container: bt2020
signal: {encoding: rgb-10-full}
window: 10
patches:
  grey: {ramp: neutral, steps: 31, signal: [0, 0.75]}
  primaries: {hues: [red, green, blue], neutral: 100}
  listed: {list: patches/steps.yaml}
requirements:
  peak-level: {quantity: luminance, over: peak, limits: {min: 950, max: 1100}}
  tracking:
    quantity: luminance-error
    over: {patches: grey, target: [0.05, 900]}
    bands: [{upto: 1.04, within: 15}, {within: 7}]
  primaries: {quantity: chromaticity-difference, over: primaries, limits: {max: 0.008}}
  listed: {quantity: luminance-error, over: listed, limits: {within: 9}}
"""

TRACK = "requirements.tracking"
BANDS = "bands: [{upto: 10, within: 10}, {within: 5}]"

MISTAKES = [
    # where limits come from
    ("basis: digest, clause: EBU Tech 3320 v4.1}", "basis: memory}",
     "sdr.yaml:22: requirements.black-level.clause: missing; the basis memory names a document, "
     'e.g. clause: "EBU Tech 3320 v4.1, 1.5.2"'),
    # what the ideal display does
    ("limits: {max: 110}", "limits: {max: 90}", "sdr.yaml:26: requirements.white-level.limits: "
     "exclude 100, the value of the target's white; no display on the target can meet them"),
    ("    limits: {max: 1}\n", "    limits: {min: 1}\n", "sdr.yaml:32: "
     "requirements.grey-balance.limits: exclude 0, the value of an ideal display; no display on "
     "the target can meet them"),
    (BANDS, "bands: [{upto: 10.2, within: 10}, {min: 1, max: 5}]", "sdr.yaml:36: "
     f"{TRACK}.bands[1]: exclude 0, the value of an ideal display; no display on the target can "
     "meet them"),
    ("requirements:\n", "requirements:\n  gamma: {quantity: fitted-exponent, over: grey, limits: "
     "{nominal: 2.2, within: 0.1}}\n", "sdr.yaml:22: requirements.gamma.limits: exclude 2.4, the "
     "value of the target's curve; no display on the target can meet them"),
    ("requirements:\n", "requirements:\n  coverage: {quantity: gamut-coverage, limits: {max: 97}}"
     "\n", "sdr.yaml:22: requirements.coverage.limits: exclude 100, the value of the target's own "
     "gamut; no display on the target can meet them"),
    # sets and the signal
    ("steps: 21}", "steps: 1200}", "sdr.yaml:15: patches.grey.ramp: 'grey 0.0834 % and "
     "grey 0.1668 %' are the same code of rgb-10-narrow (877 different patches in "
     "all); expected fewer steps"),
    ("  white: d65\n", "  white: d65\n  container: {red: [0.6, 0.33], green: [0.3, 0.6], blue: "
     "[0.15, 0.06]}\n", "sdr.yaml:17: patches.primaries.hues: the signal cannot carry red, green, "
     "blue: outside the signal's primaries, and clipping would show another colour; check "
     "target.container"),
    # which patches
    ("{patches: grey, target: [1, 100]}", "{patches: grey, target: [200, 300]}", "sdr.yaml:30: "
     "requirements.grey-balance.over: leaves no patch of grey, so that nothing is judged"),
    ("{patches: grey, target: [1, 100]}", "{patches: grey, only: grey 51 %}", "sdr.yaml:30: "
     "requirements.grey-balance.over.only: 'grey 51 %' is not a patch of grey; did you mean "
     "'grey 5 %'?"),
    (f"over: {{patches: [grey, steps], target: [1, 100]}}\n    {BANDS}", "over: {patches: grey, "
     "target: [80, 100]}\n    by_patch: {grey 95 %: {within: 5}}", "sdr.yaml:36: "
     f"{TRACK}.by_patch: has no limits for grey 100 %"),
    ("[grey, steps], target: [1, 100]", "[grey, steps], target: [0, 0.05]", "sdr.yaml:35: "
     f"{TRACK}.over: all patches are below 0.1 cd/m², and luminance-error is not judged there; use "
     "a lower floor or other patches"),
    (BANDS, "bands: [{upto: 50.3, within: 10}, {within: 5}]", "sdr.yaml:36: "
     f"{TRACK}.bands[0].upto: grey 75 % is 50.14 cd/m² and, one code away, 49.95 or 50.32: "
     "rounding decides its band; move the edge away from 50.3"),
]  # fmt: skip

ABOVE = [
    ("signal: [0, 0.75]", "signal: [0, 0.8]"),
    ("target: [0.05, 900]", "target: [0.05, 2000]"),
]
"""Together they ask for more than the peak."""

IN_PQ = [
    ("min: 950, max: 1100", "min: 1050, max: 1100", "pq.yaml:17: requirements.peak-level.limits: "
     "exclude 1000, the value of the target's peak; no display on the target can meet them"),
    ("container: bt2020", "container: bt709", "pq.yaml:14: patches.primaries.hues: the signal "
     "cannot carry red, green: outside bt709, and clipping would show another colour; check "
     "target.container"),
    ("upto: 1.04", "upto: 1", "pq.yaml:21: requirements.tracking.bands[0].upto: grey 15 % is "
     "0.9925 cd/m² and, one code away, 0.9735 or 1.012: rounding decides its band; move the edge "
     "away from 1"),
]  # fmt: skip

IN_LISTS = [
    ("[102, 102, 102]", "[1000, 1000, 1000]", "pq.yaml:23: requirements.listed.over: step-1: above "
     "the target's peak, could never be judged"),
    ("[102, 102, 102]", "[0, 500, 0]", "pq.yaml:23: requirements.listed.over: step-1: outside "
     "the target's primaries, could never be judged"),
]  # fmt: skip


@pytest.fixture(autouse=True)
def without_git(monkeypatch: pytest.MonkeyPatch) -> None:
    """git is not asked, for speed."""
    monkeypatch.setattr(git_history, "_ask", lambda *_: None)


def complaints(folder: Path, name: str) -> list[str]:
    return [str(one).replace(f"{folder}/", "") for one in check_file(folder / name).problems]


@pytest.mark.parametrize("file", [*SPECS, *PATCHES], ids=lambda file: file.stem)
def test_the_library_is_in_order(file: Path) -> None:
    assert check_file(file) == ((), ())


def test_the_rule_itself_is_in_order(tmp_path: Path) -> None:
    rule_folder(tmp_path, house=HOUSE, pq=PQ)
    for name in ("sdr.yaml", "house.yaml", "pq.yaml", "patches/steps.yaml"):
        assert complaints(tmp_path, name) == []


@pytest.mark.parametrize(("old", "new", "message"), MISTAKES)
def test_each_mistake_of_sense(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path, sdr=edited(RULE, old, new))
    assert message in complaints(tmp_path, "sdr.yaml")


@pytest.mark.parametrize(("old", "new", "message"), IN_PQ)
def test_each_mistake_of_sense_in_pq(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path, pq=edited(PQ, old, new))
    assert complaints(tmp_path, "pq.yaml") == [message]


def test_patches_above_the_peak(tmp_path: Path) -> None:
    text = PQ
    for old, new in ABOVE:
        text = edited(text, old, new)
    rule_folder(tmp_path, pq=text)
    assert complaints(tmp_path, "pq.yaml") == [
        "pq.yaml:20: requirements.tracking.over: grey 77.33 %, grey 80 %: above the target's peak, "
        "could never be judged"
    ]


@pytest.mark.parametrize(("old", "new", "message"), IN_LISTS)
def test_each_mistake_of_sense_in_a_list(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path, pq=PQ)
    write(tmp_path, {"patches/steps.yaml": edited(STEPS, old, new)})
    assert complaints(tmp_path, "pq.yaml") == [message]


def test_codes_beyond_nominal_white(tmp_path: Path) -> None:
    text = edited(STEPS, "rgb-10-full", "rgb-10-narrow")
    rule_folder(tmp_path)
    write(tmp_path, {"patches/steps.yaml": edited(text, "[205, 205, 205]", "[1019, 1019, 1019]")})
    assert complaints(tmp_path, "sdr.yaml") == [
        "sdr.yaml:35: requirements.tracking.over: step-2: beyond nominal black or white, could "
        "never be judged"
    ]


def test_a_list_in_a_signal_that_the_curve_does_not_know(tmp_path: Path) -> None:
    rule_folder(tmp_path)
    write(tmp_path, {"patches/steps.yaml": edited(STEPS, "rgb-10-full", "xyz-12-full")})
    assert complaints(tmp_path, "sdr.yaml") == [
        "sdr.yaml:17: patches.steps.list: is a list in xyz-12-full, which does not go with the "
        "curve bt1886; expected codes of RGB, e.g. in rgb-10-narrow"
    ]


@pytest.mark.parametrize(("old", "new", "message"), STRUCTURE + SENSE)
def test_each_mistake_of_form(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path, sdr=edited(RULE, old, new))
    assert {*message.splitlines()} <= {*complaints(tmp_path, "sdr.yaml")}


@pytest.mark.parametrize(("old", "new", "message"), LISTS)
def test_each_mistake_in_a_list(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path)
    write(tmp_path, {"patches/steps.yaml": edited(STEPS, old, new)})
    assert complaints(tmp_path, "sdr.yaml") == [message]
    assert complaints(tmp_path, "patches/steps.yaml") in ([message], [])


@pytest.mark.parametrize(("old", "new", "message"), EXTENDED)
def test_each_mistake_of_a_house_rule(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path, house=edited(HOUSE, old, new))
    assert {*message.splitlines()} <= {*complaints(tmp_path, "house.yaml")}


def test_what_the_house_spoils_is_told_where_it_stands(tmp_path: Path) -> None:
    house = edited(
        HOUSE,
        "requirements:\n",
        "target: {luminance: {white: 200}}\n"
        "changes: {target: {reason: r, agreed_by: a, date: 2026-11-02}}\nrequirements:\n",
    )
    rule_folder(tmp_path, house=edited(house, "limits: {max: 120}", "limits: {max: 150}"))
    assert complaints(tmp_path, "house.yaml") == [
        "house.yaml:10: requirements.white-level.limits: exclude 200, the value of the target's "
        "white; no display on the target can meet them"
    ]


# ---------------------------------------------------------------- any character may be wrong

PIECES = st.one_of(
    st.sampled_from(list(" \n\t:,-?[]{}'\"\\#&*!|>%@`<=.0159eE+xyz/\r\0")), st.characters()
)
LIBRARY = [*SPECS, *PATCHES]


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of every shipped file under another id, so that none is shadowed."""
    folder = tmp_path_factory.mktemp("copied")
    for file in SPECS:
        text = file.read_text(encoding="utf-8").replace(
            f"rule: {file.stem}", f"rule: my-{file.stem}"
        )
        write(folder, {f"my-{file.name}": text})
    for file in PATCHES:
        write(folder, {f"patches/{file.name}": file.read_text(encoding="utf-8")})
    return folder


@settings(
    max_examples=2000 if LONG else 80,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_a_mutated_rule_of_the_library_is_told_or_taken(copied: Path, data: st.DataObject) -> None:
    file = copied / f"my-{data.draw(st.sampled_from(SPECS)).name}"
    text = file.read_text(encoding="utf-8")
    place = data.draw(st.integers(0, len(text) - 1), label="place")
    piece = data.draw(st.one_of(PIECES, st.just("")), label="put in")
    changed = text[:place] + piece + text[place + 1 :]
    file.write_bytes(changed.encode("utf-8", "surrogatepass"))
    try:
        assert all("\n" not in str(one) for one in check_file(file).problems)
    finally:
        file.write_text(text, encoding="utf-8")
