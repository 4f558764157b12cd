"""`compliance new`: a job, a meter or a rule to start from, with comments that explain it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import click

from compliance.cli._files import check_new_file, clean_name, write_new
from compliance.cli._options import (
    PATH,
    Command,
    OneOf,
    encoding_option,
    now_option,
    out_option,
    replace_option,
    search_path,
    specs_option,
    together,
)
from compliance.cli._questions import (
    DAY,
    FACTOR,
    LIGHT,
    LOWEST,
    OFFSET,
    PERCENT,
    RULE_ID,
    WORDS,
    Questions,
)
from compliance.cli._starters import (
    CURVES,
    HOURS,
    INVENTED,
    REPLACE,
    ROOM,
    Content,
    Figure,
    certificate_examples,
    deliverable,
    examples,
    fill_in,
    grey_ramp,
    house_rule,
    job_content,
    moved,
    own_requirements,
    posix,
    slot_content,
    without_hours,
)
from compliance.cli._terminal import HYPHEN, print_note, print_plain, write_data
from compliance.colour.spaces import PRIMARIES, WHITES
from compliance.errors import RuleError, UsageError
from compliance.job_file import load_job
from compliance.model import TECHNOLOGIES, Rule
from compliance.plain_data import timestamp
from compliance.rules.library import find_rule, is_path, load_rule
from compliance.yaml_nodes.read_file import resolve_inside

KINDS = ("colorimeter", "spectroradiometer")


def starter_options(out: str) -> Callable[[Command], Command]:
    """The options that all commands here share; `out` is the default name of the file."""
    return together(
        out_option(f"File to write; - for standard output. Default: {out}."),
        replace_option("Overwrite FILE if it already exists."),
        now_option("Date of the file as RFC 3339; default: now."),
        click.option(
            "--no-questions",
            "declined",
            is_flag=True,
            help="Do not ask, even at a terminal; leave open what no option gives.",
        ),
    )


DEVICE = {"make": "Make", "model": "Model", "serial": "Serial number"}


def device_options(device: str) -> Callable[[Command], Command]:
    """`--make`, `--model` and `--serial` of the display or the meter."""
    return together(
        *(
            click.option(f"--{key}", type=WORDS, help=f"{noun} of the {device}.")
            for key, noun in DEVICE.items()
        )
    )


def _ask_device(questions: Questions, given: Content, device: str) -> Content:
    """Ask for make, model and serial number; None if left open."""
    return {key: questions.ask(given[key], f"{key.capitalize()} of the {device}") for key in DEVICE}


# ---------------------------------------------------------------- files


def _check_out(out: Path, replace: bool) -> Path:
    """Check that the file can be written, before any question, and return its folder."""
    if out == HYPHEN:
        return Path()
    check_new_file(out, replace)
    return out.parent


def _write(out: Path, replace: bool, data: bytes, next_step: str) -> None:
    """Write the file and print the next step; without a file, only print the data."""
    if out == HYPHEN:
        write_data(data)
        return
    write_new({out: data}, replace=replace)
    print_plain(f"Written: {out}")
    if b" REPLACE" in data:
        print_plain("Put in your own values where it says REPLACE.")
    print_plain(f"Next: {next_step}")


# ---------------------------------------------------------------- what a job holds


def _from_answers(
    folder: Path, questions: Questions, specs: Sequence[Path], given: Content
) -> Content:
    """Make a new job from options and answers."""
    reference = questions.need(given["reference"], "--reference", "Your reference of the job")
    client = questions.ask(given["client"], "Client")
    title = questions.ask(given["title"], "What the project is called")
    named = questions.several(given["deliverables"], "Deliverables, ids of 'rules list'", ())
    if not named:
        raise UsageError("--deliverable ID is required; see 'compliance rules list' for ids")
    rules = {name: deliverable(name, folder, specs) for name in map(posix, named)}
    numbers = [str(number + 1) for number in range(len(rules))]
    names = questions.several(given["slots"], "Slots", numbers)
    suite = questions.ask(given["suite"], "Suite")
    display = _ask_device(questions, given, "display")
    kinds = f"Technology of the display ({', '.join(TECHNOLOGIES)})"
    display["technology"] = questions.ask(given["technology"], kinds, kind=OneOf(TECHNOLOGIES))
    meter = questions.ask(given["meter"], "The meter's file, from the job's folder")
    files = [f"readings/slot-{clean_name(name)}.csv" for name in names]
    _check_count(files := questions.several(given["readings"], "Readings", files), names)
    encoding = given["encoding"] or next(iter(rules.values())).encoding.name
    slots = [
        slot_content(name, part, file, given["encoding"] or next(iter(part.values())).encoding.name)
        for name, part, file in zip(names, _shared_out(rules, names), files, strict=True)
    ]
    return {
        **job_content(rules.values(), slots),
        "job": reference,
        "title": title,
        "client": {"name": client} if client else None,
        "suite": suite,
        "display": {key: value for key, value in display.items() if value is not None},
        "encoding": encoding,
        "meter": posix(meter) if meter else None,
    }


def _from_earlier(
    old: Path, folder: Path, questions: Questions, specs: Sequence[Path], given: Content
) -> Content:
    """Make a job like an earlier one; values that must be new are left open."""
    for key in ("deliverables", "slots", "make", "model", "serial", "technology", "encoding"):
        if given[key]:
            option = key.removesuffix("s") if key in ("deliverables", "slots") else key
            raise UsageError(f"give --{option} or --from, not both: the earlier job states it")
    earlier = load_job(old, allow_outside=True, measured=False)
    reference = questions.need(given["reference"], "--reference", "Your reference of the new job")
    names = [slot.name for slot in earlier.slots]
    files = [f"readings/{clean_name(reference)}-slot-{clean_name(name)}.csv" for name in names]
    _check_count(files := questions.several(given["readings"], "Readings", files), names)
    document, slots = earlier.document, []
    every: list[Rule] = []
    for slot, entry, file in zip(earlier.slots, document["slots"], files, strict=True):
        rules = {
            moved(name, old.parent, folder): deliverable(name, old.parent, specs)
            for name in slot.deliverables
        }
        every += rules.values()
        read = slot.readings or slot.before
        encoding = read.encoding.name if read else document["encoding"]
        own = slot_content(
            slot.name, rules, file, encoding, slot.warm_up, entry.get("declared", ())
        )
        own["display"] = without_hours(entry.get("display", {}))
        own["meter"] = moved(entry["meter"], old.parent, folder) if "meter" in entry else None
        own["settings"] = entry.get("settings")
        own["nominal_peak"] = slot.nominal_peak
        own["geometry"] = read.geometry if read else None
        slots.append(own)
    suite, display = document.get("suite", {}), document.get("display", {})
    meter = document.get("meter")
    return {
        **job_content(every, slots),
        "source": old.name,
        "job": reference,
        "title": given["title"] or document.get("title"),
        "client": {"name": given["client"]} if given["client"] else document.get("client"),
        "facility": document.get("facility"),
        "suite": given["suite"] or suite.get("id"),
        "room": suite.get("room", ROOM),
        "display": without_hours(display),
        "hours": display.get("hours", HOURS),
        "encoding": document["encoding"],
        "meter": given["meter"] or (moved(meter, old.parent, folder) if meter else None),
        "people": document.get("people"),
        "procedure": document.get("procedure"),
        "timezone": document.get("timezone"),
    }


def _shared_out(rules: Mapping[str, Rule], slots: Sequence[str]) -> list[Mapping[str, Rule]]:
    """Return the rules of each slot. Raises UsageError if the assignment is not clear."""
    if len(set(slots)) < len(slots):
        raise UsageError(f"--slot: {', '.join(slots)}: a name may be there only once")
    if len(slots) == 1 or len(rules) == 1:
        return [rules] * len(slots)
    if len(slots) != len(rules):
        raise UsageError(
            f"--slot: {len(slots)} slots for {len(rules)} deliverables; expected one for each, or "
            "one for all"
        )
    return [{name: rule} for name, rule in rules.items()]


def _check_count(files: Sequence[str], slots: Sequence[str]) -> None:
    if len(files) != len(slots):
        raise UsageError(
            f"--readings: {len(files)} files for {len(slots)} slots; expected one for each"
        )


def _check_inside(folder: Path, job: Content, *, only_note: bool) -> None:
    """Check that the job's files are in its folder. Raises UsageError; or only prints a note."""
    slots = job["slots"]
    files = [job["meter"], *(slot[key] for slot in slots for key in ("meter", "readings"))]
    for slot in slots:
        named = slot["deliverable"]
        files += filter(is_path, [named] if isinstance(named, str) else named)
    for file in dict.fromkeys(filter(None, files)):
        if resolve_inside(folder, file) is None:
            if not only_note:
                raise UsageError(f"{file!r} is outside the job's folder; expected a file inside it")
            print_note(f"{file!r} is outside the job's folder; commands need --allow-outside")


