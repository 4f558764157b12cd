"""Parts of `scripts/make_pages.py`: pages from the program, and pages to follow."""
