"""The propeller speed that gives a thrust, for many lanes at once: CT(J, rpm) rho D^4 u^2/(4 pi^2) = T.

Source: none needed, the definition of CT.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models.arrays import Flags, Floats, Index, Pick
from propmatch.models.lookup import FlightReader, RestReader, Workspace
from propmatch.models.surface import Surfaces
from propmatch.status import Status
from propmatch.train.brackets import bracketed_newton, first_crossing
from propmatch.train.kernel import ZERO_PADDING, chunks
from propmatch.train.line import lanes_of
from propmatch.train.torque import ONE, THRUST_PER_CT, reader_of
from propmatch.units import RPM_RAD_S

__all__ = ["ThrustProblem", "speed_for_thrust"]

_STEPS = 2
_DOUBLINGS = 40
_TWO_PI = 2.0 * np.pi


@attrs.frozen(kw_only=True, eq=False)
class ThrustProblem:
    """Lanes of the thrust balance; every array (N,) or (1,), finite, thrust of one propeller not negative."""

    thrust_n: Floats
    which: Index
    diameter_m: Floats
    density_kg_m3: Floats
    airspeed_m_s: Floats
    ct_scale: Floats = ONE
    cp_scale: Floats = ONE
    surfaces: Surfaces

    @property
    def size(self) -> int:
        """Number of lanes."""
        sizes = [int(getattr(self, name).size) for name in _LANE_FIELDS]
        return max(sizes) if all(sizes) else 0

    def take(self, index: Pick) -> "ThrustProblem":
        """The lanes of an index, slice or mask."""
        return ThrustProblem(
            surfaces=self.surfaces, **{name: lanes_of(getattr(self, name), index) for name in _LANE_FIELDS}
        )


_LANE_FIELDS = tuple(a.name for a in attrs.fields(ThrustProblem) if a.name != "surfaces")


def speed_for_thrust(problem: ThrustProblem, lanes: int | None = None) -> tuple[Floats, NDArray[np.int8]]:
    """Lowest propeller speed [rad/s] that gives the thrust, and status, (N,); ``lanes`` when every array has one.

    Start in closed form (with CT a parabola in J the balance is quadratic in u), two Halley steps, two more for the
    lanes that need them, then the bracketed search. Where a table lets thrust fall with speed, the first crossing on a
    grid of 96 speeds is refined.
    """
    lanes = problem.size if lanes is None else lanes
    u, status = np.empty(lanes), np.empty(lanes, dtype=np.int8)
    room = Workspace()
    with np.errstate(all="ignore"):
        for part in chunks(lanes):
            settled = _step(problem.take(part), u[part], room, first=True)
            status[part] = np.where(settled, Status.OK, Status.NOT_CONVERGED)
        for method in (_step_again, _step_again, _bracket):
            rest = np.flatnonzero(status == Status.NOT_CONVERGED)
            if not rest.size:
                break
            for part in chunks(rest.size):
                some = rest[part]
                u[some], status[some] = method(problem.take(some), u[some], room)
    return u, status


def _step(p: ThrustProblem, u: Floats, room: Workspace, *, first: bool) -> Flags:
    """Two steps on ``u`` in place; which lanes then give the thrust to 1e-12."""
    s, square, excess = p.surfaces, room.array("square", u.size), room.array("excess", u.size)
    disk = p.diameter_m * p.diameter_m
    scale = THRUST_PER_CT * p.density_kg_m3 * p.ct_scale * disk * disk
    moving = bool(np.any(p.airspeed_m_s > 0))
    j_per_u = _TWO_PI * p.airspeed_m_s / p.diameter_m
    reader = reader_of("ct", p, u.size, room, moving=moving)
    if first:
        _start(p, u, reader, scale, j_per_u, moving=moving)
    for _ in range(_STEPS):
        reader.go(u, j_per_u / u if moving else j_per_u)
        ct, slope = reader.value_and_slope()
        np.multiply(scale, u, out=square)
        np.multiply(square, u, out=square)
        np.multiply(slope, square, out=slope)
        np.multiply(square, ct, out=square)
        np.subtract(p.thrust_n, square, out=excess)
        # Halley with w = u T', q = -u^2 T''/2: du/u = f w/(w^2 + f q)
        np.add(slope, square, out=ct)
        np.add(ct, square, out=ct)
        np.multiply(slope, 0.5 if moving else 2.0, out=slope)
        np.add(slope, square, out=slope)
        np.multiply(slope, excess, out=slope)
        np.multiply(excess, ct, out=excess)
        np.multiply(ct, ct, out=ct)
        np.add(ct, slope, out=ct)
        np.divide(excess, ct, out=excess)
        np.clip(excess, -0.5, 1.0, out=excess)
        np.multiply(excess, u, out=excess)
        np.add(u, excess, out=u)
    reader.go(u, j_per_u / u if moving else j_per_u)
    np.multiply(scale, u, out=square)
    np.multiply(square, u, out=square)
    np.multiply(square, reader.value(), out=excess)
    np.subtract(excess, p.thrust_n, out=excess)
    settled = np.abs(excess, out=excess) <= 1e-12 * p.thrust_n + 1e-15 * square
    if s.thrust_falls.any():
        settled &= ~s.thrust_falls[p.which]
    return np.asarray(settled & (u > 0))


def _start(
    p: ThrustProblem, u: Floats, reader: RestReader | FlightReader, scale: Floats, j_per_u: Floats, *, moving: bool
) -> None:
    """Closed form: CT a parabola in J, of the table's middle rpm row first, then of the row that leads to."""
    s = p.surfaces
    numbers = s.ct_fit if moving else s.ct_rest_fit
    middle = (s.first_row + np.floor(0.5 * s.rows)).astype(np.intp)[p.which]
    for row in (numbers[..., middle], None):
        fit = reader.of_row(numbers, u) if row is None else row
        if moving:
            a, b = scale * fit[0], scale * fit[1] * j_per_u
            c = p.thrust_n - scale * fit[2] * j_per_u * j_per_u
            np.divide(np.sqrt(np.maximum(b * b + 4.0 * a * c, 0.0)) - b, 2.0 * a, out=u)
        else:
            np.sqrt(p.thrust_n / (scale * fit), out=u)
        np.fmax(u, 1e-3, out=u)


