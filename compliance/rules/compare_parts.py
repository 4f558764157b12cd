"""Compare the limits and the patches of two requirements."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from enum import StrEnum

from compliance.model import Limits, Over, Pair, PatchSet, Requirement


class Kind(StrEnum):
    """How the new differs from the old.

    Tightened: the old provably accepted everything that the new accepts. Loosened: the other
    way round. Changed: neither is provable. Reworded: the same in effect.
    """

    SAME = "same"
    REWORDED = "reworded"
    TIGHTENED = "tightened"
    LOOSENED = "loosened"
    CHANGED = "changed"
    ADDED = "added"
    WITHDRAWN = "withdrawn"

    @property
    def harmless(self) -> bool:
        """Whether the new accepts only what the old accepted."""
        return self not in (Kind.LOOSENED, Kind.CHANGED, Kind.WITHDRAWN)


def combine(kinds: Iterable[Kind]) -> Kind:
    """Combine several differences into one: tightened and loosened together are changed."""
    differing = set(kinds) - {Kind.SAME}
    moved = differing - {Kind.REWORDED}
    if len(moved) == 1:
        return moved.pop()
    if moved:
        return Kind.CHANGED
    return Kind.REWORDED if differing else Kind.SAME


class Extent(StrEnum):
    """How much the new includes, compared with the old."""

    SAME = "same"
    FEWER = "fewer"
    MORE = "more"
    OTHER = "other"


def extents(parts: Iterable[Extent]) -> Extent:
    """Combine several narrowings and widenings."""
    moved = set(parts) - {Extent.SAME}
    if not moved:
        return Extent.SAME
    return moved.pop() if len(moved) == 1 else Extent.OTHER


def within_limits(inner: Limits, outer: Limits) -> bool:
    """Return whether `outer` accepts every value that `inner` accepts."""
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
    """Compare the limits patch by patch, independent of how they are written."""
    if _stated(new) == _stated(old):
        return Kind.SAME
    if new.by_patch and old.by_patch:
        return _by_name(new, old)
    if new.by_patch or old.by_patch:
        pairs = [(a, b) for a in _all(new) for b in _all(old)]
    else:
        edges = sorted(
            {band.upto or math.inf for requirement in (new, old) for band in requirement.bands}
        )
        pairs = [(_at(new, edge), _at(old, edge)) for edge in edges or [math.inf]]
    return combine([_direction(pairs), Kind.REWORDED])


def _stated(requirement: Requirement) -> object:
    return requirement.limits, requirement.bands, dict(requirement.by_patch)


def _by_name(new: Requirement, old: Requirement) -> Kind:
    """Compare limits by patch: a patch without limits is not required any more, and vice versa."""
    both = [(limits, old.by_patch[n]) for n, limits in new.by_patch.items() if n in old.by_patch]
    kinds = [_direction(both), Kind.REWORDED]
    if old.by_patch.keys() - new.by_patch.keys():
        kinds.append(Kind.LOOSENED)
    if new.by_patch.keys() - old.by_patch.keys():
        kinds.append(Kind.TIGHTENED)
    return combine(kinds)


def _direction(pairs: list[tuple[Limits, Limits]]) -> Kind:
    """Compare pairs of new and old limits."""
    tighter = all(within_limits(new, old) for new, old in pairs)
    looser = all(within_limits(old, new) for new, old in pairs)
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


Sets = Mapping[str, PatchSet]
NEARLY = 1e-9
EVERYTHING = (-math.inf, math.inf)
RGB = ("red", "green", "blue")


def set_extent(new: PatchSet, old: PatchSet) -> Extent:
    """Compare the patches that two sets require; their names do not matter.

    A ramp includes every neutral reading in its range: with fewer steps it requires less. With
    more it provably requires more if its steps are half as wide, or include the old ones.
    """
    if (new.kind, new.of, new.window, new.pattern) != (old.kind, old.of, old.window, old.pattern):
        return Extent.OTHER
    if new.kind == "ramp":
        return _ramp(new, old)
    if new.kind in ("hues", "saturations"):
        if new.neutral != old.neutral:
            return Extent.OTHER
        return extents([_members(new.hues, old.hues), _steps(new.steps or 1, old.steps or 1)])
    if new.kind == "list":
        if new.encoding != old.encoding:
            return Extent.OTHER
        return _members([codes for _, codes in new.patches], [codes for _, codes in old.patches])
    if new.kind == "repeats":
        return _number(new.repeats or 0, old.repeats or 0)
    if new.kind == "positions":
        return _members(new.positions, old.positions)
    return _members(new.windows, old.windows)


def _members(new: Iterable[object], old: Iterable[object]) -> Extent:
    mine, theirs = set(new), set(old)
    if mine == theirs:
        return Extent.SAME
    if mine < theirs:
        return Extent.FEWER
    return Extent.MORE if mine > theirs else Extent.OTHER


def _number(new: float, old: float) -> Extent:
    if new == old:
        return Extent.SAME
    return Extent.FEWER if new < old else Extent.MORE


def _steps(new: int, old: int) -> Extent:
    """Compare numbers of equal steps from white to a hue."""
    if new <= old:
        return _number(new, old)
    return Extent.MORE if new % old == 0 else Extent.OTHER


def _ramp(new: PatchSet, old: PatchSet) -> Extent:
    reach = _range(new.signal or (0.0, 1.0), old.signal or (0.0, 1.0))
    wide, before = _width(new), _width(old)
    if reach is Extent.SAME:
        mine, theirs = (new.steps or 2) - 1, (old.steps or 2) - 1
        if mine <= theirs:
            return _number(mine, theirs)
        return Extent.MORE if mine % theirs == 0 or mine >= 2 * theirs else Extent.OTHER
    if reach is Extent.FEWER and wide >= before * (1 - NEARLY):
        return Extent.FEWER
    finer = wide <= before / 2 * (1 + NEARLY)
    if reach is Extent.MORE and (finer or _goes_through(new, old)):
        return Extent.MORE
    return Extent.OTHER


def _width(ramp: PatchSet) -> float:
    low, high = ramp.signal or (0.0, 1.0)
    return (high - low) / ((ramp.steps or 2) - 1)


def _goes_through(new: PatchSet, old: PatchSet) -> bool:
    """Return whether every level of the old ramp is a level of the new."""
    start = (old.signal or (0.0, 1.0))[0]
    first = (new.signal or (0.0, 1.0))[0]
    places = [(start - first) / _width(new), _width(old) / _width(new)]
    return all(abs(place - round(place)) < 1e-6 for place in places)


def _range(new: Pair | None, old: Pair | None) -> Extent:
    """Compare two ranges; None includes everything."""
    low, high = new or EVERYTHING
    lowest, highest = old or EVERYTHING
    return extents([_number(lowest, low), _number(high, highest)])


def over_extent(new: Over, old: Over, new_sets: Sets, old_sets: Sets) -> Extent:
    """Compare the patches that two `over` take, as if sets of the same name were equal."""
    taken, left = _unmatched(new, old, new_sets, old_sets)
    kinds = _varying((*new.patches, *old.patches), {**old_sets, **new_sets})
    parts = [
        Extent.MORE if taken else Extent.SAME,
        Extent.FEWER if left else Extent.SAME,
        _range(new.signal, old.signal),
        _range(new.target, old.target),
        _aim(new.position, old.position, ("centre",), kinds, "positions"),
        _aim(new.window, old.window, None, kinds, "windows"),
        Extent.SAME if new.pattern == old.pattern else Extent.OTHER,
        _aim(new.seconds, old.seconds, (0.0,), kinds, None),
        _members_or_all(new.only, old.only),
        _members(old.exclude, new.exclude),
    ]
    return extents(parts)


def _unmatched(new: Over, old: Over, new_sets: Sets, old_sets: Sets) -> tuple[list[str], list[str]]:
    """Names of sets on one side only, except sets that were just renamed."""
    mine = [name for name in new.patches if name not in old.patches]
    theirs = [name for name in old.patches if name not in new.patches]
    for name in list(mine):
        for other in theirs:
            if name in new_sets and other in old_sets:
                if set_extent(new_sets[name], old_sets[other]) is not Extent.SAME:
                    continue
                mine.remove(name)
                theirs.remove(other)
                break
    return mine, theirs


def _varying(names: Iterable[str], sets: Sets) -> set[str]:
    return {sets[name].kind if name in sets else "built-in" for name in names}


def _aim(
    new: tuple[object, ...] | None,
    old: tuple[object, ...] | None,
    usual: tuple[object, ...] | None,
    kinds: set[str],
    varying: str | None,
) -> Extent:
    """Compare one dimension: it narrows sets of the kind that varies it and selects for all others.

    `usual` is the value of those others by default.
    """
    if new == old:
        return Extent.SAME
    if new is not None and old is not None:
        return _members(new, old)
    if kinds == {varying}:
        return Extent.MORE if new is None else Extent.FEWER
    if varying in kinds or usual is None:
        return Extent.OTHER
    return _members(new or usual, old or usual)


def _members_or_all(new: tuple[str, ...] | None, old: tuple[str, ...] | None) -> Extent:
    """Compare two choices of names; None includes everything."""
    if new == old:
        return Extent.SAME
    if new is None or old is None:
        return Extent.MORE if new is None else Extent.FEWER
    return _members(new, old)


def hue_set(over: Over | None, sets: Sets) -> PatchSet | None:
    """The set with red, green and blue for coverage and additivity: named, or the rule's first."""
    if over is not None and over.patches:
        return sets.get(over.patches[0])
    for patch_set in sets.values():
        if patch_set.kind == "hues" and set(RGB) <= set(patch_set.hues):
            return patch_set
    return None
