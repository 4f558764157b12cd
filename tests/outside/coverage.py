"""How often the program's intervals hold the true value, and how often it accepts on a limit.

For each set: a display, a meter with errors of its own, its readings of outside-plain.yaml's
patches, one call of the program. `python -m outside.bars` prints the outcome.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

import compliance
import compliance.assessment
from compliance.assessment import graded_state
from outside import truths
from outside.displays import Array, Display
from outside.meters import Certificate, Nature, read

RULES = Path(__file__).with_name("rules")
NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
DRAWS = 500
"""Draws of the program for each set: the ends of its intervals scatter by 1 % of coverage, which
averages out over the sets."""


@dataclass(frozen=True)
class Case:
    """A certificate, what the meter's errors really are, and which displays it reads.

    `stated` is what its file says, where that is less than the certificate. Each patch is read
    `repeats` times.
    """

    name: str
    certificate: Certificate
    nature: Nature
    on_limit: bool = False
    stated: Certificate | None = None
    repeats: int = 1


@dataclass
class Counts:
    """By requirement and patch: sets, those whose interval holds the truth, p >= .95, p unknown."""

    sets: Counter[truths.Key] = field(default_factory=Counter)
    held: Counter[truths.Key] = field(default_factory=Counter)
    accepted: Counter[truths.Key] = field(default_factory=Counter)
    unknown: Counter[truths.Key] = field(default_factory=Counter)
    not_judged: Counter[truths.Key] = field(default_factory=Counter)

    def add(self, other: Counts) -> None:
        """Add the counts of other sets."""
        for name in vars(self):
            getattr(self, name).update(getattr(other, name))

    def share(self, key: truths.Key, what: str = "held") -> float:
        """Give the share of sets; nan if there was none."""
        return getattr(self, what)[key] / self.sets[key] if self.sets[key] else float("nan")

    def pooled(self, requirement: str, what: str = "held") -> tuple[float, int]:
        """Give the share over all patches of a requirement, and how many values it is of."""
        keys = [key for key in self.sets if key[0] == requirement and key[1] != "worst"]
        total = sum(self.sets[key] for key in keys)
        return sum(getattr(self, what)[key] for key in keys) / max(total, 1), total


@contextmanager
def without_causes() -> Iterator[None]:
    """Have the program look for causes of no finding: nine tenths of its time, no value of any."""
    search = compliance.assessment.diagnosis_of
    with patch.object(
        compliance.assessment, "diagnosis_of", lambda measurement, findings: search(measurement, ())
    ):
        yield


def readings_text(codes: Iterable[truths.Code], xyz: Array) -> str:
    """Give readings as the program's CSV."""
    rows = [
        ",".join([*map(str, code), *(f"{value:.9g}" for value in row)])
        for code, row in zip(codes, xyz, strict=True)
    ]
    return "\n".join(["r,g,b,X,Y,Z", *rows]) + "\n"


def grade(
    rule: Any, codes: Array, xyz: Array, meter: Any, folder: Path, seed: int, draws: int = DRAWS
) -> Any:
    """Have the program grade these readings."""
    file = folder / "readings.csv"
    file.write_text(readings_text([tuple(code) for code in codes], xyz), encoding="utf-8")
    readings = compliance.load_readings(file, "rgb-10-full")
    measurement = compliance.Measurement(rule, readings, meter=meter)
    with without_causes():
        return graded_state(measurement, now=NOW, seed=seed, draws=draws)


def display_of(case: Case, number: int, generator: np.random.Generator) -> tuple[Display, Any]:
    """Draw the display of a set, and which of its values are on a limit."""
    if case.on_limit:
        return truths.ON_LIMIT[number % len(truths.ON_LIMIT)](generator)
    return truths.good(generator), None


def simulate(case: Case, numbers: Iterable[int], draws: int = DRAWS) -> Counts:
    """Count over these sets; a set's number is its seed, so sets may be run in any parts.

    In a case on a limit only the values on one are counted.
    """
    rule = compliance.load_rule(RULES / "outside-plain.yaml")
    counts = Counts()
    codes = np.repeat(np.array(truths.plan()), case.repeats, axis=0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "meter.yaml").write_text(
            (case.stated or case.certificate).text(), encoding="utf-8"
        )
        meter = compliance.load_meter(folder / "meter.yaml")
        for number in numbers:
            generator = np.random.default_rng([20, number])
            display, on_limit = display_of(case, number, generator)
            xyz = read(
                display.xyz(codes),
                case.certificate,
                case.nature,
                generator,
                primaries=display.primaries,
                white=display.white_colour,
            )
            state = grade(rule, codes, xyz, meter, folder, number, draws)
            count(state, truths.true_values(display), on_limit, counts)
    return counts


def count(state: Any, true: dict[truths.Key, tuple[float, ...]], on_limit: Any, to: Counts) -> None:
    """Add one graded set."""
    seen = set()
    for finding in state.findings:
        points = [(point, point.name) for point in finding.points if point.interval is not None]
        if (finding.id, "") in true:
            points = [(finding, "")]
        elif finding.interval is not None and len(points) > 1 and on_limit is None:
            worst = next(name for point, name in points if point.value == finding.value)
            _count_value(finding, true[finding.id, worst], (finding.id, "worst"), to)
        for value, name in points:
            key = (finding.id, name)
            if value.interval is not None and (on_limit is None or key in on_limit):
                _count_value(value, true[key], key, to)
                seen.add(key)
    for key in (set(true) if on_limit is None else on_limit) - seen:
        to.not_judged[key] += 1


def _count_value(value: Any, true: tuple[float, ...], key: truths.Key, to: Counts) -> None:
    """Count each coordinate of a value; its probability once for each too."""
    low = np.atleast_1d(value.interval.low)
    high = np.atleast_1d(value.interval.high)
    inside = (low <= np.array(true)) & (np.array(true) <= high)
    to.sets[key] += len(true)
    to.held[key] += int(inside.sum())
    if value.probability is None:
        to.unknown[key] += len(true)
    elif value.probability >= 0.95:
        to.accepted[key] += len(true)
