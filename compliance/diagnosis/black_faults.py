"""Blacks that are cut off or begin too low, and blacks raised by light or by the drive."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.diagnosis.cause_text import (
    FitContext,
    cause,
    number,
    percent,
    plain_cause,
    target_level,
    too_bright,
)
from compliance.diagnosis.faulty_display import Display, has_swapped_channels, simulate
from compliance.diagnosis.fitting import Array, Option
from compliance.diagnosis.inputs import Facts
from compliance.model import Cause

# ------------------------------------------------------------ cut off, or too low

SLACK = 0.003
"""Of the signal, by which a level is fitted."""
AS_BLACK = 1.25
"""Times the black reading, and"""
DARK = 0.003
"""cd/m² more, that a grey may read and still be called black."""


def black_options(facts: Facts) -> Iterator[Option]:
    """Blacks that begin above a level, of the signal or of the display's own drive: what is below
    is cut off, or the whole signal is lowered by it."""

    def low(value: Array, display: Display) -> bool:
        return bool(simulate(display, facts).black[0] <= facts.darkest)

    def cut_off(value: Array, display: Display) -> bool:
        black = (
            has_swapped_channels(display)
            or _black_grey(float(value[0]), display, facts) is not None
        )
        return low(value, display) and black

    sunk = np.linspace(0.02, 0.25, 24)[:, None]
    yield Option("blacks", "sunk", _sunk, sunk, (0.01,), 0.1, low)
    dark = np.linspace(0.03, 0.4, 38)[:, None]
    if facts.model.kind == "rgb":
        yield Option("blacks", "signal", _floored, dark, (0.01,), 0.03, cut_off)
    if not np.allclose(facts.model.from_signal, facts.model.from_target):
        yield Option("blacks", "drive", _crushed, dark, (0.01,), 0.03, cut_off)


def _sunk(display: Display, values: Array) -> Display:
    return display._replace(sunk=values[:, 0])


def _floored(display: Display, values: Array) -> Display:
    return display._replace(floor=values[:, 0])


def _crushed(display: Display, values: Array) -> Display:
    return display._replace(crush=values[:, 0])


def _black_grey(level: float, display: Display, facts: Facts) -> Array | None:
    """(2,) level and luminance of the brightest grey up to a level, as the display takes it, that
    reads as black with all below it; None where there is none."""
    upto = float(display.low[0] + level * (display.high[0] - display.low[0]))
    below = facts.greys[(facts.greys[:, 0] > 0) & (facts.greys[:, 0] <= upto + SLACK)]
    lit = below[:, 1] > AS_BLACK * facts.black[1] + DARK
    black = below[: int(np.argmax(lit)) if lit.any() else len(below)]
    return np.asarray(black[-1]) if len(black) else None


def describe_blacks(told: FitContext) -> Cause:
    level = float(told.value[0])
    black = _black_grey(level, told.display, told.facts)
    if black is None:
        return _tell_lowered(told, level)
    upto, read = (float(value) for value in black)
    at = target_level(upto, told.facts)
    text = f"Everything up to there, where the target is {number(at)}\u00a0cd/m², shows as black"
    if told.variant == "sunk":
        text += ", and what is above begins from there: the black level is set too low"
    return cause(
        told,
        f"Blacks are crushed up to {percent(upto)} of the signal",
        f"{text}.",
        RAISE,
        ("signal up to which", 100 * upto, "%"),
        ("target there", at, "cd/m²"),
        ("reading there", read, "cd/m²"),
    )


def _tell_lowered(told: FitContext, by: float) -> Cause:
    """A signal that is lowered by less than the lowest grey that was read."""
    greys = told.facts.greys
    level, read = (float(value) for value in greys[np.argmax(greys[:, 0] > by)])
    return cause(
        told,
        "The black level is set too low",
        f"The greys fit a signal that is lowered by {percent(by)} in the dark; the one at "
        f"{percent(level)} reads {number(read)}\u00a0cd/m².",
        RAISE,
        ("signal lowered by", 100 * by, "%"),
        ("lowest grey above it", 100 * level, "%"),
        ("reading there", read, "cd/m²"),
    )


RAISE = (
    "Raise the display's black level or brightness until the darkest steps differ, check the "
    "range of the signal, and switch off dynamic contrast and local dimming."
)

# ------------------------------------------------------------ raised

ADDED = 0.5
"""Share of the black from which it is told as light added."""
APART = 0.3
"""Share by which black must be made up otherwise than the rule has it."""


def raised_options(facts: Facts) -> Iterator[Option]:
    """Black that is made up of light added and light of the drive otherwise than the rule has it,
    or that is too bright."""
    if facts.black[1] <= 0:
        return
    own = 0.0 if facts.model.lift or facts.model.blackless else 1.0

    def tells(value: Array, display: Display) -> bool:
        return facts.black[1] > facts.darkest or abs(float(value[0]) - own) >= APART

    for variant, least, most, price in (("added", ADDED, 1.0, 0.08), ("driven", 0.0, ADDED, 0.14)):
        shares = np.linspace(least, most, 4)[:, None]
        yield Option("raised-black", variant, _made_up, shares, (0.15,), price, tells)


def _made_up(display: Display, values: Array) -> Display:
    return display._replace(veil=np.clip(values[:, 0], 0.0, 1.0))


def describe_raised(told: FitContext) -> Cause:
    facts = told.facts
    black = float(facts.black[1])
    evidence = [("black as read", black, "cd/m²")]
    if np.isfinite(facts.darkest):
        evidence.append(("black that the rule admits", facts.darkest, "cd/m²"))
    if told.variant == "driven":
        return cause(
            told,
            "The black level is set too high",
            f"Black reads {number(black)}\u00a0cd/m², and the dark greys fit a drive that is "
            "raised by as much.",
            "Lower the display's black level or brightness until black is within its limit and "
            "the darkest steps still differ, check the range of the signal, and calibrate again.",
            *evidence,
        )
    added = min(float(told.value[0]), 1.0) * black
    text = (
        f"Every level fits its own light and {number(added)}\u00a0cd/m² beside it, of the "
        f"{number(black)}\u00a0cd/m² that black reads."
    )
    if black <= facts.darkest:
        text += (
            " Black itself is within its limit: a black level set a little too low shows much "
            "the same."
        )
    return cause(
        told,
        "Light is added in the dark",
        text,
        "Darken the room and shield the screen, read black with the meter covered to see what the "
        "meter itself adds, then lower the panel's own black (backlight, black level) and "
        "calibrate again.",
        ("light added", added, "cd/m²"),
        *evidence,
    )


def describe_black(black: float, most: float) -> Cause:
    """Black that is read above what the rule admits, both in cd/m²."""
    return plain_cause(
        "raised-black",
        f"Black is {too_bright(black, most)}",
        f"Black reads {number(black)}\u00a0cd/m², where at most {number(most)}\u00a0cd/m² belong. "
        "Nothing else explains it, and the dark greys do not tell light that is added from a black "
        "level set too high.",
        "Darken the room and read black with the meter covered to see what the meter itself adds; "
        "then lower the display's black level, or its backlight, and calibrate again.",
        ("black as read", black, "cd/m²"),
        ("black that the rule admits", most, "cd/m²"),
    )
