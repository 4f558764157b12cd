"""From readings to likely causes: direct tests, then models of a display with faults."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from compliance.colorimetry import spaces
from compliance.decision import OUTSIDE
from compliance.diagnosis.bearing import Undone, bears, change_between
from compliance.diagnosis.blacks import tell_black
from compliance.diagnosis.channels import tell_luminance
from compliance.diagnosis.display import Display, shown, sound, swapped
from compliance.diagnosis.facts import Facts, gather, itp, white_of
from compliance.diagnosis.fit import Array, Chosen, applied, errors, loss
from compliance.diagnosis.limits import Limiter, find_limiters, tell_limiter
from compliance.diagnosis.search import cost, price, search
from compliance.diagnosis.session import find_drift, find_unloaded, tell_drift, tell_unloaded
from compliance.diagnosis.table import FITTED
from compliance.diagnosis.told import Told
from compliance.diagnosis.white import tell_elsewhere
from compliance.grading.case import Case
from compliance.model import Cause, Finding, Readings, Requirement, Triple

__all__ = ["Diagnosis", "diagnose", "diagnosis_of"]

Place = tuple[Triple, str, float]
"""Codes, position and window of a patch."""
SEEN = 3.0
"""ΔE ITP by which a cause must change some patch."""
OFF = 0.001
"""Δu'v' beyond a good display's tolerance from which a white is told to be off."""
DARK = 0.05
"""Share by which a meter's reading of black may be off (practice); nearer to the limit than that
is not told."""
BADLY = 1.5
"""Loss above which, and above half of what there was, nothing fitted is told."""


class Diagnosis(NamedTuple):
    """What is likely wrong, and what a display that is so would show."""

    causes: tuple[Cause, ...]
    """The likeliest first."""
    expected: Array | None = None
    """(P, 3) XYZ in cd/m² of the case's patches, NaN where nothing is said; None: the target"""


def diagnosis_of(
    findings: Sequence[Finding], case: Case, readings: Readings, before: Readings | None
) -> Diagnosis:
    """Likely causes of the findings outside their limits, each of which bears on one of them;
    where none is outside, nothing is sought."""
    failed = [one for one in findings if one.verdict in OUTSIDE and one.points]
    if not failed:
        return Diagnosis(())
    ids = {one.id for one in failed}
    missed = [one for one in case.rule.requirements if one.id in ids]
    suspects, expected = _suspects(case, readings, before)
    return Diagnosis(
        tuple(one.cause for one in suspects if _bears(one, failed, missed, case)), expected
    )


def _bears(
    suspect: Suspect, failed: Sequence[Finding], missed: Sequence[Requirement], case: Case
) -> bool:
    if isinstance(suspect.rests_on, Limiter):
        return _matters(suspect.rests_on, case, failed)
    if isinstance(suspect.rests_on, Undone):
        return bears(suspect.rests_on, missed, case)
    return any(one.quantity not in OF_THE_PANEL for one in failed)


OF_THE_PANEL = ("non-uniformity", "stability", "relative-luminance", "recorded", "declared")
"""Quantities that loading a calibration does not change."""


def _matters(limiter: Limiter, case: Case, failed: Sequence[Finding]) -> bool:
    """Whether something that failed was dimmed by a limiter."""
    if limiter.along == "seconds":
        timed = {one.id for one in case.rule.requirements if one.over and one.over.seconds}
        return any(one.id in timed for one in failed)
    if np.isfinite(limiter.cap):
        return True
    stimuli = case.patches.stimulus
    dimmed: set[Place] = {
        (case.patches.triple(index), stimuli[index].position, stimuli[index].window)
        for index in limiter.patches
    }
    judged = {(point.patch, point.position, point.window) for one in failed for point in one.points}
    return bool(dimmed & judged)


def diagnose(case: Case, readings: Readings, before: Readings | None = None) -> Diagnosis:
    """What is likely wrong with a display, whatever its verdict."""
    suspects, expected = _suspects(case, readings, before)
    return Diagnosis(tuple(one.cause for one in suspects), expected)


