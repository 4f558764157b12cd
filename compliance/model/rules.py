"""A deliverable's target and requirements."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from compliance.model.signals import Encoding, Pair, Triple


class Level(StrEnum):
    SHALL = "shall"
    SHOULD = "should"


@dataclass(frozen=True, slots=True)
class Limits:
    """A tolerance interval; closed unless `exclusive`. Units are the quantity's."""

    minimum: float | None = None
    maximum: float | None = None
    nominal: float | None = None
    """Stated centre, for print; minimum and maximum already include it."""
    box: Pair | None = None
    """Half widths in x and y about zero offset; excludes minimum and maximum."""
    exclusive: bool = False

    @property
    def low(self) -> float:
        """The smallest value; minus infinity if there is none."""
        return -math.inf if self.minimum is None else self.minimum

    @property
    def high(self) -> float:
        """The largest value; infinity if there is none."""
        return math.inf if self.maximum is None else self.maximum


@dataclass(frozen=True, slots=True)
class Band:
    """Limits for patches with a nominal target of at most `upto` cd/m²; None: no upper end."""

    upto: float | None
    limits: Limits


@dataclass(frozen=True, slots=True)
class Target:
    """The ideal display of a rule."""

    primaries: tuple[Pair, Pair, Pair]
    primaries_name: str | None
    white: Pair
    white_name: str | None
    curve: str
    """`bt1886`, `power`, `srgb`, `pq`, `hlg` or `dcdm`."""
    exponent: float | None
    """For `power`, and 2.6 for `dcdm`; None otherwise."""
    black: str
    """The way black is included: `lift`, `add` or `none`; for HLG `lift` also means `add`, as the
    readings tell."""
    black_level: float | None
    """cd/m²; None: as measured."""
    scale: str
    """`relative` (to the measured white) or `absolute`."""
    luminance_white: float
    luminance_peak: float
    container: tuple[Pair, Pair, Pair] | None
    """Primaries of the RGB signal; equal to `primaries` unless wider; None for xyz."""
    container_name: str | None
    system_gamma: float | None
    """HLG only; of the nominal peak."""
    surround: float | None = None
    """cd/m² for which HLG's system gamma follows from the peak; None: it is the rule's number."""


@dataclass(frozen=True, slots=True)
class Accepted:
    """A display other than the target that a rule means to let pass."""

    target: Target
    """What such a display shows, whole."""
    reason: str


@dataclass(frozen=True, slots=True)
class NotCovered:
    """What a named document asks and a rule does not test."""

    clause: str
    """Document and clause."""
    what: str
    """What the clause asks."""
    why: str
    """Why the rule does not test it."""


@dataclass(frozen=True, slots=True)
class PatchSet:
    """A named set of patches; `kind` decides which of the other fields apply."""

    name: str
    kind: str
    """`ramp`, `hues`, `saturations`, `list`, `positions`, `windows` or `repeats`."""
    steps: int | None = None
    """ramp: number of levels with both ends; saturations: steps from white to hue."""
    signal: Pair | None = None
    """ramp: first and last level of normalised signal; None: 0 to 1."""
    hues: tuple[str, ...] = ()
    """hues and saturations: of red, green, blue, cyan, magenta, yellow."""
    neutral: float | None = None
    """hues and saturations: cd/m² of the same drive on the neutral axis."""
    patches: tuple[tuple[str, Triple], ...] = ()
    """list: name and code values."""
    encoding: Encoding | None = None
    """list: of its code values."""
    positions: tuple[str, ...] = ()
    """positions: expanded to the 13 names."""
    windows: tuple[float, ...] = ()
    """windows: % of area."""
    repeats: int | None = None
    of: str | None = None
    """positions, windows, repeats: the built-in set that is shown."""
    window: float | None = None
    """% of area; None: the rule's (10 for `peak`)."""
    pattern: str | None = None


