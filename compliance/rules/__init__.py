"""Rule files: read, extended, checked for sense, found by id."""
