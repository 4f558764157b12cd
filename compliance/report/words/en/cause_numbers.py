"""The names of the numbers that support a cause."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from compliance.report.words.en.fact_formats import number
from compliance.report.words.en.rules import shown_words


def _place(along: Literal["window", "seconds"]) -> Callable[[float], str]:
    def text(place: float) -> str:
        return f"luminance {shown_words(along, number(place))}".replace("\u00a0", " ")

    return text


EVIDENCE: Mapping[str, str | Callable[..., str]] = {
    "error": "mean difference with it",
    "error-without": "mean difference without it",
    "channel-top": lambda channel: f"largest light of {channel}",
    "tint": lambda channel: f"light of {channel} too much or too little",
    "tint-level": "about this level of the signal",
    "crosstalk": "drive of each channel in the others",
    "exponent": "exponent",
    "system-gamma": "system gamma",
    "exponent-in-rule's-form": "exponent in the rule's form",
    "black-code": "highest code that shows as black",
    "white-code": "lowest code that shows as white",
    "code-of-black": "code that black shows as",
    "code-of-white": "code that white shows as",
    "top": "highest luminance",
    "highlights-level": "signal from which",
    "target": "target there",
    "brightest": "brightest reading",
    "slope": "slope above it",
    "blacks-level": "signal up to which",
    "luminance": "reading there",
    "lowered-by": "signal lowered by",
    "lowest-grey": "lowest grey above it",
    "light-added": "light added",
    "black": "black as read",
    "black-admitted": "black that the rule admits",
    "gain": "light of {channel}",
    "offset": "offset of {channel}",
    "white": "white as read",
    "white-asked": "white that the rule asks for",
    "primaries-away": "largest distance of the two sets",
    "primary-away": "{primary} from the rule's",
    "white-x": "x of white as read",
    "white-y": "y",
    "away-from-rule": "from the rule's white",
    "away-from-named": "from the white named",
    "kelvin": "temperature of the nearest daylight",
    "away-from-daylight": "from that daylight",
    "primaries-over-white": "red, green and blue together over white",
    "luminance-by-window": _place("window"),
    "luminance-by-seconds": _place("seconds"),
    "patches-in-common": "patches in common",
    "median-difference": "median difference before and after",
    "95th-percentile": "95th percentile",
    "drift": "change of the light over the session",
    "scatter": "scatter about it",
    "repeats": "readings of repeated patches",
    "read": "as read",
    "expected": "by the others",
    "from-neighbours": "distance from that",
    "patch-before": "light of the patch before in it",
    "colour-drift": "change of the white's colour over the session",
    "colour-scatter": "scatter about it",
    "u-at-start": "u' of white at the start",
    "v-at-start": "v' at the start",
    "u-at-end": "u' at the end",
    "v-at-end": "v' at the end",
    "meter-moves": "{colour} moved by",
}
