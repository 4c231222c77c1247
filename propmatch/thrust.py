"""The propeller speed that gives a thrust, for many lanes at once: CT(J, rpm) rho D^4 u^2/(4 pi^2) = T."""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.bracket import bracketed_newton, first_crossing
from propmatch.kernel import ZERO_PADDING, chunks
from propmatch.lookup import Workspace
from propmatch.status import Status
from propmatch.surface import Surfaces
from propmatch.torque import THRUST_PER_CT, lanes_of, reader_of
from propmatch.units import RPM_RAD_S

__all__ = ["ThrustProblem", "speed_for_thrust"]

Floats = NDArray[np.float64]
_STEPS = 8
_DOUBLINGS = 40
_TWO_PI = 2.0 * np.pi


@attrs.frozen(kw_only=True, eq=False)
class ThrustProblem:
    """Lanes of the thrust balance; every array (N,) or (1,), finite, thrust of one propeller not negative."""

    thrust_n: Floats
    which: NDArray[np.intp]
    diameter_m: Floats
    density_kg_m3: Floats
    airspeed_m_s: Floats
    surfaces: Surfaces

    @property
    def size(self) -> int:
        """Number of lanes."""
        return max(int(getattr(self, name).size) for name in _LANE_FIELDS)

    def take(self, index: object) -> "ThrustProblem":
        """The lanes of an index, slice or mask."""
        return ThrustProblem(
            surfaces=self.surfaces, **{name: lanes_of(getattr(self, name), index) for name in _LANE_FIELDS}
        )


_LANE_FIELDS = tuple(a.name for a in attrs.fields(ThrustProblem) if a.name != "surfaces")


def speed_for_thrust(problem: ThrustProblem, lanes: int | None = None) -> tuple[Floats, NDArray[np.int8]]:
    """Lowest propeller speed [rad/s] that gives the thrust, and status, (N,); ``lanes`` when every array has one.

    Newton from the closed form of CT ~ t (1 - J/j), then the bracketed search. Where a table lets thrust fall with
    speed, the first crossing on a grid of 96 speeds is refined.
    """
    lanes = problem.size if lanes is None else lanes
    u = np.empty(lanes)
    status = np.empty(lanes, dtype=np.int8)
    room = Workspace()
    with np.errstate(all="ignore"):
        for part in chunks(lanes):
            u[part], status[part] = _thrust_chunk(problem.take(part), part.stop - part.start, room)
    return u, status


def _thrust_chunk(p: ThrustProblem, lanes: int, room: Workspace) -> tuple[Floats, NDArray[np.int8]]:
    s, which = p.surfaces, p.which
    scale = THRUST_PER_CT * p.density_kg_m3 * p.diameter_m**2 * p.diameter_m**2
    j_per_u = _TWO_PI * p.airspeed_m_s / p.diameter_m
    t, j = s.thrust_fit[:, which]
    idle = j_per_u / j
    reader = reader_of("ct", p, lanes, room)
    u = np.empty(lanes)
    u[...] = 0.5 * (idle + np.sqrt(idle * idle + 4.0 * p.thrust_n / (scale * t)))
    limit = 1e-12 * np.maximum(p.thrust_n, 1e-3 * scale * t * idle * idle)
    settled = np.zeros(lanes, dtype=bool)
    for _ in range(_STEPS):
        np.maximum(u, 1e-3, out=u)
        reader.go(u, j_per_u / u)
        ct, slope = reader.value_and_slope()
        square = scale * u * u
        excess = square * ct - p.thrust_n
        settled = np.abs(excess) <= limit
        if settled.all():
            break
        step = excess / (square * (2.0 * ct + slope))
        u *= np.where(settled, 1.0, 1.0 - np.clip(step, -1.0, 0.5))
    settled &= ~s.thrust_falls[which] & np.isfinite(u)
    status = np.full(lanes, Status.OK, dtype=np.int8)
    rest = np.flatnonzero(~settled)
    if rest.size:
        u[rest], status[rest] = _bracketed(p.take(rest), rest.size, np.broadcast_to(limit, (lanes,))[rest])
    return u, status


def _excess(p: ThrustProblem, u: Floats) -> tuple[Floats, Floats]:
    """Thrust above the one asked for, and its slope."""
    reader = reader_of("ct", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    ct, slope = reader.value_and_slope()
    per_u = THRUST_PER_CT * p.density_kg_m3 * p.diameter_m**2 * p.diameter_m**2 * u
    return per_u * u * ct - p.thrust_n, per_u * (2.0 * ct + slope)


def _bracketed(p: ThrustProblem, lanes: int, limit: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """First crossing on a grid up to the highest rpm of the table (twice zero thrust at least), else beyond it."""
    s, which = p.surfaces, p.which

    def excess(some: Any, u: Floats) -> tuple[Floats, Floats]:
        return _excess(p.take(some), u)

    windmill = _TWO_PI * p.airspeed_m_s / p.diameter_m
    low = np.broadcast_to(windmill / (s.j_thrust_zero_high[which] * (1 + ZERO_PADDING)), (lanes,))
    fast = windmill / (s.j_thrust_zero_low[which] * (1 - ZERO_PADDING))
    top = np.broadcast_to(np.maximum(s.rpm_max[which] * RPM_RAD_S, 2.0 * fast), (lanes,))
    low, high = first_crossing(excess, low, top)
    for _ in range(_DOUBLINGS):
        short = ~(_excess(p, high)[0] >= 0)
        if not short.any():
            break
        low, high = np.where(short, high, low), np.where(short, 2.0 * high, high)
    return bracketed_newton(excess, low, high, limit, falling=False)
