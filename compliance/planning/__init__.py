"""What to measure: the patches that rules ask for, in a good order, and how long that takes."""
