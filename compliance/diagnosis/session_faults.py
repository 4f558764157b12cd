"""Faults of the session: a limiter, a slot that was never loaded, a display warming up."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.diagnosis.causes import number
from compliance.diagnosis.fitting import Array
from compliance.diagnosis.inputs import itp
from compliance.grading.match import MatchedReadings
from compliance.grading.patch_groups import Along, groups_differing_only_in
from compliance.model import Cause, Readings

ALONG: tuple[Along, ...] = ("window", "seconds")
LEAST_LOSS = 0.05
"""Share of its luminance that a stimulus must lose."""
SAME = 0.02
"""Share within which two luminances count as the same."""
LIT = 1.0
"""cd/m² below which a stimulus is ignored."""


class Limiter(NamedTuple):
    """The stimulus that loses most, along window or time."""

    along: Along
    places: tuple[float, ...]
    """% of area, or s"""
    luminance: tuple[float, ...]
    """cd/m²"""
    patches: frozenset[int]
    """Patches of the case that are dimmed."""
    cap: float
    """Largest cd/m² at the rule's window; infinite if that is not dimmed"""

    @property
    def lost(self) -> float:
        return 1 - min(self.luminance) / max(self.luminance)


def find_limiters(case: MatchedReadings) -> tuple[Limiter, ...]:
    """By area and by time, the stimulus that is dimmed most, if one loses enough and falls
    steadily from its brightest point."""
    limiters = (_most(case, along) for along in ALONG)
    return tuple(limiter for limiter in limiters if limiter is not None)


def _most(case: MatchedReadings, along: Along) -> Limiter | None:
    limiters = []
    for group in groups_differing_only_in(case, along):
        stimulus = case.patches.stimulus[group[0]]
        if stimulus.position != "centre" or stimulus.pattern == "checkerboard":
            continue
        if (limiter := _of(case, along, group)) is not None:
            limiters.append(limiter)
    return max(limiters, key=lambda limiter: limiter.lost, default=None)


def _of(case: MatchedReadings, along: Along, group: list[int]) -> Limiter | None:
    group = group[int(np.argmax(case.view.xyz[group, 1])) :]
    level = case.view.xyz[group, 1]
    brightest = level[0]
    if len(group) < 2 or brightest < LIT:
        return None
    falls = np.all(np.diff(level) <= SAME * brightest)
    if not falls or 1 - level[-1] / brightest < LEAST_LOSS:
        return None
    places = [float(getattr(case.patches.stimulus[index], along)) for index in group]
    dimmed = level < (1 - SAME) * brightest
    cap = np.inf
    for place, luminance, low in zip(places, level, dimmed, strict=True):
        if along == "window" and low and abs(place - case.rule.window) <= 1e-6:
            cap = float(luminance)
    return Limiter(
        along,
        tuple(places),
        tuple(float(value) for value in level),
        frozenset(index for index, low in zip(group, dimmed, strict=True) if low),
        cap,
    )


def limiter_cause(limiter: Limiter) -> Cause:
    """The cause of a limiter or a sag, with its readings."""
    by_area = limiter.along == "window"
    readings = tuple(zip(limiter.places, limiter.luminance, strict=True))
    return Cause(
        "limiter" if by_area else "sag",
        {"lost": limiter.lost, "readings": readings},
        evidence=tuple(
            number(
                "luminance-by-window" if by_area else "luminance-by-seconds",
                luminance,
                "cd/m²",
                {"place": place},
            )
            for place, luminance in readings
        ),
    )


# ------------------------------------------------------------ before equals after

COMMON = 8
"""Smallest number of stimuli in common for comparing two sessions."""
ALIKE, AT_MOST = 0.5, 1.5
"""ΔE ITP of a meter's noise: the median, and the bound of 19 of 20."""


class Sameness(NamedTuple):
    """How close the readings after calibration are to those before."""

    common: int
    middle: float
    """ΔE ITP"""
    most: float
    """ΔE ITP of 19 of 20"""
    same_file: bool


