"""The numerical heart: the propeller speed at which motor and propeller torque balance, for many lanes at once.

One unknown, the propeller speed u [rad/s] (motor speed g u). With S = d E' the voltage behind the chopper and
r = R + R_c + count d^2 R_b/eta the resistance the motor current sees (eta in place of 1/eta when it flows back):

    S - K g u - r I(u) = 0,    I(u) = Q(u)/(g K e) + I0(g u),    Q = CP(J, rpm) rho D^5 u^2/(8 pi^3)

Times g K e/r this is a balance of torques at the propeller, in which motor, controller and pack have become a line:

    stall - drag u - friction(u) - Q(u) = 0,    stall = g K e S/r,    drag = (g K)^2 e/r,    friction = g K e I0(g u)

It falls with u wherever propeller torque rises with speed, so the root is unique there. The start is in closed form
(with CP a parabola in J the balance is quadratic in u); two Halley steps settle nearly every lane. Lanes in which the
propeller drives the gear or the motor are stepped again with e and eta reversed; lanes that then have not settled, or
whose table lets torque fall with speed, go to a bracketed search.

Bracket: at V = 0 from 0 to S/(K g). In an airstream from the smaller of no-load and windmilling speed to the larger
of S/(K g) and windmilling speed (windmilling: torque zero, u = 2 pi V/(D J0)).

Every array of a problem is (N,), or (1,) where one number serves every lane. Work runs in chunks that stay in the
cache.
"""

from collections.abc import Iterator
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch import motor
from propmatch.bracket import bracketed_newton
from propmatch.lookup import FlightReader, RestReader, Workspace
from propmatch.status import Status
from propmatch.surface import Surfaces

__all__ = [
    "CHUNK",
    "RESIDUAL_LIMIT",
    "THRUST_PER_CT",
    "TORQUE_PER_CP",
    "SpeedProblem",
    "Speeds",
    "chunks",
    "lanes_of",
    "loads",
    "reader_of",
    "solve_speed",
]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
CHUNK = 8192
RESIDUAL_LIMIT = 1e-12
"""Largest imbalance accepted, as a fraction of d E': 1e-10 is asked for, thrust near its zero needs more."""
_STEPS, _STEPS_MORE = 2, 6
_TWO_PI = 2.0 * np.pi
TORQUE_PER_CP = 1.0 / (8.0 * np.pi**3)
"""Q/(CP rho D^5 u^2)."""
THRUST_PER_CT = 1.0 / (4.0 * np.pi**2)
"""T/(CT rho D^4 u^2)."""
ZERO_PADDING = 0.05
"""Margin on the advance ratios of zero torque and thrust, which come from the rows of the table."""


def chunks(lanes: int) -> Iterator[slice]:
    """Slices of at most ``CHUNK`` that cover the lanes."""
    return (slice(start, min(start + CHUNK, lanes)) for start in range(0, lanes, CHUNK))


def lanes_of(array: Any, index: Any) -> Any:
    """The lanes of an index, slice or mask; an array of one element serves every lane."""
    return array if array.size == 1 else array[index]


@attrs.frozen(kw_only=True, eq=False)
class SpeedProblem:
    """Lanes of the torque balance; every array (N,) or (1,), finite.

    Attributes
    ----------
    source_v : S = d E' [V]
    k : torque constant K [V s/rad]
    resistance_ohm, resistance_back_ohm : r [ohm] for I >= 0 and I < 0
    no_load_a, reference_rad_s, exponent : I0(w) = no_load_a (w/reference)^exponent
    gear_ratio, gear_efficiency : g, e
    which : propeller number in ``surfaces``
    diameter_m, density_kg_m3, airspeed_m_s
    surfaces : Surfaces
    """

    source_v: Floats
    k: Floats
    resistance_ohm: Floats
    resistance_back_ohm: Floats
    no_load_a: Floats
    reference_rad_s: Floats
    exponent: Floats
    gear_ratio: Floats
    gear_efficiency: Floats
    which: NDArray[np.intp]
    diameter_m: Floats
    density_kg_m3: Floats
    airspeed_m_s: Floats
    surfaces: Surfaces

    @property
    def size(self) -> int:
        """Number of lanes."""
        return max(int(getattr(self, name).size) for name in _LANE_FIELDS)

    def take(self, index: Any) -> "SpeedProblem":
        """The lanes of an index, slice or mask."""
        return SpeedProblem(
            surfaces=self.surfaces, **{name: lanes_of(getattr(self, name), index) for name in _LANE_FIELDS}
        )