class Suspect(NamedTuple):
    """A cause, and what tells whether it bears on what failed."""

    cause: Cause
    rests_on: Undone | Limiter | None = None
    """What the readings would be without it, or whom it dims; None: on before and after alone."""


def _limited(limiter: Limiter) -> Suspect:
    return Suspect(tell_limiter(limiter), limiter)


def _suspects(
    case: Case, readings: Readings, before: Readings | None
) -> tuple[list[Suspect], Array | None]:
    """What is suspected, the likeliest first, and the light that a display so wrong shows."""
    unloaded = find_unloaded(readings, before)
    first = [] if unloaded is None else [Suspect(tell_unloaded(unloaded))]
    limiters = find_limiters(case)
    facts = gather(case)
    if facts is None:
        return [*first, *map(_limited, limiters)], None
    found, light = _Fitted(case, facts, limiters).suspects()
    expected = np.full((len(case.patches), 3), np.nan)
    expected[facts.patches] = light
    return [*first, *found], expected


class _Fitted:
    """What models of a display tell, beside drift and limiter."""

    def __init__(self, case: Case, facts: Facts, limiters: Sequence[Limiter]) -> None:
        self._case, self._facts, self._limiters = case, facts, limiters
        self._drift = find_drift(case, facts)
        self._plain = sound(facts)
        self._start = self._plain
        if self._drift is not None:
            self._start = self._start._replace(ripple=self._drift.ripple)
        cap = min((limiter.cap for limiter in limiters), default=np.inf)
        self._start = self._start._replace(cap=np.array([cap]))
        options = [option for row in FITTED.values() for option in row.options(facts)]
        self._node = search(facts, self._start, options)
        self._display = applied(self._start, self._node.chosen)
        whole = shown(self._display, facts)
        self._white, self._whole = float(whole.white[0]), whole.xyz[0]
        self._alone = self._change(self._plain, ())
        self._enough = max(BADLY, float(loss(self._plain, facts)[0]) / 2)

    def suspects(self) -> tuple[list[Suspect], Array]:
        """The likeliest first, and the light of them all together, (P, 3)."""
        ranked: list[tuple[float, Suspect]] = []
        chosen = self._node.chosen
        for limiter in self._limiters:
            start = self._start
            if np.isfinite(limiter.cap):
                start = start._replace(cap=self._plain.cap)
            ranked.append((self._worth(start, chosen), _limited(limiter)))
        if self._drift is not None:
            start = self._start._replace(ripple=self._plain.ripple)
            steadied = self._case.view.readings * (1 / self._drift.shares[:, None] - 1)
            undone = Undone(steadied, self._change(self._start, ()), self._change(start, ()))
            ranked.append((self._worth(start, chosen), Suspect(tell_drift(self._drift), undone)))
        told = list(self._borne_out())
        ranked += (self._told(one) for one in told)
        plain = (self._white_off(), self._hue_off(told), self._black_off(told))
        ranked += (one for one in plain if one is not None)
        ranked.sort(key=lambda each: -each[0])
        return [one for _, one in ranked], self._whole

    def _borne_out(self) -> Iterator[Chosen]:
        """Each chosen option with words that is still worth its price beside the others, and is
        seen; none where little is explained by all of them."""
        facts, node = self._facts, self._node
        if not self._fits(self._display):
            return
        for one in node.chosen:
            without = applied(self._start, _others(node.chosen, one))
            fall = cost(float(loss(without, facts)[0])) - cost(node.loss)
            worth_it = fall >= price(one) and _difference(self._display, without, facts) >= SEEN
            if worth_it and FITTED[one.option.cause].tell is not None:
                yield one

    def _fits(self, display: Display) -> bool:
        """Whether a display explains enough of what was read for its parts to be told."""
        return float(loss(display, self._facts)[0]) <= self._enough

    def _told(self, one: Chosen) -> tuple[float, Suspect]:
        """A chosen option in words, with its worth."""
        facts, whole, others = self._facts, self._display, _others(self._node.chosen, one)
        without = applied(self._start, others)
        error, missing = (float(errors(each, facts)[0].mean()) for each in (whole, without))
        undone = Undone(
            self._change(self._start, others), self._change(self._plain, [one]), self._alone
        )
        tell = FITTED[one.option.cause].tell
        assert tell is not None
        cause = tell(Told(one, facts, whole, without, error, missing))
        return self._worth(self._start, others), Suspect(cause, undone)

    def _white_off(self) -> tuple[float, Suspect] | None:
        """White where the rule admits none, as read and as the display is made out to be."""
        curves = {self._display.curve, self._plain.curve}
        if len(curves) > 1 and "pq" in curves:
            return None  # PQ says cd/m² by itself, and others a share of the white
        low, high = self._facts.span
        read, made = self._facts.white, self._white
        if not (max(read, made) < low or min(read, made) > high):
            return None
        aim = float(np.clip(self._facts.model.white_luminance, low, high))
        free = [one for one in self._node.chosen if one.option.cause == "luminance"]
        worth = self._worth(self._start, _others(self._node.chosen, *free)) if free else 0.0
        return worth, Suspect(tell_luminance(self._facts), self._scaled(np.full(3, aim / made)))

    def _hue_off(self, told: Sequence[Chosen]) -> tuple[float, Suspect] | None:
        """White elsewhere than what is told would have it."""
        facts, display = self._facts, applied(self._start, told)
        there = white_of(shown(display, facts).xyz[0], facts.neutral, facts.nominal)
        off = np.linalg.norm(there - facts.white_uv) > OFF
        if (
            not off
            or swapped(display)
            or not self._fits(display._replace(white=spaces.uv_to_xy(facts.white_uv)[None]))
        ):
            return None
        xyz, own = (
            spaces.xy_to_xyz(spaces.uv_to_xy(uv), np.ones(())) for uv in (facts.white_uv, there)
        )
        return 0.0, Suspect(tell_elsewhere(facts), self._scaled(own / xyz))

    def _scaled(self, share: Array) -> Undone:
        """Without a cause that gives XYZ of all light too much or too little: its share (3,)."""
        readings = self._case.view.readings
        none = self._alone + (readings + self._alone) * (share - 1)
        return Undone(readings * (share - 1), self._alone, none)

    def _black_off(self, told: Sequence[Chosen]) -> tuple[float, Suspect] | None:
        """Black above what the rule admits, as read and without what is told to raise it."""
        facts = self._facts
        read, most = float(facts.black[1]), facts.darkest
        made = float(shown(applied(self._start, told), facts).black[0])
        if not min(read, made) > most * (1 + DARK):
            return None
        taken_off = np.broadcast_to((most / read - 1) * facts.black, self._case.view.readings.shape)
        undone = Undone(taken_off, self._alone, self._alone + taken_off)
        return 0.0, Suspect(tell_black(read, most), undone)

    def _worth(self, start: Display, chosen: Sequence[Chosen]) -> float:
        """What the loss falls by with the last part of the explanation."""
        return float(loss(applied(start, chosen), self._facts)[0]) - self._node.loss

    def _change(self, start: Display, chosen: Sequence[Chosen]) -> Array:
        """(R, 3) change of the readings from the whole explanation to a part of it, the
        luminance of full drive staying."""
        made = shown(applied(start, chosen), self._facts)
        light = made.xyz[0] * (self._white / max(float(made.white[0]), 1e-9))
        return change_between(self._whole, light, self._case, self._facts)


def _difference(one: Display, other: Display, facts: Facts) -> float:
    """Largest ΔE ITP between two displays over the patches."""
    away = itp(shown(one, facts).xyz) - itp(shown(other, facts).xyz)
    return float(np.linalg.norm(away, axis=-1).max())


def _others(chosen: Sequence[Chosen], *left: Chosen) -> list[Chosen]:
    return [each for each in chosen if not any(each is one for one in left)]
