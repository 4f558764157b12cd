"""The words for verdicts, limits, numbers and times, the same in every report.

Pure functions of the model: the sheet and the text report both speak with them,
so that the two never say the same thing in two ways. Nothing here decides.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from statistics import NormalDist

from compliance.model import (
    Assessment,
    Decision,
    Finding,
    Level,
    Limits,
    NotJudged,
    Outcome,
    Over,
    Point,
    Reason,
    Requirement,
    State,
    Value,
    Verdict,
)
from compliance.quantities.table import QUANTITIES

__all__ = [
    "BASIS_WORDS",
    "NOT_STATED",
    "OUTCOME_WORDS",
    "REASON_WORDS",
    "VERDICT_WORDS",
    "applies",
    "basis_words",
    "decision_sentence",
    "failing",
    "format_date",
    "format_finding_limits",
    "format_limits",
    "format_number",
    "format_plain",
    "format_point_value",
    "format_requirement_limits",
    "format_time",
    "format_value",
    "outcome_sentence",
    "outcome_word",
    "over_words",
    "point_name",
    "verdict_word",
    "with_uncertainty",
    "with_unit",
]

NOT_STATED = "not stated"
NONE = "–"
MINUS = "−"
MOST_DECIMALS = 17

VERDICT_WORDS: Mapping[Verdict, str] = {
    Verdict.PASS: "pass",
    Verdict.CONDITIONAL_PASS: "conditional pass",
    Verdict.CONDITIONAL_FAIL: "conditional fail",
    Verdict.FAIL: "fail",
    Verdict.NOT_ASSESSED: "not assessed",
}

OUTCOME_WORDS: Mapping[Outcome, str] = {
    Outcome.COMPLIANT: "compliant",
    Outcome.NOT_COMPLIANT: "not compliant",
    Outcome.UNDECIDED: "undecided",
}

REASON_WORDS: Mapping[Reason, str] = {
    Reason.MISSING_READINGS: "readings are missing",
    Reason.METER: "beyond what the meter can tell",
    Reason.UNCERTAINTY: "the measurement uncertainty leaves it open",
    Reason.NOT_APPLICABLE: "does not apply to this kind of display",
}

BASIS_WORDS: Mapping[str, str] = {
    "published": "stands in the published document named",
    "digest": "of a published document, read in a public digest of it, not in the original",
    "memory": "recalled from a published document, unchecked",
    "practice": "what the trade does; no source",
    "house": "set in-house or agreed with the client",
}


# ---------------------------------------------------------------- numbers


def format_plain(value: float) -> str:
    """A stated number as a person writes it: no exponent, no dust, a true minus sign."""
    if not math.isfinite(value):
        return NONE
    text = f"{Decimal(f'{value:.9g}'):f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", MINUS)


def format_number(value: float, limits: Limits | None = None, *, signed: bool = False) -> str:
    """A value with digits enough to be told from each of its limits.

    The number of decimals follows the size of the limits, four digits without any;
    more are added until the printed value lies on the same side of each limit as
    the value itself. `signed` puts a plus before a positive one.
    """
    if not math.isfinite(value):
        return NONE
    ends = _ends(limits)
    decimals = _decimals(value, limits)
    text = _fixed(value, decimals)
    while decimals < MOST_DECIMALS and not _same_side(value, text, ends):
        decimals += 1
        text = _fixed(value, decimals)
    if float(text) == 0:
        return text.lstrip("-")
    sign = "+" if signed and value > 0 else ""
    return sign + text.replace("-", MINUS)


def _fixed(value: float, decimals: int) -> str:
    step = Decimal(1).scaleb(-decimals)
    return f"{Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_EVEN):f}"


def _ends(limits: Limits | None) -> tuple[float, ...]:
    if limits is None:
        return ()
    if limits.box is not None:
        return tuple(sign * width for width in limits.box for sign in (-1, 1))
    return tuple(end for end in (limits.minimum, limits.maximum) if end is not None)


def _decimals(value: float, limits: Limits | None) -> int:
    scale = _scale(limits)
    if scale == 0:
        size = abs(value)
        return max(0, 3 - math.floor(math.log10(size))) if size > 0 else 0
    fine = 1 if _two_sided(limits) or scale < 0.01 else 2
    return max(0, fine - math.floor(math.log10(scale) + 1e-9))


def _scale(limits: Limits | None) -> float:
    if limits is None:
        return 0.0
    if limits.box is not None:
        return min(limits.box)
    if limits.minimum is not None and limits.maximum is not None:
        return (limits.maximum - limits.minimum) / 2
    return max((abs(end) for end in _ends(limits)), default=0.0)


def _two_sided(limits: Limits | None) -> bool:
    if limits is None or limits.minimum is None or limits.maximum is None:
        return False
    return limits.minimum != -limits.maximum


def _same_side(value: float, text: str, ends: Iterable[float]) -> bool:
    shown = float(text)
    return all((shown > end) == (value > end) and (shown < end) == (value < end) for end in ends)


def with_unit(text: str, unit: str) -> str:
    """`text` and its unit with a no-break space; plain numbers have none."""
    return text if unit in ("1", "", "as the field") or text == NONE else f"{text}\u00a0{unit}"


# ---------------------------------------------------------------- limits


def format_limits(limits: Limits | None, unit: str = "1") -> str:
    """Limits in plain language, e.g. `at most 0.05 cd/m²`, `100 ± 5 cd/m²`, `± 5 %`."""
    if limits is None:
        return NONE
    if limits.box is not None:
        dx, dy = (format_plain(width) for width in limits.box)
        return f"x\u00a0±\u00a0{dx}, y\u00a0±\u00a0{dy}"
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None:
        return _interval(low, high, limits, unit)
    if high is not None:
        return f"{'below' if limits.exclusive else 'at most'} {_quantity(high, unit)}"
    if low is not None:
        return f"{'above' if limits.exclusive else 'at least'} {_quantity(low, unit)}"
    return NONE


def _quantity(value: float, unit: str) -> str:
    return with_unit(format_plain(value), unit)


def _interval(low: float, high: float, limits: Limits, unit: str) -> str:
    inside = "inside " if limits.exclusive else ""
    if low == -high:
        return inside + with_unit(f"±\u00a0{format_plain(high)}", unit)
    centre = limits.nominal
    if centre is not None and math.isclose(high - centre, centre - low, rel_tol=1e-9):
        half = format_plain(high - centre)
        return inside + with_unit(f"{format_plain(centre)}\u00a0±\u00a0{half}", unit)
    return f"{inside}{format_plain(low)} to {_quantity(high, unit)}"


def _says_yes(quantity: str, limits: Limits | None) -> str | None:
    """`yes` or `no` where a declaration is limited to just that."""
    if quantity != "declared" or limits is None:
        return None
    if limits.minimum == 1 and limits.maximum in (None, 1):
        return "yes"
    if limits.maximum == 0 and limits.minimum in (None, 0):
        return "no"
    return None


def format_requirement_limits(requirement: Requirement, unit: str) -> tuple[str, ...]:
    """All limits of a requirement, one line per band or group of patches."""
    if requirement.bands:
        return tuple(_band_lines(requirement, unit))
    if requirement.by_patch:
        grouped: dict[Limits, list[str]] = {}
        for name, limits in requirement.by_patch.items():
            grouped.setdefault(limits, []).append(name)
        return tuple(
            f"{', '.join(names)}: {format_limits(limits, unit)}"
            for limits, names in grouped.items()
        )
    yes = _says_yes(requirement.quantity, requirement.limits)
    return (yes or format_limits(requirement.limits, unit),)


def _band_lines(requirement: Requirement, unit: str) -> Iterable[str]:
    below: float | None = None
    for band in requirement.bands:
        text = format_limits(band.limits, unit)
        if band.upto is not None:
            yield f"{text} up to {format_plain(band.upto)}\u00a0cd/m²"
        elif below is not None:
            yield f"{text} above {format_plain(below)}\u00a0cd/m²"
        else:
            yield text
        below = band.upto


def format_finding_limits(finding: Finding) -> str:
    """The limits that decided a finding, in plain language."""
    return _says_yes(finding.quantity, finding.limits) or format_limits(
        finding.limits, finding.unit
    )


# ---------------------------------------------------------------- values


def _value(value: Value | None, limits: Limits | None, quantity: str, unit: str) -> str:
    if value is None:
        return NONE
    if isinstance(value, tuple):
        x, y = (format_number(part, limits, signed=True) for part in value)
        return f"x\u00a0{x}, y\u00a0{y}"
    if _says_yes(quantity, limits) and value in (0, 1):
        return "yes" if value else "no"
    row = QUANTITIES.get(quantity)
    text = format_number(value, limits, signed=row is not None and row.signed)
    return with_unit(text, unit)


def format_value(finding: Finding) -> str:
    """A finding's value with unit, its digits told from the limit; `–` without one."""
    text = _value(finding.value, finding.limits, finding.quantity, finding.unit)
    return f"at least {text}" if finding.bound == "at-least" and text != NONE else text


