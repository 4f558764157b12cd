"""How often the program's causes are right, on spectral panels with physical faults.

`python -m outside.causes --rule sdr-broadcast --faults curve gain --sets 5 --seed 1`. Panels,
meters and faults are made from the physics alone, by one who has not read the program's own models
of faults. Each fault is laid on good slots, its strengths by turns; a case counts if a shall is
outside by its own U or more, the others are counted apart. Bars are in `cause_counts.BARS`.
Each case missed is printed with the two numbers that `Bench.one` makes it again from.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

import compliance
import compliance.assessment
from compliance.assessment import graded_state
from outside import faults, kinds, slots, spectral_draw
from outside.acceptance import book_of
from outside.cause_counts import SILENT, WRONG, Report, furthest, ranked, within_two
from outside.coverage import without_causes
from outside.displays import Array
from outside.fault_steps import Case
from outside.faults import Fault
from outside.qualities import Values, frame_of
from outside.spectra import Spectral, panels
from outside.spectral_meters import SpectralMeter, colorimeter, good_spectroradiometer
from outside.spectral_slot import Slot

RULES = (
    "sdr-broadcast",
    "web-srgb",
    "sdr-uhd",
    "hdr-pq-1000",
    "hdr-hlg-1000",
    "cinema-theatre",
    "cinema-p3d65",
    "stills-adobergb",
)
ROOM = 0.35
"""Share of each limit's half width that a good slot keeps free, by true values."""
OF_SLOT = {
    "luminance-error",
    "fitted-exponent",
    "chromaticity",
    "chromaticity-difference",
    "delta-uv-star",
    "delta-e-itp",
    "delta-e-2000",
    "delta-e-uv",
    "delta-e-ab",
}
"""Quantities of which a good slot keeps room; of the others, the panel's own, it is inside."""
SMALLEST, TRIES = 0.05, 9
GOOD = "good"
PAIRED = "pairs"


@dataclass
class Clock:
    """CPU seconds that the program spent on causes, one a call."""

    seconds: list[float] = field(default_factory=list)

    def around(self, search: Callable[..., Any]) -> Callable[..., Any]:
        """Give the search, timed."""

        def timed(*given: Any) -> Any:
            start = time.process_time()
            try:
                return search(*given)
            finally:
                self.seconds.append(time.process_time() - start)

        return timed


