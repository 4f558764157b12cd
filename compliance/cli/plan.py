"""`compliance plan`: list what to measure for a slot or for rules, as a file to fill in."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from compliance.cli._assess_inputs import SUFFIXES, is_job
from compliance.cli._files import check_new_file, write_new
from compliance.cli._options import (
    OneOf,
    allow_outside_option,
    encoding_option,
    meter_option,
    out_option,
    replace_option,
    search_path,
    specs_option,
)
from compliance.cli._terminal import HYPHEN, escape_controls, write_data
from compliance.cli._text import COLUMNS, Style, wrap
from compliance.errors import UsageError
from compliance.model import ENCODINGS, PLACES, Encoding, Job, Meter, Rule, Slot
from compliance.report.words import statement_text

if TYPE_CHECKING:
    from compliance.planning.plan import MeasuringPlan

FULL = 100.0
"""% of area from which a patch is full-field."""


@click.command("plan")
@click.argument("targets", metavar="JOB|RULE...", nargs=-1, required=True)
@click.option("--slot", metavar="SLOT", help="Slot of the job; required if it has several.")
@out_option("File to write; default: standard output (-).")
@replace_option("Overwrite FILE if it already exists.")
@encoding_option("Encoding of the generator's code values; default: the job's or rule's.")
@click.option(
    "--grid",
    metavar="N",
    type=click.IntRange(2, 33),
    help="Add a grid of N points per channel, N x N x N patches, for a thorough check.",
)
@click.option(
    "--points",
    type=OneOf(["5", "9", "13"]),
    help="Add white at this number of points of the screen.",
)
@click.option(
    "--windows",
    is_flag=True,
    help="Add the peak in windows of 1 to 100 % of the screen, at once and after 60 s.",
)
@click.option("--yxy", is_flag=True, help="Leave empty columns for Y, x, y instead of X, Y, Z.")
@meter_option("Meter file, to estimate how long readings take; default: the job's.")
@specs_option()
@allow_outside_option()
def command(
    targets: tuple[str, ...],
    slot: str | None,
    out: Path | None,
    replace: bool,
    encoding: str | None,
    grid: int | None,
    points: str | None,
    windows: bool,
    yxy: bool,
    meter: Path | None,
    specs: tuple[Path, ...],
    allow_outside: bool,
) -> int:
    """List what to measure: for one slot of a JOB, or for RULEs (ids or .yaml files).

    A patch that several deliverables need is listed once. White comes at the start, middle and
    end; bright patches are spread out and followed by dark ones. The plan is CSV: fill in the
    meter's values from top to bottom, and it is a readings file.

    Exit codes: 0 plan written, 2 wrong input or call, 4 internal or I/O failure.
    """
    from compliance.meter_file import load_meter
    from compliance.planning.plan import measuring_plan
    from compliance.planning.stimuli import ExtraPatches
    from compliance.readings.csv_format import comma_separated

    asked = _asked(targets, slot, specs, allow_outside)
    known = ENCODINGS[encoding] if encoding else _encoding(asked)
    file = meter or asked.meter
    instrument = load_meter(file) if file else None
    try:
        plan = measuring_plan(
            asked.rules,
            known,
            technology=asked.technology,
            points=grid or 0,
            further=ExtraPatches(int(points or 0), windows),
            meter=instrument,
        )
    except ValueError as error:
        raise UsageError(f"--grid: {error}") from None
    data = comma_separated(plan.rows(chromaticity=yxy)).encode()
    if out is None or out == HYPHEN:
        out = None
        write_data(data)
    else:
        check_new_file(out, replace)
        write_new({out: data}, replace=replace)
    _print_summary(plan, asked, grid, instrument, out)
    return 0


# ---------------------------------------------------------------- what is asked


@dataclass(frozen=True, slots=True)
class _Asked:
    """The rules of the plan, with their job and slot if there is one."""

    rules: tuple[Rule, ...]
    job: Job | None = None
    slot: Slot | None = None

    @property
    def technology(self) -> str | None:
        return self.slot.display.technology if self.slot else None

    @property
    def meter(self) -> Path | None:
        return self.slot.meter if self.slot else None


def _asked(
    targets: Sequence[str], slot: str | None, specs: Sequence[Path], allow_outside: bool
) -> _Asked:
    from compliance.rules.library import load_rule

    jobs = [target for target in targets if is_job(target)]
    if jobs and len(targets) > 1:
        raise UsageError(f"{jobs[0]} is a job; expected one job alone, or rules alone")
    if jobs:
        return _of_job(Path(jobs[0]), slot, specs, allow_outside)
    if slot is not None:
        raise UsageError("--slot requires a job file")
    search = search_path(specs)
    return _Asked(tuple(load_rule(name, search=search) for name in dict.fromkeys(targets)))


def _of_job(path: Path, slot: str | None, specs: Sequence[Path], allow_outside: bool) -> _Asked:
    from compliance.job_file import load_job, only_slot
    from compliance.rules.library import load_rule
    from compliance.yaml_nodes.read_file import resolve_inside

    job = load_job(path, allow_outside=allow_outside, measured=False)
    names = [each.name for each in job.slots]
    if slot is None and len(names) > 1:
        raise UsageError(f"{path} has the slots {', '.join(names)}; choose one with --slot")
    job = only_slot(job, slot or names[0])
    (chosen,) = job.slots
    search = search_path(specs, path.parent)
    rules = []
    for named in chosen.deliverables:
        own = named.endswith(SUFFIXES) or len(Path(named).parts) > 1
        if own and not allow_outside and resolve_inside(path.parent, named) is None:
            raise UsageError(f"{named!r} is outside the job's folder; allow it: --allow-outside")
        rules.append(load_rule(str(path.parent / named) if own else named, search=search))
    return _Asked(tuple(rules), job, chosen)


def _encoding(asked: _Asked) -> Encoding:
    """Return the job's encoding for the slot, or the one that the rules share."""
    if asked.job is not None and asked.slot is not None:
        entry = asked.slot.readings or asked.slot.before
        return entry.encoding if entry else ENCODINGS[asked.job.document["encoding"]]
    first, *rest = asked.rules
    for rule in rest:
        if rule.encoding != first.encoding:
            raise UsageError(
                f"{first.id} is in {first.encoding.name} and {rule.id} in {rule.encoding.name}; "
                "give the generator's with --encoding"
            )
    return first.encoding