def _uncertainties(kind: str, questions: Questions, given: Content) -> Content:
    """Return the numbers of the certificate; invented ones are marked."""
    asked = {
        "k": ("Its coverage factor k", 2.0, FACTOR),
        "luminance": ("Its uncertainty of the luminance, in %", None, PERCENT),
        "chromaticity": ("Its uncertainty of x and y, e.g. 0.0015", None, OFFSET),
        "lowest": ("Lowest luminance it measures, in cd/m²", None, LOWEST),
    }
    found: Content = {"slow": INVENTED[kind]["slow"], "quick": INVENTED[kind]["quick"]}
    for key, (question, usual, form) in asked.items():
        answer = questions.ask(given[key], question, usual, form)
        invented = answer is None or (key == "k" and given[key] is None and not questions.asking)
        value = INVENTED[kind][key] if answer is None else float(answer)
        found[key] = Figure(value, REPLACE if invented else "")
    luminance, chromaticity = found["luminance"].value, found["chromaticity"].value
    found["dark_luminance"] = Figure(min(_rounded(2 * luminance), 100), REPLACE)
    found["dark_chromaticity"] = Figure(min(_rounded(2.5 * chromaticity), 1), REPLACE)
    found["dark_from"] = found["lowest"].value if 0 < found["lowest"].value < 1 else 0.003
    return found


