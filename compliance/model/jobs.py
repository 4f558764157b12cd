"""The job of a slot, and the deviations that its client accepts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from compliance.model.rules import Limits
from compliance.model.signals import Encoding, Pair


@dataclass(frozen=True, slots=True)
class Party:
    """A client or a facility."""

    name: str
    contact: str | None = None
    address: str | None = None


@dataclass(frozen=True, slots=True)
class Display:
    make: str | None = None
    model: str | None = None
    serial: str | None = None
    technology: str | None = None
    """One of `TECHNOLOGIES`."""
    firmware: str | None = None
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class Room:
    surround: float | None = None
    """cd/m²"""
    ambient: float | None = None
    """lx"""


@dataclass(frozen=True, slots=True)
class People:
    measured_by: str | None = None
    authorised_by: str | None = None
    measured_as: str | None = None
    """The function of who measured."""
    authorised_as: str | None = None


@dataclass(frozen=True, slots=True)
class Declaration:
    """A statement of the facility about a slot, without a reading."""

    value: float
    """Yes is 1, no is 0."""
    by: str
    date: date


@dataclass(frozen=True, slots=True)
class ReadingsEntry:
    """The readings file of a slot, and the circumstances of the readings."""

    file: Path
    """Resolved path."""
    named: str
    """As written in the job."""
    measured: datetime
    encoding: Encoding
    ambient: str | None = None
    geometry: str | None = None
    started: datetime | None = None
    """The start of measuring."""
    ended: datetime | None = None
    temperature: float | None = None
    """°C, of the room"""
    humidity: float | None = None
    """%, relative"""


@dataclass(frozen=True, slots=True)
class Slot:
    """One calibration memory of a display."""

    name: str
    deliverables: tuple[str, ...]
    """Rule ids, or paths of rule files as written in the job."""
    display: Display
    """The job's, unless the slot names its own."""
    meter: Path | None
    """The job's, unless the slot names its own."""
    calibrated: datetime | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    warm_up: float | None = None
    """minutes"""
    nominal_peak: float | None = None
    """cd/m², of an HDR display; HLG's system gamma follows from it."""
    declared: Mapping[str, Declaration] = field(default_factory=dict)
    before: ReadingsEntry | None = None
    readings: ReadingsEntry | None = None


@dataclass(frozen=True, slots=True)
class Job:
    reference: str
    title: str | None
    client: Party | None
    facility: Party | None
    suite: str | None
    room: Room
    people: People
    slots: tuple[Slot, ...]
    file: Path
    document: Mapping[str, Any]
    """The file as plain data."""
    deviations: tuple[Path, ...] = ()
    """Resolved paths of the deviations that are kept with the job."""
    procedure: str | None = None
    """Name or document of the measuring procedure."""
    timezone: str | None = None
    """IANA; times are printed in it. None: in UTC."""


class Disposition(StrEnum):
    """The client's acceptance of a verdict; the verdict does not change."""

    ACCEPTED = "accepted-with-deviations"


@dataclass(frozen=True, slots=True)
class Acceptor:
    """The signer of a deviation, by certificate."""

    name: str
    organisation: str | None
    sha256: str
    """Of the certificate, lower-case hex."""
    certificate: bytes = field(repr=False)
    """DER"""
    checked: bool = False
    """Whether who assessed held the certificate against those of the client's people."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One requirement that one slot of one job may miss, up to a value and a date."""

    assessment: str
    """Number of the assessment with the value."""
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
    """The limits of the value."""
    reason: str
    accepted_by: str
    accepted: datetime
    until: date
    """The last day, which lasts to 24:00 UTC."""
    signer: Acceptor
    document: Mapping[str, Any]
    """The whole file as plain data, including its signature."""
    file: str
    up_to: float | Pair | None = None
    """How far outside a value may lie; None: no further than `value`."""

    @property
    def bound(self) -> float | Pair:
        """The value furthest outside that is accepted."""
        return self.value if self.up_to is None else self.up_to
