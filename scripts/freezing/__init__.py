"""What `scripts/freeze.py` is made of: inputs, calls, runs, and outputs in a form to compare."""
