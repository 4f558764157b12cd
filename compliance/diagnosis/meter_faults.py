"""The meter as a cause: it is not matched to the display that it reads.

Filters that differ from the standard observer's read all colours of a display with three primaries
through one matrix, exactly: white off, primaries off, all mixtures consistent. Other primaries and
another white of the display give the same light, so the readings alone never tell the two apart;
what is known of the meter decides which comes first.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from compliance.colour import spaces
from compliance.diagnosis.causes import ERROR, MUCH, number, rounded
from compliance.diagnosis.colour_faults import HUES, SET_UP, primaries_read
from compliance.diagnosis.faulty_display import Display, Shown, matrices, simulate
from compliance.diagnosis.fitting import (
    CAUSE,
    Array,
    Chosen,
    Node,
    applied,
    cost,
    loss,
    loss_of,
    price,
)
from compliance.diagnosis.inputs import VEIL, Inputs, itp
from compliance.grading.correction import COLORIMETER, Unmatched, unmatched
from compliance.model import Cause, Facts, Fit, Measurement

RIVALS = {"primaries", "white", "white-elsewhere", "gain"}
"""Causes whose light a matrix can make."""
PRICE = 0.3
"""Fall of the logarithm of the loss that a matrix must bring: it has eight values."""
WHITE_MOST, HUE_MOST = 0.03, 0.045
"""Largest error in x or y of an uncorrected colorimeter, of white and of a primary: filters that
are off by 2 nm and 5 nm wide, and other observers, on six panels of narrow and wide primaries."""
HUE_MOST_MATCHED = 0.02
"""The same for a meter against which nothing is known."""
LUMINANCE_MOST = 0.06
"""Largest error of the luminance of white, as a share; these meters err by up to 0.035."""
UNSTATED = 0.002
"""Expanded uncertainty of x and y, if the meter's file states none."""
ROUNDS = 3
"""Steps of the fit of a matrix."""
STEP = 1e-4
"""Share of a reading over which the slope of ITP is taken."""


class Instrument(NamedTuple):
    """The data on a meter that decide how far it may be a cause."""

    kind: str = ""
    """As in the meter file; empty if there is none"""
    lacking: Unmatched | None = None
    """Why a colorimeter is not known to be matched to the display."""
    white: float = UNSTATED
    """Expanded uncertainty of x and y of white"""
    hue: float = UNSTATED
    """The same of primaries"""

    @property
    def correction(self) -> str:
        """What is known of its correction."""
        if self.lacking is not None:
            return self.lacking.why
        return "stated" if self.kind == COLORIMETER else self.kind or "unknown"


UNKNOWN = Instrument()


def instrument_of(measurement: Measurement) -> Instrument:
    """The instrument of a measurement, by its meter file and the display."""
    meter = measurement.meter
    if meter is None:
        return UNKNOWN
    known = Instrument(meter.kind, unmatched(meter, measurement.measured_display))
    if meter.uncertainty is None or not meter.uncertainty.chromaticity:
        return known
    bright, hue = meter.uncertainty.chromaticity[-1], meter.uncertainty.saturated
    white = max(bright.x, bright.y)
    more = 0.0 if hue is None else max(hue.x, hue.y)
    return known._replace(white=white, hue=float(np.hypot(white, more)))


class MeterFault(NamedTuple):
    """One matrix that a meter reads all colours through."""

    matrix: Array
    """(3, 3) from true to read XYZ"""
    rest: tuple[Chosen, ...]
    """The display's own faults beside it."""
    rivals: frozenset[str]
    """Kinds of causes that make the same light."""
    goes_first: bool
    """Whether it comes before its rivals."""
    loss: float
    worth: float
    """Fall of the loss by the matrix."""
    errors: tuple[float, float]
    """Mean ΔE ITP with the matrix and without it"""
    moved: Array
    """(4,) Δu'v' of white, red, green and blue"""
    stands_alone: bool
    """Whether it is told where the display has no fault of the same light: of a colorimeter that is
    not known to be matched, and moves one of these colours by more than 2U"""
    instrument: Instrument

    def taken_out(self, readings: Array) -> Array:
        """(R, 3) change of readings (R, 3) if the meter were right."""
        return np.asarray(readings @ (np.linalg.inv(self.matrix) - np.eye(3)).T)


