"""Results as plain data: what a meter can prove of a rule, and the steps of a verification."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from compliance.model.assessment import Statement
from compliance.model.jobs import Deviation
from compliance.model.rules import Requirement, Rule
from compliance.model.signatures import ArchiveStamp, Detached, Signature, Signer


class Adequacy(StrEnum):
    ADEQUATE = "adequate"
    MARGINAL = "marginal"
    INADEQUATE = "inadequate"
    UNKNOWN = "unknown"
    """The meter's file does not state what is needed."""
    NOT_RATED = "not-rated"


@dataclass(frozen=True, slots=True)
class Capability:
    """A meter's ability to prove one requirement."""

    requirement: Requirement
    unit: str
    adequacy: Adequacy
    ratio: float | None
    """C_m, limit over quantile, or limit over guard band; None: nothing known"""
    uncertainty: float | None
    """Expanded (95 %) uncertainty of the value, in the quantity's unit"""
    needed: float | None
    """Largest uncertainty for `adequate`"""
    place: str | None
    """The deciding patch, if there are several"""
    why: Statement | None = None
    """The reason, if nothing can be proven"""


@dataclass(frozen=True, slots=True)
class KnownRules:
    """The client's own copies of rules that this program does not ship."""

    digests: frozenset[str] = frozenset()
    """SHA-256 of resolved rules, those of `copies` among them."""
    copies: tuple[Rule, ...] = ()

    def find(self, name: str, revision: int) -> Rule | None:
        """Return the copy of an id and revision."""
        wanted = (name, revision)
        return next((rule for rule in self.copies if (rule.id, rule.revision) == wanted), None)


def known_rules(given: Sequence[Rule | str]) -> KnownRules:
    """Gather copies of rules and digests of rules."""
    copies = tuple(each for each in given if isinstance(each, Rule))
    digests = {each for each in given if isinstance(each, str)}
    return KnownRules(frozenset({*digests, *(copy.digest for copy in copies)}), copies)


@dataclass(frozen=True, slots=True)
class Expected:
    """The expected signers and time-stamping authorities: their certificates or their issuers'.

    `signers` sign for the facility.
    """

    signers: tuple[Signer, ...]
    stamping: tuple[Signer, ...]
    """If there is any, every signature of a sheet must have a time stamp."""
    any_signer: bool
    """Accept any signer."""
    clients: tuple[Signer, ...] = ()
    """Who may countersign and accept deviations for the client."""
    now: datetime | None = None
    """Nothing can have been signed later; None: not checked."""
    rules: KnownRules = KnownRules()
    lists: tuple[bytes, ...] = ()
    """Revocation lists (DER), beside those that a sheet contains."""
    fonts: tuple[Path, ...] = ()
    """Files of type faces, before the system's."""


class Status(StrEnum):
    """Of a step."""

    OK = "ok"
    FAIL = "fail"
    UNKNOWN = "unknown"
    """No fault was found, but nothing was proven."""
    NOT_DONE = "not done"
    """It cannot be carried out here, and states why: no fault, but nothing was proven."""


class Check(StrEnum):
    """The subject of a step."""

    INTACT = "intact"
    SIGNER = "signer"
    TIMES = "times"
    ATTACHMENTS = "attachments"
    RECOMPUTATION = "recomputation"
    PAGES = "pages"
    RULE = "rule"

    WHOLE = "whole"
    SIGNED = "signed"
    SHEETS = "sheets"
    AS_STATED = "as-stated"


SHEET_PLAN = (
    Check.INTACT,
    Check.SIGNER,
    Check.TIMES,
    Check.ATTACHMENTS,
    Check.RECOMPUTATION,
    Check.PAGES,
    Check.RULE,
)
DELIVERY_PLAN = (Check.WHOLE, Check.SIGNED, Check.SHEETS, Check.AS_STATED)


@dataclass(frozen=True, slots=True)
class Step:
    """The outcome of one step of a plan."""

    check: Check
    status: Status
    result: Statement
    details: tuple[Statement, ...] = ()

    @property
    def number(self) -> int:
        """Its number in its plan, counted from 1."""
        plan = SHEET_PLAN if self.check in SHEET_PLAN else DELIVERY_PLAN
        return plan.index(self.check) + 1


def worst_status(statuses: Sequence[Status]) -> Status:
    """The status of a step with several parts."""
    return next(each for each in (Status.FAIL, Status.UNKNOWN, Status.OK) if each in statuses)


