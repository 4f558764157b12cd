"""Grading: from matched readings to findings, without input or output."""
