"""From readings to likely causes: direct tests, then models of a display with faults.

A cause is reported only if it explains a failure: the readings as they would be without it are
graded again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from compliance.colour import spaces
from compliance.diagnosis import colour_faults, tone_faults
from compliance.diagnosis.causes import FitContext
from compliance.diagnosis.colour_faults import luminance_cause, white_elsewhere_cause
from compliance.diagnosis.faulty_display import (
    Display,
    has_swapped_channels,
    ideal_display,
    simulate,
)
from compliance.diagnosis.fitting import (
    Array,
    Chosen,
    Option,
    applied,
    cost,
    errors,
    loss,
    price,
    search,
)
from compliance.diagnosis.inputs import Inputs, gather, itp, thinned, white_of
from compliance.diagnosis.session_faults import (
    Limiter,
    ReadingFault,
    colour_drift_fault,
    drift_cause,
    find_colour_drift,
    find_drift,
    find_limiters,
    find_unloaded,
    limiter_cause,
    unloaded_cause,
)
from compliance.diagnosis.tone_faults import black_cause
from compliance.grading.decide import OUTSIDE
from compliance.grading.grade import evaluate
from compliance.grading.hlg_target import system_gamma
from compliance.grading.match import MatchedReadings, matched
from compliance.model import Cause, Finding, Limits, Measurement, Readings, Requirement, Value
from compliance.quantities.catalogue import QUANTITIES


class Row(NamedTuple):
    """A family of models of one kind of fault."""

    options: Callable[[Inputs], Iterator[Option]]
    cause: Callable[[FitContext], Cause] | None
    """None if the options only keep wrong causes from being found."""


FITTED: Mapping[str, Row] = {
    "range": Row(tone_faults.range_options, tone_faults.range_cause),
    "curve": Row(tone_faults.curve_options, tone_faults.curve_cause),
    "channels": Row(colour_faults.swap_options, colour_faults.swap_cause),
    "primaries": Row(colour_faults.primaries_options, colour_faults.primaries_cause),
    "white": Row(colour_faults.white_options, colour_faults.white_cause),
    "white-elsewhere": Row(colour_faults.any_white_options, None),
    "highlights": Row(tone_faults.highlight_options, tone_faults.highlights_cause),
    "blacks": Row(tone_faults.black_options, tone_faults.blacks_cause),
    "raised-black": Row(tone_faults.raised_options, tone_faults.raised_cause),
    "gain": Row(colour_faults.gain_options, colour_faults.gain_cause),
    "offset": Row(colour_faults.offset_options, colour_faults.offset_cause),
    "luminance": Row(colour_faults.luminance_options, None),
}
"""Causes found by fitting models of a whole display to the readings."""

CAUSES: Mapping[str, str] = {
    "unloaded": "slot never loaded: before equals after",
    "range": "full and narrow range mixed up, either way",
    "curve": "another transfer function",
    "channels": "channels swapped",
    "primaries": "other primaries, of the signal or of the display",
    "white": "white at another standard white, on the daylight locus, or elsewhere",
    "limiter": "luminance limited by area",
    "sag": "luminance that falls while a patch is shown",
    "highlights": "highlights clipped or bent",
    "blacks": "blacks crushed",
    "raised-black": "light added in the dark, or the black level set too high",
    "gain": "gain of one channel",
    "offset": "offset of one channel",
    "luminance": "white set to another luminance",
    "drift": "warm-up drift",
    "colour-drift": "white that changes its colour during the session",
}
"""Every kind of cause; those not in `FITTED` are found from single readings."""


SEEN = 3.0
"""ΔE ITP by which a cause must change at least one patch."""
OFF = 0.001
"""Δu'v' beyond a good display's tolerance from which a white is reported as off."""
DARK = 0.05
"""Error of a meter's reading of black, as a share (practice); a smaller distance from the limit
is not reported."""
BADLY = 1.5
"""Loss above which no fitted cause is reported, if it is also above half of the initial loss."""


class Diagnosis(NamedTuple):
    """The likely causes, and the light of a display with them."""

    causes: tuple[Cause, ...]
    """The likeliest first."""
    expected: Array | None = None
    """(P, 3) XYZ in cd/m² of the case's patches, NaN if not modelled; None: the target"""


