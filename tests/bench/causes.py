"""Processor time of finding the causes of simulated faults, beside that of an earlier version.

    OMP_NUM_THREADS=1 python tests/bench/causes.py [--rule RULE …] [--save FILE] [--beside FILE]

For each rule: a slot of each fault at one of its strengths, and pairs of faults, simulated as in
`outside.causes`. `--save` keeps the seconds of each case; `--beside`, in another checkout, prints
them beside its own and their ratio. Run both under the same load. No test: nothing here passes or
fails.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from statistics import median, quantiles

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from outside import faults
from outside.causes import Bench
from outside.fault_steps import Case

RULES = ("sdr-broadcast", "hdr-pq-1000", "hdr-hlg-1000", "cinema-theatre")
DRAWS, SEED = 100, 7


def times(rule: str) -> Iterator[tuple[str, float]]:
    """Each case's name and its seconds."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(rule, Path(folder), SEED, DRAWS)
        for place, (name, strengths) in enumerate(faults.by_name().items()):
            generator = bench.generator(place)
            slot, kind = bench.good_slot(place, generator)
            possible = [fault for fault in strengths if fault.possible(slot)]
            if possible:
                fault = possible[place % len(possible)]
                case = fault.change(Case(slot), generator)
                took = bench.state(case, kind.technology, generator)[1]
                yield f"{rule} {name}: {fault.strength}", took
        for place, names in enumerate(faults.PAIRS, 500):
            first, second = (faults.find(*name) for name in names)
            generator = bench.generator(place)
            slot, kind = bench.good_slot(place, generator)
            if first.possible(slot) and second.possible(slot):
                case = faults.both(first, second)(Case(slot), generator)
                took = bench.state(case, kind.technology, generator)[1]
                yield f"{rule} {first.name} + {second.name}", took


def summary(seconds: list[float]) -> str:
    ends = quantiles(seconds, n=20)
    return f"median {median(seconds):.2f} s, 95 % {ends[-1]:.2f} s, most {max(seconds):.2f} s"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rule", nargs="+", default=list(RULES))
    parser.add_argument("--save", type=Path)
    parser.add_argument("--beside", type=Path)
    chosen = parser.parse_args()
    before = json.loads(chosen.beside.read_text(encoding="utf-8")) if chosen.beside else {}
    took = {}
    for rule in chosen.rule:
        for name, seconds in times(rule):
            took[name] = seconds
            beside = f"   {before[name]:6.2f} s   {before[name] / seconds:5.1f} times" \
                if name in before and seconds else ""  # fmt: skip
            print(f"{name:60} {seconds:6.2f} s{beside}", flush=True)
    print("now:   ", summary(list(took.values())))
    both = [name for name in took if name in before]
    if len(both) > 1:
        print("before:", summary([before[name] for name in both]))
        ratio = sum(before[name] for name in both) / sum(took[name] for name in both)
        print(f"all:    {ratio:.1f} times as fast")
    if chosen.save:
        chosen.save.write_text(json.dumps(took), encoding="utf-8")


if __name__ == "__main__":
    main()
