"""Where in which file a key of a resolved rule stands, and the problems found on the way."""

from __future__ import annotations

from collections.abc import Sequence

from compliance.errors import Problem, RuleError
from compliance.yaml_nodes.messages import dotted
from compliance.yaml_nodes.nodes import Node, locate

Path = tuple[str | int, ...]


class SourceLocations:
    """The files a rule was made of, the nearest first, and what is wrong in them."""

    def __init__(self, files: Sequence[tuple[str, Node]]) -> None:
        self.files = tuple(files)
        self.problems: list[Problem] = []

    def problem(self, path: Path, message: str) -> None:
        """Note a fault at `path`, in the file that says most of that path."""
        file, line = self.find(path)
        self.problems.append(Problem(file, message, line, dotted(path) or None))

    def find(self, path: Path) -> tuple[str, int | None]:
        """File and line of a key: in the file that says most of the path, the nearest of them."""
        best: tuple[int, str, int | None] | None = None
        for file, node in self.files:
            line, depth = locate(node, path)
            if best is None or depth > best[0]:
                best = (depth, file, line)
        if best is None:
            return "rule", None
        return best[1], best[2]

    def raise_if_any(self) -> None:
        """RuleError with all problems, in the order of the lines."""
        if self.problems:
            order = {file: number for number, (file, _) in enumerate(self.files)}
            self.problems.sort(key=lambda p: (order.get(p.file, len(order)), p.line or 0))
            raise RuleError(self.problems)
