"""The files attached to a sheet: their names, and the digests that the assessment states."""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from compliance.model.stated import number_digits
from compliance.plain_data import digest

MOST_DIGITS = 400
"""Most digits of a whole number in JSON."""
ASSESSMENT = "assessment.json"
READINGS = "readings"
BEFORE = "before"
RULE = "rule.json"
JOB = "job.json"
METER = "meter.json"

REQUIRED = (ASSESSMENT, RULE, JOB)
SUFFIXES = (".csv", ".txt", ".cxf")
"""Suffixes of the files of readings, by format."""
OPTIONAL = (METER, *(stem + suffix for stem in (READINGS, BEFORE) for suffix in SUFFIXES))
NUMBER = re.compile("[0-9a-f]{8}(?:[0-9a-f]{24})?")
"""The end of a number, in documents of version 1 and of today."""
DEVIATION = re.compile(r"deviation-[1-9]\d?\.json")

LARGEST: Mapping[str, int] = {
    ASSESSMENT: 4 << 20,
    RULE: 256 << 10,
    JOB: 256 << 10,
    METER: 256 << 10,
}
LARGEST_READINGS = 16 << 20
LARGEST_DEVIATION = 64 << 10
"""Most bytes of the attachments; those of shipped rules and their readings have a tenth of it."""

Attached = Mapping[str, bytes]
Document = Mapping[str, Any]


def read_assessment(attached: Attached) -> Document:
    """Read the assessment among the attachments; ValueError if it is missing or not an object.

    Duplicate keys, and values such as NaN, are refused.
    """
    if ASSESSMENT not in attached:
        raise ValueError(f"{ASSESSMENT} is missing")
    return _object(attached, ASSESSMENT)


def is_assessment(data: Any) -> bool:
    """Return whether the data of a JSON file is meant as an assessment, valid or not."""
    return isinstance(data, dict) and {"verdict", "findings"} <= data.keys()


def name_faults(attached: Attached) -> Iterator[str]:
    """Yield the attachments that are missing or do not belong to a sheet."""
    yield from (f"{name} is missing" for name in REQUIRED if name not in attached)
    for stem in (READINGS, BEFORE):
        names = [stem + suffix for suffix in SUFFIXES if stem + suffix in attached]
        if len(names) > 1:
            yield f"{' and '.join(names)}: expected only one of them"
    extra = sorted(attached.keys() - {*REQUIRED, *OPTIONAL})
    yield from (f"{name} does not belong to a sheet" for name in extra if not is_deviation(name))


def readings_name(stem: str, attached: Attached) -> str:
    """Return the name of the attached `readings` or `before`; the suffix depends on the format."""
    names = [stem + suffix for suffix in SUFFIXES]
    return next((name for name in names if name in attached), names[0])


def largest_size(name: str) -> int:
    """Return the most bytes that an attachment of this name may have."""
    return LARGEST.get(name, LARGEST_DEVIATION if is_deviation(name) else LARGEST_READINGS)


def is_deviation(name: str) -> bool:
    """Return whether an attachment with this name is a deviation."""
    return DEVIATION.fullmatch(name) is not None


def effective_deviations(attached: Attached, stated: Document) -> dict[str, bytes]:
    """Return the attached deviations without those that the assessment states as lapsed."""
    lapsed = stated.get("lapsed")
    entries = lapsed if isinstance(lapsed, list) else ()
    without = {str(_at(each, ["file"])) for each in entries if isinstance(each, Mapping)}
    return {
        name: data
        for name, data in sorted(attached.items())
        if is_deviation(name) and name not in without
    }


def digest_faults(attached: Attached, stated: Document) -> Iterator[str]:
    """Yield each attachment that is not the one stated; ValueError if one is not JSON."""
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
    """Name each attachment in words, and the keys under which its digest is stated."""
    only_before = stated.get("heading") == "before"
    before = ("readings", "sha256") if only_before else ("before", "readings", "sha256")
    entry = ("the readings were", "readings", "sha256")
    readings = {} if only_before else {readings_name(READINGS, attached): entry}
    return {
        **readings,
        readings_name(BEFORE, attached): ("the readings before calibration were", *before),
        RULE: ("the rule was", "rule", "digest"),
        JOB: ("the job was", "job", "digest"),
        METER: ("the meter was", "meter", "digest"),
    }


