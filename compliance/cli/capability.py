"""`compliance capability`: check, before measuring, whether a meter can prove a rule."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from compliance.cli._assess_inputs import is_job, job_cases
from compliance.cli._options import (
    allow_outside_option,
    encoding_option,
    format_option,
    meter_option,
    search_path,
    slots_option,
    specs_option,
)
from compliance.cli._text import COLUMNS, Style, columns, print_json, wrap
from compliance.errors import JobError, MeterError, Problem, UsageError
from compliance.model import ENCODINGS, Encoding, Meter, Rule
from compliance.model.results import Adequacy, Capability
from compliance.report.capability import (
    SIGNS,
    adequacy_word,
    capability_data,
    detail,
    ratio_text,
    summary,
    title,
)

CODES = {Adequacy.INADEQUATE: 1, Adequacy.UNKNOWN: 1, Adequacy.MARGINAL: 3}
"""Exit codes; the first adequacy that occurs decides."""
WIDTHS = (1, 11, 4, COLUMNS - 22)


@click.command("capability")
@click.argument("target", metavar="RULE|JOB")
@meter_option("Meter file; default: the job's.")
@slots_option("Only this slot of the job; may be repeated.")
@encoding_option("Encoding of the code values that will be shown; default: the job's or rule's.")
@specs_option()
@allow_outside_option()
@format_option()
def command(
    target: str,
    meter: Path | None,
    slots: tuple[str, ...],
    encoding: str | None,
    specs: tuple[Path, ...],
    allow_outside: bool,
    form: str,
) -> int:
    """Check whether a meter can prove a RULE (id or .yaml file), or the rules of a JOB.

    The readings of a display exactly on the rule's target are simulated with the meter's
    uncertainty. For each requirement the result is a ratio: how many times the uncertainty
    fits into the room that the limits leave. Adequate from 3, marginal from 1. Each slot of a
    JOB is checked with its own meter and deliverables.

    Exit codes: 0 all adequate, 3 some marginal, 1 some inadequate or unknown, 2 wrong input or
    call, 4 internal or I/O failure.
    """
    from compliance.meter_file import load_meter
    from compliance.planning.meter_capability import capability

    known = ENCODINGS[encoding] if encoding else None
    of_job = is_job(target)
    if of_job:
        asked = list(_of_job(Path(target), slots, meter, known, specs, allow_outside))
    else:
        asked = [_of_rule(target, slots, meter, known, specs)]
    meters = {question.meter: load_meter(question.meter) for question in asked}
    for file, instrument in meters.items():
        _check_meter(file, instrument)
    answers = []
    for question in asked:
        instrument = meters[question.meter]
        rows = capability(question.rule, instrument, question.encoding)
        answers.append(_Answer(question, instrument, rows))
    if form == "json":
        answered = [
            capability_data(each.asked.rule, each.meter.name, each.rows, each.asked.slot)
            for each in answers
        ]
        print_json({"slots": answered} if of_job else answered[0])
    else:
        look = Style(sys.stdout.encoding or "ascii")
        blocks = ["\n".join(map(look.text, _lines(each, look))) for each in answers]
        click.echo("\n\n".join(blocks))
    present = {row.adequacy for each in answers for row in each.rows}
    return next((code for adequacy, code in CODES.items() if adequacy in present), 0)


# ---------------------------------------------------------------- what is asked


@dataclass(frozen=True, slots=True)
class _Asked:
    """A rule and the meter that should prove it."""

    rule: Rule
    meter: Path
    encoding: Encoding | None
    """None: the rule's own."""
    slot: str | None = None


@dataclass(frozen=True, slots=True)
class _Answer:
    """The result for one rule and meter."""

    asked: _Asked
    meter: Meter
    rows: Sequence[Capability]


def _of_rule(
    target: str,
    slots: Sequence[str],
    meter: Path | None,
    encoding: Encoding | None,
    specs: Sequence[Path],
) -> _Asked:
    from compliance.rules.library import load_rule

    if slots:
        raise UsageError("--slot requires a job file")
    if meter is None:
        raise UsageError("a rule requires --meter FILE; only a job names its meter")
    return _Asked(load_rule(target, search=search_path(specs)), meter, encoding)


def _of_job(
    path: Path,
    slots: Sequence[str],
    meter: Path | None,
    encoding: Encoding | None,
    specs: Sequence[Path],
    allow_outside: bool,
) -> Iterator[_Asked]:
    """Yield each slot against each of its deliverables. Raises ComplianceError."""
    for case in job_cases(path, slots, (), specs, allow_outside=allow_outside, measured=False):
        source = case.source
        if not isinstance(case.rule, Rule):
            raise case.rule
        file = meter or source.meter
        if file is None:
            message = f"missing for slot {source.name}; name a meter file, or give --meter FILE"
            raise JobError(Problem(str(path), message, field="meter"))
        yield _Asked(case.rule, file, encoding or source.encoding, source.name)


def _check_meter(file: Path, meter: Meter) -> None:
    if meter.uncertainty is None or not meter.uncertainty.luminance:
        raise MeterError(
            Problem(
                str(file),
                "has no uncertainty of luminance, which this check requires; add it from the "
                "certificate, e.g. luminance: [{from: 0.01, relative: 4}]",
                field="uncertainty",
            )
        )


# ---------------------------------------------------------------- what is printed


def _lines(answer: _Answer, look: Style) -> Iterator[str]:
    rule, meter, slot = answer.asked.rule, answer.meter, answer.asked.slot
    head = f"{rule.id}, revision {rule.revision} · meter {meter.name} ({meter.kind})"
    yield from wrap(f"slot {slot} · {head}" if slot else head, COLUMNS)
    yield ""
    for row in answer.rows:
        texts = (SIGNS[row.adequacy], adequacy_word(row), ratio_text(row), title(row))
        yield from columns([[(text, "") for text in texts]], WIDTHS, look)
        if row.adequacy is not Adequacy.ADEQUATE:
            yield from (f"    {part}" for part in wrap(detail(row), COLUMNS - 4))
    yield ""
    yield from wrap(summary(answer.rows), COLUMNS)
