"""An assessment as text: what every paper prints, and none says in words of its own.

Plain words, marks and rows, without layout: sheet, terminal, JUnit and CSV draw or wrap them.
"""

from __future__ import annotations

from dataclasses import dataclass

from compliance.model import Finding, Verdict


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what stands beside it."""

    label: str
    value: str
    mono: bool = False
    known: bool = True
    """Not where the value only says that it is not stated."""


@dataclass(frozen=True, slots=True)
class Group:
    """Facts under one heading."""

    title: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement: its finding, and all that is printed of it."""

    finding: Finding
    word: str
    """Of the verdict."""
    level: str
    """What marks a requirement that decides nothing, after its title."""
    about: str
    """Quantity, statistic and patches."""
    value: str
    value_notes: tuple[str, ...]
    """Beside the value: where it lies, its interval and probability."""
    limit: str
    """The limits that the value was held against."""
    limits: tuple[str, ...]
    """All of them: a line per band or group of patches."""
    probability: str
    """Its probability to lie inside, e.g. `p = 0.763`; empty if it is not known."""
    least_sure: str
    """Where value and probability are of two patches: which those are, in a sentence."""
    short: str
    """Why it is not assessed, in a line or two."""
    details: tuple[str, ...]
    """What a reader of the verdict must know: points outside, what is missing."""
    open: tuple[str, ...]
    """Everything that was missing, and what was not judged and why."""
    sentences: tuple[str, ...]
    """Value, limits, how sure, what is missing and the source, as running text."""
    message: str
    """The outcome in one line, for other programs."""
    points: tuple[str, ...]
    """Each point outside its limits in a line, then the source."""
    accepted: str
    """What the client accepts of it, in a sentence; empty if nothing."""


@dataclass(frozen=True, slots=True)
class Tally:
    """The marks of one level in a row, and their count in words."""

    label: str
    words: str
    marks: tuple[Verdict, ...]
    missed: str = ""
    """What of a level that decides nothing is not met: each with value and limits."""


@dataclass(frozen=True, slots=True)
class CauseText:
    """A likely cause in words."""

    title: str
    text: str
    next_step: str


@dataclass(frozen=True, slots=True)
class State:
    """What is said of one set of readings: before calibration, or after it."""

    name: str
    mark: Verdict
    word: str
    """Of the verdict."""
    headline: str
    """The same as a heading."""
    sentence: str
    rows: tuple[Row, ...]
    """In the rule's order."""
    in_part: tuple[str, ...]
    """Why some requirements were judged on a part of their patches."""
    remarks: tuple[str, ...]
    causes: tuple[CauseText, ...]
    """Likely causes of what is outside its limits, the likeliest first."""
    no_cause: str
    """Said where something is outside its limits and no cause is known."""


@dataclass(frozen=True, slots=True)
class Report:
    """All that is said of an assessment."""

    number: str
    title: str
    subtitle: str
    running: str
    """Short title for the head of each page."""
    slot: str
    """As a subject; empty without a job."""
    rule: str
    """Its id and revision."""
    when: str
    """Said beside the verdict where it is not of the calibrated state."""
    heading: str
    """What state of the slot it is about, where that is not the calibrated one."""
    now: State
    before: State | None
    earlier: str
    """How many requirements were outside before calibration."""
    validity: str
    dates: str
    """When it was measured, how long that holds, and the number, in a sentence."""
    tallies: tuple[Tally, ...]
    deciding: tuple[Row, ...]
    """The shall that made the verdict what it is: outside, open, near a limit, not assessed."""
    deciding_title: str
    disposition: str
    """What the client makes of the verdict."""
    accepted: tuple[str, ...]
    """What the client accepts of it: a sentence for each deviation."""
    risk: tuple[str, ...]
    """How values were accepted, and the risk it leaves."""
    asked: tuple[Fact, ...]
    measured: tuple[Fact, ...]
    not_said: tuple[str, ...]
    remarks: tuple[str, ...]
    """Those of `now`, the serious first, long lists cut."""
    serious: int
    """How many remarks at the head are shown even where others have no room."""
    facility: Fact
    """Who signs, under what caption."""
    departures: str
    """How far a house rule is not what it extends, in a sentence."""
    changes: tuple[Fact, ...]
    """Departures of a house rule from its parent: of what, and the words."""
    provenance: tuple[Group, ...]
    definitions: tuple[Fact, ...]
    method: str
    reading: str
    """How to read interval and probability; empty without them."""
    decision: str
    bases: tuple[Fact, ...]
    cautions: tuple[str, ...]
