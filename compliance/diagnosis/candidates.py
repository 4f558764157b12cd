"""Candidate causes: single readings, and models of a display with faults, fitted to all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from compliance.colour import spaces
from compliance.diagnosis import colour_faults, deliverables, tone_faults
from compliance.diagnosis.causes import FitContext, is_alike, rounded_error, statement_of
from compliance.diagnosis.channel_faults import ChannelFault, find_channel_fault
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
    Node,
    Option,
    applied,
    cost,
    errors,
    loss,
    price,
    search,
)
from compliance.diagnosis.gate import Counterfactual, change_between, corrected, scaled_back
from compliance.diagnosis.groups import (
    CandidateCause,
    Group,
    Ranked,
    beside,
    beside_their_images,
    is_image,
)
from compliance.diagnosis.inputs import Inputs, gather, itp, thinned, white_of
from compliance.diagnosis.limiter import limiter_options, power_limiter_cause
from compliance.diagnosis.meter_faults import Instrument, find_meter_fault, meter_cause
from compliance.diagnosis.misread import find_misreadings, misread_fault
from compliance.diagnosis.session_faults import (
    Drift,
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
from compliance.grading.hlg_target import system_gamma
from compliance.grading.match import MatchedReadings
from compliance.model import Cause, Fit, Readings


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
    "deliverable": Row(deliverables.table_options, deliverables.table_cause),
    "white-elsewhere": Row(colour_faults.any_white_options, None),
    "highlights": Row(tone_faults.highlight_options, tone_faults.highlights_cause),
    "blacks": Row(tone_faults.black_options, tone_faults.blacks_cause),
    "raised-black": Row(tone_faults.raised_options, tone_faults.raised_cause),
    "limiter": Row(limiter_options, power_limiter_cause),
    "gain": Row(colour_faults.gain_options, colour_faults.gain_cause),
    "offset": Row(colour_faults.offset_options, colour_faults.offset_cause),
    "crosstalk": Row(colour_faults.crosstalk_options, colour_faults.crosstalk_cause),
    "luminance": Row(colour_faults.luminance_options, None),
}
"""Causes found by fitting models of a whole display to the readings."""

SEEN = 3.0
"""ΔE ITP by which a cause must change at least one patch."""
OFF = 0.001
"""Δu'v' beyond a good display's tolerance from which a white is reported as off."""
DARK = 0.05
"""Error of a meter's reading of black, as a share (practice); a smaller distance from the limit
is not reported."""
ALIKE = 0.03
"""Difference of cost within which two displays fit the readings as well as each other."""
CLEARLY = 0.8
"""Largest loss with another system gamma, as a share of that with the case's own."""
AS_NEAR, EXACT = 1.3, 0.001
"""Times the loss of the better one, and a loss that no reading tells from none."""
HELPS = 0.9
"""Largest error with another explanation, as a share of that without any, that is told."""
BADLY = 1.5
"""Loss above which no fitted cause is reported, if it is also above half of the initial loss."""


def candidates(
    case: MatchedReadings, readings: Readings, before: Readings | None, instrument: Instrument
) -> tuple[list[Group], Array | None]:
    """Candidate causes, the likeliest first, and the light (P, 3) in cd/m² of a display with them,
    NaN where it is not modelled; None if too little was measured for a model."""
    unloaded = find_unloaded(readings, before)
    first: list[Group] = [] if unloaded is None else [(CandidateCause(unloaded_cause(unloaded)),)]
    limiters = find_limiters(case)
    if gather(case) is None:
        return [*first, *(_limited(limiter, case) for limiter in limiters)], None
    fitted = _fitted(case, readings, limiters)
    return [*first, *fitted.groups(instrument)], fitted.expected()


def _limited(limiter: Limiter, case: MatchedReadings) -> Group:
    """A limiter, without a model of the display."""
    undone = scaled_back(case.view.readings, limiter.shares, case)
    none = np.zeros_like(undone)
    return (CandidateCause(limiter_cause(limiter), Counterfactual(undone, none, undone)),)


def _fitted(case: MatchedReadings, readings: Readings, limiters: Sequence[Limiter]) -> _Fitted:
    """Models fitted to the readings without a colour drift, and without single misreadings if the
    rest fits better without these; a black that the meter cannot see is no patch any more."""
    drift = find_colour_drift(case)
    faults = () if drift is None else (colour_drift_fault(drift, case),)
    fitted = _Fitted(case, limiters, faults)
    more = fitted.misread(readings)
    faults = (*faults, *more)
    if not more or gather(_mended(case, faults)) is None:
        return fitted
    others = _Fitted(case, limiters, faults)
    return others if others.cost < fitted.cost else fitted


