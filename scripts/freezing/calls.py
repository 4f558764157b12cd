"""Names in recorded calls: times, keys, files, all relative to a case's own folder."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from freezing.cases import Call

__all__ = [
    "CLIENT",
    "DEMO",
    "DEMO_MISSED",
    "DEMO_NOW",
    "DEMO_SHEETS",
    "FACILITY",
    "IN",
    "ISSUED",
    "KEYS",
    "LATER",
    "METERS",
    "NOW",
    "PASSWORD",
    "RSA",
    "TRUST",
    "RuleJob",
    "call",
    "in_formats",
]

DEMO_NOW = "2026-11-20T16:00:00Z"
NOW = "2026-11-21T16:00:00Z"
LATER = "2026-11-22T16:00:00Z"
IN = "../inputs"
KEYS = f"{IN}/keys"
PASSWORD = ("--password-file", f"{KEYS}/password")
FACILITY = ("--identity", f"{KEYS}/facility.p12", *PASSWORD)
CLIENT = ("--identity", f"{KEYS}/client.p12", *PASSWORD)
ISSUED = ("--identity", f"{KEYS}/issued.key", "--chain", f"{KEYS}/issued-chain.pem")
RSA = ("--identity", f"{KEYS}/rsa.key", "--chain", f"{KEYS}/rsa-chain.pem")
TRUST = ("--trust", f"{KEYS}/facility.pem", "--client-trust", f"{KEYS}/client.pem")
DEMO = f"{IN}/demo/job.yaml"
DEMO_SHEETS = f"{IN}/sheets/demo"
METERS = tuple(
    f"{IN}/demo/meters/{name}.yaml" for name in ("filter-colorimeter", "spectroradiometer")
)
DEMO_MISSED = ("peak-level", "grey", "tracking")
"""Requirements that slot 3 of the demo misses."""
QUICK_RULES = ("hdr-pq-1000", "cinema-theatre", "web-srgb", "hdr-hlg-grade-1a")


@dataclass(frozen=True, slots=True)
class RuleJob:
    """The invented job of a rule."""

    rule: str
    number: int
    house: str
    """Id of its house rule."""
    good: str
    """Readings of the good display, from the job's folder."""
    encoding: str
    accepted: tuple[str, ...] = ()
    """Deviations for its bad slot, from the folder of inputs."""

    @property
    def folder(self) -> str:
        """Its folder."""
        return f"{IN}/jobs/{self.rule}"

    @property
    def file(self) -> str:
        """The job file."""
        return f"{self.folder}/job.yaml"

    @property
    def house_file(self) -> str:
        """The house rule's file."""
        return f"{self.folder}/rules/{self.house}.yaml"

    @property
    def quick(self) -> bool:
        """Whether it belongs to the representative subset."""
        return self.rule in QUICK_RULES

    @property
    def documents(self) -> tuple[str, ...]:
        """Slots that have assessments as documents."""
        return ("good", "bad", "missing", "moved") if self.number % 4 == 0 else ("bad", "moved")

    def document(self, slot: str) -> str:
        """The document of a slot's assessment."""
        return f"{IN}/documents/{self.rule}/T-{self.number}-{slot}-{self.rule}.json"


def call(*args: str, **how: str) -> Call:
    """A call of these words."""
    return Call(args, **how)  # type: ignore[arg-type]


def in_formats(*args: str, formats: Iterable[str] = ("text", "json")) -> tuple[Call, ...]:
    """The same call once for each format."""
    return tuple(call(*args, "--format", name) for name in formats)
