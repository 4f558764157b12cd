"""`compliance rules`: look at rules, check house rules, see what a change of a rule does."""

from __future__ import annotations

import click

from compliance.cli.rules.check import check
from compliance.cli.rules.diff import diff
from compliance.cli.rules.listing import listing
from compliance.cli.rules.show import show

__all__ = ["command"]


@click.group("rules")
def command() -> None:
    """Look at rules, check house rules, see what a change of a rule does.

    Rules are found by id in the folders of --specs, in those that a .compliance.yaml
    above the folder you stand in names, and among the shipped ones.
    """


for _each in (listing, show, check, diff):
    command.add_command(_each)