def _step_again(p: ThrustProblem, u: Floats, room: Workspace) -> tuple[Floats, NDArray[np.int8]]:
    u = np.fmax(u, 1e-3)
    settled = _step(p, u, room, first=False)
    return u, np.where(settled, Status.OK, Status.NOT_CONVERGED).astype(np.int8)


def _excess(p: ThrustProblem, u: Floats) -> tuple[Floats, Floats]:
    """Thrust above the one asked for, and its slope."""
    reader = reader_of("ct", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    ct, slope = reader.value_and_slope()
    per_u = THRUST_PER_CT * p.density_kg_m3 * p.ct_scale * p.diameter_m**2 * p.diameter_m**2 * u
    return per_u * u * ct - p.thrust_n, per_u * (2.0 * ct + slope)


def _bracket(p: ThrustProblem, u: Floats, room: Workspace) -> tuple[Floats, NDArray[np.int8]]:
    """First crossing on a grid up to the highest rpm of the table (twice zero thrust at least), else beyond it."""
    s, which = p.surfaces, p.which
    # at no thrust, in an airstream, what counts is a share of the thrust per radian
    least = 1e-15 * p.density_kg_m3 * p.ct_scale * p.diameter_m**2 * p.airspeed_m_s**2
    limit = np.broadcast_to(1e-12 * p.thrust_n + least, u.shape)

    def excess(some: Any, u: Floats) -> tuple[Floats, Floats]:
        return _excess(p.take(some), u)

    windmill = _TWO_PI * p.airspeed_m_s / p.diameter_m
    low = np.broadcast_to(windmill / (s.j_thrust_zero_high[which] * (1 + ZERO_PADDING)), u.shape)
    fast = windmill / (s.j_thrust_zero_low[which] * (1 - ZERO_PADDING))
    top = np.broadcast_to(np.maximum(s.rpm_max[which] * RPM_RAD_S, 2.0 * fast), u.shape)
    low, high = first_crossing(excess, low, top)
    for _ in range(_DOUBLINGS):
        short = ~(_excess(p, high)[0] >= 0)
        if not short.any():
            break
        low, high = np.where(short, high, low), np.where(short, 2.0 * high, high)
    return bracketed_newton(excess, low, high, limit, falling=False)
