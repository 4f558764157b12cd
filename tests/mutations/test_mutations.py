"""The first mutated inputs of each group; `run.py` runs many by hand."""

from __future__ import annotations

import pytest
from mutations.groups import GROUPS
from mutations.run import judged

FEW = {"yaml": 25, "readings": 25, "deviations": 25, "certificates": 20, "lists": 20}
"""Of each group; of the others three."""
SEED = 1


@pytest.mark.parametrize("name", GROUPS)
def test_first_inputs(name: str) -> None:
    ends = []
    for number in range(FEW.get(name, 3)):
        seen, what, _ = judged(name, SEED, number)
        assert not seen.fault, f"{name} {number}: {what}: {seen.fault}"
        ends.append(seen.end)
    assert "refused" in ends


def test_a_change_is_the_same_by_its_number() -> None:
    group = GROUPS["readings"]
    assert group.input("readings", 3, 7) == group.input("readings", 3, 7)
    assert group.input("readings", 3, 7) != group.input("readings", 4, 7)
