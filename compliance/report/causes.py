"""Likely causes as they are shown: their words, and the requirements that they explain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from compliance.grading.decide import OUTSIDE
from compliance.model import TEXT_V1, Cause, Explained, Finding, Level, Statement
from compliance.quantities.catalogue import is_stated
from compliance.report.numbers import format_value
from compliance.report.words import cause_next_step, cause_text, cause_title, evidence_text
from compliance.report.words.en.causes import (
    explained_text,
    moved,
    only_recommended,
    unexplained_text,
)


@dataclass(frozen=True, slots=True)
class EvidenceWords:
    """A number that supports a cause, with its description."""

    what: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause as it is shown."""

    kind: str
    rank: int
    """Causes of one rank cannot be told apart."""
    title: str
    text: str
    explains: str
    """The requirements that it explains, in a sentence; empty if it states none."""
    next_step: str
    share: float | None
    evidence: tuple[EvidenceWords, ...]


def cause_words(causes: Sequence[Cause], findings: Sequence[Finding]) -> tuple[CauseWords, ...]:
    """The causes of an assessment as they are shown beside its findings."""
    by_id = {finding.id: finding for finding in findings}
    return tuple(
        CauseWords(
            kind=kind_of(cause),
            rank=place if cause.kind == TEXT_V1 else cause.rank,
            title=cause_title(cause),
            text=cause_text(cause),
            explains=_explains([each for each in cause.explains if each.id in by_id], by_id),
            next_step=cause_next_step(cause),
            share=cause.share,
            evidence=tuple(
                EvidenceWords(evidence_text(evidence), evidence.value, evidence.unit)
                for evidence in cause.evidence
            ),
        )
        for place, cause in enumerate(causes, 1)
    )


def unexplained(causes: Sequence[Cause], findings: Sequence[Finding]) -> str:
    """The measured requirements outside their limits that no cause explains, in a sentence.

    Empty if each is explained, or the causes are those of a document of version 1.
    """
    if all(cause.kind == TEXT_V1 for cause in causes):
        return ""
    explained = {each.id for cause in causes for each in cause.explains}
    left = [
        finding.title
        for finding in findings
        if finding.verdict in OUTSIDE
        and not is_stated(finding.quantity)
        and finding.id not in explained
    ]
    return unexplained_text(left) if left else ""


def kind_of(statement: Statement) -> str:
    """The kind of a statement; in a document of version 1 the one that it states."""
    return statement.variant if statement.kind == TEXT_V1 else statement.kind


def _explains(explains: Sequence[Explained], by_id: dict[str, Finding]) -> str:
    if not explains:
        return ""
    text = explained_text([_moved(each, by_id[each.id]) for each in explains])
    recommended = all(each.level is Level.SHOULD for each in explains)
    return f"{text} {only_recommended()}" if recommended else text


def _moved(explained: Explained, finding: Finding) -> str:
    if explained.without is None:
        return finding.title
    then = replace(finding, value=explained.without, interval=None, bound=None, points=())
    return moved(
        finding.title,
        format_value(finding),
        format_value(then),
        together=explained.together,
        within=explained.inside,
    )
