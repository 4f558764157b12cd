"""Requirements in words: value, limits, how sure, what is missing, where the limit comes from.

A table and running text say some of it differently; both wordings stand here, side by side.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from compliance.grading.decide import OUTSIDE
from compliance.grading.eligibility import limited_by_meter
from compliance.model import (
    Deviation,
    Finding,
    Level,
    Point,
    Requirement,
    Rule,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES, is_stated
from compliance.report.nearness import gauge
from compliance.report.numbers import (
    format_date,
    format_finding_limits,
    format_limits,
    format_number,
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
from compliance.report.report import Row
from compliance.report.verdict import applies, finding_mark, left_open
from compliance.report.words import note_text, reason_text
from compliance.report.words.en.grammar import capital, counted, first_of, joined, listed
from compliance.report.words.en.rules import REFERENCES, SCALES, over_words
from compliance.report.words.en.verdicts import (
    OPEN,
    REASON_WORDS,
    accepted_sentence,
    acceptor_words,
    reason_word,
    verdict_word,
)

SHOWN_POINTS = 6
NAMED = 4
"""Names that a sentence spells out before it counts the rest."""
STATISTICS = {
    "each": "each patch",
    "mean": "mean",
    "spread": "largest minus smallest",
    "pairwise": "largest difference of any two",
}
"""Quantities that are stated, not measured."""


def requirement_rows(
    findings: Sequence[Finding], rule: Rule, deviations: Iterable[Deviation] = ()
) -> tuple[Row, ...]:
    """All findings as rows; `deviations` are what the client accepts of them."""
    known = {requirement.id: requirement for requirement in rule.requirements}
    accepted = {deviation.requirement: deviation for deviation in deviations}
    return tuple(
        _row(finding, known.get(finding.id), accepted.get(finding.id), findings, rule)
        for finding in findings
    )


def _row(
    finding: Finding,
    requirement: Requirement | None,
    deviation: Deviation | None,
    among: Sequence[Finding],
    rule: Rule,
) -> Row:
    confidence = rule.decision.confidence
    return Row(
        finding=finding,
        mark=finding_mark(finding, rule.decision),
        word=_word(finding, rule),
        level=_level(finding),
        about=_about(finding, requirement, rule),
        value=format_value(finding, among),
        value_notes=tuple(_value_notes(finding, among, confidence)),
        limit=format_finding_limits(finding),
        limits=_limits(finding, requirement),
        gauge=gauge(finding),
        interval=interval_words(finding, among=among),
        probability=_probability(finding.probability, confidence),
        least_sure=_least_sure(finding, confidence),
        short=_short(finding),
        details=tuple(_details(finding, deviation)),
        open=tuple(_open(finding)),
        sentences=tuple(_sentences(finding, among)),
        message=_message(finding),
        points=tuple(_points(finding)),
        accepted=accepted_sentence(deviation) if deviation else "",
    )


# ---------------------------------------------------------------- in a table


def _word(finding: Finding, rule: Rule) -> str:
    if left_open(finding, rule.decision):
        return OPEN
    return verdict_word(finding_mark(finding, rule.decision), finding.reason)


def _about(finding: Finding, requirement: Requirement | None, rule: Rule) -> str:
    quantity = QUANTITIES.get(finding.quantity)
    parts = [quantity.title if quantity else finding.quantity]
    if quantity and quantity.values == "point" and len(finding.points) != 1:
        parts.append(_statistic(finding, requirement))
    words = over_words(requirement.over, rule.sets) if requirement else ""
    if words:
        parts.append(words)
    if requirement and requirement.reference != "target":
        parts.append(REFERENCES[requirement.reference])
    if requirement and requirement.scale is not None:
        parts.append(SCALES[requirement.scale])
    if requirement and requirement.above_black:
        parts.append("above black")
    if requirement and requirement.ignore_luminance:
        parts.append("luminance ignored")
    if any(change.subject == f"requirements.{finding.id}" for change in rule.changes):
        parts.append("changed by the house rule")
    return "; ".join(parts)


def _statistic(finding: Finding, requirement: Requirement | None) -> str:
    if finding.statistic == "percentile" and requirement and requirement.percentile:
        return f"{format_plain(requirement.percentile)}th percentile"
    return STATISTICS.get(finding.statistic, finding.statistic)


def _limits(finding: Finding, requirement: Requirement | None) -> tuple[str, ...]:
    several = requirement is not None and (requirement.bands or requirement.by_patch)
    if requirement is not None and (several or finding.limits is None):
        return format_requirement_limits(requirement, finding.unit)
    return (format_finding_limits(finding),)


def _counted(finding: Finding) -> list[Point]:
    """The points that were judged each by itself."""
    return [point for point in finding.points if point.verdict is not None]


def _value_notes(finding: Finding, among: Sequence[Finding], confidence: float) -> Iterable[str]:
    if finding.verdict is Verdict.NOT_ASSESSED and finding.value is not None:
        yield "as far as read"
    several = len(_counted(finding)) > 1
    worst = value_point(finding)
    if worst is not None and several:
        yield f"at {point_name(worst)}"
    if finding.statistic in ("spread", "pairwise") and len(finding.points) == 2:
        yield " and ".join(map(point_name, finding.points))
    yield from filter(None, [interval_words(finding, among=among)])
    uncertain = any(other.probability is not None for other in among)
    if finding.probability is not None:
        yield from _sureness(finding, several, confidence)
    elif uncertain and finding.value is not None and not is_stated(finding.quantity):
        yield "without measurement uncertainty"
    yield from filter(None, [_judged(finding)])


def _judged(finding: Finding) -> str:
    """How many of the patches that a requirement covers were judged; empty if the only one was."""
    limited = limited_by_meter(finding.not_judged)
    covered = len(finding.points) + limited
    return f"{len(finding.points)} of {covered} judged" if covered > 1 else ""


def _sureness(finding: Finding, several: bool, confidence: float) -> Iterable[str]:
    """The probability; of another patch than the value's, with that one's value and interval."""
    least, worst = least_sure(finding, confidence), value_point(finding)
    if least is not None and worst is not None:
        yield from filter(None, [_probability(worst.probability, confidence)])
        yield f"least sure at {point_name(least)}"
        yield format_point_value(least, finding)
        yield from filter(None, [interval_words(finding, least)])
    together = finding.joint if several else None
    joint = "" if together is None else f", joint\u00a0p\u00a0{format_probability(together)}"
    yield f"{_probability(finding.probability, confidence)}{joint}"


def _probability(probability: float | None, confidence: float = 0.95) -> str:
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


def _short(finding: Finding) -> str:
    if finding.missing:
        readings = counted(len(finding.missing), "reading")
        return f"{readings} missing: {listed(finding.missing, NAMED)}"
    return REASON_WORDS[finding.reason] if finding.reason else ""


def _details(finding: Finding, deviation: Deviation | None) -> Iterable[str]:
    if deviation is not None:
        until = format_date(deviation.until)
        yield f"Accepted by {acceptor_words(deviation)} until {until}; the verdict stays."
    note = note_text(finding)
    if note:
        yield _sentence(note)
    if finding.verdict is Verdict.NOT_ASSESSED and finding.reason is not None:
        said = finding.missing or (note and not applies(finding))
        if not said:
            yield _sentence(REASON_WORDS[finding.reason])
    if finding.missing:
        yield f"Missing: {listed(finding.missing, SHOWN_POINTS)}."
    outside = [point for point in finding.points if point.verdict in OUTSIDE]
    if len(outside) > 1 or (outside and finding.missing):
        names = listed([_outside(point, finding) for point in outside], SHOWN_POINTS)
        yield f"Outside at {len(outside)} of {len(_counted(finding))}: {names}."
    if finding.not_judged:
        patches = counted(len(finding.not_judged), "patch was", "patches were")
        yield f"{patches} not judged."


def _sentence(words: str) -> str:
    return capital(words) + ("" if words.endswith(".") else ".")


def _outside(point: Point, finding: Finding) -> str:
    limits = f" ({format_limits(point.limits)})" if point.limits != finding.limits else ""
    return f"{point_name(point)}:\u00a0{format_point_value(point, finding)}{limits}"


def _open(finding: Finding) -> Iterable[str]:
    if finding.missing:
        yield f"Missing: {joined(finding.missing)}."
    grouped: dict[str, dict[str, None]] = {}
    for patch in finding.not_judged:
        grouped.setdefault(reason_text(patch), {})[point_name(patch)] = None
    for why, names in grouped.items():
        yield f"Not judged, {why}: {joined(tuple(names))}."


def not_met(rows: Iterable[Row]) -> str:
    """Requirements that are not met and decide nothing, each with value and limits."""
    names = [f"{row.finding.title} ({row.value}, limit {row.limit})" for row in rows]
    return f"Not met: {listed(names, NAMED)}." if names else ""


# ---------------------------------------------------------------- as running text


def _level(finding: Finding) -> str:
    """What marks a requirement that decides nothing: ` (should)`."""
    return " (should)" if finding.level is Level.SHOULD else ""


def _sentences(finding: Finding, among: Sequence[Finding]) -> Iterable[str]:
    if finding.verdict is Verdict.NOT_ASSESSED:
        yield from _why_open(finding)
    else:
        worst = value_point(finding) if len(finding.points) > 1 else None
        yield "; ".join(_value_and_limit(finding, worst, among))
        yield from filter(None, (_least_sure_at(finding), _also_outside(finding, worst)))
        if finding.missing:
            yield f"missing: {_names(finding.missing)}"
    yield from filter(None, [note_text(finding)])
    yield _source(finding) or f"basis: {finding.basis}"


def _why_open(finding: Finding) -> Iterable[str]:
    if finding.missing:
        yield f"missing: {_names(finding.missing)}"
    elif finding.reason is not None:
        yield ", ".join(filter(None, [reason_word(finding.reason), _judged(finding)]))
    if finding.value is not None:
        yield f"as far as read: {_value_of_quantity(finding)}; limit {_limit(finding)}"
    if finding.not_judged:
        reasons = list(dict.fromkeys(map(reason_text, finding.not_judged)))
        names = [patch.name for patch in finding.not_judged]
        yield f"not judged: {_names(names)}: {'; '.join(reasons[:2])}"


def _limit(finding: Finding) -> str:
    return format_finding_limits(finding)


def _value_of_quantity(finding: Finding, among: Sequence[Finding] = ()) -> str:
    row = QUANTITIES.get(finding.quantity)
    title = row.title if row else finding.quantity
    statistic = "" if finding.statistic == "each" else f", {finding.statistic}"
    return f"{title}{statistic} {format_value(finding, among)}"


def _value_and_limit(
    finding: Finding, worst: Point | None, among: Sequence[Finding]
) -> Iterable[str]:
    yield f"{_value_of_quantity(finding, among)}; limit {_limit(finding)}"
    if worst is not None:
        target = worst.target
        aim = "" if target is None else f", target {format_number(target)}\u00a0cd/m²"
        yield f"worst at {point_name(worst)}{aim}"
    yield from filter(None, [interval_words(finding, among=among)])
    own = worst if worst is not None and least_sure(finding) is not None else finding
    yield from _inside(own.probability)


def _inside(probability: float | None) -> Iterable[str]:
    if probability is not None:
        yield f"{_probability(probability)} that it is inside"


def _least_sure_at(finding: Finding) -> str:
    """The patch that decides how sure the finding is, where its value is another's."""
    least = least_sure(finding)
    if least is None:
        return ""
    bound = interval_words(finding, least)
    value = format_point_value(least, finding)
    parts = [value, *filter(None, [bound]), *_inside(least.probability)]
    return f"least sure at {point_name(least)}: {'; '.join(parts)}"


