"""Compare a stated assessment with the recomputed one.

Works on the plain data of both documents, so that unknown keys and odd values are found.
Numbers may differ only by what another machine's arithmetic does to them. A verdict that such a
difference can turn is told with a topic of its own, `EDGE`: it is no fault, and not proven either.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeGuard

from compliance.documents import read_part
from compliance.grading.decide import OUTSIDE, SLACK, outcome, statement, worst
from compliance.model import Decision, Finding, Point, Verdict

CLOSE = 1e-9
"""Tolerance of values: relative or absolute, whichever is larger."""

INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)


def verdicts_within_tolerance(
    item: Finding | Point, confidence: float, close: float
) -> set[Verdict | None]:
    """Return the verdicts that a finding or point could have, its own among them.

    `close` is how far its probability may be off. Other verdicts than its own are possible
    only if the value is at a limit or the probability at the confidence.
    """
    own, p = item.verdict, item.probability
    if own not in INSIDE and own not in OUTSIDE:
        return {own}
    sides = {own in INSIDE} | ({True, False} if _at_a_limit(item) else set())
    chances = [None] if p is None else [p - close, p, p + close]
    return {own, *(statement(side, chance, confidence) for side in sides for chance in chances)}


def worst_point_verdict(points: Iterable[Point]) -> Verdict | None:
    """Return the worst verdict of a finding's points; None if none has one."""
    verdicts = [point.verdict for point in points if point.verdict is not None]
    return worst(verdicts) if verdicts else None


def _at_a_limit(item: Finding | Point) -> bool:
    return any(
        abs(value - limit) <= CLOSE * max(1.0, abs(limit)) + SLACK * abs(limit)
        for value, limit in _limits(item)
    )


def _limits(item: Finding | Point) -> Iterator[tuple[float, float]]:
    """Yield a value with each of its limits; of a pair each axis with its half width."""
    value, limits = item.value, item.limits
    if value is None or limits is None:
        return
    if isinstance(value, tuple):
        yield from zip(map(abs, value), limits.box or (), strict=True)
    else:
        ends = (limits.minimum, limits.maximum)
        yield from ((value, end) for end in ends if end is not None)


Document = Mapping[str, Any]
Path = tuple[str, ...]
"""Keys from the document's root to a place in it."""

CLOSE_ENDS = 1e-6
"""Tolerance of interval ends, which are quantiles of draws; likewise."""
CLOSE_FACTS = 1e-4
"""Tolerance of facts behind words, which show four digits at most; likewise."""
DRAWS_APART = 2
"""Draws that may fall on the other side of a limit; a probability may differ by their share."""

IGNORED = frozenset({"tool", "number"})
"""Keys that may differ: what computed the document, and the number over its other bytes."""
CONCLUSIONS = frozenset({"verdict", "reason", "conditional", "bound", "note", "remarks", "causes"})
"""Keys whose values follow from those beside them."""
WORDED = frozenset({"remarks", "causes", "note", "why"})
"""Keys of what is shown in words."""
FACTS = frozenset({"facts", "fit", "explains"})
"""Keys of the facts behind words."""
OUTCOME = frozenset({"verdict", "reason", "conditional"})
"""Keys that follow from all findings of a state together."""
ABSENT = object()
"""The value of a key that one of the two documents does not have."""


class Topic(StrEnum):
    """The subject of a difference, as a sentence."""

    READING = "the attached readings are not those stated"
    VALUE = "stated values differ from those computed from the attached readings and rule"
    RULE = "stated limits or texts are not those of the attached rule"
    DRAWS = "the draws are not those of every assessment (seed 0, 10000 draws)"
    VERDICT = "a stated verdict does not follow from its values and limits"
    METER = "the stated meter is not the attached one"
    DEVIATION = "stated deviations do not follow from the attached ones"
    JOB = "the stated job is not the attached one"
    WORDS = "the remarks do not follow from the evidence"
    EDGE = "a verdict lies on the edge of its limit or confidence, and came out the other way"
    LETTERS = "the stated glyphs are not those of the stated faces"
    TIMES = "the stated offsets of times are not those of the job's time zone"
    OTHER = "the assessment states something that its evidence does not"


