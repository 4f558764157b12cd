"""What a meter's file leaves out never makes a display look better: `python -m outside.meter_keys`.

For meter files of several kinds and displays with one value near its limit: any key deleted or
blanked, singly and in pairs, and any first `from` raised, never turns the verdict into *compliant*
nor drops its *conditional*. LONG_TESTS=1 tries them all.
"""

from __future__ import annotations

import copy
import os
import sys
import tempfile
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import yaml

import compliance
from compliance.assessment import graded_state
from outside.coverage import NOW, RULES, readings_text, without_causes
from outside.displays import Array, Display, codes_of
from outside.marginal import BASE, MOVED, SHARES, ideal_readings, single_rule
from outside.meters import FILTER, SPECTRORADIOMETER
from outside.truths import plan

DRAWS = 1000
Keys = tuple[str | int, ...]
Document = dict[str, Any]

METERS: dict[str, Document] = {
    "rich": yaml.safe_load(replace(SPECTRORADIOMETER, linearity=0.5, linearity_xy=0.0004).text()),
    "filter": yaml.safe_load(FILTER.text()),
    "one band": yaml.safe_load(
        replace(
            SPECTRORADIOMETER,
            luminance=((0.003, 2.0),),
            chromaticity=((0.003, 0.0015),),
            repeatability=((0.003, 0.3, 0.0003),),
        ).text()
    ),
    "sparse": yaml.safe_load(
        replace(
            SPECTRORADIOMETER,
            dark=None,
            resolution=None,
            saturated=None,
            correlation=None,
            lowest=None,
            repeatability=((0.003, 0.3, 0.0003),),
        ).text()
    ),
    "lowest above its first band": yaml.safe_load(replace(SPECTRORADIOMETER, lowest=0.2).text()),
    "lowest below its first band": yaml.safe_load(
        replace(
            SPECTRORADIOMETER, luminance=((0.05, 4.0), (1.0, 2.0)), lowest=0.0005, dark=0.0005
        ).text()
    ),
    "figures that grow": yaml.safe_load(
        replace(SPECTRORADIOMETER, luminance=((0.003, 1.0), (30.0, 3.0))).text()
    ),
}


@dataclass(frozen=True)
class Situation:
    """A rule and readings whose value is near a limit."""

    name: str
    rule: Any
    readings: Any


@dataclass(frozen=True)
class Outcome:
    """A verdict; `refused` if the meter's file could not be loaded."""

    verdict: str
    conditional: bool = False

    def better_than(self, other: Outcome) -> bool:
        """Whether this is compliant where the other is not, or no longer conditional."""
        if self.verdict != "compliant":
            return False
        return other.verdict != "compliant" or (other.conditional and not self.conditional)


def paths(data: Any, at: Keys = ()) -> Iterator[Keys]:
    """Give the path of every key at any depth; entries of lists are no keys."""
    entries = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in entries:
        if isinstance(data, dict):
            yield (*at, key)
        if isinstance(value, dict | list):
            yield from paths(value, (*at, key))


def without(document: Document, path: Keys) -> Document:
    """Give the document with a key deleted; unchanged if it is not there any more."""
    changed = copy.deepcopy(document)
    try:
        inner: Any = changed
        for key in path[:-1]:
            inner = inner[key]
        inner.pop(path[-1])
    except (KeyError, IndexError, TypeError):
        pass
    return changed


def blanked(document: Document, path: Keys, blank: Any) -> Document:
    """Give the document with a key's value blank."""
    changed = copy.deepcopy(document)
    inner: Any = changed
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = blank
    return changed


def raised(document: Document) -> Iterator[tuple[str, Document]]:
    """Give the document with each first `from`, or that of a band with a smaller figure, raised."""
    for name in ("luminance", "chromaticity", "repeatability"):
        bands = document["uncertainty"].get(name, [])
        figure = "x" if name == "chromaticity" else "relative"
        for i, band in enumerate(bands):
            if i and band[figure] >= bands[i - 1][figure]:
                continue
            for factor in (2, 10, 100, 1000):
                start = band["from"] * factor
                if i + 1 < len(bands) and start >= bands[i + 1]["from"]:
                    break
                path = ("uncertainty", name, i, "from")
                yield f"{name}[{i}].from {start:g}", blanked(document, path, start)


def changes(document: Document) -> list[tuple[str, Document | None]]:
    """Give every change of one key of a meter file; None stands for a missing file."""
    found: list[tuple[str, Document | None]] = [("no meter file", None)]
    for path in paths(document):
        dotted = ".".join(map(str, path))
        found.append((f"without {dotted}", without(document, path)))
        found += [
            (f"{dotted}: {blank!r}", blanked(document, path, blank)) for blank in (None, "", {}, [])
        ]
    return found + list(raised(document))


