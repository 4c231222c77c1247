"""What a chart over airspeed is drawn from: its speeds, the thrust that level flight needs, and the phases on it."""

from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.aircraft.flight import FullThrottle, full_throttle
from propmatch.aircraft.polar import airframe_lanes, stall_speed_m_s, thrust_needed_n
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase

__all__ = ["THROTTLES", "Speeds", "fastest_m_s", "fastest_of", "phase_points", "speeds"]

_POINTS = 61
THROTTLES = (0.8, 0.6, 0.4)
"""Throttles drawn beside full throttle."""


@attrs.frozen(kw_only=True, eq=False)
class Speeds:
    """The airspeeds of a chart [m/s], and the thrust [N] that level flight needs at them (NaN below the stall)."""

    airspeed: Floats
    needed: Floats
    stall: float


def speeds(airframe: Airframe, mass_kg: float, air: Air, fastest: float) -> Speeds:
    """Airspeeds from rest to ``fastest`` [m/s], the stall among them."""
    lanes, _ = airframe_lanes(airframe, mass_kg)
    stall = float(stall_speed_m_s(lanes, air.density_kg_m3)[0])
    speed = np.linspace(0.0, max(fastest, 1.6 * stall), _POINTS)
    speed = np.sort(np.append(speed, stall))
    needed = np.where(speed >= stall, thrust_needed_n(lanes, air.density_kg_m3, np.maximum(speed, 1e-3)), np.nan)
    return Speeds(airspeed=speed, needed=needed, stall=stall)


def fastest_m_s(train: PowerTrain, airframe: Airframe, mass_kg: float, air: Air) -> float:
    """Speed [m/s] up to which a chart is worth drawing."""
    return fastest_of(full_throttle(train, airframe, mass_kg, charge=np.array([1.0]), air=air))


def fastest_of(full: FullThrottle) -> float:
    """The same [m/s] from full throttle on a full pack, the first lane."""
    ends = (full.zero_thrust_speed_m_s[0], 1.15 * full.top_speed_m_s[0])
    known = [v for v in ends if np.isfinite(v)]
    return float(max(known, default=0.0))


def phase_points(
    phases: Sequence[Phase], airframe: Airframe, mass_kg: float, air: Air
) -> list[tuple[str, float, float]]:
    """Name, airspeed [m/s] and thrust needed [N] of each phase that holds an airspeed."""
    lanes, _ = airframe_lanes(airframe, mass_kg)
    found = []
    for phase in phases:
        if phase.throttle is None and phase.airspeed_m_s:
            speed = np.array([phase.airspeed_m_s])
            need = thrust_needed_n(lanes, air.density_kg_m3, speed, phase.climb_m_s, phase.load_factor)
            found.append((phase.name, phase.airspeed_m_s, float(need[0])))
    return found
