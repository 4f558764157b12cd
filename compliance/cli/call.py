"""One call of `compliance assess`: what was given, and whether it fits together.

Everything that can be known to be wrong is found before anything is computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import click
from click.core import ParameterSource

from compliance.cli.bare import BARE_ONLY, check_rules
from compliance.cli.cases import (
    SUFFIXES,
    Case,
    bare_cases,
    check_target,
    inputs_of,
    job_cases,
    outputs,
)
from compliance.cli.files import alone_in, check_folder, check_targets
from compliance.cli.keys import NAMES, Keys
from compliance.cli.terminal import harmless
from compliance.errors import UsageError

__all__ = ["Call", "alone", "cases_of", "check_call", "targets_of"]

JOB_ONLY = (
    "slots", "out", "no_sheet", "replace", "page", "allow_outside", "deviation", "deviation_trust",
    *NAMES,
)  # fmt: skip
"""Options that have no use without a job."""


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the command, as given."""

    target: Path
    out: Path | None
    slots: tuple[str, ...]
    rules: tuple[str, ...]
    form: str
    junit: Path | None
    no_sheet: bool
    replace: bool
    now: datetime
    keys: Keys
    page: str
    specs: tuple[Path, ...]
    allow_outside: bool
    encoding: str | None
    meter: Path | None
    technology: str | None = None
    input_format: str | None = None
    csv: Path | None = None
    deviation: tuple[Path, ...] = ()
    deviation_trust: tuple[Path, ...] = ()

    @property
    def is_job(self) -> bool:
        """Whether the target is a job file, and not bare readings."""
        return self.target.suffix.lower() in SUFFIXES


def check_call(ctx: click.Context, call: Call) -> None:
    """That there is something to assess, and that the options fit it and each other."""
    check_target(call.target)
    names = {param.name: param.opts[0] for param in ctx.command.params if param.name}
    given = {
        name for name in names if ctx.get_parameter_source(name) is ParameterSource.COMMANDLINE
    }
    for name in BARE_ONLY if call.is_job else JOB_ONLY:
        if name in given:
            whose = (
                "a bare readings file; a job says its own" if call.is_job
                else f"a job, whose file's name ends in .yaml; {call.target} is taken as readings"
            )  # fmt: skip
            raise UsageError(f"{names[name]} goes with {whose}")
    if call.is_job:
        _check_job(given, call)
    else:
        check_rules(call.target, call.rules)


def _check_job(given: set[str], call: Call) -> None:
    if call.deviation_trust and not call.deviation:
        raise UsageError("--deviation-trust goes with --deviation")
    if call.out is None and not call.no_sheet:
        raise UsageError("--out DIR is needed for the sheets; --no-sheet without it only prints")
    if call.no_sheet:
        for name in (*NAMES, "page"):
            if name in given:
                option = f"--{name.replace('_', '-')}"
                raise UsageError(f"{option} and --no-sheet exclude each other")
    call.keys.check()


def cases_of(call: Call) -> list[Case]:
    """What there is to assess."""
    cases = _cases_of(call)
    for case in cases:
        case.source.form = call.input_format
    return cases


def _cases_of(call: Call) -> list[Case]:
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


def targets_of(call: Call, cases: Sequence[Case]) -> list[list[Path]]:
    """The files to write for each case, checked before anything is computed."""
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
    """That nothing stands in the way, or nothing that --replace may not take away.

    A sheet that somebody else signed as well cannot be made again from the job.
    """
    paths = [path for each in targets for path in each]
    check_targets(paths, call.replace)
    counted = {path: _signatures(path) for path in paths if path.suffix == ".pdf"}
    faults = [
        f"{path}: carries {count} signatures, which --replace would take away; move it, or name "
        "another folder with --out"
        for path, count in counted.items()
        if count > 1
    ]
    if faults:
        raise UsageError("\n".join(faults))


def _signatures(path: Path) -> int:
    """Of a file that may be a sheet; 0 where it is none, or none that can be read."""
    if not path.is_file():
        return 0
    from compliance.signatures import count_signatures

    with path.open("rb") as source:
        return count_signatures(source)


@contextmanager
def alone(call: Call, targets: Sequence[Sequence[Path]]) -> Iterator[None]:
    """Keep other runs out of the folder while inside; what one of them wrote is seen first."""
    if call.out is None:
        yield
        return
    note = f"compliance: waiting for another run that writes to {harmless(str(call.out))}"
    with alone_in(call.out, lambda: click.echo(note, err=True)):
        _check_places(call, targets)
        yield


def _inputs(call: Call, cases: Sequence[Case]) -> list[Path]:
    own = (call.target, *call.keys.files, call.meter)
    signed = (*call.deviation, *call.deviation_trust)
    return [*(path for path in own if path is not None), *signed, *inputs_of(cases)]


def _check_report(option: str, path: Path, others: Sequence[Path]) -> None:
    """That the report would not write over what is read or written otherwise."""
    if path.is_dir():
        raise UsageError(f"{option}: {path} is a folder; expected a file")
    place = path.resolve()
    if any(other.resolve() == place for other in others):
        raise UsageError(f"{option}: {path} is a file of this assessment; name another")
    if not path.exists():
        check_folder(path.parent)
