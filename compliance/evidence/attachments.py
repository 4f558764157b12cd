"""The files inside a sheet: their names, and the digests that the assessment states."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from compliance.plain_data import digest

MOST_DIGITS = 400
"""Of a whole number in JSON."""
ASSESSMENT = "assessment.json"
READINGS = "readings"
BEFORE = "before"
RULE = "rule.json"
JOB = "job.json"
METER = "meter.json"

REQUIRED = (ASSESSMENT, RULE, JOB)
SUFFIXES = (".csv", ".txt", ".cxf")
"""Of the files of readings, by their format."""
OPTIONAL = (METER, *(stem + suffix for stem in (READINGS, BEFORE) for suffix in SUFFIXES))
DEVIATION = re.compile(r"deviation-[1-9]\d?\.json")

Attached = Mapping[str, bytes]
Document = Mapping[str, Any]


def read_assessment(attached: Attached) -> Document:
    """The assessment among the attachments; ValueError if it is missing or no JSON object.

    Keys that stand there twice, and numbers that are none, are refused.
    """
    if ASSESSMENT not in attached:
        raise ValueError(f"{ASSESSMENT} is missing")
    return _object(attached, ASSESSMENT)


def is_assessment(found: Any) -> bool:
    """Whether what a JSON file holds is meant as an assessment, sound or not."""
    return isinstance(found, dict) and {"verdict", "findings"} <= found.keys()


def name_faults(attached: Attached) -> Iterator[str]:
    """What is missing, and what does not belong there."""
    yield from (f"{name} is missing" for name in REQUIRED if name not in attached)
    for stem in (READINGS, BEFORE):
        found = [stem + suffix for suffix in SUFFIXES if stem + suffix in attached]
        if len(found) > 1:
            yield f"{' and '.join(found)}: expected one of them"
    extra = sorted(attached.keys() - {*REQUIRED, *OPTIONAL})
    yield from (f"{name} does not belong to a sheet" for name in extra if not is_deviation(name))


def readings_name(stem: str, attached: Attached) -> str:
    """The name of the attached `readings` or `before`, whose suffix is that of their format."""
    names = [stem + suffix for suffix in SUFFIXES]
    return next((name for name in names if name in attached), names[0])


def is_deviation(name: str) -> bool:
    """Whether an attachment of that name is a deviation."""
    return DEVIATION.fullmatch(name) is not None


def digest_faults(attached: Attached, stated: Document) -> Iterator[str]:
    """Which attachment is not the one that the assessment states; ValueError on no JSON."""
    fault = numbering_fault(stated)
    if fault is not None:
        yield f"{ASSESSMENT}: {fault}"
    for name, (what, expected) in _expected(stated, attached).items():
        if name not in attached:
            if expected is not None:
                yield f"{name} is missing: SHA-256 {expected} stated"
        elif (found := _digest(attached, name)) != expected:
            yield f"{name}: {what} changed: SHA-256 {expected} stated, {found} attached"


def _digests(stated: Document, attached: Attached) -> Mapping[str, tuple[str, ...]]:
    """What each attachment is, and where the assessment states its digest."""
    only_before = stated.get("heading") == "before"
    before = ("readings", "sha256") if only_before else ("before", "readings", "sha256")
    where = ("the readings were", "readings", "sha256")
    readings = {} if only_before else {readings_name(READINGS, attached): where}
    return {
        **readings,
        readings_name(BEFORE, attached): ("the readings before calibration were", *before),
        RULE: ("the rule was", "rule", "digest"),
        JOB: ("the job was", "job", "digest"),
        METER: ("the meter was", "meter", "digest"),
    }


def numbering_fault(stated: Document) -> str | None:
    """What is wrong where an assessment's number is not of its text; ValueError on no JSON."""
    number = str(stated.get("number"))
    own = _named_digest(
        ASSESSMENT, {key: value for key, value in stated.items() if key != "number"}
    )
    if number.rpartition("-")[2] == own[:8]:
        return None
    return (
        f"the assessment was changed: it is numbered {number}, "
        f"while its text gives a number that ends in {own[:8]}"
    )


def _expected(stated: Document, attached: Attached) -> Mapping[str, tuple[str, Any]]:
    """What each attachment is, and the digest that the assessment states; None if it has none."""
    found = {
        name: (what, _at(stated, place))
        for name, (what, *place) in _digests(stated, attached).items()
    }
    named = {
        str(_at(one, ["file"])): _at(one, ["sha256"]) for one in stated.get("deviations") or ()
    }
    given = filter(is_deviation, attached)
    for name in sorted({*named, *given}):
        found[name] = ("the deviation was", named.get(name))
    return found


def _digest(attached: Attached, name: str) -> str:
    """SHA-256: of a JSON file over its canonical form, of any other over its bytes."""
    if name.endswith(".json"):
        return _named_digest(name, _object(attached, name))
    return hashlib.sha256(attached[name]).hexdigest()


def _named_digest(name: str, data: Document) -> str:
    try:
        return digest(data)
    except ValueError as fault:
        raise ValueError(f"{name}: {fault}") from fault


def _at(document: Document, place: Sequence[str]) -> Any:
    found: Any = document
    for key in place:
        found = found.get(key) if isinstance(found, Mapping) else None
    return found


def parse_json(data: bytes, name: str) -> Any:
    """What the JSON in a file of that name says; ValueError, in one line, where it is none."""
    try:
        return json.loads(data, **STRICT)
    except json.JSONDecodeError as fault:
        where = f"line {fault.lineno}, column {fault.colno}"
        raise ValueError(f"{name}: is no JSON from {where} on") from None
    except (UnicodeDecodeError, RecursionError):
        raise ValueError(f"{name}: is no JSON") from None
    except ValueError as fault:
        raise ValueError(f"{name}: is no JSON: {fault}") from None


def _object(attached: Attached, name: str) -> Document:
    found = parse_json(attached[name], name)
    if not isinstance(found, dict):
        raise ValueError(f"{name}: is no JSON object")
    return found


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands there twice")
    return found


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise ValueError(f"a number has {len(text)} digits")
    return int(text)


STRICT: Mapping[str, Any] = {
    "object_pairs_hook": _unique,
    "parse_constant": _no_number,
    "parse_int": _whole,
}
"""How JSON is read that a stranger may have written: no key twice, no number that is none."""
