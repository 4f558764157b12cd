"""The files attached to a sheet, and the assessment recomputed from them."""
