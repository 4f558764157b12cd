"""Invented pictures of a display, better or worse."""

from __future__ import annotations

import math

import numpy as np

from compliance.pictures.data import (
    Charts,
    ColourPoint,
    DifferencePoint,
    Differences,
    GreyPoint,
    LevelPoint,
)


def outline(
    centre: tuple[float, float], wide: float, high: float
) -> tuple[tuple[float, float], ...]:
    """An ellipse around `centre`."""
    turns = (2 * math.pi * step / 24 for step in range(24))
    return tuple((centre[0] + wide * math.cos(a), centre[1] + high * math.sin(a)) for a in turns)


def _grey_bars(levels: list[LevelPoint], error: float, sure: float | None) -> Differences:
    """Bars of greys from the measured white; the darker, the less certain."""
    bars = []
    for step, level in enumerate(levels[:-1]):
        value = error * (0.3 + 0.2 * math.sin(step))
        reach = None if sure is None else value + 0.1 * sure * (1.2 - step / 20)
        bars.append(DifferencePoint(level.name, value, 1.0, reach))
    return Differences("greys", "Δu*v*", tuple(bars), from_white=True)


def charts(error: float = 1.0, seed: int = 1, *, sure: float | None = None) -> Charts:
    """Pictures of a display that is off by `error`, 1 being well within the limits.

    `sure` is the guard band in % of the target, and ten times the white's 95 % ellipse in
    thousandths of u'v'; None without uncertainty.
    """
    rng = np.random.default_rng(seed)
    levels = []
    band = 0.0 if sure is None else sure / 100
    for step in range(1, 21):
        target = 100 * (step / 20) ** 2.4
        off = error * (2.2 * math.sin(step / 2.3) + rng.normal(0, 0.5)) / 100
        share = 0.05 if target > 10 else 0.10 if target >= 1 else 0.20
        levels.append(
            LevelPoint(
                f"grey {5 * step} %",
                target,
                target * (1 + off),
                target * (1 - share),
                target * (1 + share),
                *(
                    ()
                    if sure is None
                    else (target * (1 - share + band), target * (1 + share - band))
                ),
            )
        )
    triangle = ((0.4507, 0.5229), (0.1250, 0.5625), (0.1754, 0.1579))
    shift = 0.003 * error
    seen = tuple((u - shift, v - shift / 2) for u, v in triangle)
    white = (0.1978, 0.4683)
    measured = (white[0] + 0.0009 * error, white[1] - 0.0006 * error)
    colours, differences = [], []
    for hue in ("red", "green", "blue", "cyan", "magenta", "yellow"):
        for step in (25, 50, 75, 100):
            value = abs(rng.normal(1.0, 0.5)) * error
            differences.append(DifferencePoint(f"{hue} {step} %", value, 3.0))
    for hue, (u, v) in zip(("red", "green", "blue"), triangle, strict=True):
        for share in (0.25, 0.5, 0.75, 1.0):
            at = (white[0] + (u - white[0]) * share, white[1] + (v - white[1]) * share)
            colours.append(
                ColourPoint(
                    f"{hue} {share}", at, (at[0] - shift * share, at[1] - shift * share / 2)
                )
            )
    greys = tuple(
        GreyPoint(level.target, error * rng.normal(0, 0.0004), error * rng.normal(0, 0.0005))
        for level in levels
    )
    return Charts(
        levels=tuple(levels),
        target_triangle=triangle,
        measured_triangle=seen,  # type: ignore[arg-type]
        target_white=white,
        measured_white=measured,
        colours=tuple(colours),
        differences=(
            _grey_bars(levels, error, sure),
            Differences("colours", "ΔE 2000", tuple(differences)),
        ),
        greys=greys,
        white_ellipse=() if sure is None else outline(measured, sure / 1e3, sure / 1.5e3),
        white_limit=outline(white, 0.0031, 0.0031),
    )