class Bench:
    """One rule: its panels, a folder for files, and what was counted."""

    def __init__(self, rule: str, folder: Path, seed: int, draws: int = 300) -> None:
        """Load the rule and find the panels that it is for."""
        self.book = book_of(rule)
        self.rule = compliance.load_rule(self.book.file)
        self.folder = folder
        self.seed = seed
        self.draws = draws
        self.able, self.skipped = spectral_draw.able(self.book)
        self.report = Report()
        self.skipped |= self.without_room()
        self.able = [(p, kind) for p, kind in self.able if p.name not in self.skipped]

    def generator(self, *place: int) -> np.random.Generator:
        """Give the generator of a case."""
        return np.random.default_rng([self.seed, *self.rule_key(), *place])

    def rule_key(self) -> tuple[int, ...]:
        """Give the rule's name as numbers."""
        return tuple(self.book.id.encode())

    def good_slot(self, number: int, generator: np.random.Generator) -> tuple[Slot, kinds.Kind]:
        """Draw a slot whose true values keep room to each shall limit."""
        panel, kind = self.able[number % len(self.able)]
        for _ in range(TRIES):
            size = float(generator.uniform(0.3, 1.0))
            while size > SMALLEST:
                slot = spectral_draw.good(self.book, panel, kind, generator, size)
                if not self.lacking(slot, kind):
                    return slot, kind
                size *= 0.7
        raise ValueError(f"no good {panel.name} for {self.book.id}: {self.lacking(slot, kind)}")

    def without_room(self) -> dict[str, str]:
        """Name panels of which hardly any draw keeps room, and the limits that they are at."""
        found = {}
        for panel, kind in self.able:
            generator = self.generator(998)
            slots_ = [
                spectral_draw.good(self.book, panel, kind, generator, 2 * SMALLEST)
                for _ in range(TRIES)
            ]
            lacking = [self.lacking(slot, kind) for slot in slots_]
            if sum(not ids for ids in lacking) < TRIES / 3:
                found[panel.name] = "no room to " + ", ".join(
                    sorted({id_ for ids in lacking for id_ in ids})
                )
        return found

    def lacking(self, slot: Slot, kind: kinds.Kind) -> list[str]:
        """Name the shall limits that a slot's true values keep no room to."""
        true = slot.shown()
        values = Values.of(self.book, true, frame_of(self.book, true))
        found = []
        for requirement in self.book.requirements:
            if requirement.shall and self.book.applies(requirement, kind.technology):
                points = values.points(requirement)
                margins = np.where(points.counted, points.relative_margins(), np.inf)
                needed = ROOM if requirement.quantity in OF_SLOT else 0.0
                if margins.min() < needed:
                    found.append(requirement.id)
        return found

    def meter(self, case: Case, generator: np.random.Generator) -> SpectralMeter:
        """Draw the meter of a case: a good one of either kind, or the one that is the fault."""
        panel = case.slot.panel
        if case.correction is None:
            if generator.random() < 0.5:
                return good_spectroradiometer(generator)
            return colorimeter(panel, "this", generator)
        other = self.another(panel, generator)
        return colorimeter(panel, case.correction, generator, size=case.filters, other=other)

    @staticmethod
    def another(panel: Spectral, generator: np.random.Generator) -> Spectral:
        """Draw another panel."""
        names = [name for name in panels() if name != panel.name]
        return panels()[str(generator.choice(names))]

    def readings(
        self, case: Case, meter: SpectralMeter, generator: np.random.Generator, errors: int
    ) -> Array:
        """Read a case's rows."""
        xyz = meter.read(case.slot, generator, errors)
        for step in case.readings:
            xyz = step(xyz, self.book, generator)
        return xyz

    def state(
        self, case: Case, technology: str, generator: np.random.Generator, *, causes: bool = True
    ) -> tuple[Any, float]:
        """Have the program assess a case; gives its state and the CPU seconds of causes."""
        meter = self.meter(case, generator)
        errors = int(generator.integers(2**31))
        xyz = self.readings(case, meter, generator, errors)
        read_by = slots.meter_of(meter.text(), self.folder)
        job_text = slots.job_text(self.book, technology, None)
        text = slots.readings_text(self.book, xyz)
        (self.folder / "readings.csv").write_text(text, encoding="utf-8")
        if case.never_loaded:
            text = slots.readings_text(self.book, self.readings(case, meter, generator, errors))
            (self.folder / "before.csv").write_text(text, encoding="utf-8")
            job_text += "    before: {file: before.csv, measured: 2026-11-20T08:00:00Z}\n"
        file = self.folder / "job.yaml"
        file.write_text(job_text, encoding="utf-8")
        job = compliance.only_slot(compliance.load_job(file, allow_outside=True), "1")
        readings = compliance.load_readings(self.folder / "readings.csv", self.book.target.encoding)
        before = None
        if case.never_loaded:
            before = compliance.load_readings(self.folder / "before.csv", self.book.target.encoding)
        measurement = compliance.Measurement(
            self.rule, readings, before=before, job=job, meter=read_by
        )
        clock = Clock()
        search = compliance.assessment.diagnosis_of
        if not causes:
            with without_causes():
                return self.assessed(measurement), 0.0
        with patch.object(compliance.assessment, "diagnosis_of", clock.around(search)):
            state = self.assessed(measurement)
        return state, sum(clock.seconds)

    def assessed(self, measurement: Any) -> Any:
        """Call the program."""
        return graded_state(measurement, now=slots.NOW, seed=self.seed, draws=self.draws)

    # what is counted

    def one(self, fault: Fault, number: int, place: int) -> tuple[str, Sequence[Any]] | None:
        """Judge one case of a fault; None where it is not possible."""
        generator = self.generator(place, number)
        slot, kind = self.good_slot(number + place, generator)
        if not fault.possible(slot):
            return None
        case = fault.change(Case(slot), generator)
        state, seconds = self.state(case, kind.technology, generator)
        tally = self.report.tally(fault.name, fault.strength, of_meter=fault.of_meter)
        tally.seconds.append(seconds)
        wanted = faults.accepted(fault, slot, case)
        excess = furthest(state)
        result = tally.add(state.causes, wanted, is_outside=excess >= 1)
        if excess >= 1 and result in (WRONG, SILENT):
            told = ", ".join(f"{rank} {kind}" for rank, kind in ranked(state.causes))
            print(
                f"missed {self.book.id} {fault.name}: {fault.strength}, {slot.panel.name}, "
                f"{case.correction or 'good meter'}, {excess:.1f} U outside: {told or 'silent'} "
                f"[{number}, {place}]",
                flush=True,
            )
        return result, state.causes

    def turn(self, strengths: Sequence[Fault], number: int, places: Mapping[Fault, int]) -> None:
        """Judge a case at the strength whose turn it is; each rule begins with another."""
        slot, _ = self.good_slot(number, self.generator(number))
        possible = [fault for fault in strengths if fault.possible(slot)]
        if possible:
            fault = possible[(number + sum(self.rule_key())) % len(possible)]
            self.one(fault, number, places[fault])

    def pair(self, names: tuple[tuple[str, str], tuple[str, str]], number: int, place: int) -> None:
        """Judge one case of a pair; hidden if one of them alone leaves every shall inside."""
        first, second = (faults.find(*name) for name in names)
        generator = self.generator(place, number)
        slot, kind = self.good_slot(number + place, generator)
        if not (first.possible(slot) and second.possible(slot)):
            return
        counts = self.report.pairs.setdefault((": ".join(names[0]), ": ".join(names[1])), Counter())
        for fault in (first, second):
            alone = fault.change(Case(slot), self.generator(place, number, 1))
            state, _ = self.state(alone, kind.technology, generator, causes=False)
            if furthest(state) < 1:
                counts["hidden"] += 1
                return
        case = faults.both(first, second)(Case(slot), self.generator(place, number, 1))
        state, _ = self.state(case, kind.technology, generator)
        wanted = [faults.accepted(fault, slot, case) for fault in (first, second)]
        found = within_two(state.causes, wanted)
        counts["within" if found else "not"] += 1
        if not found:
            told = [kind for _, kind in ranked(state.causes)][:3]
            counts["told " + ("/".join(told) or "nothing")] += 1

    def good(self, number: int) -> None:
        """Judge one good display: a cause of it is wrong, as long as it reads inside."""
        generator = self.generator(997, number)
        slot, kind = self.good_slot(number, generator)
        state, _ = self.state(Case(slot), kind.technology, generator)
        counts = self.report.good
        excess = furthest(state)
        if excess >= 0:
            counts["read outside, " + ("told" if state.causes else "silent")] += 1
            return
        counts["inside by U" if excess <= -1 else "inside"] += 1
        should = furthest(state, "should") >= 1
        counts["told" if state.causes else "silent"] += 1
        if state.causes:
            where = " (a should is outside)" if should else ""
            self.report.good_told["+".join(k for _, k in ranked(state.causes)) + where] += 1


