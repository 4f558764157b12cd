"""Verdicts and decisions in words; the same in every report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from compliance.model import (
    Assessment,
    Decision,
    Finding,
    Outcome,
    Over,
    PatchSet,
    Reason,
    State,
    Verdict,
)
from compliance.wording.decided import (
    failing,
    left_open,
    risk_words,
    shall_of,
    with_uncertainty,
)
from compliance.wording.figures import format_plain

__all__ = [
    "BASIS_WORDS",
    "OUTCOME_WORDS",
    "REASON_WORDS",
    "VERDICT_WORDS",
    "basis_words",
    "capital",
    "decision_sentence",
    "outcome_mark",
    "outcome_sentence",
    "outcome_word",
    "over_words",
    "shown_words",
    "verdict_word",
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


def shown_words(along: Literal["window", "seconds"], size: str) -> str:
    """Where or when a patch was read: at a window of `size` % of the screen, or after `size` s."""
    if along == "window":
        return f"at {size}\u00a0% of the screen"
    return "at once" if size == "0" else f"after {size}\u00a0s"


def capital(words: str) -> str:
    """`words` with a capital at their head."""
    return words[:1].upper() + words[1:]


def verdict_word(verdict: Verdict, reason: Reason | None = None) -> str:
    """The printed word of a finding's verdict."""
    if reason is Reason.NOT_APPLICABLE:
        return "not applicable"
    return VERDICT_WORDS[verdict]


def outcome_mark(verdict: Outcome, conditional: bool) -> Verdict:
    """The mark that an assessment's verdict is shown with."""
    if verdict is Outcome.COMPLIANT:
        return Verdict.CONDITIONAL_PASS if conditional else Verdict.PASS
    if verdict is Outcome.NOT_COMPLIANT:
        return Verdict.CONDITIONAL_FAIL if conditional else Verdict.FAIL
    return Verdict.NOT_ASSESSED


def outcome_word(verdict: Outcome, conditional: bool = False) -> str:
    """The printed word of an assessment's verdict."""
    word = OUTCOME_WORDS[verdict]
    if not conditional or verdict is Outcome.UNDECIDED:
        return word
    return f"conditionally {word}"


def basis_words(basis: str) -> str:
    """What one of the five words for a limit's basis means."""
    return BASIS_WORDS.get(basis, basis)


def outcome_sentence(assessment: Assessment, state: State | None = None) -> str:
    """The verdict as one plain sentence about the slot, or the display without a job."""
    state = state or assessment.state
    slot = assessment.slot
    subject = f"Slot {slot.name}" if slot else "The display"
    before = state is assessment.before or assessment.heading == "before"
    when = "Before calibration, " if before else ""
    subject = subject if not when else subject[0].lower() + subject[1:]
    said = f"{when}{subject}, as measured,"
    shall = shall_of(state)
    if state.verdict is Outcome.COMPLIANT:
        return f"{said} meets every requirement of {assessment.rule.title}{_nearly(shall)}."
    if state.verdict is Outcome.NOT_COMPLIANT:
        return _not_compliant(said, assessment, state, len(shall))
    return _undecided(said, assessment, state, shall)


def _nearly(shall: tuple[Finding, ...]) -> str:
    """How many are met so narrowly that they may in truth be missed."""
    near = sum(row.verdict is Verdict.CONDITIONAL_PASS for row in shall)
    if not near:
        return ""
    which = f"{near} of the {len(shall)} " if len(shall) > 1 else ""
    whose = "its limit" if near == 1 else "their limits"
    return f"; {which}only conditionally, as the measurement uncertainty reaches across {whose}"


def _not_compliant(said: str, assessment: Assessment, state: State, count: int) -> str:
    missed = failing(state.findings)
    which = f"{len(missed)} of the {count} requirements" if count > 1 else "the requirement"
    near = "; the measurement uncertainty reaches across the limit" if state.conditional else ""
    return f"{said} does not meet {which} of {assessment.rule.title}{near}."


def _undecided(said: str, assessment: Assessment, state: State, shall: tuple[Finding, ...]) -> str:
    subject = said.removesuffix(", as measured,")
    subject = subject if subject.startswith("Before") else subject[0].lower() + subject[1:]
    lead = f"Whether {subject} meets {assessment.rule.title} cannot be said"
    if subject.startswith("Before"):
        lead = f"{subject}: whether it met {assessment.rule.title} cannot be said"
    if state.reason is Reason.UNCERTAINTY:
        count = sum(left_open(row, assessment.rule.decision) for row in shall)
        why = "" if with_uncertainty(state) else "is not known, which "
        return (
            f"{lead}: the measurement uncertainty {why}leaves {count} of the {len(shall)} "
            f"requirements open."
        )
    count = sum(row.verdict is Verdict.NOT_ASSESSED for row in shall)
    if not count:
        return f"{lead}: no requirement could be assessed."
    if state.reason is Reason.METER:
        return (
            f"{lead}: {count} of the {len(shall)} requirements stay open; what they ask is beyond "
            f"what the meter can tell."
        )
    return f"{lead}: readings are missing for {count} of the {len(shall)} requirements."


# ---------------------------------------------------------------- sentences


def decision_sentence(decision: Decision, uncertain: bool) -> str:
    """The decision rule in words (ILAC-G8:09/2019, JCGM 106:2012).

    `uncertain` says whether the measurement uncertainty was evaluated at all.
    """
    factor, risk = risk_words(decision)
    if decision.acceptance == "guarded":
        rule = (
            f"Guarded acceptance: a value counts as met when it lies inside its limit by a guard "
            f"band of {factor}, u being its standard uncertainty; the risk of wrongly "
            f"accepting it is then at most {risk}, for each value taken alone and with a "
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
        f"inside by {factor}, u being its standard uncertainty, so that the risk is at most "
        f"{risk}, for each value taken alone and with a flat prior; conditional pass else. "
        f"{_together()}"
    )


def _together() -> str:
    return (
        "This is no statement about all values together: where several patches are judged, the "
        "joint probability is printed for the reader, and decides nothing."
    )


def over_words(over: Over | None, sets: Mapping[str, PatchSet] | None = None) -> str:
    """Which patches a requirement is about, in short words; empty where roles are fixed.

    With `sets`, those of the rule, a set whose name tells nothing is told by what it is of.
    """
    if over is None:
        return ""
    parts = [", ".join(_set_words(name, (sets or {}).get(name)) for name in over.patches)]
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


def _set_words(name: str, patch_set: PatchSet | None) -> str:
    if patch_set is None:
        return name
    of, kind = patch_set.of or "white", patch_set.kind
    if kind == "repeats":
        return f"{of} read again"
    if kind == "positions":
        return f"{of} over the screen"
    if kind == "windows":
        return f"{of} in several windows"
    return "saturations" if kind == "saturations" else name.replace("-", " ")
