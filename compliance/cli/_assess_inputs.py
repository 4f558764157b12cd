"""The inputs of an assessment: each slot against each of its deliverables, or one bare file.

Rules are read first, because they name the outputs; readings and meters only when it is
their slot's turn, so that a bad file fails its own slot alone.

Every mistake that can be found beforehand is found before anything is computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path

import click
from click.core import ParameterSource

from compliance.cli._files import (
    check_folder,
    check_targets,
    clean_name,
    lock_folder,
    read_sheet,
)
from compliance.cli._identity_options import NAMES, KeyOptions
from compliance.cli._options import BARE_ONLY, NOT_FOR_JOBS, search_path
from compliance.cli._text import COLUMNS, wrap
from compliance.errors import ComplianceError, JobError, Problem, UsageError
from compliance.model import (
    CHROMATICITY_FLOOR,
    ENCODINGS,
    TECHNOLOGIES,
    Assessment,
    Deviation,
    Display,
    Encoding,
    Job,
    Measurement,
    Meter,
    Readings,
    ReadingsEntry,
    Rule,
    Slot,
)
from compliance.model.stated import StatedAssessment
from compliance.yaml_nodes.nodes import kind_of
from compliance.yaml_nodes.read_file import read_bytes, read_yaml, resolve_inside

SUFFIXES = (".yaml", ".yml")

MADE = (".json", ".pdf")
"""Suffixes of files that contain a finished assessment."""


Place = tuple[Path, Encoding | None]
"""A file of readings and the encoding of its code values; None: the file must state it."""


@dataclass(slots=True)
class SlotInputs:
    """The files of one slot's readings and meter; each is read once."""

    name: str
    """The slot's name; for bare readings the file's."""
    job: Job | None
    """Reduced to this slot."""
    readings: Place | None
    before: Place | None
    meter: Path | None
    display: Display | None = None
    """For bare readings only; a job states its own."""
    form: str | None = None
    """The format that the readings must have, if one is required."""
    _read: tuple[Readings | None, Readings | None, Meter | None] | None = field(default=None)

    def read(self) -> tuple[Readings | None, Readings | None, Meter | None]:
        """Read readings, readings before calibration, and meter."""
        if self._read is None:
            from compliance.meter_file import load_meter

            meter = load_meter(self.meter) if self.meter else None
            floor = meter.chromaticity_floor if meter else CHROMATICITY_FLOOR
            readings = _load(self.readings, floor, self.form)
            self._read = readings, _load(self.before, floor, self.form), meter
        return self._read

    @property
    def encoding(self) -> Encoding | None:
        """The encoding of the slot's readings, else the one that the job states for all slots."""
        place = self.readings or self.before
        if place is not None:
            return place[1]
        return ENCODINGS[self.job.document["encoding"]] if self.job else None

    def files(self) -> Iterator[Path]:
        """Yield the files that are read."""
        if self.job is not None:
            yield self.job.file
            yield from self.job.deviations
        for place in (self.readings, self.before):
            if place is not None:
                yield place[0]
        if self.meter is not None:
            yield self.meter


def _load(place: Place | None, floor: float, form: str | None) -> Readings | None:
    if place is None:
        return None
    from compliance.readings.load import load_readings

    path, encoding = place
    return load_readings(path, encoding, floor=floor, form=form)


@dataclass(frozen=True, slots=True)
class WorkItem:
    """One slot against one deliverable."""

    source: SlotInputs
    named: str
    """The deliverable as the job or the call names it."""
    rule: Rule | ComplianceError
    """The rule, or the error that kept it from being read."""

    @property
    def deliverable(self) -> str:
        """The rule's id, or the name given if the rule could not be read."""
        return self.rule.id if isinstance(self.rule, Rule) else self.named

    def assess(self, now: datetime, *, as_found: bool = False) -> Assessment:
        """Read the remaining files and judge; `as_found`: the readings before calibration.

        Raises ComplianceError.
        """
        from compliance.assessment import assess

        return assess(self.measurement(as_found=as_found), now=now)

    def measurement(
        self, deviations: Sequence[Deviation] = (), *, as_found: bool = False
    ) -> Measurement:
        """Read the remaining files; `as_found`: the readings before calibration.

        Raises ComplianceError.
        """
        if not isinstance(self.rule, Rule):
            raise self.rule
        readings, before, meter = self.source.read()
        if as_found and before is None:
            raise UsageError(f"slot '{self.source.name}' has no readings before calibration")
        return Measurement(
            rule=self.rule,
            readings=None if as_found else readings,
            before=before,
            job=self.source.job,
            meter=meter,
            display=self.source.display,
            deviations=tuple(deviations),
        )


