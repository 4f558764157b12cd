"""The page of a delivery: one HTML file that opens offline, without scripts, and prints.

Verdicts are told by a word and a shape first; inks only repeat them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING

from compliance.delivery.contents import acceptors
from compliance.grading.decide import OUTSIDE
from compliance.model import Acceptor, Decision, Display, Finding, Level, Outcome, Reason, Verdict
from compliance.model.stated import StatedAssessment, StatedDeviation, StatedJob
from compliance.report.numbers import (
    NOT_STATED,
    format_date,
    format_finding_limits,
    format_probability,
    format_time,
    format_value,
)
from compliance.report.verdict import count, left_open, outcome_mark
from compliance.report.words.en.grammar import capital
from compliance.report.words.en.verdicts import outcome_word, reason_word, tally_words

if TYPE_CHECKING:
    from compliance.delivery.contents import Sheet
    from compliance.model.signatures import Signer


STYLE = """
:root { --text: #1b2330; --quiet: #56606d; --hair: #c9ced4; --wash: #f1f3f5; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 54rem; padding: 2.5rem 1.5rem; color: var(--text);
  background: #fff; font: 0.95rem/1.45 "Helvetica Neue", Arial, "DejaVu Sans", sans-serif; }
h1, h2, .word { font-family: Georgia, "DejaVu Serif", serif; font-weight: normal; margin: 0; }
h1 { font-size: 2rem; line-height: 1.2; margin-bottom: 1rem; }
h2 { font-size: 1.2rem; }
p { margin: 0.35rem 0; }
.kind { margin: 0; color: var(--quiet); }
.word { font-size: 1.45rem; margin: 0.1rem 0 0.3rem; }
.pass { color: #0f6b66; }
.conditional-pass, .conditional-fail { color: #8a5a08; }
.fail { color: #7a1f5c; }
.not-assessed { color: #5d6672; }
dl { margin: 0.6rem 0 0; }
dl div { display: grid; grid-template-columns: 8.5rem 1fr; gap: 0.8rem; padding: 0.12rem 0; }
dt { color: var(--quiet); overflow-wrap: anywhere; }
dd { margin: 0; overflow-wrap: anywhere; }
header { border-bottom: 2px solid var(--text); padding-bottom: 1rem; }
header dl { columns: 2; column-gap: 2rem; margin: 0; }
header dl div { grid-template-columns: 6rem 1fr; break-inside: avoid; }
article { display: grid; grid-template-columns: 4.2rem 1fr; padding: 1.1rem 0;
  border-bottom: 1px solid var(--hair); break-inside: avoid; }
.mark { width: 3rem; height: 3rem; margin-top: 0.2rem; }
.small { width: 0.85rem; height: 0.85rem; vertical-align: -0.08rem; margin-right: 0.25rem; }
.facts { display: grid; grid-template-columns: 1.4fr 1fr; column-gap: 1.2rem; }
.facts div { grid-template-columns: 5.4rem 1fr; }
.wide { grid-column: 1 / -1; }
ul { list-style: none; margin: 0.5rem 0; padding: 0; }
li { padding: 0.1rem 0 0.1rem 1.2rem; text-indent: -1.2rem; }
section { padding: 1.4rem 0 0; break-inside: avoid; }
section dl div { grid-template-columns: 12rem 1fr; }
code, pre { font: 0.85em/1.4 "DejaVu Sans Mono", Consolas, monospace; }
pre { background: var(--wash); padding: 0.6rem 0.8rem; overflow-x: auto; }
a { color: inherit; }
@media (max-width: 36rem) {
  header dl { columns: 1; }
  article { grid-template-columns: 1fr; }
  .facts { grid-template-columns: 1fr; }
  dl div, .facts div, section dl div { grid-template-columns: 1fr; gap: 0; }
}
@media print {
  body { max-width: none; padding: 0; font-size: 9pt; }
  @page { margin: 14mm 16mm; }
  article { padding: 0.7rem 0; }
  h1 { font-size: 18pt; }
  pre { border: 1px solid var(--hair); }
}
""".strip()

RING = '<circle cx="12" cy="12" r="9.9" fill="none" stroke="currentColor" stroke-width="2.2"/>'


def _half(sweep: int) -> str:
    return f'<path d="M12 2.1 A9.9 9.9 0 0 {sweep} 12 21.9 Z" fill="currentColor"/>'


def _dots() -> str:
    """A ring of dots."""
    places = (2 * math.pi * (step + 0.5) / 12 for step in range(12))
    return "".join(
        f'<circle cx="{12 + 9.9 * math.cos(at):.2f}" cy="{12 + 9.9 * math.sin(at):.2f}" r="1.4" '
        'fill="currentColor"/>'
        for at in places
    )


SHAPES: Mapping[Verdict, tuple[str, str]] = {
    Verdict.PASS: ("pass", '<circle cx="12" cy="12" r="11" fill="currentColor"/>'),
    Verdict.CONDITIONAL_PASS: ("conditional pass", RING + _half(0)),
    Verdict.CONDITIONAL_FAIL: ("conditional fail", RING + _half(1)),
    Verdict.FAIL: (
        "fail",
        RING + '<path d="M5 5 L19 19" stroke="currentColor" stroke-width="2.2"/>',
    ),
    Verdict.NOT_ASSESSED: ("not assessed", _dots()),
}
"""Filled disc, disc filled on the left or right half, barred ring, dotted ring."""

MARKS: Mapping[Verdict, str] = {
    verdict: (
        f'<svg class="mark" viewBox="0 0 24 24" role="img" aria-label="{word}">'
        f'<g class="{verdict.value}">{shape}</g></svg>'
    )
    for verdict, (word, shape) in SHAPES.items()
}


def render_page(sheets: Sequence[Sheet]) -> bytes:
    """The page as UTF-8. KeyError, TypeError or ValueError where an assessment is none."""
    job = next((sheet.assessment.job for sheet in sheets if sheet.assessment.job), None)
    title = _text(job.title if job else None)
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>Compliance sheets: {title}</title>",
        f"<style>{STYLE}</style>",
        "</head>",
        "<body>",
        *_head(title, job),
        *_sheets(sheets),
        *_checking(sheets),
        *_contents(),
        "</body>",
        "</html>",
    ]
    return ("\n".join(parts) + "\n").encode()


def _text(value: str | None) -> str:
    return escape(value) if value else NOT_STATED


# ---------------------------------------------------------------- head


def _head(title: str, job: StatedJob | None) -> Iterable[str]:
    client, facility = (job.client, job.facility) if job else (None, None)
    yield "<header>"
    yield '<p class="kind">Compliance sheets</p>'
    yield f"<h1>{title}</h1>"
    yield "<dl>"
    for label, value in (
        ("Client", client.name if client else None),
        ("Reference", job.reference if job else None),
        ("Facility", facility.name if facility else None),
        ("Suite", job.suite if job else None),
    ):
        yield f"<div><dt>{label}</dt><dd>{_text(value)}</dd></div>"
    yield "</dl>"
    yield "</header>"


# ---------------------------------------------------------------- sheets


def _sheets(sheets: Sequence[Sheet]) -> Iterable[str]:
    yield "<main>"
    for sheet in sheets:
        yield from _sheet(sheet)
    yield "</main>"


def _sheet(sheet: Sheet) -> Iterable[str]:
    stated = sheet.assessment
    state, decision = stated.state, stated.decision
    accepted = {deviation.requirement: deviation for deviation in stated.deviations}
    word = outcome_word(state.verdict, state.conditional)
    if stated.disposition:
        word += ", accepted with deviations"
    yield "<article>"
    mark = outcome_mark(state.verdict, state.conditional)
    yield MARKS[mark]
    yield "<div>"
    yield f"<h2>{_text(stated.rule.title)}</h2>"
    yield f'<p class="word {mark.value}">{escape(capital(word))}</p>'
    told = tally_words(count(_shall(state.findings), decision), of="requirements")
    yield f"<p>{escape(told)}.</p>"
    yield from _listed(_missed(state.findings, decision, accepted))
    yield from _facts(sheet)
    yield "</div>"
    yield "</article>"


def _facts(sheet: Sheet) -> Iterable[str]:
    stated = sheet.assessment
    rule, slot = stated.rule, stated.slot.slot if stated.slot else None
    files = [_link(sheet.path, "sheet"), *_evidence(sheet)]
    yield '<dl class="facts">'
    for label, value, wide in (
        ("Slot", f"{_text(slot)} of {_display(stated.display or Display())}", True),
        ("Rule", f"{_text(rule.id)}, revision {rule.revision}", False),
        ("Measured", escape(format_time(stated.state.readings.measured)), False),
        ("Number", f"<code>{_text(stated.number)}</code>", False),
        ("Valid until", _until(stated), False),
        ("Signed", _signers(sheet), True),
        ("Files", ", ".join(files), True),
    ):
        kind = ' class="wide"' if wide else ""
        yield f"<div{kind}><dt>{label}</dt><dd>{value}</dd></div>"
    yield "</dl>"


def _shall(findings: Sequence[Finding]) -> list[Finding]:
    return [
        row
        for row in findings
        if row.level is Level.SHALL and row.reason is not Reason.NOT_APPLICABLE
    ]


def _missed(
    findings: Sequence[Finding], decision: Decision, accepted: Mapping[str, StatedDeviation]
) -> Iterable[str]:
    """The requirements that decided, each with what was accepted of it."""
    for row in _shall(findings):
        mark = MARKS[row.verdict].replace('class="mark"', 'class="small"')
        if row.verdict in OUTSIDE:
            value, limit = format_value(row), format_finding_limits(row)
            told = f"{mark} {escape(row.title)}: {escape(value)}; limit {escape(limit)}"
            if row.id in accepted:
                told += f"<br>{_accepted(accepted[row.id])}"
            yield told
        elif row.verdict is Verdict.NOT_ASSESSED:
            yield f"{mark} {escape(row.title)}: {escape(reason_word(row.reason))}"
        elif left_open(row, decision):
            yield f"{mark} {escape(row.title)}: {escape(_inside(row, decision))}"


def _inside(row: Finding, decision: Decision) -> str:
    """A value inside its limit, with what is known of how surely."""
    told = f"{format_value(row)}; limit {format_finding_limits(row)}"
    if row.probability is None:
        return f"{told}; its uncertainty is not known"
    return f"{told}; p\u00a0{format_probability(row.probability, decision.confidence)}"


def _accepted(deviation: StatedDeviation) -> str:
    until = format_date(deviation.until)
    who, signer = deviation.accepted_by, deviation.signer.name
    signed = "" if signer in who else f", signed by {escape(signer)},"
    return f"Accepted by {escape(who)}{signed} until {until}: {_text(deviation.reason)}"


def _listed(items: Iterable[str]) -> Iterable[str]:
    told = list(items)
    if told:
        yield "<ul>"
        yield from (f"<li>{item}</li>" for item in told)
        yield "</ul>"


def _display(display: Display) -> str:
    named = " ".join(part for part in (display.make, display.model) if part)
    serial = f", serial number {escape(display.serial)}" if display.serial else ""
    return (escape(named) or "the display") + serial


def _until(stated: StatedAssessment) -> str:
    if stated.state.verdict is not Outcome.COMPLIANT and not stated.disposition:
        return "–"
    return escape(format_time(stated.valid_until)) if stated.valid_until else "no end set"


def _signers(sheet: Sheet) -> str:
    told = []
    for each in sheet.verification.signatures:
        role = "" if each.role == "facility" else f", as {escape(each.role)}"
        when = f", {escape(format_time(each.claimed))}" if each.claimed else ""
        told.append(f"{_named(each.signer)}{role}{when}")
    return "<br>".join(told)


def _named(signer: Signer | Acceptor) -> str:
    return escape(", ".join(part for part in (signer.name, signer.organisation) if part))


def _link(path: str, text: str) -> str:
    return f'<a href="{escape(_quoted(path))}">{escape(text)}</a>'


def _quoted(path: str) -> str:
    from urllib.parse import quote

    return quote(path)


def _evidence(sheet: Sheet) -> Iterable[str]:
    for name in sorted(sheet.attached):
        yield _link(f"data/evidence/{sheet.name}/{name}", name)


# ---------------------------------------------------------------- foot


def _checking(sheets: Sequence[Sheet]) -> Iterable[str]:
    signers = {
        each.signer.fingerprint: _named(each.signer)
        for sheet in sheets
        for each in sheet.verification.signatures
    }
    for sheet in sheets:
        for each in acceptors(sheet):
            signers.setdefault(each.sha256, _named(each))
    yield "<section>"
    yield "<h2>How to check this</h2>"
    yield (
        "<p>Every sheet is signed and carries what it was computed from. Anyone who has "
        "<code>deliverable-compliance</code> can check all of this folder, and compute every "
        "value again:</p>"
    )
    yield "<pre>compliance verify FOLDER --trust CERTIFICATES</pre>"
    yield (
        "<p>CERTIFICATES is a signer's certificate, or a folder with those of all signers named "
        "below. Those in this delivery are only copies: have the numbers below confirmed by "
        "another way, such as the telephone. Signatures of the sheets can also be seen in any PDF "
        "reader that shows PAdES signatures.</p>"
    )
    yield "<dl>"
    for fingerprint, name in sorted(signers.items()):
        grouped = " ".join(fingerprint[at : at + 8] for at in range(0, len(fingerprint), 8))
        link = _link(f"data/certificates/{fingerprint}.pem", "certificate")
        yield (f"<div><dt>{name}</dt><dd><code>SHA-256 {grouped}</code><br>{link}</dd></div>")
    yield "</dl>"
    yield "</section>"


def _contents() -> Iterable[str]:
    yield "<section>"
    yield "<h2>What is in this folder</h2>"
    yield "<dl>"
    for name, told in (
        ("data/sheets", "The signed sheets, PDF/A-3."),
        (
            "data/evidence",
            "What each was computed from, as attached to it: the assessment with every finding, "
            "the readings, the rule with its limits, the job, the meter, and what was accepted.",
        ),
        (
            "data/certificates",
            "Certificates of those who signed sheets or accepted deviations.",
        ),
        ("*.txt", "What the folder holds and states, as a bag after RFC 8493 (BagIt)."),
    ):
        yield f"<div><dt><code>{name}</code></dt><dd>{told}</dd></div>"
    yield "</dl>"
    yield (
        "<p>Each sheet states what was measured, on one device, on one day, with one instrument. "
        "What this page says of them is a summary; what counts is the sheet.</p>"
    )
    yield "</section>"