def _gathered(case: MatchedReadings, limiters: Sequence[Limiter]) -> Inputs:
    """The inputs of a case that has enough patches."""
    inputs = gather(case)
    assert inputs is not None
    return _gamma_of_display(case, inputs, limiters)


def _mended(case: MatchedReadings, faults: Iterable[ReadingFault]) -> MatchedReadings:
    """The case without faults of its readings."""
    return corrected(case, sum((fault.change for fault in faults), np.zeros(3)))


def _gamma_of_display(case: MatchedReadings, inputs: Inputs, limiters: Sequence[Limiter]) -> Inputs:
    """The inputs, of HLG with the system gamma and the black that a faulty display fits better.

    The case has the gamma of the peak as measured, and fits its black to the greys. A display whose
    peak is dimmed, clipped or set wrong may keep those of the peak that it should have, if the slot
    does not state its own.
    """
    model = inputs.model
    if model.curve != "hlg":
        return inputs
    dimming = [limiter for limiter in limiters if np.isfinite(limiter.cap)]
    peaks = [max(limiter.luminance) for limiter in dimming]
    is_right = inputs.span[0] <= inputs.white <= inputs.span[1]
    if case.stated.nominal_peak is None and not is_right:
        peaks.append(case.rule.target.luminance_peak)
    tried = [inputs]
    for peak in peaks:
        gamma = system_gamma(case.rule, peak, case.stated.nominal_peak).value
        own = model._replace(system_gamma=gamma, lift=case.plan.model.lift)
        tried.append(inputs._replace(model=own))
    found = [float(loss(ideal_display(each), each)[0]) for each in tried]
    best = int(np.argmin(found))
    return tried[best] if found[best] < CLEARLY * found[0] else inputs


