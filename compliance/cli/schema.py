"""`compliance schema`: print the schema files, for editors."""

from __future__ import annotations

import click

from compliance.cli._options import OneOf
from compliance.cli._terminal import escape_controls
from compliance.yaml_nodes.json_schema import SCHEMAS

NAMES = (
    *("rule", "job", "meter", "assessment", "deviation", "delivery", "repository"),
    "assessment-1",
)


@click.command("schema")
@click.argument("name", metavar="KIND", type=OneOf(NAMES))
@click.option(
    "--path", "only_path", is_flag=True, help="Print the path of the schema file instead."
)
def command(name: str, only_path: bool) -> None:
    """Print the JSON Schema of a KIND of file: rule, job, meter, assessment, deviation, delivery,
    repository.

    assessment-1 is that of the documents of release 0.1.0, which are still read.

    An editor uses it if the file that it checks begins with:
    # yaml-language-server: $schema=PATH
    """
    path = SCHEMAS / f"{name}.json"
    click.echo(
        escape_controls(str(path)) if only_path else path.read_text(encoding="utf-8"), nl=only_path
    )