class _Trial(NamedTuple):
    """A matrix on top of some of the display's faults."""

    rest: tuple[Chosen, ...]
    dropped: tuple[Chosen, ...]
    matrix: Array
    loss: float
    loss_without: float
    shown: Shown

    @property
    def cost(self) -> float:
        return cost(self.loss) + sum(map(price, self.rest))


def find_meter_fault(
    start: Display, node: Node, inputs: Inputs, instrument: Instrument
) -> MeterFault | None:
    """The matrix that explains the readings as well as the display's faults of colour do; None if
    none does, or if a meter of this kind does not err so.

    A meter against which nothing is known is a rival of primaries without a name only.
    """
    if np.any(inputs.hues < 0):
        return None
    trials = [
        trial
        for trial in _trials(start, node, inputs)
        if _fits(trial, node, instrument) and _is_plausible(trial, start, inputs, instrument)
    ]
    best = min(trials, key=lambda trial: trial.cost, default=None)
    if best is None:
        return None
    light = best.shown.xyz[0]
    through = light @ best.matrix.T
    moved, xy = _moved(best.matrix, applied(start, best.rest), inputs)
    return MeterFault(
        best.matrix,
        best.rest,
        frozenset(chosen.option.cause.partition("-")[0] for chosen in best.dropped) | {"white"},
        instrument.lacking is not None
        and not _has_named_primaries(best.dropped, inputs, instrument),
        best.loss,
        best.loss_without - best.loss,
        (_error(through, inputs), _error(light, inputs)),
        moved,
        instrument.lacking is not None
        and bool(xy[0] > 2 * instrument.white or xy[1:].max() > 2 * instrument.hue),
        instrument,
    )


def _trials(start: Display, node: Node, inputs: Inputs) -> Iterator[_Trial]:
    """A matrix with each part of the display's faults."""
    for count in range(len(node.chosen) + 1):
        for rest in itertools.combinations(node.chosen, count):
            display = applied(start, rest)
            shown = simulate(display, _aimed(display, inputs))
            matrix = nearest_matrix(shown.xyz[0], inputs)
            through = shown._replace(xyz=shown.xyz @ matrix.T)
            dropped = tuple(each for each in node.chosen if not any(each is one for one in rest))
            yield _Trial(
                rest,
                dropped,
                matrix,
                float(loss_of(through, display, inputs)[0]),
                float(loss(display, inputs)[0]),
                shown,
            )


def _aimed(display: Display, inputs: Inputs) -> Inputs:
    """The inputs for a display whose white is exactly its own: none of a matrix goes into the
    tolerance of a good display's white."""
    own = (matrices(display.primaries, display.white) * display.gain[:, None, :]).sum(axis=-1)
    return inputs._replace(white_uv=np.asarray(spaces.xyz_to_uv(own))[0])


def nearest_matrix(light: Array, inputs: Inputs) -> Array:
    """(3, 3) matrix that brings light (P, 3) nearest to the readings; it changes the luminance of
    the rule's white little.

    Least squares of XYZ as shares of each reading, then of ITP by Gauss and Newton's method.
    """
    weight = 1 / (inputs.xyz.sum(axis=1) + 3 * VEIL)
    found, *_ = np.linalg.lstsq(light * weight[:, None], inputs.xyz * weight[:, None], rcond=None)
    matrix = np.asarray(found.T)
    for _ in range(ROUNDS):
        matrix = matrix + _step(matrix, light, inputs)
    white = inputs.model.white_xyz
    share = max(float((matrix @ white)[1] / white[1]), 1e-9)
    return np.asarray(matrix * (np.clip(share, 1 - LUMINANCE_MOST, 1 + LUMINANCE_MOST) / share))


