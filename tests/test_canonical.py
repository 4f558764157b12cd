"""Canonical JSON against the examples of RFC 8785, and digests over it."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest

from compliance.plain_data import canonical_bytes, digest


def test_the_example_of_the_standard() -> None:
    """RFC 8785, 3.2.2 to 3.2.4: the sample object and its canonical form."""
    data = json.loads(
        '{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        ' "string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/",'
        ' "literals": [null, true, false]}'
    )
    assert canonical_bytes(data).decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_keys_are_sorted_by_utf_16() -> None:
    """RFC 8785, 3.2.3: the sorting example."""
    data = {"€": 1, "\r": 2, "\ufb33": 3, "1": 4, "😀": 5, "\x80": 6, "ö": 7}
    order = list(json.loads(canonical_bytes(data)))
    assert order == ["\r", "1", "\x80", "ö", "€", "😀", "\ufb33"]


def test_whole_numbers_and_floats_are_one() -> None:
    assert digest({"a": 100}) == digest({"a": 100.0})
    assert digest({"a": 1, "b": 2}) == digest({"b": 2, "a": 1})
    assert digest([1, 2]) != digest([2, 1])


def test_a_digest_is_sha_256_of_the_canonical_bytes() -> None:
    assert digest({}) == hashlib.sha256(b"{}").hexdigest()


@pytest.mark.parametrize("data", [float("nan"), float("inf"), 2**60, {1: 2}, "\ud800", object()])
def test_what_has_no_canonical_form(data: Any) -> None:
    with pytest.raises(ValueError, match="no canonical JSON"):
        canonical_bytes(data)
