"""What `scripts/make_pages.py` is made of: pages from the program, and pages to follow."""
