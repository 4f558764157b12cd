"""`compliance rules`: show rules, check house rules, show what a change of a rule does."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from compliance.cli._options import format_option, search_path, specs_option
from compliance.cli._rules_diff import diff
from compliance.cli._terminal import escape_controls
from compliance.cli._text import (
    cell,
    columns,
    hanging_indent,
    print_json,
    print_lines,
    style,
    table,
)
from compliance.errors import Problem, RuleError, UsageError
from compliance.model import Change, Level, Requirement, Rule, RuleFile
from compliance.report.words.en.rules import (
    ACCEPTS,
    NOT_COVERED,
    NOT_COVERED_COLUMNS,
    accepted_words,
    asked_words,
    basis_summary,
    clause_words,
    decision_words,
    limits_words,
    set_words,
    source_words,
    subject_words,
    target_facts,
    why_words,
)
from compliance.rules.compare_parts import limit_key
from compliance.rules.library import (
    NAME,
    known_rules,
    load_rule,
    load_rule_with_locations,
    repository_file,
    repository_folders,
)
from compliance.rules.lint import check_file
from compliance.rules.load import from_resolved
from compliance.yaml_nodes.nodes import SourceLocations, write_yaml

HEADS = ("rule", "revision", "title", "limits by basis")
WIDTHS = (26, 8, 24, 16)


@click.command("list")
@specs_option()
@format_option("text", "json", "markdown", help=None)
def listing(specs: tuple[Path, ...], form: str) -> int:
    """List the rules: house rules first, then the shipped ones.

    The last column counts each rule's limits by their basis: published documents, digests of
    them, memory, practice, or the house.
    """
    search = search_path(specs)
    rules: list[tuple[Rule, bool]] = []
    faults: list[str] = []
    for name, shipped in known_rules(search):
        try:
            rules.append((load_rule(name, search=search), shipped))
        except RuleError as error:
            faults += [str(problem) for problem in error.problems]
    if form == "json":
        print_json({"rules": [_list_data(rule, shipped) for rule, shipped in rules]})
    elif form == "markdown":
        rows = [[f"`{rule.id}`", *map(cell, _cells(rule)[1:])] for rule, _ in rules]
        print_lines(table(HEADS, rows))
    else:
        _print_text(rules)
    if faults:
        click.echo("\n".join(escape_controls(line) for line in dict.fromkeys(faults)), err=True)
    return 2 if faults else 0


def _cells(rule: Rule) -> list[str]:
    title = f"{rule.title} (extends {rule.extends})" if rule.extends else rule.title
    return [rule.id, str(rule.revision), title, basis_summary(rule.requirements)]


def _print_text(rules: Sequence[tuple[Rule, bool]]) -> None:
    look = style()
    rows = [[(head, "strong") for head in HEADS]]
    rows += [[(look.text(text), "") for text in _cells(rule)] for rule, _ in rules]
    print_lines(columns(rows, WIDTHS, look))


def _list_data(rule: Rule, shipped: bool) -> dict[str, Any]:
    return {
        "id": rule.id,
        "title": rule.title,
        "revision": rule.revision,
        "extends": rule.extends,
        "shipped": shipped,
        "shall": sum(requirement.level is Level.SHALL for requirement in rule.requirements),
        "should": sum(requirement.level is Level.SHOULD for requirement in rule.requirements),
        "basis": dict(Counter(requirement.basis for requirement in rule.requirements)),
        "digest": rule.digest,
    }


INDENT = 4
LABEL = 20


@click.command("show")
@click.argument("rule", metavar="ID|FILE")
@specs_option()
@format_option(
    "text", "yaml", "json", "markdown", help="yaml: one rule file with parents and lists resolved."
)
def show(rule: str, specs: tuple[Path, ...], form: str) -> None:
    """Show a rule with its parents: each limit in plain words, with its source.

    ID@REVISION shows an earlier revision of a shipped rule, from the archive.
    """
    found, places = load_rule_with_locations(rule, search=search_path(specs))
    if form == "json":
        print_json(_rule_data(found))
    elif form == "yaml":
        print_lines(_yaml(found))
    elif form == "markdown":
        print_lines(_markdown(found, places))
    else:
        print_lines(_text(found, places))


def _origin(requirement: Requirement, places: SourceLocations) -> str:
    """Return file and line of a requirement's limits."""
    file, line = places.find(("requirements", requirement.id, limit_key(requirement)))
    return file if line is None else f"{file}:{line}"


