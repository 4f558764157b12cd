"""How often good displays fail, printed by rule and meter: `python -m outside.acceptance`.

A good display is inside every shall limit by U of the meter that reads it, U being twice the
standard deviation of its readings about the true value (distances are read too large). Where U is
more than the limit leaves an ideal display, it is held at mid-limits, and the requirement is listed
and has no bar. Exit code 1 if a bar is missed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import compliance
from outside import kinds, slots
from outside.displays import Array
from outside.meters import FILTER, ONE_FIGURE, SPECTRORADIOMETER, Certificate, Nature, read
from outside.panel import Panel
from outside.qualities import Frame, Values, frame_of
from outside.rulebook import SPECS, Requirement, Rulebook

FINDINGS_FAIL = 0.001
NOT_COMPLIANT = 0.03
READINGS = 60
REFERENCE = replace(
    SPECTRORADIOMETER,
    luminance=((0.0005, 5.0), (0.01, 3.0), (1.0, 2.0)),
    linearity=0.5,
    linearity_xy=0.0005,
    dark=0.0002,
    resolution=0.00001,
    chromaticity=((0.03, 0.003), (1.0, 0.0015)),
    repeatability=((0.0005, 2.0, 0.002), (0.1, 0.5, 0.0006), (1.0, 0.2, 0.0003)),
    lowest=0.0005,
)
MATCHED = replace(FILTER, linearity=0.5, linearity_xy=0.0005, saturated=(0.0015, 2.0))
"""A filter colorimeter with a correction for the display, as the page on meters has it."""
METERS: Mapping[str, Certificate] = {
    "reference": REFERENCE,
    "matched": MATCHED,
    "one-figure": ONE_FIGURE,
}
NATURE = Nature(1.0)


@dataclass(frozen=True)
class Need:
    """What a requirement's points need: U (point,) and the margin of the kind's best panel."""

    expanded: Array
    room: Array
    two_sided: Array

    @property
    def held(self) -> Array:
        """Say which points no display can hold by U."""
        return self.expanded > 0.9 * self.room

    @property
    def margin(self) -> Array:
        """Give the margin that a good display has: U, or nearly the middle of the limits."""
        middle = np.where(self.two_sided, 0.9, 0.5) * np.maximum(self.room, 0)
        return np.where(self.held, middle, self.expanded)


@dataclass
class Case:
    """A rule, a meter, a kind of display."""

    book: Rulebook
    meter: Certificate
    kind: kinds.Kind

    @property
    def judged(self) -> list[Requirement]:
        """The shall requirements that apply to the kind and cover patches."""
        return [
            requirement
            for requirement in self.book.requirements
            if requirement.shall and self.book.applies(requirement, self.kind.technology)
        ]

    def readings(self, true: Array, generator: np.random.Generator) -> Array:
        """Read a display's rows (row, 3) once with a meter of its own errors."""
        target = self.book.target
        return read(
            true, self.meter, NATURE, generator, primaries=target.primaries, white=target.white_xy
        )

    def with_hidden_black(self, xyz: Array, share: float, true: Array | None = None) -> Array:
        """Give rows (..., row, 3) whose blacks, where the meter cannot tell them, are known.

        They are that share of the true black: the greys tell 1, and leave down to 0 open.
        """
        light = xyz if true is None else true
        blacks = [i for i, row in enumerate(self.book.rows) if row.codes == self.book.black_code]
        hidden = [i for i in blacks if light[i, 1] < (self.meter.lowest or 0)]
        found = xyz.copy()
        found[..., hidden, :] = share * light[hidden]
        return found

    def needs(self) -> dict[str, Need]:
        """Give what each requirement needs, from readings of a few typical displays."""
        generator = np.random.default_rng(7)
        best = kinds.best(self.book, self.kind)
        panels = [best, *(kinds.draw(self.book, self.kind, generator, 0.5) for _ in range(2))]
        expanded: dict[str, Array] = {}
        for panel in panels:
            true = panel.shown(self.book)
            noisy = np.stack([self.readings(true, generator) for _ in range(READINGS)])
            frame = frame_of(self.book, true, nominal_peak=None)
            values = Values.of(self.book, noisy, frame)
            fitted = Values.of(self.book, self.with_hidden_black(noisy, 1.0, true), frame)
            exact = Values.of(self.book, true, frame)
            unlit = Values.of(self.book, self.with_hidden_black(true, 0.0), frame)
            for requirement in self.judged:
                of_black = requirement.quantity in ("luminance", "contrast")
                shown = (values if of_black else fitted).sure(requirement).values
                off = shown - exact.sure(requirement).values
                spread = 2 * np.sqrt(np.nanmean(off**2, axis=0))
                if not of_black:
                    left = unlit.sure(requirement).values - exact.sure(requirement).values
                    spread = spread + np.abs(left)
                if requirement.box is not None:
                    spread = spread.max(axis=-1)
                expanded[requirement.id] = np.maximum(expanded.get(requirement.id, 0), spread)
        true = best.shown(self.book)
        values = Values.of(self.book, true, frame_of(self.book, true))
        found = {}
        for requirement in self.judged:
            points = values.sure(requirement)
            low, high = points.ends()
            two = (np.isfinite(low) & np.isfinite(high)) | (requirement.box is not None)
            found[requirement.id] = Need(expanded[requirement.id], points.margins(), two)
        return found

    def short(
        self, panel: Panel, needs: Mapping[str, Need], frame: Frame | None = None
    ) -> list[str]:
        """Name the requirements of which a display is not inside by what they need."""
        true = panel.shown(self.book)
        values = Values.of(self.book, true, frame or frame_of(self.book, true))
        found = []
        for requirement in self.judged:
            points = values.sure(requirement)
            lack = points.margins() < needs[requirement.id].margin
            if np.any(lack & points.counted):
                found.append(requirement.id)
        return found

    def good(
        self, needs: Mapping[str, Need], generator: np.random.Generator
    ) -> tuple[Panel, float] | list[str]:
        """Draw a good display, smaller errors each time one is not; or what no draw holds."""
        size = float(generator.uniform(0.5, 2.0))
        lacking: list[str] = []
        while size > 0.02:
            panel = kinds.draw(self.book, self.kind, generator, size)
            lacking = self.short(panel, needs)
            if not lacking:
                return panel, size
            size *= 0.85
        return lacking


