"""The text report: a table of slots and deliverables, then what matters of each finding.

Words come from `compliance.wording`; here they are chosen and laid out. Verdicts are
told by a word and a shape, ink only repeats them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from compliance.cli._terminal import width
from compliance.cli._text import COLUMNS, GAP, Style, columns, pad, wrap
from compliance.grading.decide import OUTSIDE
from compliance.model import Assessment, Finding, GradedReadings, Level, Outcome, Point, Verdict
from compliance.quantities.catalogue import QUANTITIES
from compliance.report import numbers
from compliance.report.results import Result
from compliance.report.verdict import (
    INKS,
    applies,
    failing,
    not_accepted,
    outcome_mark,
)
from compliance.report.words import cause_title, note_text, reason_text, remark_text
from compliance.report.words.en.grammar import capital
from compliance.report.words.en.rules import departures_sentence
from compliance.report.words.en.verdicts import (
    DISPOSITION_WORDS,
    accepted_sentence,
    outcome_sentence,
    outcome_word,
    reason_word,
    verdict_word,
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
"""No assessment came about; a requirement for another kind of display."""

INDENT = 4
NAMED = 4
"""Names that a list spells out before it counts the rest."""
WIDEST_VALUE = 16
WIDEST_LIMIT = 22
"""Columns of what stands in a line beside titles; wider ones get a line of their own."""


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
    word = verdict_word(finding.verdict, finding.reason)
    level = " (should)" if finding.level is Level.SHOULD else ""
    mark = style.text(f"{SIGNS[finding.verdict]} {word}{level}")
    title = style.text(f"{finding.title} ({finding.id})")
    first = f"  {style.ink(mark, INKS[finding.verdict])}  "
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
    note = note_text(finding)
    if note:
        yield note
    yield _source(finding)


def _value_and_limit(finding: Finding, among: Sequence[Finding]) -> str:
    value = numbers.format_value(finding, among)
    text = f"{_quantity(finding)} {value}; limit {_limit(finding)}"
    worst = _worst(finding)
    if worst is not None:
        text += f"; worst at {numbers.point_name(worst)}"
        if worst.target is not None:
            text += f", target {numbers.format_number(worst.target)}\u00a0cd/m²"
    least = numbers.least_sure(finding)
    of = worst if least is not None and worst is not None else finding
    told = (numbers.interval_words(finding, among=among), _inside(of.probability))
    return "; ".join([text, *filter(None, told)])


def _inside(probability: float | None) -> str:
    if probability is None:
        return ""
    return f"p\u00a0{numbers.format_probability(probability)} that it is inside"


def _least_sure(finding: Finding) -> str | None:
    """The patch that decides how sure the finding is, where its value is another's."""
    least = numbers.least_sure(finding)
    if least is None:
        return None
    value = numbers.format_point_value(least, finding)
    told = (value, numbers.interval_words(finding, least), _inside(least.probability))
    return f"least sure at {numbers.point_name(least)}: {'; '.join(filter(None, told))}"


def _quantity(finding: Finding) -> str:
    row = QUANTITIES.get(finding.quantity)
    title = row.title if row else finding.quantity
    return title if finding.statistic == "each" else f"{title}, {finding.statistic}"


def _limit(finding: Finding) -> str:
    return numbers.format_finding_limits(finding)


def _worst(finding: Finding) -> Point | None:
    """The point that the finding's value is of; None where it is of all points together."""
    return numbers.value_point(finding) if len(finding.points) > 1 else None


def _others(finding: Finding) -> str | None:
    """Further points outside their limits, the worst one left out."""
    worst = _worst(finding)
    if worst is None:
        return None
    rest = [point for point in finding.points if point.verdict in OUTSIDE and point is not worst]
    if not rest:
        return None
    told = (
        f"{numbers.point_name(point)} ({numbers.format_point_value(point, finding)})"
        for point in rest
    )
    return f"also outside: {_names(tuple(told))}"


