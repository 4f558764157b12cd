"""The plan as a whole, and as a table that becomes readings once values are filled in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from compliance.model import Encoding, Meter, Rule
from compliance.planning.cautions import cautions
from compliance.planning.merging import Further, Stimulus, merged
from compliance.planning.ordering import ordered
from compliance.planning.precision import doubts
from compliance.planning.timing import Duration, duration

__all__ = ["MeasuringPlan", "measuring_plan"]

VALUES = ("X", "Y", "Z"), ("Y", "x", "y")


@dataclass(frozen=True, slots=True)
class MeasuringPlan:
    """What to show and read, in order."""

    rules: tuple[Rule, ...]
    encoding: Encoding
    steps: tuple[Stimulus, ...]
    """One for each reading."""
    duration: Duration
    cautions: tuple[str, ...]
    doubts: tuple[str, ...]
    """What the encoding cannot carry well."""

    @property
    def patches(self) -> int:
        """How many different patches there are, at whatever place and time they are read."""
        return len({(step.codes, step.window, step.pattern) for step in self.steps})

    def rows(self, *, chromaticity: bool = False) -> tuple[tuple[str, ...], ...]:
        """The header and a row for each reading, the measured values left empty.

        With `chromaticity` they are to be Y, x, y instead of X, Y, Z.
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
    further: Further | None = None,
    meter: Meter | None = None,
) -> MeasuringPlan:
    """What to measure for the rules on one slot, each patch once where rules share it.

    `technology` is the display's, None where it is not known; `points` > 0 adds a grid of
    that many points for each channel, `further` what is measured beside the rules. Raises
    RuleError where a rule and the encoding do not go together, ValueError for a grid that
    cannot be.
    """
    steps = ordered(merged(rules, encoding, technology=technology, points=points, further=further))
    return MeasuringPlan(
        rules=tuple(rules),
        encoding=encoding,
        steps=steps,
        duration=duration(steps, meter),
        cautions=cautions(rules, technology),
        doubts=doubts(rules, encoding),
    )