PARTS: Mapping[str, Topic] = {
    "job": Topic.JOB,
    "slot": Topic.JOB,
    "display": Topic.JOB,
    "room": Topic.JOB,
    "rule": Topic.RULE,
    "decision": Topic.RULE,
    "seed": Topic.DRAWS,
    "draws": Topic.DRAWS,
    "meter": Topic.METER,
    "readings": Topic.READING,
    "deviations": Topic.DEVIATION,
    "lapsed": Topic.DEVIATION,
    "disposition": Topic.DEVIATION,
    "causes": Topic.WORDS,
    "calibration": Topic.VALUE,
    "faces": Topic.LETTERS,
    "timezone": Topic.TIMES,
}
"""Topics by the first key of a path."""

FIELDS: Mapping[str, Topic] = {
    "findings": Topic.RULE,
    "points": Topic.READING,
    "readings": Topic.READING,
    "patch": Topic.READING,
    "name": Topic.READING,
    "position": Topic.READING,
    "window": Topic.READING,
    "missing": Topic.READING,
    "not_judged": Topic.READING,
    "target": Topic.VALUE,
    "value": Topic.VALUE,
    "bound": Topic.VALUE,
    "remarks": Topic.WORDS,
    "note": Topic.WORDS,
    "why": Topic.WORDS,
    "interval": Topic.VALUE,
    "probability": Topic.VALUE,
    "joint": Topic.VALUE,
    "id": Topic.RULE,
    "title": Topic.RULE,
    "quantity": Topic.RULE,
    "unit": Topic.RULE,
    "level": Topic.RULE,
    "statistic": Topic.RULE,
    "limits": Topic.RULE,
    "basis": Topic.RULE,
    "clause": Topic.RULE,
    "verdict": Topic.VERDICT,
    "reason": Topic.VERDICT,
    "conditional": Topic.VERDICT,
}
"""Topics by the last key of a path found here, if its first key is not in `PARTS`."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One place where the two documents disagree."""

    topic: Topic
    place: str
    stated: Any
    computed: Any

    def __str__(self) -> str:
        return f"{self.place}: {_shown(self.stated)} stated, {_shown(self.computed)} computed"


def compare(stated: Mapping[str, Any], computed: Mapping[str, Any]) -> tuple[Difference, ...]:
    """Return the differences of an assessment document from the recomputed one.

    Both are documents as in `schemas/assessment.json`. Empty if they agree within the
    tolerances of this module.
    """
    comparison = _Comparison(computed)
    comparison.mapping((), compared(stated), compared(computed))
    return (*comparison.found, *comparison.edges)


def tool_version(document: Mapping[str, Any]) -> tuple[Any, Any]:
    """Return the version and the engine that computed a document; None if not stated."""
    tool = document.get("tool")
    if not isinstance(tool, Mapping):
        return None, None
    return tool.get("version"), tool.get("engine")


