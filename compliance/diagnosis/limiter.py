"""A limiter that no reading at another window shows: white has less light than its primaries."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from compliance.diagnosis.causes import FitContext, fitted_cause, number
from compliance.diagnosis.faulty_display import Display
from compliance.diagnosis.fitting import Array, Option
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause
from compliance.targets import target_linear

EXCESS = 0.05
"""Share by which red, green and blue together must be brighter than white: more than a meter's
error of their sum (practice)."""
NEARLY = 0.8
"""Share of white's drive that red, green and blue must have to be held against it."""
CAPS = np.arange(0.2, 1.0, 0.04)
"""Shares of white's power at which a limiter begins."""
EVEN = (0.0, 0.5, 1.0)
"""Shares of the power that do not depend on the channel: a backlight is dimmed by luminance,
emitting pixels by their current."""


def limiter_options(inputs: Inputs) -> Iterator[Option]:
    """A limiter of the screen's power, where white has less light than its primaries together."""
    excess = excess_of_primaries(inputs)
    if excess is None or excess < EXCESS:
        return
    grid = np.array(list(product(CAPS, EVEN)))
    yield Option("limiter", "power", "", _limited, grid, (0.04, 0.5), 0.05)


def _limited(display: Display, values: Array) -> Display:
    return display._replace(
        power_cap=np.clip(values[:, 0], 0.01, None), even_power=np.clip(values[:, 1], 0.0, 1.0)
    )


def excess_of_primaries(inputs: Inputs) -> float | None:
    """Luminance of red, green and blue together over that of the brightest grey with the same
    drive, less 1, without black; None if they were not measured near full drive."""
    if np.any(inputs.hues < 0):
        return None
    drive = target_linear(inputs.signal, inputs.model)
    greys = np.flatnonzero(inputs.neutral)
    top = int(greys[np.argmax(drive[greys].max(axis=1))])
    own = drive[inputs.hues, np.arange(3)] / drive[top].max()
    if own.min() < NEARLY:
        return None
    light = (inputs.xyz[inputs.hues, 1] - inputs.black[1]) / own
    white = float(inputs.xyz[top, 1] - inputs.black[1])
    return float(light.sum()) / white - 1 if white > 0 else None


def power_limiter_cause(fit: FitContext) -> Cause:
    excess = excess_of_primaries(fit.inputs)
    assert excess is not None
    white = fit.inputs.white
    evidence = (number("white", white, "cd/m²"), number("primaries-over-white", 100 * excess, "%"))
    return fitted_cause(
        fit,
        {"white": white, "excess": excess, "window": fit.inputs.window},
        evidence,
        variant="power",
    )