_LANE_FIELDS = tuple(a.name for a in attrs.fields(SpeedProblem) if a.name != "surfaces")


@attrs.frozen(kw_only=True, eq=False)
class Speeds:
    """What balances, every array (N,): one propeller's speed [rad/s], torque and thrust, its motor's current.

    NaN where ``status`` is not OK.
    """

    speed_rad_s: Floats
    torque_nm: Floats
    thrust_n: Floats
    motor_current_a: Floats
    status: NDArray[np.int8]


def solve_speed(problem: SpeedProblem, lanes: int | None = None) -> Speeds:
    """Speed, torque, thrust and motor current of each lane; ``lanes`` when every array has one element.

    Status: OK; CANNOT_TURN where S does not exceed r I0(0); NO_SOLUTION where the bracket holds no sign change;
    NOT_CONVERGED when the imbalance stays above 1e-12 of S.
    """
    lanes = problem.size if lanes is None else lanes
    speed, torque, thrust, current = (np.empty(lanes) for _ in range(4))
    status = np.empty(lanes, dtype=np.int8)
    room = Workspace()
    with np.errstate(all="ignore"):
        for part in chunks(lanes):
            _solve_chunk(
                problem.take(part), room, speed[part], torque[part], thrust[part], current[part], status[part]
            )  # fmt: skip
    return Speeds(speed_rad_s=speed, torque_nm=torque, thrust_n=thrust, motor_current_a=current, status=status)


def _solve_chunk(
    p: SpeedProblem,
    room: Workspace,
    u: Floats,
    torque: Floats,
    thrust: Floats,
    current: Floats,
    status: NDArray[np.int8],
) -> None:
    """Solve one chunk into the arrays given."""
    balance = _Balance(p, u.size, room)
    balance.start(u)
    settled = balance.settle(u, torque, _STEPS)
    np.divide(torque, p.gear_ratio * p.k * p.gear_efficiency, out=current)
    np.add(current, balance.no_load_a(u), out=current)
    np.multiply(u, u, out=thrust)
    np.multiply(thrust, THRUST_PER_CT * p.density_kg_m3 * p.diameter_m**4, out=thrust)
    np.multiply(thrust, balance.reader.other(), out=thrust)
    status[...] = Status.OK
    falls = p.surfaces.torque_falls[p.which]
    again = ~settled | falls
    if balance.moving:
        again |= (torque < 0) & (
            (p.gear_efficiency != 1) | ((current < 0) & (p.resistance_back_ohm != p.resistance_ohm))
        )
    if again.any():
        turns = np.broadcast_to(_turns(p), u.shape)
        rest = np.flatnonzero(again & turns)
        if rest.size:
            q = p.take(rest)
            stepped = _stepped(q, u[rest], torque[rest], current[rest])
            stepped[np.broadcast_to(lanes_of(falls, rest), stepped.shape)] = np.nan
            u[rest], status[rest] = _bracketed(q, stepped)
            torque[rest], thrust[rest] = loads(q, u[rest])
            current[rest] = _current(q, u[rest], torque[rest])[0]
        status[~turns] = Status.CANNOT_TURN
        failed = status != Status.OK
        if failed.any():
            for result in (u, torque, thrust, current):
                result[failed] = np.nan


def _turns(p: SpeedProblem) -> Flags:
    """Lanes whose voltage covers the no-load current at rest."""
    return (p.source_v > 0) & (p.source_v > p.resistance_ohm * np.where(p.exponent == 0, p.no_load_a, 0.0))


def reader_of(
    coefficient: str, p: Any, lanes: int, room: Workspace, *, moving: bool | None = None
) -> RestReader | FlightReader:
    """The reader that lanes with ``surfaces``, ``which`` and ``airspeed_m_s`` need."""
    if moving is None:
        moving = bool(np.any(p.airspeed_m_s > 0))
    return (FlightReader if moving else RestReader)(coefficient, p.surfaces, p.which, lanes, room)