class _Rules:
    """Reads each rule once."""

    def __init__(self, search: Sequence[Path]) -> None:
        self._search = search
        self._known: dict[str, Rule | ComplianceError] = {}

    def find(self, reference: str) -> Rule | ComplianceError:
        """Find a rule by id, or by the path of its file."""
        from compliance.rules.library import load_rule

        if reference not in self._known:
            try:
                self._known[reference] = load_rule(reference, search=self._search)
            except ComplianceError as error:
                self._known[reference] = error
        return self._known[reference]


def _is_path(reference: str) -> bool:
    return reference.endswith(SUFFIXES) or len(Path(reference).parts) > 1


def check_target(path: Path) -> None:
    """Check that `path` can be a job or readings: a file that exists. Raises UsageError.

    Why an existing file cannot be read is reported when it is read.
    """
    expected = "expected a job's .yaml file or a file of readings"
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise UsageError(f"{path}: no such file; {expected}") from None
    except OSError:
        return
    if path.is_dir():
        job = path / "job.yaml"
        near = f"did you mean {job}?" if job.is_file() else expected
        raise UsageError(f"{path}: is a folder; {near}")
    if path.suffix.lower() in MADE:
        raise UsageError(
            f"{path}: has the name of a finished assessment, for 'compliance explain' or "
            f"'compliance verify'; {expected}"
        )


def is_job(target: str) -> bool:
    """Return whether a job or a rule is named, as a job is. Raises JobError if it is not YAML."""
    if not target.endswith(SUFFIXES):
        return False
    node = read_yaml(read_bytes(target, JobError, "job or rule"), target, JobError)
    return kind_of(node) == "job"


def job_cases(
    path: Path,
    slots: Sequence[str],
    rules: Sequence[str],
    search: Sequence[Path],
    *,
    allow_outside: bool = False,
    measured: bool = True,
) -> list[WorkItem]:
    """Return the cases of a job file, for the named `slots` (default: all); `rules` replace the
    deliverables that the job names. A slot needs readings unless `measured` is false.
    Raises ComplianceError if the job cannot be read."""
    from compliance.job_file import load_job, only_slot

    job = load_job(path, allow_outside=allow_outside, measured=measured)
    library = _Rules(search_path(search, path.parent))
    cases: list[WorkItem] = []
    for slot in _chosen(job, slots):
        source = SlotInputs(
            name=slot.name,
            job=only_slot(job, slot.name),
            readings=_place(slot.readings),
            before=_place(slot.before),
            meter=slot.meter,
        )
        for named in dict.fromkeys(rules or slot.deliverables):
            own = _is_path(named) and not rules
            if own and not allow_outside and resolve_inside(path.parent, named) is None:
                cases.append(WorkItem(source, named, _outside(job, slot, named)))
            else:
                place = str(path.parent / named) if own else named
                cases.append(WorkItem(source, named, library.find(place)))
    return cases


def _outside(job: Job, slot: Slot, named: str) -> ComplianceError:
    number = [each.name for each in job.slots].index(slot.name)
    message = (
        f"{named!r} is outside the job's folder; expected a file inside it, or a rule's id "
        "with --specs DIR"
    )
    return JobError(Problem(str(job.file), message, field=f"slots[{number}].deliverable"))


def _place(entry: ReadingsEntry | None) -> Place | None:
    return (entry.file, entry.encoding) if entry else None


def _chosen(job: Job, names: Sequence[str]) -> list[Slot]:
    known = [slot.name for slot in job.slots]
    for name in names:
        if name not in known:
            near = get_close_matches(name, known, 1)
            meant = f"did you mean {near[0]}?" if near else f"the job has {', '.join(known)}"
            raise UsageError(f"--slot: no slot {name!r} in {job.file}; {meant}")
    return [slot for slot in job.slots if not names or slot.name in names]


