"""`python -m compliance.cli`: the same as the console script."""

from __future__ import annotations

from compliance.cli import main

if __name__ == "__main__":
    main()
