"""Faults of the session: a limiter, a slot that was never loaded, light or colour that drifts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.diagnosis.causes import number
from compliance.diagnosis.fitting import Array
from compliance.diagnosis.inputs import Flags, itp
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
    shares: Mapping[int, float]
    """By patch of the case that is dimmed, here or in another stimulus, the share of light left."""
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
    if not limiters:
        return None
    shares = {patch: share for limiter in limiters for patch, share in limiter.shares.items()}
    return max(limiters, key=lambda limiter: limiter.lost)._replace(shares=shares)


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
        {
            index: float(luminance / brightest)
            for index, luminance, low in zip(group, level, dimmed, strict=True)
            if low
        },
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


# ------------------------------------------------------------ drift

LEAST = 0.01
"""Smallest change of the light over the session, as a share."""
MOST = 0.5
"""Largest such change; beyond it is another fault: readings out of step, another slot."""
LEAST_COLOUR, MOST_COLOUR = 0.0015, 0.03
"""The same in Δu'v' of a neutral's chromaticity (practice)."""
READ = 3
"""Readings of one stimulus needed over at least half of the session."""
BRIGHT = 1.0
"""cd/m²"""
PACES = (0.1, 0.2, 0.35, 0.6, 1.0, 1e3)
"""Time constants of the approach, as shares of the session; the last is a straight line."""
NOISE = 0.2
"""Share of the drift by which the repeated readings may scatter about it."""
BACK = 0.15
"""Share of the drift by which a reading may step back."""


class Approach(NamedTuple):
    """A steady change of k values of repeated stimuli in the course of the session."""

    change: Array
    """(k,) over the session"""
    off: float
    """Scatter of the repeated readings about it."""
    repeats: int
    """Readings of repeated stimuli."""
    passed: Array
    """(R,) share of the change at each reading, in canonical order, 0 in the session's middle"""


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

    @property
    def reached(self) -> tuple[float, float, float]:
        """Light in the middle, at the start and at the end, as shares of that in the middle."""
        low, high = float(self.shares.min()), float(self.shares.max())
        return (1.0, low, high) if self.change > 0 else (1.0, high, low)


def find_drift(case: MatchedReadings) -> Drift | None:
    """A steady change of repeated readings' light; None if there is none large enough."""
    patches = case.patches
    luminance = np.maximum(case.view.readings[:, 1], 1e-9)
    found = _approach(case, np.log(luminance)[:, None], np.ones(len(patches), dtype=np.bool_))
    if found is None or not LEAST <= abs(found.change[0]) <= MOST:
        return None
    shares = np.exp(found.change[0] * found.passed)
    ripple = np.array([shares[patches.readings_of(at)].mean() for at in range(len(patches))])
    return Drift(float(np.expm1(found.change[0])), found.repeats, found.off, shares, ripple)


def find_colour_drift(case: MatchedReadings) -> Approach | None:
    """A steady change of u'v' of repeated neutrals; None if there is none large enough."""
    found = _approach(case, spaces.xyz_to_uv(case.view.readings), case.patches.neutral)
    if found is None:
        return None
    return found if LEAST_COLOUR <= np.linalg.norm(found.change) <= MOST_COLOUR else None


def _approach(case: MatchedReadings, values: Array, used: Flags) -> Approach | None:
    """The change of values (R, k) that repeats of the used patches (P,) follow steadily, if some
    were read often enough."""
    patches, order = case.patches, case.patches.order
    at = order / max(len(order) - 1, 1)
    bright = np.flatnonzero(used & (patches.count >= 2) & (case.view.xyz[:, 1] >= BRIGHT))
    repeated = [np.arange(len(order))[patches.readings_of(patch)] for patch in bright]
    spans = [np.ptp(at[places]) for places in repeated if len(places) >= READ]
    if not spans or max(spans) < 0.5:
        return None
    change, pace, off = _paced(at, values, repeated)
    if off > NOISE * np.linalg.norm(change):
        return None
    if not all(_steady(values[places[np.argsort(at[places])]], change) for places in repeated):
        return None
    shape = _shape(at, pace)
    passed = shape - np.concatenate([shape[places] for places in repeated]).mean()
    return Approach(change, off, sum(map(len, repeated)), passed)


