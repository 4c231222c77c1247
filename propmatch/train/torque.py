"""The torque balance of many lanes: motor, controller and pack as a line of torque over propeller speed.

With S = d E' the voltage behind the chopper and r = R + R_c + count d^2 R_b/eta the resistance the motor current sees
(eta in place of 1/eta when it flows back), at a propeller speed u [rad/s] (motor speed g u):

    S - K g u - r I(u) = 0,    I(u) = Q(u)/(g K e) + I0(g u),    Q = CP(J, rpm) rho D^5 u^2/(8 pi^3)

Times g K e/r this is a balance of torques at the propeller:

    stall - drag u - friction(u) - Q(u) = 0,    stall = g K e S/r,    drag = (g K)^2 e/r,    friction = g K e I0(g u)

It falls with u wherever propeller torque rises with speed.

Every array of a problem is (N,), or (1,) where one number serves every lane.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models import motor
from propmatch.models.lookup import FlightReader, RestReader, Workspace
from propmatch.models.surface import Surfaces

__all__ = [
    "RESIDUAL_LIMIT",
    "THRUST_PER_CT",
    "TORQUE_PER_CP",
    "SpeedProblem",
    "TorqueBalance",
    "current_and_no_load",
    "imbalance",
    "lanes_of",
    "loads",
    "reader_of",
]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
RESIDUAL_LIMIT = 1e-12
"""Largest imbalance accepted, as a fraction of d E': 1e-10 is asked for, thrust near its zero needs more."""
_STEPS = 2
_TWO_PI = 2.0 * np.pi
TORQUE_PER_CP = 1.0 / (8.0 * np.pi**3)
"""Q/(CP rho D^5 u^2)."""
THRUST_PER_CT = 1.0 / (4.0 * np.pi**2)
"""T/(CT rho D^4 u^2)."""


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


def reader_of(
    coefficient: str, p: Any, lanes: int, room: Workspace, *, moving: bool | None = None
) -> RestReader | FlightReader:
    """The reader that lanes with ``surfaces``, ``which`` and ``airspeed_m_s`` need."""
    if moving is None:
        moving = bool(np.any(p.airspeed_m_s > 0))
    return (FlightReader if moving else RestReader)(coefficient, p.surfaces, p.which, lanes, room)


