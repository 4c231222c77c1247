"""The largest propeller that the aircraft has room for, and what is nearest to it.

Source: none needed, plane geometry.
"""

from typing import Any

import attrs
import numpy as np

from propmatch.columns import number
from propmatch.models.arrays import Flags, Floats
from propmatch.records.body import Body, DiscPlace, Room, disc_places, disc_rooms
from propmatch.records.sections import Brief
from propmatch.units import INCH_M, MM_M

__all__ = ["Clearance", "ClearanceCase"]

MM_IN = INCH_M / MM_M


@attrs.frozen(kw_only=True)
class ClearanceCase:
    """One propeller in the room there is; ``nearest`` says what leaves the least."""

    name: str
    nearest: str
    diameter_in: float = number(kind="in", label="diameter of the propeller")
    largest_diameter_in: float = number(kind="in", label="largest diameter that keeps every gap wanted")
    gap_mm: float = number(kind="mm", label="gap left beside what is nearest")
    least_gap_mm: float = number(kind="mm", label="gap wanted there")
    raise_motor_mm: float = number(
        kind="mm", label="how much higher the motor must be; NaN where that is no plain cure"
    )


@attrs.frozen(kw_only=True)
class Clearance:
    """Room of every disc of one aircraft.

    Attributes
    ----------
    rooms : tuple of Room, at least one
    body : Body or None
    places : tuple of DiscPlace
    tilt_deg : float
        What leaves that room.
    """

    rooms: tuple[Room, ...]
    body: Body | None
    places: tuple[DiscPlace, ...]
    tilt_deg: float

    @classmethod
    def of_brief(cls, brief: Brief, body: Body | None, motor_count: int) -> "Clearance | None":
        """The room that a brief leaves beside one body; None where nothing is near the disc."""
        line = brief.thrust_line
        if line is None:
            return None
        places = disc_places(line, brief.motor_place, motor_count)
        rooms = disc_rooms(body, places, line.tilt_deg)
        return cls(rooms=rooms, body=body, places=places, tilt_deg=line.tilt_deg) if rooms else None

    @property
    def nearest(self) -> Room:
        """What leaves the least room."""
        return min(self.rooms, key=lambda room: room.radius_mm)

    @property
    def largest_in(self) -> float:
        """Largest diameter that keeps every gap wanted [in]."""
        return 2.0 * self.nearest.radius_mm / MM_IN

    @property
    def largest_by_what_in(self) -> dict[str, float]:
        """Largest diameter beside each thing that is near [in], the tightest first."""
        out: dict[str, float] = {}
        for room in sorted(self.rooms, key=lambda room: room.radius_mm):
            out.setdefault(room.what, 2.0 * room.radius_mm / MM_IN)
        return out

    def gap_mm(self, diameter_in: Any) -> Any:
        """Gap that a propeller leaves beside what is nearest [mm]; below 0 it strikes."""
        return self.nearest.gap_mm(np.asarray(diameter_in, dtype=np.float64) * MM_IN / 2.0)[()]

    def kept_when_raised(self, radius_mm: float, raised_mm: Floats) -> Flags:
        """Whether discs of this radius keep the gaps wanted to body and ground, all raised by each of ``raised_mm``."""
        return np.array([
            all(room.radius_mm >= radius_mm for room in self._raised(by) if room.what.startswith(("body", "ground")))
            for by in raised_mm
        ], dtype=np.bool_)  # fmt: skip

    def _raised(self, by_mm: float) -> tuple[Room, ...]:
        places = [attrs.evolve(place, height_mm=place.height_mm + by_mm) for place in self.places]
        return disc_rooms(self.body, places, self.tilt_deg)

    def case(self, name: str, diameter_in: float) -> ClearanceCase:
        """One propeller in this room."""
        room = self.nearest
        missing = diameter_in * MM_IN / 2.0 - room.radius_mm
        return ClearanceCase(
            name=name, nearest=room.what, diameter_in=diameter_in, largest_diameter_in=self.largest_in,
            gap_mm=float(self.gap_mm(diameter_in)), least_gap_mm=room.least_gap_mm,
            raise_motor_mm=max(missing, 0.0) / room.raised if room.raised else np.nan,
        )  # fmt: skip

    def reading(self, diameter_in: float) -> str:
        """One propeller in a sentence, and what would make room for it."""
        found = self.case("", diameter_in)
        others = [f"{what} {_down(inches)} in" for what, inches in self.largest_by_what_in.items()][1:]
        beyond = f" ({'; '.join(others)})" if others else ""
        text = (
            f"Room for a propeller of up to {_down(found.largest_diameter_in)} in, by the {found.nearest}"
            f"{beyond}: {diameter_in:g} in "
        )
        if found.gap_mm < 0:
            text += f"would strike it by {-found.gap_mm:.0f} mm"
        else:
            text += f"leaves {found.gap_mm:.0f} mm"
        text += f", {found.least_gap_mm:g} mm wanted."
        if diameter_in <= found.largest_diameter_in:
            return text
        if np.isfinite(found.raise_motor_mm):
            legs = ", or gear legs that much longer" if found.nearest.startswith("ground") else ", as on a taller pylon"
            return f"{text} A motor {np.ceil(found.raise_motor_mm):.0f} mm higher would do it{legs}."
        apart = "Motors further apart" if found.nearest == "other disc" else "More room beside the disc"
        return f"{text} {apart} or a smaller propeller would do it."


def _down(inches: float) -> str:
    """With one digit, rounded down: a limit is not to be passed."""
    return f"{np.floor(inches * 10 + 1e-9) / 10:.1f}"
