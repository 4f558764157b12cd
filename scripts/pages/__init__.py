"""Parts of `scripts/make_pages.py`: pages made by the program, and pages to follow."""
