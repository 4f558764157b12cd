"""Findings as text: those that need attention in full, the others a line each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from compliance import wording
from compliance.cli.layout import COLUMNS, Style, pad, wrap
from compliance.cli.shapes import NOT_APPLICABLE, Shape, verdict_shape
from compliance.cli.terminal import width
from compliance.model import Finding, Level, Point, Verdict
from compliance.quantities.table import QUANTITIES

__all__ = ["finding_lines"]

INDENT = 4
NAMED = 4
"""Names that a list spells out before it counts the rest."""
WIDEST_VALUE = 16
WIDEST_LIMIT = 22
"""Columns of what stands in a line beside titles; wider ones get a line of their own."""
OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


def finding_lines(matters: Sequence[Finding], quiet: Sequence[Finding], style: Style) -> list[str]:
    """Lines for the findings that matter, worst first, then for those that passed."""
    ranked = sorted(matters, key=_rank)
    told = [*ranked, *quiet]
    lines = [line for finding in ranked for line in _full(finding, told, style)]
    lines += _short(quiet, told, style)
    return lines + _not_judged(told, style)


def _rank(finding: Finding) -> tuple[bool, int]:
    """Shall before should; outside before open before near."""
    order = (
        Verdict.FAIL,
        Verdict.CONDITIONAL_FAIL,
        Verdict.NOT_ASSESSED,
        Verdict.CONDITIONAL_PASS,
        Verdict.PASS,
    )
    return finding.level is Level.SHOULD, order.index(finding.verdict)


# ---------------------------------------------------------------- in full


def _full(finding: Finding, among: Sequence[Finding], style: Style) -> list[str]:
    shape = verdict_shape(finding.verdict)
    word = wording.verdict_word(finding.verdict, finding.reason)
    level = " (should)" if finding.level is Level.SHOULD else ""
    mark = style.text(f"{shape.sign} {word}{level}")
    title = style.text(f"{finding.title} ({finding.id})")
    first = f"  {style.ink(mark, shape.ink)}  "
    room = COLUMNS - 4 - width(mark)
    head, *rest = wrap(title, room)
    lines = [first + head, *(" " * (4 + width(mark)) + line for line in rest)]
    for text in _sentences(finding, among):
        lines += [" " * INDENT + line for line in wrap(style.text(text), COLUMNS - INDENT)]
    return lines


def _sentences(finding: Finding, among: Sequence[Finding]) -> Iterable[str]:
    if finding.verdict is Verdict.NOT_ASSESSED:
        yield from _why_open(finding)
    else:
        yield _value_and_limit(finding, among)
        yield from filter(None, (_least_sure(finding), _others(finding)))
        if finding.missing:
            yield f"missing: {_names(finding.missing)}"
    if finding.note:
        yield finding.note
    yield _source(finding)


def _value_and_limit(finding: Finding, among: Sequence[Finding]) -> str:
    value = wording.format_value(finding, among)
    text = f"{_quantity(finding)} {value}; limit {_limit(finding)}"
    worst = _worst(finding)
    if worst is not None:
        text += f"; worst at {wording.point_name(worst)}"
        if worst.target is not None:
            text += f", target {wording.format_number(worst.target)}\u00a0cd/m²"
    least = wording.least_sure(finding)
    of = worst if least is not None and worst is not None else finding
    told = (wording.interval_words(finding, among=among), _inside(of.probability))
    return "; ".join([text, *filter(None, told)])


def _inside(probability: float | None) -> str:
    if probability is None:
        return ""
    return f"p\u00a0{wording.format_probability(probability)} that it is inside"


def _least_sure(finding: Finding) -> str | None:
    """The patch that decides how sure the finding is, where its value is another's."""
    least = wording.least_sure(finding)
    if least is None:
        return None
    value = wording.format_point_value(least, finding)
    told = (value, wording.interval_words(finding, least), _inside(least.probability))
    return f"least sure at {wording.point_name(least)}: {'; '.join(filter(None, told))}"


def _quantity(finding: Finding) -> str:
    row = QUANTITIES.get(finding.quantity)
    title = row.title if row else finding.quantity
    return title if finding.statistic == "each" else f"{title}, {finding.statistic}"


def _limit(finding: Finding) -> str:
    return wording.format_finding_limits(finding)


def _worst(finding: Finding) -> Point | None:
    """The point that the finding's value is of; None where it is of all points together."""
    return wording.value_point(finding) if len(finding.points) > 1 else None


