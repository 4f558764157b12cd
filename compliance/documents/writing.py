"""Plain data as YAML text that our own reader understands."""

from __future__ import annotations

from typing import Any

import yaml

__all__ = ["write_yaml"]

WIDTH = 100


class _Dumper(yaml.SafeDumper):
    """Block style, short lists on one line, no anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def _sequence(dumper: _Dumper, data: list[Any]) -> yaml.Node:
    flat = all(not isinstance(entry, dict | list | tuple) for entry in data)
    return dumper.represent_sequence("tag:yaml.org,2002:seq", data, flow_style=flat)


def _mapping(dumper: _Dumper, data: dict[str, Any]) -> yaml.Node:
    flat = all(not isinstance(entry, dict | list | tuple) for entry in data.values())
    short = flat and sum(len(f"{key}{value}") for key, value in data.items()) < WIDTH // 2
    return dumper.represent_mapping("tag:yaml.org,2002:map", data.items(), flow_style=short)


_Dumper.add_representer(list, _sequence)
_Dumper.add_representer(dict, _mapping)


def write_yaml(data: dict[str, Any]) -> str:
    """The mapping as a YAML document, its keys in their order, UTF-8 as it is."""
    return yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=WIDTH)
