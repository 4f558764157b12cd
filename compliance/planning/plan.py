"""A measuring plan: its table, its duration, and cautions.

The duration does not include moving the meter, setting up patterns and warming up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.model import Encoding, Meter, Rule, Statement
from compliance.planning.stimuli import ExtraPatches, Stimulus, merged, ordered
from compliance.targets import target_model

EMISSIVE = ("oled", "led", "plasma", "crt")


def cautions(rules: Sequence[Rule], technology: str | None) -> tuple[Statement, ...]:
    """The cautions for measuring by these rules on a display of that technology.

    If the technology is not known, all that may apply: the beam if a rule has limits for
    projectors, ageing in any case.
    """
    beams = any(row.displays == "projector" for rule in rules for row in rule.requirements)
    kept = [Statement("flashing")]
    if technology == "projector" or (technology is None and beams):
        kept.append(Statement("beam"))
    if technology is None or technology in EMISSIVE:
        kept.append(Statement("burn-in"))
    return tuple(kept)


HIGH_RANGE = ("pq", "hlg")
LEAST_BITS = 10
"""Of PQ and HLG, which ITU-R BT.2100 codes in 10 or 12 bits."""
LIT = 1.0
"""cd/m² from which the steps of luminance count."""


def encoding_warnings(rules: Sequence[Rule], encoding: Encoding) -> tuple[Statement, ...]:
    """Warnings about measuring these rules in the encoding; none if it is made for them."""
    warnings = [warning for rule in rules for warning in _warnings(rule, encoding)]
    return tuple(
        warning for place, warning in enumerate(warnings) if warning not in warnings[:place]
    )


def _warnings(rule: Rule, encoding: Encoding) -> Iterator[Statement]:
    if rule.target.curve in HIGH_RANGE and encoding.bits < LEAST_BITS:
        step = float(f"{_coarsest(rule, encoding):.2g}")
        yield Statement(
            "few-bits", {"encoding": encoding.name, "bits": encoding.bits, "step": step}
        )
    if rule.encoding.kind != encoding.kind:
        yield Statement(
            "recoded",
            {"rule": rule.id, "written_for": rule.encoding.name, "encoding": encoding.name},
        )


def _coarsest(rule: Rule, encoding: Encoding) -> float:
    """Largest step of luminance in % between neighbouring grey codes, up to the peak."""
    model = target_model(rule, encoding)
    every = np.repeat(np.arange(encoding.top + 1)[:, None], 3, axis=1)
    signal = np.asarray(codes.decode(every, encoding.bits, encoding.narrow), dtype=np.float64)
    level = targets.nominal_xyz(signal, model)[:, 1]
    level = level[(level >= LIT) & (level <= model.peak_luminance)]
    return 100 * float(np.max(level[1:] / level[:-1])) - 100


TYPICAL_SETTLE = 1.0
TYPICAL_READING = 7.3
"""s, of a colorimeter without stated times: 101 patches take about 14 minutes (practice)."""


@dataclass(frozen=True, slots=True)
class Duration:
    seconds: float
    assumed: bool
    """Whether settling or reading is a typical meter's, because the meter's own is not known."""


def duration(steps: Sequence[Stimulus], meter: Meter | None) -> Duration:
    """The time of measuring, from the first patch shown to the end of the last reading."""
    settle = meter.settle if meter else None
    bands = meter.reading_time if meter else ()
    total, shown, on = 0.0, None, 0.0
    for step in steps:
        reading = reading_time(step.level, bands)
        if step.shown != shown or not step.seconds:
            shown, on = step.shown, 0.0
        waiting = max(step.seconds - on, 0.0)
        if not step.seconds:
            waiting = TYPICAL_SETTLE if settle is None else settle
        on += waiting + reading
        total += waiting + reading
    return Duration(total, settle is None or not bands)


def reading_time(level: float, bands: Sequence[tuple[float, float]]) -> float:
    """s for a reading at that luminance in cd/m², by the meter's bands; typical without bands."""
    if not bands:
        return TYPICAL_READING
    matching = [seconds for start, seconds in bands if level >= start]
    return matching[-1] if matching else bands[0][1]


VALUES = ("X", "Y", "Z"), ("Y", "x", "y")


@dataclass(frozen=True, slots=True)
class MeasuringPlan:
    """The stimuli to show and read, in order."""

    rules: tuple[Rule, ...]
    encoding: Encoding
    steps: tuple[Stimulus, ...]
    """One for each reading."""
    duration: Duration
    cautions: tuple[Statement, ...]
    doubts: tuple[Statement, ...]
    """Warnings about the encoding."""

    @property
    def patches(self) -> int:
        """The number of different patches, regardless of place and time of reading."""
        return len({(step.codes, step.window, step.pattern) for step in self.steps})

    def rows(self, *, chromaticity: bool = False) -> tuple[tuple[str, ...], ...]:
        """The header and a row for each reading, with empty measured values.

        With `chromaticity` their columns are Y, x, y instead of X, Y, Z.
        """
        names = ("c1", "c2", "c3") if self.encoding.kind == "xyz" else ("r", "g", "b")
        places = ("position", "window", "pattern", "seconds", "encoding")
        return (
            (*names, *VALUES[chromaticity], *places),
            *(
                (
                    *(str(code) for code in step.codes),
                    *("", "", ""),
                    step.position,
                    f"{step.window:g}",
                    step.pattern,
                    f"{step.seconds:g}",
                    self.encoding.name,
                )
                for step in self.steps
            ),
        )


def measuring_plan(
    rules: Sequence[Rule],
    encoding: Encoding,
    *,
    technology: str | None = None,
    points: int = 0,
    further: ExtraPatches | None = None,
    meter: Meter | None = None,
) -> MeasuringPlan:
    """The plan for the rules on one slot; a patch that rules share is measured once.

    `technology` is the display's, None if it is not known; `points` > 0 adds a grid of
    that many points for each channel, `further` other extra patches. Raises RuleError if a rule
    and the encoding do not go together, ValueError for a grid that is not possible.
    """
    steps = ordered(merged(rules, encoding, technology=technology, points=points, further=further))
    return MeasuringPlan(
        rules=tuple(rules),
        encoding=encoding,
        steps=steps,
        duration=duration(steps, meter),
        cautions=cautions(rules, technology),
        doubts=encoding_warnings(rules, encoding),
    )