def bare_cases(
    path: Path,
    rules: Sequence[str],
    search: Sequence[Path],
    *,
    encoding: str | None,
    meter: Path | None,
    technology: str | None,
) -> list[WorkItem]:
    """Return the cases of a readings file without a job, described by the options."""
    library = _Rules(search_path(search))
    known = ENCODINGS[encoding] if encoding else None
    display = Display(technology=technology) if technology else None
    source = SlotInputs(path.name, None, (path, known), None, meter, display)
    return [WorkItem(source, named, library.find(named)) for named in dict.fromkeys(rules)]


def inputs_of(cases: Sequence[WorkItem]) -> Iterator[Path]:
    """Yield every file that is read for `cases`, as far as known beforehand."""
    for case in cases:
        yield from case.source.files()
        if _is_path(case.named):
            folder = case.source.job.file.parent if case.source.job else Path()
            yield Path(case.named)
            yield folder / case.named


def outputs(cases: Sequence[WorkItem], folder: Path, suffixes: Sequence[str]) -> list[list[Path]]:
    """Return the files to write for each case: `JOB-SLOT-RULE` with each suffix.

    Raises UsageError if two cases would write the same file.
    """
    owners: dict[str, WorkItem] = {}
    for case in cases:
        stem = _stem(case)
        other = owners.setdefault(stem.casefold(), case)
        if other is not case:
            raise UsageError(
                f"slot {other.source.name!r}, {other.named} and slot {case.source.name!r}, "
                f"{case.named} would both write {folder / stem}.*; rename one, or "
                "choose with --slot"
            )
    return [[folder / (_stem(case) + suffix) for suffix in suffixes] for case in cases]


def _stem(case: WorkItem) -> str:
    job = case.source.job
    parts = (job.reference, case.source.name) if job else (Path(case.source.name).stem,)
    return "-".join(clean_name(part) for part in (*parts, case.deliverable))


def check_rules(target: Path, rules: Sequence[str]) -> None:
    """Check that bare readings come with a rule. Raises UsageError."""
    if not rules:
        raise UsageError(
            f"{target}: readings without a job require --rule; a job file's name ends in .yaml"
        )


def hint_missing_technology(
    assessments: Sequence[Assessment | StatedAssessment], *, aside: bool
) -> None:
    """Name the option to give if assessments without a job lack the kind of display.

    Printed at the end; on standard error if the output is for programs (`aside`).
    """
    from compliance.grading.grade import KIND

    if any(
        assessment.job is None and KIND in finding.missing
        for assessment in assessments
        for finding in assessment.state.findings
    ):
        hint = "Without a job, give the display's technology with --technology NAME, one of "
        lines = wrap(f"{hint}{', '.join(TECHNOLOGIES)}.", COLUMNS)
        click.echo("\n".join(lines if aside else ["", *lines]), err=aside)


