"""`compliance assess` in a rough world: closed pipes, full disks, two at once, wrong files."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from filelock import FileLock

import compliance.assessment as engine

NOW = ("--now", "2026-11-21T08:00:00Z")
ROOT = Path(__file__).resolve().parents[2]


def start(tmp_path: Path, *args: str, **options) -> subprocess.Popen:
    """The command in the background."""
    settings = {"cwd": tmp_path, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    env = {**os.environ, "PYTHONPATH": str(ROOT), "COMPLIANCE_DATA": "/nonexistent"}
    settings["env"] = {**env, **options.get("env", {})}
    return subprocess.Popen([sys.executable, "-m", "compliance.cli", *args], **settings)


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


# ---------------------------------------------------------------- streams


@pytest.mark.parametrize(
    ("kind", "code", "form"),
    [("good", 0, "text"), ("bright", 1, "json"), ("open", 3, "text"), ("bad", 2, "json")],
)
def test_a_reader_that_goes_away(desk, ended, tmp_path, kind, code, form):
    desk(kind)
    with start(tmp_path, "assess", "job.yaml", "--no-sheet", "--format", form, *NOW) as process:
        process.stdout.close()
        told = process.stderr.read().decode()
        assert ended(process) == code
    assert "Broken" not in told
    assert len(told.splitlines()) == (kind == "bad")


def test_head(desk, tmp_path):
    desk("bright", "bright")
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    shell = f'"{sys.executable}" -m compliance.cli assess job.yaml --no-sheet; echo $? >&2'
    done = subprocess.run(
        ["sh", "-c", f"({shell}) | head -n 1"], cwd=tmp_path, env=env, capture_output=True
    )
    assert done.stdout.decode() == "KX-7 · A film about kelp\n"
    assert done.stderr == b"1\n"


def test_no_output_at_all(desk, tmp_path):
    desk("bright")
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    shell = f'exec "{sys.executable}" -m compliance.cli assess job.yaml --no-sheet >&- 2>&-'
    assert subprocess.run(["sh", "-c", shell], cwd=tmp_path, env=env).returncode == 1


@pytest.mark.parametrize("form", ["text", "json"])
def test_a_full_disk_behind_the_output(process, desk, form):
    desk("good")
    with open("/dev/full", "w") as full:
        done = process(
            "assess", "job.yaml", "--no-sheet", "--format", form, *NOW,
            capture_output=False, stdout=full, stderr=subprocess.PIPE,
        )  # fmt: skip
    assert done.returncode == 4
    assert done.stderr == "compliance: standard output: no space left on device\n"


def test_a_full_disk_behind_the_build_servers_report(compliance, desk):
    desk("good")
    done = compliance("assess", "job.yaml", "--no-sheet", "--junit", "/dev/full", *NOW)
    assert done.returncode == 4
    assert done.stderr == "compliance: /dev/full: cannot be written: no space left on device\n"
    assert "◐ conditionally" in done.stdout
    assert Path("/dev/full").is_char_device()


def test_the_plain_locale(process, desk):
    desk("bright", names=['"Zimmer ü"'])
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    for form in ("text", "json"):
        done = process(
            "assess", "job.yaml", "--no-sheet", "--format", form, *NOW,
            env=plain, encoding="ascii", errors="strict",
        )  # fmt: skip
        assert (done.returncode, done.stderr) == (1, "")
    done = process("assess", "job.yaml", "--no-sheet", *NOW, env=plain)
    assert "Zimmer u" in done.stdout
    assert "x not compliant" in done.stdout
    assert "112.5 cd/m2" in done.stdout


def terminal(ended, tmp_path: Path, *args: str, env: dict[str, str]) -> tuple[str, str]:
    """What a person sees on standard output and on standard error, both terminals."""
    seen = []
    pairs = [pty.openpty(), pty.openpty()]
    with start(tmp_path, *args, stdout=pairs[0][1], stderr=pairs[1][1], env=env) as process:
        ended(process)
    for ours, theirs in pairs:
        os.close(theirs)
        text = b""
        try:
            while chunk := os.read(ours, 65536):
                text += chunk
        except OSError:  # end of file on a terminal
            pass
        os.close(ours)
        seen.append(text.decode().replace("\r\n", "\n"))
    return seen[0], seen[1]


def test_a_terminal_gets_ink_and_progress_that_goes_away(desk, ended, tmp_path):
    desk("good", "bright")
    colour = {"NO_COLOR": "", "TERM": "xterm"}
    out, err = terminal(ended, tmp_path, "assess", "job.yaml", "--no-sheet", *NOW, env=colour)
    assert "\x1b[33m◐ conditionally\x1b[0m" in out
    assert err == "\r\x1b[K1 of 2: 1, tiny\r\x1b[K2 of 2: 2, tiny\r\x1b[K"


@pytest.mark.parametrize("env", [{"NO_COLOR": "1"}, {"NO_COLOR": "", "TERM": "dumb"}])
def test_a_terminal_without_ink(desk, ended, tmp_path, env):
    desk("good")
    out, _ = terminal(ended, tmp_path, "assess", "job.yaml", "--no-sheet", *NOW, env=env)
    assert "◐ conditionally" in out
    assert "\x1b" not in out


# ---------------------------------------------------------------- several at once, interrupted


def both_at_once(tmp_path: Path, *extra: str) -> list[tuple[int, bytes]]:
    """Exit codes and standard errors of two runs, in the order of the codes."""
    call = ("assess", "job.yaml", "--out", "out", *NOW, *extra)
    runs = [start(tmp_path, *call) for _ in range(2)]
    told = [process.communicate(timeout=600)[1] for process in runs]
    return sorted((process.returncode, err) for process, err in zip(runs, told, strict=True))


def test_two_at_once_write_once(desk, tmp_path):
    desk("good", "good", "good")
    (first, _), (second, told) = both_at_once(tmp_path)
    assert (first, second) == (0, 2)
    lines = [line for line in told.decode().splitlines() if "waiting" not in line]
    assert lines
    assert all(line.endswith("already exists; use --replace to overwrite") for line in lines)
    assert sorted(files(tmp_path / "out")) == [
        f"KX-7-{slot}-tiny.{suffix}" for slot in (1, 2, 3) for suffix in ("json", "pdf")
    ]


def test_two_at_once_may_replace(desk, tmp_path):
    desk("good")
    assert [code for code, _ in both_at_once(tmp_path, "--replace")] == [0, 0]
    assert sorted(files(tmp_path / "out")) == ["KX-7-1-tiny.json", "KX-7-1-tiny.pdf"]


def test_a_run_waits_for_another_in_its_folder(desk, tmp_path):
    desk("good")
    (tmp_path / "out").mkdir()
    lock = tmp_path / "out" / ".compliance.lock"
    call = ("assess", "job.yaml", "--out", "out", *NOW)
    with FileLock(lock) as held, start(tmp_path, *call) as process:
        line = process.stderr.readline()
        assert line == b"compliance: waiting for another run that writes to out\n"
        assert list((tmp_path / "out").iterdir()) == [lock]
        held.release()
        _, told = process.communicate(timeout=600)
        assert (process.returncode, told) == (0, b"")
    assert not lock.exists()


SLOW = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background jobs ignore it
signal.signal(signal.SIGHUP, signal.{hangup})
import compliance.assessment as engine
from compliance.cli import command

assess, calls = engine.assess, []

def slow(*args, **given):
    calls.append(1)
    if len(calls) == 2:
        print("ready", flush=True)
        time.sleep(600)
    return assess(*args, **given)

engine.assess = slow
command.main(["assess", "job.yaml", "--out", "out", "--no-sheet"])
"""