def run(
    rule: str, names: Iterable[str], sets: int, seed: int, *, good: int = 0, draws: int = 300
) -> Bench:
    """Judge `sets` cases of each fault named (all if none is), its strengths by turns."""
    wanted = set(names)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(rule, Path(folder), seed, draws)
        places = {fault: place for place, fault in enumerate(faults.catalogue())}
        for name, strengths in faults.by_name().items():
            if not wanted or name in wanted:
                for number in range(sets):
                    bench.turn(strengths, number, places)
        if not wanted or PAIRED in wanted:
            for place, pair in enumerate(faults.PAIRS):
                for number in range(sets):
                    bench.pair(pair, number, 500 + place)
        if not wanted or GOOD in wanted:
            for number in range(good or 4 * sets):
                bench.good(number)
    return bench


def reported(
    rule: str, names: Iterable[str], sets: int, seed: int, good: int, draws: int
) -> tuple[Report, dict[str, str]]:
    """Judge a rule; gives what was counted, and the panels skipped."""
    bench = run(rule, names, sets, seed, good=good, draws=draws)
    return bench.report, bench.skipped


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rule", nargs="+", default=list(RULES))
    known = [*dict.fromkeys(fault.name for fault in faults.catalogue()), PAIRED, GOOD]
    parser.add_argument("--faults", nargs="+", default=[], choices=known, metavar="FAULT")
    parser.add_argument("--sets", type=int, default=2, help="cases of each fault and pair")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--draws", type=int, default=300)
    parser.add_argument("--good", type=int, default=0, help="good displays; default 4 × sets")
    parser.add_argument("--workers", type=int, default=1, help="rules at once")
    chosen = parser.parse_args()
    judged = partial(
        reported,
        names=tuple(chosen.faults),
        sets=chosen.sets,
        seed=chosen.seed,
        good=chosen.good,
        draws=chosen.draws,
    )
    everything = Report()
    with ProcessPoolExecutor(chosen.workers) as pool:
        for rule, (report, skipped) in zip(chosen.rule, pool.map(judged, chosen.rule), strict=True):
            print(f"== {rule}", flush=True)
            for name, reason in skipped.items():
                print(f"skipped {name}: {reason}")
            print(*report.lines(), sep="\n", flush=True)
            everything.update(report)
    if len(chosen.rule) > 1:
        print("== all rules", *everything.lines(), sep="\n", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
