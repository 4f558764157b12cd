"""The offset from UTC that a time is printed with, carried by the time itself.

Times of a job with a time zone carry it, and so does every time that is printed beside them. In
comparisons, in arithmetic and in documents such a time is the instant that it always was.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta, tzinfo

MOST_MINUTES = 14 * 60
"""The largest offset of any time zone, either way."""
WRITTEN = re.compile(r"([+-])(\d{2}):([0-5]\d)", re.ASCII)


class PrintedOffset(tzinfo):
    """A fixed offset from UTC in whole minutes, ahead of UTC if positive.

    Raises ValueError for more than any time zone has.
    """

    def __init__(self, minutes: int) -> None:
        self.minutes = minutes
        if abs(minutes) > MOST_MINUTES:
            raise ValueError(f"{self.tzname(None)} is not an offset; expected at most 14 hours")

    def __getinitargs__(self) -> tuple[int]:
        """Arguments for a copy."""
        return (self.minutes,)

    def utcoffset(self, moment: datetime | None) -> timedelta:
        return timedelta(minutes=self.minutes)

    def dst(self, moment: datetime | None) -> timedelta:
        return timedelta(0)

    def tzname(self, moment: datetime | None) -> str:
        """The offset as it is written, e.g. `+01:00`."""
        hours, minutes = divmod(abs(self.minutes), 60)
        return f"{'-' if self.minutes < 0 else '+'}{hours:02}:{minutes:02}"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PrintedOffset) and other.minutes == self.minutes

    def __hash__(self) -> int:
        return hash(self.minutes)

    def __repr__(self) -> str:
        return f"PrintedOffset({self.minutes})"


def written_offset(moment: datetime) -> str | None:
    """The offset that a time is printed with, as it is written; None: it is printed in UTC."""
    zone = moment.tzinfo
    return zone.tzname(moment) if isinstance(zone, PrintedOffset) else None


def read_offset(text: str) -> PrintedOffset:
    """An offset as it is written. ValueError if no time zone can have it."""
    found = WRITTEN.fullmatch(text)
    if found is None:
        raise ValueError(f"{text} is not an offset; expected e.g. +01:00")
    minutes = int(found[2]) * 60 + int(found[3])
    return PrintedOffset(-minutes if found[1] == "-" else minutes)
