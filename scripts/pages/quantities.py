"""The page of quantities, from the catalogue."""

from __future__ import annotations

from collections.abc import Iterator

from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS, Quantity
from pages.markdown import plain, table

HEAD = """\
<!-- Written by scripts/make_pages.py from compliance/quantities/catalogue.py. -->

# Quantities

The quantities that a requirement's `quantity:` may name. A quantity's value is computed from the
readings and compared with the limits. [Rules](rules.md#requirement) shows how to write a
requirement.

Unit `1` is a plain number. *Statistic* lists the values of the key `statistic:`, *reference* those
of `reference:`; a key that is not listed cannot be set. *Extra keys* are further keys that a
requirement on this quantity may have.
"""

UNITS = {"1": "a plain number", "as the field": "in the unit of the field"}
"""Units in words, if they are not written after a value."""

RECORDED = """\
## Fields of `recorded`

`field:` names a value that the job states.
"""


def overview() -> Iterator[str]:
    """The table of all quantities."""
    rows = [
        (f"[`{row.name}`](#{row.name})", plain(row.title), row.unit) for row in QUANTITIES.values()
    ]
    yield from table(("quantity", "title", "unit"), rows)


def section(row: Quantity) -> Iterator[str]:
    """The section of one quantity."""
    yield from (f"## {row.name}", "")
    unit = UNITS.get(row.unit, f"in {row.unit}")
    yield f"**{plain(row.title)}**, {plain(unit)}: {plain(row.definition)}."
    yield ""
    yield f"- Source: {plain(row.source)}"
    yield f"- A limit, for example: `limits: {{{row.example}}}`"
    if len(row.statistics) > 1:
        yield f"- Statistic: {codes(row.statistics)}"
    if len(row.references) > 1:
        yield f"- Reference: {codes(row.references)}"
    if row.options:
        yield f"- Extra keys: {codes(row.options)}"
    if row.fewest > 1:
        what = "readings" if row.compares == "repeats" else "patches"
        yield f"- Needs at least {row.fewest} {what}"
    if row.roles:
        yield f"- Takes by itself, without `over`: {', '.join(row.roles)}"
    if row.pattern:
        yield f"- Patches are shown as: {row.pattern}"
    yield ""


def codes(names: tuple[str, ...]) -> str:
    """Names as code."""
    return ", ".join(f"`{name}`" for name in names)


def page() -> str:
    """The whole page."""
    lines = [HEAD, *overview()]
    for row in QUANTITIES.values():
        lines += section(row)
    fields = [(f"`{name}`", plain(words), unit) for name, (unit, words) in RECORDED_FIELDS.items()]
    lines += [RECORDED, *table(("field", "what", "unit"), fields)]
    return "\n".join(lines).rstrip("\n") + "\n"
