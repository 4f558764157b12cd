"""Parts of `scripts/freeze.py`: inputs, calls, runs, and outputs in a form to compare."""
