"""Makes tables/robustness.csv: many good and wrong displays against every rule. Beside it
tables/spreads.csv: the spreads of the good ones. Run by hand:

    PYTHONPATH=tests python tests/robustness.py [RULE…]

Rules that are not named keep their rows. It takes some minutes. After that, make the page anew:
python scripts/make_pages.py
"""

from __future__ import annotations

import csv
import io
import sys
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import astuple, fields
from pathlib import Path

import numpy as np
from helpers.good_displays import FAMILIES, Spread, family, good, wrong, wrong_ways
from helpers.shipped import RULES, graded, outside, shipped_rule
from helpers.simulated import Shown

from compliance.model import Outcome, Rule

DISPLAYS = 300
SEED = 417
TABLES = Path(__file__).resolve().parent / "tables"
TABLE = TABLES / "robustness.csv"
SPREADS = TABLES / "spreads.csv"
HEAD = """\
# Simulated displays against each rule: how many comply, and which shall is missed most often.
# Source: made by tests/robustness.py; spreads in tests/helpers/good_displays.py, invented.
"""
SPREADS_HEAD = """\
# Standard deviations of the simulated good displays of each family of rules; shares, but x and y.
# Source: made by tests/robustness.py from tests/helpers/good_displays.py, invented.
"""
COLUMNS = ("rule", "revision", "family", "display", "displays", "compliant", "weakest", "missed")


def row(rule: Rule, name: str, make: Callable[[np.random.RandomState], list[Shown]]) -> list[str]:
    """One line of the table."""
    random = np.random.RandomState(SEED)
    missed: Counter[str] = Counter()
    compliant = 0
    for _ in range(DISPLAYS):
        assessment = graded(rule, make(random))
        compliant += assessment.verdict is Outcome.COMPLIANT
        missed.update(sorted(outside(assessment)))
    (weakest, count), *_ = missed.most_common(1) or [("", 0)]
    numbers = [str(rule.revision), family(rule), name, str(DISPLAYS), str(compliant)]
    return [rule.id, *numbers, weakest, str(count)]


def rows(rule: Rule) -> Iterable[list[str]]:
    """All lines of a rule."""
    yield row(rule, "good", lambda random: good(rule, random))
    for name, way in wrong_ways(rule).items():
        yield row(rule, name, lambda random, way=way: wrong(rule, way, random))


def known() -> dict[str, list[list[str]]]:
    """The lines there are, by rule."""
    if not TABLE.exists():
        return {}
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    found: dict[str, list[list[str]]] = {}
    for line in list(csv.reader(lines))[1:]:
        found.setdefault(line[0], []).append(line)
    return found


def spreads_text() -> str:
    """The table of spreads."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["family", *(field.name for field in fields(Spread))])
    for name, spread in FAMILIES.items():
        writer.writerow([name, *astuple(spread)])
    return SPREADS_HEAD + text.getvalue()


def main(names: list[str]) -> None:
    found = known()
    for name in names or RULES:
        found[name] = list(rows(shipped_rule(name)))
        print(f"{name}: {found[name][0][5]} of {DISPLAYS}", file=sys.stderr)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for name in RULES:
        writer.writerows(found.get(name, []))
    TABLE.write_text(HEAD + text.getvalue(), encoding="utf-8")
    SPREADS.write_text(spreads_text(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
