"""A small PDF with as many signatures as a file may have: one, and archive stamps after it."""

from __future__ import annotations

from datetime import timedelta

from compliance.signing.archive import add_archive_stamp
from compliance.signing.pdf_file import MOST_REVISIONS
from compliance.signing.revocation import NOTHING
from helpers.authorities import Within
from helpers.signing import SIGNED, signed


def stamped(stamps: int = MOST_REVISIONS - 2) -> bytes:
    """The signed PDF with so many archive stamps, a day apart."""
    data = signed()
    for day in range(1, stamps + 1):
        data = add_archive_stamp(data, NOTHING, Within(SIGNED + timedelta(days=day)))
    return data
