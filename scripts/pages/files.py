"""The page of files other than rules: job, meter, repository, deviation."""

from __future__ import annotations

from pages.markdown import Fields, schema

HEAD = """\
<!-- Written by scripts/make_pages.py from compliance/schemas/. -->

# Fields of files

Every key of the files that you write, from the program's schemas; rule files have [a page of their
own](rules.md#fields-of-a-rule-file). No other keys are allowed; an unknown key is an error that
names the nearest known one. [The job file](../job.md), [Meters](../meters.md) and [House
rules](../house-rules.md) show how to write the files.

A dot leads into a mapping, `[]` into each entry of a list, and `NAME` is a name of your choice.
"""

FILES = {
    "job": "The job file",
    "meter": "The meter file",
    "repository": "`.compliance.yaml`",
    "deviation": "The deviation file",
}


def page() -> str:
    """The whole page."""
    lines = [HEAD]
    for name, title in FILES.items():
        whole = schema(name)
        fields = Fields(whole)
        lines += [f"## {title}", "", whole["description"], "", *fields.top()]
        lines += fields.sections(level="###")
    return "\n".join(lines).rstrip("\n") + "\n"
