"""What the sheet's pictures show, computed from a case and its findings."""
