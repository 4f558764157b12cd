"""What `compliance explain` tells of one assessment document, as data and as lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from compliance.cli.layout import COLUMNS, Style, columns, pad, wrap
from compliance.cli.shapes import outcome_shape
from compliance.cli.terminal import width
from compliance.errors import DeviationError, Problem
from compliance.model import Outcome, Reason
from compliance.quantities.table import QUANTITIES
from compliance.restated import finding_of
from compliance.wording import (
    REASON_WORDS,
    format_finding_limits,
    format_number,
    format_plain,
    format_value,
    outcome_word,
    with_unit,
)

__all__ = ["explained", "lines_of", "needs_document"]

Document = Mapping[str, Any]
OUTSIDE = ("fail", "conditional-fail")
INDENT = 4
NAMED = 3
"""Missing patches named of a requirement."""
NUMBERS = 44
"""Columns of what a number is of."""


def needs_document(document: Document, file: str) -> None:
    """Raise DeviationError where a document says nothing of causes: it was made otherwise."""
    if not isinstance(document.get("causes"), list) or not isinstance(
        document.get("findings"), list
    ):
        raise DeviationError(
            Problem(
                file,
                "holds no causes; expected an assessment document as 'compliance assess' writes "
                "it; assess the job again",
                field="causes",
            )
        )


def explained(document: Document, file: str) -> dict[str, Any]:
    """What there is to tell, from a document; DeviationError where it is none of this tool's."""
    try:
        slot = document["slot"]
        return {
            "number": document["number"],
            "slot": None if slot is None else slot["slot"],
            "rule": document["rule"]["id"],
            "revision": document["rule"]["revision"],
            "verdict": document["verdict"],
            "conditional": document["conditional"],
            "outside": [_named(one) for one in _outside(document) if not _stated(one)],
            "stated": [
                {**_named(one), "value": format_value(row), "limits": format_finding_limits(row)}
                for one in _outside(document)
                if _stated(one)
                for row in [finding_of(one)]
            ],
            "open": [
                {**_named(one), "reason": one["reason"], "missing": one["missing"]}
                for one in document["findings"]
                if one["verdict"] == "not-assessed" and one["reason"] != "not-applicable"
            ],
            "causes": [dict(one) for one in document["causes"]],
            "heading": document["heading"],
            "outside_before": len(_outside(document["before"] or {"findings": []})),
            "calibration": _calibrated(document),
            "remarks": [dict(one) for one in document["remarks"]],
        }
    except (KeyError, TypeError, AttributeError) as error:
        told = f"is no assessment document of this tool ({type(error).__name__}: {error})"
        raise DeviationError(Problem(file, told)) from None


def _calibrated(document: Document) -> dict[str, Any] | None:
    """What calibration changed, each value also as the sheet prints it."""
    if document["calibration"] is None:
        return None
    told = [_printed(document["before"]), _printed(document)]
    shifts = [
        {**shift, "printed": [texts[shift["id"]] for texts in told]}
        for shift in document["calibration"]["shifts"]
    ]
    return {**document["calibration"], "shifts": shifts}


def _printed(state: Document) -> dict[str, str]:
    found = [finding_of(one) for one in state["findings"]]
    return {one.id: format_value(one, found) for one in found}


def _named(finding: Document) -> dict[str, Any]:
    return {"id": finding["id"], "title": finding["title"], "level": finding["level"]}


def _outside(document: Document) -> list[Document]:
    return [one for one in document["findings"] if one["verdict"] in OUTSIDE]


def _stated(finding: Document) -> bool:
    """Whether a value is a field of the job, which no reading explains."""
    return QUANTITIES[finding["quantity"]].values == "stated"


# ---------------------------------------------------------------- lines


def lines_of(one: Mapping[str, Any], style: Style) -> list[str]:
    """One explanation as lines of a terminal."""
    lines = [_head(one, style)]
    lines += _paragraph(_sum(one), style, 2)
    for row in one["open"] if not one["outside"] else ():
        lines += _bullet(f"{row['title']}: {_why_open(row)}", style)
    for row in one["stated"]:
        lines += _bullet(
            f"{row['title']}: {row['value']} stated, {row['limits']} asked. No reading tells why: "
            "put right the suite, or what the job says of it.",
            style,
        )
    for place, cause in enumerate(one["causes"], 1):
        lines += ["", *_cause(place, cause, style)]
    if one["calibration"] is not None:
        lines += ["", *_calibration(one["calibration"], style)]
    if one["outside_before"]:
        lines += _paragraph(_found(one["outside_before"]), style, INDENT)
    if one["remarks"]:
        lines += ["", "  Remarks"]
        for remark in one["remarks"]:
            lines += _bullet(remark["text"], style)
    return lines


