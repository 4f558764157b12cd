"""A remark on readings that were replaced by others, taken again."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

from compliance.grading.decide import OUTSIDE
from compliance.model import Finding, Measurement, Place, Point, Remark, Rule

MANY = 0.1
"""Share of the rows from which their number gives a remark (practice)."""


def replaced_readings(measurement: Measurement, findings: Sequence[Finding]) -> Remark | None:
    """A remark if many rows were replaced, or one of a patch that decides a finding."""
    readings = measurement.graded
    gone = readings.replaced
    if not gone:
        return None
    places = {(each.codes, each.position, _window(each.window, measurement.rule)) for each in gone}
    titles = tuple(
        finding.title
        for finding in findings
        if any(place in places for place in _deciding_places(finding))
    )
    count = len(gone) + len(readings)
    if not titles and len(gone) <= MANY * count:
        return None
    reasons = Counter(each.reason for each in gone)
    return Remark(
        "replaced",
        {
            "replaced": len(gone),
            "count": count,
            "reasons": tuple(reasons.items()),
            "titles": titles,
        },
    )


def _window(stated: float, rule: Rule) -> float:
    return rule.window if math.isnan(stated) else stated


def _deciding_places(finding: Finding) -> Iterator[Place]:
    """The patches that a finding's value is of: of single patches the nearest to its limit and all
    outside, else all of them."""
    for point in finding.points:
        if finding.statistic != "each" or _decides(point, finding):
            yield point.place


def _decides(point: Point, finding: Finding) -> bool:
    return point.verdict in (None, *OUTSIDE) or point.value == finding.value
