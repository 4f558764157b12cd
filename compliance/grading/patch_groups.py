"""Groups of patches that differ in one thing only: their window, time or background."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from compliance.grading.match import MatchedReadings, Stimulus
from compliance.grading.patches import default_pattern
from compliance.model import Triple

Along = Literal["window", "seconds"]
"""The dimensions along which light may be lost."""
Key = tuple[Triple, Stimulus]
"""Codes of a patch, and the rest of its stimulus."""


def groups_differing_only_in(
    case: MatchedReadings, along: Along | Literal["background"]
) -> list[list[int]]:
    """Groups of two or more patches of a case that differ only in `along`, in its order.

    Windows also differ in their pattern, and a full screen, which has no background, belongs to
    the windows on every background; checkerboards are not windows.
    """
    stimuli = case.patches.stimulus
    plain = {stimulus: _plain(stimulus, along) for stimulus in set(stimuli)}
    groups: dict[Key, list[int]] = {}
    full: dict[Key, list[int]] = {}
    for index, stimulus in enumerate(stimuli):
        if along == "window" and stimulus.pattern == "checkerboard":
            continue
        everywhere = along == "window" and _is_full(stimulus)
        key = case.patches.triple(index), plain[stimulus]
        (full if everywhere else groups).setdefault(key, []).append(index)
    if full:
        for (triple, stimulus), group in groups.items():
            group += full.get((triple, replace(stimulus, background="")), [])
    return [
        sorted(group, key=lambda index: getattr(stimuli[index], along))
        for group in groups.values()
        if len(group) > 1
    ]


def _is_full(stimulus: Stimulus) -> bool:
    return default_pattern(stimulus.window) == "full"


def _plain(stimulus: Stimulus, along: str) -> Stimulus:
    """The stimulus without the field in which the group differs."""
    if along == "window":
        background = "" if _is_full(stimulus) else stimulus.background
        return replace(stimulus, window=0.0, pattern="", background=background)
    if along == "seconds":
        return replace(stimulus, seconds=0.0)
    return replace(stimulus, background="")
