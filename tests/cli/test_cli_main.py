"""The program's frame: help, version, unknown names, every way to end."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import compliance.cli as cli
from compliance import __version__
from compliance.errors import InputError, OutputError, Problem, UsageError

HEAVY = ("colour", "reportlab", "pyhanko", "pikepdf", "jsonschema", "numpy", "yaml", "cryptography")
*_REST, _LAST = cli.COMMANDS
EVERY = f"{', '.join(_REST)} or {_LAST}"


@pytest.fixture
def failing(monkeypatch):
    """A command `fail` that raises what it is told to."""

    def install(error: BaseException) -> CliRunner:
        @click.command()
        def command() -> None:
            raise error

        monkeypatch.setitem(cli.COMMANDS, "fail", cli.Entry("compliance_test_fail", "Fails."))
        module = type(sys)("compliance_test_fail")
        module.command = command
        monkeypatch.setitem(sys.modules, "compliance_test_fail", module)
        return CliRunner()

    return install


def test_version():
    result = CliRunner().invoke(cli.command, ["--version"])
    assert (result.exit_code, result.output) == (0, f"compliance {__version__}\n")


def test_help_names_every_command_and_the_exit_codes():
    result = CliRunner().invoke(cli.command, ["--help"])
    assert result.exit_code == 0
    for name, entry in cli.COMMANDS.items():
        assert name in result.output
        assert entry.summary in result.output
    assert "130 interrupted" in result.output
    assert max(map(len, result.output.splitlines())) <= 80


def test_help_imports_nothing_heavy(root):
    code = (
        "import sys\n"
        "from compliance.cli import command\n"
        "try:\n"
        "    command.main(['--help'])\n"
        "except SystemExit as end:\n"
        "    assert end.code == 0\n"
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_every_command_of_the_table_can_be_imported():
    for name in cli.COMMANDS:
        result = CliRunner().invoke(cli.command, [name, "--help"])
        assert result.exit_code == 0, result.output


@pytest.mark.parametrize(
    ("args", "line"),
    [
        (["asses"], "compliance: no such command 'asses'; did you mean assess?"),
        (["zzz"], f"compliance: no such command 'zzz'; expected {EVERY}"),
        (["--vers"], "compliance: no such option '--vers'. Did you mean '--version'?"),
        (["assess"], "compliance assess: missing argument 'JOB|READINGS'"),
        (["schema"], "compliance schema: missing argument 'KIND'. Choose from: "
         "rule, job, meter, assessment, deviation, delivery, repository, assessment-1"),
    ],
)  # fmt: skip
def test_a_wrong_call_is_one_line(args, line):
    result = CliRunner().invoke(cli.command, args)
    command = f"compliance {args[0]}" if args[0] in cli.COMMANDS else "compliance"
    assert result.exit_code == 2
    assert result.stderr == f"{line}; see '{command} --help'\n"
    assert result.stdout == ""


def test_a_wrong_call_is_one_line_where_the_parser_knows_no_command():
    result = CliRunner().invoke(cli.command, ["assess", "job.yaml", "--out"])
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "compliance: option '--out' requires an argument\n"


def test_no_arguments_give_help():
    result = CliRunner().invoke(cli.command, [])
    assert result.exit_code == 2
    assert "Commands:" in result.stderr


@pytest.mark.parametrize(
    ("error", "code", "text"),
    [
        (
            InputError([Problem("a.yaml", "x\x1b", 3, "job"), Problem("b", "y")]),
            2,
            "a.yaml:3: job: x\\x1b\nb: y\n",
        ),
        (UsageError("give --rule"), 2, "compliance: give --rule\n"),
        (OutputError("a: full\nb: full"), 4, "compliance: a: full\ncompliance: b: full\n"),
        (
            OSError(errno.ENOSPC, "No space left on device", "x"),
            4,
            "compliance: x: no space left on device\n",
        ),
        (MemoryError(), 4, "compliance: not enough memory for this input\n"),
        (KeyboardInterrupt(), 130, "\ncompliance: interrupted\n"),
        (
            ZeroDivisionError("division by zero"),
            4,
            "compliance: internal error, not a fault in your input (ZeroDivisionError: "
            "division by zero); run 'compliance --traceback …' for the details\n",
        ),
    ],
)
def test_every_failure_has_its_code_and_its_line(failing, error, code, text):
    result = failing(error).invoke(cli.command, ["fail"])
    assert (result.exit_code, result.stderr, result.stdout) == (code, text, "")


@pytest.mark.parametrize(
    ("args", "env"), [(["--traceback"], {}), ([], {"COMPLIANCE_TRACEBACK": "1"})]
)
def test_a_traceback_on_request(failing, args, env):
    result = failing(ZeroDivisionError("x")).invoke(cli.command, [*args, "fail"], env=env)
    assert result.exit_code == 4
    assert "Traceback (most recent call last)" in result.stderr
    assert "compliance: internal error" in result.stderr


def test_exit_codes_of_commands_that_leave_by_themselves(failing):
    assert failing(SystemExit(3)).invoke(cli.command, ["fail"]).exit_code == 3
    assert failing(click.exceptions.Exit(1)).invoke(cli.command, ["fail"]).exit_code == 1


# ---------------------------------------------------------------- real streams

SPEAKER = """
import sys
import click
import compliance.cli as cli

@click.command()
def command():
    for _ in range(20000):
        click.echo({text!a})
    return {code}

cli.COMMANDS["speak"] = cli.Entry("speaker", "Speaks.")
sys.modules["speaker"] = type(sys)("speaker")
sys.modules["speaker"].command = command
cli.command.main(["speak"])
"""


def speak(root: Path, text: str, code: int, **options) -> subprocess.Popen:
    options.setdefault("stderr", subprocess.PIPE)
    return subprocess.Popen(
        [sys.executable, "-c", SPEAKER.format(text=text, code=code)], cwd=root, **options
    )


@pytest.mark.parametrize("code", [0, 1, 3])
def test_a_closed_pipe_keeps_the_code(root, ended, code):
    with speak(root, "line", code, stdout=subprocess.PIPE) as process:
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
        assert ended(process) == code


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_a_full_disk_behind_standard_output(root, ended):
    with (
        open("/dev/full", "w") as full,
        speak(root, "line", 0, stdout=full) as process,
    ):
        assert process.stderr.read() == b"compliance: standard output: no space left on device\n"
        assert ended(process) == 4


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_a_full_disk_behind_standard_error(process):
    with open("/dev/full", "w") as full:
        done = process("zzz", capture_output=False, stderr=full, stdout=subprocess.DEVNULL)
    assert done.returncode == 2


@pytest.mark.parametrize("stream", ["stdout", "stderr"])
def test_a_stream_that_is_not_there(root, stream):
    shell = f'exec "$@" {"1" if stream == "stdout" else "2"}>&-'
    done = subprocess.run(
        ["sh", "-c", shell, "sh", sys.executable, "-m", "compliance.cli", "--version"], cwd=root
    )
    assert done.returncode == 0


def test_what_the_output_cannot_show_is_spelt(root, ended):
    plain = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    with speak(root, "Δu′v′ ≤ 0.004 ⊖ \u6620", 0, stdout=subprocess.PIPE, env=plain) as process:
        assert process.stdout.readline() == b"du'v' <= 0.004 x ?\n"
        process.stdout.close()
        assert process.stderr.read() == b""
        assert ended(process) == 0