@dataclass(frozen=True, slots=True)
class Over:
    """The patches of a requirement."""

    patches: tuple[str, ...]
    signal: Pair | None = None
    """Normalised signal level."""
    target: Pair | None = None
    """Nominal target, cd/m²."""
    position: tuple[str, ...] | None = None
    window: tuple[float, ...] | None = None
    pattern: str | None = None
    seconds: tuple[float, ...] | None = None
    only: tuple[str, ...] | None = None
    exclude: tuple[str, ...] = ()
    """`except` in the file: names of patches left out."""


@dataclass(frozen=True, slots=True)
class Requirement:
    """One limit on one quantity. Exactly one of limits, bands, by_patch is set."""

    id: str
    title: str
    quantity: str
    level: Level
    basis: str
    """`published`, `digest`, `memory`, `practice` or `house`."""
    clause: str | None
    over: Over | None
    limits: Limits | None = None
    bands: tuple[Band, ...] = ()
    by_patch: Mapping[str, Limits] = field(default_factory=dict, hash=False)
    reference: str = "target"
    """`target`, `white`, `centre` or `adapted`."""
    scale: str | None = None
    """`relative` or `absolute`, where it is not the target's."""
    statistic: str = "each"
    """`each`, `mean`, `percentile`, `spread` or `pairwise`."""
    percentile: float | None = None
    floor: float | None = None
    """cd/m² of nominal target below which the quantity is not judged here."""
    above_black: bool = False
    ignore_luminance: bool = False
    diagram: str = "uv"
    """gamut-coverage: `uv` or `xy`."""
    field: str | None = None
    """recorded: a field of the job."""
    declaration: str | None = None
    """declared: a declaration of the slot."""
    displays: str | None = None
    """`projector` or `direct-view`: the only kind to which the requirement applies."""

    def applies_to(self, technology: str) -> bool:
        """Whether it is for displays of a technology."""
        return self.displays in (None, "projector" if technology == "projector" else "direct-view")


@dataclass(frozen=True, slots=True)
class Decision:
    acceptance: str = "simple"
    """`simple` or `guarded`."""
    confidence: float = 0.95


@dataclass(frozen=True, slots=True)
class RuleFile:
    """A source file of the rule."""

    path: str
    """From the top of its repository, else as given; for shipped files from their folder."""
    sha256: str
    commit: str | None = None
    """The last that changed it; None if it is not known to be under version control."""
    dirty: bool | None = None
    """Whether it was changed since; None if it is not known to be under version control."""
    shipped: bool = False
    """It came with this tool."""


@dataclass(frozen=True, slots=True)
class Change:
    """A stated change of a house rule from its parent."""

    subject: str
    """Dotted key in the rule, e.g. `requirements.white-level`."""
    reason: str
    agreed_by: str
    date: date
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Archived:
    """An archived revision of a shipped rule that has a newer one, or that was replaced."""

    used: str
    """As `id@revision`."""
    newest: str
    """The newest revision of the same id, as `id@revision`; of a replaced rule in the archive."""
    replaced_by: tuple[str, ...] = ()
    """Ids of the shipped rules instead of it, if its own is no longer shipped."""

    @property
    def other(self) -> str:
        """The rule to compare the used one with: the newest revision, or what replaced it."""
        return self.replaced_by[0] if self.replaced_by else self.newest


@dataclass(frozen=True, slots=True)
class Rule:
    """One deliverable's target and requirements, resolved."""

    id: str
    title: str
    revision: int
    valid_days: int | None
    target: Target
    encoding: Encoding
    """Of the plan's code values."""
    window: float
    decision: Decision
    sets: Mapping[str, PatchSet] = field(hash=False)
    requirements: tuple[Requirement, ...]
    resolved: Mapping[str, Any] = field(hash=False)
    """The rule as plain data, parents and lists inlined, without schema defaults."""
    digest: str
    """SHA-256 of `resolved` as RFC 8785 JSON."""
    files: tuple[RuleFile, ...]
    changes: tuple[Change, ...] = ()
    extends: str | None = None
    """`id@revision` of the parent of a house rule."""
    accepts: tuple[Accepted, ...] = ()
    not_covered: tuple[NotCovered, ...] = ()
    archived: Archived | None = None
    """The rule, or the shipped rule that it extends, if that is an archived revision."""
