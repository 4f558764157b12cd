"""Reasons and notes, as clauses; cautions and warnings of a plan, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from compliance.report.numbers import format_number


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
    "black-dominates": "the black is below what the meter can tell, and decides this value",
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
    "no-repeatability": "the meter's file does not say how well its readings repeat",
    "no-chromaticity": "the meter's file states no uncertainty of chromaticity",
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
