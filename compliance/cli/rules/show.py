"""`compliance rules show`: one rule, resolved, in plain language."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from compliance.cli.rules.output import cell, folded, print_json, print_lines, style, table
from compliance.cli.specs import search_path, specs_option
from compliance.documents.writing import write_yaml
from compliance.model import Change, Level, Requirement, Rule, RuleFile
from compliance.rules.library import trace_rule
from compliance.rules.places import Places
from compliance.rules.resolved import from_resolved
from compliance.rules.tolerance import limit_key
from compliance.wording.rules import (
    asked_words,
    basis_summary,
    decision_words,
    limits_words,
    set_words,
    source_words,
    subject_words,
    target_facts,
)

__all__ = ["show"]

INDENT = 4
LABEL = 20


@click.command("show")
@click.argument("rule", metavar="ID|FILE")
@specs_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "yaml", "json", "markdown"]),
    default="text",
    show_default=True,
    help="yaml: as one rule file with parents and lists in it.",
)
def show(rule: str, specs: tuple[Path, ...], form: str) -> None:
    """Show a rule with its parents: each limit in plain words and where it comes from."""
    found, places = trace_rule(rule, search=search_path(specs))
    if form == "json":
        print_json(_data(found))
    elif form == "yaml":
        print_lines(_yaml(found))
    elif form == "markdown":
        print_lines(_markdown(found, places))
    else:
        print_lines(_text(found, places))


def _origin(requirement: Requirement, places: Places) -> str:
    """File and line where a requirement's limits stand."""
    file, line = places.find(("requirements", requirement.id, limit_key(requirement)))
    return file if line is None else f"{file}:{line}"


def _facts(rule: Rule) -> Iterator[tuple[str, str]]:
    """What a rule says besides its requirements."""
    if rule.extends:
        yield "Extends", rule.extends
    yield "Limits", basis_summary(rule.requirements)
    yield "Verdict's life", f"{rule.valid_days} days" if rule.valid_days else "not stated"
    yield "Decision", decision_words(rule.decision)
    yield from target_facts(rule.target)
    yield "Plan's encoding", rule.encoding.name
    yield "Window", f"{rule.window:g}\u00a0% of area"
    for file in rule.files:
        yield "File", _file(file)
    yield "SHA-256", rule.digest


def _file(file: RuleFile) -> str:
    if file.commit is None:
        return f"{file.path}, {'came with the software' if file.shipped else 'unversioned'}"
    state = ", with uncommitted changes" if file.dirty else ""
    return f"{file.path}, commit {file.commit[:12]}{state}"


def _change(change: Change) -> str:
    what = "withdrawn: " if change.withdrawn else ""
    return f"{what}{change.reason}; agreed by {change.agreed_by}, {change.date.isoformat()}"


def _groups(rule: Rule) -> Iterator[tuple[str, list[Requirement]]]:
    for level, words in ((Level.SHALL, "Shall: decides"), (Level.SHOULD, "Should: is reported")):
        found = [one for one in rule.requirements if one.level is level]
        if found:
            yield words, found


# ---------------------------------------------------------------- as text


def _text(rule: Rule, places: Places) -> Iterator[str]:
    look = style()
    yield look.ink(look.text(f"{rule.id}, revision {rule.revision}"), "strong")
    yield from folded(rule.title, 0, look)
    yield ""
    for label, value in _facts(rule):
        yield from folded(value, LABEL, look, first=label)
    for words, found in _groups(rule):
        yield ""
        yield look.ink(look.text(words), "strong")
        for one in found:
            yield from folded(f"{one.id}: {one.title}", 2, look)
            yield from folded(asked_words(one, rule.sets), INDENT, look)
            yield from folded(f"{source_words(one)} ({_origin(one, places)})", INDENT, look)
    if rule.sets:
        yield ""
        yield look.ink(look.text("Patches"), "strong")
        for name, patch_set in rule.sets.items():
            yield from folded(set_words(patch_set), LABEL, look, first=f"  {name}")
    if rule.changes:
        yield ""
        yield look.ink(look.text("Changes from the parent, with their reasons"), "strong")
        for change in rule.changes:
            yield from folded(change.subject, 2, look)
            yield from folded(_change(change), INDENT, look)


# ---------------------------------------------------------------- as Markdown


def _markdown(rule: Rule, places: Places) -> Iterator[str]:
    yield f"## `{rule.id}`, revision {rule.revision}: {cell(rule.title)}"
    yield ""
    yield from (f"- {label}: {cell(value)}" for label, value in _facts(rule))
    for words, found in _groups(rule):
        yield ""
        yield f"### {words}"
        yield ""
        yield from table(
            ("requirement", "what", "limits", "basis and clause", "stands in"),
            (
                (
                    f"{cell(one.title)} (`{one.id}`)",
                    cell(subject_words(one, rule.sets)),
                    cell(limits_words(one)),
                    cell(source_words(one)),
                    cell(_origin(one, places)),
                )
                for one in found
            ),
        )
    if rule.changes:
        yield ""
        yield "### Changes from the parent, with their reasons"
        yield ""
        yield from (f"- `{one.subject}`: {cell(_change(one))}" for one in rule.changes)


# ---------------------------------------------------------------- as data


def _data(rule: Rule) -> dict[str, Any]:
    return {
        "id": rule.id,
        "digest": rule.digest,
        "files": [
            {
                "path": file.path,
                "sha256": file.sha256,
                "commit": file.commit,
                "dirty": file.dirty,
                "shipped": file.shipped,
            }
            for file in rule.files
        ],
        "resolved": rule.resolved,
    }


def _yaml(rule: Rule) -> Iterator[str]:
    """A rule file without parents and lists; what it came from stands in comments."""
    look = style()
    data = from_resolved(rule.resolved)
    data.pop("extends", None)
    data.pop("changes", None)
    yield look.text(f"# {rule.id}, revision {rule.revision}, resolved; SHA-256 {rule.digest}")
    if rule.extends:
        yield look.text(f"# extends {rule.extends}")
    for change in rule.changes:
        yield look.text(f"# change of {change.subject}: {_change(change)}")
    yield write_yaml(data).rstrip("\n")
