"""Modules of commands and functions of the program do not take each other's names."""

from __future__ import annotations

from importlib import import_module
from inspect import isfunction
from types import ModuleType

import compliance.cli


def test_no_function_is_hidden_by_a_command() -> None:
    """Importing `compliance.cli.NAME` sets NAME on the package, over whatever stood there."""
    own = [name for name, value in vars(compliance.cli).items() if isfunction(value)]
    for entry in compliance.cli.COMMANDS.values():
        import_module(entry.module)
    assert {"main", "print_error", "wants_traceback"} <= set(own)
    for name in [*own, "command"]:
        assert not isinstance(getattr(compliance.cli, name), ModuleType), name
