"""Deliverable-spec compliance checker."""

__version__ = "0.1.0"
