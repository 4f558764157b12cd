"""An assessment as text, the same for every output; no output has words of its own.

Plain words, marks and rows, without layout: sheet, terminal, JUnit and CSV draw or wrap them.
"""

from __future__ import annotations

from dataclasses import dataclass

from compliance.model import Finding, NotCovered, Verdict
from compliance.report.causes import CauseWords
from compliance.report.nearness import Gauge


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and its value."""

    label: str
    value: str
    mono: bool = False
    known: bool = True
    """False if the value is only `not stated`."""


@dataclass(frozen=True, slots=True)
class Group:
    """Facts under one heading."""

    title: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement: its finding, and all printed texts about it."""

    finding: Finding
    mark: Verdict
    """As drawn: `not-assessed` of what is left open, too."""
    word: str
    """Of the verdict."""
    level: str
    """The mark of a requirement that decides nothing, after its title."""
    about: str
    """Quantity, statistic and patches."""
    value: str
    value_notes: tuple[str, ...]
    """Notes on the value: its patch, its interval and probability."""
    limit: str
    """The limits of the value."""
    limits: tuple[str, ...]
    """All limits: a line per band or group of patches."""
    gauge: Gauge | None
    """The value beside its limits."""
    interval: str
    """The interval of the value; empty if it is not known."""
    probability: str
    """Its probability to be inside, e.g. `p = 0.763`; empty if it is not known."""
    least_sure: str
    """If value and probability are of two patches: their names, in a sentence."""
    short: str
    """The reason that it is not assessed, in a line or two."""
    details: tuple[str, ...]
    """Facts that a reader of the verdict must know: points outside, missing patches."""
    open: tuple[str, ...]
    """All missing patches, and the patches that were not judged, with reasons."""
    sentences: tuple[str, ...]
    """Value, limits, probability, missing patches and the source, as running text."""
    message: str
    """The outcome in one line, for other programs."""
    points: tuple[str, ...]
    """Each point outside its limits in a line, then the source."""
    accepted: str
    """The client's acceptance, in a sentence; empty if there is none."""


@dataclass(frozen=True, slots=True)
class HouseChange:
    """One change of a house rule from its parent."""

    subject: str
    parent: str
    """What the parent asks."""
    here: str
    met: str
    """Whether what was measured would meet the parent, with the value."""
    reason: str
    agreed: str
    """Who agreed, and when."""


@dataclass(frozen=True, slots=True)
class Tally:
    """The marks of one level in a row, and their count in words."""

    label: str
    words: str
    marks: tuple[Verdict, ...]
    missed: str = ""
    """Requirements of a level that decides nothing that are not met: each with value and limits."""


@dataclass(frozen=True, slots=True)
class State:
    """The texts about one set of readings: before calibration, or after it."""

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
    """Reasons that some requirements were judged on a part of their patches."""
    remarks: tuple[str, ...]
    causes: tuple[CauseWords, ...]
    """Likely causes of findings outside their limits, the likeliest first."""
    no_cause: str
    """A sentence if findings are outside their limits and no cause explains them."""


@dataclass(frozen=True, slots=True)
class ReadingTable:
    """All readings of one state, without those that were replaced."""

    title: str
    rows: tuple[tuple[str, ...], ...]
    """The cells of `headings.READING_COLUMNS`, in the order of the file."""


@dataclass(frozen=True, slots=True)
class Report:
    """All texts about an assessment."""

    number: str
    title: str
    """What was judged."""
    purpose: str
    """For which deliverable."""
    subtitle: str
    heading_lines: tuple[str, ...]
    """Number, time of issue and what is replaced, for the head of page 1."""
    running: str
    """Short title for the head of each page."""
    slot: str
    """As the subject of a sentence; empty without a job."""
    rule: str
    """Its id and revision."""
    when: str
    """A note on the verdict if it is not of the calibrated state."""
    heading: str
    """The state of the slot, if it is not the calibrated one."""
    now: State
    before: State | None
    earlier: str
    """The number of requirements outside before calibration."""
    untraceable: str
    """What traceability lacks, in a sentence; empty if it lacks nothing."""
    house: str
    """How a house rule changes what it extends, in a sentence; empty for other rules."""
    validity: str
    dates: str
    """The date of measuring, the validity and the number, in a sentence."""
    tallies: tuple[Tally, ...]
    deciding: tuple[Row, ...]
    """The shall requirements that decide the verdict: outside, not assessed, open; or the nearest
    to their limits."""
    deciding_title: str
    disposition: str
    """The client's acceptance."""
    accepted: tuple[str, ...]
    """The accepted values: a sentence for each deviation."""
    risk: tuple[str, ...]
    """The rule of acceptance, and the remaining risk."""
    asked: tuple[Fact, ...]
    measured: tuple[Fact, ...]
    scope: tuple[str, ...]
    """What the sheet covers, and what nobody may read from it."""
    remarks: tuple[str, ...]
    """Those of `now`, the serious first, long lists cut."""
    serious: int
    """The number of first remarks that are shown even if others do not fit."""
    facility: Fact
    """The signing facility, with its caption."""
    departures: str
    """The differences of a house rule from its parent, in a sentence."""
    changes: tuple[HouseChange, ...]
    """Changes of a house rule from its parent."""
    not_covered: tuple[NotCovered, ...]
    """What the rule's documents ask and it does not test, each text with a capital."""
    provenance: tuple[Group, ...]
    definitions: tuple[Fact, ...]
    method: str
    reading: str
    """An explanation of interval and probability; empty without them."""
    decision: str
    bases: tuple[Fact, ...]
    cautions: tuple[str, ...]
    readings: tuple[ReadingTable, ...]
    """All readings, if they are asked for."""
