"""The pages of docs/reference/ are what the program gives, and say all of it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click
import make_pages
import pytest
from pages import confusion, rules
from pages.markdown import schema

import compliance.cli
from compliance import load_rule, shipped_rules
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT / "docs" / "reference"


def text(name: str) -> str:
    return (REFERENCE / name).read_text(encoding="utf-8")


CONFUSIONS = "docs/reference/confusions.md"
SAMPLE = None if os.environ.get("LONG_TESTS") == "1" else 5
"""Every how many rules one is compared on the page of confusions, whose arithmetic takes long."""


@pytest.mark.parametrize("name", [name for name in make_pages.REFERENCE if name != CONFUSIONS])
def test_the_page_is_what_the_program_gives(name: str) -> None:
    fresh = make_pages.REFERENCE[name]()
    outdated = f"{name} is outdated; run: .venv/bin/python scripts/make_pages.py"
    assert (ROOT / name).read_text(encoding="utf-8") == fresh, outdated


@pytest.mark.parametrize("rule", shipped_rules()[::SAMPLE])
def test_a_rule_is_confused_as_the_page_says(rule: str) -> None:
    fresh = confusion.section(rule).strip("\n")
    assert f"\n{fresh}\n" in text("confusions.md"), f"{CONFUSIONS} is outdated"


def test_no_page_is_left_over() -> None:
    assert {f"docs/reference/{file.name}" for file in REFERENCE.iterdir()} == {
        *make_pages.REFERENCE
    }


def calls(group: click.Group, *path: str) -> Iterator[str]:
    """Every command, as it is called."""
    context = click.Context(group)
    for name in group.list_commands(context):
        entry = group.get_command(context, name)
        if isinstance(entry, click.Group):
            yield from calls(entry, *path, name)
        else:
            yield " ".join((*path, name))


def test_every_command_has_its_help() -> None:
    headings = re.findall(r"^## (.+)$", text("commands.md"), re.M)
    assert headings == ["compliance", *calls(compliance.cli.command, "compliance")]
    assert text("commands.md").count("Usage: compliance") == len(headings)


def test_every_shipped_rule_is_listed() -> None:
    listed = re.findall(
        r"^\| \[`([a-z0-9-]+)`\]\(library.md#\1\) \| (.+?) \|", text("rules.md"), re.M
    )
    assert dict(listed) == {name: load_rule(name).title for name in shipped_rules()}


def test_every_quantity_is_described() -> None:
    page = text("quantities.md")
    for name, row in QUANTITIES.items():
        section = page.split(f"\n## {name}\n")[1].split("\n## ")[0]
        assert f"{{{row.example}}}" in section
        assert all(f"`{key}`" in section for key in row.options)
    assert all(f"| `{field}` |" in page for field in RECORDED_FIELDS)


def keys(part: Any) -> Iterator[str]:
    """Every key that a schema names."""
    if isinstance(part, Mapping):
        properties = part.get("properties", {})
        if isinstance(properties, Mapping):
            yield from properties
        for entry in part.values():
            yield from keys(entry)
    elif isinstance(part, list):
        for entry in part:
            yield from keys(entry)


@pytest.mark.parametrize(
    ("kind", "page"),
    [
        ("rule", "rules.md"),
        ("job", "files.md"),
        ("meter", "files.md"),
        ("deviation", "files.md"),
        ("repository", "files.md"),
        ("assessment", "documents.md"),
    ],
)
def test_every_key_of_a_file_is_listed(kind: str, page: str) -> None:
    listed = re.findall(r"^\| `([\w.\[\]]+)` \|", text(page), re.M)
    named = {place.rsplit(".", 1)[-1].strip("[]") for place in listed}
    whole = dict(schema(kind))
    whole["$defs"] = {
        key: part for key, part in whole.get("$defs", {}).items() if key != "resolved"
    }
    assert set(keys(whole)) <= named


def test_bases_are_counted() -> None:
    rule = load_rule("web-srgb")
    assert rules.basis_summary(rule) == f"{len(rule.requirements)} practice"


def test_a_page_that_is_behind_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(make_pages, "ROOT", tmp_path)
    monkeypatch.setattr(make_pages, "REFERENCE", {"page.md": lambda: "new\n"})
    monkeypatch.setattr(make_pages, "CHAINS", ())
    (tmp_path / "page.md").write_text("old\n")
    assert make_pages.main(["--check"]) == 1
    assert capsys.readouterr().out == "page.md is outdated; run scripts/make_pages.py\n"
    assert (tmp_path / "page.md").read_text() == "old\n"
    assert make_pages.main([]) == 0
    assert (tmp_path / "page.md").read_text() == "new\n"
    assert make_pages.main(["--check"]) == 0
