"""Mutated inputs in large number, by hand:

    OMP_NUM_THREADS=1 nice .venv/bin/python tests/mutations/run.py 100000 [--seed 1] [--out FOLDER]

Rules, jobs, meters, deviations, readings, evidence, certificates, revocation lists, deliveries and
sheets are changed at random and read. A fault is an exception that is not one of ours, more than
10 s of processor time or 500 MB, or a changed signed file that is accepted. Inputs with a fault
are written to FOLDER, with what was done; `progress.json` in it lets the same call go on where it
was stopped. `--only GROUP NUMBER` runs one input again. The tests run the first few.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from mutations.groups import GROUPS
from mutations.watch import Seen, peak_memory, watched

EVERY = 500
"""Inputs after which progress is written down."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("mutated"))
    parser.add_argument("--only", nargs="+", metavar="GROUP [NUMBER]", default=[])
    chosen = parser.parse_args()
    logging.disable(logging.CRITICAL)
    if len(chosen.only) == 2:
        name, number = chosen.only
        seen, what, _ = judged(name, chosen.seed, int(number))
        print(what, seen.end, seen.fault, f"{seen.seconds:.2f} s, {seen.peak:.0f} MB", sep="\n")
        return 0
    names = chosen.only or list(GROUPS)
    chosen.out.mkdir(parents=True, exist_ok=True)
    progress = Progress(chosen.out / "progress.json", chosen.seed)
    for name in names:
        whole = sum(GROUPS[each].share for each in names)
        progress.run(name, round(chosen.count * GROUPS[name].share / whole), chosen.out)
    print(progress.table())
    return 1 if progress.faults else 0


def judged(name: str, seed: int, number: int) -> tuple[Seen, str, bytes]:
    """One input's end, what was changed, and the input."""
    group = GROUPS[name]
    what, data = group.input(name, seed, number)
    return watched(lambda: group.judge(what, data)), what, data


class Progress:
    """What has been run so far, kept in a file."""

    def __init__(self, file: Path, seed: int) -> None:
        self.file, self.seed = file, seed
        known = json.loads(file.read_text("utf-8")) if file.exists() else {}
        self.groups: dict[str, Any] = known.get("groups", {}) if known.get("seed") == seed else {}

    @property
    def faults(self) -> int:
        """Inputs with a fault."""
        return sum(each["ends"].get("fault", 0) for each in self.groups.values())

    def run(self, name: str, count: int, out: Path) -> None:
        """Run the inputs of a group that are left."""
        fresh = {"done": 0, "ends": {}, "seconds": 0.0, "longest": 0.0, "peak": 0.0}
        group = self.groups.setdefault(name, fresh)
        ends: Counter[str] = Counter(group["ends"])
        start = time.process_time()
        for number in range(group["done"], count):
            seen, what, data = judged(name, self.seed, number)
            ends[seen.end] += 1
            if seen.fault:
                stem = out / f"{name}-{number}"
                stem.with_suffix(".bin").write_bytes(data)
                told = f"{what}\n{seen.seconds:.2f} s, {seen.peak:.0f} MB\n{seen.fault}\n"
                stem.with_suffix(".txt").write_text(told, "utf-8")
                print(f"{stem}: {what}: {seen.fault.strip().splitlines()[-1]}", flush=True)
            group["longest"] = max(group["longest"], seen.seconds)
            group["peak"] = max(group["peak"], seen.peak)
            group["done"], group["ends"] = number + 1, dict(ends)
            if (number + 1) % EVERY == 0 or number + 1 == count:
                group["seconds"] += time.process_time() - start
                start = time.process_time()
                self._write()
        self._write()

    def _write(self) -> None:
        whole = {"seed": self.seed, "groups": self.groups}
        self.file.write_text(json.dumps(whole, indent=1, sort_keys=True) + "\n", "utf-8")

    def table(self) -> str:
        """A line for each group."""
        rows = [f"{'group':16}{'inputs':>8}{'s':>7}{'longest s':>11}{'peak MB':>9}  ends"]
        for name, each in self.groups.items():
            ends = ", ".join(f"{count} {end}" for end, count in sorted(each["ends"].items()))
            rows.append(
                f"{name:16}{each['done']:8}{each['seconds']:7.0f}{each['longest']:11.2f}"
                f"{each['peak']:9.0f}  {ends}"
            )
        rows.append(f"process: {peak_memory():.0f} MB")
        return "\n".join(rows)


if __name__ == "__main__":
    sys.exit(main())
