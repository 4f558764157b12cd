"""The page of the rule library: the parts of its documents that each shipped rule covers.

All data are read: limits, basis, clauses and the parts not covered from the rules, what a rule is
about from the comment at the head of its file, the simulated displays from
tests/tables/robustness.csv and spreads.csv (written by tests/robustness.py, run by hand).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path

from compliance.model import Level, Requirement, Rule, Target
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS
from compliance.report.numbers import format_plain, format_requirement_limits
from compliance.report.words.en.rules import NOT_COVERED_COLUMNS, over_words
from compliance.rules.library import load_rule, shipped_folder, shipped_rules
from pages.markdown import ROOT, plain, table

SPECS = "../../specs"
"""From the page."""
TABLES = ROOT / "tests" / "tables"

BASES = ("published", "digest", "memory", "practice")
CURVES = {
    "bt1886": "BT.1886",
    "srgb": "sRGB curve",
    "pq": "PQ",
    "hlg": "HLG",
    "dcdm": "X′Y′Z′ with a 2.6 power",
}
COLOURS = {"bt709": "BT.709", "bt2020": "BT.2020", "p3": "P3", "adobe-rgb": "Adobe RGB"}
WHITES = {"d65": "D65", "dci": ".314, .351"}

Row = Mapping[str, str]


def read_comment(text: str) -> list[str]:
    """The paragraphs of the comment at the start of a rule file."""
    lines: list[str] = []
    for line in text.splitlines():
        if not line.startswith("#"):
            break
        lines.append(line.removeprefix("#").strip())
    return [" ".join(group) for filled, group in groupby(lines, bool) if filled]


# ---------------------------------------------------------------- words


def comment_text(text: str) -> str:
    """A comment's text, unchanged in backquotes."""
    parts = text.split("`")
    return "`".join(part if place % 2 else plain(part) for place, part in enumerate(parts))


# ---------------------------------------------------------------- rules


def target_words(target: Target) -> str:
    """A target in a line: `BT.1886, P3 in BT.2020, D65, 100 cd/m²`."""
    curve = CURVES.get(target.curve) or f"power {format_plain(target.exponent or 0)}"
    if target.system_gamma is not None:
        curve += f", system gamma {target.system_gamma:.3f}"
    colours = COLOURS.get(target.primaries_name or "", "own primaries")
    if target.container_name not in (None, target.primaries_name):
        colours += f" in {COLOURS.get(target.container_name or '', 'a container')}"
    white = WHITES.get(target.white_name or "", "own white")
    level = f"{format_plain(target.luminance_white)} cd/m²"
    if target.luminance_peak > target.luminance_white:
        level = f"peak {format_plain(target.luminance_peak)} cd/m²"
    return f"{curve}, {colours}, {white}, {level}"


def limits_words(requirement: Requirement) -> str:
    """All limits of a requirement in one cell."""
    unit = QUANTITIES[requirement.quantity].unit
    if requirement.field:
        unit = RECORDED_FIELDS[requirement.field][0]
    return plain("; ".join(format_requirement_limits(requirement, unit)))


def covered(rule: Rule) -> Iterator[str]:
    """The table of a rule's limits, clause by clause, the firmest first."""

    def firmness(requirement: Requirement) -> tuple[int, bool, list[tuple[int, str]]]:
        clause = requirement.clause or ""
        return BASES.index(requirement.basis), not clause, natural(clause)

    rows = []
    for _, group in groupby(sorted(rule.requirements, key=firmness), key=firmness):
        alike = list(group)
        clause = plain(alike[0].clause or "–")
        for requirement in alike:
            rows.append((clause, requirement.basis, *limit_cells(requirement)))
            clause = "″"
    yield from table(("clause", "basis", "limit", "", "level", "on"), rows)


def natural(text: str) -> list[tuple[int, str]]:
    """A key that sorts 7.5.8 before 7.5.10."""
    parts = re.findall(r"\d+|\D+", text)
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]


def limit_cells(requirement: Requirement) -> tuple[str, str, str, str]:
    """Title, limits, level and patches of a requirement."""
    level = requirement.level.value
    level = level if requirement.level is Level.SHALL else f"*{level}*"
    on = over_words(requirement.over)
    if requirement.displays:
        on = "; ".join(part for part in (on, f"{requirement.displays} displays") if part)
    title = f"{plain(requirement.title)} (`{requirement.id}`)"
    return title, limits_words(requirement), level, plain(on)


