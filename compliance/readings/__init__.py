"""Readings: what a meter measured, patch by patch, from a file to arrays."""

from compliance.readings.table import load_readings, readings_from_bytes

__all__ = ["load_readings", "readings_from_bytes"]
