"""Modules of commands and functions of the program do not take each other's names."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

import compliance.cli


def test_no_function_is_hidden_by_a_command() -> None:
    """Importing `compliance.cli.NAME` sets NAME on the package, over whatever stood there."""
    for entry in compliance.cli.COMMANDS.values():
        import_module(entry.module)
    for name in compliance.cli.__all__:
        assert not isinstance(getattr(compliance.cli, name), ModuleType), name