def _facts(rule: Rule) -> Iterator[tuple[str, str]]:
    """Yield the facts of a rule besides its requirements."""
    if rule.extends:
        yield "Extends", rule.extends
    if rule.archived:
        used, other, by = rule.archived.used, rule.archived.other, rule.archived.replaced_by
        now = f"replaced by {' and '.join(by)}" if by else f"newest {other}"
        yield "Archived", f"{used}; {now}: compliance rules diff {used} {other}"
    yield "Limits", basis_summary(rule.requirements)
    yield "Valid for", f"{rule.valid_days} days" if rule.valid_days else "not stated"
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
        requirements = [each for each in rule.requirements if each.level is level]
        if requirements:
            yield words, requirements


# ---------------------------------------------------------------- as text


def _text(rule: Rule, places: SourceLocations) -> Iterator[str]:
    look = style()
    yield look.ink(look.text(f"{rule.id}, revision {rule.revision}"), "strong")
    yield from hanging_indent(rule.title, 0, look)
    yield ""
    for label, value in _facts(rule):
        yield from hanging_indent(value, LABEL, look, first=label)
    for words, requirements in _groups(rule):
        yield ""
        yield look.ink(look.text(words), "strong")
        for requirement in requirements:
            source = f"{source_words(requirement)} ({_origin(requirement, places)})"
            yield from hanging_indent(f"{requirement.id}: {requirement.title}", 2, look)
            yield from hanging_indent(asked_words(requirement, rule.sets), INDENT, look)
            yield from hanging_indent(source, INDENT, look)
    if rule.sets:
        yield ""
        yield look.ink(look.text("Patches"), "strong")
        for name, patch_set in rule.sets.items():
            yield from hanging_indent(set_words(patch_set), LABEL, look, first=f"  {name}")
    if rule.accepts:
        yield ""
        yield look.ink(look.text(ACCEPTS), "strong")
        for accepted in rule.accepts:
            yield from hanging_indent(accepted_words(accepted, rule.target), 2, look)
    if rule.not_covered:
        yield ""
        yield look.ink(look.text(NOT_COVERED), "strong")
        for entry in rule.not_covered:
            yield from hanging_indent(clause_words(entry), 2, look)
            yield from hanging_indent(why_words(entry), INDENT, look)
    if rule.changes:
        yield ""
        yield look.ink(look.text("Changes from the parent, with their reasons"), "strong")
        for change in rule.changes:
            yield from hanging_indent(change.subject, 2, look)
            yield from hanging_indent(_change(change), INDENT, look)


# ---------------------------------------------------------------- as Markdown


def _markdown(rule: Rule, places: SourceLocations) -> Iterator[str]:
    yield f"## `{rule.id}`, revision {rule.revision}: {cell(rule.title)}"
    yield ""
    yield from (f"- {label}: {cell(value)}" for label, value in _facts(rule))
    for words, requirements in _groups(rule):
        yield ""
        yield f"### {words}"
        yield ""
        yield from table(
            ("requirement", "quantity", "limits", "basis and clause", "file"),
            (
                (
                    f"{cell(requirement.title)} (`{requirement.id}`)",
                    cell(subject_words(requirement, rule.sets)),
                    cell(limits_words(requirement)),
                    cell(source_words(requirement)),
                    cell(_origin(requirement, places)),
                )
                for requirement in requirements
            ),
        )
    if rule.accepts:
        yield from ("", f"### {ACCEPTS}", "")
        yield from (f"- {cell(accepted_words(each, rule.target))}" for each in rule.accepts)
    if rule.not_covered:
        yield from ("", f"### {NOT_COVERED}", "")
        yield from table(
            NOT_COVERED_COLUMNS,
            ((cell(each.clause), cell(each.what), cell(each.why)) for each in rule.not_covered),
        )
    if rule.changes:
        yield ""
        yield "### Changes from the parent, with their reasons"
        yield ""
        yield from (f"- `{change.subject}`: {cell(_change(change))}" for change in rule.changes)


