"""The cinema rules on the printed tables: each step at its luminance, and moved past its tolerance.

Steps and tolerances: DCI CTP 1.4, Table 7.5.11 (tables/sdr-cinema.csv); DCI HDR D-Cinema Addendum
1.2, Tables 6 to 9 (tables/pq.csv, tables/hdr-cinema-primaries.csv).
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from helpers import simulated
from helpers.shipped import black, edge_share, edges, finding, graded, ideal, outside, shipped_rule
from numpy.typing import NDArray

from compliance.colour import codes
from compliance.colour.spaces import xy_to_xyz
from compliance.grading.patches import PlannedPatch
from compliance.model import Assessment, Outcome, Rule

Array = NDArray[np.float64]

TABLES = Path(__file__).parent.parent / "tables"
STANDARD = ("cinema-review-room", "cinema-theatre", "cinema-p3d65", "cinema-p3-dci")
ABSOLUTE = ("cinema-review-room",)
"""Held to the printed luminances, as CTP 1.4, 7.5.11 is; in the others white scales the steps."""
HIGH = {"cinema-hdr-direct-view": (20, 5, 3), "cinema-hdr-projector": (20, 12, 6)}
"""Tolerances in % below .02, up to 1 and up to 299.6 cd/m²; Addendum 1.2, Table 6."""
SECOND_BAND = 0.0202
"""cd/m² of the darkest step of the second band: CTP 1.4, Table 7.5.28 b, step 5."""
WHITE = 3960
HDR_WHITE = 2546


def _table(name: str) -> list[dict[str, str]]:
    text = (TABLES / name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


STEPS = {int(row["code"]): float(row["tolerance"]) for row in _table("sdr-cinema.csv")}
PRINTED = {int(row["code"]): row["luminance"] for row in _table("pq.csv")}
PRIMARIES = {row["name"]: row for row in _table("hdr-cinema-primaries.csv")}


def _hdr_steps() -> dict[int, float]:
    """Y″ and nominal luminance of the two tables: every second code of three is a Y″."""
    printed = sorted(PRINTED)
    listed = (shipped_rule("cinema-hdr-projector").sets[name] for name in ("steps", "dark-steps"))
    ours = {triple[1]: triple for one in listed for _, triple in one.patches}
    assert sorted(code for triple in ours.values() for code in triple) == printed
    return {code: float(PRINTED[code]) for code in ours}


HDR_STEPS = _hdr_steps()


def _shown(rule: Rule, fault: simulated.Fault | None = None) -> Assessment:
    faults = [edges(edge_share(rule)), *([fault] if fault else [])]
    return graded(rule, ideal(rule, fault=simulated.in_turn(*faults)))


def _moved(rule: Rule, code: int, percent: float, below: Array) -> simulated.Fault:
    """One step's light above `below`, (3,) cd/m², moved by a percentage; white has other names."""
    (signal,) = (
        codes.decode(np.array(triple), own.bits, own.narrow)
        for named in (rule.sets["steps"], rule.sets["dark-steps"])
        for own in (named.encoding or rule.encoding,)
        for name, triple in named.patches
        if name == f"y-{code:04d}"
    )

    def fault(patch: PlannedPatch, xyz: Array) -> Array:
        near = np.allclose(patch.signal, signal, rtol=0, atol=0.4 / 2**rule.encoding.bits)
        here = near and patch.position == "centre" and patch.pattern != "checkerboard"
        return xyz + percent / 100 * (xyz - below) if here else xyz

    return fault


@pytest.mark.parametrize("name", [*STANDARD, *HIGH])
def test_the_table_s_codes_at_their_luminances_comply(name: str) -> None:
    assessment = _shown(shipped_rule(name))
    assert assessment.verdict is Outcome.COMPLIANT
    assert outside(assessment, None) == set()