class TorqueBalance:
    """The torque balance of a chunk, in the state of a search: roles of e and eta, place of the reader."""

    def __init__(self, p: SpeedProblem, lanes: int, room: Workspace) -> None:
        self.problem, self.room, self.lanes = p, room, lanes
        self.moving = bool(np.any(p.airspeed_m_s > 0))
        self.reader = reader_of("cp", p, lanes, room, moving=self.moving)
        self.gear = self._product("gear", p.gear_ratio, p.k)
        self.disk = self._product("disk", p.diameter_m, p.diameter_m)
        np.multiply(self.disk, self.disk, out=self.disk)
        self.scale = self._product("scale", self.disk, p.diameter_m, TORQUE_PER_CP * p.density_kg_m3)
        self.j_per_u = _TWO_PI * p.airspeed_m_s / p.diameter_m if self.moving else p.airspeed_m_s
        self.driven: Any = np.zeros(1, dtype=bool)
        self.feeding: Any = self.driven
        self._line(p.gear_efficiency, p.resistance_ohm)
        # no-load current over that at its reference, for lanes where it depends on speed
        self.curved = bool(np.any(p.exponent))
        if self.curved:
            self._bent: Any = slice(None) if p.exponent.size == 1 else np.flatnonzero(p.exponent)
            self._exponent = lanes_of(p.exponent, self._bent)
            self._per_reference = lanes_of(p.gear_ratio / p.reference_rad_s, self._bent)
            self._ratio = room.array("no-load ratio", lanes)
            self._ratio[...] = 1.0
            self._friction_here: Floats = room.array("friction here", lanes)

    def _product(self, name: str, *factors: Floats) -> Floats:
        """The product of arrays, in memory that is kept."""
        out = self.room.array(name, max(x.size for x in factors))
        np.multiply(factors[0], factors[1], out=out)
        for factor in factors[2:]:
            np.multiply(out, factor, out=out)
        return out

    def _line(self, efficiency: Floats, resistance: Floats) -> None:
        """Torque over speed that motor, controller and pack give: stall - drag u - friction(u)."""
        p = self.problem
        self.torque_per_a = self._product("torque per A", self.gear, efficiency)
        pull = self.torque_per_a / resistance
        self.stall = self._product("stall", pull, p.source_v)
        self.drag = self._product("drag", pull, self.gear)
        self.friction: Floats = self._product("friction", self.torque_per_a, p.no_load_a)

    def _take_roles(self, u: Floats, torque: Floats) -> None:
        """Reverse e where the propeller drives the gear, eta where it feeds current back."""
        p = self.problem
        driven = torque < 0
        if not driven.any() and not self.driven.any():
            return
        reverse = np.where(driven, 1.0 / p.gear_efficiency, p.gear_efficiency)
        no_load = p.no_load_a * self._ratio if self.curved else p.no_load_a
        self.driven, self.feeding = driven, torque / (self.gear * reverse) + no_load < 0
        self._line(reverse, np.where(self.feeding, p.resistance_back_ohm, p.resistance_ohm))

    def roles_hold(self, torque: Floats, current: Floats) -> Flags:
        """Lanes whose torque and current have the signs that were assumed."""
        return np.asarray(((torque < 0) == self.driven) & ((current < 0) == self.feeding))

    def _friction(self) -> Floats:
        """Friction torque at the speed reached."""
        if not self.curved:
            return self.friction
        np.multiply(self.friction, self._ratio, out=self._friction_here)
        return self._friction_here

    def current_a(self, torque: Floats, out: Floats) -> None:
        """Motor current at the speed reached, (Q + friction)/(g K e)."""
        np.add(torque, self._friction(), out=out)
        np.divide(out, self.torque_per_a, out=out)

    def start(self, u: Floats) -> None:
        """Closed form: CP a parabola in J, that of the rpm row which 0.7 of the free speed S/(K g) lies in."""
        room, n, s = self.room, self.lanes, self.problem.surfaces
        level, square, line = (room.array(f"start {k}", n) for k in ("level", "square", "line"))
        np.divide(0.7 * self.stall, self.drag, out=u)
        if self.curved:
            # r^x roughly as (1 + (1 + x)/2 (r - 1))/(1 + (1 - x)/2 (r - 1))
            above, x = self._per_reference * u[self._bent] - 1.0, 0.5 * self._exponent
            self._ratio[self._bent] = (1.0 + (0.5 + x) * above) / (1.0 + (0.5 - x) * above)
        np.subtract(self.stall, self._friction(), out=level)
        np.maximum(level, 0.02 * self.stall, out=level)
        if self.moving:
            c0, c1, c2 = self.reader.of_row(s.cp_fit, u)
            np.multiply(self.scale, c0, out=square)
            np.multiply(self.scale, self.j_per_u, out=line)
            np.multiply(c2, line, out=c2)
            np.multiply(c2, self.j_per_u, out=c2)
            np.subtract(level, c2, out=level)
            np.multiply(line, c1, out=line)
            np.add(line, self.drag, out=line)
        else:
            np.multiply(self.scale, self.reader.of_row(s.cp_rest_fit, u), out=square)
            line = self.drag
        # root of square u^2 + line u - level
        np.multiply(square, 4.0, out=square)
        np.multiply(square, level, out=square)
        np.add(square, line * line, out=square)
        np.sqrt(square, out=square)
        np.add(square, line, out=square)
        np.divide(level, square, out=square)
        np.multiply(u, 0.03, out=u)
        np.multiply(square, 2.0, out=square)
        np.fmax(square, u, out=u)

    def settle(self, u: Floats, torque: Floats, *, guarded: bool) -> Flags:
        """Two Halley steps on ``u`` in place; fills the propeller torque and returns which lanes balance."""
        f, w, q = (self.room.array(f"settle {k}", self.lanes) for k in "fwq")
        for step in range(_STEPS):
            self._go(u)
            cp, slope = self.reader.value_and_slope()
            np.multiply(self.scale, u, out=q)
            np.multiply(q, u, out=q)
            np.multiply(q, cp, out=torque)
            np.multiply(q, slope, out=q)
            if self.moving and step == 0:
                self._take_roles(u, torque)
            # f balance, w = -u f', q = -u^2 f''/2
            np.multiply(self.drag, u, out=w)
            friction = self._friction()
            np.subtract(self.stall, w, out=f)
            np.subtract(f, torque, out=f)
            np.subtract(f, friction, out=f)
            np.add(w, torque, out=w)
            np.add(w, torque, out=w)
            np.add(w, q, out=w)
            np.multiply(q, 0.5 if self.moving else 2.0, out=q)
            np.add(q, torque, out=q)
            if self.curved:
                exponent = self.problem.exponent
                np.multiply(friction, exponent, out=friction)
                np.add(w, friction, out=w)
                np.add(q, 0.5 * (exponent - 1.0) * friction, out=q)
            # Halley: du/u = f w/(w^2 + f q)
            np.multiply(q, f, out=q)
            np.multiply(f, w, out=f)
            np.multiply(w, w, out=w)
            np.add(w, q, out=w)
            np.divide(f, w, out=f)
            if guarded:
                np.clip(f, -0.5, 1.0, out=f)
            np.multiply(f, u, out=f)
            np.add(u, f, out=u)
        self._go(u)
        np.multiply(self.scale, self.reader.value(), out=torque)
        np.multiply(torque, u, out=torque)
        np.multiply(torque, u, out=torque)
        np.multiply(self.drag, u, out=f)
        np.add(f, torque, out=f)
        np.add(f, self._friction(), out=f)
        np.subtract(self.stall, f, out=f)
        np.abs(f, out=f)
        return np.asarray((f <= RESIDUAL_LIMIT * self.stall) & (u > 0))

    def _go(self, u: Floats) -> None:
        """Move to propeller speeds u."""
        self.reader.go(u, self.j_per_u / u if self.moving else self.j_per_u)
        if self.curved:
            self._ratio[self._bent] = (self._per_reference * u[self._bent]) ** self._exponent