def _others(finding: Finding) -> str | None:
    """Further points outside their limits, the worst one left out."""
    worst = _worst(finding)
    if worst is None:
        return None
    rest = [point for point in finding.points if point.verdict in OUTSIDE and point is not worst]
    if not rest:
        return None
    told = (
        f"{wording.point_name(point)} ({wording.format_point_value(point, finding)})"
        for point in rest
    )
    return f"also outside: {_names(tuple(told))}"


def _why_open(finding: Finding) -> Iterable[str]:
    if finding.missing:
        yield f"missing: {_names(finding.missing)}"
    elif finding.reason is not None:
        yield wording.REASON_WORDS[finding.reason]
    if finding.value is not None:
        told = f"{_quantity(finding)} {wording.format_value(finding)}"
        yield f"as far as read: {told}; limit {_limit(finding)}"
    if finding.not_judged:
        why = list(dict.fromkeys(point.why for point in finding.not_judged))
        names = tuple(point.name for point in finding.not_judged)
        yield f"not judged: {_names(names)}: {'; '.join(why[:2])}"


def _source(finding: Finding) -> str:
    """Where the limit comes from."""
    return f"{finding.clause} ({finding.basis})" if finding.clause else f"basis: {finding.basis}"


def _names(names: Sequence[str]) -> str:
    """The first names and how many more; they may hold commas and are not broken."""
    shown = "; ".join(name.replace(" ", "\u00a0") for name in names[:NAMED])
    left = len(names) - NAMED
    return f"{shown} and {left} more" if left > 0 else shown


# ---------------------------------------------------------------- in short


def _short(findings: Sequence[Finding], among: Sequence[Finding], style: Style) -> list[str]:
    """A line each: shape, title, value, limit in columns; two where the numbers are wide."""
    rows = [_row(finding, among, style) for finding in findings]
    values = max((width(row.value) for row in rows if not row.wide), default=0)
    limits = max((width(row.limit) for row in rows if not row.wide), default=0)
    room = COLUMNS - INDENT - values - limits - 4
    titles = min(room, max((width(row.title) for row in rows), default=0))
    lines: list[str] = []
    for row in rows:
        sign = style.ink(style.text(row.shape.sign), row.shape.ink)
        alone = row.wide or not row.limit
        first, *rest = wrap(row.title, COLUMNS - INDENT if alone else titles)
        if row.wide:
            rest.append(f"{row.value}  {row.limit}")
        numbers = "" if alone else f"  {pad(row.value, values, right=True)}  {row.limit}"
        lines.append(f"  {sign} {pad(first, titles)}{numbers}".rstrip())
        lines += [" " * INDENT + line for line in rest]
    return lines


class Row(NamedTuple):
    """A finding in short."""

    shape: Shape
    title: str
    value: str
    limit: str

    @property
    def wide(self) -> bool:
        """Whether value and limit leave too little beside them for titles."""
        return width(self.value) > WIDEST_VALUE or width(self.limit) > WIDEST_LIMIT


def _row(finding: Finding, among: Sequence[Finding], style: Style) -> Row:
    applies = wording.applies(finding)
    shape = verdict_shape(finding.verdict) if applies else NOT_APPLICABLE
    level = " (should)" if finding.level is Level.SHOULD else ""
    title = style.text(f"{finding.title}{level}")
    if not applies:
        return Row(shape, f"{title}: {style.text('not for this kind of display')}", "", "")
    value, limit = wording.format_value(finding, among), _limit(finding)
    return Row(shape, title, style.text(value), style.text(limit))


def _not_judged(findings: Sequence[Finding], style: Style) -> list[str]:
    """Findings with a verdict that leaves patches out, a paragraph for each reason."""
    told: dict[str, list[str]] = {}
    for finding in findings:
        if finding.verdict is Verdict.NOT_ASSESSED:
            continue
        for why, count in Counter(point.why for point in finding.not_judged).items():
            patches = "1 patch" if count == 1 else f"{count}\u00a0patches"
            told.setdefault(why, []).append(f"{finding.title} ({patches})")
    lines: list[str] = []
    for why, parts in told.items():
        text = style.text(f"Not judged in part, {why}: {'; '.join(parts)}")
        first, *rest = wrap(text, COLUMNS - 2 * INDENT)
        lines += [f"  {first}", *(" " * INDENT + line for line in rest)]
    return lines
