"""Read the project's YAML documents: bounded, with lines, typed and validated."""