def diagnosis_of(measurement: Measurement, findings: Sequence[Finding]) -> Diagnosis:
    """Likely causes of the findings outside their limits; each explains at least one of them.

    Searches nothing if no finding is outside.
    """
    failed = [finding for finding in findings if finding.verdict in OUTSIDE and finding.points]
    if not failed:
        return Diagnosis(())
    case, as_found = matched(measurement), measurement.as_found
    ids = {finding.id for finding in failed}
    missed = [requirement for requirement in case.rule.requirements if requirement.id in ids]
    candidates, expected = _candidates(
        case, measurement.graded, as_found.graded if as_found else None
    )
    causes = (each.cause for each in candidates if _explains(each, failed, missed, case))
    return Diagnosis(
        tuple(causes),
        expected,
    )


def _explains(
    candidate: CandidateCause,
    failed: Sequence[Finding],
    missed: Sequence[Requirement],
    case: MatchedReadings,
) -> bool:
    if isinstance(candidate.rests_on, Limiter):
        return _matters(candidate.rests_on, case, failed)
    if isinstance(candidate.rests_on, Counterfactual):
        return explains_failure(candidate.rests_on, missed, case)
    return any(QUANTITIES[finding.quantity].calibrated for finding in failed)


def _matters(limiter: Limiter, case: MatchedReadings, failed: Sequence[Finding]) -> bool:
    """Whether a limiter dimmed a patch of a failed finding."""
    if limiter.along == "seconds":
        timed = {row.id for row in case.rule.requirements if row.over and row.over.seconds}
        return any(finding.id in timed for finding in failed)
    if np.isfinite(limiter.cap):
        return True
    dimmed = {case.patches.place(index) for index in limiter.patches}
    return any(point.place in dimmed for finding in failed for point in finding.points)


def diagnose(
    case: MatchedReadings, readings: Readings, before: Readings | None = None
) -> Diagnosis:
    """The likely causes of a display's deviations, for any verdict."""
    candidates, expected = _candidates(case, readings, before)
    return Diagnosis(tuple(candidate.cause for candidate in candidates), expected)


class CandidateCause(NamedTuple):
    """A cause, and the data that decides whether it explains a failure."""

    cause: Cause
    rests_on: Counterfactual | Limiter | None = None
    """The readings without it, or the patches it dims; None: only readings before and after."""


def _limited(limiter: Limiter) -> CandidateCause:
    return CandidateCause(limiter_cause(limiter), limiter)


def _candidates(
    case: MatchedReadings, readings: Readings, before: Readings | None
) -> tuple[list[CandidateCause], Array | None]:
    """Candidate causes, the likeliest first, and the light of a display with them."""
    unloaded = find_unloaded(readings, before)
    first = [] if unloaded is None else [CandidateCause(unloaded_cause(unloaded))]
    limiters = find_limiters(case)
    if gather(case) is None:
        return [*first, *map(_limited, limiters)], None
    fitted = _Fitted(case, limiters, _reading_faults(case))
    return [*first, *fitted.candidates()], fitted.expected()


def _reading_faults(case: MatchedReadings) -> tuple[ReadingFault, ...]:
    drift = find_colour_drift(case)
    return () if drift is None else (colour_drift_fault(drift, case),)


def _gathered(case: MatchedReadings, limiters: Sequence[Limiter]) -> Inputs:
    """The inputs of a case that has enough patches."""
    inputs = gather(case)
    assert inputs is not None
    return _unlimited(case, inputs, limiters)


def _mended(case: MatchedReadings, faults: Iterable[ReadingFault]) -> MatchedReadings:
    """The case without faults of its readings."""
    readings = case.view.readings + sum((fault.change for fault in faults), np.zeros(3))
    return case.with_readings(readings)