# ---------------------------------------------------------------- what is printed


def _print_summary(
    plan: MeasuringPlan, asked: _Asked, grid: int | None, meter: Meter | None, out: Path | None
) -> None:
    """Print summary and cautions: on standard error if the plan goes to standard output."""
    aside = out is None
    style = Style((sys.stderr if aside else sys.stdout).encoding or "ascii")
    lines = [*_summary(plan, asked, grid, meter), ""]
    for caution in map(statement_text, (*plan.doubts, *plan.cautions)):
        lines += _item("! ", caution)
    if out is not None:
        lines += ["", "Written:", f"  {escape_controls(str(out))}"]
    for line in lines:
        click.echo(style.text(line), err=aside)


def _summary(
    plan: MeasuringPlan, asked: _Asked, grid: int | None, meter: Meter | None
) -> list[str]:
    rules = ", ".join(rule.id for rule in plan.rules)
    whose = f"slot {asked.slot.name}: " if asked.slot else ""
    whites = sum(step.anchor for step in plan.steps)
    encoding = plan.encoding
    kind = "X′Y′Z′" if encoding.kind == "xyz" else "RGB"
    span = "narrow" if encoding.narrow else "full"
    lines = wrap(f"{whose}{rules}", COLUMNS)
    lines += _item("  ", f"{len(plan.steps)} readings of {plan.patches} patches")
    if grid:
        lines += _item("  ", f"with a grid of {grid} points, {grid**3} patches")
    lines += _item("  ", f"{encoding.name}: {encoding.bits}-bit {kind}, {span} range")
    lines += _item("  ", _fields(plan))
    lines += _item("  ", _places(plan))
    lines += _item("  ", f"white {whites} times: at the start, between and at the end")
    lines += _item("  ", _time(plan, meter))
    return lines


def _item(mark: str, text: str) -> list[str]:
    first, *rest = wrap(text, COLUMNS - len(mark))
    return [mark + first, *(" " * len(mark) + line for line in rest)]


def _fields(plan: MeasuringPlan) -> str:
    windows = sorted({step.window for step in plan.steps if step.pattern == "window"})
    parts = ["full-field patches"] if any(step.window >= FULL for step in plan.steps) else []
    if windows:
        sizes = ", ".join(f"{window:g}" for window in windows)
        parts.append(f"windows of {sizes} % of the screen's area")
    if any(step.pattern == "checkerboard" for step in plan.steps):
        parts.append(
            "a checkerboard of 4 by 4 fields, read in the middle of its black ones (practice)"
        )
    return "; ".join(parts)


def _places(plan: MeasuringPlan) -> str:
    """Say where the points are that the rows name."""
    named = dict.fromkeys(step.position for step in plan.steps)
    if set(named) == {"centre"}:
        return "at the centre"
    points = (f"{name} {PLACES[name][0]:g}/{PLACES[name][1]:g}" for name in named)
    return (
        "points, in % of the width from the left / of the height from the top (practice): "
        f"{', '.join(points)}"
    )


def _time(plan: MeasuringPlan, meter: Meter | None) -> str:
    seconds = plan.duration.seconds
    duration = f"about {max(1, round(seconds / 60))} min" if seconds < 7200 else _hours(seconds)
    source = (
        f"with {meter.name}"
        if meter and not plan.duration.assumed
        else (
            "with a typical colorimeter; for yours, give --meter FILE"
            if meter is None
            else f"partly assumed for a typical colorimeter: {meter.name} does not state both "
            "settle and reading_time"
        )
    )
    return f"{duration}, {source}; without warming up and moving the meter"


def _hours(seconds: float) -> str:
    return f"about {seconds / 3600:.1f} h"