def _shape(at: Array, pace: float) -> Array:
    """0 at the start and 1 at the end of the session."""
    return np.asarray(np.expm1(-at / pace) / np.expm1(-1 / pace))


def _paced(
    at: Array, values: Array, repeated: list[NDArray[np.intp]]
) -> tuple[Array, float, float]:
    """Change (k,) of values (R, k) over the session, its pace, and the scatter about it."""
    best = (np.zeros(values.shape[1]), PACES[-1], np.inf)
    for pace in PACES:
        shape = _shape(at, pace)
        x = np.concatenate([shape[places] - shape[places].mean() for places in repeated])
        y = np.concatenate([values[places] - values[places].mean(axis=0) for places in repeated])
        change = x @ y / max(float(x @ x), 1e-12)
        off = float(np.sqrt(np.mean(np.sum((y - x[:, None] * change) ** 2, axis=1))))
        if off < best[2] - 1e-12:
            best = (change, pace, off)
    return best


def _steady(values: Array, change: Array) -> bool:
    """Whether values (n, k) in the order of the session change in one direction."""
    size = float(np.linalg.norm(change))
    steps = np.diff(values, axis=0) @ change / max(size, 1e-12)
    return bool(np.all(steps >= -BACK * size))


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


class ReadingFault(NamedTuple):
    """A fault of the readings, not of the whole display."""

    cause: Cause
    change: Array
    """(R, 3) XYZ in cd/m² that takes it out of the readings, in canonical order"""


TOWARDS: Mapping[str, Array] = {
    "red": np.array([0.98, 0.2]),
    "yellow": np.array([0.25, 0.97]),
    "green": np.array([-0.62, 0.78]),
    "cyan": np.array([-1.0, -0.1]),
    "blue": np.array([-0.07, -1.0]),
    "magenta": np.array([0.7, -0.7]),
}
"""Directions of hues from a white in u'v'."""


def colour_drift_fault(drift: Approach, case: MatchedReadings) -> ReadingFault:
    """The fault of a colour drift; without it each channel keeps its light of the session's
    middle, and so does a neutral's luminance."""
    turned = case.view.model.from_target
    neutral = case.patches.neutral[case.patches.rows] & (case.view.readings[:, 1] >= BRIGHT)
    repeated = neutral & (case.patches.count[case.patches.rows] >= 2)
    middle = spaces.xyz_to_uv(case.view.readings[repeated]).mean(axis=0)
    path = middle + drift.passed[:, None] * drift.change
    ones = np.ones(())
    light = spaces.xy_to_xyz(spaces.uv_to_xy(path), np.ones(len(path)))
    own = spaces.xy_to_xyz(spaces.uv_to_xy(middle), ones)
    shares = (light @ np.linalg.inv(turned).T) / (own @ np.linalg.inv(turned).T)
    channels = case.view.readings @ np.linalg.inv(turned).T
    change = (channels / shares) @ turned.T - case.view.readings
    size = float(np.linalg.norm(drift.change))
    first, last = (path[int(place)] for place in _ends(case))
    cause = Cause(
        "colour-drift",
        {
            "change": size,
            "scatter": drift.off,
            "repeats": drift.repeats,
            "towards": _towards(drift.change),
        },
        evidence=(
            number("colour-drift", size, "Δu'v'"),
            number("colour-scatter", drift.off, "Δu'v'"),
            number("repeats", drift.repeats, "1"),
            number("u-at-start", float(first[0]), "1"),
            number("v-at-start", float(first[1]), "1"),
            number("u-at-end", float(last[0]), "1"),
            number("v-at-end", float(last[1]), "1"),
        ),
    )
    return ReadingFault(cause, change)


def _ends(case: MatchedReadings) -> tuple[int, int]:
    """Places of the session's first and last reading, in canonical order."""
    return int(np.argmin(case.patches.order)), int(np.argmax(case.patches.order))


def _towards(change: Array) -> str:
    """The hue towards which u'v' moves: the nearest of six directions."""
    return max(TOWARDS, key=lambda hue: float(np.dot(TOWARDS[hue], change)))
