"""Readings of one patch that are of two, and readings taken for another rule."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers import simulated
from helpers.remarks import good, remarks
from helpers.shipped import shipped_rule

from compliance.model import Display, Readings


def again(readings: Readings, row: int, share: float) -> Readings:
    """A row once more, at the end, with a share of its light."""
    twice = simulated.picked(readings, [*range(len(readings)), row])
    xyz = twice.xyz.copy()
    xyz[-1] *= share
    return replace(twice, xyz=xyz)


@pytest.mark.parametrize(("share", "told"), [(2.0, True), (0.5, True), (1.05, False)])
def test_two_readings_that_are_hardly_of_one_patch(share: float, told: bool) -> None:
    read = good()
    row = int(np.argmax(read.xyz[:, 2] / read.xyz[:, 1]))
    found = remarks(again(read, row, share))
    assert ("conflicting" in found) == told
    if told:
        codes = tuple(int(code) for code in read.codes[row])
        assert found["conflicting"].startswith(f"Patch {codes} was read 2 times, as ")


def test_neither_the_dark_nor_the_white_that_drifts() -> None:
    """White is the rule's, at the centre: the same codes in a corner are of another patch."""
    read = good()
    white, corner = (
        max(
            (row for row, at in enumerate(read.position) if (at == "centre") == centre),
            key=lambda row: read.xyz[row, 1],
        )
        for centre in (True, False)
    )
    assert "conflicting" not in remarks(again(read, int(np.argmin(read.xyz[:, 1])), 3.0))
    assert "conflicting" not in remarks(again(read, white, 0.7))
    assert "conflicting" in remarks(again(read, white, 0.01))
    assert "conflicting" in remarks(again(read, corner, 0.7))


def test_rows_that_were_copied() -> None:
    read = good()
    twice = simulated.picked(read, [*range(len(read)), *range(len(read))])
    assert "the same to the last digit: rows may have been copied." in remarks(twice)["copied"]
    xyz = twice.xyz.copy()
    xyz[len(read) :] *= 1.0001
    assert "copied" not in remarks(replace(twice, xyz=xyz))
    assert "copied" not in remarks(read)


@pytest.mark.parametrize("technology", [None, "lcd", "projector", "oled"])
def test_a_black_without_any_light(technology: str | None) -> None:
    read = good()
    dark = read.xyz[:, 1] < 0.1
    black = replace(read, xyz=np.where(dark[:, None], 0.0, read.xyz))
    display = Display(technology=technology) if technology else None
    for readings, odd in ((black, technology != "oled"), (read, False)):
        assert ("black-unseen" in remarks(readings, "web-srgb", display)) == odd


def test_readings_taken_for_another_rule() -> None:
    """Codes of the HDR plan, said to be in the broadcast rule's encoding."""
    other = good("hdr-pq-1000")
    other = replace(other, encoding=shipped_rule("sdr-broadcast").encoding)
    assert "they may have been taken for another rule." in remarks(other)["other-plan"]
    assert "other-plan" not in remarks(good())


def test_a_few_of_the_rules_own_are_a_beginning() -> None:
    assert "other-plan" not in remarks(simulated.picked(good(), [0, 1]))