def pairs(document: Document, count: int, seed: int) -> list[tuple[str, Document | None]]:
    """Draw pairs of keys to delete."""
    generator = np.random.default_rng(seed)
    all_paths = list(paths(document))
    found: list[tuple[str, Document | None]] = []
    for _ in range(count):
        one, other = (all_paths[i] for i in generator.integers(len(all_paths), size=2))
        name = f"without {'.'.join(map(str, one))} and {'.'.join(map(str, other))}"
        found.append((name, without(without(document, one), other)))
    return found


class Grader:
    """Grades readings with meter files of any content, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def readings(self, codes: Array, xyz: Array) -> Any:
        """Load readings by way of a file."""
        file = self.folder / "readings.csv"
        file.write_text(readings_text([tuple(code) for code in codes], xyz), encoding="utf-8")
        return compliance.load_readings(file, "rgb-10-full")

    def state(self, situation: Situation, document: Document | None) -> Any:
        """Give the graded readings; None if the meter's file is refused."""
        file = self.folder / "meter.yaml"
        file.write_text(yaml.safe_dump(document), encoding="utf-8")
        try:
            meter = compliance.load_meter(file) if document is not None else None
        except compliance.InputError:
            return None
        measurement = compliance.Measurement(situation.rule, situation.readings, meter=meter)
        with without_causes():
            return graded_state(measurement, now=NOW, seed=0, draws=DRAWS)

    def outcome(self, situation: Situation, document: Document | None) -> Outcome:
        """Give the verdict."""
        state = self.state(situation, document)
        if state is None:
            return Outcome("refused")
        return Outcome(str(state.verdict.value), state.conditional)

    def situations(
        self, document: Document, requirements: Collection[str] = tuple(MOVED)
    ) -> Iterator[Situation]:
        """Give a situation for each requirement, its p unsure with this meter, and others.

        Those with an unsure p are *compliant, conditional* with the full file. The others: a good
        display under the whole rule, and one of exponent 2.49 whose black a meter must see to tell.
        """
        codes = np.array(plan())
        for requirement in requirements:
            rule = single_rule(requirement, self.folder)
            for share in SHARES:
                readings = self.readings(
                    codes, ideal_readings(MOVED[requirement](share), codes, 0.0001)
                )
                situation = Situation(f"{requirement} {share}", rule, readings)
                state = self.state(situation, document)
                probability = state.findings[0].probability
                if probability is None or probability < 0.93:
                    yield situation
                    break
        whole = compliance.load_rule(RULES / "outside-plain.yaml")
        good = self.readings(codes, ideal_readings(BASE, codes, 0.0001))
        yield Situation("good", whole, good)
        greys = np.stack([codes_of(np.linspace(0, 1, 21), "rgb-10-full")] * 3, axis=-1)
        steep = Display(black=0.0027, exponents=(2.49,) * 3)
        seen = self.readings(greys, ideal_readings(steep, greys, 0.0001))
        yield Situation("steep", compliance.load_rule(RULES / "outside-black.yaml"), seen)


def faults(
    meter: str, *, every: int = 1, two: int = 0, requirements: Collection[str] = tuple(MOVED)
) -> Iterator[tuple[int, str]]:
    """Give how many files were graded, and each that came out better than the full one, in words.

    `every` takes only each so many-th change, beginning elsewhere for each situation; `two` is how
    many pairs are drawn for each situation.
    """
    document = METERS[meter]
    with tempfile.TemporaryDirectory() as name:
        grader = Grader(Path(name))
        for number, situation in enumerate(grader.situations(document, requirements)):
            full = grader.outcome(situation, document)
            chosen = changes(document)[number % every :: every]
            chosen += pairs(document, two, number)
            for change, reduced in chosen:
                outcome = grader.outcome(situation, reduced)
                worded = ""
                if outcome.better_than(full):
                    worded = f"{meter}; {situation.name}; {change}: {full} becomes {outcome}"
                yield int(outcome.verdict != "refused"), worded


def main() -> int:
    """Print every fault, and how many files were graded."""
    long = os.environ.get("LONG_TESTS") == "1"
    failures = 0
    for meter in METERS:
        graded = found = 0
        for count, worded in faults(meter, every=1 if long else 12, two=40 if long else 2):
            graded += count
            found += bool(worded)
            if worded:
                print(worded, flush=True)
        print(f"{meter}: {graded} files graded, {found} came out better", flush=True)
        failures += found
    return int(failures > 0)


if __name__ == "__main__":
    sys.exit(main())