def slow(place, hangup="SIG_DFL"):
    """A run that is at its second slot."""
    process = subprocess.Popen(
        [sys.executable, "-c", SLOW.format(hangup=hangup)],
        cwd=place, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout.readline() == "ready\n"
    return process


@pytest.mark.parametrize(
    ("number", "code", "word"),
    [
        (signal.SIGINT, 130, "interrupted"),
        (signal.SIGTERM, 143, "terminated"),
        (signal.SIGHUP, 129, "hung up"),
    ],
)
def test_an_interrupt_leaves_whole_files_only(desk, ended, tmp_path, number, code, word):
    desk("good", "good")
    with slow(tmp_path) as process:
        process.send_signal(number)
        ended(process)
        told = process.stderr.read()
        assert process.returncode == code
    assert told == f"\ncompliance: {word}\n"
    assert list(files(tmp_path / "out")) == ["KX-7-1-tiny.json"]


def test_a_run_that_shall_outlive_its_terminal_does(desk, ended, tmp_path):
    desk("good", "good")
    with slow(tmp_path, hangup="SIG_IGN") as process:
        process.send_signal(signal.SIGHUP)
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(timeout=1)
        process.send_signal(signal.SIGTERM)
        ended(process)
        assert process.returncode == 143


@pytest.fixture
def faulty(monkeypatch):
    """Makes the assessment of the first slot fail with an error."""

    def install(error: Exception) -> None:
        assess, calls = engine.assess, []

        def faulty(*args, **given):
            calls.append(1)
            if len(calls) == 1:
                raise error
            return assess(*args, **given)

        monkeypatch.setattr(engine, "assess", faulty)

    return install


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (
            ZeroDivisionError("x"),
            "compliance: internal error, not a fault in your input (ZeroDivisionError: x); "
            "run 'compliance --traceback …' for the details",
        ),
        (MemoryError(), "compliance: not enough memory for this input"),
        (OSError(5, "Input/output error", "a.csv"), "compliance: a.csv: input/output error"),
    ],
)
def test_a_fault_of_the_program_is_its_slots_too(compliance, desk, faulty, error, line):
    desk("good", "good")
    faulty(error)
    done = compliance("assess", "job.yaml", "--no-sheet")
    assert (done.returncode, done.stderr) == (4, line + "\n")
    assert "1     ! error\n2     ◐ conditionally\n      compliant\n" in done.stdout