def _unlimited(case: MatchedReadings, inputs: Inputs, limiters: Sequence[Limiter]) -> Inputs:
    """The inputs, with the system gamma and the black of an HLG display as the rule has them
    where a limiter dims its peak.

    The case has the gamma of the peak as dimmed, and fits its black to greys that are dimmed; the
    display has those of its own peak.
    """
    dimming = [limiter for limiter in limiters if np.isfinite(limiter.cap)]
    if case.plan.model.curve != "hlg" or not dimming:
        return inputs
    peak = max(max(limiter.luminance) for limiter in dimming)
    gamma = system_gamma(case.rule, peak, case.stated.nominal_peak)
    return inputs._replace(
        model=inputs.model._replace(system_gamma=gamma.value, lift=case.plan.model.lift)
    )


class _Fitted:
    """Causes found by models of a display, together with drift and limiter."""

    def __init__(
        self, case: MatchedReadings, limiters: Sequence[Limiter], faults: Sequence[ReadingFault]
    ) -> None:
        """Fits the models to the readings without their own `faults`, and to a part of the patches
        if there are very many."""
        self._as_read, self._limiters, self._faults = case, limiters, faults
        self._case = case = _mended(case, faults) if faults else case
        self._every = every = _gathered(case, limiters)
        self._inputs = inputs = thinned(every)
        self._drift = find_drift(case)
        self._plain = ideal_display(inputs)
        self._start = self._plain
        if self._drift is not None:
            self._start = self._start._replace(ripple=self._drift.ripple)
        cap = min((limiter.cap for limiter in limiters), default=np.inf)
        self._start = self._start._replace(luminance_cap=np.array([cap]))
        options = [option for row in FITTED.values() for option in row.options(inputs)]
        self._node = search(inputs, self._start, options)
        self._display = applied(self._start, self._node.chosen)
        whole = simulate(self._display, every)
        self._white, self._whole = float(whole.white[0]), whole.xyz[0]
        self._alone = self._change(self._plain, ())
        self._enough = max(BADLY, float(loss(self._plain, inputs)[0]) / 2)

    def expected(self) -> Array:
        """(P, 3) XYZ in cd/m² of the case's patches with all causes, NaN if not modelled."""
        expected = np.full((len(self._case.patches), 3), np.nan)
        expected[self._every.patches] = self._whole
        return expected

    def candidates(self) -> list[CandidateCause]:
        """Candidate causes, the likeliest first."""
        ranked: list[tuple[float, CandidateCause]] = []
        chosen = self._node.chosen
        for limiter in self._limiters:
            start = self._start
            if np.isfinite(limiter.cap):
                start = start._replace(luminance_cap=self._plain.luminance_cap)
            ranked.append((self._worth(start, chosen), _limited(limiter)))
        if self._drift is not None:
            start = self._start._replace(ripple=self._plain.ripple)
            steadied = self._case.view.readings * (1 / self._drift.shares[:, None] - 1)
            undone = Counterfactual(
                steadied, self._change(self._start, ()), self._change(start, ())
            )
            ranked.append(
                (self._worth(start, chosen), CandidateCause(drift_cause(self._drift), undone))
            )
        supported = list(self._supported())
        ranked += (self._candidate(chosen) for chosen in supported)
        plain = (self._white_off(), self._hue_off(supported), self._black_off(supported))
        ranked += (candidate for candidate in plain if candidate is not None)
        ranked = [(worth, self._with_readings_mended(candidate)) for worth, candidate in ranked]
        ranked += (self._of_readings(fault) for fault in self._faults)
        ranked.sort(key=lambda each: -each[0])
        return [candidate for _, candidate in ranked]

    def _of_readings(self, fault: ReadingFault) -> tuple[float, CandidateCause]:
        """A fault of the readings as a candidate cause, with its worth."""
        others = [other for other in self._faults if other is not fault]
        inputs = thinned(_gathered(_mended(self._as_read, others), self._limiters))
        worth = float(loss(self._display, inputs)[0]) - self._node.loss
        alone = self._change(self._start, ())
        for other in others:
            alone = alone + other.change
        undone = Counterfactual(fault.change, alone, alone + fault.change)
        return worth, CandidateCause(fault.cause, undone)

    def _with_readings_mended(self, candidate: CandidateCause) -> CandidateCause:
        """A cause of the display, seen alone without the faults of the readings."""
        undone = candidate.rests_on
        if not isinstance(undone, Counterfactual):
            return candidate
        for fault in self._faults:
            undone = undone._replace(
                alone=undone.alone + fault.change, none=undone.none + fault.change
            )
        return candidate._replace(rests_on=undone)

    def _supported(self) -> Iterator[Chosen]:
        """Each chosen option that makes a cause, is worth its price beside the others, and is
        visible; none if all of them explain little."""
        inputs, node = self._inputs, self._node
        if not self._fits(self._display):
            return
        for chosen in node.chosen:
            without = applied(self._start, _others(node.chosen, chosen))
            fall = cost(float(loss(without, inputs)[0])) - cost(node.loss)
            worth_it = fall >= price(chosen) and _difference(self._display, without, inputs) >= SEEN
            if worth_it and FITTED[chosen.option.cause].cause is not None:
                yield chosen

    def _fits(self, display: Display) -> bool:
        """Whether a display explains enough of the readings for its faults to be reported."""
        return float(loss(display, self._inputs)[0]) <= self._enough

    def _candidate(self, chosen: Chosen) -> tuple[float, CandidateCause]:
        """A chosen option as a candidate cause, with its worth."""
        inputs, whole, others = self._inputs, self._display, _others(self._node.chosen, chosen)
        without = applied(self._start, others)
        error, missing = (float(errors(each, inputs)[0].mean()) for each in (whole, without))
        undone = Counterfactual(
            self._change(self._start, others), self._change(self._plain, [chosen]), self._alone
        )
        cause_of = FITTED[chosen.option.cause].cause
        assert cause_of is not None
        cause = cause_of(FitContext(chosen, inputs, whole, without, error, missing))
        return self._worth(self._start, others), CandidateCause(cause, undone)

    def _white_off(self) -> tuple[float, CandidateCause] | None:
        """White outside the rule's limits, both as measured and as modelled."""
        curves = {self._display.curve, self._plain.curve}
        if len(curves) > 1 and "pq" in curves:
            return None  # PQ codes cd/m², other curves a share of the white
        low, high = self._inputs.span
        read, made = self._inputs.white, self._white
        if not (max(read, made) < low or min(read, made) > high):
            return None
        aim = float(np.clip(self._inputs.model.white_luminance, low, high))
        free = [chosen for chosen in self._node.chosen if chosen.option.cause == "luminance"]
        worth = self._worth(self._start, _others(self._node.chosen, *free)) if free else 0.0
        return worth, CandidateCause(
            luminance_cause(self._inputs), self._scaled(np.full(3, aim / made))
        )

    def _hue_off(self, supported: Sequence[Chosen]) -> tuple[float, CandidateCause] | None:
        """White elsewhere than the reported causes explain."""
        inputs, display = self._inputs, applied(self._start, supported)
        there = white_of(simulate(display, inputs).xyz[0], inputs.neutral, inputs.nominal)
        off = np.linalg.norm(there - inputs.white_uv) > OFF
        if (
            not off
            or has_swapped_channels(display)
            or not self._fits(display._replace(white=spaces.uv_to_xy(inputs.white_uv)[None]))
        ):
            return None
        xyz, own = (
            spaces.xy_to_xyz(spaces.uv_to_xy(uv), np.ones(())) for uv in (inputs.white_uv, there)
        )
        return 0.0, CandidateCause(white_elsewhere_cause(inputs), self._scaled(own / xyz))

    def _scaled(self, share: Array) -> Counterfactual:
        """The readings without a cause that scales all light by a `share` (3,) of XYZ."""
        readings = self._case.view.readings
        none = self._alone + (readings + self._alone) * (share - 1)
        return Counterfactual(readings * (share - 1), self._alone, none)

    def _black_off(self, supported: Sequence[Chosen]) -> tuple[float, CandidateCause] | None:
        """Black above the rule's limit, both as measured and with the reported causes modelled."""
        inputs = self._inputs
        read, most = float(inputs.black[1]), inputs.darkest
        made = float(simulate(applied(self._start, supported), inputs).black[0])
        if not min(read, made) > most * (1 + DARK):
            return None
        taken_off = np.broadcast_to(
            (most / read - 1) * inputs.black, self._case.view.readings.shape
        )
        undone = Counterfactual(taken_off, self._alone, self._alone + taken_off)
        return 0.0, CandidateCause(black_cause(read, most), undone)

    def _worth(self, start: Display, chosen: Sequence[Chosen]) -> float:
        """The fall of the loss by the last part of the explanation."""
        return float(loss(applied(start, chosen), self._inputs)[0]) - self._node.loss

    def _change(self, start: Display, chosen: Sequence[Chosen]) -> Array:
        """(R, 3) change of the readings from the whole explanation to a part of it, with the same
        luminance of full drive."""
        made = simulate(applied(start, chosen), self._every)
        light = made.xyz[0] * (self._white / max(float(made.white[0]), 1e-9))
        return change_between(self._whole, light, self._case, self._every)