def _why_open(finding: Finding) -> Iterable[str]:
    if finding.missing:
        yield f"missing: {_names(finding.missing)}"
    elif finding.reason is not None:
        yield reason_word(finding.reason)
    if finding.value is not None:
        told = f"{_quantity(finding)} {numbers.format_value(finding)}"
        yield f"as far as read: {told}; limit {_limit(finding)}"
    if finding.not_judged:
        why = list(dict.fromkeys(map(reason_text, finding.not_judged)))
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
        sign = style.ink(style.text(row.sign), row.ink)
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

    sign: str
    ink: str
    title: str
    value: str
    limit: str

    @property
    def wide(self) -> bool:
        """Whether value and limit leave too little beside them for titles."""
        return width(self.value) > WIDEST_VALUE or width(self.limit) > WIDEST_LIMIT


def _row(finding: Finding, among: Sequence[Finding], style: Style) -> Row:
    sign = SIGNS[finding.verdict] if applies(finding) else NOT_APPLICABLE
    ink = INKS[finding.verdict]
    level = " (should)" if finding.level is Level.SHOULD else ""
    title = style.text(f"{finding.title}{level}")
    if not applies(finding):
        return Row(sign, ink, f"{title}: {style.text('not for this kind of display')}", "", "")
    value, limit = numbers.format_value(finding, among), _limit(finding)
    return Row(sign, ink, title, style.text(value), style.text(limit))


def _not_judged(findings: Sequence[Finding], style: Style) -> list[str]:
    """Findings with a verdict that leaves patches out, a paragraph for each reason."""
    told: dict[str, list[str]] = {}
    for finding in findings:
        if finding.verdict is Verdict.NOT_ASSESSED:
            continue
        for why, count in Counter(map(reason_text, finding.not_judged)).items():
            patches = "1 patch" if count == 1 else f"{count}\u00a0patches"
            told.setdefault(why, []).append(f"{finding.title} ({patches})")
    lines: list[str] = []
    for why, parts in told.items():
        text = style.text(f"Not judged in part, {why}: {'; '.join(parts)}")
        first, *rest = wrap(text, COLUMNS - 2 * INDENT)
        lines += [f"  {first}", *(" " * INDENT + line for line in rest)]
    return lines


CELL = 16
"""Columns of a deliverable in the table, unless its name takes more."""
WIDEST = 26


def report(results: Sequence[Result], style: Style, heading: Sequence[str] = ()) -> str:
    """The whole report of `results`, ending in a newline; `heading` lines come first."""
    lines = [line for text in heading for line in wrap(style.text(text), COLUMNS)]
    if lines:
        lines.append("")
    lines += _table(results, style)
    for result in results:
        if result.assessment is not None:
            lines += ["", *_section(result.assessment, result, style)]
    return "\n".join(lines).replace("\u00a0", " ") + "\n"


# ---------------------------------------------------------------- table


