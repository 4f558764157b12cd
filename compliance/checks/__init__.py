"""Checks of the readings themselves: what is told as remarks, and never corrected."""