@pytest.mark.parametrize("name", STANDARD)
@pytest.mark.parametrize(("code", "tolerance"), STEPS.items())
@pytest.mark.parametrize("sign", [1, -1])
def test_each_step_fails_a_hundredth_past_its_tolerance(
    name: str, code: int, tolerance: float, sign: int
) -> None:
    rule = shipped_rule(name)
    below = xy_to_xyz(np.array(rule.target.white), black(rule))
    steps = {"steps", "steps-darkest"}
    beyond = _shown(rule, _moved(rule, code, sign * (tolerance + 1), below))
    if code == WHITE and name not in ABSOLUTE:
        # The scaling white moves all others with it instead, and itself not at all.
        points = {point.name: point for point in finding(beyond, "steps").points}
        assert points[f"y-{WHITE}"].verdict is None
        return
    wrong = "steps" if code >= 383 else "steps-darkest"
    assert outside(beyond, None) & steps == {wrong}
    if sign > 0:
        within = _shown(rule, _moved(rule, code, tolerance - 0.5, below))
        assert not steps & outside(within, None)


@pytest.mark.parametrize("name", HIGH)
@pytest.mark.parametrize("code", HDR_STEPS)
@pytest.mark.parametrize("sign", [1, -1])
def test_each_high_range_step_fails_a_hundredth_past_its_tolerance(
    name: str, code: int, sign: int
) -> None:
    """Here white is a step as the others: PQ is absolute."""
    rule, level = shipped_rule(name), HDR_STEPS[code]
    dark, middle, bright = HIGH[name]
    # The printed .9999 stands for the document's 1.
    tolerance = dark if level < SECOND_BAND else middle if level < 1.001 else bright
    nothing = np.zeros(3)
    beyond = _shown(rule, _moved(rule, code, sign * (tolerance + 1), nothing))
    assert "tracking" in outside(beyond)
    points = {one.name: one for one in finding(beyond, "tracking").points}
    assert points[f"y-{code:04d}"].limits is not None
    assert points[f"y-{code:04d}"].limits.maximum == tolerance
    assert outside(beyond) == {"tracking"} | ({"white-level"} if code == HDR_WHITE else set())
    if sign > 0:
        assert outside(_shown(rule, _moved(rule, code, tolerance - 0.5, nothing))) == set()


@pytest.mark.parametrize("name", HIGH)
def test_high_range_targets_are_the_printed_luminances(name: str) -> None:
    """To half the last digit printed."""
    points = {point.name: point for point in finding(_shown(shipped_rule(name)), "tracking").points}
    for code in HDR_STEPS:
        text = PRINTED[code]
        digits = len(text.partition(".")[2])
        target = points[f"y-{code:04d}"].target
        assert target == pytest.approx(float(text), abs=0.5 * 10**-digits), code


@pytest.mark.parametrize("name", HIGH)
@pytest.mark.parametrize("hue", PRIMARIES)
def test_high_range_primaries(name: str, hue: str) -> None:
    """Codes of Table 9 at the luminances printed there, and 1 % past their tolerance."""
    rule, row = shipped_rule(name), PRIMARIES[hue]
    listed: Mapping[str, tuple[int, int, int]] = dict(rule.sets["colours"].patches)
    assert listed[hue] == (int(row["X"]), int(row["Y"]), int(row["Z"]))
    tolerance = HIGH[name][2]

    def scaled(percent: float) -> simulated.Fault:
        share = 1 + percent / 100
        return lambda patch, xyz: xyz * share if patch.name == hue else xyz

    exact = _shown(rule)
    values = {point.name: point.value for point in finding(exact, "primary-level").points}
    assert values[hue] == pytest.approx(float(row["luminance"]), abs=0.005)
    for sign in (1, -1):
        beyond = _shown(rule, scaled(sign * (tolerance + 1)))
        assert outside(beyond) == {"primary-level"}
        assert outside(_shown(rule, scaled(sign * (tolerance - 0.5)))) == set()