# ---------------------------------------------------------------- what a rule holds


def _rounded(value: float) -> float:
    return float(f"{value:.2g}")


def _own_rule(name: str, out: Path, questions: Questions, given: Content) -> bytes:
    """Make a rule without a parent: a target, invented limits, an example of every quantity."""
    kinds = ", ".join(CURVES)
    curve = questions.ask(given["curve"], f"Curve ({kinds})", "bt1886", OneOf(list(CURVES)))
    start = CURVES[curve]
    names = list(PRIMARIES)
    question = f"Primaries ({', '.join(names)})"
    primaries = questions.ask(given["primaries"], question, start.primaries, OneOf(names))
    names = list(WHITES)
    question = f"White point ({', '.join(names)})"
    white = questions.ask(given["white"], question, start.white, OneOf(names))
    main = "peak" if "peak" in start.luminance else "white"
    question = f"Luminance of the {main}, in cd/m²"
    level = float(questions.ask(given["luminance"], question, start.luminance[main], LIGHT))
    luminance = {"white": min(start.luminance["white"], level), main: level}
    title = questions.ask(given["title"], "Title", name.replace("-", " ").capitalize())
    transfer = {"curve": curve, **({"exponent": start.exponent} if start.stated else {})}
    return fill_in(
        "rule",
        rule=name,
        file=out.name,
        title=title,
        primaries=", ".join(PRIMARIES),
        whites=", ".join(WHITES),
        curves=kinds,
        target={
            "primaries": primaries,
            "white": white,
            "transfer": transfer,
            "luminance": luminance,
            "container": start.container,
        },
        encoding=given["encoding"] or start.encoding,
        window=start.window,
        grey=grey_ramp(luminance),
        requirements=own_requirements(luminance),
        examples=examples(start, luminance),
    )


# ---------------------------------------------------------------- the commands


