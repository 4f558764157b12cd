"""The `compliance` program: one table of commands, one place that handles errors.

Commands are imported when they are called, so that help and version stay quick. Exit codes
of all commands: 0 yes, 1 no, 2 wrong input or call, 3 undecided, 4 internal or I/O failure,
130 interrupted, 143 terminated, 129 hung up.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from importlib import import_module
from typing import Any, NoReturn

import click

from compliance import __version__
from compliance.cli._terminal import Stopped, escape_controls, standard_streams, stop_cleanly
from compliance.errors import ComplianceError, InputError

PROGRAM = "compliance"
FAILURE = 4
INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Entry:
    """Name a command's module and its summary, so that neither needs an import."""

    module: str
    """It defines a click command or group named `command`."""
    summary: str


COMMANDS: Mapping[str, Entry] = {
    "new": Entry("compliance.cli.new", "Write a job, a meter or a rule to start from."),
    "plan": Entry("compliance.cli.plan", "List what to measure, as a file to fill in."),
    "convert": Entry("compliance.cli.convert", "Convert readings to another format."),
    "assess": Entry(
        "compliance.cli.assess", "Judge a job's slots by their rules and write the sheets."
    ),
    "explain": Entry("compliance.cli.explain", "List the likely causes why a slot misses a rule."),
    "capability": Entry(
        "compliance.cli.capability", "Check, before measuring, that a meter can prove a rule."
    ),
    "countersign": Entry("compliance.cli.countersign", "Add a second signature to a sheet."),
    "archive": Entry(
        "compliance.cli.archive", "Keep a sheet verifiable when its certificates have expired."
    ),
    "verify": Entry("compliance.cli.verify", "Check a sheet: signature, evidence, outcome."),
    "deviation": Entry(
        "compliance.cli.deviation", "Accept a value outside its limits; check who accepted it."
    ),
    "deliver": Entry("compliance.cli.deliver", "Pack a job's sheets into one folder or .zip."),
    "identity": Entry("compliance.cli.identity", "Create and show the identity that signs sheets."),
    "rules": Entry("compliance.cli.rules", "Show, check and compare rules."),
    "schema": Entry("compliance.cli.schema", "Print the JSON Schema of a kind of file."),
}


class Program(click.Group):
    """The group of commands; each one is imported when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command; None if there is no such name."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        imported: click.Command = import_module(entry.module).command
        return imported

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Resolve as click does; for an unknown name, suggest the nearest one."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            near = get_close_matches(name, COMMANDS, 1)
            expected = f"did you mean {near[0]}?" if near else f"expected {_list(COMMANDS)}"
            ctx.fail(f"no such command {name!r}; {expected}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table from the summaries: help imports no command."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.summary) for name, entry in COMMANDS.items()])

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> NoReturn:
        """Run with `args` (default: those of the process) and exit with the outcome's code."""
        extra.pop("standalone_mode", None)
        arguments = list(sys.argv[1:] if args is None else args)
        with standard_streams(), stop_cleanly():
            code = self._run(arguments, **extra)
            code = _flushed(code)
        sys.exit(code)

    def _run(self, args: list[str], **extra: Any) -> int:
        """Run and return the exit code. The one place that catches every error."""
        with_traceback = wants_traceback(args)
        try:
            outcome = super().main(
                args, PROGRAM, standalone_mode=False, obj=with_traceback, **extra
            )
            return outcome if isinstance(outcome, int) else 0
        except SystemExit as leaving:
            return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
        except (KeyboardInterrupt, click.Abort) as error:
            stopped = error.__cause__ if isinstance(error, click.Abort) else error
            word = stopped.word if isinstance(stopped, Stopped) else "interrupted"
            click.echo(f"{PROGRAM}: {word}", err=True)
            return stopped.exit_code if isinstance(stopped, Stopped) else INTERRUPTED
        except Exception as error:
            return print_error(error, with_traceback)


def wants_traceback(args: Sequence[str] = ()) -> bool:
    """Return whether the call or the environment asks for a traceback."""
    for arg in args:
        if not arg.startswith("-"):
            break
        if arg == "--traceback":
            return True
    return os.environ.get("COMPLIANCE_TRACEBACK", "0") not in ("", "0")


def print_error(error: Exception, with_traceback: bool = False) -> int:
    """Print an error on standard error, one line per problem; return the exit code."""
    if with_traceback:
        click.echo("".join(traceback.format_exception(error)), err=True, nl=False)
    lines, code = error_lines(error)
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        click.echo(error.format_message(), err=True)
    else:
        click.echo("\n".join(lines), err=True)
    return code


def error_lines(error: Exception) -> tuple[tuple[str, ...], int]:
    """Return the lines that describe `error`, safe to print, and its exit code."""
    if isinstance(error, InputError):
        return tuple(escape_controls(str(problem)) for problem in error.problems), error.exit_code
    if isinstance(error, ComplianceError):
        lines = str(error).splitlines()
        return tuple(f"{PROGRAM}: {escape_controls(line)}" for line in lines), error.exit_code
    if isinstance(error, click.ClickException):
        return (_usage(error),), error.exit_code
    if isinstance(error, OSError) and error.strerror:
        place = f"{error.filename}: " if error.filename is not None else ""
        return (f"{PROGRAM}: {escape_controls(place)}{error.strerror.lower()}",), FAILURE
    if isinstance(error, MemoryError):
        return (f"{PROGRAM}: not enough memory for this input",), FAILURE
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    return (
        f"{PROGRAM}: internal error, not a fault in your input ({escape_controls(what)}); "
        f"run '{PROGRAM} --traceback …' for the details",
    ), FAILURE


def _usage(error: click.ClickException) -> str:
    message = " ".join(escape_controls(error.format_message()).split()).rstrip(".")
    message = message[:1].lower() + message[1:]
    if not isinstance(error, click.UsageError) or error.ctx is None:
        return f"{PROGRAM}: {message}"
    path = error.ctx.command_path
    return f"{path}: {message}; see '{path} --help'"


def _flushed(code: int) -> int:
    """Flush standard output: a full disk behind `> file` must not look like success."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:
        return print_error(error)
    return code


def _list(names: Mapping[str, Entry]) -> str:
    *rest, last = names
    return f"{', '.join(rest)} or {last}"


@click.group(
    PROGRAM,
    cls=Program,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog="Exit codes: 0 yes, 1 no, 2 wrong input or call, 3 undecided, 4 internal or I/O "
    "failure, 130 interrupted, 143 terminated.",
)
@click.version_option(__version__, prog_name=PROGRAM, message="%(prog)s %(version)s")
@click.option(
    "--traceback",
    is_flag=True,
    expose_value=False,
    help="Show the traceback of an error (also: COMPLIANCE_TRACEBACK=1).",
)
def command() -> None:
    """Judge display readings by a deliverable's rule and write signed compliance sheets."""


def main() -> NoReturn:
    """Run the console script."""
    command.main()