class _Light(NamedTuple):
    """The light of a display with faults."""

    light: Array
    """(P, 3) XYZ in cd/m²"""
    white: float
    """cd/m² of full drive"""


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
        self._channel = find_channel_fault(every)
        if self._channel is not None:
            self._start = self._channel.change(self._start)
        options = [option for row in FITTED.values() for option in row.options(inputs)]
        self._found = search(inputs, self._start, options)
        self._node = self._found.best
        self._display = applied(self._start, self._node.chosen)
        self._whole = self._light_of(self._node.chosen)
        self._alone = self._change(self._plain, ())
        self._enough = max(BADLY, float(loss(self._plain, inputs)[0]) / 2)

    @cached_property
    def _known(self) -> Array:
        """(R, 3) change of the readings to the display with the session's faults alone."""
        return self._change(self._start, ())

    @property
    def cost(self) -> float:
        """The cost of the display with all causes."""
        return self._node.cost

    def misread(self, readings: Readings) -> list[ReadingFault]:
        """Single readings that are off beside the display that the rule requires, or else beside
        that with all causes."""
        plain = simulate(self._plain, self._every).xyz[0]
        for light in (plain, self._whole.light):
            if found := find_misreadings(self._case, self._every, light, plain):
                return [misread_fault(each, self._case, readings) for each in found]
        return []

    def expected(self) -> Array:
        """(P, 3) XYZ in cd/m² of the case's patches with the likeliest causes, NaN if not
        modelled."""
        expected = np.full((len(self._case.patches), 3), np.nan)
        expected[self._every.patches] = self._whole.light
        return expected

    def groups(self, instrument: Instrument) -> list[Group]:
        """Groups of candidate causes, the likeliest first."""
        ranked = [self._limited(limiter) for limiter in self._limiters]
        if self._drift is not None:
            ranked.append(self._drifting(self._drift))
        if self._channel is not None and not has_swapped_channels(self._display):
            ranked.append(self._departing(self._channel))
        supported = list(self._supported())
        ranked += (self._group(chosen) for chosen in supported)
        plain = (self._white_off(), self._hue_off(supported), self._black_off(supported))
        ranked += ((worth, (candidate,)) for worth, candidate in filter(None, plain))
        ranked = self._with_meter(ranked, instrument)
        ranked = [(worth, tuple(map(self._with_readings_mended, group))) for worth, group in ranked]
        ranked += (self._of_readings(fault) for fault in self._faults)
        ranked = beside_their_images(ranked)
        ranked.sort(key=lambda each: -each[0])
        return [group for _, group in ranked]

    def _with_meter(self, ranked: list[Ranked], instrument: Instrument) -> list[Ranked]:
        """The groups, those whose light a meter's matrix makes too together with the meter."""
        fault = find_meter_fault(self._start, self._node, self._inputs, instrument)
        if fault is None or fault.loss > self._enough:
            return ranked
        rivals = [
            (worth, group)
            for worth, group in ranked
            if any(each.cause.kind in fault.rivals for each in group)
        ]
        if not rivals and not fault.stands_alone:
            return ranked
        readings, alone = self._case.view.readings, self._alone
        undone = Counterfactual(
            fault.taken_out(readings), alone, alone + fault.taken_out(readings + alone)
        )
        rivals.sort(key=lambda each: -each[0])
        display = tuple(each for _, group in rivals for each in group)
        meter = CandidateCause(meter_cause(fault), undone)
        if display:
            first = display[0].cause
            display = tuple(beside(each, meter.cause, fault.errors[0]) for each in display)
            meter = beside(meter, first, self._error(self._display))
        whole = (meter, *display) if fault.goes_first else (*display, meter)
        worth = max((worth for worth, _ in rivals), default=fault.worth)
        return [*(each for each in ranked if each not in rivals), (worth, whole)]

    def _of_readings(self, fault: ReadingFault) -> Ranked:
        """A fault of the readings as a candidate cause, with its worth."""
        others = [other for other in self._faults if other is not fault]
        inputs = thinned(_gathered(_mended(self._as_read, others), self._limiters))
        worth = float(loss(self._display, inputs)[0]) - self._node.loss
        alone = self._known
        for other in others:
            alone = alone + other.change
        undone = Counterfactual(fault.change, alone, alone + fault.change)
        return worth, (CandidateCause(fault.cause, undone),)

    def _with_readings_mended(self, candidate: CandidateCause) -> CandidateCause:
        """A cause of the display, seen alone without the faults of the readings."""
        undone = candidate.undone
        if undone is None:
            return candidate
        for fault in self._faults:
            undone = undone._replace(
                alone=undone.alone + fault.change, none=undone.none + fault.change
            )
        return candidate._replace(undone=undone)

    def _limited(self, limiter: Limiter) -> Ranked:
        """A limiter, with its worth; at the rule's window it dims whatever is brighter."""
        start, shares = self._start, dict(limiter.shares)
        chosen = [each for each in self._node.chosen if each.option.cause != "limiter"]
        if np.isfinite(limiter.cap):
            start = start._replace(luminance_cap=self._plain.luminance_cap)
            shares = {at: share for at, share in shares.items() if at not in self._every.patches}
        readings = self._case.view.readings
        freed = self._change(start, ())
        undone = Counterfactual(
            self._change(start, chosen) + scaled_back(readings, shares, self._case),
            self._known,
            freed + scaled_back(readings + freed, shares, self._case),
        )
        return self._worth(start, chosen), (CandidateCause(limiter_cause(limiter), undone),)

    def _drifting(self, drift: Drift) -> Ranked:
        """A drift; without it the light stays as in the middle of the session, or as at its start
        or end if white is only then within the rule's limits."""
        low, high = self._inputs.span
        white = self._inputs.white
        kept = next((at for at in drift.reached if low <= white * at <= high), 1.0)
        start, readings = self._start._replace(ripple=self._plain.ripple), self._case.view.readings
        freed = self._change(start, ())
        undone = Counterfactual(
            readings * (kept / drift.shares[:, None] - 1),
            self._known,
            kept * (readings + freed) - readings,
        )
        worth = self._worth(start, self._node.chosen)
        return worth, (CandidateCause(drift_cause(drift), undone),)

    def _departing(self, fault: ChannelFault) -> Ranked:
        plain = self._plain
        start = self._start._replace(top=plain.top, bump=plain.bump)
        chosen = self._node.chosen
        undone = Counterfactual(self._change(start, chosen), self._known, self._change(start, ()))
        return self._worth(start, chosen), (CandidateCause(fault.cause, undone),)

    def _supported(self) -> Iterator[Chosen]:
        """Each chosen option that makes a cause, is worth its price beside the others, and is
        visible; none if all of them explain little."""
        inputs, node = self._inputs, self._node
        if not self._fits(self._display):
            return
        for chosen in node.chosen:
            if chosen.option.cause == "limiter" and self._limiters:
                continue  # told by its readings at several windows or times
            without = applied(self._start, _others(node.chosen, chosen))
            fall = cost(float(loss(without, inputs)[0])) - cost(node.loss)
            worth_it = fall >= price(chosen) and _difference(self._display, without, inputs) >= SEEN
            if worth_it and FITTED[chosen.option.cause].cause is not None:
                yield chosen

    def _fits(self, display: Display) -> bool:
        """Whether a display explains enough of the readings for its faults to be reported."""
        return float(loss(display, self._inputs)[0]) <= self._enough

    def _group(self, chosen: Chosen) -> Ranked:
        """A chosen option with those that the readings cannot tell from it, and its worth."""
        others = _others(self._node.chosen, chosen)
        group = [self._candidate(chosen, self._node)]
        kind = chosen.option.cause
        elsewhere = (
            node
            for node in self._found.others(chosen)
            if all(each.option.cause != kind for each in node.chosen)
        )
        rival = next(elsewhere, None)
        if rival is not None and self._is_as_good(rival):
            first = group[0].cause
            news = [
                self._candidate(new, rival)
                for new in _others(rival.chosen, *self._node.chosen)
                if FITTED[new.option.cause].cause is not None
            ]
            if news:
                error = self._error(applied(self._start, rival.chosen))
                own = self._error(self._display)
                group = [beside(group[0], news[0].cause, error)]
                group += (beside(new, first, own) for new in news)
        return self._worth(self._start, others), tuple(group)

    def _is_as_good(self, rival: Node) -> bool:
        best = self._node
        return rival.cost - best.cost < ALIKE and rival.loss <= AS_NEAR * best.loss + EXACT

    def _candidate(self, chosen: Chosen, node: Node) -> CandidateCause:
        """An option of a display as a candidate cause; without it its images are gone too."""
        gone = [chosen, *(each for each in node.chosen if is_image(each.option, chosen.option))]
        whole = self._whole if node is self._node else self._light_of(node.chosen)
        undone = Counterfactual(
            self._change(self._start, _others(node.chosen, *gone), whole),
            self._change(self._plain, gone, whole),
            self._change(self._plain, (), whole),
        )
        cause = self._cause(chosen, node)
        if node is self._node and cause.fit is not None:
            cause = replace(cause, fit=self._beside_next(cause, cause.fit, chosen))
        return CandidateCause(cause, undone)

    def _cause(self, chosen: Chosen, node: Node) -> Cause:
        whole = applied(self._start, node.chosen)
        without = applied(self._start, _others(node.chosen, chosen))
        error, missing = (self._error(each) for each in (whole, without))
        cause_of = FITTED[chosen.option.cause].cause
        assert cause_of is not None
        return cause_of(FitContext(chosen, self._inputs, whole, without, error, missing))

    def _beside_next(self, cause: Cause, fit: Fit, chosen: Chosen) -> Fit:
        """A cause's fit with the best display that has something else instead."""
        for node in self._found.others(chosen):
            error = self._error(applied(self._start, node.chosen))
            if error >= HELPS * fit.error_without:
                continue
            for other in _others(node.chosen, *self._node.chosen):
                stated = self._cause(other, node) if FITTED[other.option.cause].cause else None
                if stated is not None and not is_alike(stated, cause):
                    return replace(
                        fit, error_of_next=rounded_error(error), next=statement_of(stated)
                    )
        return fit

    def _error(self, display: Display) -> float:
        return float(errors(display, self._inputs)[0].mean())

    def _white_off(self) -> tuple[float, CandidateCause] | None:
        """White outside the rule's limits, both as measured and as modelled."""
        curves = {self._display.curve, self._plain.curve}
        if len(curves) > 1 and "pq" in curves:
            return None  # PQ codes cd/m², other curves a share of the white
        low, high = self._inputs.span
        read, made = self._inputs.white, self._whole.white
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

    def _light_of(self, chosen: Sequence[Chosen]) -> _Light:
        made = simulate(applied(self._start, chosen), self._every)
        return _Light(made.xyz[0], float(made.white[0]))

    def _change(
        self, start: Display, chosen: Sequence[Chosen], whole: _Light | None = None
    ) -> Array:
        """(R, 3) change of the readings from the whole explanation to a part of it, with the same
        luminance of full drive."""
        whole = whole or self._whole
        made = simulate(applied(start, chosen), self._every)
        light = made.xyz[0] * (whole.white / max(float(made.white[0]), 1e-9))
        return change_between(whole.light, light, self._case, self._every)


def _difference(display: Display, other: Display, inputs: Inputs) -> float:
    """Largest ΔE ITP between two displays over the patches."""
    away = itp(simulate(display, inputs).xyz) - itp(simulate(other, inputs).xyz)
    return float(np.linalg.norm(away, axis=-1).max())


def _others(chosen: Sequence[Chosen], *left: Chosen) -> list[Chosen]:
    """The chosen options without those of the same kind as others."""
    gone = {each.option[:3] for each in left}
    return [each for each in chosen if each.option[:3] not in gone]