def _difference(display: Display, other: Display, inputs: Inputs) -> float:
    """Largest ΔE ITP between two displays over the patches."""
    away = itp(simulate(display, inputs).xyz) - itp(simulate(other, inputs).xyz)
    return float(np.linalg.norm(away, axis=-1).max())


def _others(chosen: Sequence[Chosen], *left: Chosen) -> list[Chosen]:
    return [option for option in chosen if not any(option is gone for gone in left)]


BETTER = 0.1
"""Share of a value's distance outside its limits by which it must come nearer."""
NO_LIGHT = 1e-6
"""cd/m²"""


class Counterfactual(NamedTuple):
    """Changes of the readings' light, (R, 3) XYZ in cd/m² in canonical order."""

    without: Array
    """Without the cause, with the others."""
    alone: Array
    """With the cause, without the others."""
    none: Array
    """Without any of them."""


def explains_failure(
    undone: Counterfactual, failed: Sequence[Requirement], case: MatchedReadings
) -> bool:
    """Whether one of the requirements comes nearer to its limits without the cause, either with
    the other causes or without them."""
    ways = (
        (case, corrected(case, undone.without)),
        (corrected(case, undone.alone), corrected(case, undone.none)),
    )
    return any(
        _bettered(evaluate(requirement, before), evaluate(requirement, after))
        for before, after in ways
        for requirement in failed
    )


