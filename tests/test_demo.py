"""`sh demo/run` comes out as meant, from any folder, twice at once, and stays in demo/out/.

What comes out is compared, and every sheet verified, by demo/walkthrough.py itself.
"""

from __future__ import annotations

import os
import subprocess
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO

ROOT = Path(__file__).resolve().parent.parent


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


def test_two_runs_at_once_come_out_as_meant(tmp_path: Path) -> None:
    # Into files: a run that waits for a full pipe would hold up the other.
    with TemporaryFile("w+") as one, TemporaryFile("w+") as other:
        runs = [(start(tmp_path, out), out) for out in (one, other)]
        for run, out in runs:
            code = run.wait(timeout=600)
            out.seek(0)
            text = out.read()
            assert code == 0, text
            assert "All came out as meant" in text
            assert text.rstrip().endswith(str(ROOT / "demo" / "out"))
    # The user's folders are untouched; pip asks rustc for its version, which may leave a folder.
    assert {file.name for file in tmp_path.iterdir()} <= {".rustup"}
