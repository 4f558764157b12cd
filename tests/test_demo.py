"""`sh demo/run` comes out as meant, from any folder, waits for another, and stays in demo/out/.

What comes out is compared, and every sheet verified, by demo/walkthrough.py itself.
"""

from __future__ import annotations

import os
import subprocess
import time
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO

import pytest
from filelock import FileLock

ROOT = Path(__file__).resolve().parent.parent
OUT = ROOT / "demo" / "out"


def start(home: Path, out: IO[str]) -> subprocess.Popen[str]:
    """One run, with another home, from there; all that it says goes into the file."""
    environment = {key: value for key, value in os.environ.items() if key != "XDG_DATA_HOME"}
    cache = os.environ.get("PIP_CACHE_DIR", str(Path.home() / ".cache" / "pip"))
    return subprocess.Popen(
        ["sh", ROOT / "demo" / "run"],
        cwd=home,
        env={**environment, "HOME": str(home), "PIP_CACHE_DIR": cache},
        stdin=subprocess.DEVNULL,
        stdout=out,
        stderr=subprocess.STDOUT,
        text=True,
    )


def test_a_run_waits_for_another_and_comes_out_as_meant(tmp_path: Path) -> None:
    OUT.mkdir(parents=True, exist_ok=True)
    sheet = OUT / "MV-0417-1-sdr-broadcast.json"
    # Into a file: a run that waits for a full pipe would hold up the test.
    with TemporaryFile("w+") as said:
        with FileLock(OUT / ".lock"):
            sheet.write_text("of another run")
            run = start(tmp_path, said)
            while run.poll() is None and "Commands run in" not in told(said):
                time.sleep(0.1)
            with pytest.raises(subprocess.TimeoutExpired):
                run.wait(timeout=2)
            assert sheet.read_text() == "of another run"
        code = run.wait(timeout=600)
        text = told(said)
    assert code == 0, text
    assert "All came out as meant" in text
    assert text.rstrip().endswith(str(OUT))
    # The user's folders are untouched; pip asks rustc for its version, which may leave a folder.
    assert {file.name for file in tmp_path.iterdir()} <= {".rustup"}


def told(file: IO[str]) -> str:
    """What a run has printed so far; the file is the run's own, whose end must not move."""
    return os.pread(file.fileno(), 1 << 20, 0).decode()
