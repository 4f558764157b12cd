"""`sh demo/run` comes out as meant, from any folder, twice at once, and stays in demo/out/."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def start(home: Path) -> subprocess.Popen[str]:
    environment = {key: value for key, value in os.environ.items() if key != "XDG_DATA_HOME"}
    return subprocess.Popen(
        ["sh", ROOT / "demo" / "run"],
        cwd=home,
        env={**environment, "HOME": str(home), "PIP_CACHE_DIR": pip_cache()},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def pip_cache() -> str:
    return os.environ.get("PIP_CACHE_DIR", str(Path.home() / ".cache" / "pip"))


def test_two_runs_at_once_come_out_as_meant(tmp_path: Path) -> None:
    runs = [start(tmp_path), start(tmp_path)]
    for each in runs:
        out, err = each.communicate(timeout=600)
        assert each.returncode == 0, out + err
        assert out.rstrip().endswith(str(ROOT / "demo" / "out"))
        assert "All came out as meant" in out
    assert list(tmp_path.iterdir()) == []  # the user's folders are untouched
    sheets = sorted(file.name for file in (ROOT / "demo" / "out").glob("*.pdf"))
    assert sheets == [
        "MV-0417-1-sdr-broadcast.pdf",
        "MV-0417-2-web-proven.pdf",
        "MV-0417-2-web-srgb.pdf",
        "MV-0417-3-hdr-pq-1000.pdf",
        "MV-0417-4-cinema-review-room.pdf",
    ]