class _Balance:
    """The torque balance of a chunk, for lanes in which motor drives gear and gear drives propeller."""

    def __init__(self, p: SpeedProblem, lanes: int, room: Workspace) -> None:
        gear = p.gear_ratio * p.k
        pull = gear * p.gear_efficiency / p.resistance_ohm
        self.problem = p
        self.moving = bool(np.any(p.airspeed_m_s > 0))
        self.reader = reader_of("cp", p, lanes, room, moving=self.moving)
        self.stall = pull * p.source_v
        self.drag = pull * gear
        self.scale = TORQUE_PER_CP * p.density_kg_m3 * p.diameter_m**5
        self.j_per_u = _TWO_PI * p.airspeed_m_s / p.diameter_m
        self.friction = gear * p.gear_efficiency * p.no_load_a
        self.net = self.stall - np.where(p.exponent == 0, self.friction, 0.0)
        self._curved: Any = np.flatnonzero(p.exponent)
        if self._curved.size and p.exponent.size == 1:
            self._curved = slice(None)
        self.curved = bool(np.any(p.exponent))

    def _friction(self, u: Floats) -> tuple[Floats, Floats]:
        """Friction of the lanes where it depends on speed, and u times its slope."""
        p, c = self.problem, self._curved
        reference, exponent, gear = (lanes_of(x, c) for x in (p.reference_rad_s, p.exponent, p.gear_ratio))
        value = lanes_of(self.friction, c) * (gear * u[c] / reference) ** exponent
        return value, exponent * value

    def no_load_a(self, u: Floats) -> Floats:
        """I0 at propeller speeds."""
        p = self.problem
        if not self.curved:
            return p.no_load_a
        out = np.broadcast_to(p.no_load_a, u.shape).copy()
        per_a = np.broadcast_to(p.gear_ratio * p.k * p.gear_efficiency, u.shape)
        out[self._curved] = self._friction(u)[0] / per_a[self._curved]
        return out

    def start(self, u: Floats) -> None:
        """Closed form, with CP a parabola in J: first the propeller's, then that of the rpm row it leads to."""
        net = np.maximum(self.stall - self.friction, 0.02 * self.stall)
        s = self.surfaces = self.problem.surfaces
        least = 0.02 * self.stall / self.drag
        for at in (None, u):
            rest, c0, c1, c2 = self.reader.fit(s.power_fit_rows, s.power_fit, at)
            if self.moving:
                square, line = self.scale * c0, self.drag + self.scale * c1 * self.j_per_u
                level = net - self.scale * c2 * self.j_per_u**2
            else:
                square, line, level = self.scale * rest, self.drag, net
            root = 2.0 * level / (line + np.sqrt(line * line + 4.0 * square * level))
            np.fmax(root, least, out=u)

    def settle(self, u: Floats, torque: Floats, steps: int) -> Flags:
        """Halley steps on ``u`` in place; fills the propeller torque and returns which lanes balance."""
        for _ in range(steps):
            self._go(u)
            cp, slope = self.reader.value_and_slope()
            square = self.scale * u
            np.multiply(square, u, out=square)
            np.multiply(square, cp, out=torque)
            np.multiply(square, slope, out=square)
            lost = self.drag * u
            f = self.net - lost
            np.subtract(f, torque, out=f)
            w = np.add(lost, torque, out=lost)
            np.add(w, torque, out=w)
            np.add(w, square, out=w)
            if self.curved:
                friction, by_speed = self._friction(u)
                f[self._curved] -= friction
                w[self._curved] += by_speed
            np.multiply(square, 0.5 if self.moving else 2.0, out=square)
            np.add(square, torque, out=square)
            # Halley: du/u = f w/(w^2 + f q), w = -u f', q = -u^2 f''/2
            np.multiply(square, f, out=square)
            np.multiply(f, w, out=f)
            np.multiply(w, w, out=w)
            np.add(w, square, out=w)
            np.divide(f, w, out=f)
            np.multiply(f, u, out=f)
            np.add(u, f, out=u)
        self._go(u)
        np.multiply(self.scale, self.reader.value(), out=torque)
        np.multiply(torque, u, out=torque)
        np.multiply(torque, u, out=torque)
        f = self.drag * u
        np.add(f, torque, out=f)
        np.subtract(self.net, f, out=f)
        if self.curved:
            f[self._curved] -= self._friction(u)[0]
        np.abs(f, out=f)
        return (f <= RESIDUAL_LIMIT * self.stall) & (u > 0)

    def _go(self, u: Floats) -> None:
        self.reader.go(u, self.j_per_u / u if self.moving else self.j_per_u)