def test_a_traceback_of_a_slot_on_request(compliance, desk, faulty):
    desk("good")
    faulty(ZeroDivisionError("x"))
    done = compliance("--traceback", "assess", "job.yaml", "--no-sheet")
    assert done.stderr.startswith("Traceback (most recent call last)")
    assert "in faulty" in done.stderr


# ---------------------------------------------------------------- files that are not what they say


def test_folders_that_cannot_be_written(compliance, desk):
    desk("good")
    done = compliance("assess", "job.yaml", "--out", "/proc/none/out", *NOW)
    assert (done.returncode, done.stdout) == (4, "")
    assert done.stderr == (
        "compliance: /proc/none/out: cannot be created: no such file or directory\n"
    )
    done = compliance("assess", "job.yaml", "--out", "/proc/self", *NOW)
    assert (done.returncode, done.stdout) == (4, "")
    assert done.stderr.startswith("compliance: /proc/self: cannot write files in this folder: ")


@pytest.mark.parametrize("which", ["job.yaml", "good.csv", "tiny.yaml"])
@pytest.mark.parametrize("kind", ["missing", "folder", "empty", "huge", "binary", "pipe"])
def test_a_file_that_is_not_what_it_should_be(compliance, process, desk, tmp_path, which, kind):
    desk("good")
    path = tmp_path / which
    path.unlink()
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind != "missing":
        with path.open("wb") as file:
            if kind == "huge":
                file.truncate(1 << 31)
            elif kind == "binary":
                file.write(bytes(range(256)) * 8)
    run = process if kind == "pipe" else compliance  # a pipe may be waited for without an end
    done = run("assess", "job.yaml", "--no-sheet", *NOW)
    assert done.returncode == 2
    assert which in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr
    assert "Errno" not in done.stderr


def test_the_readings_of_a_bare_call_too(compliance, desk, tmp_path):
    desk("good")
    call = ("assess", "none.csv", "--rule", "tiny.yaml", "--encoding", "rgb-8-full")
    done = compliance(*call)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("compliance: none.csv: no such file")


# ---------------------------------------------------------------- a password that is typed


@pytest.mark.parametrize(("typed", "code"), [(b"a long password\n", 0), (b"wrong\n", 2)])
def test_a_password_is_asked_for(compliance, desk, tmp_path, typed, code):
    desk("good")
    (tmp_path / "password.txt").write_text("a long password\n")
    person = ("--name", "Calibration", "--organisation", "Kelp Post", "--email", "a@example.org")
    made = compliance(
        "identity", "new", *person, "--out", "own.p12", "--password-file", "password.txt",
        "--now", "2026-01-01T00:00:00Z",
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    ours, theirs = pty.openpty()
    call = ("assess", "job.yaml", "--out", "out", "--identity", "own.p12", *NOW)
    with start(tmp_path, *call, stdin=theirs, start_new_session=True) as process:
        watch = threading.Timer(600, process.kill)
        watch.start()
        told = b""
        while not told.endswith(b": ") and (char := process.stderr.read(1)):
            told += char  # what is typed before the prompt is whole is thrown away
        os.write(ours, typed)
        out, rest = process.communicate()
        watch.cancel()
        told += rest
        assert process.returncode == code, told
    os.close(ours)
    os.close(theirs)
    assert b"long password" not in out + told
    assert (tmp_path / "out" / "KX-7-1-tiny.pdf").exists() == (code == 0)


def test_the_demo_fits_a_terminal(compliance, root):
    done = compliance("assess", root / "demo" / "job.yaml", "--no-sheet", *NOW)
    assert done.returncode == 1
    assert "\u00a0" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
