"""What the sheet says, gathered from the assessment as plain data; nothing is drawn here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from compliance.model import (
    Assessment,
    Change,
    Charts,
    Rule,
    State,
    Verdict,
)
from compliance.quantities.table import QUANTITIES
from compliance.sheet.cover import Front, front_of
from compliance.sheet.particulars import Fact, Group, definitions, particulars
from compliance.sheet.rows import Open, Row, open_items, rows
from compliance.wording import (
    BASIS_WORDS,
    capital,
    decision_sentence,
    failing,
    format_date,
    format_requirement_limits,
    outcome_mark,
    outcome_sentence,
    outcome_word,
    with_uncertainty,
)
from compliance.wording.rules import changed_requirement, changed_words

__all__ = ["Content", "Stage", "gather"]


@dataclass(frozen=True, slots=True)
class Stage:
    """One set of readings as pictures and rows: before calibration, or after it."""

    name: str
    charts: Charts
    rows: tuple[Row, ...]
    word: str
    mark: Verdict
    sentence: str
    remarks: tuple[str, ...]
    open: tuple[Open, ...]
    causes: tuple[Likely, ...]
    """Likely causes of what is outside its limits, the likeliest first."""
    unexplained: bool
    """Something is outside its limits, and no cause is known."""


@dataclass(frozen=True, slots=True)
class Likely:
    """A likely cause in words."""

    title: str
    text: str
    next_step: str


@dataclass(frozen=True, slots=True)
class Content:
    """The whole sheet as text and data."""

    number: str
    running: str
    """Short title for the head of each page."""
    front: Front
    now: Stage
    before: Stage | None
    changes: tuple[Fact, ...]
    """Departures of a house rule from its parent: of what, and the words."""
    groups: tuple[Group, ...]
    definitions: tuple[Fact, ...]
    method: str
    reading: str
    """How to read interval and probability; empty without them."""
    decision: str
    bases: tuple[Fact, ...]
    cautions: tuple[str, ...]


METHOD = (
    "The meter read the light of the display patch by patch. From the code values of each patch "
    "the rule's target says what an ideal display would have shown; the quantities below compare "
    "the two, and each requirement holds one of them against its limits."
)


READING = (
    "Beside a value stand the interval that holds the true value with the probability named, then "
    "p, the probability that it lies inside its limits, and, where several patches are judged, "
    "the joint probability that all of them do, which decides nothing. Of several patches the "
    "value is that nearest its limit, and p the least of all; where that is another patch's, it is "
    "named with its own value and interval, as what is read with less certainty can be less sure "
    "though further from its limit. A value without them was judged without measurement "
    "uncertainty, or is stated and not measured."
)


def gather(assessment: Assessment) -> Content:
    """All texts of the sheet."""
    state, before = assessment.state, assessment.before
    only_before = assessment.heading == "before"
    name = "Before calibration" if only_before else "As calibrated"
    slot = assessment.slot
    running = assessment.rule.title + (f" · slot {slot.name}" if slot else "")
    return Content(
        number=assessment.number,
        running=running,
        front=front_of(assessment),
        now=_stage(assessment, state, "After calibration" if before else name),
        before=_stage(assessment, before, "Before calibration") if before else None,
        changes=tuple(_departure(change, assessment.rule) for change in assessment.rule.changes),
        groups=particulars(assessment),
        definitions=definitions(assessment),
        method=METHOD,
        reading=READING if with_uncertainty(state) else "",
        decision=decision_sentence(assessment.rule.decision, with_uncertainty(state)),
        bases=_bases(state),
        cautions=tuple(_cautions(assessment)),
    )


def _stage(assessment: Assessment, state: State, name: str) -> Stage:
    held = assessment.deviations if state is assessment.state else ()
    return Stage(
        name=name,
        charts=state.charts,
        rows=rows(state.findings, assessment.rule, held),
        word=outcome_word(state.verdict, state.conditional),
        mark=outcome_mark(state.verdict, state.conditional),
        sentence=outcome_sentence(assessment, state),
        remarks=tuple(remark.text for remark in state.remarks),
        open=open_items(state.findings),
        causes=tuple(Likely(one.title, one.text, one.next_step) for one in state.causes),
        unexplained=not state.causes and any(one.points for one in failing(state.findings)),
    )


# ---------------------------------------------------------------- last pages


def _bases(state: State) -> tuple[Fact, ...]:
    used = {finding.basis for finding in state.findings}
    return tuple(Fact(word, capital(said)) for word, said in BASIS_WORDS.items() if word in used)


def _cautions(assessment: Assessment) -> Iterable[str]:
    slot = assessment.slot
    technology = slot.display.technology if slot else None
    bright = ", above all HDR peaks," if assessment.rule.target.curve in ("pq", "hlg") else ""
    yield (
        f"Full-screen flashing patches{bright} can provoke seizures in people with "
        f"photosensitive epilepsy: warn before a measuring session, and let nobody sensitive "
        f"watch it (the general warning of ITU-R BT.1702 applies)."
    )
    if technology == "projector":
        yield (
            "Do not look into a projector's beam: measure the light from the screen. Laser "
            "projectors fall under IEC 60825-1 / IEC 62471 and local law; service is for trained, "
            "licensed staff."
        )
    if technology in ("oled", "led", "plasma", "crt"):
        yield (
            "Long runs at peak luminance can age or burn in an emissive panel: follow the "
            "maker's limits."
        )


def _departure(change: Change, rule: Rule) -> Fact:
    """A stated change: the requirement by its title, its limits now, why, who agreed and when."""
    requirement = changed_requirement(change, rule)
    now = ""
    if requirement is not None and not change.withdrawn:
        unit = QUANTITIES[requirement.quantity].unit
        now = f"Now {'; '.join(format_requirement_limits(requirement, unit))}. "
    agreed = f"agreed by {change.agreed_by}, {format_date(change.date)}"
    return Fact(changed_words(change, rule), f"{now}{capital(change.reason)} ({agreed}).")
