"""Bands of charts: between which lines 80 % of builds lie, drawn with the same draws as every range in words.

Each function takes the :class:`Sureness` of one power train and answers at some points of an axis, K of them.
"""

from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.polar import thrust_needed_n
from propmatch.checks.chances import Sureness, intervals
from propmatch.models.arrays import Floats
from propmatch.train.coupling import full_throttle_thrust, solve_lanes
from propmatch.units import MAH_AH

__all__ = ["BAND", "BUILDS", "Band", "charge_band", "needed_band", "shaded", "throttle_bands", "thrust_band"]

BAND = "Shaded: 80 % of builds, given how well each number is known."
"""What a band is, in a sentence, and in the key of a chart."""
BUILDS = "80 % of builds"
_SPEEDS, _STEPS, _MOMENTS = 19, 13, 60


@attrs.frozen(eq=False)
class Band:
    """Between which lines 80 % of the draws lie; NaN where too many have no answer.

    Attributes
    ----------
    x : (K,), of the axis
    low, high : (K,)
    """

    x: Floats
    low: Floats
    high: Floats

    @classmethod
    def of(cls, x: Floats, values: Floats) -> "Band":
        """From values of all draws, (K, N)."""
        return cls(x, *intervals(values))

    def at(self, x: float) -> tuple[float, float]:
        """Both lines at a place of the axis, straight between the points."""
        return float(np.interp(x, self.x, self.low)), float(np.interp(x, self.x, self.high))


def _lanes(sure: Sureness, x: Floats) -> tuple[Any, Floats, Floats]:
    """Lanes of all draws of the train at every point, point by point, with the point and the density of each."""
    count, m = sure.drawn.draws.count, sure.drawn.measured
    lanes = np.tile(sure.at * count + np.arange(count), x.size)
    density = np.broadcast_to(m.setting.air.density_kg_m3, (m.lanes.size,))
    return lanes, np.repeat(x, count), density[lanes]


def thrust_band(sure: Sureness, fastest_m_s: float, charge: float = 1.0) -> Band:
    """Thrust of full throttle [N] against airspeed [m/s], from rest to the fastest."""
    x = np.linspace(0.0, fastest_m_s, _SPEEDS)
    lanes, speed, density = _lanes(sure, x)
    own = sure.drawn.measured.lanes.take(lanes)
    thrust = full_throttle_thrust(own, np.full(lanes.size, charge), density)(np.arange(lanes.size), speed)
    return Band.of(x, thrust.reshape(x.size, -1))


def needed_band(sure: Sureness, slowest_m_s: float, fastest_m_s: float) -> Band:
    """Thrust that level flight needs [N] against airspeed [m/s]."""
    x = np.linspace(slowest_m_s, max(fastest_m_s, slowest_m_s), _SPEEDS)
    lanes, speed, density = _lanes(sure, x)
    needed = thrust_needed_n(sure.drawn.measured.frames.take(lanes), density, speed)
    return Band.of(x, needed.reshape(x.size, -1))


def throttle_bands(sure: Sureness, airspeed_m_s: float, charge: float, percent: Floats) -> dict[str, Band]:
    """Thrust [N] and currents [A] against throttle in percent, from the first to the last, at one airspeed."""
    x, m = np.linspace(percent[0], percent[-1], _STEPS), sure.drawn.measured
    lanes, throttle, density = _lanes(sure, x / 100.0)
    n = lanes.size
    point = solve_lanes(
        m.lanes.take(lanes), np.full(n, airspeed_m_s), throttle, np.full(n, charge), density,
        np.full(n, m.setting.air.speed_of_sound_m_s),
    )  # fmt: skip
    names = ("thrust_n", "motor_current_a", "pack_current_a")
    return {name: Band.of(x, getattr(point, name).reshape(x.size, -1)) for name in names}


def charge_band(sure: Sureness) -> Band:
    """Charge left (0..1) against minutes since take-off, to the end of a long flight.

    Straight between the ends of the phases, those that share the time taken together; a build that has landed keeps
    what is left in it.
    """
    m = sure.drawn.measured
    flight, phases = m.flight, m.setting.phases
    shares = [i for i, phase in enumerate(phases) if phase.share is not None] or list(range(len(phases)))
    first, last = shares[0], shares[-1]
    stages = [*([i] for i in range(first)), shares, *([i] for i in range(last + 1, len(phases)))]
    zero = np.zeros((1, sure.drawn.draws.count))
    minutes, used = (
        np.vstack([zero, np.cumsum([sure.of(each[stage].sum(axis=0)) for stage in stages], axis=0)])
        for each in (flight.phase_minutes, flight.phase_mah * MAH_AH / m.lanes.capacity_ah)
    )
    flown = sure.of(flight.minutes)
    longest = sure.interval(flight.minutes).high
    x = np.linspace(0.0, longest if np.isfinite(longest) else float(np.nanmax(flown, initial=0.0)), _MOMENTS)
    lines = [np.interp(x, t, 1.0 - q) for t, q in zip(minutes.T, used.T, strict=True)]
    return Band.of(x, np.array(lines).T)


def shaded(axes: Any, band: Band, colour: str, *, x: float = 1.0, y: float = 1.0, label: str = "") -> None:
    """Draw a band, its axes multiplied by ``x`` and ``y``; ``label`` for the key."""
    axes.fill_between(x * band.x, y * band.low, y * band.high, color=colour, alpha=0.2, lw=0, label=label)
