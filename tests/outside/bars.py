"""The bars for coverage and acceptance, printed: `python -m outside.bars [--sets N] [--only TEXT]`.

Exit code 1 if a bar is missed. `cases()` and `missed()` serve a test as well.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from math import sqrt

from outside.coverage import Case, Counts, simulate
from outside.meters import FILTER, ONE_FIGURE, SPECTRORADIOMETER, Nature

HELD = 0.93
"""Least share of 95 % intervals that hold the truth."""
ACCEPTED = 0.05
"""Largest share of values on a limit that are accepted with p >= .95, but for sampling error: three
standard errors, since a case has thirty such values."""


def cases() -> list[tuple[Case, bool]]:
    """Give every case and whether it has a bar."""
    meters = {"spectro": SPECTRORADIOMETER, "filter": FILTER, "one-figure": ONE_FIGURE}
    stated = replace(SPECTRORADIOMETER, linearity=0.5, linearity_xy=0.0004)
    found = []
    for decades in (1.0, 2.0, 3.0):
        for kernel in ("exponential", "squared-exponential"):
            nature = Nature(decades, kernel)
            name = f"{decades:g} dec {kernel}"
            for title, meter in meters.items():
                if title == "spectro" or kernel == "exponential":
                    found.append((Case(f"{title} {name}", meter, nature), True))
            found.append((Case(f"on limit, one-figure {name}", ONE_FIGURE, nature, True), True))
    one = Nature(1.0)
    found.append((Case("linearity stated 1 dec", stated, one), True))
    found.append((Case("on limit, spectro 1 dec", SPECTRORADIOMETER, one, True), True))
    found.append((Case("on limit, linearity stated 1 dec", stated, one, True), True))
    coarse = replace(ONE_FIGURE, resolution=0.01)
    found.append((Case("last digit .01 1 dec", coarse, one), True))
    found.append((Case("on limit, last digit .01 1 dec", coarse, one, True), True))
    silent = replace(ONE_FIGURE, repeatability=())
    for name, on_limit in (("", False), ("on limit, ", True)):
        name += "four readings each, repeatability not stated 1 dec"
        found.append((Case(name, ONE_FIGURE, one, on_limit, silent, 4), True))
    hidden = replace(ONE_FIGURE, lowest=0.1, dark=0.002)  # the displays' black is about .06 cd/m²
    found.append((Case("black out of sight 1 dec", hidden, one), False))
    found.append((Case("on limit, black out of sight 1 dec", hidden, one, True), False))
    found.append((Case("spectro .5 dec", SPECTRORADIOMETER, Nature(0.5)), False))
    found.append((Case("one-figure .5 dec", ONE_FIGURE, Nature(0.5)), False))
    found.append((Case("on limit, one-figure .5 dec", ONE_FIGURE, Nature(0.5), True), False))
    wholly = Nature(1.0, varying_xy=1.0)
    found.append((Case("spectro, xy varies wholly", SPECTRORADIOMETER, wholly), False))
    found.append((Case("spectro, errors twice stated", SPECTRORADIOMETER, Nature(size=2)), False))
    return found


def run(case: Case, sets: int, workers: int = 1) -> Counts:
    """Simulate a case, in parts if there are several workers."""
    if workers == 1:
        return simulate(case, range(sets))
    counts = Counts()
    with ProcessPoolExecutor(workers) as pool:
        for part in pool.map(
            simulate, [case] * workers, [range(i, sets, workers) for i in range(workers)]
        ):
            counts.add(part)
    return counts


def missed(case: Case, counts: Counts) -> list[str]:
    """Name every value that misses its bar; the worst point chosen afterwards has none."""
    found = []
    for key in sorted(counts.sets):
        name = " ".join(key).strip()
        if key[1] == "worst":
            continue
        if case.on_limit:
            share, values = counts.share(key, "accepted"), counts.sets[key]
            # A colour counts once for each coordinate, which go together: half as many sets.
            sets = values / 2 if key[0].startswith("grey-colour") else values
            if share > ACCEPTED + 3 * sqrt(ACCEPTED * (1 - ACCEPTED) / sets):
                found.append(f"{name}: accepted {share:.1%} of {sets:.0f}")
        elif counts.share(key) < HELD:
            found.append(f"{name}: held {counts.share(key):.1%} of {counts.sets[key]}")
    return found


def lines(case: Case, counts: Counts) -> Iterable[str]:
    """Give the table of a case: a line for each requirement, its patches beside each other."""
    what = "accepted" if case.on_limit else "held"
    for requirement in sorted({key[0] for key in counts.sets}):
        keys = [key for key in sorted(counts.sets) if key[0] == requirement]
        parts = [f"{key[1] or '-'} {100 * counts.share(key, what):.1f}" for key in keys]
        unknown = sum(counts.unknown[key] for key in keys)
        skipped = sum(counts.not_judged[key] for key in counts.not_judged if key[0] == requirement)
        notes = f"  p unknown {unknown}" * (unknown > 0) + f"  not judged {skipped}" * (skipped > 0)
        yield f"  {requirement:<20} {what} %: {', '.join(parts)}{notes}"
    for requirement in sorted({key[0] for key in counts.not_judged} - {k[0] for k in counts.sets}):
        yield f"  {requirement:<20} never judged"


def main() -> int:
    """Run all cases and print what they gave."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=2000)
    parser.add_argument("--only", default="", help="cases whose name has this text")
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()
    failures = 0
    for case, has_bar in cases():
        if chosen.only not in case.name:
            continue
        counts = run(case, chosen.sets, chosen.workers)
        faults = missed(case, counts) if has_bar else []
        failures += len(faults)
        print(f"{case.name}{'' if has_bar else ' (no bar)'}: {chosen.sets} sets")
        print(*lines(case, counts), sep="\n")
        print(*(f"  MISSED {fault}" for fault in faults), sep="\n", flush=True)
    return int(failures > 0)


if __name__ == "__main__":
    sys.exit(main())
