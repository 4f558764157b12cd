"""Published tables and the libraries that the kernels are held against."""

from __future__ import annotations

import csv
import warnings
from collections.abc import Callable
from pathlib import Path

import pytest

with warnings.catch_warnings():  # it warns at import that its optional plotting is not there
    warnings.simplefilter("ignore")
    import colour  # noqa: F401

Table = Callable[[str], list[dict[str, str]]]


@pytest.fixture(scope="session")
def table(root: Path) -> Table:
    """A published table by its name in tests/tables: rows of text by column."""

    def read(name: str) -> list[dict[str, str]]:
        lines = (root / "tests" / "tables" / f"{name}.csv").read_text("utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    return read
