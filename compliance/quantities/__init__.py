"""Quantities: their catalogue and the functions behind it."""
