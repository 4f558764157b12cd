"""Remarks on deviations without effect: what they covered, and why they do not hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from compliance.grading.deviation_check import Lapse, Lapsed
from compliance.model import Fact, Finding, Remark, Value


def lapsed_remarks(lapsed: Sequence[Lapsed], findings: Sequence[Finding]) -> Iterator[Remark]:
    """Yield a remark for each deviation that does not hold."""
    known = {finding.id: finding for finding in findings}
    for each in lapsed:
        deviation, finding = each.deviation, known.get(each.deviation.requirement)
        facts: dict[str, Fact] = {
            "title": deviation.title,
            "value": _numbers(deviation.bound),
            "unit": deviation.unit,
            "by": deviation.accepted_by,
            "until": deviation.until.isoformat(),
        }
        if each.why is Lapse.FURTHER and finding is not None and finding.value is not None:
            facts["now"] = _numbers(finding.value)
        yield Remark("deviation-lapsed", facts, each.why.value)


def _numbers(value: Value) -> Fact:
    """One number, or the two of a pair, as a fact."""
    return tuple(value) if isinstance(value, tuple) else value
