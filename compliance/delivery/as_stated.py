"""Check that a delivery describes its sheets correctly (step 4).

Lists and page are made again from the sheets and compared. Another version may word them
differently: what it states of a sheet must still be true, and what cannot be compared is said
to be so.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from compliance.delivery import bag
from compliance.delivery.build import AGENT, description
from compliance.delivery.contents import Sheet, bag_info, duplicate_faults, payload
from compliance.delivery.summary import summary
from compliance.evidence.attachments import parse_json
from compliance.model import Statement
from compliance.model.results import Check, Status, Step
from compliance.verification.steps import (
    first_details,
    one_line,
    quoted,
    result_or_exception,
)

DESCRIBED = (bag.INFO, bag.PAGE, bag.SUMMARY, bag.TABLE)
"""Files that describe the sheets."""
LONGEST_SHOWN = 400
"""Most characters of a stated text in a fault."""
ROOM = 10
"""How many times longer than ours another version's delivery.json may be."""


def check_as_stated(
    digests: Mapping[str, str], texts: Mapping[str, bytes], sheets: Sequence[Sheet]
) -> Step:
    """Check the description of the sheets; `digests` are of all files, `texts` beside `data`."""
    step = result_or_exception(lambda: _checked(digests, texts, sheets))
    if isinstance(step, Exception):
        return _false([f"cannot be made again from the sheets: {one_line(step)}"])
    return step


def _false(faults: Iterable[str]) -> Step:
    details = first_details(quoted(_shown(fault)) for fault in faults)
    return Step(Check.AS_STATED, Status.FAIL, Statement("states-otherwise"), details)


def _shown(text: str) -> str:
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def _checked(
    digests: Mapping[str, str], texts: Mapping[str, bytes], sheets: Sequence[Sheet]
) -> Step:
    faults = [
        *_info_faults(texts, sheets),
        *duplicate_faults(sheets),
        *_payload_faults(digests, sheets),
    ]
    unlike = _unlike(texts, sheets)
    agent = _agent(texts)
    if agent == AGENT:
        faults += [f"{name}: does not agree with the sheets" for name in unlike]
    elif bag.SUMMARY in unlike and _is_false(texts.get(bag.SUMMARY), sheets):
        faults.append(f"{bag.SUMMARY}: does not agree with the sheets")
    if faults:
        return _false(faults)
    count = sum(len(sheet.verification.signatures) for sheet in sheets)
    listed = Statement("as-listed", {"sheets": len(sheets), "signatures": count})
    left = [
        Statement("not-compared", {"file": name, "theirs": _shown(agent), "ours": AGENT})
        for name in unlike
    ]
    if not all(sheet.stated for sheet in sheets):
        left.append(Statement("not-compared", {"files": ", ".join(DESCRIBED)}, "unreadable"))
    return Step(Check.AS_STATED, Status.UNKNOWN if left else Status.OK, listed, tuple(left))


def _unlike(texts: Mapping[str, bytes], sheets: Sequence[Sheet]) -> list[str]:
    """Return the files that are not as made again from the sheets."""
    if any(sheet.stated is None for sheet in sheets):
        return []
    again = result_or_exception(lambda: description(sheets, _agent(texts)))
    if isinstance(again, Exception):
        return list(DESCRIBED)
    return [name for name in DESCRIBED if texts.get(name) != again[name]]


def _is_false(text: bytes | None, sheets: Sequence[Sheet]) -> bool:
    """Return whether another version's delivery.json states a sheet otherwise than it is."""
    if text is None:
        return False  # earlier versions wrote none
    own = summary(sheets)
    if len(text) > ROOM * len(json.dumps(own)):
        return True
    try:
        stated = parse_json(text, bag.SUMMARY)
    except ValueError:
        return True
    return not isinstance(stated, Mapping) or (
        stated.get("schema") == own["schema"] and _contradicts(stated, own)
    )


def _contradicts(stated: Any, own: Any) -> bool:
    """Return whether two plain data differ where both have a key."""
    if isinstance(stated, Mapping) and isinstance(own, Mapping):
        return any(_contradicts(stated[key], own[key]) for key in stated.keys() & own.keys())
    if isinstance(stated, list) and isinstance(own, list):
        return len(stated) != len(own) or any(map(_contradicts, stated, own))
    return type(stated) is not type(own) or bool(stated != own)


def _agent(texts: Mapping[str, bytes]) -> str:
    """Return the program that the bag states as its maker."""
    try:
        tags = bag.tags_in(texts.get(bag.INFO, b""))
    except ValueError:
        return AGENT  # a fault by itself, and no excuse
    agents = [text for label, text in tags if label == bag.AGENT_LABEL]
    return agents[0] if len(agents) == 1 else "an unnamed program"


def _info_faults(texts: Mapping[str, bytes], sheets: Sequence[Sheet]) -> Iterable[str]:
    if bag.INFO not in texts:
        return
    try:
        tags = bag.tags_in(texts[bag.INFO])
    except ValueError as fault:
        yield str(fault)
        return
    expected = [(label, " ".join(text.split())) for label, text in bag_info(sheets)]
    stated = [tag for tag in tags if tag[0].startswith("Compliance-")]
    found = [tag for tag in expected if tag[0].startswith("Compliance-")]
    there, listed = set(found), set(stated)
    yield from (f"stated but not found: {tag[1]}" for tag in stated if tag not in there)
    yield from (f"found but not stated: {tag[1]}" for tag in found if tag not in listed)
    if len(stated) != len(found) or len(listed) != len(stated):
        yield f"{bag.INFO}: states {len(stated)} sheets and signatures; there are {len(found)}"


def _payload_faults(digests: Mapping[str, str], sheets: Sequence[Sheet]) -> Iterable[str]:
    expected = payload(sheets)
    there = {name for name in digests if name.startswith("data/")}
    yield from (f"{name}: belongs to no sheet" for name in sorted(there - expected.keys()))
    yield from (f"{name}: is missing" for name in sorted(expected.keys() - there))
    for name in sorted(expected.keys() & there):
        if digests[name] != expected[name].sha256:
            yield f"{name}: is not the file attached to the sheet"
