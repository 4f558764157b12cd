"""Verdicts and decisions in words; the same in every report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from statistics import NormalDist

from compliance.model import (
    Assessment,
    Decision,
    Finding,
    Level,
    Outcome,
    Over,
    Reason,
    State,
    Verdict,
)
from compliance.wording.figures import format_plain

__all__ = [
    "BASIS_WORDS",
    "OUTCOME_WORDS",
    "REASON_WORDS",
    "VERDICT_WORDS",
    "applies",
    "basis_words",
    "decision_sentence",
    "failing",
    "outcome_sentence",
    "outcome_word",
    "over_words",
    "verdict_word",
    "with_uncertainty",
]

VERDICT_WORDS: Mapping[Verdict, str] = {
    Verdict.PASS: "pass",
    Verdict.CONDITIONAL_PASS: "conditional pass",
    Verdict.CONDITIONAL_FAIL: "conditional fail",
    Verdict.FAIL: "fail",
    Verdict.NOT_ASSESSED: "not assessed",
}

OUTCOME_WORDS: Mapping[Outcome, str] = {
    Outcome.COMPLIANT: "compliant",
    Outcome.NOT_COMPLIANT: "not compliant",
    Outcome.UNDECIDED: "undecided",
}

REASON_WORDS: Mapping[Reason, str] = {
    Reason.MISSING_READINGS: "readings are missing",
    Reason.METER: "beyond what the meter can tell",
    Reason.UNCERTAINTY: "the measurement uncertainty leaves it open",
    Reason.NOT_APPLICABLE: "does not apply to this kind of display",
}

BASIS_WORDS: Mapping[str, str] = {
    "published": "stands in the published document named",
    "digest": "of a published document, read in a public digest of it, not in the original",
    "memory": "recalled from a published document, unchecked",
    "practice": "what the trade does; no source",
    "house": "set in-house or agreed with the client",
}


# ---------------------------------------------------------------- verdicts


def verdict_word(verdict: Verdict, reason: Reason | None = None) -> str:
    """The printed word of a finding's verdict."""
    if reason is Reason.NOT_APPLICABLE:
        return "not applicable"
    return VERDICT_WORDS[verdict]


def outcome_word(verdict: Outcome, conditional: bool = False) -> str:
    """The printed word of an assessment's verdict."""
    word = OUTCOME_WORDS[verdict]
    if not conditional or verdict is Outcome.UNDECIDED:
        return word
    return f"conditionally {word}"


def basis_words(basis: str) -> str:
    """What one of the five words for a limit's basis means."""
    return BASIS_WORDS.get(basis, basis)


def applies(finding: Finding) -> bool:
    """Whether the requirement is for this kind of display at all."""
    return finding.reason is not Reason.NOT_APPLICABLE


def failing(findings: Iterable[Finding], level: Level = Level.SHALL) -> tuple[Finding, ...]:
    """The findings of one level that lie outside their limits."""
    outside = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
    return tuple(row for row in findings if row.level is level and row.verdict in outside)


def with_uncertainty(state: State) -> bool:
    """Whether any finding was decided with a probability."""
    return any(finding.probability is not None for finding in state.findings)


def outcome_sentence(assessment: Assessment, state: State | None = None) -> str:
    """The verdict as one plain sentence about the slot, or the display without a job."""
    state = state or assessment.state
    slot = assessment.slot
    subject = f"Slot {slot.name}" if slot else "The display"
    before = state is assessment.before or assessment.heading == "before"
    when = "Before calibration, " if before else ""
    subject = subject if not when else subject[0].lower() + subject[1:]
    said = f"{when}{subject}, as measured,"
    shall = [row for row in state.findings if row.level is Level.SHALL and applies(row)]
    if state.verdict is Outcome.COMPLIANT:
        near = (
            "; at least one value lies so near its limit that the measurement uncertainty "
            "reaches across it"
            if state.conditional
            else ""
        )
        return f"{said} meets every requirement of {assessment.rule.title}{near}."
    if state.verdict is Outcome.NOT_COMPLIANT:
        return _not_compliant(said, assessment, state, len(shall))
    return _undecided(said, assessment, state, shall)


