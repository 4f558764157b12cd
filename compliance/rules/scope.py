"""The displays that a rule means to let pass, and the clauses that it does not test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.model import Accepted, Encoding, Target
from compliance.rules.requirements import read_target
from compliance.yaml_nodes.messages import quoted
from compliance.yaml_nodes.nodes import Location, SourceLocations

Data = Mapping[str, Any]


def join_not_covered(own: Data, above: Data, here: Location) -> list[Data]:
    """The parent's clauses that are not tested, then the rule's own.

    An entry that repeats clause and what of an earlier one is noted as a problem.
    """
    joined = list(above.get("not_covered", ()))
    known = {(entry["clause"], entry["what"]) for entry in joined}
    inherited = set(known)
    for number, entry in enumerate(own.get("not_covered", ())):
        name = entry["clause"], entry["what"]
        if name in known:
            where = f"in {own['extends']}, which it is added to" if name in inherited else "above"
            here.at(number).problem(
                f"{quoted(entry['clause'])} with the same what is already {where}; "
                "leave the entry out"
            )
        known.add(name)
        joined.append(entry)
    return joined


def check_accepts(own: Data, merged: Data, here: Location) -> None:
    """Note keys of the rule's own accepted displays that are as in its target."""
    for number, entry in enumerate(own.get("accepts", ())):
        for key, value in entry["target"].items():
            if value == merged.get("target", {}).get(key):
                here.at(number, "target", key).problem(
                    "is as in the rule's target; expected only keys that differ"
                )


def read_accepts(data: Data, encoding: Encoding, places: SourceLocations) -> tuple[Accepted, ...]:
    """Read the accepted displays of a resolved rule, each on top of its valid target.

    Problems are noted in `places`; those of an inherited entry at the target, which is what a
    house rule changes so that the entry no longer fits.
    """
    accepts = []
    for number, entry in enumerate(data.get("accepts", ())):
        found = SourceLocations(places.files, places.error)
        target = _read_one({**data["target"], **entry["target"]}, encoding, number, found)
        if target is not None:
            accepts.append(Accepted(target, entry["reason"]))
        elif "accepts" in places.files[0][1].entries:
            places.problems += found.problems
        else:
            for problem in found.problems:
                places.at("target").problem(
                    f"does not go with the parent's {problem.field}: {problem.message}; "
                    "or state accepts here, [] for none"
                )
    return tuple(accepts)


def _read_one(
    target: Data, encoding: Encoding, number: int, places: SourceLocations
) -> Target | None:
    """Read the target of one accepted display; None if problems were noted."""
    here, curve = places.at("accepts", number, "target"), target["transfer"]["curve"]
    if encoding.carries(curve):
        return read_target(target, encoding, here)
    here.at("transfer", "curve").problem(
        f"{encoding.name} carries dcdm or pq, not {curve}; expected one of the two"
    )
    return None
