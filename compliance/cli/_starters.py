"""What starter files hold: templates filled from rules, earlier jobs and invented values."""

from __future__ import annotations

import math
import os
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, NamedTuple

from compliance.cli._files import clean_name
from compliance.cli._options import search_path
from compliance.colour.pq import pq_inverse
from compliance.model import Rule
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS, Quantity
from compliance.rules.library import is_path, load_rule
from compliance.rules.load import from_resolved
from compliance.rules.requirements import LIMIT_KEYS
from compliance.yaml_nodes.messages import printable

if TYPE_CHECKING:
    from jinja2 import Environment

Content = dict[str, Any]
"""What a template is filled with."""

WIDTH = 98
"""Columns of comments."""

# ---------------------------------------------------------------- templates

NUMBER = re.compile(r"0\d+|\d*\.\d*|\d+[eE]\d+")
"""A text that other readers of YAML take for another number than it says."""
PLAIN = re.compile(r"\w(?:[\w ./+@()-]*[\w.)])?")
"""A text that YAML reads as it is, in brackets too."""
OTHER_MEANING = frozenset(("y", "n", "yes", "no", "on", "off", "true", "false", "null"))
"""Texts that other readers of YAML take for something else."""


def in_yaml(value: Any) -> str:
    """A value as written on one line of YAML, in brackets or not."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{in_yaml(k)}: {in_yaml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(in_yaml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    text = str(value)
    other = text.lower() in OTHER_MEANING or NUMBER.fullmatch(text) is not None
    if isinstance(value, str) and (other or not PLAIN.fullmatch(text)):
        return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return text


def comment(text: str, indent: int = 0) -> str:
    """`text` as a sentence in lines of comment."""
    start = f"{' ' * indent}# "
    flat = printable(text)
    sentence = f"{flat[:1].upper()}{flat[1:].rstrip('.')}."
    return "\n".join(
        textwrap.wrap(
            sentence, WIDTH, initial_indent=start, subsequent_indent=start, break_on_hyphens=False
        )
    )


def fill_in(template: str, **content: Any) -> bytes:
    """What a template of this folder makes of its content, UTF-8."""
    return _templates().get_template(f"{template}.yaml.jinja").render(content).encode()


@cache
def _templates() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    templates = Environment(
        loader=FileSystemLoader(Path(__file__).with_name("starters")),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    templates.filters |= {"yaml": in_yaml, "comment": comment}
    return templates


# ---------------------------------------------------------------- a job

ROOM: Mapping[str, float] = {"surround": 5, "ambient": 10}
HOURS = 1840
WARM_UP = 60.0


def job_content(rules: Iterable[Rule], slots: Sequence[Content]) -> Content:
    """What is left open, and what the rules ask of the room."""
    return {
        "source": None,
        "facility": None,
        "people": None,
        "procedure": None,
        "timezone": None,
        "room": ROOM,
        "hours": HOURS,
        "room_asked": _asked(rules, ("surround", "ambient")),
        "slots": slots,
    }


def slot_content(
    name: str,
    rules: Mapping[str, Rule],
    readings: str,
    encoding: str,
    warm_up: float | None = None,
    declared: Iterable[str] = (),
) -> Content:
    """One slot; `rules` by how the job names them."""
    named = list(rules)
    asked = [
        requirement.declaration for rule in rules.values() for requirement in rule.requirements
    ]
    return {
        "name": name,
        "deliverable": named[0] if len(named) == 1 else named,
        "titles": "; ".join(f"{rule.title} ({rule.id})" for rule in rules.values()),
        "asked": _asked(rules.values(), ("warm-up", "hours", "calibration-age")),
        "declared": sorted({*declared, *filter(None, asked)}),
        "warm_up": warm_up or WARM_UP,
        "readings": posix(readings),
        "before": f"readings/slot-{clean_name(name)}-before.csv",
        "encoding": encoding,
        "display": None,
        "meter": None,
        "settings": None,
        "is_hlg": any(rule.target.curve == "hlg" for rule in rules.values()),
        "nominal_peak": None,
        "ambient": None,
        "geometry": None,
    }


def _asked(rules: Iterable[Rule], fields: Sequence[str]) -> str:
    """Which of these fields are judged, and by which rules; empty where none is."""
    judges: dict[str, list[str]] = {}
    for rule in rules:
        for requirement in rule.requirements:
            if requirement.field is not None and requirement.field in fields:
                judges.setdefault(requirement.field, []).append(rule.id)
    told = (
        f"{RECORDED_FIELDS[field][1]}, by {', '.join(dict.fromkeys(names))}"
        for field, names in judges.items()
    )
    return f"judged: {'; '.join(told)}" if judges else ""


def deliverable(named: str, folder: Path, specs: Sequence[Path]) -> Rule:
    """A deliverable of a job in `folder`. Raises RuleError."""
    return load_rule(
        str(folder / named) if is_path(named) else named, search=search_path(specs, folder)
    )


def posix(named: str) -> str:
    """A path as the files write it, on every system."""
    return PurePath(named).as_posix()


def moved(named: str, old: Path, folder: Path) -> str:
    """A file or id that a job in the folder `old` names, from `folder`."""
    if not is_path(named) or (folder / named).exists() or folder.resolve() == old.resolve():
        return posix(named)
    return posix(os.path.relpath(old / named, folder))


def without_hours(display: Mapping[str, Any]) -> Content:
    return {key: value for key, value in display.items() if key != "hours"}


# ---------------------------------------------------------------- what a meter holds

INVENTED: Mapping[str, Mapping[str, float]] = {
    "colorimeter": {"luminance": 3, "chromaticity": 0.0015, "lowest": 0.001, "slow": 5, "quick": 1},
    "spectroradiometer": {
        "luminance": 2, "chromaticity": 0.0015, "lowest": 0.003, "slow": 12, "quick": 4,
    },
}  # fmt: skip
"""Of the size that certificates state; seconds that a dark and a bright reading takes."""


def certificate_examples(now: datetime) -> Content:
    issued = now.date()
    return {
        "number": "C-2026-118",
        "laboratory": "Invented Calibration Laboratory",
        "issued": issued.isoformat(),
        "due": (issued + timedelta(days=365)).isoformat(),
        "accreditation": {"body": "Invented Accreditation", "number": "IA-0042"},
    }


# ---------------------------------------------------------------- a rule


class Start(NamedTuple):
    """What a rule of its own begins with, by its curve."""

    encoding: str
    luminance: Mapping[str, float]
    """`white`, and for pq `peak`, in cd/m²."""
    primaries: str = "bt709"
    white: str = "d65"
    container: str | None = None
    window: int = 100
    exponent: float | None = None
    """That the greys are judged by, where the curve has one."""
    stated: bool = False
    """The exponent is a key of the rule."""


CURVES: Mapping[str, Start] = {
    "bt1886": Start("rgb-10-narrow", {"white": 100}, exponent=2.4),
    "power": Start("rgb-10-full", {"white": 100}, exponent=2.4, stated=True),
    "srgb": Start("rgb-8-full", {"white": 120}),
    "pq": Start("rgb-10-full", {"white": 100, "peak": 1000}, "p3", container="bt2020", window=10),
    "hlg": Start("rgb-10-narrow", {"white": 1000}, "p3", container="bt2020", window=10),
    "dcdm": Start("xyz-12-full", {"white": 48}, "p3", "dci", "none", exponent=2.6),
}


class Figure(NamedTuple):
    """A number in a starter file, and the mark behind it where it is invented."""

    value: float
    mark: str = ""


REPLACE = "    # REPLACE"


def house_rule(name: str, parent: Rule, file: str, title: str | None, now: datetime) -> bytes:
    """A rule that extends another, whose requirements are examples in it."""
    stated = from_resolved(parent.resolved)["requirements"]
    requirements = []
    for requirement in parent.requirements:
        limits = {
            key: stated[requirement.id][key] for key in LIMIT_KEYS if key in stated[requirement.id]
        }
        body = {**limits, "level": requirement.level.value}
        requirements.append({"id": requirement.id, "title": requirement.title, "body": body})
    return fill_in(
        "house-rule",
        rule=name,
        file=file,
        title=title or f"{parent.title} (house rule)",
        parent=parent,
        requirements=requirements,
        days=parent.valid_days or 30,
        today=now.date().isoformat(),
    )


def own_requirements(luminance: Mapping[str, float]) -> list[Content]:
    """What hardly a rule goes without, with invented limits."""
    white = luminance["white"]
    rows: list[tuple[str, str, str, Any, Content]] = [
        ("white-level", "White luminance", "luminance", "white",
         {"nominal": white, "within_percent": 5}),
        ("black-level", "Black luminance", "luminance", "black", {"max": white / 1000}),
        ("white-point", "White point", "chromaticity-difference", "white", {"max": 0.004}),
        ("tracking", "Luminance tracking", "luminance-error",
         {"patches": "grey", "target": [white / 100, white]}, {"within": 10}),
        ("primaries", "Primaries", "chromaticity-difference", "primaries", {"max": 0.01}),
    ]  # fmt: skip
    if "peak" in luminance:
        peak = {"nominal": luminance["peak"], "within_percent": 10}
        rows.insert(0, ("peak-level", "Peak luminance", "luminance", "peak", peak))
    keys = ("id", "title", "quantity", "over", "limits")
    return [dict(zip(keys, row, strict=True)) for row in rows]


def grey_ramp(luminance: Mapping[str, float]) -> Content:
    """The greys of a rule; under PQ up to its peak."""
    ramp: Content = {"ramp": "neutral", "steps": 21}
    if "peak" in luminance:
        ramp["signal"] = [0, math.floor(100 * float(pq_inverse(luminance["peak"]))) / 100]
    return ramp


def examples(start: Start, luminance: Mapping[str, float]) -> list[Content]:
    """A requirement on each quantity that goes with the curve, and what the quantity is."""
    return [
        {
            "id": f"example-{row.name}",
            "definition": f"{_heading(row)}: {row.definition}",
            "quantity": row.name,
            "keys": _example_keys(row),
            "limits": _example_limits(row, start, luminance),
        }
        for row in QUANTITIES.values()
        if row.ideal != "exponent" or start.exponent is not None
    ]


def _heading(row: Quantity) -> str:
    return row.title if row.unit == "1" else f"{row.title} ({row.unit})"


def _example_keys(row: Quantity) -> Content:
    """What a requirement on a quantity says beside its limits."""
    if row.values == "stated":
        return {"field": "warm-up"} if "field" in row.options else {"declaration": "dimming-off"}
    if row.by_position:
        return {"over": "screen"}
    if row.compares == "repeats":
        return {"over": "again"}
    if row.compares is None and row.roles:
        return {}
    return {"over": "white" if row.reading else "grey"}


def _example_limits(row: Quantity, start: Start, luminance: Mapping[str, float]) -> str:
    if row.reading:
        return f"nominal: {in_yaml(luminance['white'])}, within_percent: 5"
    if "field" in row.options:
        return "min: 30"
    if row.picks_target:
        return f"min: {in_yaml(0.95 * max(luminance.values()))}"
    if row.ideal == "exponent":
        return f"nominal: {start.exponent}, within: 0.1"
    return row.example
