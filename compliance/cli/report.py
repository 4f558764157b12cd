"""The text report: a table of slots and deliverables, then what matters of each.

Words come from `compliance.wording`; here they are chosen and laid out. Verdicts are
told by a word and a shape, ink only repeats them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from compliance import wording
from compliance.cli.details import finding_lines
from compliance.cli.layout import COLUMNS, GAP, Style, columns, wrap
from compliance.cli.results import Result
from compliance.cli.shapes import FAULT, outcome_shape
from compliance.cli.terminal import width
from compliance.model import Assessment, Finding, Outcome, State, Verdict
from compliance.wording.accepted import DISPOSITION_WORDS, accepted_sentence, not_accepted
from compliance.wording.rules import departures_sentence

__all__ = ["report"]

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
        return style.text(f"{FAULT.sign} error"), FAULT.ink
    sign, word, ink = _verdict(result.assessment, result.assessment.state, style)
    before = " before calibration" if result.assessment.heading == "before" else ""
    failed = " not written" if result.fault else ""
    return f"{sign} {word}{before}{failed}", ink


def _verdict(assessment: Assessment, state: State, style: Style) -> tuple[str, str, str]:
    shape = outcome_shape(state.verdict, state.conditional)
    word = wording.outcome_word(state.verdict, state.conditional)
    return style.text(shape.sign), style.text(word), shape.ink


# ---------------------------------------------------------------- one assessment


def _section(assessment: Assessment, result: Result, style: Style) -> list[str]:
    state = assessment.state
    lines = _title(assessment, result, style)
    lines += _paragraph(wording.outcome_sentence(assessment), style)
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
        lines = [f"  {wording.capital(words)}; the verdict stays"]
    for deviation in assessment.deviations:
        first, *rest = wrap(style.text(accepted_sentence(deviation)), COLUMNS - 4)
        lines += [style.text("  · ") + first, *(f"    {line}" for line in rest)]
    return lines


def _quiet(finding: Finding) -> bool:
    """A finding that one line is enough for."""
    return finding.verdict is Verdict.PASS or not wording.applies(finding)


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
    said = [f"Measured {wording.format_time(state.measured)}"] if state.measured else []
    if assessment.valid_until is not None and state.verdict is Outcome.COMPLIANT:
        said.append(f"valid until {wording.format_time(assessment.valid_until)}")
    said.append(f"number {assessment.number}")
    return f"{wording.capital(', '.join(said))}."


def _paragraph(text: str, style: Style) -> list[str]:
    return [f"  {line}" for line in wrap(style.text(text), COLUMNS - 2)] if text else []


def _causes(state: State, style: Style) -> list[str]:
    """The likely causes, in a line each; `compliance explain` tells the rest."""
    lines: list[str] = []
    for place, cause in enumerate(state.causes, 1):
        first, *rest = wrap(style.text(cause.title), COLUMNS - 5)
        lines += [f"  {place}. {first}", *(f"     {line}" for line in rest)]
    return ["  Likely causes (more: compliance explain)", *lines] if lines else []


def _remarks(state: State, style: Style) -> list[str]:
    lines: list[str] = []
    for remark in state.remarks:
        first, *rest = wrap(style.text(remark.text), COLUMNS - 4)
        lines += [style.text("  · ") + first, *(f"    {line}" for line in rest)]
    return ["  Remarks", *lines] if lines else []


def _before(assessment: Assessment, before: State, style: Style) -> list[str]:
    sign, word, ink = _verdict(assessment, before, style)
    count = len(wording.failing(before.findings))
    outside = (
        f", {count} {'requirement' if count == 1 else 'requirements'} outside" if count else ""
    )
    text = f"  Before calibration: {style.ink(f'{sign} {word}', ink)}{outside}"
    return [text]
