"""What docs/house-rules.md shows is so: followed from top to bottom in a scratch repository."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "house-rules.md"

FENCE = re.compile(r"^(?:<!-- file: (\S+)(.*?)-->\n)?```(\w+)\n(.*?)^```$", re.M | re.S)
WHOLE = {"jobs/readings/slot-1.csv": ROOT / "demo" / "readings" / "slot-1.csv"}
"""Files of which the page shows the first lines: where the rest is."""

MAKE = "run: python tests/test_house_rules_page.py"


def run(line: str, folder: Path) -> subprocess.CompletedProcess[str]:
    program, *arguments = shlex.split(line)
    start = {
        "compliance": [sys.executable, "-m", "compliance.cli"],
        "git": ["git", "-c", "user.name=A", "-c", "user.email=a@example.org",
                "-c", "commit.gpgsign=false", "-c", "core.hooksPath=/dev/null"],
    }[program]  # fmt: skip
    paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    return subprocess.run(
        [*start, *arguments],
        cwd=folder,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join(paths),
            "COMPLIANCE_DATA": str(folder / "data"),
            "GIT_CEILING_DIRECTORIES": str(folder.parent),
        },
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


def follow(folder: Path, text: str) -> str:
    """Do what the page says; the page with what its console blocks really print."""

    def block(found: re.Match[str]) -> str:
        name, _, kind, body = found.groups()
        if name:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            if name in WHOLE:
                assert WHOLE[name].read_text(encoding="utf-8").startswith(body)
                shutil.copy(WHOLE[name], folder / name)
            else:
                (folder / name).write_text(body, encoding="utf-8")
        elif kind == "sh":
            for line in body.splitlines():
                command, _, remark = line.partition("#")
                done = run(command, folder)
                expected = int(remark.rsplit(maxsplit=1)[-1]) if remark else 0
                assert done.returncode == expected, f"{line}\n{done.stdout}{done.stderr}"
        elif kind == "console":
            head = body.splitlines()[0]
            printed = run(head.removeprefix("$ "), folder).stdout
            return found.group(0).replace(body, f"{head}\n{printed}")
        return found.group(0)

    return FENCE.sub(block, text)


@pytest.fixture(scope="module")
def followed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    if shutil.which("git") is None:
        pytest.skip("git is not installed")
    folder = tmp_path_factory.mktemp("page")
    return folder, follow(folder, PAGE.read_text(encoding="utf-8"))


def test_every_command_does_what_the_page_says(followed: tuple[Path, str]) -> None:
    folder, text = followed
    assert text == PAGE.read_text(encoding="utf-8"), f"the page is behind; {MAKE}"
    assert len(list((folder / "sheets").glob("SY-0412-1-harbour-broadcast.*"))) == 2
    assert text.count("```sh\n") > 7


def test_every_rule_of_the_page_is_in_order(followed: tuple[Path, str]) -> None:
    folder, _ = followed
    done = run("compliance rules check rules .compliance.yaml", folder)
    assert (done.returncode, done.stdout) == (0, "4 files checked, no complaint\n")


def test_a_change_without_its_reason_is_refused_as_the_page_says(
    followed: tuple[Path, str],
) -> None:
    folder, _ = followed
    rule = folder / "rules" / "harbour-broadcast.yaml"
    text = rule.read_text(encoding="utf-8")
    try:
        rule.write_text(re.sub(r"\n    change: .*", "", text), encoding="utf-8")
        done = run("compliance rules check", folder)
    finally:
        rule.write_text(text, encoding="utf-8")
    assert done.returncode == 1
    assert "rules/harbour-broadcast.yaml:10: requirements.white-level.limits: not provably" in (
        done.stdout
    )


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        PAGE.write_text(follow(Path(place), PAGE.read_text(encoding="utf-8")), encoding="utf-8")
