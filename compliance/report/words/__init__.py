"""The words for facts: the texts of remarks, causes, reasons and notes.

Each language is a package in this folder with the tables of `en`: kind (and variant, after a
dot) to a text with the facts in braces, or to a function of the facts. A second language is
`report/words/xx/` with the same files. `LANGUAGE` chooses the tables of facts; headings, verdicts
and rules are functions that other modules import from `words.en` by name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from string import Formatter
from typing import Any

from compliance.model import (
    Cause,
    Evidence,
    Fact,
    Facts,
    Finding,
    NotJudged,
    Remark,
    Statement,
    Texts,
)
from compliance.report.words import en

LANGUAGE = en


def remark_text(remark: Remark, *, short: bool = False) -> str:
    """A remark in sentences; if `short`, long lists are cut."""
    table = LANGUAGE.REMARKS
    if short and remark.kind in LANGUAGE.SHORT_REMARKS:
        table = LANGUAGE.SHORT_REMARKS
    return _text(table, _key(remark), remark.facts)


def cause_title(cause: Statement) -> str:
    """The title of a cause, in a line."""
    return _cause_texts(cause).title


def cause_text(cause: Cause) -> str:
    """The description of a cause, in sentences."""
    text, fit = _cause_texts(cause).text, cause.fit
    if fit is None:
        return text
    other = cause_title(fit.next) if fit.next else ""
    return f"{text} {LANGUAGE.fit_text(fit, other)}"


def cause_next_step(cause: Cause) -> str:
    """The next step for a cause, in a sentence."""
    return _cause_texts(cause).next_step


def evidence_text(evidence: Evidence) -> str:
    """The description of a number that supports a cause."""
    return _text(LANGUAGE.EVIDENCE, evidence.kind, evidence.facts)


def reason_text(patch: NotJudged) -> str:
    """The reason that a patch could not be judged, as a clause."""
    return statement_text(patch.why)


def note_text(finding: Finding) -> str | None:
    """The note on a finding's value, as a clause; None if there is none."""
    return None if finding.note is None else statement_text(finding.note)


def statement_text(statement: Statement) -> str:
    """The text of a reason, a note, a caution or a step of a check: a clause or a sentence."""
    return _text(LANGUAGE.STATEMENTS, _key(statement), statement.facts)


def _key(statement: Statement) -> str:
    return f"{statement.kind}.{statement.variant}" if statement.variant else statement.kind


def _cause_texts(cause: Statement) -> Texts:
    if isinstance(cause.facts, Texts):
        return cause.facts
    words = LANGUAGE.CAUSES[_key(cause)]
    if not isinstance(words, Texts):
        return words(**cause.facts)
    parts = (words.text, words.title, words.next_step)
    return Texts(*(FORMATTER.vformat(part, (), cause.facts) for part in parts))


def _text(table: Mapping[str, str | Callable[..., str]], key: str, facts: Facts | Texts) -> str:
    """The words of a kind with the facts; statements among the facts become words too."""
    if isinstance(facts, Texts):
        return facts.text
    words = table[key]
    ready = {name: _ready(fact) for name, fact in facts.items()}
    return FORMATTER.vformat(words, (), ready) if isinstance(words, str) else words(**ready)


def _ready(fact: Fact) -> object:
    if isinstance(fact, Statement):
        return statement_text(fact)
    return tuple(map(_ready, fact)) if isinstance(fact, tuple) else fact


class _Formatter(Formatter):
    """Format texts with facts in braces, some with the language's own formats."""

    def format_field(self, value: Any, format_spec: str) -> str:
        own = LANGUAGE.FORMATS.get(format_spec)
        return own(value) if own else str(super().format_field(value, format_spec))


FORMATTER = _Formatter()
