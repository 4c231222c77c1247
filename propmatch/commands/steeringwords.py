"""Room for the propeller, roll and yaw in words."""

from typing import TYPE_CHECKING

from propmatch.words.shown import Shown, wrapped

if TYPE_CHECKING:
    from propmatch.checks.placing import Placing

__all__ = ["steering_block"]


def steering_block(placing: "Placing", shown: Shown, *, about: str = "") -> list[str]:
    """The readings, and what they leave out."""
    found = placing.steering
    lines = [f"Room for the propeller, roll and yaw{about}:"]
    for text in found.readings(show=shown.speed_text, mass=shown.mass_text):
        lines += wrapped(text, first="  - ", rest="    ")
    return [*lines, *wrapped("Left out: " + " ".join(found.notes), first="  ", rest="  ")]
