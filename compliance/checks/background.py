"""Patches that were read on several backgrounds, of which most requirements take one."""

from __future__ import annotations

from compliance.grading.alike import alike
from compliance.grading.case import Case
from compliance.model import Remark

__all__ = ["background"]

NAMED = 4
"""Backgrounds named in the remark."""


def background(case: Case) -> Remark | None:
    """A remark where patches differ in nothing but what was around them."""
    several = alike(case, "background")
    if not several:
        return None
    names = sorted({case.patches.stimulus[index].background for each in several for index in each})
    told = ", ".join(f"“{name}”" if name else "none stated" for name in names[:NAMED])
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    patches = "1 patch was" if len(several) == 1 else f"{len(several)} patches were"
    return Remark(
        "backgrounds",
        f"{patches} read on several backgrounds: {told}{more}. Where a requirement takes such a "
        "patch by itself, the reading on the first of these counts and the others do not.",
    )
