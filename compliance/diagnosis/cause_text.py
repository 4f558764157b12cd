"""How a cause is told: the context that each family's words are made from."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from compliance.diagnosis.faulty_display import Display
from compliance.diagnosis.fitting import Array, Chosen
from compliance.diagnosis.inputs import Facts
from compliance.model import Cause, Evidence
from compliance.report.numbers import format_plain
from compliance.targets import nominal_xyz

Number = tuple[str, float, str]
"""What a cause rests on: of what, how much, its unit."""

ERROR = 4
"""Decimals of ΔE ITP; what is left of an exact fit differs from machine to machine."""
MANY = 3.0
"""Times from which no per cent are told."""
MUCH = 4.0
"""Mean ΔE ITP that no good display leaves."""


class FitContext(NamedTuple):
    """A chosen option in its place among the others."""

    chosen: Chosen
    facts: Facts
    display: Display
    """With all that was chosen."""
    without: Display
    """With all of it but this."""
    error: float
    """Mean ΔE ITP between the display and the readings."""
    error_without: float

    @property
    def variant(self) -> str:
        return self.chosen.option.variant

    @property
    def value(self) -> Array:
        return self.chosen.value


def cause(told: FitContext, title: str, text: str, next_step: str, *evidence: Number) -> Cause:
    """A cause with how well it fits, where the light tells."""
    better = told.error_without - told.error
    numbers: list[Number] = list(evidence)
    if better > 0:
        text = f"{text} {mean_error(told)}"
        numbers.append(("mean difference with it", round(told.error, ERROR), "ΔE ITP"))
        numbers.append(("mean difference without it", told.error_without, "ΔE ITP"))
    share = rounded(100 * better / told.error_without, 2) if better > 0 else None
    return plain_cause(told.chosen.option.cause, title, text, next_step, *numbers, share=share)


def plain_cause(
    kind: str,
    title: str,
    text: str,
    next_step: str,
    *evidence: Number,
    share: float | None = None,
) -> Cause:
    """A cause with its numbers rounded, so that they are the same on every machine; what is a
    count or a code, an int, stays whole."""
    return Cause(
        kind=kind,
        title=title,
        text=text,
        next_step=next_step,
        share=share,
        evidence=tuple(
            Evidence(what, float(value) if isinstance(value, int) else rounded(value), unit)
            for what, value, unit in evidence
        ),
    )


def mean_error(told: FitContext) -> str:
    """How well the readings fit, in sentences."""
    left = " More than a good display's share is left unexplained." if told.error > MUCH else ""
    return (
        f"With it the readings differ from what is expected by ΔE ITP "
        f"{number(round(told.error, ERROR), 2)} on "
        f"average, without it by {number(told.error_without, 2)}.{left}"
    )


def rounded(value: float, digits: int = 4) -> float:
    """To significant digits."""
    return float(f"{value:.{digits}g}")


def number(value: float, digits: int = 3) -> str:
    """To significant digits, as print."""
    return format_plain(rounded(value, digits))


def percent(share: float, digits: int = 2) -> str:
    """A share as per cent."""
    return f"{number(100 * share, digits)}\u00a0%"


def too_bright(read: float, asked: float) -> str:
    """How a luminance differs from the one that it should be, as words after "is"."""
    if asked <= 0:
        return "brighter than none at all"
    if read >= MANY * asked:
        return f"{number(read / asked)} times as bright as it should be"
    share = read / asked - 1
    return f"{percent(abs(share))} too {'bright' if share > 0 else 'dark'}"


def target_level(signal: float, facts: Facts) -> float:
    """cd/m² that the rule's target asks of a neutral signal, black taken as 0."""
    model = facts.model
    full = np.ones(3) if model.kind == "rgb" else np.array([0.926, 0.967, 0.95])
    return float(nominal_xyz(signal * full[None], model._replace(black_luminance=np.nan))[0, 1])
