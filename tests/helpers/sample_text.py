"""Rule, job and meter files as text, for tests that change a word in them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from compliance.errors import InputError

RULE = """\
rule: sdr
title: SDR broadcast master, HD
revision: 1
valid_for: {days: 30}
target:
  primaries: bt709
  white: d65
  transfer: {curve: bt1886}
  luminance: {white: 100}
signal: {encoding: rgb-10-narrow}
window: 100
decision: {acceptance: simple, confidence: 0.95}
defaults: {level: shall, basis: digest, clause: EBU Tech 3320 v4.1}
patches:
  grey: {ramp: neutral, steps: 21}
  primaries: {hues: [red, green, blue]}
  steps: {list: patches/steps.yaml}
  edges: {positions: [sides, corners], of: white}
  sizes: {windows: [1, 4, 10, 25], of: white}
  again: {repeats: 3, of: white}
requirements:
  black-level: {quantity: luminance, over: black, limits: {max: 0.05}}
  white-level:
    quantity: luminance
    over: white
    limits: {max: 110}
  white-chromaticity: {quantity: chromaticity, over: white, limits: {box: [0.002, 0.002]}}
  grey-balance:
    quantity: delta-uv-star
    over: {patches: grey, target: [1, 100]}
    reference: white
    limits: {max: 1}
  tracking:
    quantity: luminance-error
    over: {patches: [grey, steps], target: [1, 100]}
    bands: [{upto: 10, within: 10}, {within: 5}]
  primary-level:
    quantity: luminance
    over: primaries
    by_patch:
      red: {nominal: 21.2, within_percent: 5}
      green: {nominal: 71.5, within_percent: 5}
      blue: {nominal: 7.2, within_percent: 5}
  contrast: {quantity: contrast, limits: {min: 1000}, level: should}
  surround: {quantity: recorded, field: surround, limits: {nominal: 10, within: 2}}
  dimming: {quantity: declared, declaration: local-dimming-off, limits: {min: 1}}
"""

STEPS = """\
encoding: rgb-10-full
clause: of our own
patches:
  step-1: [102, 102, 102]
  step-2: [205, 205, 205]
"""

HOUSE = """\
rule: house
extends: sdr@1
title: Our broadcast master
revision: 3
requirements:
  black-level: {limits: {max: 0.04}}
  white-level:
    limits: {max: 120}
    change: {reason: brighter room, agreed_by: the client, date: 2026-11-02}
"""

JOB = """\
job: SY-0412
client: {name: Low Tide Films, contact: production office}
title: A river documentary in six parts
facility: {name: Harbour Finishing, address: 1 Quay}
suite: {id: suite-2, room: {surround: 5.0, ambient: 12}}
display: {serial: RD-31-0007, technology: lcd, hours: 1840}
encoding: rgb-10-full
meter: meters/spot-1.yaml
people: {measured_by: A, authorised_by: B}
slots:
  - slot: 1
    deliverable: sdr-broadcast
    calibrated: 2026-11-20T14:05:00Z
    settings: {preset: 1:30, backlight: 25, lut: luts/slot-1.cube}
    warm_up: 45
    declared: {local-dimming-off: {value: yes, by: A, date: 2026-11-20}}
    before: {file: readings/slot-1-before.csv, measured: 2026-11-20T13:20:00Z}
    readings: {file: readings/slot-1.csv, measured: 2026-11-20T15:10:00Z, ambient: off}
  - slot: 2
    deliverable: [web-srgb, rules/house.yaml]
    display: {serial: PR-1, technology: projector}
    meter: meters/spectro-1.yaml
    readings: {file: readings/slot-2.csv, measured: 2026-11-20T16:10:00+01:00, encoding: rgb-8-full}
"""

METER = """\
meter: spot-1
kind: colorimeter
make: Invented
model: Spot
serial: 0012
certificate: {number: C-2026-118, laboratory: L, issued: 2026-03-02, due: 2027-03-02}
correction: {name: suite-2, made_for: RD-31-0007, date: 2026-11-20}
uncertainty:
  k: 2
  luminance: [{from: 0.003, relative: 4}, {from: 1, relative: 2}]
  dark: 0.002
  chromaticity: [{from: 0.1, x: 0.004, y: 0.005}, {from: 5, x: 0.0015, y: 0.0015}]
  saturated: {x: 0.003, y: 0.004}
  correlation: {xy: 0.3}
  repeatability: [{from: 0.003, relative: 2, x: 0.002, y: 0.001}]
lowest: 0.003
settle: 1.0
reading_time: [{from: 0, seconds: 12}, {from: 1, seconds: 4}]
"""


def edited(text: str, old: str, new: str) -> str:
    """`text` with its only `old` replaced; fails if there are none or two."""
    assert text.count(old) == 1, f"{old!r} occurs {text.count(old)} times"
    return text.replace(old, new)


def write(folder: Path, files: dict[str, str]) -> None:
    """Files by their name below `folder`."""
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def rule_folder(folder: Path, **files: str) -> Path:
    """A folder with `sdr.yaml` and its list; `files` by stem replace or add rule files."""
    texts = {"sdr": RULE, **files}
    write(folder, {f"{stem}.yaml": text for stem, text in texts.items()})
    write(folder, {"patches/steps.yaml": STEPS})
    return folder


def complaint(folder: Path, failure: pytest.ExceptionInfo[InputError]) -> str:
    """The error's message, without the folder's own path."""
    return re.sub(re.escape(f"{folder}/"), "", str(failure.value))
