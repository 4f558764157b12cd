"""The YAML documents of the project: bounded, with lines, typed and held to their schemas."""
