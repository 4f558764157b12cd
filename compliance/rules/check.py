"""Every complaint about a file of rules: its form, its parents, and whether it makes sense."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from compliance.documents import Node, read_bytes, read_yaml
from compliance.errors import Problem, RuleError
from compliance.rules.library import trace_rule
from compliance.rules.lint import lint
from compliance.rules.read import RuleSource, read_list
from compliance.rules.repository import NAME, read_repository

__all__ = ["check_file"]


def check_file(path: Path, search: Sequence[Path] = ()) -> list[Problem]:
    """The complaints about a rule file, a patch list or a `.compliance.yaml`; empty if in order.

    Never raises for what stands in the file.
    """
    try:
        if path.name == NAME:
            read_repository(path)
        elif _is_list(path):
            read_list(RuleSource(path, str(path), str(path)))
        else:
            rule, places = trace_rule(path, search=search)
            lint(rule, places)
            places.raise_if_any()
    except RuleError as error:
        return list(error.problems)
    return []


def _is_list(path: Path) -> bool:
    """A patch list: code values and their encoding, and nothing of a rule."""
    node: Node = read_yaml(read_bytes(path, RuleError, "rule"), str(path), RuleError)
    keys = set(node.entries)
    return "encoding" in keys and not keys & {"rule", "extends", "requirements", "target"}