JOB_ONLY = (
    "slots", "out", "no_sheet", "replace", "page", "allow_outside", "deviation", "client_trust",
    "fonts", "appendices",
    *NAMES,
)  # fmt: skip
"""Options that require a job."""


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the command, with its options."""

    target: Path
    out: Path | None
    slots: tuple[str, ...]
    rules: tuple[str, ...]
    form: str
    junit: Path | None
    no_sheet: bool
    replace: bool
    now: datetime
    keys: KeyOptions
    page: str
    specs: tuple[Path, ...]
    allow_outside: bool
    encoding: str | None
    meter: Path | None
    technology: str | None = None
    input_format: str | None = None
    csv: Path | None = None
    deviation: tuple[Path, ...] = ()
    client_trust: tuple[Path, ...] = ()
    fonts: tuple[Path, ...] = ()
    appendices: tuple[str, ...] = ()
    quiet: bool = False

    @property
    def is_job(self) -> bool:
        """Whether the target is a job file, not bare readings."""
        return self.target.suffix.lower() in SUFFIXES

    @property
    def draws_sheets(self) -> bool:
        """Whether sheets are drawn."""
        return self.is_job and not self.no_sheet


def check_call(ctx: click.Context, call: Call) -> None:
    """Check that the target exists, and that the options fit it and each other."""
    check_target(call.target)
    names = {param.name: param.opts[0] for param in ctx.command.params if param.name}
    given = {
        name for name in names if ctx.get_parameter_source(name) is ParameterSource.COMMANDLINE
    }
    for name in BARE_ONLY if call.is_job else JOB_ONLY:
        if name in given:
            why = (
                NOT_FOR_JOBS if call.is_job
                else f"requires a job file (.yaml); {call.target} is read as readings"
            )  # fmt: skip
            raise UsageError(f"{names[name]} {why}")
    if call.is_job:
        _check_job(names, given, call)
    else:
        check_rules(call.target, call.rules)


def _check_job(names: Mapping[str, str], given: set[str], call: Call) -> None:
    if call.out is None and not call.no_sheet:
        raise UsageError("sheets require --out DIR; to print only, give --no-sheet")
    if call.no_sheet:
        for name in (*NAMES, "page", "fonts", "appendices"):
            if name in given:
                raise UsageError(f"give {names[name]} or --no-sheet, not both")
    call.keys.check()


def cases_of(call: Call) -> list[WorkItem]:
    """Return the cases of a call."""
    cases = _cases_of(call)
    for case in cases:
        case.source.form = call.input_format
    return cases


def _cases_of(call: Call) -> list[WorkItem]:
    if call.is_job:
        return job_cases(
            call.target, call.slots, call.rules, call.specs, allow_outside=call.allow_outside
        )
    return bare_cases(
        call.target,
        call.rules,
        call.specs,
        encoding=call.encoding,
        meter=call.meter,
        technology=call.technology,
    )


def targets_of(call: Call, cases: Sequence[WorkItem]) -> list[list[Path]]:
    """Return the files to write for each case, checked before anything is computed."""
    targets: list[list[Path]] = [[] for _ in cases]
    if call.out is not None:
        suffixes = [".json"] if call.no_sheet else [".json", ".pdf"]
        targets = outputs(cases, call.out, suffixes)
        check_folder(call.out)
        _check_places(call, targets)
    taken = [*_inputs(call, cases), *(path for paths in targets for path in paths)]
    for option, path in (("--junit", call.junit), ("--csv", call.csv)):
        if path is not None:
            _check_report(option, path, taken)
            taken.append(path)
    return targets


def _check_places(call: Call, targets: Sequence[Sequence[Path]]) -> None:
    """Check that the files are new, or may be overwritten with --replace.

    A countersigned sheet may not: it cannot be made again from the job.
    """
    paths = [path for each in targets for path in each]
    check_targets(paths, call.replace)
    counted = {path: _signatures(path) for path in paths if path.suffix == ".pdf"}
    faults = [
        f"{path}: has {count} signatures that --replace would remove; move it, or choose another "
        "folder with --out"
        for path, count in counted.items()
        if count > 1
    ]
    if faults:
        raise UsageError("\n".join(faults))


def _signatures(path: Path) -> int:
    """Count the signatures of a file; 0 if it is not a readable sheet."""
    if not path.is_file():
        return 0
    from compliance.signing.read import count_signatures

    return count_signatures(read_sheet(path))


@contextmanager
def lock_outputs(call: Call, targets: Sequence[Sequence[Path]]) -> Iterator[None]:
    """Keep other runs out of the folder while inside; check first what they have written."""
    if call.out is None:
        yield
        return
    with lock_folder(call.out):
        _check_places(call, targets)
        yield


def _inputs(call: Call, cases: Sequence[WorkItem]) -> list[Path]:
    own = (call.target, *call.keys.files, call.meter)
    signed = (*call.deviation, *call.client_trust)
    return [*(path for path in own if path is not None), *signed, *inputs_of(cases)]


def _check_report(option: str, path: Path, others: Sequence[Path]) -> None:
    """Check that the report would not overwrite an input or another output."""
    if path.is_dir():
        raise UsageError(f"{option}: {path} is a folder; expected a file")
    place = path.resolve()
    if any(other.resolve() == place for other in others):
        raise UsageError(
            f"{option}: {path} is an input or output of this assessment; choose another name"
        )
    if not path.exists():
        check_folder(path.parent)
