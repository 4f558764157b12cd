"""What README and the pages of docs/ show is so: their files are read, their commands run."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from pages.follow import CHAINS, FENCE, FollowError, follow, prepare, run

ROOT = Path(__file__).resolve().parents[2]
OUTDATED = "is outdated; run: .venv/bin/python scripts/make_pages.py"
PLAIN = {
    "docs/causes.md", "docs/design-decisions.md", "docs/extending.md", "docs/measurement-model.md",
}  # fmt: skip
"""Pages without commands."""


@pytest.mark.parametrize("chain", CHAINS, ids=lambda chain: Path(chain[0]).stem)
def test_commands_do_what_the_page_says(chain: tuple[str, ...], tmp_path: Path) -> None:
    if "docs/house-rules.md" in chain and shutil.which("git") is None:
        pytest.skip("git is not installed")
    prepare(tmp_path)
    for name in chain:
        text = (ROOT / name).read_text(encoding="utf-8")
        assert follow(ROOT / name, tmp_path) == text, f"{name} {OUTDATED}"
        if name == "docs/house-rules.md":
            rules_of_the_page_are_in_order(tmp_path)


def rules_of_the_page_are_in_order(folder: Path) -> None:
    """All rules together, and one without the reason that the page says it needs."""
    done = run("compliance rules check rules .compliance.yaml", folder)
    assert (done.code, done.out) == (0, "7 files checked, no problems\n")
    rule = folder / "rules" / "vellumfish-broadcast.yaml"
    rule.write_text(re.sub(r"\n    change: .*", "", rule.read_text()), encoding="utf-8")
    done = run("compliance rules check rules/vellumfish-broadcast.yaml", folder)
    assert done.code == 1
    assert "rules/vellumfish-broadcast.yaml:10: requirements.white-level.limits: " in done.out


def test_every_page_is_followed() -> None:
    pages = {f"docs/{file.name}" for file in (ROOT / "docs").glob("*.md")} | {"README.md"}
    chained = [name for chain in CHAINS for name in chain]
    assert sorted(chained) == sorted(pages - PLAIN)
    for name in chained:
        kinds = {kind for _, _, kind, _ in FENCE.findall((ROOT / name).read_text("utf-8"))}
        assert kinds & {"sh", "console"}, name
    for name in PLAIN:
        assert "```" not in (ROOT / name).read_text("utf-8")


@pytest.mark.parametrize(
    ("block", "fault"),
    [
        ("```sh\ncompliance rules show no-such-rule\n```\n", "exit code 2, expected 0"),
        ("```sh\ncompliance schema job  # exit 3\n```\n", "exit code 0, expected 3"),
        ("```sh\nrm -r /nowhere\n```\n", "expected compliance or git"),
        ("<!-- file: job.yaml (the first lines) -->\n```yaml\nno: job\n```\n", "does not begin"),
        ("```python\nsilent = 1\n```\n", "prints nothing"),
    ],
)
def test_a_page_that_is_wrong_is_found(tmp_path: Path, block: str, fault: str) -> None:
    page = tmp_path / "page.md"
    page.write_text(block)
    prepare(tmp_path)
    with pytest.raises(FollowError, match=fault):
        follow(page, tmp_path)


def test_what_a_command_prints_is_brought_up_to_date(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("```console\n$ compliance --version\nolder\n```\n")
    fresh = follow(page, tmp_path)
    assert re.fullmatch(r"```console\n\$ compliance --version\ncompliance \d\S+\n```\n", fresh)
    page.write_text("```console\n$ compliance --version\ncomp…\n```\n")
    assert follow(page, tmp_path) == page.read_text()


def test_readme_is_short() -> None:
    assert len((ROOT / "README.md").read_bytes()) <= 6_000
    assert len((ROOT / "DEVELOPERS.md").read_bytes()) <= 8_000


def test_the_points_of_the_screen_are_where_the_plan_says() -> None:
    from compliance.model import PLACES

    text = (ROOT / "docs" / "readings.md").read_text(encoding="utf-8")
    head, *lines = re.findall(r"^\|(.*[0-9]+ %.*)\|$", text, re.M)[:6]
    across = [float(cell.strip(" %")) for cell in head.split("|")[1:]]
    places = {}
    for line in lines:
        down, *cells = (cell.strip(" `%") for cell in line.split("|"))
        places |= {name: (at, float(down)) for name, at in zip(cells, across, strict=True) if name}
    assert places == PLACES
