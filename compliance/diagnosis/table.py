"""The table of causes: what is tried, and how it is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

from compliance.diagnosis import blacks, channels, curve, levels, primaries, white
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import Option
from compliance.diagnosis.told import Told
from compliance.model import Cause

__all__ = ["CAUSES", "FITTED", "Row"]


class Row(NamedTuple):
    """A family of models of one thing that may be wrong."""

    options: Callable[[Facts], Iterator[Option]]
    tell: Callable[[Told], Cause] | None
    """None for what only keeps the named causes honest."""


FITTED: Mapping[str, Row] = {
    "range": Row(levels.range_options, levels.tell_range),
    "curve": Row(curve.curve_options, curve.tell_curve),
    "channels": Row(channels.swap_options, channels.tell_swap),
    "primaries": Row(primaries.primaries_options, primaries.tell_primaries),
    "white": Row(white.white_options, white.tell_white),
    "white-elsewhere": Row(white.free_white, None),
    "highlights": Row(levels.highlight_options, levels.tell_highlights),
    "blacks": Row(blacks.black_options, blacks.tell_blacks),
    "raised-black": Row(blacks.raised_options, blacks.tell_raised),
    "gain": Row(channels.gain_options, channels.tell_gain),
    "offset": Row(channels.offset_options, channels.tell_offset),
    "luminance": Row(channels.luminance_options, None),
}
"""Told by fitting models of a whole display to the readings."""

CAUSES: Mapping[str, str] = {
    "unloaded": "slot never loaded: before equals after",
    "range": "full and narrow range mixed up, either way",
    "curve": "another transfer function",
    "channels": "channels swapped",
    "primaries": "other primaries, of the signal or of the display",
    "white": "white at another standard white, on the daylight locus, or elsewhere",
    "limiter": "luminance limited by area",
    "sag": "luminance that falls while a patch is shown",
    "highlights": "highlights clipped or bent",
    "blacks": "blacks crushed",
    "raised-black": "light added in the dark, or the black level set too high",
    "gain": "gain of one channel",
    "offset": "offset of one channel",
    "luminance": "white set to another luminance",
    "drift": "warm-up drift",
}
"""Every kind of cause; those not in `FITTED` are told from single readings."""
