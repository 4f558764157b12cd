"""What a verdict rests on, for the client: how values are accepted, and the risk it leaves.

The risks are those of ILAC-G8:09/2019, 4 and 5, and JCGM 106:2012, 8.3: for one value
taken alone, with a flat prior.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import NormalDist

from compliance.model import Decision, Finding, Level, Outcome, Reason, State, Verdict
from compliance.quantities.table import QUANTITIES
from compliance.wording.figures import format_plain

__all__ = [
    "applies",
    "deciding",
    "explanation",
    "failing",
    "left_open",
    "risk_words",
    "shall_of",
    "tally_words",
    "with_uncertainty",
]

INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


# ---------------------------------------------------------------- which findings


def applies(finding: Finding) -> bool:
    """Whether the requirement is for this kind of display at all."""
    return finding.reason is not Reason.NOT_APPLICABLE


def shall_of(state: State) -> tuple[Finding, ...]:
    """The findings that decide a verdict."""
    return tuple(row for row in state.findings if row.level is Level.SHALL and applies(row))


def failing(findings: Iterable[Finding], level: Level = Level.SHALL) -> tuple[Finding, ...]:
    """The findings of one level that lie outside their limits."""
    return tuple(row for row in findings if row.level is level and row.verdict in OUTSIDE)


def with_uncertainty(state: State) -> bool:
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


def deciding(state: State, decision: Decision) -> tuple[tuple[Finding, ...], str]:
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


def explanation(state: State, decision: Decision) -> tuple[str, ...]:
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


def _consequence(state: State, decision: Decision) -> str:
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


def _accepted(state: State, decision: Decision) -> str:
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
