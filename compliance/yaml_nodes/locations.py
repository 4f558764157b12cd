"""Where in which file a key of a document stands, and the problems found on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from compliance.errors import InputError, Problem, RuleError
from compliance.yaml_nodes.messages import Path, dotted
from compliance.yaml_nodes.nodes import Node, locate


class SourceLocations:
    """The files a document was made of, the nearest first, and what is wrong in them."""

    def __init__(
        self, files: Sequence[tuple[str, Node]], error: type[InputError] = RuleError
    ) -> None:
        self.files = tuple(files)
        self.error = error
        self.problems: list[Problem] = []

    def at(self, *keys: str | int) -> Location:
        """The key at the end of a path from the top."""
        return Location(self, keys)

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
        """Raise all problems as one error, in the order of the lines."""
        if self.problems:
            order = {file: number for number, (file, _) in enumerate(self.files)}
            self.problems.sort(key=lambda p: (order.get(p.file, len(order)), p.line or 0))
            raise self.error(self.problems)


@dataclass(frozen=True, slots=True)
class Location:
    """A key of a document: what is wrong there is noted here."""

    sources: SourceLocations
    path: Path

    def at(self, *keys: str | int) -> Location:
        """A key below this one."""
        return Location(self.sources, (*self.path, *keys))

    def problem(self, message: str) -> None:
        """Note a fault, in the file that says most of the path."""
        self.sources.problems.append(self._fault(message))

    def error(self, message: str) -> InputError:
        """A fault behind which nothing can be read; raise what comes back."""
        return self.sources.error(self._fault(message))

    def _fault(self, message: str) -> Problem:
        file, line = self.sources.find(self.path)
        return Problem(file, message, line, dotted(self.path) or None)

    @property
    def problem_count(self) -> int:
        """How many problems were noted so far, here and elsewhere."""
        return len(self.sources.problems)
