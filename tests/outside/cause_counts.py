"""Whether a shall is outside by its U, which kind of cause is first, and the rates."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

RIGHT, TIED, WRONG, SILENT = "right", "same rank", "wrong", "silent"
BARS: Mapping[str, float] = {
    "right first": 0.95,
    "wrong first": 0.01,
    "silent": 0.04,
    "pairs within two": 0.95,
    "good without a cause": 0.995,
    "meter told as the display alone": 0.0,
}
"""At least, at most, at most, at least, at least, at most."""


def excess_in_u(value: Any) -> float:
    """Give how far a finding or a point is outside its limits, in its own U; negative inside.

    U is half of a two-sided interval, and what a one-sided one adds to the value. Of a box around
    zero the coordinate that is further out counts.
    """
    limits, interval = value.limits, value.interval
    if value.value is None or interval is None or limits is None:
        return float("nan")
    shown = np.atleast_1d(np.asarray(value.value, dtype=float))
    low, high = np.atleast_1d(interval.low), np.atleast_1d(interval.high)
    expanded = (high - low) / 2 if interval.sided == 2 else high - shown
    expanded = np.maximum(expanded, 1e-12)
    if limits.box is not None:
        beyond = np.abs(shown) - np.asarray(limits.box)
    else:
        ends = []
        if limits.maximum is not None:
            ends.append(shown - limits.maximum)
        if limits.minimum is not None:
            ends.append(limits.minimum - shown)
        if not ends:
            return float("nan")
        beyond = np.max(ends, axis=0)
    return float(np.max(beyond / expanded))


def furthest(state: Any, level: str = "shall") -> float:
    """Give the largest excess in U of the requirements of a level; -inf if none is judged."""
    found = [-np.inf]
    for finding in state.findings:
        if str(finding.level) != level or finding.value is None:
            continue
        by_point = finding.statistic == "each" and len(finding.points) > 1
        parts = [p for p in finding.points if p.limits is not None] if by_point else [finding]
        found += [excess for part in parts or [finding] if np.isfinite(excess := excess_in_u(part))]
    return float(max(found))


def ranked(causes: Sequence[Any]) -> list[tuple[int, str]]:
    """Give (rank, kind) of causes, rank 1 first; without ranks each has its place."""
    found = [
        (int(getattr(cause, "rank", i + 1)), str(cause.kind)) for i, cause in enumerate(causes)
    ]
    return sorted(found, key=lambda item: item[0])


def first_kinds(causes: Sequence[Any]) -> list[str]:
    """Give the kinds at the first rank."""
    order = ranked(causes)
    return [kind for rank, kind in order if rank == order[0][0]] if order else []


def outcome(causes: Sequence[Any], accepted: Iterable[str]) -> str:
    """Say what came first: right, at the same rank as another, wrong, or silent."""
    first, wanted = first_kinds(causes), set(accepted)
    if not first:
        return SILENT
    hits = [kind in wanted for kind in first]
    return RIGHT if all(hits) else TIED if any(hits) else WRONG


def within_two(causes: Sequence[Any], accepted: Sequence[frozenset[str]]) -> bool:
    """Say whether each of two faults is among the first two causes (or ranks)."""
    order = ranked(causes)
    ranks = sorted({rank for rank, _ in order})[:2]
    kinds = {kind for i, (rank, kind) in enumerate(order) if i < 2 or rank in ranks}
    return all(kinds & wanted for wanted in accepted)


@dataclass
class Tally:
    """Cases of one kind."""

    outside: Counter[str] = field(default_factory=Counter)
    """Outcomes of cases with a shall outside by U or more."""
    wrong: Counter[str] = field(default_factory=Counter)
    mild: Counter[str] = field(default_factory=Counter)
    """Outcomes of the others."""
    seconds: list[float] = field(default_factory=list)
    """CPU of explaining."""
    display_alone: int = 0
    """Told, and no cause of any rank is the meter."""

    def add(self, causes: Sequence[Any], accepted: Iterable[str], *, is_outside: bool) -> str:
        """Count a case."""
        result = outcome(causes, accepted)
        (self.outside if is_outside else self.mild)[result] += 1
        if result == WRONG and is_outside:
            self.wrong["+".join(first_kinds(causes))] += 1
        if causes and all(str(cause.kind) != "meter" for cause in causes):
            self.display_alone += 1
        return result

    def update(self, other: Tally) -> None:
        """Add the counts of another."""
        self.outside.update(other.outside)
        self.wrong.update(other.wrong)
        self.mild.update(other.mild)
        self.seconds += other.seconds
        self.display_alone += other.display_alone

    @property
    def count(self) -> int:
        """Cases with a shall outside by U."""
        return sum(self.outside.values())

    def row(self) -> str:
        """Give the numbers as a line."""
        names = ", ".join(f"{kind} {count}" for kind, count in self.wrong.most_common())
        told = sum(self.mild.values()) - self.mild[SILENT]
        good = self.mild[RIGHT] + self.mild[TIED]
        return (
            f"{self.count:4d} {self.outside[RIGHT]:5d} {self.outside[TIED]:5d} "
            f"{self.outside[WRONG]:5d} {self.outside[SILENT]:6d} | "
            f"{sum(self.mild.values()):4d} {told:4d} {told - good:5d}  {names}"
        )


HEADER = (
    f"{'':44s} {'out':>4s} {'right':>5s} {'tied':>5s} {'wrong':>5s} {'silent':>6s} | "
    f"{'mild':>4s} {'told':>4s} {'wrong':>5s}  wrongly named"
)


@dataclass
class Report:
    """Everything that was counted, of one rule or of all."""

    faults: dict[tuple[str, str], Tally] = field(default_factory=dict)
    meters: dict[tuple[str, str], Tally] = field(default_factory=dict)
    pairs: dict[tuple[str, str], Counter[str]] = field(default_factory=dict)
    """Within two, not, hidden, mild; and what was told where not."""
    good: Counter[str] = field(default_factory=Counter)
    good_told: Counter[str] = field(default_factory=Counter)

    def tally(self, name: str, strength: str, *, of_meter: bool) -> Tally:
        """Give the tally of a fault at a strength."""
        table = self.meters if of_meter else self.faults
        return table.setdefault((name, strength), Tally())

    def update(self, other: Report) -> None:
        """Add the counts of another."""
        for mine, theirs in ((self.faults, other.faults), (self.meters, other.meters)):
            for key, tally in theirs.items():
                mine.setdefault(key, Tally()).update(tally)
        for pair, counts in other.pairs.items():
            self.pairs.setdefault(pair, Counter()).update(counts)
        self.good.update(other.good)
        self.good_told.update(other.good_told)

    def lines(self) -> Iterator[str]:
        """Give the tables: by strength, by fault from the worst, pairs, good displays, bars."""
        yield HEADER
        for (name, strength), tally in {**self.faults, **self.meters}.items():
            yield f"{f'{name}: {strength}':44s} {tally.row()}"
        yield from self._worst()
        for (first, second), counts in self.pairs.items():
            others = {k: v for k, v in counts.items() if k not in ("within", "not", "hidden")}
            told = ", ".join(f"{k} {v}" for k, v in others.items())
            yield (
                f"pair {f'{first} + {second}':60s} within two {counts['within']}, not "
                f"{counts['not']}, hidden {counts['hidden']}; {told}"
            )
        told = ", ".join(f"{k} {v}" for k, v in self.good_told.most_common())
        yield f"good displays: {dict(self.good)}; told: {told or 'nothing'}"
        yield from self.bars()

    def _worst(self) -> Iterator[str]:
        """Give faults from the one that is most often not first."""
        by_name: dict[str, Tally] = {}
        for (name, _), tally in {**self.faults, **self.meters}.items():
            by_name.setdefault(name, Tally()).update(tally)
        order = sorted(by_name.items(), key=lambda i: -i[1].outside[WRONG] - i[1].outside[SILENT])
        yield "by fault, from the one most often missed:"
        for name, tally in order:
            yield f"{name:44s} {tally.row()}"

    def bars(self) -> Iterator[str]:
        """Give each rate with its bar."""
        total = Tally()
        for tally in self.faults.values():
            total.update(tally)
        meters = Tally()
        for tally in self.meters.values():
            meters.update(tally)
        count = max(total.count, 1)
        pairs: Counter[str] = Counter()
        for counts in self.pairs.values():
            pairs.update({k: counts[k] for k in ("within", "not", "hidden")})
        judged = pairs["within"] + pairs["not"]
        good = self.good["silent"] + self.good["told"]
        right = total.outside[RIGHT] + total.outside[TIED]
        yield _bar("right first", right, count, least=True)
        yield _bar("wrong first", total.outside[WRONG], count)
        yield _bar("silent", total.outside[SILENT], count)
        mild = sum(total.mild.values())
        yield (
            f"others, no shall outside by U: {mild}, silent {total.mild[SILENT]}, told right "
            f"{total.mild[RIGHT] + total.mild[TIED]}, told wrong {total.mild[WRONG]}"
        )
        yield _bar("pairs within two", pairs["within"], judged, least=True) + (
            f"; hidden {pairs['hidden']}"
        )
        yield _bar("good without a cause", self.good["silent"], good, least=True)
        yield _bar("meter told as the display alone", meters.display_alone, meters.count)
        first = meters.outside[RIGHT] + meters.outside[TIED]
        yield f"meter first or at the same rank: {first} of {meters.count}"
        seconds = [*total.seconds, *meters.seconds]
        if seconds:
            yield (
                f"CPU of explaining: median {np.median(seconds):.2f} s, 95 % "
                f"{np.quantile(seconds, 0.95):.2f} s, most {max(seconds):.2f} s of {len(seconds)}"
            )


def _bar(name: str, count: int, total: int, *, least: bool = False) -> str:
    rate, bar = count / max(total, 1), BARS[name]
    met = rate >= bar if least else rate <= bar
    sign = "≥" if least else "≤"
    return (
        f"{name}: {count} of {total}, {rate:.1%} ({sign} {bar:.1%}: {'met' if met else 'MISSED'})"
    )
