"""The requirements as rows of text: value, limits, verdict, basis, clause."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from compliance.grading.decide import OUTSIDE
from compliance.model import (
    Deviation,
    Finding,
    Level,
    NotJudged,
    PatchSet,
    Point,
    Requirement,
    Rule,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES, is_stated
from compliance.report.numbers import (
    format_date,
    format_finding_limits,
    format_limits,
    format_plain,
    format_point_value,
    format_probability,
    format_requirement_limits,
    format_value,
    interval_words,
    least_sure,
    point_name,
    value_point,
)
from compliance.report.verdict import applies
from compliance.report.words import note_text, reason_text
from compliance.report.words.en.grammar import capital, listed
from compliance.report.words.en.rules import over_words
from compliance.report.words.en.verdicts import REASON_WORDS, verdict_word

SHOWN_POINTS = 6
NAMED = 4
"""Missing readings named on page 1."""
STATISTICS = {
    "each": "each patch",
    "mean": "mean",
    "spread": "largest minus smallest",
    "pairwise": "largest difference of any two",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement as printed."""

    id: str
    level: Level
    verdict: Verdict
    word: str
    title: str
    about: str
    """Quantity, statistic and patches."""
    value: str
    value_notes: tuple[str, ...]
    """Where the value lies, its interval and probability."""
    limits: tuple[str, ...]
    """All of them: a line per band or group of patches."""
    decisive: str
    """Those that the value was held against."""
    probability: str
    """Its probability to lie inside, e.g. `p = 0.763`; empty where it is not known."""
    least_sure: str
    """Where value and probability are of two patches: which those are, in a sentence."""
    short: str
    """Why it is not assessed, in a line or two."""
    details: tuple[str, ...]
    """What a reader of the verdict must know: points outside, what is missing."""
    basis: str
    clause: str


@dataclass(frozen=True, slots=True)
class OpenItem:
    """What of one requirement was missing or not judged."""

    title: str
    missing: tuple[str, ...]
    not_judged: tuple[tuple[str, tuple[str, ...]], ...]
    """Why, and the names of the patches."""


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings with the shall first; the rule's own order within."""
    return tuple(sorted(findings, key=lambda row: row.level is not Level.SHALL))


def rows(
    findings: Iterable[Finding], rule: Rule, deviations: Iterable[Deviation] = ()
) -> tuple[Row, ...]:
    """All findings as rows, the shall first; `deviations` are what the client accepts of them."""
    known = {requirement.id: requirement for requirement in rule.requirements}
    accepted = {deviation.requirement: deviation for deviation in deviations}
    ordered = in_order(findings)
    asked = rule.decision.confidence
    told = (_row(finding, known.get(finding.id), rule.sets, ordered, asked) for finding in ordered)
    return tuple(_with_leave(row, accepted.get(row.id)) for row in told)


def _with_leave(row: Row, deviation: Deviation | None) -> Row:
    """A row that says that the client accepts it, where that is so."""
    if deviation is None:
        return row
    until = format_date(deviation.until)
    said = f"Accepted by {deviation.accepted_by} until {until}; the verdict stays."
    return replace(row, details=(said, *row.details))


def _row(
    finding: Finding,
    requirement: Requirement | None,
    sets: Mapping[str, PatchSet],
    among: Sequence[Finding],
    confidence: float,
) -> Row:
    return Row(
        id=finding.id,
        level=finding.level,
        verdict=finding.verdict,
        word=verdict_word(finding.verdict, finding.reason),
        title=finding.title,
        about=_about(finding, requirement, sets),
        value=format_value(finding, among),
        value_notes=tuple(_value_notes(finding, among, confidence)),
        limits=_limits(finding, requirement),
        decisive=format_finding_limits(finding),
        probability=_probability(finding.probability, confidence),
        least_sure=_least_sure(finding, confidence),
        short=_short(finding),
        details=tuple(_details(finding)),
        basis=finding.basis,
        clause=finding.clause or "",
    )


def _about(finding: Finding, requirement: Requirement | None, sets: Mapping[str, PatchSet]) -> str:
    quantity = QUANTITIES.get(finding.quantity)
    parts = [quantity.title if quantity else finding.quantity]
    if quantity and quantity.values == "point" and len(finding.points) != 1:
        parts.append(_statistic(finding, requirement))
    words = over_words(requirement.over, sets) if requirement else ""
    if words:
        parts.append(words)
    if requirement and requirement.reference != "target":
        where = "the measured white" if requirement.reference == "white" else "the centre"
        parts.append(f"from {where}")
    if requirement and requirement.above_black:
        parts.append("above black")
    if requirement and requirement.ignore_luminance:
        parts.append("luminance ignored")
    return "; ".join(parts)


def _statistic(finding: Finding, requirement: Requirement | None) -> str:
    if finding.statistic == "percentile" and requirement and requirement.percentile:
        return f"{format_plain(requirement.percentile)}th percentile"
    return STATISTICS.get(finding.statistic, finding.statistic)


