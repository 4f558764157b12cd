"""What conftest.py adds to pytest: CI skips nothing, `--fast` leaves out what was slow."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = {
    "test_passes.py": "def test_one(): pass\n",
    "test_skips.py": "import pytest\n@pytest.mark.skip(reason='no tool')\ndef test_two(): pass\n",
    "test_not_there.py": "import pytest\npytest.importorskip('no_such_module_at_all')\n",
    "test_works.py": (
        "import time\n"
        "def test_three():\n"
        "    end = time.process_time() + 0.7\n"
        "    while time.process_time() < end:\n"
        "        pass\n"
    ),
}
SHARED = ("--numprocesses", "1", "--dist", "worksteal")


def run(folder: Path, tests: tuple[str, ...], *options: str, ci: str) -> tuple[int, str]:
    """The exit code and output of pytest on these tests under this project's conftest.py."""
    shutil.copy(Path(__file__).with_name("conftest.py"), folder / "conftest.py")
    (folder / "pytest.ini").write_text("[pytest]\naddopts = --import-mode=importlib -ra\n")
    for name in tests:
        (folder / name).write_text(TESTS[name])
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *options],
        cwd=folder,
        env={**os.environ, "CI": ci},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    return done.returncode, done.stdout


@pytest.mark.parametrize(
    ("tests", "ci", "options", "code", "closing"),
    [
        (("test_passes.py",), "true", SHARED, 0, "1 passed"),
        (("test_passes.py", "test_skips.py"), "true", SHARED, 1, "1 passed, 1 skipped"),
        (("test_passes.py", "test_not_there.py"), "true", SHARED, 1, "1 passed, 1 skipped"),
        (("test_passes.py", "test_skips.py"), "true", (), 1, "1 passed, 1 skipped"),
        (("test_passes.py", "test_skips.py"), "", SHARED, 0, "1 passed, 1 skipped"),
    ],
)
def test_a_skipped_test_fails_the_run_under_ci(
    tmp_path: Path,
    tests: tuple[str, ...],
    ci: str,
    options: tuple[str, ...],
    code: int,
    closing: str,
) -> None:
    got, out = run(tmp_path, tests, *options, ci=ci)
    assert got == code, out
    assert ("skipped in CI, which is a failure" in out) == bool(code)
    assert all((name.removesuffix(".py") in out) for name in tests[1:])
    assert re.fullmatch(rf"=+ {closing} in .*s =+", out.splitlines()[-1])


@pytest.mark.parametrize("options", [SHARED, ()], ids=["shared", "alone"])
def test_what_was_slow_when_recorded_is_left_out(tmp_path: Path, options: tuple[str, ...]) -> None:
    """It took processor time; the other did not, and is no entry."""
    tests = ("test_passes.py", "test_works.py")
    assert run(tmp_path, tests, "--record-durations", *options, ci="")[0] == 0
    recorded = json.loads((tmp_path / "durations.json").read_text("utf-8"))
    assert list(recorded) == ["test_works.py::test_three"]
    code, out = run(tmp_path, tests, "--fast", *options, ci="true")
    assert code == 0
    assert "1 passed" in out.splitlines()[-1]
    code, out = run(tmp_path, tests, "-m", "slow", "--fast", "--record-durations", ci="")
    assert "2 deselected" in out.splitlines()[-1]
    assert json.loads((tmp_path / "durations.json").read_text("utf-8")) == recorded