@dataclass
class Counts:
    """What came of the sets of a rule and a meter."""

    sets: int = 0
    findings: int = 0
    failed: Counter[str] = field(default_factory=Counter)
    outside: Counter[str] = field(default_factory=Counter)
    conditional_by: Counter[str] = field(default_factory=Counter)
    open_by: Counter[str] = field(default_factory=Counter)
    verdicts: Counter[str] = field(default_factory=Counter)
    held: set[str] = field(default_factory=set)
    """Requirements that no display holds by U: they are counted, but have no bar."""
    held_findings: int = 0
    outside_but_held: int = 0
    """Assessments with a requirement outside that is not one of those."""
    sizes: list[float] = field(default_factory=list)

    def add(self, state: Any) -> None:
        """Count an assessment."""
        self.sets += 1
        name = str(state.verdict)
        self.verdicts[f"conditional {name}" if state.conditional else name] += 1
        verdicts = {finding.id: str(finding.verdict) for finding in slots.shall_findings(state)}
        self.outside_but_held += any(
            verdict in ("fail", "conditional-fail") and id_ not in self.held
            for id_, verdict in verdicts.items()
        )
        for finding in slots.shall_findings(state):
            verdict = str(finding.verdict)
            if verdict == "not-assessed" and str(finding.reason) == "not-applicable":
                continue
            self.findings += 1
            self.held_findings += finding.id in self.held
            if verdict == "fail":
                self.failed[finding.id] += 1
            if verdict in ("fail", "conditional-fail"):
                self.outside[finding.id] += 1
            unstated = finding.probability is None and verdict == "pass"
            if verdict == "conditional-pass" or unstated:
                self.conditional_by[finding.id] += 1
            if verdict == "not-assessed":
                self.open_by[f"{finding.id} ({finding.reason})"] += 1

    @property
    def fail_share(self) -> float:
        """Share of findings that fail."""
        return sum(self.failed.values()) / max(self.findings, 1)

    @property
    def not_compliant(self) -> float:
        """Share of assessments that are not compliant, conditionally or not."""
        return self._share("not-compliant")

    @property
    def undecided(self) -> float:
        """Share of assessments that are undecided."""
        return self._share("undecided")

    @property
    def conditional(self) -> float:
        """Share of the compliant assessments that are conditional."""
        compliant = self.verdicts["compliant"] + self.verdicts["conditional compliant"]
        return self.verdicts["conditional compliant"] / max(compliant, 1)

    def _share(self, verdict: str) -> float:
        total = self.verdicts[verdict] + self.verdicts[f"conditional {verdict}"]
        return total / max(self.sets, 1)

    def missed(self) -> list[str]:
        """Name the bars that were missed, beyond what chance gives in so few sets."""
        found = []
        findings = self.findings - self.held_findings
        failed = sum(count for id_, count in self.failed.items() if id_ not in self.held)
        by_chance = 3 * np.sqrt(FINDINGS_FAIL * max(findings, 1))
        if failed > FINDINGS_FAIL * findings + by_chance:
            found.append(f"{failed} of {findings} findings fail")
        by_chance = 3 * np.sqrt(NOT_COMPLIANT * (1 - NOT_COMPLIANT) / max(self.sets, 1))
        if self.outside_but_held / max(self.sets, 1) > NOT_COMPLIANT + by_chance:
            found.append(f"{self.outside_but_held} of {self.sets} not compliant")
        return found


