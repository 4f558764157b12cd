"""The groups of inputs that are mutated, each with its share and with what judges it."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from mutations import readers, signed_files
from mutations.readers import Input


@dataclass(frozen=True, slots=True)
class Group:
    """Inputs of one kind."""

    share: int
    """Of a thousand inputs."""
    make: Callable[[random.Random], Input]
    judge: Callable[[str, bytes], str]
    """How an input ends: `refused`, `read`, `unseen: ...`; raises anything if it ends wrong."""

    def input(self, name: str, seed: int, number: int) -> Input:
        """One input of the group, always the same by its number."""
        return self.make(random.Random(f"{name} {seed} {number}"))


GROUPS: Mapping[str, Group] = {
    "yaml": Group(320, readers.yaml_input, readers.read_yaml),
    "readings": Group(220, readers.readings_input, readers.read_readings),
    "deviations": Group(60, readers.deviation_input, readers.read_changed_deviation),
    "evidence": Group(80, readers.evidence_input, readers.judge_evidence),
    "certificates": Group(60, readers.certificate_input, readers.trust_changed),
    "lists": Group(20, readers.list_input, readers.judge_list),
    "zip": Group(60, signed_files.zip_input, signed_files.judge_zip),
    "folder": Group(40, signed_files.folder_input, signed_files.judge_folder),
    "sheet-bytes": Group(60, signed_files.raw_input, signed_files.judge_sheet),
    "sheet-objects": Group(60, signed_files.structured_input, signed_files.judge_sheet),
    "sheet-resigned": Group(20, signed_files.resigned_input, signed_files.judge_resigned),
}
