"""From matched readings to findings: no input or output."""
