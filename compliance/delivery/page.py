"""The page of a delivery: one HTML file that opens offline, without scripts, and prints.

Verdicts are told by a word and a shape first; inks only repeat them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from html import escape
from typing import TYPE_CHECKING, Any

from compliance.decision import OUTSIDE
from compliance.delivery.sheets import acceptors
from compliance.delivery.style import MARKS, STYLE
from compliance.model import Acceptor, Decision, Finding, Level, Outcome, Reason, Verdict
from compliance.restated import finding_of
from compliance.wording import (
    NOT_STATED,
    REASON_WORDS,
    capital,
    format_date,
    format_finding_limits,
    format_probability,
    format_time,
    format_value,
    left_open,
    outcome_mark,
    outcome_word,
    tally_words,
)

if TYPE_CHECKING:
    from compliance.delivery.sheets import Sheet
    from compliance.identity import Signer

__all__ = ["page"]


def page(sheets: Sequence[Sheet]) -> bytes:
    """The page as UTF-8. KeyError, TypeError or ValueError where an assessment is none."""
    job: Mapping[str, Any] = next(
        (sheet.stated["job"] for sheet in sheets if sheet.stated["job"]), {}
    )
    title = _text(job.get("title"))
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


def _text(value: Any) -> str:
    return escape(str(value)) if value not in (None, "") else NOT_STATED


# ---------------------------------------------------------------- head


def _head(title: str, job: Mapping[str, Any]) -> Iterable[str]:
    client, facility = job.get("client") or {}, job.get("facility") or {}
    yield "<header>"
    yield '<p class="kind">Compliance sheets</p>'
    yield f"<h1>{title}</h1>"
    yield "<dl>"
    for label, value in (
        ("Client", client.get("name")),
        ("Reference", job.get("reference")),
        ("Facility", facility.get("name")),
        ("Suite", job.get("suite")),
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
    stated = sheet.stated
    verdict, conditional = Outcome(stated["verdict"]), bool(stated["conditional"])
    findings = [finding_of(row) for row in stated["findings"]]
    decision = Decision(**stated["decision"])
    accepted = {one["requirement"]: one for one in stated["deviations"]}
    word = outcome_word(verdict, conditional)
    if stated["disposition"]:
        word += ", accepted with deviations"
    yield "<article>"
    mark = outcome_mark(verdict, conditional)
    yield MARKS[mark]
    yield "<div>"
    yield f"<h2>{_text(stated['rule']['title'])}</h2>"
    yield f'<p class="word {mark.value}">{escape(capital(word))}</p>'
    told = tally_words(_shall(findings), decision, of="requirements")
    yield f"<p>{escape(told)}.</p>"
    yield from _listed(_missed(findings, decision, accepted))
    yield from _facts(sheet, verdict)
    yield "</div>"
    yield "</article>"


def _facts(sheet: Sheet, verdict: Outcome) -> Iterable[str]:
    stated = sheet.stated
    rule, slot = stated["rule"], stated["slot"] or {}
    files = [_link(sheet.path, "sheet"), *_evidence(sheet)]
    yield '<dl class="facts">'
    for label, value, wide in (
        ("Slot", f"{_text(slot.get('slot'))} of {_display(stated['display'] or {})}", True),
        ("Rule", f"{_text(rule['id'])}, revision {_text(rule['revision'])}", False),
        ("Measured", _moment(stated["readings"]["measured"]), False),
        ("Number", f"<code>{_text(stated['number'])}</code>", False),
        ("Valid until", _until(stated, verdict), False),
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
    findings: Sequence[Finding], decision: Decision, accepted: Mapping[str, Mapping[str, Any]]
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
            why = REASON_WORDS[row.reason] if row.reason else "not assessed"
            yield f"{mark} {escape(row.title)}: {escape(why)}"
        elif left_open(row, decision):
            yield f"{mark} {escape(row.title)}: {escape(_inside(row, decision))}"


def _inside(row: Finding, decision: Decision) -> str:
    """A value inside its limit, with what is known of how surely."""
    told = f"{format_value(row)}; limit {format_finding_limits(row)}"
    if row.probability is None:
        return f"{told}; its uncertainty is not known"
    return f"{told}; p\u00a0{format_probability(row.probability, decision.confidence)}"


def _accepted(one: Mapping[str, Any]) -> str:
    until = format_date(date.fromisoformat(one["until"]))
    who, signer = str(one["accepted_by"]), str(one["signer"]["name"])
    signed = "" if signer in who else f", signed by {escape(signer)},"
    return f"Accepted by {escape(who)}{signed} until {until}: {_text(one['reason'])}"


def _listed(items: Iterable[str]) -> Iterable[str]:
    told = list(items)
    if told:
        yield "<ul>"
        yield from (f"<li>{item}</li>" for item in told)
        yield "</ul>"


def _display(display: Mapping[str, Any]) -> str:
    named = " ".join(str(display[key]) for key in ("make", "model") if display.get(key))
    serial = f", serial number {escape(str(display['serial']))}" if display.get("serial") else ""
    return (escape(named) or "the display") + serial


def _moment(text: Any) -> str:
    return escape(format_time(datetime.fromisoformat(text))) if text else NOT_STATED


def _until(stated: Mapping[str, Any], verdict: Outcome) -> str:
    if verdict is not Outcome.COMPLIANT and not stated["disposition"]:
        return "–"
    return _moment(stated["valid_until"]) if stated["valid_until"] else "no end set"


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
