"""Run the console script as `python -m compliance.cli`."""

from __future__ import annotations

from compliance.cli import main

if __name__ == "__main__":
    main()