class _Comparison:
    """A walk through two documents side by side that collects their differences."""

    def __init__(self, computed: Mapping[str, Any]) -> None:
        draws = computed.get("draws")
        self.found: list[Difference] = []
        self.edges: list[Difference] = []
        """Conclusions that differ and may, because a verdict is at its threshold."""
        self._close_p = DRAWS_APART / draws if is_number(draws) and draws > 0 else 0.0
        self._decision = read_part(computed["decision"], Decision)
        self._cause: Topic | None = None
        self._turned = 0
        """The number of verdicts that differ and may."""

    def mapping(self, path: Path, stated: Document, computed: Document) -> None:
        """Compare two mappings at `path`, the keys that follow from the others last."""
        before, turned, outer = len(self.found), self._turned, self._cause
        keys = stated.keys() | computed.keys()
        for key in sorted(keys - CONCLUSIONS):
            self._pair(path, key, stated, computed)
        # If the basis of the conclusions already differs, they differ for that reason.
        topic = self.found[before].topic if len(self.found) > before else None
        self._cause = outer or topic
        excused = self._excused(stated, computed, turned)
        for key in sorted(keys & CONCLUSIONS - excused):
            self._pair(path, key, stated, computed)
        for key in sorted(keys & excused):
            was, now = stated.get(key, ABSENT), computed.get(key, ABSENT)
            if was != now:
                self.edges.append(Difference(Topic.EDGE, _place((*path, key)), was, now))
        self._cause = outer

    def _pair(self, path: Path, key: str, stated: Document, computed: Document) -> None:
        self._walk((*path, key), stated.get(key, ABSENT), computed.get(key, ABSENT))

    def _walk(self, path: Path, stated: Any, computed: Any) -> None:
        if isinstance(stated, Mapping) and isinstance(computed, Mapping):
            self.mapping(path, stated, computed)
        elif _is_list(stated) and _is_list(computed):
            self._list(path, stated, computed)
        elif not self._same(path, stated, computed):
            topic = self._cause or _topic(path)
            self.found.append(Difference(topic, _place(path), stated, computed))

    def _list(self, path: Path, stated: Sequence[Any], computed: Sequence[Any]) -> None:
        if len(stated) != len(computed) and not _all_named((*stated, *computed)):
            count = f"{_place(path)}: number of entries"
            topic = self._cause or _topic(path)
            self.found.append(Difference(topic, count, len(stated), len(computed)))
            return
        mine, theirs = _labelled(stated), _labelled(computed)
        for label in dict.fromkeys((*theirs, *mine)):
            self._walk((*path, label), mine.get(label, ABSENT), theirs.get(label, ABSENT))

    def _same(self, path: Path, stated: Any, computed: Any) -> bool:
        if not (is_number(stated) and is_number(computed)):
            return type(stated) is type(computed) and bool(stated == computed)
        if "probability" in path or "joint" in path:
            return bool(abs(stated - computed) <= self._close_p)
        if FACTS & set(path):
            return are_close(stated, computed, CLOSE_FACTS)
        ends = "low" in path or "high" in path
        return are_close(stated, computed, CLOSE_ENDS if ends else CLOSE)

    def _excused(self, stated: Document, computed: Document, turned: int) -> frozenset[str]:
        """Return the conclusions that may differ because a verdict is at its threshold.

        `turned` is the number of verdicts excused before the two mappings were compared.
        """
        below = self._turned > turned
        if "findings" in computed:
            return OUTCOME | {"causes"} if below and self._follows(stated) else frozenset()
        if "verdict" not in computed or stated.get("verdict") == computed["verdict"]:
            return frozenset()
        kind: type[Finding | Point] = Point if "patch" in computed else Finding
        item = read_part(computed, kind)
        allowed = verdicts_within_tolerance(item, self._decision.confidence, self._close_p)
        if below and computed.get("statistic") == "each":
            allowed = {worst_point_verdict(read_part(stated["points"], tuple[Point, ...]))}
        if stated.get("verdict") not in allowed:
            return frozenset()
        self._turned += 1
        return frozenset({"verdict"})

    def _follows(self, state: Document) -> bool:
        """Return whether the stated outcome of a state follows from its stated findings."""
        findings = read_part(state["findings"], tuple[Finding, ...])
        verdict, reason, conditional = outcome(findings, self._decision)
        stated = state["verdict"], state["reason"], state["conditional"]
        return stated == (verdict, reason, conditional)


def _labelled(entries: Sequence[Any]) -> dict[str, Any]:
    """Return entries by their id, or else by their place in the list and their name."""
    labels = {}
    for index, entry in enumerate(entries, 1):
        label = str(index)
        if isinstance(entry, Mapping) and "id" in entry:
            label = str(entry["id"])
        elif isinstance(entry, Mapping) and "name" in entry:
            codes = " ".join(str(code) for code in entry.get("patch") or ())
            label = f"{index} {entry['name']} ({codes})"
        labels[label if label not in labels else f"{label} (entry {index})"] = entry
    return labels


def _all_named(entries: Iterable[Any]) -> bool:
    return all(isinstance(entry, Mapping) and "id" in entry for entry in entries)


def _topic(path: Path) -> Topic:
    if WORDED & set(path):
        return Topic.WORDS
    if path[0] in PARTS:
        return PARTS[path[0]]
    return next((FIELDS[key] for key in reversed(path) if key in FIELDS), Topic.OTHER)


def _place(path: Path) -> str:
    words = {"findings": "finding", "points": "point"}
    parts: list[str] = []
    for before, key in zip(("", *path), path, strict=False):
        if before in words:
            parts[-1] = f"{words[before]} {key}"
        else:
            parts.append(key)
    return ", ".join(parts[:-1]) + ": " * (len(parts) > 1) + parts[-1]


def compared(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document without the keys that may differ."""
    return {key: value for key, value in document.items() if key not in IGNORED}


def are_close(one: float, other: float, tolerance: float) -> bool:
    """Whether two numbers agree within a tolerance, relative to what is above 1."""
    return abs(one - other) <= tolerance * max(1.0, abs(one), abs(other))


def is_number(value: Any) -> TypeGuard[float]:
    """Whether a value of a document is a number."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_list(value: Any) -> TypeGuard[Sequence[Any]]:
    return isinstance(value, list | tuple)


def _shown(value: Any) -> str:
    if value is ABSENT:
        return "nothing"
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else f"{text[:79]}…"