@dataclass
class Outcome:
    """Everything about a rule and a meter."""

    rule: str
    meter: str
    counts: Counts
    skipped: dict[str, str]
    held: dict[str, int]
    """Requirements that no display holds by U, and at how many points."""
    impossible: dict[str, list[str]]
    """Kinds of which no draw was good, and for which requirements."""


@cache
def book_of(rule: str) -> Rulebook:
    """Give a rule with its plan: a shipped one by its id, another by its file."""
    return Rulebook(Path(rule) if rule.endswith(".yaml") else SPECS / f"{rule}.yaml")


def simulate(
    rule: str, meter: str, sets: int, *, draws: int = 300, only: str | None = None
) -> Outcome:
    """Grade good displays of every kind that can meet the rule, `sets` in all."""
    book = book_of(rule)
    loaded = compliance.load_rule(book.file)
    outcome = Outcome(rule, meter, Counts(), {}, {}, {})
    cases: list[tuple[Case, dict[str, Need]]] = []
    for kind in kinds.KINDS:
        reason = kinds.skipped(book, kind)
        if reason:
            outcome.skipped[kind.name] = reason
        elif only in (None, kind.name):
            case = Case(book, METERS[meter], kind)
            cases.append((case, case.needs()))
            for id_, need in cases[-1][1].items():
                if need.held.any():
                    outcome.held[id_] = max(outcome.held.get(id_, 0), int(need.held.sum()))
                    outcome.counts.held.add(id_)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        read_by = slots.meter_of(METERS[meter].text(), folder)
        for number in range(sets):
            live = [c for c in cases if c[0].kind.name not in outcome.impossible]
            if not live:
                break
            case, needs = live[number % len(live)]
            generator = np.random.default_rng([31, number])
            drawn = case.good(needs, generator)
            if isinstance(drawn, list):
                outcome.impossible[case.kind.name] = drawn
                continue
            panel, size = drawn
            xyz = case.readings(panel.shown(book), generator)
            state = slots.grade(
                loaded, book, xyz, read_by, folder,
                technology=case.kind.technology, seed=number, draws=draws,
            )  # fmt: skip
            outcome.counts.sizes.append(size)
            outcome.counts.add(state)
    return outcome


def lines(outcome: Outcome) -> Iterable[str]:
    """Give the report of a rule and a meter."""
    counts = outcome.counts
    size = float(np.median(counts.sizes)) if counts.sizes else float("nan")
    yield (
        f"{outcome.rule} × {outcome.meter}: {counts.sets} sets, findings that fail "
        f"{counts.fail_share:.2%}, not compliant {counts.not_compliant:.1%} (but for what is "
        f"held at mid-limits {counts.outside_but_held / max(counts.sets, 1):.1%}), undecided "
        f"{counts.undecided:.1%}, conditional of the compliant {counts.conditional:.1%}, "
        f"median size of errors {size:.2f}"
    )
    tables = {
        "outside": counts.outside,
        "not assessed": counts.open_by,
        "conditional by": counts.conditional_by,
        "held at mid-limits (points)": outcome.held,
    }
    for title, table in tables.items():
        if table:
            yield f"  {title}: " + ", ".join(f"{k} {v}" for k, v in sorted(table.items()))
    for kind, reason in outcome.skipped.items():
        yield f"  skipped {kind}: {reason}"
    for kind, ids in outcome.impossible.items():
        yield f"  NO GOOD {kind}: no draw holds {', '.join(ids)}"
    for fault in counts.missed():
        yield f"  MISSED {fault}"


def main() -> int:
    """Print the reports."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--rule", action="append", help="id of a shipped rule, or a file; default: all"
    )
    parser.add_argument("--sets", type=int, default=300)
    parser.add_argument("--draws", type=int, default=300)
    parser.add_argument("--meters", nargs="+", default=list(METERS), choices=list(METERS))
    parser.add_argument("--kind", help="only this kind of display")
    chosen = parser.parse_args()
    failures = 0
    for rule in chosen.rule or sorted(file.stem for file in SPECS.glob("*.yaml")):
        for meter in chosen.meters:
            outcome = simulate(rule, meter, chosen.sets, draws=chosen.draws, only=chosen.kind)
            failures += len(outcome.counts.missed()) + len(outcome.impossible)
            print(*lines(outcome), sep="\n", flush=True)
    return int(failures > 0)


if __name__ == "__main__":
    sys.exit(main())
