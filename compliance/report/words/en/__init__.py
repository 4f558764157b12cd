"""Plain English."""
