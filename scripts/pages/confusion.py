"""The page of confusions: which other displays each shipped rule lets pass, and why."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache

from compliance import load_meter
from compliance.model import Rule
from compliance.planning.confusion import (
    BLACKS,
    SAME,
    Distance,
    Judge,
    Neighbour,
    Outcome,
    accepted,
    neighbours,
)
from compliance.planning.meter_capability import capability
from compliance.report.numbers import format_plain
from compliance.rules.library import load_rule, shipped_rules
from pages.markdown import ROOT, plain, table

NOTHING = "nothing: no reason"
METER = ROOT / "demo" / "meters" / "spectroradiometer.yaml"

HEAD = """\
<!-- Written by scripts/make_pages.py from the rule files. -->

# Which displays a rule tells apart

A slot loaded for another deliverable is the commonest fault there is. Here each rule is graded on
the light that ideal displays show for its own patches: displays of every other deliverable, and
its own display with a common wrong setting. Blacks are 0, 0.0005, 0.005, 0.02, 0.05, 0.1 and
0.3 cd/m². Where a rule leaves its white wide, both ends are tried too.

A display that passes has a reason, which is computed. In greys' lightness, greys' colour, colours'
colour and colours' lightness it is as near to the target as the target itself, or no farther than
a display that the rule lists under `accepts`, or farther by less than the expanded uncertainty of
both together. Distances and uncertainties are shares of the limit, the largest of each kind; the
uncertainty is that of the demo's spectroradiometer. A display without a reason fails the tests of
this project.

"""


@cache
def _rules() -> Mapping[str, Rule]:
    return {name: load_rule(name) for name in shipped_rules()}


def outcomes(rule: Rule) -> Mapping[Neighbour, Sequence[Outcome]]:
    """A rule's neighbours, each with an outcome for each black; the target itself first."""
    others = [other for other in _rules().values() if other is not rule]
    judge = Judge(rule, uncertainty_of(rule))
    displays = (accepted(rule)[0], *neighbours(rule, others))
    return {display: [judge.outcome(display, black) for black in BLACKS] for display in displays}


def uncertainty_of(rule: Rule) -> dict[str, float]:
    """By requirement, the expanded uncertainty of the demo's spectroradiometer, as a share of the
    limit."""
    rows = capability(rule, load_meter(METER))
    return {row.requirement.id: 1 / row.ratio for row in rows if row.ratio}


def page() -> str:
    """The page as Markdown."""
    return "\n".join([HEAD, "".join(map(section, shipped_rules())).rstrip("\n"), ""])


def section(name: str) -> str:
    """What one rule makes of the target itself and of its neighbours, as Markdown."""
    rule = _rules()[name]
    return "\n".join(_lines(rule, outcomes(rule))) + "\n"


def _lines(rule: Rule, of: Mapping[Neighbour, Sequence[Outcome]]) -> Iterator[str]:
    mine, *rest = of.values()
    yield from (f"## {rule.id}", "", f"{plain(rule.title)}, revision {rule.revision}. {_own(mine)}")
    yield ""
    names = [display.name for display in accepted(rule)[1:]]
    for each, name in zip(rule.accepts, names, strict=True):
        yield f"- accepts {plain(name)}: {plain(each.reason)}"
    if names:
        yield ""
    passing = [found for found in rest if not all(each.failed for each in found)]
    if passing:
        head = ("passes", "over a black of", "largest distances", "no nearer than", "else fails by")
        yield from table(head, map(_row, passing))
    failing: dict[str, list[str]] = {}
    for found in rest:
        if all(each.failed for each in found):
            by = ", ".join(dict.fromkeys(each.failed or "" for each in found))
            failing.setdefault(by, []).append(found[0].neighbour)
    yield from ("Fail over every black:", "")
    yield from (f"- by {by}: {plain('; '.join(names))}" for by, names in failing.items())
    yield ""


def _own(found: Sequence[Outcome]) -> str:
    """Over which blacks the target itself passes."""
    passes = _blacks([each.black for each in found if not each.failed])
    fails = {each.failed: None for each in found if each.failed}
    return f"The target itself passes over a black of {passes} cd/m²" + (
        f"; over others it fails by {', '.join(map(str, fails))}." if fails else "."
    )


def _blacks(values: Sequence[float]) -> str:
    return ", ".join(format_plain(value) for value in values)


def _row(found: Sequence[Outcome]) -> tuple[str, ...]:
    passed = [each for each in found if not each.failed]
    largest: dict[str, Distance] = {}
    for each in passed:
        for aspect, distance in (each.distances or {}).items():
            largest[aspect] = max(largest.get(aspect, distance), distance)
    shown = ", ".join(
        f"{aspect} {distance.share:.2f} (U {distance.uncertainty:.2f})"
        for aspect, distance in largest.items()
        if distance.share >= 0.005
    )
    names = dict.fromkeys(name for each in passed for name in each.reason or (NOTHING,))
    fails = dict.fromkeys(each.failed for each in found if each.failed)
    return (
        plain(found[0].neighbour),
        _blacks([each.black for each in passed]),
        shown or "none",
        plain(", ".join(name for name in names if name != SAME) or SAME),
        ", ".join(map(str, fails)),
    )