@click.group("new")
def command() -> None:
    """Write a job, a meter or a rule to start from, with comments that explain it.

    At a terminal, asks for values that no option gives; otherwise leaves them open.
    """


@command.command("job")
@click.option("--from", "old", metavar="OLD.yaml", type=PATH, help="Copy from an earlier job.")
@click.option("--reference", type=WORDS, help="Your reference of the job.")
@click.option("--client", type=WORDS, help="Name of the client.")
@click.option("--title", type=WORDS, help="Name of the project.")
@click.option(
    "--deliverable",
    "deliverables",
    metavar="ID|FILE",
    multiple=True,
    help="A rule that the display must meet; may be repeated, one slot for each.",
)
@click.option(
    "--slot",
    "slots",
    metavar="SLOT",
    multiple=True,
    type=WORDS,
    help="Name of a slot; may be repeated, in the order of the deliverables. One slot takes all "
    "of them. Default: 1, 2, …",
)
@click.option(
    "--readings",
    metavar="FILE",
    multiple=True,
    type=WORDS,
    help="Readings of a slot, from the job's folder; may be repeated, in the order of the slots.",
)
@click.option("--suite", type=WORDS, help="The room.")
@device_options("display")
@click.option(
    "--technology",
    type=OneOf(TECHNOLOGIES),
    help=f"Technology of the display: {', '.join(TECHNOLOGIES)}.",
)
@click.option("--meter", metavar="FILE", type=WORDS, help="Meter file, from the job's folder.")
@encoding_option("Encoding of the code values; default: that of the deliverables.")
@specs_option()
@starter_options("job.yaml")
def new_job(
    old: Path | None,
    out: Path | None,
    replace: bool,
    declined: bool,
    now: datetime,
    specs: tuple[Path, ...],
    **given: Any,
) -> None:
    """Write a job file.

    With --from, names, display, meter, slots and settings are copied from an earlier job;
    comments, times, readings and declarations are not.
    """
    out = out or Path("job.yaml")
    folder = _check_out(out, replace)
    questions = Questions(declined)
    if old is not None:
        job = _from_earlier(old, folder, questions, specs, given)
    else:
        job = _from_answers(folder, questions, specs, given)
    _check_inside(folder, job, only_note=old is not None)
    data = fill_in(
        "job",
        **job,
        now=timestamp(now),
        before=timestamp(now - timedelta(hours=2)),
        started=timestamp(now - timedelta(minutes=20)),
        calibrated=timestamp(now - timedelta(hours=1)),
        today=now.date().isoformat(),
        technologies=", ".join(TECHNOLOGIES),
    )
    slot = job["slots"][0]["name"]
    step = f"compliance plan {out} --slot {slot}, which lists what to measure"
    _write(out, replace, data, step)