def numbering_fault(stated: Document) -> str | None:
    """Return a fault if an assessment's number does not fit its text; ValueError on no JSON.

    Nor may it state another job, slot or rule than the text, or replace an assessment of another.
    """
    number, digits = str(stated.get("number")), number_digits(stated.get("schema"))
    own = _named_digest(
        ASSESSMENT, {key: value for key, value in stated.items() if key != "number"}
    )
    head, _, tail = number.rpartition("-")
    if tail != own[:digits]:
        return (
            f"the assessment was changed: its number is {number}, but its text gives a number "
            f"that ends in {own[:digits]}"
        )
    reference, slot = _at(stated, ["job", "reference"]), _at(stated, ["slot", "slot"])
    rule = _at(stated, ["rule", "id"])
    if rule is None:
        return None  # not an assessment at all, as its reader will say
    expected = f"{reference or 'readings'}-{slot or 'only'}-{rule}"
    if head != expected:
        return f"its number is {number}; expected one that begins with {expected}"
    replaced = stated.get("replaces")
    if replaced is not None and not _is_number_of(str(replaced), expected):
        return f"it says that it replaces {replaced}; expected a number of {expected}"
    return None


def _is_number_of(number: str, expected: str) -> bool:
    """Return whether a number is one of a job, slot and rule whose files have the same name."""
    head, _, tail = number.rpartition("-")
    return NUMBER.fullmatch(tail) is not None and _letters(head) == _letters(expected)


def _letters(text: str) -> str:
    """Return what the names of files keep of a text on every system."""
    plain = unicodedata.normalize("NFC", text).casefold()
    return "".join(char for char in plain if char.isalnum())


def _expected(stated: Document, attached: Attached) -> Mapping[str, tuple[str, Any]]:
    """Name each attachment in words, with the digest stated; None if none is stated."""
    expected = {
        name: (what, _at(stated, place))
        for name, (what, *place) in _digests(stated, attached).items()
    }
    deviations = [*(stated.get("deviations") or ()), *(stated.get("lapsed") or ())]
    named = {str(_at(each, ["file"])): _at(each, ["sha256"]) for each in deviations}
    given = filter(is_deviation, attached)
    for name in sorted({*named, *given}):
        expected[name] = ("the deviation was", named.get(name))
    return expected


def _digest(attached: Attached, name: str) -> str:
    """Compute the SHA-256: of a JSON file over its canonical form, of others over the bytes."""
    if name.endswith(".json"):
        return _named_digest(name, _object(attached, name))
    return hashlib.sha256(attached[name]).hexdigest()


def _named_digest(name: str, data: Document) -> str:
    try:
        return digest(data)
    except ValueError as fault:
        raise ValueError(f"{name}: {fault}") from fault


def _at(document: Document, place: Sequence[str]) -> Any:
    value: Any = document
    for key in place:
        value = value.get(key) if isinstance(value, Mapping) else None
    return value


def parse_json(data: bytes, name: str) -> Any:
    """Parse the JSON in the file `name`; ValueError, in one line, if it is not JSON."""
    try:
        return json.loads(data, **STRICT)
    except json.JSONDecodeError as fault:
        place = f"line {fault.lineno}, column {fault.colno}"
        raise ValueError(f"{name}: invalid JSON at {place}") from None
    except (UnicodeDecodeError, RecursionError):
        raise ValueError(f"{name}: invalid JSON") from None
    except ValueError as fault:
        raise ValueError(f"{name}: invalid JSON: {fault}") from None


def _object(attached: Attached, name: str) -> Document:
    data = parse_json(attached[name], name)
    if not isinstance(data, dict):
        raise ValueError(f"{name}: is not a JSON object")
    return data


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    entries = dict(pairs)
    if len(entries) != len(pairs):
        raise ValueError("duplicate key")
    return entries


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is not a number")


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise ValueError(f"a number has {len(text)} digits")
    return int(text)


STRICT: Mapping[str, Any] = {
    "object_pairs_hook": _unique,
    "parse_constant": _no_number,
    "parse_int": _whole,
}
"""Arguments for JSON from unknown sources: no duplicate keys, no NaN or infinity."""