def find_unloaded(readings: Readings, before: Readings | None) -> Sameness | None:
    """The sameness if calibration changed nothing; None if it did, or if it is not known."""
    if before is None or before.encoding != readings.encoding:
        return None
    first, then = _means(before), _means(readings)
    common = sorted(first.keys() & then.keys())
    if len(common) < COMMON:
        return None
    xyz_before = np.array([first[key] for key in common])
    xyz_after = np.array([then[key] for key in common])
    away = np.sort(np.linalg.norm(itp(xyz_before) - itp(xyz_after), axis=-1))
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
    return {key: np.mean(xyz, axis=0) for key, xyz in rows.items()}


def unloaded_cause(sameness: Sameness) -> Cause:
    return Cause(
        "unloaded",
        sameness._asdict(),
        evidence=(
            number("patches-in-common", sameness.common, "1"),
            number("median-difference", sameness.middle, "ΔE ITP"),
            number("95th-percentile", sameness.most, "ΔE ITP"),
        ),
    )


# ------------------------------------------------------------ warm-up drift

LEAST = 0.01
"""Smallest change of the light over the session, as a share."""
MOST = 0.5
"""Largest such change; beyond it is another fault: readings out of step, another slot."""
READ = 3
"""Readings of one stimulus needed over at least half of the session."""
BRIGHT = 1.0
"""cd/m²"""
PACES = (0.1, 0.2, 0.35, 0.6, 1.0, 1e3)
"""Time constants of the approach, as shares of the session; the last is a straight line."""
NOISE = 0.3
"""Share of the drift by which the repeated readings may scatter about it."""
BACK = 0.15
"""Share of the drift by which a reading may step back."""


class Drift(NamedTuple):
    """The change of the same stimulus's light in the course of the session."""

    change: float
    """Of the light over the session, as a share of that at the start."""
    repeats: int
    """Readings of repeated stimuli."""
    off: float
    """Their scatter about it, as a share."""
    shares: Array
    """(R,) light at each reading, in canonical order, as a share of the session's middle"""
    ripple: Array
    """(P,) the same for each patch of the case"""


def find_drift(case: MatchedReadings) -> Drift | None:
    """A steady change of repeated readings; None if there is none large enough."""
    patches, order = case.patches, case.patches.order
    at = order / max(len(order) - 1, 1)
    luminance = np.maximum(case.view.readings[:, 1], 1e-9)
    bright = np.flatnonzero((patches.count >= 2) & (case.view.xyz[:, 1] >= BRIGHT))
    repeated = [np.arange(len(order))[patches.readings_of(patch)] for patch in bright]
    spans = [np.ptp(at[places]) for places in repeated if len(places) >= READ]
    if not spans or max(spans) < 0.5:
        return None
    change, pace, off = _approach(at, np.log(luminance), repeated)
    if not LEAST <= abs(change) <= MOST or off > NOISE * abs(change):
        return None
    if not all(_steady(luminance[places[np.argsort(at[places])]], change) for places in repeated):
        return None
    shares = np.exp(change * _shape(at, pace))
    shares /= np.mean([shares[places].mean() for places in repeated])
    ripple = np.array([shares[patches.readings_of(at)].mean() for at in range(len(patches))])
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
        x = np.concatenate([shape[places] - shape[places].mean() for places in repeated])
        y = np.concatenate([level[places] - level[places].mean() for places in repeated])
        change = float(x @ y / max(float(x @ x), 1e-12))
        off = float(np.sqrt(np.mean((y - change * x) ** 2)))
        if off < best[2] - 1e-12:
            best = (change, pace, off)
    return best


def _steady(luminance: Array, change: float) -> bool:
    """Whether readings in the order of the session change in one direction."""
    steps = np.diff(np.log(luminance)) * np.sign(change)
    return bool(np.all(steps >= -BACK * abs(change)))


def drift_cause(drift: Drift) -> Cause:
    return Cause(
        "drift",
        {"change": drift.change, "scatter": drift.off, "repeats": drift.repeats},
        evidence=(
            number("drift", 100 * drift.change, "%"),
            number("scatter", 100 * drift.off, "%"),
            number("repeats", drift.repeats, "1"),
        ),
    )