@command.command("meter")
@click.option("--name", type=WORDS, help="A name of your own for the meter.")
@click.option(
    "--kind", type=OneOf(KINDS), help="colorimeter (a filter meter) or spectroradiometer."
)
@device_options("meter")
@click.option("--certificate", "number", type=WORDS, help="Number of the calibration certificate.")
@click.option("--laboratory", type=WORDS, help="Laboratory that issued the certificate.")
@click.option("--issued", metavar="DATE", type=DAY, help="Date of the certificate.")
@click.option("--due", metavar="DATE", type=DAY, help="Date when the next calibration is due.")
@click.option("--k", type=FACTOR, help="Coverage factor of the certificate.")
@click.option(
    "--luminance",
    metavar="PERCENT",
    type=PERCENT,
    help="Uncertainty of the luminance, in %.",
)
@click.option(
    "--chromaticity",
    metavar="XY",
    type=OFFSET,
    help="Uncertainty of x and y.",
)
@click.option(
    "--lowest",
    metavar="CD/M2",
    type=LOWEST,
    help="Lowest luminance that the meter measures.",
)
@starter_options("NAME.yaml")
def new_meter(out: Path | None, replace: bool, declined: bool, now: datetime, **given: Any) -> None:
    """Write a meter file, to fill in from the calibration certificate.

    Values that no option gives are invented, and marked REPLACE.
    """
    questions = Questions(declined)
    kind = questions.need(given["kind"], "--kind", f"Kind ({' or '.join(KINDS)})", OneOf(KINDS))
    name = questions.ask(given["name"], "Name of the meter", f"{kind}-1")
    out = out or Path(f"{clean_name(name)}.yaml")
    _check_out(out, replace)
    asked = {
        "number": questions.ask(given["number"], "Number of the calibration certificate"),
        "laboratory": questions.ask(given["laboratory"], "Laboratory that issued it"),
        "issued": questions.ask(given["issued"], "Issued on, e.g. 2026-03-02", kind=DAY),
        "due": questions.ask(given["due"], "Due on, e.g. 2027-03-02", kind=DAY),
    }
    certificate = {key: value for key, value in asked.items() if value is not None}
    if certificate.get("due", "9") < certificate.get("issued", "0"):
        raise UsageError(f"--due: {certificate['due']} is before {certificate['issued']}, --issued")
    given |= _ask_device(questions, given, "meter")
    data = fill_in(
        "meter",
        name=name,
        kind=kind,
        given=given,
        certificate=certificate,
        certificate_examples=certificate_examples(now),
        today=now.date().isoformat(),
        **_uncertainties(kind, questions, given),
    )
    step = f"compliance capability RULE --meter {out}, which says whether it can prove a rule"
    _write(out, replace, data, step)


@command.command("rule")
@click.option("--id", "name", metavar="ID", type=RULE_ID, help="Id of the new rule.")
@click.option(
    "--extends",
    metavar="ID",
    type=RULE_ID,
    help="Rule to extend; without it, the new rule is complete in itself.",
)
@click.option("--title", type=WORDS, help="Title that the client reads.")
@click.option("--curve", type=OneOf(list(CURVES)), help="Without --extends: the target's curve.")
@click.option("--primaries", type=OneOf(list(PRIMARIES)), help="Without --extends: its primaries.")
@click.option("--white", type=OneOf(list(WHITES)), help="Without --extends: its white point.")
@click.option(
    "--luminance",
    metavar="CD/M2",
    type=LIGHT,
    help="Without --extends: luminance of its white, for pq and hlg of its peak.",
)
@encoding_option("Without --extends: encoding that the plan writes.")
@specs_option()
@starter_options("ID.yaml")
def new_rule(
    name: str | None,
    extends: str | None,
    out: Path | None,
    replace: bool,
    declined: bool,
    now: datetime,
    specs: tuple[Path, ...],
    **given: Any,
) -> None:
    """Write a rule file: one that extends another, or one of its own.

    The first lists the parent's requirements, ready to change; the second has an example of
    every quantity. Its limits are invented, and marked REPLACE.
    """
    questions = Questions(declined)
    name = questions.need(name, "--id", "Id of the rule", RULE_ID)
    file = f"{name}.yaml"
    if out is not None and out != HYPHEN and out.name != file:
        raise UsageError(f"--out: a rule's file is named after its id; expected {file}")
    out = out or Path(file)
    folder = _check_out(out, replace)
    search = search_path(specs, folder)
    _check_new_id(name, search, out)
    own = [key for key, value in given.items() if value is not None and key != "title"]
    if extends is None and not own:
        extends = questions.ask(
            None, "Rule to extend, an id of 'compliance rules list'", kind=RULE_ID
        )
    if extends is None:
        data = _own_rule(name, out, questions, given)
    elif own:
        raise UsageError(f"give --{own[0]} or --extends, not both: the parent states it")
    else:
        data = house_rule(name, load_rule(extends, search=search), file, given["title"], now)
    _write(out, replace, data, f"compliance rules show {out}")


def _check_new_id(name: str, search: Sequence[Path], out: Path) -> None:
    """Check that no other rule has the id. Raises UsageError."""
    try:
        other = find_rule(name, search=search)
    except RuleError:
        return  # there is none of that name
    if other.resolve() != out.resolve():
        raise UsageError(f"--id: {name!r} already belongs to {other}; choose another")