# ---------------------------------------------------------------- as data


def _rule_data(rule: Rule) -> dict[str, Any]:
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
    """Write a rule file without parents and lists; comments name its sources."""
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


SUFFIXES = (".yaml", ".yml")


@click.command("check")
@click.argument("paths", metavar="[PATH]...", nargs=-1, type=click.Path(path_type=Path))
@specs_option()
@format_option("text", "json", "github", help="github: annotations of a workflow run.")
def check(paths: tuple[Path, ...], specs: tuple[Path, ...], form: str) -> int:
    """Check rule files, patch lists and folders of them; default: the repository's.

    Checks the syntax, the parents, and that what a rule asks can be shown, judged and met by a
    display on the rule's target.

    A rule on an archived revision of a shipped one, or on one that was replaced, earns a remark,
    which is no problem.

    Exit codes: 0 no problems, 1 problems found, 2 wrong call.
    """
    search = search_path(specs)
    files = list(dict.fromkeys(_files(paths or _own())))
    checked = [check_file(file, search) for file in files]
    problems = list(dict.fromkeys(found for file in checked for found in file.problems))
    remarks = list(dict.fromkeys(found for file in checked for found in file.remarks))
    if form == "json":
        complaints, notices = list(map(_check_data, problems)), list(map(_check_data, remarks))
        named = [str(file) for file in files]
        print_json({"files": named, "complaints": complaints, "remarks": notices})
    elif form == "github":
        print_lines(_annotation(problem, "error") for problem in problems)
        print_lines(_annotation(remark, "notice") for remark in remarks)
    else:
        look = style()
        print_lines(look.text(str(found)) for found in (*problems, *remarks))
        count = f"{len(files)} file{'s' * (len(files) != 1)} checked"
        told = f", {_count(len(remarks), 'remark')}" if remarks else ""
        print_lines([f"{count}, {_count(len(problems), 'problem')}{told}"])
    return 1 if problems else 0


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'s' * (number != 1)}"


def _own() -> tuple[Path, ...]:
    """Return the repository file above the current folder, and the rule folders it names."""
    file = repository_file(Path())
    if file is None:
        raise UsageError(
            f"no PATH given, and no {NAME} in or above this folder names folders of rules"
        )
    return (file, *repository_folders(Path()))


def _files(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield files as named; for a folder its rule files, `.compliance.yaml` among them."""
    for path in paths:
        if path.is_dir():
            inside = sorted(path.glob("*.yaml"))
            if not inside:
                raise UsageError(f"{path}: no rule files (*.yaml) in this folder")
            yield from inside
        elif not os.path.lexists(path):
            raise UsageError(f"{path}: no such file or folder")
        elif path.suffix.lower() not in SUFFIXES:
            raise UsageError(f"{path}: is not a rule file; expected a name that ends in .yaml")
        else:
            yield path


def _check_data(problem: Problem) -> dict[str, object]:
    return {
        "file": problem.file,
        "line": problem.line,
        "field": problem.field,
        "message": problem.message,
    }


def _annotation(problem: Problem, severity: str) -> str:
    """Write a problem as a workflow command, escaped so that it cannot end or begin another.

    `severity` is `error` or `notice`.
    """
    places = [f"file={_escaped(problem.file, ':,')}"]
    if problem.line is not None:
        places.append(f"line={problem.line}")
    if problem.field:
        places.append(f"title={_escaped(problem.field, ':,')}")
    return f"::{severity} {','.join(places)}::{_escaped(problem.message)}"


def _escaped(text: str, further: str = "") -> str:
    escaped = escape_controls(text).replace("%", "%25")
    for sign in further:
        escaped = escaped.replace(sign, f"%{ord(sign):02X}")
    return style().text(escaped)


@click.group("rules")
def command() -> None:
    """Show rules, check house rules, show what a change of a rule does.

    Rules are searched by id in the folders of --specs, then in those named by the
    .compliance.yaml in or above the current folder, then among the shipped rules.
    """


for _each in (listing, show, check, diff):
    command.add_command(_each)
