"""A client's leave for a value outside its limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from compliance.model.rules import Limits
from compliance.model.signal import Pair


class Disposition(StrEnum):
    """What the client makes of a verdict; the verdict stays."""

    ACCEPTED = "accepted-with-deviations"


@dataclass(frozen=True, slots=True)
class Acceptor:
    """Who signed a deviation, by certificate."""

    name: str
    organisation: str | None
    sha256: str
    """Of the certificate, lower-case hex."""
    certificate: bytes = field(repr=False)
    """DER"""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One requirement that may be missed by one slot of one job, this far and until then."""

    assessment: str
    """Number of the assessment in which the value was seen."""
    job: str
    slot: str
    serial: str | None
    """The display's."""
    rule: str
    revision: int
    digest: str
    """The rule's."""
    requirement: str
    title: str
    quantity: str
    unit: str
    value: float | Pair
    limits: Limits
    """Those that the value was held against."""
    reason: str
    accepted_by: str
    accepted: datetime
    until: date
    """The last day, which lasts to 24:00 UTC."""
    signer: Acceptor
    document: Mapping[str, Any]
    """The whole file as plain data, its signature included."""
    file: str
