"""Likely causes in a panel's channels, and a slot with another deliverable's table, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from compliance.model import Texts
from compliance.report.words.en.fact_formats import percent

DELIVERABLES = {
    "sdr-broadcast": "SDR broadcast (BT.709, BT.1886)",
    "sdr-uhd": "SDR in UHD (P3 in BT.2020, BT.1886)",
    "web-srgb": "the web (sRGB)",
    "web-p3": "the web (P3)",
    "stills-adobergb": "stills (Adobe RGB)",
    "stills-d50": "stills for print (Adobe RGB, D50)",
    "cinema-p3d65": "cinema (P3, D65, gamma 2.6)",
    "cinema-p3-dci": "cinema (P3, DCI white, gamma 2.6)",
    "hdr-hlg": "HLG (P3 in BT.2020)",
    "hdr-pq": "PQ (P3 in BT.2020)",
    "hdr-pq-p3": "PQ (P3)",
    "hdr-pq-bt2020": "PQ (BT.2020)",
}
PARTS = {"curve": "curve", "primaries": "primaries", "white": "white"}


def deliverable(deliverable: str, parts: Sequence[str]) -> Texts:
    """Of the table that a slot holds, and in which parts it differs from the rule's."""
    name, differing = DELIVERABLES[deliverable], " and ".join(PARTS[part] for part in parts)
    return Texts(
        title=f"The slot holds the table for {name}",
        text=f"Its {differing} fit that deliverable, not the rule's target.",
        next_step=(
            "Check which slot the display shows and which table it holds, load this deliverable's "
            "own, and read again; calibrate only if it still misses."
        ),
    )


def clipping(channel: str, top: float) -> Texts:
    return Texts(
        title=f"{channel.capitalize()} ends at {percent(top)} of the light that white needs",
        text=(
            f"Up to there the channels follow; above, {channel} stays as it is, so that the "
            f"brightest greys lack {channel}."
        ),
        next_step=(
            f"Lower the slot's luminance until {channel} reaches it, or set a backlight or lamp "
            "with more of it; a panel that has aged may no longer reach the rule's white."
        ),
    )


def tint(channel: str, size: float, level: float) -> Texts:
    much, strong = ("much", "strong") if size > 0 else ("little", "weak")
    return Texts(
        title=f"Mid-greys have {percent(abs(size))} too {much} {channel}",
        text=(
            f"About {percent(level)} of the signal {channel} is {percent(abs(size))} too {strong} "
            "beside the other two; black and white are not."
        ),
        next_step=(
            "Calibrate the greys again with more steps about this level, and check that the "
            "slot's table was stored and loaded whole."
        ),
    )


def crosstalk(share: float) -> Texts:
    return Texts(
        title="The channels leak into each other",
        text=(
            f"About {percent(share)} of each channel's drive shows in the two others: colours are "
            "paler than they should be, greys are not."
        ),
        next_step=(
            "Switch off picture modes that reduce saturation, check cables and converters for "
            "subsampling of colour, and calibrate with a table of all three channels together."
        ),
    )


PANEL_CAUSES: Mapping[str, Callable[..., Texts]] = {
    "deliverable": deliverable,
    "clipping": clipping,
    "tint": tint,
    "crosstalk": crosstalk,
}