def format_point_value(point: Point, finding: Finding) -> str:
    """A point's value with unit, its digits told from its own limits."""
    return _value(point.value, point.limits, finding.quantity, finding.unit)


def point_name(point: Point | NotJudged) -> str:
    """A point as named to a person: its name and, off centre, where."""
    name = point.name or " ".join(str(code) for code in point.patch)
    if point.position == "centre" or name.endswith(point.position):
        return name
    return f"{name}, {point.position}"


# ---------------------------------------------------------------- verdicts


def verdict_word(verdict: Verdict, reason: Reason | None = None) -> str:
    """The printed word of a finding's verdict."""
    if reason is Reason.NOT_APPLICABLE:
        return "not applicable"
    return VERDICT_WORDS[verdict]


def outcome_word(verdict: Outcome, conditional: bool = False) -> str:
    """The printed word of an assessment's verdict."""
    word = OUTCOME_WORDS[verdict]
    if not conditional or verdict is Outcome.UNDECIDED:
        return word
    return f"conditionally {word}"


def basis_words(basis: str) -> str:
    """What one of the five words for a limit's basis means."""
    return BASIS_WORDS.get(basis, basis)


def applies(finding: Finding) -> bool:
    """Whether the requirement is for this kind of display at all."""
    return finding.reason is not Reason.NOT_APPLICABLE