def _step(matrix: Array, light: Array, inputs: Inputs) -> Array:
    """(3, 3) change of a matrix that brings light nearer to the readings in ITP, patches that do
    not fit counting less."""
    read = light @ matrix.T
    there = itp(read)
    left = inputs.itp - there
    size = STEP * (read.sum(axis=1) + 3 * VEIL)
    moved = read[:, None, :] + size[:, None, None] * np.eye(3)
    slopes = (itp(moved) - there[:, None, :]) / size[:, None, None]
    weight = (1 + (left**2).sum(axis=-1)) ** -0.25
    system = np.einsum("p,pji,pk->pijk", weight, slopes, light).reshape(-1, 9)
    found, *_ = np.linalg.lstsq(system, (weight[:, None] * left).ravel(), rcond=None)
    return np.asarray(found.reshape(3, 3))


def _fits(trial: _Trial, node: Node, instrument: Instrument) -> bool:
    """Whether a matrix is worth its price, and explains the readings as well as the faults that it
    stands for."""
    if cost(trial.loss_without) - cost(trial.loss) < PRICE:
        return False
    options = [chosen.option for chosen in trial.dropped]
    of_colour = bool(options) and all(option.cause in RIVALS for option in options)
    if instrument.lacking is None:
        names = {(option.cause, option.variant) for option in options}
        named = any(cause in ("primaries", "white") and way != "unnamed" for cause, way in names)
        return (
            of_colour
            and ("primaries", "unnamed") in names
            and not named
            and cost(trial.loss) <= cost(node.loss) + CAUSE
        )
    if of_colour:
        return cost(trial.loss) <= cost(node.loss) + CAUSE
    return trial.cost + PRICE <= node.cost


def _is_plausible(trial: _Trial, start: Display, inputs: Inputs, instrument: Instrument) -> bool:
    """Whether a matrix moves no colour by more than meters err."""
    away = _moved(trial.matrix, applied(start, trial.rest), inputs)[1]
    white, hues = float(away[0]), float(away[1:].max())
    most = HUE_MOST if instrument.lacking else HUE_MOST_MATCHED
    return white <= WHITE_MOST and hues <= most


def _moved(matrix: Array, display: Display, inputs: Inputs) -> tuple[Array, Array]:
    """(4,) Δu'v', and (4,) the larger of the changes of x and y, of white, red, green and blue."""
    white = np.asarray(spaces.xyz_to_xy(inputs.model.white_xyz))
    true = np.vstack([inputs.model.white_xyz, matrices(display.primaries, white[None])[0].T])
    read = true @ matrix.T
    if np.any(read.sum(axis=1) <= 0):
        return np.full(4, np.inf), np.full(4, np.inf)
    uv = spaces.xyz_to_uv(read) - spaces.xyz_to_uv(true)
    xy = spaces.xyz_to_xy(read) - spaces.xyz_to_xy(true)
    return np.asarray(np.linalg.norm(uv, axis=-1)), np.asarray(np.abs(xy).max(axis=-1))


def _has_named_primaries(dropped: Sequence[Chosen], inputs: Inputs, instrument: Instrument) -> bool:
    """Whether the primaries as read are those of a known set, which no meter makes by chance."""
    read = primaries_read(inputs)
    if read is None:
        return False
    near = max(instrument.hue, SET_UP)
    return any(
        np.abs(np.array(spaces.PRIMARIES[option.subject]) - read).max() <= near
        for option, _ in dropped
        if (option.cause, option.variant) == ("primaries", "shown")
    )


def _error(light: Array, inputs: Inputs) -> float:
    return float(np.linalg.norm(itp(light) - inputs.itp, axis=-1).mean())


def meter_cause(fault: MeterFault) -> Cause:
    """The cause of a meter that is not matched, with how far it moves white and the primaries."""
    instrument = fault.instrument
    moved = tuple(zip(("white", *HUES), map(rounded, fault.moved), strict=True))
    facts: Facts = {} if instrument.lacking is None else instrument.lacking.facts
    error, without = (round(value, ERROR) for value in fault.errors)
    return Cause(
        "meter",
        {"moved": moved, "correction": instrument.correction, **facts},
        share=rounded(100 * (1 - error / without), 2),
        evidence=(
            *(number("meter-moves", by, "Δu'v'", {"colour": colour}) for colour, by in moved),
            number("error", error, "ΔE ITP"),
            number("error-without", without, "ΔE ITP"),
        ),
        fit=Fit(error, without, poor=error > MUCH),
    )
