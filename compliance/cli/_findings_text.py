"""The text report: a table of slots and deliverables, then the important findings of each.

A verdict is shown by a word and a shape; ink only repeats it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from compliance.cli._terminal import width
from compliance.cli._text import COLUMNS, GAP, Style, columns, pad, wrap
from compliance.model import Level, Verdict
from compliance.report.build import build_report
from compliance.report.exports import Result
from compliance.report.report import Report, Row, State
from compliance.report.verdict import INKS, applies, matters, rank
from compliance.report.words.en.headings import (
    ERROR,
    LIKELY_CAUSES,
    NOT_WRITTEN,
    OPEN_ALONE,
    OTHER_DISPLAY,
    REMARKS,
    SLOT,
)

SIGNS: Mapping[Verdict, str] = {
    Verdict.PASS: "●",
    Verdict.CONDITIONAL_PASS: "◐",
    Verdict.CONDITIONAL_FAIL: "◑",
    Verdict.FAIL: "⊖",
    Verdict.NOT_ASSESSED: "◌",
}
"""Filled disc, half discs, barred ring, dotted ring."""
FAULT, NOT_APPLICABLE = "!", "–"
"""There is no assessment; the requirement is for another kind of display."""

INDENT = 4
WIDEST_VALUE = 16
WIDEST_LIMIT = 22
"""Columns of values and limits beside titles; wider ones get a line of their own."""


def bullet(text: str, style: Style, sign: str = "·", *, indent: int = INDENT) -> list[str]:
    """Lay out a paragraph of a list, with its sign in front."""
    first, *rest = wrap(style.text(text), COLUMNS - indent)
    head = style.text(f"  {sign} ")
    return [head + first, *(" " * indent + line for line in rest)]


def paragraph(text: str, style: Style, indent: int = 2) -> list[str]:
    """Break a text into indented lines; none if it is empty."""
    if not text:
        return []
    return [" " * indent + line for line in wrap(style.text(text), COLUMNS - indent)]


# ---------------------------------------------------------------- findings


def _findings(state: State, style: Style) -> list[str]:
    """Lay out the findings that matter, worst first, then those that passed."""
    ranked = sorted(state.rows, key=lambda row: rank(row.finding))
    lines = [line for row in ranked if matters(row.finding) for line in _full(row, style)]
    lines += _short([row for row in ranked if not matters(row.finding)], style)
    for text in state.in_part:
        first, *rest = wrap(style.text(text), COLUMNS - 2 * INDENT)
        lines += [f"  {first}", *(" " * INDENT + line for line in rest)]
    return lines


def _full(row: Row, style: Style) -> list[str]:
    finding = row.finding
    mark = style.text(f"{SIGNS[row.mark]} {row.word}{row.level}")
    indent = 4 + width(mark)
    head, *rest = wrap(style.text(f"{finding.title} ({finding.id})"), COLUMNS - indent)
    lines = [f"  {style.ink(mark, INKS[row.mark])}  {head}"]
    lines += [" " * indent + line for line in rest]
    for text in row.sentences:
        lines += paragraph(text, style, INDENT)
    return lines


def _short(rows: Sequence[Row], style: Style) -> list[str]:
    """Lay out a line each: shape, title, value, limit in columns; two if the numbers are wide."""
    cells = [(row, *_cells(row, style)) for row in rows]
    narrow = [(value, limit) for _, _, value, limit in cells if not _wide(value, limit)]
    values = max((width(value) for value, _ in narrow), default=0)
    limits = max((width(limit) for _, limit in narrow), default=0)
    room = COLUMNS - INDENT - values - limits - 4
    titles = min(room, max((width(title) for _, title, _, _ in cells), default=0))
    lines: list[str] = []
    for row, title, value, limit in cells:
        finding, wide = row.finding, _wide(value, limit)
        sign = SIGNS[row.mark] if applies(finding) else NOT_APPLICABLE
        sign = style.ink(style.text(sign), INKS[row.mark])
        alone = wide or not limit
        first, *rest = wrap(title, COLUMNS - INDENT if alone else titles)
        if wide:
            rest.append(f"{value}  {limit}")
        numbers = "" if alone else f"  {pad(value, values, right=True)}  {limit}"
        lines.append(f"  {sign} {pad(first, titles)}{numbers}".rstrip())
        lines += [" " * INDENT + line for line in rest]
    return lines


def _wide(value: str, limit: str) -> bool:
    """Return whether value and limit leave too little room for titles."""
    return width(value) > WIDEST_VALUE or width(limit) > WIDEST_LIMIT


def _cells(row: Row, style: Style) -> tuple[str, str, str]:
    """Return title, value and limit in short; empty if for another kind of display."""
    title = style.text(f"{row.finding.title}{row.level}")
    if not applies(row.finding):
        return f"{title}: {style.text(OTHER_DISPLAY)}", "", ""
    return title, style.text(row.value), style.text(row.limit)


MANY = 8
"""Results up to here are told in full; of more only what is open."""
CELL = 16
"""Columns of a deliverable in the table, if its name does not need more."""
WIDEST = 26


def report(results: Sequence[Result], style: Style, heading: Sequence[str] = ()) -> str:
    """Return the whole report of `results`, ending in a newline; `heading` lines come first.

    Of more than `MANY` only what shall be met and is not simply met is told after the table.
    """
    reported = [(row, build_report(row.assessment) if row.assessment else None) for row in results]
    lines = [line for text in heading for line in wrap(style.text(text), COLUMNS)]
    if lines:
        lines.append("")
    lines += _table(reported, style)
    many = len(reported) > MANY
    tell = _open_points if many else _section
    for result, assessed in reported:
        if assessed is not None and (section := tell(assessed, result, style)):
            lines += ["", *section]
    if many:
        lines += ["", *paragraph(OPEN_ALONE, style, 0)]
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


# ---------------------------------------------------------------- table


def _table(reported: Sequence[tuple[Result, Report | None]], style: Style) -> list[str]:
    """Lay out slots down and deliverables across, in as many blocks as the width needs."""
    shown = {result.slot: style.text(result.slot) for result, _ in reported}
    names = list(dict.fromkeys(result.deliverable for result, _ in reported))
    first = min(max(width(text) for text in (SLOT, *shown.values())), WIDEST)
    cells = {(row.slot, row.deliverable): _cell(row, report, style) for row, report in reported}
    lines: list[str] = []
    for block in _blocks(names, COLUMNS - first, style):
        head = [(SLOT, "grey"), *((style.text(name), "grey") for name in block)]
        body = [
            [(text, "strong"), *(cells.get((slot, name), ("", "")) for name in block)]
            for slot, text in shown.items()
            if any((slot, name) in cells for name in block)
        ]
        widths = [first, *(_columns_of(name, style) for name in block)]
        lines += [*([""] if lines else []), *columns([head, *body], widths, style)]
    return lines


def _columns_of(name: str, style: Style) -> int:
    return min(max(CELL, width(style.text(name))), WIDEST)


def _blocks(names: Iterable[str], room: int, style: Style) -> list[list[str]]:
    blocks: list[list[str]] = []
    left = -1
    for name in names:
        size = _columns_of(name, style) + GAP
        if size > left:
            blocks.append([])
            left = room
        blocks[-1].append(name)
        left -= size
    return blocks


def _cell(result: Result, report: Report | None, style: Style) -> tuple[str, str]:
    if report is None:
        return style.text(f"{FAULT} {ERROR}"), INKS[Verdict.FAIL]
    sign, word, ink = _verdict(report.now, style)
    failed = NOT_WRITTEN if result.fault else ""
    return " ".join(filter(None, (sign, word, report.when, failed))), ink


def _verdict(state: State, style: Style) -> tuple[str, str, str]:
    return style.text(SIGNS[state.mark]), style.text(state.word), INKS[state.mark]


# ---------------------------------------------------------------- one assessment


def _section(report: Report, result: Result, style: Style) -> list[str]:
    now = report.now
    lines = _title(report, result, style)
    for text in (now.sentence, report.dates, report.departures, report.disposition):
        lines += paragraph(text, style)
    for text in report.accepted:
        lines += bullet(text, style)
    lines += _findings(now, style)
    lines += _listed(LIKELY_CAUSES, _causes(now, style))
    lines += _listed(REMARKS, [line for text in now.remarks for line in bullet(text, style)])
    if report.before is not None:
        sign, word, ink = _verdict(report.before, style)
        outside = f", {report.earlier}" if report.earlier else ""
        lines.append(f"  {report.before.name}: {style.ink(f'{sign} {word}', ink)}{outside}")
    return lines


def _open_points(report: Report, result: Result, style: Style) -> list[str]:
    """Lay out what a slot of many has open; nothing if every shall is simply met."""
    ranked = sorted(report.now.rows, key=lambda row: rank(row.finding))
    shall = [row for row in ranked if row.finding.level is Level.SHALL and matters(row.finding)]
    lines = [line for row in shall for line in _full(row, style)]
    lines += _listed(LIKELY_CAUSES, _causes(report.now, style))
    return [*_title(report, result, style), *lines] if lines else []


def _title(report: Report, result: Result, style: Style) -> list[str]:
    sign, word, ink = _verdict(report.now, style)
    title = style.text(f"{report.slot or result.slot} · {report.rule}")
    verdict = f"{sign} {word}"
    space = COLUMNS - width(title) - width(verdict)
    if space < GAP:
        return [*(style.ink(line, "strong") for line in wrap(title, COLUMNS)), verdict]
    return [style.ink(title, "strong") + " " * space + style.ink(verdict, ink)]


def _causes(state: State, style: Style) -> list[str]:
    """Lay out the likely causes, a line each; `compliance explain` has the details."""
    return [
        line
        for cause in state.causes
        for line in bullet(cause.title, style, f"{cause.rank}.", indent=5)
    ]


def _listed(heading: str, lines: list[str]) -> list[str]:
    return [f"  {heading}", *lines] if lines else []
