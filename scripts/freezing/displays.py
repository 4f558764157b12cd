"""Readings of invented displays for a rule, as CSV; made with the helpers of the tests."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from importlib import import_module
from typing import Any

import numpy as np

__all__ = ["bad", "good", "spectral", "with_deviations", "without_some", "worse"]

Row = dict[str, str]
PEAKS = (455.0, 535.0, 615.0)
WIDTH = 18.0
"""nm, of the invented display's three lights"""
WAVELENGTHS = np.arange(380.0, 781.0, 5.0)


def good(rule: Any, seed: int, encoding: str | None = None) -> str:
    """Readings of a display that is well calibrated for the rule."""
    model, simulated, displays = (
        import_module(name)
        for name in ("compliance.model", "helpers.simulated", "helpers.good_displays")
    )
    random = np.random.RandomState(seed)
    stated = model.ENCODINGS[encoding] if encoding else rule.encoding
    settings = displays.good_settings(rule, random)
    fault = displays.good_fault(rule, random)
    shown = simulated.ideal(rule, encoding=stated, fault=fault, **settings)
    return rounded(simulated.csv(shown, stated).decode())


def bad(rule: Any, seed: int) -> str:
    """Readings of a display with one of the faults that the diagnosis knows."""
    return _faulty(rule, seed, SINGLE[seed % len(SINGLE)])


def worse(rule: Any, seed: int) -> str:
    """Readings of a display with two of these faults."""
    return _faulty(rule, seed, DOUBLE[seed % len(DOUBLE)])


def _faulty(rule: Any, seed: int, faults: Callable[[Any, Any], list[Any]]) -> str:
    helper = import_module("helpers.faulty_displays")
    made = faults(helper, rule)
    windows = (1, 10, 25, 100) if any(one.cause == "limiter" for one in made) else ()
    read = helper.readings(rule, made, np.random.RandomState(seed), windows)
    return rounded(read.data.decode())


def _other_primaries(helper: Any, rule: Any) -> Any:
    return helper.primaries("p3" if rule.target.primaries_name == "bt709" else "bt709")


def _other_curve(helper: Any, rule: Any) -> Any:
    """Another exponent; for PQ on X, Y and Z, which has none, one wrong channel."""
    if rule.encoding.kind == "xyz" and rule.target.curve == "pq":
        return helper.gained(1, 0.8)
    return helper.power(1.8 if rule.target.curve == "srgb" else 2.2)


SINGLE: tuple[Callable[[Any, Any], list[Any]], ...] = (
    lambda f, rule: [_other_curve(f, rule)],
    lambda f, rule: [f.gained(0, 0.9)],
    lambda f, rule: [f.white("warm", (0.325, 0.345))],
    lambda f, rule: [_other_primaries(f, rule)],
    lambda f, rule: [f.clipped(0.85)],
    lambda f, rule: [f.crushed(0.06)],
    lambda f, rule: [f.lit_room(0.3)],
    lambda f, rule: [f.drifting(0.12)],
    lambda f, rule: [f.limited(0.3 * rule.target.luminance_peak)],
    lambda f, rule: [f.lifted(0.03)],
    lambda f, rule: [f.shifted(2, 0.03)],
    lambda f, rule: [f.swapped(1, 0, 2)],
    lambda f, rule: [f.bent(0.6, 0.4)],
    lambda f, rule: [f.squeezed()],
    lambda f, rule: [f.stretched()],
    lambda f, rule: [f.capped(0.7)],
)
DOUBLE: tuple[Callable[[Any, Any], list[Any]], ...] = (
    lambda f, rule: [f.gained(2, 0.85), f.lifted(0.03)],
    lambda f, rule: [f.white("cold", (0.298, 0.315)), f.clipped(0.8)],
    lambda f, rule: [_other_primaries(f, rule), f.sunk(0.03)],
    lambda f, rule: [_other_curve(f, rule), f.white("warm", (0.33, 0.345))],
    lambda f, rule: [f.drifting(0.08), f.gained(1, 0.92)],
)


def rounded(text: str) -> str:
    """Every measured value to six digits, as meters give them."""

    def change(row: Row) -> None:
        row.update({name: f"{float(row[name]):.6g}" for name in ("X", "Y", "Z")})

    return _changed(text, change)


def with_deviations(text: str) -> str:
    """With a column of standard deviations, and every fifth row twice."""
    rows = _rows(text)
    doubled = [row for at, row in enumerate(rows) for _ in range(2 if at % 5 == 0 else 1)]
    for at, row in enumerate(doubled):
        row_deviation = f"{0.1 + 0.05 * (at % 4):.2f}" if at % 3 else ""
        doubled[at] = {**row, "sd": row_deviation}
    return _text(doubled)


def without_some(text: str) -> str:
    """Without a fifth of the rows, and the end."""
    rows = _rows(text)
    return _text([row for at, row in enumerate(rows[: 4 * len(rows) // 5]) if at % 5 != 3])


def spectral(text: str) -> str:
    """Spectral radiance of three lights, close to the measured values."""
    weights = import_module("compliance.readings.spectral_integration").weights(tuple(WAVELENGTHS))
    lights = np.exp(-(((WAVELENGTHS[:, None] - PEAKS) / WIDTH) ** 2) / 2)
    into = np.linalg.inv(lights.T @ weights)
    made = []
    for row in _rows(text):
        xyz = np.array([float(row.pop(name)) for name in ("X", "Y", "Z")])
        radiance = np.maximum(xyz @ into, 0) @ lights.T
        spectrum = {
            f"{at:g}": f"{value:.5e}" for at, value in zip(WAVELENGTHS, radiance, strict=True)
        }
        made.append({**row, "unit": "W/(sr·m²·nm)", **spectrum})
    return _text(made)


def _rows(text: str) -> list[Row]:
    return list(csv.DictReader(io.StringIO(text)))


def _changed(text: str, change: Callable[[Row], None]) -> str:
    rows = _rows(text)
    for row in rows:
        change(row)
    return _text(rows)


def _text(rows: list[Row]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
