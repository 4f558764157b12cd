"""What to warn of before measuring, where it applies."""

from __future__ import annotations

from collections.abc import Sequence

from compliance.model import Rule

__all__ = ["cautions"]

FLASHING = (
    "Full-screen flashing patches, above all HDR peaks, can provoke seizures in people with "
    "photosensitive epilepsy (ITU-R BT.1702): warn before a measuring session, and let nobody "
    "sensitive watch it."
)
BEAM = (
    "Do not look into a projector's beam: measure the light from the screen. Laser projectors "
    "fall under IEC 60825-1, IEC 62471 and local law; service is for trained, licensed staff."
)
BURN_IN = (
    "Long runs at peak luminance can age or burn in an emissive panel: follow the maker's limits."
)
EMISSIVE = ("oled", "led", "plasma", "crt")


def cautions(rules: Sequence[Rule], technology: str | None) -> tuple[str, ...]:
    """The cautions for measuring by these rules on a display of that technology.

    Where the technology is not known, those that may apply: the beam where a rule has limits
    for projectors, ageing in any case.
    """
    beams = any(one.displays == "projector" for rule in rules for one in rule.requirements)
    found = [FLASHING]
    if technology == "projector" or (technology is None and beams):
        found.append(BEAM)
    if technology is None or technology in EMISSIVE:
        found.append(BURN_IN)
    return tuple(found)
