"""A desk to call the command at: a rule of two lines, readings, and a job of named slots."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from compliance.rules.library import load_rule

RULE = """\
rule: tiny
title: A rule of two lines
revision: 1
valid_for: {days: 30}
target:
  primaries: bt709
  white: d65
  transfer: {curve: srgb}
  luminance: {white: 100}
signal: {encoding: rgb-8-full}
window: 100
defaults: {level: shall, basis: practice}
requirements:
  white-level: {title: White luminance, quantity: luminance, over: white, limits: {min: 95, max: 105}}
  black-level: {title: Black luminance, quantity: luminance, over: black, limits: {max: 0.5}}
"""  # noqa: E501

JOB = """\
job: {reference}
title: A film about kelp
encoding: rgb-8-full
slots:
"""

SLOT = """\
  - slot: {slot}
    deliverable: {deliverable}
    readings: {{file: "{file}", measured: "2026-11-20T15:10:00Z"}}
"""

HEAD = "r,g,b,X,Y,Z\n"
WHITE = "255,255,255,95.047,{level},108.883\n"
BLACK = "0,0,0,0.0951,0.1,0.1089\n"

READINGS = {
    "good": HEAD + WHITE.format(level="100.01") + BLACK,
    "bright": HEAD + WHITE.format(level="112.5") + BLACK,
    "open": HEAD + WHITE.format(level="100.01"),
    "bad": HEAD + "255,255,255,95,a lot,108\n" + BLACK,
}
"""Of a slot that passes, fails, is undecided, and one that cannot be read."""


@cache
def known() -> tuple[str, str]:
    """The option of `verify` that gives the rule's digest."""
    with TemporaryDirectory() as folder:
        file = Path(folder, "tiny.yaml")
        file.write_text(RULE)
        return "--rules", load_rule(file).digest


def write_desk(
    folder: Path,
    *kinds: str,
    names: Sequence[str] = (),
    reference: str = "KX-7",
    deliverable: str = "tiny.yaml",
) -> Path:
    """Write rule, readings and job into the folder, a slot for each kind; the job's file."""
    (folder / "tiny.yaml").write_text(RULE)
    text = JOB.format(reference=reference)
    for index, kind in enumerate(kinds):
        (folder / f"{kind}.csv").write_text(READINGS.get(kind, ""))
        name = names[index] if names else str(index + 1)
        text += SLOT.format(slot=name, deliverable=deliverable, file=f"{kind}.csv")
    (folder / "job.yaml").write_text(text)
    return folder / "job.yaml"