def simulated(rule: Rule, rows: Sequence[Row]) -> Iterator[str]:
    """Results of simulated displays, in a sentence or two."""
    mine = [row for row in rows if row["rule"] == rule.id]
    if not mine:
        yield "Simulated displays: not run yet."
        return
    good = next(row for row in mine if row["display"] == "good")
    weakest = f"; most often missed: `{good['weakest']}` ({good['missed']})"
    yield (
        f"Simulated displays: of {good['displays']} good ones {good['compliant']} comply"
        f"{weakest if good['weakest'] else ''}."
    )
    wrong = [row for row in mine if row is not good]
    counts = ", ".join(f"{row['display']} ({row['compliant']})" for row in wrong)
    yield f"Wrong ones that comply, of {good['displays']} each: {counts}."
    if int(good["revision"]) != rule.revision:
        yield f"**Made with revision {good['revision']}.**"


def section(rule: Rule, rows: Sequence[Row]) -> Iterator[str]:
    """All about one rule."""
    about = read_comment((shipped_folder() / f"{rule.id}.yaml").read_text(encoding="utf-8"))
    yield from (f"## {rule.id}", "")
    link = f"[`{rule.id}.yaml`]({SPECS}/{rule.id}.yaml)"
    yield f"**{plain(rule.title)}**, revision {rule.revision}: {link}."
    yield f"{target_words(rule.target)}. A verdict is valid for {rule.valid_days} days."
    yield ""
    for paragraph in about:
        yield from (comment_text(paragraph), "")
    yield from covered(rule)
    yield from ("Not covered:", "")
    yield from table(
        NOT_COVERED_COLUMNS,
        ((plain(each.clause), plain(each.what), plain(each.why)) for each in rule.not_covered),
    )
    yield from simulated(rule, rows)
    yield ""


# ---------------------------------------------------------------- the page


def patch_lists(rules: Sequence[Rule]) -> Iterator[str]:
    """The table of the shared lists."""
    used: dict[str, list[str]] = {}
    for rule in rules:
        for file in rule.files[1:]:
            used.setdefault(file.path, []).append(f"`{rule.id}`")
    rows = []
    for path in sorted(used):
        head = (shipped_folder() / path).read_text(encoding="utf-8").split("\n#\n")[0]
        first = " ".join(line.removeprefix("#").strip() for line in head.splitlines())
        rows.append((f"[`{Path(path).name}`]({SPECS}/{path})", plain(first), ", ".join(used[path])))
    yield from table(("list", "", "used by"), rows)


def read_table(name: str) -> list[Row]:
    """Rows of a CSV file of the tests; none if it does not exist."""
    path = TABLES / name
    if not path.exists():
        return []
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def spreads(rows: Sequence[Row]) -> Iterator[str]:
    """The table of the good displays' spreads."""
    if rows:
        yield from table(list(rows[0]), [list(row.values()) for row in rows])


HEAD = """\
<!-- Written by scripts/make_pages.py from the rule files; edit those. -->

# The rule library in full

Every limit of the rules in `specs/`, with its clause, and the parts of the documents that each rule
does not cover. [Rules](rules.md#the-library) has an overview and explains `basis`. Limits with
*should* are reported and never decide. `″` means the clause above.
"""

PATCHES = """\
## Patch lists

Codes of a document's table are as printed there. The other lists are computed, and written by
`scripts/make_patch_lists.py`: dark ramps in equal code steps, cinema steps as the R'G'B' of the
same luminance, skin and memory colours from round numbers of CIELAB lightness, chroma and hue
angle, not copied from a chart. Ramps, hues and saturation sweeps need no list: a rule names them,
and their codes follow from its target (saturations in equal steps in u'v' from white to the hue).
"""

SIMULATED = """\
## How the displays were simulated

No real display was measured for these numbers. A *good* display is the rule's ideal one with the
small errors that a calibration leaves: white, primaries, exponent, black and fall-off to the edge
are drawn from normal distributions, and a meter's noise is added to each reading. Below are the
standard deviations by family of rules: luminances and exponents as shares, chromaticities in x and
y; `channel` is the exponent of one channel against the others, `noise` and `tint` are the meter's.
They are invented. A *wrong* display is as good, but set up for something else. If a rule has a
minimum luminance, the good display is 4 % above it.
"""


def page() -> str:
    """The whole page."""
    rules = [load_rule(name) for name in shipped_rules()]
    rows = read_table("robustness.csv")
    lines = [HEAD]
    for rule in rules:
        lines += section(rule, rows)
    lines += [PATCHES, *patch_lists(rules)]
    lines += [SIMULATED, *spreads(read_table("spreads.csv"))]
    return "\n".join(lines).rstrip("\n") + "\n"
