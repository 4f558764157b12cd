"""What there is to assess: each slot against each of its deliverables, or one bare file.

Rules are read first, for they name the outputs; readings and meters when their turn
comes, so that a slot's bad file is that slot's fault alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path

from compliance.cli.files import clean_name
from compliance.cli.specs import search_path
from compliance.documents import inside, kind_of, read_bytes, read_yaml
from compliance.errors import ComplianceError, JobError, Problem, UsageError
from compliance.model import (
    CHROMATICITY_FLOOR,
    ENCODINGS,
    Assessment,
    Deviation,
    Display,
    Encoding,
    Job,
    Meter,
    Readings,
    ReadingsEntry,
    Rule,
    Slot,
)

SUFFIXES = (".yaml", ".yml")

MADE = (".json", ".pdf")
"""Of files that hold an assessment already made."""

__all__ = [
    "SUFFIXES",
    "Case",
    "Source",
    "bare_cases",
    "check_target",
    "inputs_of",
    "is_job",
    "job_cases",
    "outputs",
]


Place = tuple[Path, Encoding | None]
"""A file of readings and the encoding of its code values; None where the file must state it."""


@dataclass(slots=True)
class Source:
    """Where readings and meter of one slot come from; each file is read once."""

    name: str
    """The slot's name; of a bare readings file the file's."""
    job: Job | None
    """Reduced to this slot."""
    readings: Place | None
    before: Place | None
    meter: Path | None
    display: Display | None = None
    """Of a bare readings file; a job says its own."""
    form: str | None = None
    """The format of the readings, where it is insisted on."""
    _read: tuple[Readings | None, Readings | None, Meter | None] | None = field(default=None)

    def read(self) -> tuple[Readings | None, Readings | None, Meter | None]:
        """Readings, readings before calibration, and meter."""
        if self._read is None:
            from compliance.meter import load_meter

            meter = load_meter(self.meter) if self.meter else None
            floor = meter.chromaticity_floor if meter else CHROMATICITY_FLOOR
            readings = _load(self.readings, floor, self.form)
            self._read = readings, _load(self.before, floor, self.form), meter
        return self._read

    @property
    def encoding(self) -> Encoding | None:
        """Of the slot's code values: of its readings, else what the job says of all."""
        place = self.readings or self.before
        if place is not None:
            return place[1]
        return ENCODINGS[self.job.document["encoding"]] if self.job else None

    def files(self) -> Iterator[Path]:
        """The files that are read."""
        if self.job is not None:
            yield self.job.file
        for place in (self.readings, self.before):
            if place is not None:
                yield place[0]
        if self.meter is not None:
            yield self.meter


def _load(place: Place | None, floor: float, form: str | None) -> Readings | None:
    if place is None:
        return None
    from compliance.readings import load_readings

    path, encoding = place
    return load_readings(path, encoding, floor=floor, form=form)


@dataclass(frozen=True, slots=True)
class Case:
    """One slot against one deliverable."""

    source: Source
    named: str
    """The deliverable as referred to."""
    rule: Rule | ComplianceError
    """The error says why the rule could not be read."""

    @property
    def deliverable(self) -> str:
        """The rule's id, or the reference where the rule could not be read."""
        return self.rule.id if isinstance(self.rule, Rule) else self.named

    def assess(
        self, now: datetime, deviations: Sequence[Deviation] = (), *, as_found: bool = False
    ) -> Assessment:
        """Read what is left to read and judge, `as_found` the readings before calibration.

        Raises ComplianceError.
        """
        if not isinstance(self.rule, Rule):
            raise self.rule
        from compliance.assessment import assess

        readings, before, meter = self.source.read()
        if as_found and before is None:
            raise UsageError(f"slot '{self.source.name}' has no readings before calibration")
        return assess(
            self.rule,
            None if as_found else readings,
            job=self.source.job,
            before=before,
            meter=meter,
            display=self.source.display,
            deviations=deviations,
            now=now,
        )


class _Rules:
    """Reads each rule once."""

    def __init__(self, search: Sequence[Path]) -> None:
        self._search = search
        self._known: dict[str, Rule | ComplianceError] = {}

    def find(self, reference: str) -> Rule | ComplianceError:
        """By id, or from the path of its file."""
        from compliance.rules import load_rule

        if reference not in self._known:
            try:
                self._known[reference] = load_rule(reference, search=self._search)
            except ComplianceError as error:
                self._known[reference] = error
        return self._known[reference]


def _is_path(reference: str) -> bool:
    return reference.endswith(SUFFIXES) or len(Path(reference).parts) > 1


def check_target(path: Path) -> None:
    """That `path` can be a job or readings: a file that is there. Raises UsageError.

    Why a file cannot be read is left to whoever reads it.
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
            f"{path}: its name is that of an assessment already made, which 'compliance explain' "
            f"and 'compliance verify' take; {expected}"
        )


def is_job(target: str) -> bool:
    """Whether what names a job or a rule names a job. Raises JobError where it is no YAML file."""
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
) -> list[Case]:
    """The cases of a job file: of the named slots, all if none are; `rules` stand in for the
    deliverables the job names. A slot needs readings unless `measured` is false.
    Raises ComplianceError where the job cannot be read."""
    from compliance.job import load_job, only_slot

    job = load_job(path, allow_outside=allow_outside, measured=measured)
    library = _Rules(search_path(search, path.parent))
    cases: list[Case] = []
    for slot in _chosen(job, slots):
        source = Source(
            name=slot.name,
            job=only_slot(job, slot.name),
            readings=_place(slot.readings),
            before=_place(slot.before),
            meter=slot.meter,
        )
        for named in dict.fromkeys(rules or slot.deliverables):
            own = _is_path(named) and not rules
            if own and not allow_outside and inside(path.parent, named) is None:
                cases.append(Case(source, named, _outside(job, slot, named)))
            else:
                place = str(path.parent / named) if own else named
                cases.append(Case(source, named, library.find(place)))
    return cases


def _outside(job: Job, slot: Slot, named: str) -> ComplianceError:
    number = [each.name for each in job.slots].index(slot.name)
    message = (
        f"{named!r} leaves the job's folder; expected a file in it or below, or a rule's id "
        "and --specs DIR"
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
) -> list[Case]:
    """The cases of a readings file without a job, and what was said of it."""
    library = _Rules(search_path(search))
    known = ENCODINGS[encoding] if encoding else None
    display = Display(technology=technology) if technology else None
    source = Source(path.name, None, (path, known), None, meter, display)
    return [Case(source, named, library.find(named)) for named in dict.fromkeys(rules)]


def inputs_of(cases: Sequence[Case]) -> Iterator[Path]:
    """Every file that is read for `cases`, as far as known beforehand."""
    for case in cases:
        yield from case.source.files()
        if _is_path(case.named):
            folder = case.source.job.file.parent if case.source.job else Path()
            yield Path(case.named)
            yield folder / case.named


def outputs(cases: Sequence[Case], folder: Path, suffixes: Sequence[str]) -> list[list[Path]]:
    """The files to write for each case: `JOB-SLOT-RULE` with each suffix.

    Raises UsageError where two cases would write the same file.
    """
    owners: dict[str, Case] = {}
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


def _stem(case: Case) -> str:
    job = case.source.job
    parts = (job.reference, case.source.name) if job else (Path(case.source.name).stem,)
    return "-".join(clean_name(part) for part in (*parts, case.deliverable))
