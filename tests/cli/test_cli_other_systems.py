"""The commands where a system lacks what only POSIX has: on the demo, to the same end."""

from __future__ import annotations

import errno
import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from compliance.cli import _terminal

ROOT = Path(__file__).resolve().parents[2]
NOW = ("--now", "2026-11-20T16:00:00Z")
KEY = ("--password-file", "password.txt")
JOB = "demo/job.yaml"
WHO = (
    "--name",
    "Bram Osterley",
    "--organisation",
    "Vellumfish Finishing",
    "--email",
    "b@x.example",
)

CALLS: list[tuple[int, tuple[str, ...]]] = [
    (0, ("identity", "new", *WHO, *KEY, "--now", "2026-11-20T08:00:00Z")),
    (0, ("plan", JOB, "--slot", "1", "--out", "plan.csv")),
    (0, ("convert", "demo/readings/slot-1.csv", "slot-1.txt", "--encoding", "rgb-10-narrow")),
    (0, ("rules", "check", "demo/rules")),
    (0, ("rules", "diff", "HEAD:demo/rules/web-proven.yaml", "demo/rules/web-proven.yaml")),
    (0, ("explain", JOB, "--slot", "1", *NOW)),
    (1, ("capability", JOB, "--slot", "1")),  # as elsewhere: not every limit can be proven
    (0, ("assess", JOB, "--slot", "1", "--out", "sheets", *KEY, *NOW)),
    (0, ("assess", JOB, "--slot", "1", "--out", "sheets", "--replace", *KEY, *NOW)),
    (0, ("verify", "sheets", "--trust", "data/identity.pem")),
    (0, ("deliver", "sheets", "--out", "delivery", *KEY, *NOW)),
    (0, ("deliver", "sheets", "--out", "delivery.zip", *KEY, *NOW)),
    (0, ("verify", "delivery", "--trust", "data/identity.pem")),
    (0, ("verify", "delivery.zip", "--trust", "data/identity.pem")),
]

WITHOUT_POSIX = r"""
import builtins, os, signal, sys, warnings

ABSENT = ("fcntl", "grp", "pty", "pwd", "resource", "termios", "tty", "_posixshmem")
sys.modules |= dict.fromkeys(ABSENT)  # an import fails where None stands
for name in (
    "O_CLOEXEC", "O_DIRECTORY", "O_NOFOLLOW", "O_NONBLOCK", "O_TMPFILE", "chown", "fchmod",
    "fchown", "fork", "forkpty", "getegid", "geteuid", "getgid", "getpgid", "getuid", "killpg",
    "lchown", "mkfifo", "mknod", "register_at_fork", "sched_getaffinity", "setsid", "statvfs",
    "sysconf",
):
    if hasattr(os, name):
        delattr(os, name)
for name in ("SIGALRM", "SIGHUP", "SIGKILL", "SIGPIPE", "SIGQUIT", "SIGUSR1", "SIGUSR2"):
    delattr(signal, name)
os.supports_dir_fd = os.supports_fd = os.supports_follow_symlinks = frozenset()

rename, real_open, opened = os.rename, os.open, builtins.open

def rename_to_new(source, target):
    if os.path.exists(target):
        raise FileExistsError(17, "File exists", str(target))
    rename(source, target)

def open_file(path, flags, mode=0o777, *, dir_fd=None):
    if dir_fd is not None or os.path.isdir(path):
        raise PermissionError(13, "Permission denied", str(path))
    return real_open(path, flags, 0o644)

def open_here(file, *args, **given):
    if str(file).startswith("/dev/"):
        raise FileNotFoundError(2, "No such file or directory", str(file))
    return opened(file, *args, **given)

os.rename, os.open, builtins.open = rename_to_new, open_file, open_here

import json
from compliance.cli import command

warnings.filterwarnings("error", category=EncodingWarning, module="compliance")
for call in json.loads(sys.argv[1]):
    try:
        command.main(call)
    except SystemExit as leaving:
        print("exit code", leaving.code, flush=True)
"""


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with the demo's job, a password, and a PATH that has only git on it."""
    shutil.copytree(ROOT / "demo", tmp_path / "demo", ignore=shutil.ignore_patterns("out"))
    (tmp_path / "password.txt").write_text("a long enough password\n", encoding="utf-8")
    (tmp_path / "bin").mkdir()
    git = shutil.which("git")
    if git is None:
        pytest.skip("git is not installed")
    (tmp_path / "bin" / "git").symlink_to(git)
    who = ("-c", "user.name=B. Osterley", "-c", "user.email=b@x.example")
    for call in (("init", "-q"), ("add", "demo"), (*who, "commit", "-q", "-m", "The demo")):
        subprocess.run([git, *call], cwd=tmp_path, check=True)
    return tmp_path


def test_every_command_without_posix(desk: Path) -> None:
    calls = json.dumps([call for _, call in CALLS])
    kept = {name: value for name, value in os.environ.items() if not name.startswith("COMPLIANCE_")}
    done = subprocess.run(
        [sys.executable, "-X", "warn_default_encoding", "-c", WITHOUT_POSIX, calls],
        cwd=desk,
        env={
            **kept,
            "COMPLIANCE_DATA": str(desk / "data"),
            "PATH": str(desk / "bin"),
            "PYTHONPATH": str(ROOT),
            "PYTHONIOENCODING": "cp1252",
            "PYTHONWARNINGS": "ignore",
        },
        capture_output=True,
        check=False,
    )
    told = done.stdout.decode("cp1252")
    ends = [line for line in told.splitlines() if line.startswith("exit code")]
    expected = [f"exit code {code}" for code, _ in CALLS]
    assert ends == expected, told + done.stderr.decode("cp1252")
    note, other = done.stderr.decode("cp1252").splitlines()
    assert other.startswith("compliance: sheets: is a folder, not a delivery")
    assert note.startswith(f"compliance: {desk / 'data' / 'identity.p12'}: others may be able to")
    assert sorted(path.name for path in (desk / "sheets").iterdir()) == [
        "MV-0417-1-sdr-broadcast.json",
        "MV-0417-1-sdr-broadcast.pdf",
    ]
    for file in (desk / "plan.csv", desk / "slot-1.txt", desk / "delivery" / "index.html"):
        assert b"\r" not in file.read_bytes()


class Gone(io.StringIO):
    """A pipe without a reader, as Windows tells of it."""

    encoding = "utf-8"

    def write(self, text: str) -> int:
        raise OSError(errno.EINVAL, "Invalid argument")


def test_a_reader_that_goes_away_on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(OSError, match="standard output"):
        _terminal.Output(Gone()).write("text")
    monkeypatch.setattr(_terminal, "CLOSED_PIPE", {errno.EINVAL})
    assert _terminal.Output(Gone()).write("text") == 4
