"""`compliance capability`: what a meter can prove of a rule, before anything is measured."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli.layout import COLUMNS, Style, columns, wrap
from compliance.cli.specs import search_path
from compliance.cli.terminal import encodable
from compliance.errors import MeterError, Problem
from compliance.model import ENCODINGS, Meter, Rule
from compliance.wording import format_plain, format_requirement_limits, with_unit

if TYPE_CHECKING:
    from compliance.capability import Capability

__all__ = ["command"]

PATH = click.Path(path_type=Path)
CODES = {"inadequate": 1, "unknown": 1, "marginal": 3}
SHAPES = {"adequate": "●", "marginal": "◐", "inadequate": "⊖", "unknown": "◌", "not-rated": "◌"}
INKS = {
    "adequate": "teal",
    "marginal": "ochre",
    "inadequate": "plum",
    "unknown": "grey",
    "not-rated": "grey",
}


@click.command("capability")
@click.argument("rule", metavar="RULE")
@click.option("--meter", metavar="FILE", type=PATH, required=True, help="The meter's file.")
@click.option(
    "--encoding",
    metavar="NAME",
    type=click.Choice(list(ENCODINGS)),
    help="Of the code values that will be read; the rule's own unless said.",
)
@click.option(
    "--specs",
    metavar="DIR",
    multiple=True,
    type=PATH,
    help="Folder of further rule files; may be repeated.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Of what is printed.",
)
def command(
    rule: str, meter: Path, encoding: str | None, specs: tuple[Path, ...], form: str
) -> int:
    """Ask whether a meter can prove a RULE, an id or a .yaml file.

    A display that is exactly the rule's target is drawn as the meter would read it, and
    what its uncertainty makes of each requirement is held against the limits: the number
    is how many times the uncertainty fits into the room that the limits leave. Adequate
    from 3, marginal from 1.

    Exit codes: 0 all adequate, 3 some marginal, 1 some inadequate or unknown, 2 the input or the
    call is wrong, 4 an internal or I/O failure.
    """
    from compliance.capability import capability
    from compliance.meter import load_meter
    from compliance.rules import load_rule

    asked = load_rule(rule, search=search_path(specs))
    instrument = load_meter(meter)
    if instrument.uncertainty is None or not instrument.uncertainty.luminance:
        raise MeterError(
            Problem(
                str(meter),
                "states no uncertainty of luminance, so nothing can be said of what it proves; "
                "add it from the certificate, e.g. luminance: [{from: 0.01, relative: 4}]",
                field="uncertainty",
            )
        )
    rows = capability(asked, instrument, ENCODINGS[encoding] if encoding else None)
    if form == "json":
        text = json.dumps(_object(asked, instrument, rows), indent=2, ensure_ascii=False)
        click.echo(encodable(text, sys.stdout.encoding or "ascii"))
    else:
        style = Style(sys.stdout.encoding or "ascii")
        for line in _lines(asked, instrument, rows, style):
            click.echo(style.text(line))
    return next((code for word, code in CODES.items() if _has(rows, word)), 0)


def _has(rows: Sequence[Capability], adequacy: str) -> bool:
    return any(row.adequacy.value == adequacy for row in rows)


def _object(rule: Rule, meter: Meter, rows: Sequence[Capability]) -> dict[str, Any]:
    return {
        "rule": {"id": rule.id, "revision": rule.revision},
        "meter": meter.name,
        "requirements": [
            {
                "id": row.requirement.id,
                "level": row.requirement.level.value,
                "quantity": row.requirement.quantity,
                "unit": row.unit,
                "adequacy": row.adequacy.value,
                "ratio": None if row.ratio is None or math.isinf(row.ratio) else row.ratio,
                "uncertainty": row.uncertainty,
                "needed": row.needed,
                "patch": row.place,
                "why": row.why,
            }
            for row in rows
        ],
    }


# ---------------------------------------------------------------- text


def _lines(rule: Rule, meter: Meter, rows: Sequence[Capability], style: Style) -> list[str]:
    head = f"{rule.id}, revision {rule.revision} · meter {meter.name} ({meter.kind})"
    lines = [*wrap(head, COLUMNS), ""]
    for row in rows:
        level = " (should)" if row.requirement.level == "should" else ""
        cells = [
            (SHAPES[row.adequacy.value], INKS[row.adequacy.value]),
            (row.adequacy.value.replace("-", " "), ""),
            (_ratio(row.ratio), ""),
            (row.requirement.title + level, ""),
        ]
        lines += columns([cells], (1, 11, 4, COLUMNS - 22), style)
        if row.adequacy.value != "adequate":
            lines += [f"    {part}" for part in wrap(_detail(row), COLUMNS - 4)]
    return [*lines, "", *wrap(_sum(rows), COLUMNS)]


def _ratio(ratio: float | None) -> str:
    if ratio is None:
        return "–"
    return "> 99" if ratio > 99 else f"{math.floor(ratio * 10) / 10:.1f}"


def _detail(row: Capability) -> str:
    limits = "; ".join(format_requirement_limits(row.requirement, row.unit))
    words = [f"limit {limits}"]
    if row.why:
        words.append(row.why)
    if row.uncertainty is not None and row.needed is not None:
        at = f" at {row.place}" if row.place else ""
        words.append(
            f"uncertain by {_amount(row.uncertainty, row.unit)}{at}, "
            f"would have to be {_amount(row.needed, row.unit)} or less"
        )
    return "; ".join(words)


def _amount(value: float, unit: str) -> str:
    return with_unit(format_plain(float(f"{value:.2g}")), unit)


def _sum(rows: Sequence[Capability]) -> str:
    if _has(rows, "inadequate"):
        return "This meter cannot prove every requirement of the rule."
    if _has(rows, "unknown"):
        return "The meter's file does not say all that proving the rule would rest on."
    if _has(rows, "marginal"):
        return "This meter can prove the rule only where values keep away from their limits."
    return "This meter can prove every requirement of the rule."
