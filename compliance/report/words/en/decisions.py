"""How values are accepted and the risk it leaves; why one is not; the cautions of a plan.

The risks are those of ILAC-G8:09/2019, 4 and 5, and JCGM 106:2012, 8.3: for one value
taken alone, with a flat prior.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from statistics import NormalDist

from compliance.grading.decide import uncertainty_unknown
from compliance.model import Decision, Finding, GradedReadings, Outcome, Reason
from compliance.report.numbers import format_number, format_plain
from compliance.report.verdict import (
    INSIDE,
    deciding,
    failing,
    shall_of,
    with_uncertainty,
)

WITHOUT_UNCERTAINTY = "All values were judged without measurement uncertainty."
NEAR_A_LIMIT = f"{WITHOUT_UNCERTAINTY} Near a limit the risk of accepting one wrongly is 50\u00a0%."
P_MISSING = "Where p is missing, the measurement uncertainty is not known."


def risk_words(decision: Decision) -> tuple[str, str]:
    """The guard band in standard uncertainties, and the risk it leaves in per cent, as print."""
    factor = f"{NormalDist().inv_cdf(decision.confidence):.2f}\u00a0u"
    return factor, f"{format_plain(round(100 * (1 - decision.confidence), 6))}\u00a0%"


# ---------------------------------------------------------------- in short, for these values


def risk_sentences(state: GradedReadings, decision: Decision) -> tuple[str, ...]:
    """The risk for these values, then the decision rule."""
    factor, risk = risk_words(decision)
    if decision.acceptance == "guarded":
        rule = (
            f"Guarded acceptance: accepted only inside its limits by a guard band of {factor} (u: "
            f"standard uncertainty), at a risk of at most {risk}, for each value taken alone."
        )
    elif with_uncertainty(state):
        rule = (
            "Simple acceptance: compared directly with the limits; uncertainty is shown. Each risk "
            "is that of one value taken alone."
        )
    else:
        rule = "Simple acceptance: compared directly with the limits."
    if with_uncertainty(state):
        rule += " p: probability that the true value lies inside."
    return _consequence(state, decision), rule


def _consequence(state: GradedReadings, decision: Decision) -> str:
    """The risk that the verdict leaves for these findings, or why there is none."""
    uncertain = with_uncertainty(state)
    if state.verdict is Outcome.UNDECIDED and state.reason is not Reason.UNCERTAINTY:
        why = "that the meter cannot tell" if state.reason is Reason.METER else "without readings"
        return f"A requirement {why} is neither met nor missed, and leaves the verdict open."
    if state.verdict is Outcome.NOT_COMPLIANT:
        return _rejected(failing(shall_of(state)), uncertain)
    if state.verdict is Outcome.UNDECIDED:
        return _open(deciding(state, decision), decision)
    return _accepted(state, decision) if uncertain else NEAR_A_LIMIT


def _rejected(outside: tuple[Finding, ...], uncertain: bool) -> str:
    parts = []
    if not uncertain:
        parts.append(WITHOUT_UNCERTAINTY)
    elif any(finding.probability is not None for finding in outside):
        parts.append("The risk of rejecting a value wrongly is p.")
    if uncertain and any(map(uncertainty_unknown, outside)):
        parts.append(P_MISSING)
    return " ".join(parts)


def _open(findings: tuple[Finding, ...], decision: Decision) -> str:
    unknown = sum(map(uncertainty_unknown, findings))
    if unknown == len(findings):
        was = "It was" if len(findings) == 1 else "They were"
        return (
            f"{was} judged without measurement uncertainty: inside as measured, which shows "
            f"neither met nor missed."
        )
    confidence = f"{format_plain(100 * decision.confidence)}\u00a0%"
    proof = (
        f"What is open lies inside as measured, but p is less than the {confidence} asked for: it "
        f"is shown neither to be met nor to be missed."
    )
    return f"{proof} {P_MISSING}" if unknown else proof


def _accepted(state: GradedReadings, decision: Decision) -> str:
    """Of a compliant slot whose values were judged with uncertainty."""
    _, risk = risk_words(decision)
    if decision.acceptance == "guarded":
        return f"The risk of accepting a value wrongly is at most {risk}."
    shall = shall_of(state)
    sure = [p for row in shall if (p := row.probability) is not None and row.verdict in INSIDE]
    near = [p for p in sure if p < decision.confidence]
    parts = []
    if near:
        most = math.ceil(round(100 * (1 - min(near)), 6))
        parts.append(f"The risk of accepting a value wrongly is here at most {most}\u00a0%.")
    if len(near) < len(sure):
        start = "For the others it is" if near else "The risk of accepting a value wrongly is"
        parts.append(f"{start} at most {risk}.")
    unknown = sum(map(uncertainty_unknown, shall))
    if unknown:
        which = "one value" if unknown == 1 else f"{unknown} values"
        parts.append(f"For {which} the uncertainty is not known.")
    return " ".join(parts)


# ---------------------------------------------------------------- in full

TOGETHER = (
    "This is no statement about all values together: where several patches are judged, the "
    "joint probability is printed for the reader, and decides nothing."
)


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
        unknown = (
            "The values were judged without measurement uncertainty, so that none of those "
            "measured can be accepted in this way."
        )
        return f"{rule} {TOGETHER if uncertain else unknown}"
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
        f"{risk}, for each value taken alone and with a flat prior; conditional pass otherwise. "
        f"{TOGETHER}"
    )


def brighter(patch: str, before: float, after: float) -> str:
    return (
        f"{patch} rose from {format_number(before)} to {format_number(after)}\u00a0cd/m², and "
        "calibration takes light away unless the display itself was set brighter"
    )


def darker(before: float, after: float) -> str:
    return (
        f"black fell from {format_number(before)} to {format_number(after)}\u00a0cd/m² at the "
        "same white"
    )


def unseen_patches(names: Sequence[str]) -> str:
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f"the meter cannot see {names[0]}{more}"


def silent_certificate(keys: Sequence[str]) -> str:
    return f"the meter's file does not state {', '.join(keys)}"


REASONS: Mapping[str, str | Callable[..., str]] = {
    # why a patch could not be judged, and notes on a finding
    "code-beyond-range": "code beyond nominal black or white",
    "code-above-peak": "code above the target's peak",
    "code-outside-primaries": "code outside the target's primaries",
    "white-unlit": "white reads no light, nothing can be fitted to it",
    "target-too-dark": "target below {floor:.3g} cd/m²",
    "colour-too-dark": "luminance below {floor:.3g} cd/m², the floor for chromaticity",
    "not-a-number": "these readings give no number",
    "below-meter": "told as < {lowest:g} cd/m², the least the meter can tell",
    "black-zero": "black reads {black:.3g} cd/m², no contrast can be formed",
    "black-below-meter": "black is told as < {lowest:g} cd/m², the least the meter can tell",
    "zero-by-construction": "every difference here is zero by construction",
    "other-display": "for {displays} displays only",
    # why readings before and after calibration are hardly of one slot
    "same-file": "both files are the same, byte for byte",
    "dates": "those before are dated no earlier than those after",
    "brighter": brighter,
    "darker": darker,
    "wider": (
        "{primary} lies Δu'v' {away:.2g} outside the triangle of the primaries before, and a "
        "calibration only makes that smaller"
    ),
    # why a meter's capability is not known, or none
    "patches-unreadable": "the meter cannot read these patches",
    "patches-below-meter": unseen_patches,
    "certificate-silent": silent_certificate,
    "draws-give-no-number": "the draws give no number",
    "limit-zero": "a limit of 0 gives nothing to compare with",
    "limit-unreadable": "a display on the limit cannot be read from {lowest:g} cd/m²",
    "guarded-limit-below-meter": "{level:.3g} cd/m² is below what the meter can tell",
    # cautions of a plan, and what its encoding cannot carry well
    "flashing": (
        "Full-screen flashing patches, above all HDR peaks, can provoke seizures in people with "
        "photosensitive epilepsy (ITU-R BT.1702): warn before a measuring session, and let nobody "
        "sensitive watch it."
    ),
    "beam": (
        "Do not look into a projector's beam: measure the light from the screen. Laser projectors "
        "fall under IEC 60825-1, IEC 62471 and local law; service is for trained, licensed staff."
    ),
    "burn-in": (
        "Long runs at peak luminance can age or burn in an emissive panel: follow the maker's "
        "limits."
    ),
    "few-bits": (
        "{encoding} has {bits} bits, and ITU-R BT.2100 codes PQ and HLG in 10 or 12: a step of one "
        "code is up to {step:.2g} % of luminance, and bands in gradients are the signal's fault."
    ),
    "recoded": (
        "{rule} is written for {written_for}: in {encoding} its colours are coded anew, and only a "
        "display that is fed that signal shows them right."
    ),
}
