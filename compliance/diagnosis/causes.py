"""A cause's facts, and how well the readings fit with and without it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from compliance.diagnosis.faulty_display import Display
from compliance.diagnosis.fitting import Array, Chosen
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause, Evidence, Facts, Fit, Statement, Texts
from compliance.targets import nominal_xyz

ERROR = 4
"""Decimals of ΔE ITP; the remainder of an exact fit differs from machine to machine."""
MUCH = 4.0
"""Mean ΔE ITP above that of any good display."""


class FitContext(NamedTuple):
    """A chosen option among the others."""

    chosen: Chosen
    inputs: Inputs
    display: Display
    """With all chosen options."""
    without: Display
    """With all of them except this one."""
    error: float
    """Mean ΔE ITP between the display and the readings."""
    error_without: float

    @property
    def variant(self) -> str:
        return self.chosen.option.variant

    @property
    def subject(self) -> str:
        return self.chosen.option.subject

    @property
    def value(self) -> Array:
        return self.chosen.value


def fitted_cause(
    fit: FitContext, facts: Facts, evidence: tuple[Evidence, ...] = (), *, variant: str = ""
) -> Cause:
    """A cause, with its fit if it brings the light nearer to the readings."""
    better = fit.error_without - fit.error
    kind = fit.chosen.option.cause
    if better <= 0:
        return Cause(kind, facts, variant, evidence=evidence)
    error = rounded_error(fit.error)
    return Cause(
        kind,
        facts,
        variant,
        share=rounded(100 * better / fit.error_without, 2),
        evidence=(
            *evidence,
            number("error", error, "ΔE ITP"),
            number("error-without", fit.error_without, "ΔE ITP"),
        ),
        fit=Fit(error, fit.error_without, poor=fit.error > MUCH),
    )


def rounded_error(error: float) -> float:
    """A mean ΔE ITP, the same on every machine."""
    return round(error, ERROR)


NAMED = ("channel", "primaries", "white", "curve", "deliverable", "moved")
"""Facts in which causes of one kind and variant are different ones."""


def is_alike(cause: Cause, other: Cause) -> bool:
    """Whether two causes differ in numbers alone."""
    assert not isinstance(cause.facts, Texts) and not isinstance(other.facts, Texts)
    same = (cause.kind, cause.variant) == (other.kind, other.variant)
    return same and all(cause.facts.get(name) == other.facts.get(name) for name in NAMED)


def statement_of(cause: Cause) -> Statement:
    """A cause without its numbers."""
    return Statement(cause.kind, cause.facts, cause.variant)


def number(kind: str, value: float, unit: str, facts: Facts | None = None) -> Evidence:
    """A number, rounded so that it is the same on every machine; an int (a count or a code) is
    not rounded."""
    exact = float(value) if isinstance(value, int) else rounded(value)
    return Evidence(kind, exact, unit, facts or {})


def rounded(value: float, digits: int = 4) -> float:
    """The value rounded to significant digits."""
    return float(f"{value:.{digits}g}")


def target_level(signal: float, inputs: Inputs) -> float:
    """cd/m² of the rule's target for a neutral signal, with black as 0."""
    return float(target_levels(np.array([signal]), inputs)[0])


def target_levels(signals: Array, inputs: Inputs) -> Array:
    """(K,) the same of neutral signals (K,)."""
    model = inputs.model
    full = np.ones(3) if model.kind == "rgb" else np.array([0.926, 0.967, 0.95])
    shown = nominal_xyz(signals[:, None] * full, model._replace(black_luminance=np.nan))
    return np.asarray(shown[:, 1])
