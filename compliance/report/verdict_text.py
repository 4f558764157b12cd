"""Verdicts, decisions and deviations in words; the same in every report.

The risks are those of ILAC-G8:09/2019, 4 and 5, and JCGM 106:2012, 8.3: for one value
taken alone, with a flat prior.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from statistics import NormalDist
from typing import Literal

from compliance.model import (
    Assessment,
    Decision,
    Deviation,
    Disposition,
    Finding,
    GradedReadings,
    Level,
    Outcome,
    Over,
    PatchSet,
    Reason,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES
from compliance.report.numbers import format_date, format_finding_limits, format_plain, format_value

INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


# ---------------------------------------------------------------- which findings


def applies(finding: Finding) -> bool:
    """Whether the requirement is for this kind of display at all."""
    return finding.reason is not Reason.NOT_APPLICABLE


def shall_of(state: GradedReadings) -> tuple[Finding, ...]:
    """The findings that decide a verdict."""
    return tuple(row for row in state.findings if row.level is Level.SHALL and applies(row))


def failing(findings: Iterable[Finding], level: Level = Level.SHALL) -> tuple[Finding, ...]:
    """The findings of one level that lie outside their limits."""
    return tuple(row for row in findings if row.level is level and row.verdict in OUTSIDE)


def with_uncertainty(state: GradedReadings) -> bool:
    """Whether any finding was decided with a probability."""
    return any(finding.probability is not None for finding in state.findings)


def left_open(finding: Finding, decision: Decision) -> bool:
    """Whether a value inside its limits is not accepted, because nothing proves it."""
    if decision.acceptance != "guarded" or finding.verdict not in INSIDE:
        return False
    return finding.verdict is Verdict.CONDITIONAL_PASS or _unknown(finding)


def _unknown(finding: Finding) -> bool:
    """Whether a value was measured and judged without knowing its uncertainty."""
    stated = QUANTITIES[finding.quantity].values == "stated"
    judged = finding.verdict is not Verdict.NOT_ASSESSED
    return judged and finding.probability is None and not stated


def deciding(state: GradedReadings, decision: Decision) -> tuple[tuple[Finding, ...], str]:
    """The findings that make the verdict what it is, and a heading; none if all are met.

    Those outside and not assessed come in the rule's order, the others least sure first.
    """
    shall = shall_of(state)
    outside = failing(shall)
    if outside:
        return outside, "Outside limits"
    if state.verdict is Outcome.UNDECIDED and state.reason is not Reason.UNCERTAINTY:
        return tuple(row for row in shall if row.verdict is Verdict.NOT_ASSESSED), "Not assessed"
    unproven = _least_sure_first(row for row in shall if left_open(row, decision))
    if unproven:
        return unproven, "Left open"
    near = _least_sure_first(row for row in shall if row.verdict is Verdict.CONDITIONAL_PASS)
    return near, "Met conditionally"


def _least_sure_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    def sureness(finding: Finding) -> float:
        return 2.0 if finding.probability is None else finding.probability

    return tuple(sorted(findings, key=sureness))


# ---------------------------------------------------------------- in words


def tally_words(findings: Iterable[Finding], decision: Decision, *, of: str = "") -> str:
    """How many of the findings are met, e.g. `9 of 9 met, 4 of them conditionally`.

    `of` names them: with `requirements`, it begins `9 of 9 requirements met`.
    """
    told = tuple(findings)
    unproven = sum(left_open(row, decision) for row in told)
    met = sum(row.verdict in INSIDE for row in told) - unproven
    missed = sum(row.verdict in OUTSIDE for row in told)
    unassessed = sum(row.verdict is Verdict.NOT_ASSESSED for row in told)
    near = sum(row.verdict is Verdict.CONDITIONAL_PASS for row in told)
    parts = [" ".join(filter(None, (f"{met} of {len(told)}", of, "met")))]
    if near and decision.acceptance != "guarded":
        parts.append(f"{near} of them conditionally")
    parts += [
        f"{count} {words}"
        for count, words in (
            (unproven, "left open"),
            (missed, "not met"),
            (unassessed, "not assessed"),
        )
        if count
    ]
    return ", ".join(parts)


def risk_words(decision: Decision) -> tuple[str, str]:
    """The guard band in standard uncertainties, and the risk it leaves in per cent, as print."""
    factor = f"{NormalDist().inv_cdf(decision.confidence):.2f}\u00a0u"
    return factor, f"{format_plain(round(100 * (1 - decision.confidence), 6))}\u00a0%"


def explanation(state: GradedReadings, decision: Decision) -> tuple[str, ...]:
    """How it was decided, what that comes to here, and what the risk is about."""
    factor, risk = risk_words(decision)
    if decision.acceptance == "guarded":
        rule = (
            f"Guarded acceptance: a value is accepted only when it lies inside its limits by a "
            f"guard band of {factor}, u being its standard uncertainty; the risk of accepting it "
            f"wrongly is then at most {risk}."
        )
    else:
        rule = (
            "Simple acceptance: a value is accepted when it lies inside its limits as measured, "
            "however near; the risk of accepting one wrongly is up to 50\u00a0%."
        )
    alone = "Each risk is that of one value taken alone: nothing is said of all values together"
    if with_uncertainty(state):
        alone += ", and the joint probabilities printed further on decide nothing"
    return rule, _consequence(state, decision), f"{alone}."


def _consequence(state: GradedReadings, decision: Decision) -> str:
    """What the rule of acceptance comes to for these findings."""
    if state.verdict is Outcome.UNDECIDED and state.reason is not Reason.UNCERTAINTY:
        why = "that the meter cannot tell" if state.reason is Reason.METER else "without readings"
        return (
            f"A requirement {why} is neither met nor missed, and as long as one is open, so is "
            f"the whole."
        )
    if state.verdict is Outcome.NOT_COMPLIANT:
        return _rejected(failing(shall_of(state)), with_uncertainty(state))
    if state.verdict is Outcome.UNDECIDED:
        return _open(deciding(state, decision)[0], decision)
    if not with_uncertainty(state):
        return "All values were judged without measurement uncertainty."
    return _accepted(state, decision)


def _rejected(outside: tuple[Finding, ...], uncertain: bool) -> str:
    said = "A value outside its limits is never accepted."
    if not uncertain:
        return f"{said} All values were judged without measurement uncertainty."
    if any(row.probability is not None for row in outside):
        said += (
            " p is the probability that the true value lies inside after all, and so the risk of "
            "rejecting it wrongly."
        )
    if any(map(_unknown, outside)):
        said += " Where p is missing, the measurement uncertainty is not known."
    return said


def _open(findings: tuple[Finding, ...], decision: Decision) -> str:
    unknown = sum(map(_unknown, findings))
    one = len(findings) == 1
    if unknown == len(findings):
        return (
            f"{'It was' if one else 'They were'} judged without measurement uncertainty, and so "
            f"cannot be accepted in this way: inside as measured, which shows neither that "
            f"{'it is' if one else 'they are'} met nor that {'it is' if one else 'they are'} "
            f"missed."
        )
    said = (
        f"What is left open lies inside as measured, but not by that much: p, the probability that "
        f"the true value lies inside too, is less than the {_confidence(decision)} asked for. It "
        f"is neither shown to be met nor shown to be missed."
    )
    if unknown:
        said += " Where p is missing, the measurement uncertainty is not known."
    return said


def _accepted(state: GradedReadings, decision: Decision) -> str:
    """Of a compliant slot whose values were judged with uncertainty."""
    if decision.acceptance == "guarded":
        return "Every value that was measured does so here."
    factor, risk = risk_words(decision)
    shall = shall_of(state)
    sure = [p for row in shall if (p := row.probability) is not None and row.verdict in INSIDE]
    near = [p for p in sure if p < decision.confidence]
    others = f"at least {factor} (u: standard uncertainty), at a risk of at most {risk} each"
    parts = []
    if near:
        most = math.ceil(round(100 * (1 - min(near)), 6))
        parts.append(
            f"p is the probability that the true value lies inside too; the rest is the risk, here "
            f"at most {most}\u00a0%."
        )
    if len(near) < len(sure):
        subject = "The other values keep" if near else "Here the values keep"
        parts.append(f"{subject} a guard band of {others}.")
    if any(map(_unknown, shall)):
        parts.append(f"Of {_some(sum(map(_unknown, shall)))} the uncertainty is not known.")
    return " ".join(parts)


def _some(count: int) -> str:
    return "one value" if count == 1 else f"{count} values"


def _confidence(decision: Decision) -> str:
    return f"{format_plain(100 * decision.confidence)}\u00a0%"


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


def outcome_sentence(assessment: Assessment, state: GradedReadings | None = None) -> str:
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


def _not_compliant(said: str, assessment: Assessment, state: GradedReadings, count: int) -> str:
    missed = failing(state.findings)
    which = f"{len(missed)} of the {count} requirements" if count > 1 else "the requirement"
    near = "; the measurement uncertainty reaches across the limit" if state.conditional else ""
    return f"{said} does not meet {which} of {assessment.rule.title}{near}."


def _undecided(
    said: str, assessment: Assessment, state: GradedReadings, shall: tuple[Finding, ...]
) -> str:
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


DISPOSITION_WORDS = {Disposition.ACCEPTED: "accepted with deviations"}


def accepted_value(deviation: Deviation) -> str:
    """The value accepted, with unit."""
    return format_value(_finding(deviation))


def accepted_limits(deviation: Deviation) -> str:
    """The limits that it misses, in plain language."""
    return format_finding_limits(_finding(deviation))


def accepted_sentence(deviation: Deviation) -> str:
    """One deviation as a sentence: what, by whom, until when, why."""
    signer = deviation.signer
    signed = "" if signer.name in deviation.accepted_by else f", signed by {signer.name}"
    return (
        f"{deviation.title}: {accepted_value(deviation)} accepted (limit "
        f"{accepted_limits(deviation)}) by {deviation.accepted_by}{signed}, until "
        f"{format_date(deviation.until)}: {deviation.reason}"
    )


def not_accepted(assessment: Assessment) -> tuple[Finding, ...]:
    """What lies outside its limits and decides, and is not accepted."""
    accepted = {deviation.requirement for deviation in assessment.deviations}
    outside = failing(assessment.state.findings)
    return tuple(finding for finding in outside if finding.id not in accepted)


def _finding(deviation: Deviation) -> Finding:
    return Finding(
        id=deviation.requirement,
        title=deviation.title,
        quantity=deviation.quantity,
        unit=deviation.unit,
        level=Level.SHALL,
        statistic="each",
        basis="house",
        clause=None,
        verdict=Verdict.FAIL,
        value=deviation.value,
        limits=deviation.limits,
    )
