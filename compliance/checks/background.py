"""Patches that were read on several backgrounds, of which most requirements take one."""

from __future__ import annotations

from dataclasses import replace

from compliance.grading.case import Case
from compliance.matching import Stimulus
from compliance.model import Remark, Triple

__all__ = ["background"]

NAMED = 4
"""Backgrounds named in the remark."""


def background(case: Case) -> Remark | None:
    """A remark where patches differ in nothing but what was around them."""
    found: dict[tuple[Triple, Stimulus], list[str]] = {}
    for index, stimulus in enumerate(case.patches.stimulus):
        key = case.patches.triple(index), replace(stimulus, background="")
        found.setdefault(key, []).append(stimulus.background)
    several = [names for names in found.values() if len(names) > 1]
    if not several:
        return None
    names = sorted({name for each in several for name in each})
    told = ", ".join(f"“{name}”" if name else "none stated" for name in names[:NAMED])
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    patches = "1 patch was" if len(several) == 1 else f"{len(several)} patches were"
    return Remark(
        "backgrounds",
        f"{patches} read on several backgrounds: {told}{more}. Where a requirement takes such a "
        "patch by itself, the reading on the first of these counts and the others do not.",
    )
