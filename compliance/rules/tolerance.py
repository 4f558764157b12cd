"""Whether the limits of one requirement lie inside those of another."""

from __future__ import annotations

import math

from compliance.model import Limits, Requirement
from compliance.rules.kinds import Kind, together

__all__ = ["inside", "limit_key", "limits_kind"]


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


def limit_key(requirement: Requirement) -> str:
    """The key that holds a requirement's limits in a file."""
    if requirement.limits is not None:
        return "limits"
    return "bands" if requirement.bands else "by_patch"


def limits_kind(new: Requirement, old: Requirement) -> Kind:
    """How the limits differ, patch by patch, whichever way they are written."""
    if _stated(new) == _stated(old):
        return Kind.SAME
    if new.by_patch and old.by_patch:
        return _by_name(new, old)
    if new.by_patch or old.by_patch:
        pairs = [(a, b) for a in _all(new) for b in _all(old)]
    else:
        edges = sorted({band.upto or math.inf for one in (new, old) for band in one.bands})
        pairs = [(_at(new, edge), _at(old, edge)) for edge in edges or [math.inf]]
    return together([_direction(pairs), Kind.REWORDED])


def _stated(requirement: Requirement) -> object:
    return requirement.limits, requirement.bands, dict(requirement.by_patch)


def _by_name(new: Requirement, old: Requirement) -> Kind:
    """A patch that lost its limits is not asked for any more, and the other way round."""
    both = [(limits, old.by_patch[n]) for n, limits in new.by_patch.items() if n in old.by_patch]
    kinds = [_direction(both), Kind.REWORDED]
    if old.by_patch.keys() - new.by_patch.keys():
        kinds.append(Kind.LOOSENED)
    if new.by_patch.keys() - old.by_patch.keys():
        kinds.append(Kind.TIGHTENED)
    return together(kinds)


def _direction(pairs: list[tuple[Limits, Limits]]) -> Kind:
    """Of pairs of new and old limits."""
    tighter = all(inside(new, old) for new, old in pairs)
    looser = all(inside(old, new) for new, old in pairs)
    if tighter and looser:
        return Kind.SAME
    if tighter or looser:
        return Kind.TIGHTENED if tighter else Kind.LOOSENED
    return Kind.CHANGED


def _all(requirement: Requirement) -> list[Limits]:
    """Every interval that a requirement may hold a patch to."""
    if requirement.limits is not None:
        return [requirement.limits]
    if requirement.bands:
        return [band.limits for band in requirement.bands]
    return list(requirement.by_patch.values())


def _at(requirement: Requirement, level: float) -> Limits:
    """The limits that hold at a nominal target in cd/m²."""
    if requirement.limits is not None:
        return requirement.limits
    return next(b.limits for b in requirement.bands if b.upto is None or level <= b.upto)