def _limits(finding: Finding, requirement: Requirement | None) -> tuple[str, ...]:
    if requirement is not None and (requirement.bands or requirement.by_patch):
        return format_requirement_limits(requirement, finding.unit)
    if finding.limits is None and requirement is not None:
        return format_requirement_limits(requirement, finding.unit)
    return (format_finding_limits(finding),)


def _value_notes(finding: Finding, among: Sequence[Finding], confidence: float) -> Iterable[str]:
    if finding.verdict is Verdict.NOT_ASSESSED and finding.value is not None:
        yield "as far as read"
    counted = [point for point in finding.points if point.verdict is not None]
    worst = value_point(finding)
    if worst is not None and len(counted) > 1:
        yield f"at {point_name(worst)}"
    pair = [point for point in finding.points if finding.statistic in ("spread", "pairwise")]
    if len(pair) == 2:
        yield f"{point_name(pair[0])} and {point_name(pair[1])}"
    yield from filter(None, [interval_words(finding, among=among)])
    uncertain = any(one.probability is not None for one in among)
    if finding.probability is not None:
        yield from _sureness(finding, len(counted), confidence)
    elif uncertain and finding.value is not None and not is_stated(finding.quantity):
        yield "without measurement uncertainty"


def _sureness(finding: Finding, counted: int, confidence: float) -> Iterable[str]:
    """The probability; of another patch than the value's, with that one's value and interval."""
    least, worst = least_sure(finding, confidence), value_point(finding)
    if least is not None and worst is not None:
        yield from filter(None, [_probability(worst.probability, confidence)])
        yield f"least sure at {point_name(least)}"
        yield format_point_value(least, finding)
        yield from filter(None, [interval_words(finding, least)])
    together = finding.joint if counted > 1 else None
    joint = "" if together is None else f", joint\u00a0p\u00a0{format_probability(together)}"
    yield f"{_probability(finding.probability, confidence)}{joint}"


def _probability(probability: float | None, confidence: float) -> str:
    if probability is None:
        return ""
    return f"p\u00a0{format_probability(probability, confidence)}"


def _least_sure(finding: Finding, confidence: float) -> str:
    """For page 1, which shows value and probability of a finding beside each other."""
    least, worst = least_sure(finding, confidence), value_point(finding)
    if least is None or worst is None:
        return ""
    own = _probability(worst.probability, confidence)
    bound = interval_words(finding, least)
    return (
        f"The value is that of {point_name(worst)}, nearest its limit{f' ({own})' if own else ''}; "
        f"p is that of {point_name(least)}, {format_point_value(least, finding)}"
        f"{f' ({bound})' if bound else ''}."
    )


def _details(finding: Finding) -> Iterable[str]:
    note = note_text(finding)
    if note:
        yield _sentence(note)
    if finding.verdict is Verdict.NOT_ASSESSED and finding.reason is not None:
        told = finding.missing or (note and not applies(finding))
        if not told:
            yield _sentence(REASON_WORDS[finding.reason])
    if finding.missing:
        yield f"Missing: {listed(finding.missing, SHOWN_POINTS)}."
    outside = [point for point in finding.points if point.verdict in OUTSIDE]
    if len(outside) > 1 or (outside and finding.missing):
        count = len([point for point in finding.points if point.verdict is not None])
        yield f"Outside at {len(outside)} of {count}: {_outside(outside, finding)}."
    if finding.not_judged:
        count = len(finding.not_judged)
        patches = "patch was" if count == 1 else "patches were"
        yield f"{count} {patches} not judged."


def _sentence(words: str) -> str:
    return capital(words) + ("" if words.endswith(".") else ".")


def _short(finding: Finding) -> str:
    if finding.missing:
        count = len(finding.missing)
        readings = "reading" if count == 1 else "readings"
        return f"{count} {readings} missing: {listed(finding.missing, NAMED)}"
    return REASON_WORDS[finding.reason] if finding.reason else ""


def _outside(outside: Sequence[Point], finding: Finding) -> str:
    told = [
        f"{point_name(point)}:\u00a0{format_point_value(point, finding)}"
        + (f" ({format_limits(point.limits)})" if point.limits != finding.limits else "")
        for point in outside
    ]
    return listed(told, SHOWN_POINTS)


def open_items(findings: Iterable[Finding]) -> tuple[OpenItem, ...]:
    """Per requirement in order, what was missing and what was measured but not judged."""
    return tuple(
        OpenItem(finding.title, finding.missing, _by_reason(finding.not_judged))
        for finding in in_order(findings)
        if finding.missing or finding.not_judged
    )


def _by_reason(patches: Iterable[NotJudged]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    grouped: dict[str, list[str]] = {}
    for patch in patches:
        shown = point_name(patch)
        names = grouped.setdefault(reason_text(patch), [])
        if shown not in names:
            names.append(shown)
    return tuple((why, tuple(names)) for why, names in grouped.items())
