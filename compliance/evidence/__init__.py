"""What travels with a sheet, and the assessment computed again from it."""
