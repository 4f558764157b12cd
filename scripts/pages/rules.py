"""The page of rules: the library at a glance, and every field of a rule file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from compliance.model import Rule
from compliance.report.words.en.verdicts import BASIS_WORDS
from compliance.rules.library import load_rule, shipped_rules
from pages.library import BASES, target_words
from pages.markdown import Fields, plain, schema, table

HEAD = """\
<!-- Written by scripts/make_pages.py from the rule files and compliance/schemas/rule.json. -->

# Rules

A rule states what a deliverable requires of a display: a target, and requirements with limits.
`compliance rules show ID` prints one in plain words; [House rules](../house-rules.md) shows how to
write one.

## The library

These rules come with the tool, in `specs/`; none extends another. [The library in
full](library.md) has every limit with its clause, and the parts that each rule does not cover. A
limit's `basis` shows how firm it is:
"""

FIELDS = """\
## Fields of a rule file

From the program's schema. No other keys are allowed. A rule that
extends another needs only `rule`, `title` and `revision`; a rule without a parent needs `target`
and `requirements` too. A dot leads into a mapping, `[]` into each entry of a list.
"""


def basis_summary(rule: Rule) -> str:
    """The number of limits for each basis."""
    counts = [(basis, sum(each.basis == basis for each in rule.requirements)) for basis in BASES]
    return ", ".join(f"{count} {basis}" for basis, count in counts if count)


def overview(rules: Sequence[Rule]) -> Iterator[str]:
    """The table of all rules."""
    rows = [
        (
            f"[`{rule.id}`](library.md#{rule.id})",
            plain(rule.title),
            str(rule.revision),
            target_words(rule.target),
            f"`{rule.encoding.name}`",
            basis_summary(rule),
        )
        for rule in rules
    ]
    yield from table(("rule", "deliverable", "rev.", "target", "signal", "limits by basis"), rows)


def page() -> str:
    """The whole page."""
    fields = Fields(schema("rule"))
    lines = [HEAD, *(f"- `{basis}`: {BASIS_WORDS[basis]}" for basis in BASES), ""]
    lines += overview([load_rule(name) for name in shipped_rules()])
    lines += [FIELDS, *fields.top(), *fields.sections(leave_out=("resolved",), level="###")]
    return "\n".join(lines).rstrip("\n") + "\n"