def _head(one: Mapping[str, Any], style: Style) -> str:
    outcome = Outcome(one["verdict"])
    shape = outcome_shape(outcome, one["conditional"])
    word = outcome_word(outcome, one["conditional"])
    subject = f"Slot {one['slot']}" if one["slot"] is not None else "Readings"
    if one["heading"] == "before":
        subject += " before calibration"
    title = style.text(f"{subject} · {one['rule']}, revision {one['revision']}")
    verdict = style.text(f"{shape.sign} {word}")
    space = max(2, COLUMNS - width(title) - width(verdict))
    return style.ink(title, "strong") + " " * space + style.ink(verdict, shape.ink)


def _sum(one: Mapping[str, Any]) -> str:
    outside, causes = one["outside"], one["causes"]
    if not outside:
        return _nothing_outside(one)
    names = "; ".join(found["title"] for found in outside)
    count = f"{len(outside)} requirement{'s' if len(outside) > 1 else ''}"
    if not causes:
        return (
            f"Outside their limits: {count} ({names}). No known cause: none of the models that "
            "were tried fits the readings clearly better than the rule's own target."
        )
    return f"Outside their limits: {count} ({names}). Likely causes, the likeliest first:"


def _nothing_outside(one: Mapping[str, Any]) -> str:
    if any(row["level"] == "shall" for row in one["open"]):
        return "No value that could be judged lies outside its limits, but these were not judged:"
    if one["stated"]:
        return "Every value that was measured lies inside its limits. What the job states does not:"
    return "Every value that was judged lies inside its limits; there is nothing to explain."


def _why_open(row: Mapping[str, Any]) -> str:
    why = REASON_WORDS[Reason(row["reason"])] if row["reason"] else "not assessed"
    missing = row["missing"]
    more = f" and {len(missing) - NAMED} more" if len(missing) > NAMED else ""
    return f"{why}: {'; '.join(missing[:NAMED])}{more}" if missing else why


def _cause(place: int, cause: Mapping[str, Any], style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(f"{place}. {cause['title']}"), COLUMNS - 2)
    yield f"  {style.ink(first, 'strong')}"
    yield from (" " * 5 + style.ink(line, "strong") for line in rest)
    yield from _paragraph(cause["text"], style, 5)
    yield from _paragraph(f"Next: {cause['next_step']}", style, 5)
    for number in cause["evidence"]:
        value = with_unit(format_plain(_rounded(number)), number["unit"])
        what = style.text(number["what"])
        yield f"     {style.ink(pad(what, NUMBERS), 'grey')} {style.text(value)}".rstrip()


def _rounded(number: Mapping[str, Any]) -> float:
    """A share to three digits: a model's fit knows no more. Codes and levels are kept whole."""
    value = float(number["value"])
    return float(f"{value:.3g}") if number["unit"] == "%" else value


def _calibration(found: Mapping[str, Any], style: Style) -> Iterator[str]:
    yield "  What calibration changed"
    before, after, lost = found["white_before"], found["white_after"], found["lost"]
    if before is not None and after is not None and lost is not None:
        word = "lost" if lost >= 0 else "gained"
        wanted = format_plain(float(f"{found['wanted']:.3g}"))
        yield from _paragraph(
            f"Luminance {format_number(before)} to {format_number(after)}\u00a0cd/m² "
            f"({format_plain(float(f'{abs(lost):.2g}'))}\u00a0% {word}); to end at "
            f"{format_plain(found['asked'])}\u00a0cd/m² a slot wants about "
            f"{wanted} to start from.",
            style,
            INDENT,
        )
    rows = [[("requirement", "grey"), ("before", "grey"), ("after", "grey")]]
    for shift in found["shifts"]:
        rows.append([(style.text(text), "") for text in (shift["title"], *shift["printed"])])
    if len(rows) > 1:
        yield from (f"    {line}" for line in columns(rows, (36, 17, 17), style))


def _found(outside: int) -> str:
    were = "1 value was" if outside == 1 else f"{outside} values were"
    return f"Before calibration {were} outside the limits; with --before they are explained."


def _paragraph(text: str, style: Style, indent: int) -> Iterator[str]:
    return (" " * indent + line for line in wrap(style.text(text), COLUMNS - indent))


def _bullet(text: str, style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(text), COLUMNS - INDENT)
    yield style.text("  · ") + first
    yield from (" " * INDENT + line for line in rest)
