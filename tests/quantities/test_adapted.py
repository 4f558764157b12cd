"""A target that takes the white as measured, and one requirement that is absolute.

The displays are made here with colour-science's matrices and formulas, apart from the package.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from helpers import builders
from helpers.outside_tools import colour
from numpy.typing import NDArray

from compliance import load_rule
from compliance.errors import RuleError
from compliance.grading.grade import evaluate
from compliance.grading.match import match_readings
from compliance.model import ENCODINGS, Finding, Limits, Over, PatchSet, Requirement, Target

Array = NDArray[np.float64]
OFF_WHITE = (0.3150, 0.3320)
"""About .0016 in u'v' from D65."""
CODES = np.array(
    [[255, 255, 255], [0, 0, 0], [255, 0, 0], [0, 255, 0], [0, 0, 255], [200, 90, 40], [128] * 3]
)
NAMES = ("white", "black", "red", "green", "blue", "skin", "grey")
COLOURS = PatchSet(
    "colours",
    "list",
    patches=tuple(
        (name, (int(r), int(g), int(b))) for name, (r, g, b) in zip(NAMES, CODES, strict=True)
    ),
    encoding=ENCODINGS["rgb-8-full"],
)


def shown(target: Target, white: tuple[float, float], level: float, black: float) -> Array:
    """XYZ of a display with the target's primaries, gamma 2.2 above a black of its white's
    colour, and a white of its own."""
    signal = CODES / 255.0
    inside = np.linalg.inv(
        colour.normalised_primary_matrix(np.array(target.primaries), np.array(target.white))
    )
    container = colour.normalised_primary_matrix(np.array(target.container), np.array(target.white))
    drive = (signal**2.2) @ (inside @ container).T
    lit = drive @ colour.normalised_primary_matrix(np.array(target.primaries), np.array(white)).T
    leak = colour.xyY_to_XYZ([*white, 1.0])
    return np.asarray(black * leak + (level - black) * lit)


def graded(target: Target, asked: Requirement, xyz: Array) -> Finding:
    rule = builders.rule(target, asked, sets=(COLOURS,))
    return evaluate(asked, match_readings(rule, builders.readings(CODES, xyz)))


def asked(quantity: str, **changes: object) -> Requirement:
    return builders.requirement(quantity, Over(("colours",)), floor=0.1, **changes)


POWER = builders.target("power", exponent=2.2)
WIDE = builders.target("power", exponent=2.2, primaries=builders.P3, container=builders.BT2020)


@pytest.mark.parametrize("target", [POWER, WIDE], ids=["own signal", "wider signal"])
@pytest.mark.parametrize(
    "quantity", ["chromaticity-difference", "delta-e-2000", "delta-e-uv", "delta-e-itp"]
)
def test_an_error_of_the_white_alone_is_no_error_of_an_adapted_target(
    target: Target, quantity: str
) -> None:
    xyz = shown(target, OFF_WHITE, 103.0, 0.05)
    adapted = graded(target, asked(quantity, reference="adapted"), xyz)
    plain = graded(target, asked(quantity), xyz)
    assert max(point.value for point in adapted.points) < 2e-6 * (1 + 700 * ("itp" in quantity))
    assert max(point.value for point in plain.points) > 0.001


def test_what_is_left_is_the_colour_difference_to_the_rebuilt_target() -> None:
    seen = shown(POWER, OFF_WHITE, 103.0, 0.05) * [1.02, 0.99, 1.01]
    # The white is off by the same factors: the target is rebuilt with what was read.
    white = seen[0]
    found = graded(POWER, asked("delta-e-2000", reference="adapted"), seen)
    ideal = shown(POWER, tuple(colour.XYZ_to_xy(white)), white[1], seen[1, 1])
    lab = [colour.XYZ_to_Lab(each / white[1], colour.XYZ_to_xy(white)) for each in (seen, ideal)]
    expected = colour.difference.delta_E_CIE2000(*lab)
    by_name = {point.name: point.value for point in found.points}
    for name, value in zip(NAMES, expected, strict=True):
        if name in by_name:
            assert by_name[name] == pytest.approx(value, abs=2e-4), name
    assert by_name["red"] > 0.1


def test_one_requirement_may_be_absolute() -> None:
    xyz = shown(POWER, POWER.white, 97.0, 0.0)
    for scale, error in ((None, 0.0), ("relative", 0.0), ("absolute", -3.0)):
        wanted = builders.requirement(
            "luminance-error",
            Over(("colours",), only=("grey", "white")),
            limits=Limits(minimum=-2.0, maximum=2.0),
            scale=scale,
        )
        found = graded(POWER, wanted, xyz)
        grey = next(point for point in found.points if point.name == "grey")
        assert grey.value == pytest.approx(error, abs=1e-9)
        white = next(point for point in found.points if point.name == "white")
        assert (white.verdict is None) == (scale != "absolute"), "the anchor counts if absolute"


RULE = """\
rule: tiny
title: A tiny rule
revision: 1
target:
  primaries: bt709
  white: d65
  transfer: {curve: %s}
  luminance: {white: 100}
signal: {encoding: rgb-8-full}
patches:
  primaries: {hues: [red, green, blue]}
requirements:
  white:
    quantity: chromaticity-difference
    over: white
    level: %s
    limits: {max: 0.003}
  colours:
    quantity: chromaticity-difference
    over: primaries
    reference: adapted
    limits: {max: 0.008}
"""


@pytest.mark.parametrize(
    ("curve", "level", "words"),
    [
        ("bt1886", "should", "no shall of the rule judges its chromaticity"),
        ("pq", "shall", "'adapted' is not for pq"),
    ],
)
def test_adapted_needs_a_white_that_is_judged(
    tmp_path: Path, curve: str, level: str, words: str
) -> None:
    file = tmp_path / "tiny.yaml"
    file.write_text(RULE % (curve, level), encoding="utf-8")
    with pytest.raises(RuleError, match=words):
        load_rule(file)
    file.write_text(RULE % ("bt1886", "shall"), encoding="utf-8")
    assert load_rule(file).requirements[1].reference == "adapted"
