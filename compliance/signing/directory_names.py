"""Compare names in certificates that are written in both directions (RFC 4518, 2.5).

The library refuses to compare a name with letters from right to left and others, such as the one
of a studio with a number, as host names are; in directories directions bear on nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby
from stringprep import in_table_d1
from unicodedata import normalize

from asn1crypto.x509 import NameTypeAndValue

PREPARE: Callable[[NameTypeAndValue, str], str] = NameTypeAndValue._ldap_string_prep


def _prepared(value: NameTypeAndValue, text: str) -> str:
    """Return a text as it is compared; ValueError for characters that no name may have."""
    try:
        return PREPARE(value, text)
    except ValueError:
        text = normalize("NFKC", text)
        for _, one_way in groupby(text, in_table_d1):
            PREPARE(value, "".join(one_way))
        words = normalize("NFKC", text.casefold()).split(" ")
        return f" {'  '.join(filter(None, words))} "


def compare_both_directions() -> None:
    """Have the library compare such names, wherever it does."""
    NameTypeAndValue._ldap_string_prep = _prepared
