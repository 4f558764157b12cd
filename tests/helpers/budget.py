"""How much a test may spend: little in each run, all of it with LONG_TESTS=1, by hand."""

from __future__ import annotations

import os

LONG = os.environ.get("LONG_TESTS") == "1"
