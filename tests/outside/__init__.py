"""Displays and meters from physics and metrology alone, and what the program makes of them."""