def failing(findings: Iterable[Finding], level: Level = Level.SHALL) -> tuple[Finding, ...]:
    """The findings of one level that lie outside their limits."""
    outside = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
    return tuple(row for row in findings if row.level is level and row.verdict in outside)


def with_uncertainty(state: State) -> bool:
    """Whether any finding was decided with a probability."""
    return any(finding.probability is not None for finding in state.findings)


def outcome_sentence(assessment: Assessment, state: State | None = None) -> str:
    """The verdict as one plain sentence about the slot, or the display without a job."""
    state = state or assessment.state
    slot = assessment.slot
    subject = f"Slot {slot.name}" if slot else "The display"
    before = state is assessment.before or assessment.heading == "before"
    when = "Before calibration, " if before else ""
    subject = subject if not when else subject[0].lower() + subject[1:]
    said = f"{when}{subject}, as measured,"
    shall = [row for row in state.findings if row.level is Level.SHALL and applies(row)]
    if state.verdict is Outcome.COMPLIANT:
        near = (
            "; at least one value lies so near its limit that the measurement uncertainty "
            "reaches across it"
            if state.conditional
            else ""
        )
        return f"{said} meets every requirement of {assessment.rule.title}{near}."
    if state.verdict is Outcome.NOT_COMPLIANT:
        return _not_compliant(said, assessment, state, len(shall))
    return _undecided(said, assessment, state, shall)


def _not_compliant(said: str, assessment: Assessment, state: State, count: int) -> str:
    missed = failing(state.findings)
    which = f"{len(missed)} of the {count} requirements" if count > 1 else "the requirement"
    near = "; the measurement uncertainty reaches across the limit" if state.conditional else ""
    return f"{said} does not meet {which} of {assessment.rule.title}{near}."