def loads(p: Any, u: Floats) -> tuple[Floats, Floats]:
    """Torque [N m] and thrust [N] of one propeller at speeds u (N,) [rad/s], of lanes with the fields of a problem."""
    reader = reader_of("cp", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    square = p.diameter_m * u
    square = p.density_kg_m3 * p.diameter_m**2 * square * square
    torque = TORQUE_PER_CP * square * p.diameter_m * reader.value()
    return torque, THRUST_PER_CT * square * reader.other()


def current_and_no_load(p: SpeedProblem, u: Floats, torque: Floats) -> tuple[Floats, Floats]:
    """Motor and no-load current at a speed and torque."""
    no_load = motor.no_load_current_a(p.gear_ratio * u, p.no_load_a, p.reference_rad_s, p.exponent)
    return motor.current_a(torque, no_load, p.k, p.gear_ratio, p.gear_efficiency), no_load


def imbalance(p: SpeedProblem, u: Floats) -> tuple[Floats, Floats]:
    """S - K g u - r I and its slope, with every branch: gear driven backwards, current fed back."""
    reader = reader_of("cp", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    cp, by_speed = reader.value_and_slope()
    disk = p.diameter_m * p.diameter_m
    square = TORQUE_PER_CP * p.density_kg_m3 * p.diameter_m * disk * disk * u * u
    gear = p.gear_ratio * p.k
    current, no_load = current_and_no_load(p, u, square * cp)
    to_current = np.where(cp >= 0, p.gear_efficiency, 1.0 / p.gear_efficiency) * gear
    slope = square * (2.0 * cp + by_speed) / to_current + p.exponent * no_load
    r = np.where(current >= 0, p.resistance_ohm, p.resistance_back_ohm)
    return p.source_v - gear * u - r * current, -gear - r * slope / u
