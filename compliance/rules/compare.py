"""Where a rule is not provably tighter than its parent.

Provably tighter is: a limit that lies inside the parent's for every patch, a should that
became a shall, guarded for simple acceptance, more confidence, a shorter validity, a new
requirement. Titles are words only. Everything else counts as a change.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import fields

from compliance.model import Decision, Level, Limits, Requirement, Rule, Target

__all__ = ["departures", "inside", "requirement_departures"]

NAMES_ONLY = ("primaries_name", "white_name", "container_name")
SAME = (
    "quantity",
    "over",
    "reference",
    "statistic",
    "percentile",
    "floor",
    "above_black",
    "ignore_luminance",
    "diagram",
    "field",
    "declaration",
    "displays",
)
"""Fields of a requirement that nothing but equality proves harmless."""

IN_FILE = {"percentile": "statistic", "ignore_luminance": "ignore"}
"""Fields whose key in the file has another name."""


def departures(child: Rule, parent: Rule) -> dict[str, tuple[str, ...]]:
    """Keys outside the requirements that are not provably tighter, and in what."""
    found: dict[str, tuple[str, ...]] = {}
    moved = tuple(dict.fromkeys(_target_differences(child.target, parent.target)))
    if moved:
        found["target"] = moved
    if child.encoding != parent.encoding:
        found["signal"] = ()
    if child.window != parent.window:
        found["window"] = ()
    if not _decides_tighter(child.decision, parent.decision):
        found["decision"] = ()
    if (child.valid_days or math.inf) > (parent.valid_days or math.inf):
        found["valid_for"] = ()
    redefined = tuple(n for n, known in parent.sets.items() if child.sets.get(n) != known)
    if redefined:
        found["patches"] = redefined
    return found


def _target_differences(child: Target, parent: Target) -> Iterator[str]:
    for entry in fields(Target):
        if entry.name in NAMES_ONLY:
            continue
        if getattr(child, entry.name) != getattr(parent, entry.name):
            yield entry.name.removesuffix("_white").replace("_peak", "")


def _decides_tighter(child: Decision, parent: Decision) -> bool:
    kind = child.acceptance == parent.acceptance or child.acceptance == "guarded"
    return kind and child.confidence >= parent.confidence


def requirement_departures(child: Requirement, parent: Requirement) -> tuple[str, ...]:
    """Keys in which a requirement is not provably tighter than its parent's."""
    found = [
        IN_FILE.get(name, name) for name in SAME if getattr(child, name) != getattr(parent, name)
    ]
    if child.level is Level.SHOULD and parent.level is Level.SHALL:
        found.append("level")
    same_limits = _limits_of(child) == _limits_of(parent)
    if not same_limits and not _limits_tighter(child, parent):
        found.append(_limit_key(child))
    if same_limits:
        found += [key for key in ("basis", "clause") if getattr(child, key) != getattr(parent, key)]
    return tuple(dict.fromkeys(found))


def _limits_of(requirement: Requirement) -> object:
    return requirement.limits, requirement.bands, requirement.by_patch


def _limit_key(requirement: Requirement) -> str:
    if requirement.limits is not None:
        return "limits"
    return "bands" if requirement.bands else "by_patch"


def inside(inner: Limits, outer: Limits) -> bool:
    """Every value that `inner` accepts is accepted by `outer`."""
    if (inner.box is None) != (outer.box is None):
        return False
    if inner.box is not None and outer.box is not None:
        return all(
            _below(a, b, inner.exclusive, outer.exclusive)
            for a, b in zip(inner.box, outer.box, strict=True)
        )
    return _reaches(inner.maximum, outer.maximum, 1, inner, outer) and _reaches(
        inner.minimum, outer.minimum, -1, inner, outer
    )


def _reaches(inner: float | None, outer: float | None, sign: int, a: Limits, b: Limits) -> bool:
    if outer is None:
        return True
    return inner is not None and _below(sign * inner, sign * outer, a.exclusive, b.exclusive)


def _below(inner: float, outer: float, inner_open: bool, outer_open: bool) -> bool:
    return inner < outer or (inner == outer and (inner_open or not outer_open))


def _limits_tighter(child: Requirement, parent: Requirement) -> bool:
    """Each patch's limits lie inside the parent's, whichever way they are written."""
    if parent.by_patch:
        if child.by_patch:
            if set(child.by_patch) != set(parent.by_patch):
                return False
            return all(inside(child.by_patch[n], known) for n, known in parent.by_patch.items())
        return all(inside(a, b) for a in _all(child) for b in parent.by_patch.values())
    if child.by_patch or not parent.bands or not child.bands:
        return all(inside(a, b) for a in _all(child) for b in _all(parent))
    edges = sorted({band.upto or math.inf for band in (*child.bands, *parent.bands)})
    return all(inside(_at(child, edge), _at(parent, edge)) for edge in edges)


def _all(requirement: Requirement) -> list[Limits]:
    """Every interval that a requirement may hold a patch to."""
    if requirement.limits is not None:
        return [requirement.limits]
    if requirement.bands:
        return [band.limits for band in requirement.bands]
    return list(requirement.by_patch.values())


def _at(requirement: Requirement, level: float) -> Limits:
    """The limits of the band that holds at a level in cd/m²."""
    return next(b.limits for b in requirement.bands if b.upto is None or level <= b.upto)
