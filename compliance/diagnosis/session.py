"""What happened in the session: a slot that was never loaded, a display still warming up."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.diagnosis.facts import Facts, itp
from compliance.diagnosis.fit import Array
from compliance.diagnosis.told import number, percent, plain_cause
from compliance.grading.case import Case
from compliance.model import Cause, Readings

__all__ = ["Drift", "Sameness", "find_drift", "find_unloaded", "tell_drift", "tell_unloaded"]

# ------------------------------------------------------------ before equals after

COMMON = 8
"""Readings alike in all but the time, without which two sessions are not compared."""
ALIKE, AT_MOST = 0.5, 1.5
"""ΔE ITP in the middle and of 19 of 20 that a meter's noise makes."""


class Sameness(NamedTuple):
    """How near the readings after calibration are to those before."""

    common: int
    middle: float
    """ΔE ITP"""
    most: float
    """ΔE ITP of 19 of 20"""
    same_file: bool


def find_unloaded(readings: Readings, before: Readings | None) -> Sameness | None:
    """Whether calibration changed nothing; None where it did, or nobody knows."""
    if before is None or before.encoding != readings.encoding:
        return None
    first, then = _means(before), _means(readings)
    common = sorted(first.keys() & then.keys())
    if len(common) < COMMON:
        return None
    one = np.array([first[key] for key in common])
    other = np.array([then[key] for key in common])
    away = np.sort(np.linalg.norm(itp(one) - itp(other), axis=-1))
    middle, most = float(np.median(away)), float(away[int(0.95 * (len(away) - 1))])
    if middle > ALIKE or most > AT_MOST:
        return None
    return Sameness(len(common), middle, most, readings.sha256 == before.sha256)


def _means(readings: Readings) -> dict[tuple[object, ...], Array]:
    """Mean XYZ by stimulus."""
    rows: dict[tuple[object, ...], list[Array]] = {}
    for row in range(len(readings)):
        key = (
            *(int(code) for code in readings.codes[row]),
            readings.position[row],
            str(float(readings.window[row])),
            readings.pattern[row],
            float(readings.seconds[row]),
        )
        rows.setdefault(key, []).append(readings.xyz[row])
    return {key: np.mean(found, axis=0) for key, found in rows.items()}


def tell_unloaded(found: Sameness) -> Cause:
    same = " Both files are the same, byte for byte." if found.same_file else ""
    return plain_cause(
        "unloaded",
        "Calibration changed nothing: the slot may never have been loaded",
        f"{found.common} patches read before and after calibration differ by ΔE ITP "
        f"{number(found.middle, 2)} in the middle, 19 of 20 by no more than "
        f"{number(found.most, 2)}: no more than two readings of the same state.{same}",
        "Load the calibration into this slot, see that the display shows this slot and "
        "that its table is active, check that the right files were named, and read again.",
        ("patches in common", found.common, "1"),
        ("median difference before and after", found.middle, "ΔE ITP"),
        ("95th percentile", found.most, "ΔE ITP"),
    )


# ------------------------------------------------------------ warm-up drift

LEAST = 0.01
"""Share of the light by which the session must begin and end apart."""
MOST = 0.5
"""The same beyond which it is something else: readings out of step, another slot."""
READ = 3
"""Readings of one stimulus over at least half of the session."""
BRIGHT = 1.0
"""cd/m²"""
PACES = (0.1, 0.2, 0.35, 0.6, 1.0, 1e3)
"""Time constants of the approach, as shares of the session; the last is a straight line."""
NOISE = 0.3
"""Share of the drift that the repeated readings may lie off it."""
BACK = 0.15
"""Share of the drift by which a reading may step back."""


class Drift(NamedTuple):
    """How the light of the same stimulus changed with the row."""

    change: float
    """Of the light over the session, a share of that at the start."""
    repeats: int
    """Readings of repeated stimuli."""
    off: float
    """Share that they lie off it."""
    shares: Array
    """(R,) light at each reading, in canonical order, as a share of the middle of the session"""
    ripple: Array
    """(P,) of the facts: the same for each patch"""


def find_drift(case: Case, facts: Facts) -> Drift | None:
    """A steady change of what was read again; None where there is none to speak of."""
    order, rows = case.patches.order, case.patches.rows
    at = order / max(len(order) - 1, 1)
    luminance = np.maximum(case.view.readings[:, 1], 1e-9)
    repeated = [
        np.flatnonzero(rows == patch)
        for patch in range(len(case.patches))
        if case.patches.count[patch] >= 2 and case.view.xyz[patch, 1] >= BRIGHT
    ]
    spans = [np.ptp(at[found]) for found in repeated if len(found) >= READ]
    if not spans or max(spans) < 0.5:
        return None
    change, pace, off = _approach(at, np.log(luminance), repeated)
    if not LEAST <= abs(change) <= MOST or off > NOISE * abs(change):
        return None
    if not all(_steady(luminance[found[np.argsort(at[found])]], change) for found in repeated):
        return None
    shares = np.exp(change * _shape(at, pace))
    shares /= np.mean([shares[found].mean() for found in repeated])
    ripple = np.array([shares[rows == patch].mean() for patch in facts.patches])
    return Drift(float(np.expm1(change)), sum(map(len, repeated)), off, shares, ripple)


def _shape(at: Array, pace: float) -> Array:
    """0 at the start and 1 at the end of the session."""
    return np.asarray(np.expm1(-at / pace) / np.expm1(-1 / pace))


def _approach(
    at: Array, level: Array, repeated: list[NDArray[np.intp]]
) -> tuple[float, float, float]:
    """Change of the logarithm over the session, its pace, and the scatter about it."""
    best = (0.0, PACES[-1], np.inf)
    for pace in PACES:
        shape = _shape(at, pace)
        x = np.concatenate([shape[found] - shape[found].mean() for found in repeated])
        y = np.concatenate([level[found] - level[found].mean() for found in repeated])
        change = float(x @ y / max(float(x @ x), 1e-12))
        off = float(np.sqrt(np.mean((y - change * x) ** 2)))
        if off < best[2] - 1e-12:
            best = (change, pace, off)
    return best


def _steady(luminance: Array, change: float) -> bool:
    """Whether readings in the order of the session go one way."""
    steps = np.diff(np.log(luminance)) * np.sign(change)
    return bool(np.all(steps >= -BACK * abs(change)))


def tell_drift(drift: Drift) -> Cause:
    word = "rose" if drift.change > 0 else "fell"
    return plain_cause(
        "drift",
        f"The light {word} by {percent(abs(drift.change))} during the session",
        f"{drift.repeats} readings of patches shown again follow it within "
        f"{percent(drift.off)}; at the end they stand at {percent(1 + drift.change, 3)} of the "
        "light at the start.",
        "Let the display warm up (30 minutes or more) with a moving picture, keep room "
        "and settings as they are, and take the readings again.",
        ("change of the light over the session", 100 * drift.change, "%"),
        ("scatter about it", 100 * drift.off, "%"),
        ("readings of repeated patches", drift.repeats, "1"),
    )