def corrected(case: MatchedReadings, change: Array) -> MatchedReadings:
    """The case with changes (R, 3) of its readings."""
    readings = np.maximum(case.view.readings + change, 0.0)
    return case.with_readings(readings)


def change_between(light: Array, then: Array, case: MatchedReadings, inputs: Inputs) -> Array:
    """(R, 3) change of the readings if the inputs' patches change from one light to another, both
    (P, 3). The same codes at another place or window change by the same share."""
    read = case.view.xyz
    change = np.zeros_like(read)
    known = inputs.patches
    change[known] = then - light
    shares = change[known] / np.maximum(read[known], NO_LIGHT)
    share = {
        case.patches.triple(patch): own for patch, own in zip(known.tolist(), shares, strict=True)
    }
    for patch in set(range(len(read))).difference(known.tolist()):
        change[patch] = read[patch] * share.get(case.patches.triple(patch), 0.0)
    return np.asarray(change[case.patches.rows])


def _bettered(before: Finding, after: Finding) -> bool:
    if before.verdict not in OUTSIDE:
        return False
    if after.verdict not in OUTSIDE:
        return after.value is not None
    if _missed(after) < _missed(before):
        return True
    return _excess(after) < (1 - BETTER) * _excess(before)


def _missed(finding: Finding) -> int:
    return sum(point.verdict in OUTSIDE for point in finding.points)


def _excess(finding: Finding) -> float:
    """The value's distance outside its limits, in its unit."""
    if finding.limits is None or finding.value is None:
        return np.inf
    return _beyond(finding.value, finding.limits)


def _beyond(value: Value, limits: Limits) -> float:
    if isinstance(value, tuple):
        assert limits.box is not None
        return max(abs(offset) - half for offset, half in zip(value, limits.box, strict=True))
    return float(max(limits.low - value, value - limits.high, 0.0))
