"""Rule files: read, extended, checked for sense, found by id."""

from compliance.rules.library import load_rule, rule_from_resolved, shipped_folder, shipped_rules

__all__ = ["load_rule", "rule_from_resolved", "shipped_folder", "shipped_rules"]