def _stepped(p: SpeedProblem, u: Floats, torque: Floats, current: Floats) -> Floats:
    """Speeds after more steps, with e and r as the signs of torque and current ask; NaN where they do not balance."""
    q = attrs.evolve(
        p,
        gear_efficiency=np.where(torque < 0, 1.0 / p.gear_efficiency, p.gear_efficiency),
        resistance_ohm=np.where(current < 0, p.resistance_back_ohm, p.resistance_ohm),
    )
    u = u.copy()
    _Balance(q, u.size, Workspace()).settle(u, np.empty(u.size), _STEPS_MORE)
    return np.where((u > 0) & (np.abs(_imbalance(p, u)[0]) <= RESIDUAL_LIMIT * p.source_v), u, np.nan)


def loads(p: Any, u: Floats) -> tuple[Floats, Floats]:
    """Torque [N m] and thrust [N] of one propeller at speeds u (N,) [rad/s], of lanes with the fields of a problem."""
    reader = reader_of("cp", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    torque = TORQUE_PER_CP * p.density_kg_m3 * p.diameter_m**5 * u**2 * reader.value()
    return torque, THRUST_PER_CT * p.density_kg_m3 * p.diameter_m**4 * u**2 * reader.other()


def _current(p: SpeedProblem, u: Floats, torque: Floats) -> tuple[Floats, Floats]:
    """Motor and no-load current at a speed and torque."""
    no_load = motor.no_load_current_a(p.gear_ratio * u, p.no_load_a, p.reference_rad_s, p.exponent)
    return motor.current_a(torque, no_load, p.k, p.gear_ratio, p.gear_efficiency), no_load


def _imbalance(p: SpeedProblem, u: Floats) -> tuple[Floats, Floats]:
    """S - K g u - r I and its slope, with every branch: gear driven backwards, current fed back."""
    reader = reader_of("cp", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    cp, by_speed = reader.value_and_slope()
    square = TORQUE_PER_CP * p.density_kg_m3 * p.diameter_m**5 * u * u
    gear = p.gear_ratio * p.k
    current, no_load = _current(p, u, square * cp)
    to_current = np.where(cp >= 0, p.gear_efficiency, 1.0 / p.gear_efficiency) * gear
    slope = square * (2.0 * cp + by_speed) / to_current + p.exponent * no_load
    r = np.where(current >= 0, p.resistance_ohm, p.resistance_back_ohm)
    return p.source_v - gear * u - r * current, -gear - r * slope / u


def _bracketed(p: SpeedProblem, u: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """Speeds and statuses: those given where they are numbers, the bracketed search for the others."""
    status = np.full(u.shape, Status.OK, dtype=np.int8)
    rest = np.flatnonzero(np.isnan(u))
    if not rest.size:
        return u, status
    q = p.take(rest)
    s, which = q.surfaces, q.which
    gear = q.gear_ratio * q.k
    free = q.source_v / gear
    no_load_top = motor.no_load_current_a(q.gear_ratio * free, q.no_load_a, q.reference_rad_s, q.exponent)
    no_load_speed = np.maximum((q.source_v - q.resistance_ohm * no_load_top) / gear, 0.0)
    windmill = _TWO_PI * q.airspeed_m_s / q.diameter_m
    slow = windmill / (s.j_zero_high[which] * (1 + ZERO_PADDING))
    fast = windmill / (s.j_zero_low[which] * (1 - ZERO_PADDING))
    low = np.where(q.airspeed_m_s > 0, np.minimum(no_load_speed, slow), 0.0)
    low, high, limit = (
        np.broadcast_to(x, rest.shape) for x in (low, np.maximum(free, fast), RESIDUAL_LIMIT * q.source_v)
    )
    u = u.copy()
    u[rest], status[rest] = bracketed_newton(
        lambda lanes, x: _imbalance(q.take(lanes), x), low, high, limit, falling=True
    )
    return u, status
