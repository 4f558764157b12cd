"""A new quantity is one row of the catalogue and its function: nothing else lists the names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray

from compliance.cli import command
from compliance.quantities.catalogue import QUANTITIES, Quantity
from compliance.quantities.measured import Measured, Options, Roles
from compliance.yaml_nodes.json_schema import load_schema

RULE = """\
rule: tiny
title: A tiny rule
revision: 1
target:
  primaries: bt709
  white: d65
  transfer: {curve: bt1886}
  luminance: {white: 100}
signal: {encoding: rgb-8-full}
requirements:
  glow:
    quantity: glow
    over: white
    basis: house
    limits: {min: 40, max: 55}
"""
READINGS = "r,g,b,X,Y,Z\n255,255,255,106.93,112.5,122.5\n0,0,0,0.0095,0.01,0.0109\n"


def glow(view: Measured, roles: Roles, options: Options) -> NDArray[np.float64]:
    return view.luminance(roles.over) / 2


INVENTED = Quantity(
    "glow",
    "cd/m²",
    "Glow of the patch",
    "half the luminance of the patch",
    "invented",
    compute=glow,
    example="max: 60",
)


def test_an_invented_quantity_is_graded_and_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = load_schema("rule")["$defs"]["requirement"]["properties"]["quantity"]
    monkeypatch.setitem(QUANTITIES, INVENTED.name, INVENTED)  # type: ignore[misc]
    assert set(QUANTITIES) - set(names["enum"]) == {"glow"}, "the schema's enum follows the table"
    monkeypatch.setitem(names, "enum", [*QUANTITIES])
    rule, readings = tmp_path / "tiny.yaml", tmp_path / "white.csv"
    rule.write_text(RULE, encoding="utf-8")
    readings.write_text(READINGS, encoding="utf-8")
    call = ["assess", str(readings), "--rule", str(rule), "--encoding", "rgb-8-full"]
    done = CliRunner().invoke(command, [*call, "--now", "2026-11-21T08:00:00Z"])
    assert "Glow of the patch 56.2" in done.output
    assert "limit 40 to 55 cd/m²" in done.output
    shown = CliRunner().invoke(command, ["rules", "show", str(rule)])
    assert "Glow of the patch of white" in shown.output
    assert CliRunner().invoke(command, ["rules", "check", str(rule)]).exit_code == 0