def _table(results: Sequence[Result], style: Style) -> list[str]:
    """Slots down, deliverables across, in as many blocks as the width asks for."""
    slots = list(dict.fromkeys(result.slot for result in results))
    names = list(dict.fromkeys(result.deliverable for result in results))
    shown = {slot: style.text(slot) for slot in slots}
    first = min(max(width(text) for text in ("slot", *shown.values())), WIDEST)
    cells = {(row.slot, row.deliverable): _cell(row, style) for row in results}
    lines: list[str] = []
    for block in _blocks(names, COLUMNS - first, style):
        present = [slot for slot in slots if any((slot, name) in cells for name in block)]
        head = [("slot", "grey"), *((style.text(name), "grey") for name in block)]
        body = [
            [(shown[slot], "strong"), *(cells.get((slot, name), ("", "")) for name in block)]
            for slot in present
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


def _cell(result: Result, style: Style) -> tuple[str, str]:
    if result.assessment is None:
        return style.text(f"{FAULT} error"), INKS[Verdict.FAIL]
    sign, word, ink = _verdict(result.assessment, result.assessment.state, style)
    before = " before calibration" if result.assessment.heading == "before" else ""
    failed = " not written" if result.fault else ""
    return f"{sign} {word}{before}{failed}", ink


def _verdict(assessment: Assessment, state: GradedReadings, style: Style) -> tuple[str, str, str]:
    mark = outcome_mark(state.verdict, state.conditional)
    word = outcome_word(state.verdict, state.conditional)
    return style.text(SIGNS[mark]), style.text(word), INKS[mark]


# ---------------------------------------------------------------- one assessment


def _section(assessment: Assessment, result: Result, style: Style) -> list[str]:
    state = assessment.state
    lines = _title(assessment, result, style)
    lines += _paragraph(outcome_sentence(assessment), style)
    lines += _paragraph(_dates(assessment), style)
    lines += _paragraph(departures_sentence(assessment.rule), style)
    lines += _accepted(assessment, style)
    matters = [finding for finding in state.findings if not _quiet(finding)]
    quiet = [finding for finding in state.findings if _quiet(finding)]
    lines += finding_lines(matters, quiet, style)
    lines += _causes(state, style)
    lines += _remarks(state, style)
    if assessment.before is not None:
        lines += _before(assessment, assessment.before, style)
    return lines


def _accepted(assessment: Assessment, style: Style) -> list[str]:
    """What the client accepts, and what that makes of the verdict."""
    if not assessment.deviations:
        return []
    left = "; ".join(finding.title for finding in not_accepted(assessment))
    lines = _paragraph(
        "Accepted by the client" + (f"; not accepted: {left}" if left else ""), style
    )
    if assessment.disposition is not None:
        words = DISPOSITION_WORDS[assessment.disposition]
        lines = [f"  {capital(words)}; the verdict stays"]
    for deviation in assessment.deviations:
        first, *rest = wrap(style.text(accepted_sentence(deviation)), COLUMNS - 4)
        lines += [style.text("  · ") + first, *(f"    {line}" for line in rest)]
    return lines


def _quiet(finding: Finding) -> bool:
    """A finding that one line is enough for."""
    return finding.verdict is Verdict.PASS or not applies(finding)


def _title(assessment: Assessment, result: Result, style: Style) -> list[str]:
    sign, word, ink = _verdict(assessment, assessment.state, style)
    subject = f"Slot {assessment.slot.name}" if assessment.slot else result.slot
    rule = assessment.rule
    title = style.text(f"{subject} · {rule.id}, revision {rule.revision}")
    verdict = f"{sign} {word}"
    space = COLUMNS - width(title) - width(verdict)
    if space < GAP:
        return [*(style.ink(line, "strong") for line in wrap(title, COLUMNS)), verdict]
    return [style.ink(title, "strong") + " " * space + style.ink(verdict, ink)]


def _dates(assessment: Assessment) -> str:
    state = assessment.state
    said = [f"Measured {numbers.format_time(state.measured)}"] if state.measured else []
    if assessment.valid_until is not None and state.verdict is Outcome.COMPLIANT:
        said.append(f"valid until {numbers.format_time(assessment.valid_until)}")
    said.append(f"number {assessment.number}")
    return f"{capital(', '.join(said))}."


def _paragraph(text: str, style: Style) -> list[str]:
    return [f"  {line}" for line in wrap(style.text(text), COLUMNS - 2)] if text else []


def _causes(state: GradedReadings, style: Style) -> list[str]:
    """The likely causes, in a line each; `compliance explain` tells the rest."""
    lines: list[str] = []
    for place, cause in enumerate(state.causes, 1):
        first, *rest = wrap(style.text(cause_title(cause)), COLUMNS - 5)
        lines += [f"  {place}. {first}", *(f"     {line}" for line in rest)]
    return ["  Likely causes (more: compliance explain)", *lines] if lines else []


def _remarks(state: GradedReadings, style: Style) -> list[str]:
    lines: list[str] = []
    for remark in state.remarks:
        first, *rest = wrap(style.text(remark_text(remark)), COLUMNS - 4)
        lines += [style.text("  · ") + first, *(f"    {line}" for line in rest)]
    return ["  Remarks", *lines] if lines else []


def _before(assessment: Assessment, before: GradedReadings, style: Style) -> list[str]:
    sign, word, ink = _verdict(assessment, before, style)
    count = len(failing(before.findings))
    outside = (
        f", {count} {'requirement' if count == 1 else 'requirements'} outside" if count else ""
    )
    text = f"  Before calibration: {style.ink(f'{sign} {word}', ink)}{outside}"
    return [text]
