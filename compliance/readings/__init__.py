"""Readings: what a meter measured, patch by patch, from a file to arrays."""
