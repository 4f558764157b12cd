"""A sheet of other definitions (engine): what must agree all the same, and what came out otherwise.

Values, probabilities and verdicts follow from the definitions, and so does which patches are
judged. The readings, the job, the meter, the rule and its limits do not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from compliance.model import Limits, Requirement, Rule
from compliance.plain_data import to_plain
from compliance.verification.compare import (
    CLOSE,
    Difference,
    Topic,
    are_close,
    compare,
    is_number,
    tool_version,
)
from compliance.verification.versions import without_gained

Document = Mapping[str, Any]

COMPUTED = frozenset(
    {
        "schema", "verdict", "reason", "conditional", "remarks", "causes", "calibration",
        "valid_until", "disposition",
    }
)  # fmt: skip
"""Keys of a document, and of the state before calibration, that follow from definitions."""
ASKED = ("id", "title", "quantity", "level", "statistic", "basis", "clause")
"""Keys of a finding that are the rule's."""
OUTCOME = {"verdict": Topic.VERDICT, "value": Topic.VALUE, "probability": Topic.VALUE}
"""Keys of a finding that are told where they came out otherwise."""


def evidence_differences(stated: Document, computed: Document, rule: Rule) -> list[Difference]:
    """Differences that no definition explains: of the readings, job, meter, rule or limits.

    Keys that documents of the stated version do not have yet are no difference.
    """
    given = without_gained(_given(computed), stated, tool_version(stated)[0])
    return [*compare(_given(stated), given), *_other_limits(stated, rule)]


def outcome_differences(stated: Document, computed: Document) -> list[Difference]:
    """Verdicts, values and probabilities of findings that come out otherwise."""
    theirs = {finding["id"]: finding for finding in stated["findings"]}
    return [
        Difference(topic, f"finding {finding['id']}: {key}", was, finding[key])
        for finding in computed["findings"]
        for key, topic in OUTCOME.items()
        if not _same(was := theirs.get(finding["id"], {}).get(key), finding[key])
    ]


def _same(stated: Any, computed: Any) -> bool:
    if isinstance(stated, list) and isinstance(computed, list) and len(stated) == len(computed):
        return all(map(_same, stated, computed))
    if is_number(stated) and is_number(computed):
        return are_close(stated, computed, CLOSE)
    return bool(stated == computed)


def _given(document: Document) -> dict[str, Any]:
    """A document without what the definitions decide."""
    given = {key: value for key, value in document.items() if key not in COMPUTED}
    given["findings"] = [_part(finding, ASKED) for finding in document["findings"]]
    given["deviations"] = _deviations(document)
    given.pop("lapsed", None)
    if isinstance(document.get("meter"), Mapping):
        given["meter"] = {k: v for k, v in document["meter"].items() if k != "lowest"}
    if isinstance(document.get("before"), Mapping):
        given["before"] = _given(document["before"])
    return given


def _deviations(document: Document) -> list[dict[str, Any]]:
    """All deviations of a document, whether they hold by its definitions or not."""
    entries = [*(document.get("deviations") or ()), *(document.get("lapsed") or ())]
    late = ("file", "up_to", "signer")
    plain = [
        {
            **{key: value for key, value in each.items() if key not in late},
            "signer": _part(each["signer"], ("name", "organisation", "sha256")),
        }
        for each in entries
    ]
    return sorted(plain, key=lambda each: str(each.get("sha256")))


def _part(finding: Document, keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: finding[key] for key in keys if key in finding}


def _other_limits(stated: Document, rule: Rule) -> Iterator[Difference]:
    """Limits of findings and their points that the rule does not have for the requirement."""
    asked = {requirement.id: requirement for requirement in rule.requirements}
    for finding in stated["findings"]:
        requirement = asked.get(finding["id"])
        if requirement is None:
            continue
        allowed = [to_plain(limits) for limits in _limits(requirement)]
        for part in (finding, *finding["points"]):
            if part["limits"] is not None and part["limits"] not in allowed:
                place = f"finding {finding['id']}: limits"
                yield Difference(Topic.RULE, place, part["limits"], allowed)
                break


def _limits(requirement: Requirement) -> Iterator[Limits]:
    if requirement.limits is not None:
        yield requirement.limits
    yield from (band.limits for band in requirement.bands)
    yield from requirement.by_patch.values()
