"""Distances of patches from where they should lie, with the rule's limits on them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from compliance.charts.places import Shown, by_place, shown
from compliance.grading import judging
from compliance.grading.case import Case
from compliance.model import (
    DifferencePoint,
    Differences,
    Finding,
    Level,
    Point,
    Requirement,
)
from compliance.quantities.bind import COMPUTE, Options
from compliance.quantities.table import QUANTITIES

__all__ = ["colour_differences", "grey_differences"]


def _limited(
    case: Case, findings: Sequence[Finding]
) -> list[tuple[Requirement, Mapping[Shown, Point]]]:
    """A requirement for each way that the rule takes a distance, with the points it limits."""
    known = {one.id: one for one in findings}
    ways: dict[tuple[str, str, bool], list[Requirement]] = {}
    for one in sorted(case.rule.requirements, key=lambda row: row.level is Level.SHOULD):
        if QUANTITIES[one.quantity].distance and one.statistic == "each" and one.id in known:
            way = one.quantity, one.reference, one.ignore_luminance
            ways.setdefault(way, []).append(one)
    return [(same[0], by_place(known[one.id] for one in same)) for same in ways.values()]


def grey_differences(
    case: Case, neutrals: list[int], findings: Sequence[Finding]
) -> Iterable[Differences]:
    """Each distance that the rule limits for greys, of those that count."""
    for requirement, limited in _limited(case, findings):
        found = [limited.get(shown(case, index)) for index in neutrals]
        counted = [point for point in found if point is not None and point.verdict is not None]
        if len(counted) > 1:
            name = _short_name(requirement.quantity)
            points = [_difference(point.name, point.value, point) for point in counted]
            white = requirement.reference == "white"
            yield Differences(f"Greys by patch: {name}", name, tuple(points), white)


def colour_differences(
    case: Case, colours: list[tuple[int, str]], findings: Sequence[Finding]
) -> Iterable[Differences]:
    """The distance that the rule limits for most of the colours; a usual one, where for none."""
    if not colours:
        return
    places = [shown(case, index) for index, _ in colours]
    roles = judging.roles_at([index for index, _ in colours])
    best, least = None, 0
    for requirement, limited in _limited(case, findings):
        count = sum(place in limited for place in places)
        if count > least:
            best, least = (requirement, limited), count
    if best is None:
        quantity = "delta-e-itp" if case.plan.model.curve in ("pq", "hlg") else "delta-e-2000"
        values = COMPUTE[quantity](case.view, roles, Options())
        limited, white = {}, False
    else:
        requirement, limited = best
        quantity, white = requirement.quantity, requirement.reference == "white"
        values = judging.values_of(requirement, case.view, roles)
    points = [
        _difference(name, float(value), limited.get(place))
        for (_, name), place, value in zip(colours, places, values, strict=True)
    ]
    yield Differences("Colour differences by patch", _short_name(quantity), tuple(points), white)


def _short_name(quantity: str) -> str:
    return QUANTITIES[quantity].title.rpartition("difference ")[2]


def _difference(name: str, value: object, point: Point | None) -> DifferencePoint:
    assert isinstance(value, float)
    limit = point.limits.maximum if point and point.limits else None
    bound = point.interval.high if point and point.interval else None
    return DifferencePoint(name, value, limit, bound if isinstance(bound, float) else None)
