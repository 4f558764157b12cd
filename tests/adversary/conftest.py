"""What all attackers' tests share: the client's desk, where everything is verified."""

from __future__ import annotations

from pathlib import Path

import pytest
from adversary.forging import Desk


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A desk with nothing on it but the two certificates."""
    return Desk(tmp_path)
