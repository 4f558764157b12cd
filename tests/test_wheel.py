"""The built wheel, installed with its dependencies elsewhere, works from another folder."""

from __future__ import annotations

import json
import os
import runpy
import shutil
import subprocess
import sys
import venv
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest

import compliance

ROOT = Path(__file__).resolve().parent.parent
SETTINGS = {
    key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "COMPLIANCE_DATA")
}


def run(arguments: Sequence[str | Path], folder: Path, code: int = 0) -> str:
    done = subprocess.run(
        arguments,
        cwd=folder,
        env={**SETTINGS, "HOME": str(folder), "XDG_DATA_HOME": str(folder / "data")},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=900,
    )
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"]
    run([*build, "--wheel-dir", folder, ROOT], folder)
    (built,) = folder.glob("deliverable_compliance-*.whl")
    return built


def test_wheel_carries_what_is_no_code(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    for folder, inside in (("specs", "compliance/specs"), ("compliance", "compliance")):
        for file in (ROOT / folder).rglob("*"):
            if file.is_file() and "__pycache__" not in file.parts:
                assert f"{inside}/{file.relative_to(ROOT / folder)}" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert not any(name.startswith(("tests/", "demo/", "scripts/")) for name in names)


def test_wheel_works_elsewhere(wheel: Path, tmp_path: Path) -> None:
    place = tmp_path / "environment"
    venv.create(place, with_pip=True)
    python = place / "bin" / "python"
    cache = SETTINGS.get("PIP_CACHE_DIR", str(Path.home() / ".cache" / "pip"))
    try:
        run([python, "-m", "pip", "install", "--quiet", "--cache-dir", cache, wheel], tmp_path)
    except AssertionError as error:
        if "Could not find a version" in str(error):
            pytest.skip("no network: the wheel's dependencies cannot be installed")
        raise

    program = place / "bin" / "compliance"
    told = run([program, "--version"], tmp_path)
    assert told == f"compliance {compliance.__version__}\n"

    where = run([python, "-c", "import compliance; print(compliance.__file__)"], tmp_path)
    assert Path(where.strip()).is_relative_to(place)

    shutil.copytree(ROOT / "demo", tmp_path / "job", ignore=shutil.ignore_patterns("out"))
    now = ["--now", "2026-11-20T16:00:00Z"]
    run([program, "assess", "job/job.yaml", "--out", "sheets", *now], tmp_path, code=1)
    meant = runpy.run_path(str(ROOT / "demo" / "walkthrough.py"))["MEANT"]
    documents = (tmp_path / "sheets").glob("*.json")
    verdicts = {file.stem: json.loads(file.read_text())["verdict"] for file in documents}
    assert verdicts == {name: verdict for name, (verdict, *_) in meant.items()}
    assert {file.stem for file in (tmp_path / "sheets").glob("*.pdf")} == set(meant)