def _also_outside(finding: Finding, worst: Point | None) -> str:
    """Further points outside their limits, beside the worst."""
    names = [
        f"{point_name(point)} ({format_point_value(point, finding)})"
        for point in finding.points
        if point.verdict in OUTSIDE and point is not worst
    ]
    return f"also outside: {_names(names)}" if names and worst is not None else ""


def _source(finding: Finding) -> str:
    """The clause that a limit comes from, and on what basis; empty without a clause."""
    return f"{finding.clause} ({finding.basis})" if finding.clause else ""


def _names(names: Sequence[str]) -> str:
    """The first names and how many more; they may hold commas and are not broken."""
    return first_of([name.replace(" ", "\u00a0") for name in names], NAMED)


def judged_in_part(findings: Iterable[Finding]) -> tuple[str, ...]:
    """Findings with a verdict that leaves patches out, a paragraph for each reason."""
    titles: dict[str, list[str]] = {}
    for finding in findings:
        if finding.verdict is not Verdict.NOT_ASSESSED:
            for why, count in Counter(map(reason_text, finding.not_judged)).items():
                space = " " if count == 1 else "\u00a0"
                patches = counted(count, "patch", "patches", space=space)
                titles.setdefault(why, []).append(f"{finding.title} ({patches})")
    return tuple(f"Not judged in part, {why}: {'; '.join(parts)}" for why, parts in titles.items())


# ---------------------------------------------------------------- for other programs


def _message(finding: Finding) -> str:
    if not applies(finding):
        return verdict_word(finding.verdict, finding.reason)
    if finding.verdict is Verdict.NOT_ASSESSED:
        missing = f": {', '.join(finding.missing)}" if finding.missing else ""
        return f"{reason_word(finding.reason)}{missing}"
    word, value = verdict_word(finding.verdict), format_value(finding)
    return f"{finding.title}{_level(finding)}: {word}: {value}; limit {_limit(finding)}"


def _points(finding: Finding) -> Iterable[str]:
    for point in finding.points:
        if point.verdict in OUTSIDE:
            limit = format_limits(point.limits, finding.unit)
            yield f"{point_name(point)}: {format_point_value(point, finding)}; limit {limit}"
    yield from filter(None, [_source(finding)])