def plan_exit_code(steps: Sequence[Step], plan: Sequence[Check]) -> int:
    """0: all correct; 1: something is broken or was not done; 3: not all could be checked."""
    statuses = {step.status for step in steps}
    if tuple(step.check for step in steps) != plan or Status.FAIL in statuses:
        return 1
    return 3 if statuses - {Status.OK} else 0


@dataclass(frozen=True, slots=True)
class Today:
    """The outcome that comes out of a sheet's evidence by this program's definitions."""

    verdict: str
    conditional: bool
    disposition: str | None


class Validity(StrEnum):
    """Of a sheet's verdict at a time."""

    CURRENT = "current"
    EXPIRED = "expired"
    NO_END = "no-end"
    """The sheet states no end."""
    UNKNOWN = "unknown"
    """Something is broken, or nothing could be read."""


class Required(StrEnum):
    """Something that a reader may require of a sheet."""

    COMPLIANT = "compliant"
    CURRENT = "current"
    COUNTERSIGNED = "countersigned"
    STAMPED = "stamped"


@dataclass(frozen=True, slots=True)
class Answer:
    """Something required, and whether a sheet has it."""

    name: Required
    met: bool | None
    """None: cannot be told."""


@dataclass(frozen=True, slots=True)
class Verification:
    """The outcome of all steps for a sheet."""

    steps: tuple[Step, ...]
    signatures: tuple[Signature, ...]
    number: str | None
    """The sheet's, as stated in its assessment."""
    verdict: str | None
    """The assessment's, as stated; what it is worth is in `today`."""
    disposition: str | None = None
    """The client's acceptance, as stated."""
    conditional: bool = False
    """Whether the verdict is stated as conditional."""
    engine: int | None = None
    """The number of the definitions that computed it, as stated."""
    replaces: str | None = None
    """The number of the sheet that it replaces, as stated."""
    today: Today | None = None
    """The outcome computed again; None if that is not possible."""
    valid_until: datetime | None = None
    """The end of the verdict's validity: the earlier of the stated and the computed one."""
    countersigned: bool | None = False
    """Whether someone signed for the client; None: someone signed and is not known as such."""
    stamps: tuple[ArchiveStamp, ...] = ()
    """Archive stamps."""

    @property
    def exit_code(self) -> int:
        """0: all correct; 1: something is broken; 3: intact, but not all could be checked."""
        return plan_exit_code(self.steps, SHEET_PLAN)

    @property
    def computed(self) -> Today | None:
        """The outcome computed again; None if that is not possible or something is broken."""
        return None if self.exit_code == 1 else self.today

    @property
    def outcomes_apart(self) -> bool:
        """Whether the outcome computed again is not the stated one."""
        stated = Today(self.verdict or "", self.conditional, self.disposition)
        return self.today is not None and self.today != stated

    @property
    def failed(self) -> list[Step]:
        """The steps that failed, in order."""
        return [step for step in self.steps if step.status is Status.FAIL]

    @property
    def is_newer(self) -> bool:
        """Whether the sheet was computed by definitions that this program does not know."""
        return any(step.result.kind == "newer-engine" for step in self.steps)

    @property
    def only_untrusted(self) -> bool:
        """Whether the only fault is that the signer is not trusted."""
        return [(step.check, step.result.kind) for step in self.failed] == [
            (Check.SIGNER, "signer")
        ]


@dataclass(frozen=True, slots=True)
class DeliveryVerification:
    """The outcome of all steps for a delivery, and of every sheet."""

    steps: tuple[Step, ...]
    sheets: Mapping[str, Verification]
    """By path in the delivery."""
    signed: bool
    """Whether the delivery itself is signed, validly or not."""

    @property
    def exit_code(self) -> int:
        """0: all correct; 1: something is broken; 3: intact, but not all could be checked."""
        return plan_exit_code(self.steps, DELIVERY_PLAN)


@dataclass(frozen=True, slots=True)
class DeviationCheck:
    """A deviation file with the results of its check."""

    file: str
    deviation: Deviation | None
    signature: Detached | None = None
    faults: tuple[str, ...] = ()
    code: int = 0
    """The exit code of this one alone."""
    any_signer: bool = False
    """No signer was expected."""
    any_authority: bool = False
    """No time-stamping authority was expected."""