def _undecided(said: str, assessment: Assessment, state: State, shall: list[Finding]) -> str:
    subject = said.removesuffix(", as measured,")
    subject = subject if subject.startswith("Before") else subject[0].lower() + subject[1:]
    lead = f"Whether {subject} meets {assessment.rule.title} cannot be said"
    if subject.startswith("Before"):
        lead = f"{subject}: whether it met {assessment.rule.title} cannot be said"
    open_ones = [row for row in shall if row.verdict is Verdict.NOT_ASSESSED]
    if state.reason is Reason.UNCERTAINTY or not open_ones:
        return f"{lead}: {REASON_WORDS[state.reason or Reason.UNCERTAINTY]}."
    why = REASON_WORDS[state.reason] if state.reason else "they could not be assessed"
    if state.reason is Reason.METER:
        why = "what they ask is beyond what the meter can tell"
    how_many = f"{len(open_ones)} of the {len(shall)} requirements"
    joint = "for" if state.reason is Reason.MISSING_READINGS else "of"
    if joint == "for":
        return f"{lead}: {why} for {how_many}."
    return f"{lead}: {how_many} stay open; {why}."


# ---------------------------------------------------------------- sentences


def decision_sentence(decision: Decision, uncertain: bool) -> str:
    """The decision rule in words (ILAC-G8:09/2019, JCGM 106:2012).

    `uncertain` says whether the measurement uncertainty was evaluated at all.
    """
    risk = format_plain(round(100 * (1 - decision.confidence), 6))
    factor = f"{NormalDist().inv_cdf(decision.confidence):.2f}"
    if decision.acceptance == "guarded":
        rule = (
            f"Guarded acceptance: a value counts as met when it lies inside its limit by a guard "
            f"band of {factor}\u00a0u, u being its standard uncertainty; the risk of wrongly "
            f"accepting it is then at most {risk}\u00a0%, for each value taken alone and with a "
            f"flat prior."
        )
        if not uncertain:
            rule += (
                " The values were judged without measurement uncertainty, so that none of those "
                "measured can be accepted in this way."
            )
            return rule
        return f"{rule} {_together()}"
    if not uncertain:
        return (
            "Simple acceptance (guard band 0): each value is compared with its limit as measured, "
            "without measurement uncertainty. For a value near its limit the risk of wrongly "
            "accepting it is up to 50\u00a0%, for each value taken alone."
        )
    return (
        f"Simple acceptance (guard band 0): a value inside its limit is accepted, and the risk of "
        f"wrongly accepting one near it is up to 50\u00a0%. It is called pass only when it lies "
        f"inside by {factor}\u00a0u, u being its standard uncertainty, so that the risk is at most "
        f"{risk}\u00a0%, for each value taken alone and with a flat prior; conditional pass else. "
        f"{_together()}"
    )


def _together() -> str:
    return (
        "This is no statement about all values together, for which the joint probability is "
        "printed."
    )


def over_words(over: Over | None) -> str:
    """Which patches a requirement is about, in short words; empty where roles are fixed."""
    if over is None:
        return ""
    parts = [", ".join(over.patches)]
    if over.signal is not None:
        low, high = (format_plain(100 * end) for end in over.signal)
        parts.append(f"signal {low} to {high}\u00a0%")
    if over.target is not None:
        low, high = (format_plain(end) for end in over.target)
        parts.append(f"target {low} to {high}\u00a0cd/m²")
    if over.position:
        parts.append("at " + ", ".join(over.position))
    if over.window:
        parts.append("window " + ", ".join(format_plain(size) for size in over.window) + "\u00a0%")
    if over.pattern:
        parts.append(over.pattern)
    if over.seconds:
        parts.append("after " + ", ".join(format_plain(time) for time in over.seconds) + "\u00a0s")
    if over.only:
        parts.append("only " + ", ".join(over.only))
    if over.exclude:
        parts.append("except " + ", ".join(over.exclude))
    return "; ".join(parts)


# ---------------------------------------------------------------- times


def format_time(moment: datetime | None) -> str:
    """An instant in UTC to the minute, e.g. `2026-11-20 15:10 UTC`."""
    if moment is None:
        return NOT_STATED
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def format_date(day: date | datetime | None) -> str:
    """A date as `2026-11-20`; an instant's is its UTC date."""
    if day is None:
        return NOT_STATED
    if isinstance(day, datetime):
        day = day.astimezone(UTC).date()
    return day.isoformat()
