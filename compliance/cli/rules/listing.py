"""`compliance rules list`: which rules there are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from compliance.cli.layout import columns
from compliance.cli.rules.output import cell, print_json, print_lines, style, table
from compliance.cli.specs import search_path, specs_option
from compliance.cli.terminal import harmless
from compliance.errors import RuleError
from compliance.model import Level, Rule
from compliance.rules import load_rule
from compliance.rules.library import known_rules
from compliance.wording.rules import basis_summary

__all__ = ["listing"]

HEADS = ("rule", "revision", "title", "limits by basis")
WIDTHS = (26, 8, 24, 16)


@click.command("list")
@specs_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "markdown"]),
    default="text",
    show_default=True,
)
def listing(specs: tuple[Path, ...], form: str) -> int:
    """List the rules: house rules first, then the shipped ones.

    The last column counts each rule's limits by what they rest on: published documents,
    digests of them, memory, practice, or the house.
    """
    search = search_path(specs)
    found: list[tuple[Rule, bool]] = []
    faults: list[str] = []
    for name, shipped in known_rules(search):
        try:
            found.append((load_rule(name, search=search), shipped))
        except RuleError as error:
            faults += [str(problem) for problem in error.problems]
    if form == "json":
        print_json({"rules": [_data(rule, shipped) for rule, shipped in found]})
    elif form == "markdown":
        rows = [[f"`{rule.id}`", *map(cell, _cells(rule)[1:])] for rule, _ in found]
        print_lines(table(HEADS, rows))
    else:
        _print_text(found)
    if faults:
        click.echo("\n".join(harmless(line) for line in dict.fromkeys(faults)), err=True)
    return 2 if faults else 0


def _cells(rule: Rule) -> list[str]:
    title = f"{rule.title} (extends {rule.extends})" if rule.extends else rule.title
    return [rule.id, str(rule.revision), title, basis_summary(rule.requirements)]


def _print_text(found: Sequence[tuple[Rule, bool]]) -> None:
    look = style()
    rows = [[(head, "strong") for head in HEADS]]
    rows += [[(look.text(text), "") for text in _cells(rule)] for rule, _ in found]
    print_lines(columns(rows, WIDTHS, look))


def _data(rule: Rule, shipped: bool) -> dict[str, Any]:
    return {
        "id": rule.id,
        "title": rule.title,
        "revision": rule.revision,
        "extends": rule.extends,
        "shipped": shipped,
        "shall": sum(one.level is Level.SHALL for one in rule.requirements),
        "should": sum(one.level is Level.SHOULD for one in rule.requirements),
        "basis": dict(Counter(one.basis for one in rule.requirements)),
        "digest": rule.digest,
    }