def _not_compliant(said: str, assessment: Assessment, state: State, count: int) -> str:
    missed = failing(state.findings)
    which = f"{len(missed)} of the {count} requirements" if count > 1 else "the requirement"
    near = "; the measurement uncertainty reaches across the limit" if state.conditional else ""
    return f"{said} does not meet {which} of {assessment.rule.title}{near}."


def _undecided(said: str, assessment: Assessment, state: State, shall: list[Finding]) -> str:
    subject = said.removesuffix(", as measured,")
    subject = subject if subject.startswith("Before") else subject[0].lower() + subject[1:]
    lead = f"Whether {subject} meets {assessment.rule.title} cannot be said"
    if subject.startswith("Before"):
        lead = f"{subject}: whether it met {assessment.rule.title} cannot be said"
    open_ones = [row for row in shall if row.verdict is Verdict.NOT_ASSESSED]
    if state.reason is Reason.UNCERTAINTY or not open_ones:
        return f"{lead}: {REASON_WORDS[state.reason or Reason.UNCERTAINTY]}."
    why = REASON_WORDS[state.reason] if state.reason else "they could not be assessed"
    if state.reason is Reason.METER:
        why = "what they ask is beyond what the meter can tell"
    how_many = f"{len(open_ones)} of the {len(shall)} requirements"
    joint = "for" if state.reason is Reason.MISSING_READINGS else "of"
    if joint == "for":
        return f"{lead}: {why} for {how_many}."
    return f"{lead}: {how_many} stay open; {why}."


# ---------------------------------------------------------------- sentences


def decision_sentence(decision: Decision, uncertain: bool) -> str:
    """The decision rule in words (ILAC-G8:09/2019, JCGM 106:2012).

    `uncertain` says whether the measurement uncertainty was evaluated at all.
    """
    risk = format_plain(round(100 * (1 - decision.confidence), 6))
    factor = f"{NormalDist().inv_cdf(decision.confidence):.2f}"
    if decision.acceptance == "guarded":
        rule = (
            f"Guarded acceptance: a value counts as met when it lies inside its limit by a guard "
            f"band of {factor}\u00a0u, u being its standard uncertainty; the risk of wrongly "
            f"accepting it is then at most {risk}\u00a0%, for each value taken alone and with a "
            f"flat prior."
        )
        if not uncertain:
            rule += (
                " The values were judged without measurement uncertainty, so that none of those "
                "measured can be accepted in this way."
            )
            return rule
        return f"{rule} {_together()}"
    if not uncertain:
        return (
            "Simple acceptance (guard band 0): each value is compared with its limit as measured, "
            "without measurement uncertainty. For a value near its limit the risk of wrongly "
            "accepting it is up to 50\u00a0%, for each value taken alone."
        )
    return (
        f"Simple acceptance (guard band 0): a value inside its limit is accepted, and the risk of "
        f"wrongly accepting one near it is up to 50\u00a0%. It is called pass only when it lies "
        f"inside by {factor}\u00a0u, u being its standard uncertainty, so that the risk is at most "
        f"{risk}\u00a0%, for each value taken alone and with a flat prior; conditional pass else. "
        f"{_together()}"
    )


def _together() -> str:
    return (
        "This is no statement about all values together, for which the joint probability is "
        "printed."
    )


def over_words(over: Over | None) -> str:
    """Which patches a requirement is about, in short words; empty where roles are fixed."""
    if over is None:
        return ""
    parts = [", ".join(over.patches)]
    if over.signal is not None:
        low, high = (format_plain(100 * end) for end in over.signal)
        parts.append(f"signal {low} to {high}\u00a0%")
    if over.target is not None:
        low, high = (format_plain(end) for end in over.target)
        parts.append(f"target {low} to {high}\u00a0cd/m²")
    if over.position:
        parts.append("at " + ", ".join(over.position))
    if over.window:
        parts.append("window " + ", ".join(format_plain(size) for size in over.window) + "\u00a0%")
    if over.pattern:
        parts.append(over.pattern)
    if over.seconds:
        parts.append("after " + ", ".join(format_plain(time) for time in over.seconds) + "\u00a0s")
    if over.only:
        parts.append("only " + ", ".join(over.only))
    if over.exclude:
        parts.append("except " + ", ".join(over.exclude))
    return "; ".join(parts)
