"""Patches that differ in one thing alone: in window, in time, or in what was around them."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from compliance.grading.case import Case
from compliance.matching import Stimulus
from compliance.model import Triple
from compliance.patches import default_pattern

__all__ = ["Along", "alike"]

Along = Literal["window", "seconds"]
"""What light may be lost along."""
Key = tuple[Triple, Stimulus]
"""Codes of a patch, and what else it is shown with."""


def alike(case: Case, along: Along | Literal["background"]) -> list[list[int]]:
    """Groups of two and more patches of a case that are alike in all else, in order of what they
    differ in.

    Windows differ in their pattern too, and a full screen, which has no background, belongs to
    the windows on every one; checkerboards are no windows.
    """
    groups: dict[Key, list[int]] = {}
    full: dict[Key, list[int]] = {}
    for index, stimulus in enumerate(case.patches.stimulus):
        if along == "window" and stimulus.pattern == "checkerboard":
            continue
        everywhere = along == "window" and _is_full(stimulus)
        key = case.patches.triple(index), _plain(stimulus, along)
        (full if everywhere else groups).setdefault(key, []).append(index)
    ordered = (
        sorted(
            [*group, *full.get((key[0], replace(key[1], background="")), [])],
            key=lambda index: getattr(case.patches.stimulus[index], along),
        )
        for key, group in groups.items()
    )
    return [group for group in ordered if len(group) > 1]


def _is_full(stimulus: Stimulus) -> bool:
    return default_pattern(stimulus.window) == "full"


def _plain(stimulus: Stimulus, along: str) -> Stimulus:
    """The stimulus without what the group differs in."""
    if along == "window":
        background = "" if _is_full(stimulus) else stimulus.background
        return replace(stimulus, window=0.0, pattern="", background=background)
    if along == "seconds":
        return replace(stimulus, seconds=0.0)
    return replace(stimulus, background="")
