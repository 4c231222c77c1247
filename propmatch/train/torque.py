"""The torque balance of many lanes: what the line (:mod:`propmatch.train.line`) offers is what the propeller takes.

At a propeller speed u [rad/s] the propeller takes Q = CP(J, rpm) rho D^5 u^2/(8 pi^3), and

    stall - drag u - (friction(u) + Q(u)) (1 + rise u) = 0

falls with u wherever propeller torque rises with speed.

Every array of a problem is (N,), or (1,) where one number serves every lane.

Source: none needed, equal torques at a steady speed.
"""

from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Flags, Floats, Index, Pick
from propmatch.models.lookup import FlightReader, RestReader, Workspace
from propmatch.models.surface import Surfaces
from propmatch.train import line
from propmatch.train.line import Motors, TorqueLine, lanes_of

__all__ = [
    "ONE",
    "RESIDUAL_LIMIT",
    "THRUST_PER_CT",
    "TORQUE_PER_CP",
    "SpeedProblem",
    "TorqueBalance",
    "imbalance",
    "loads",
    "reader_of",
]

RESIDUAL_LIMIT = 1e-12
"""Largest imbalance accepted, as a fraction of d E': 1e-10 is asked for, thrust near its zero needs more."""
_STEPS = 2
_TWO_PI = 2.0 * np.pi
TORQUE_PER_CP = 1.0 / (8.0 * np.pi**3)
"""Q/(CP rho D^5 u^2)."""
THRUST_PER_CT = 1.0 / (4.0 * np.pi**2)
"""T/(CT rho D^4 u^2)."""
ONE = np.ones(1)
ONE.setflags(write=False)


@attrs.frozen(kw_only=True, eq=False)
class SpeedProblem(Motors):
    """Lanes of the torque balance: motors, and the rest of the balance; every array (N,) or (1,), finite.

    Attributes
    ----------
    source_v : S = d E' [V]
    resistance_ohm, resistance_back_ohm : r [ohm] for I >= 0 and I < 0, without b w
    which : propeller number in ``surfaces``
    diameter_m, density_kg_m3, airspeed_m_s
    ct_scale, cp_scale : what multiplies the coefficients of the table
    surfaces : Surfaces
    """

    source_v: Floats
    resistance_ohm: Floats
    resistance_back_ohm: Floats
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

    def take(self, index: Pick) -> "SpeedProblem":
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
    """The balance of a chunk in the state of a search: what the line offers, the place of the reader."""

    def __init__(self, p: SpeedProblem, lanes: int, room: Workspace) -> None:
        self.problem, self.room, self.lanes = p, room, lanes
        self.moving = bool(np.any(p.airspeed_m_s > 0))
        self.reader = reader_of("cp", p, lanes, room, moving=self.moving)
        self.disk = room.array("disk", p.diameter_m.size)
        np.multiply(p.diameter_m, p.diameter_m, out=self.disk)
        np.multiply(self.disk, self.disk, out=self.disk)
        density = TORQUE_PER_CP * p.density_kg_m3 * p.cp_scale
        self.scale = room.array("scale", max(p.diameter_m.size, density.size))
        np.multiply(self.disk, p.diameter_m, out=self.scale)
        np.multiply(self.scale, density, out=self.scale)
        self.j_per_u = _TWO_PI * p.airspeed_m_s / p.diameter_m if self.moving else p.airspeed_m_s
        self.line = TorqueLine(p, p.source_v, p.resistance_ohm, p.resistance_back_ohm, lanes, room)

    def start(self, u: Floats) -> None:
        """Closed form: CP a parabola in J, that of the rpm row which 0.7 of the free speed S/(K g) lies in."""
        room, n, s = self.room, self.lanes, self.problem.surfaces
        level, square, linear = (room.array(f"start {k}", n) for k in ("level", "square", "line"))
        offered = self.line
        np.divide(0.7 * offered.stall, offered.drag, out=u)
        offered.go_roughly(u)
        # a resistance that rises with speed is taken as the one at this speed
        stall, drag = offered.stall, offered.drag
        if offered.sloped:
            stall, drag = (x / (1.0 + offered.rise * u) for x in (stall, drag))
        np.subtract(stall, offered.friction, out=level)
        np.maximum(level, 0.02 * stall, out=level)
        if self.moving:
            c0, c1, c2 = self.reader.of_row(s.cp_fit, u)
            np.multiply(self.scale, c0, out=square)
            np.multiply(self.scale, self.j_per_u, out=linear)
            np.multiply(c2, linear, out=c2)
            np.multiply(c2, self.j_per_u, out=c2)
            np.subtract(level, c2, out=level)
            np.multiply(linear, c1, out=linear)
            np.add(linear, drag, out=linear)
        else:
            np.multiply(self.scale, self.reader.of_row(s.cp_rest_fit, u), out=square)
            linear = drag
        # root of square u^2 + linear u - level
        np.multiply(square, 4.0, out=square)
        np.multiply(square, level, out=square)
        np.add(square, linear * linear, out=square)
        np.sqrt(square, out=square)
        np.add(square, linear, out=square)
        np.divide(level, square, out=square)
        np.multiply(u, 0.03, out=u)
        np.multiply(square, 2.0, out=square)
        np.fmax(square, u, out=u)

    def settle(self, u: Floats, torque: Floats, *, guarded: bool) -> Flags:
        """Two Halley steps on ``u`` in place; fills the propeller torque and returns which lanes balance."""
        f, w, q = (self.room.array(f"settle {k}", self.lanes) for k in "fwq")
        offered = self.line
        for step in range(_STEPS):
            self._go(u)
            cp, slope = self.reader.value_and_slope()
            np.multiply(self.scale, u, out=q)
            np.multiply(q, u, out=q)
            np.multiply(q, cp, out=torque)
            np.multiply(q, slope, out=q)
            if self.moving and step == 0:
                offered.take_roles(torque)
            # f balance, w = -u f', q = -u^2 f''/2
            np.multiply(offered.drag, u, out=w)
            friction = offered.friction
            np.subtract(offered.stall, w, out=f)
            np.subtract(f, torque, out=f)
            np.subtract(f, friction, out=f)
            np.add(w, torque, out=w)
            np.add(w, torque, out=w)
            np.add(w, q, out=w)
            np.multiply(q, 0.5 if self.moving else 2.0, out=q)
            np.add(q, torque, out=q)
            load = torque + friction if offered.sloped else torque
            if offered.curved:
                np.multiply(friction, offered.exponent, out=friction)
                np.add(w, friction, out=w)
                np.add(q, 0.5 * (offered.exponent - 1.0) * friction, out=q)
            if offered.sloped:
                # the load L counts 1 + rise u times: u L' is what w holds beside the drag
                more, by_speed = offered.rise * u, w - offered.drag * u
                f -= load * more
                w += (by_speed + load) * more
                q += (q + by_speed) * more
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
        np.multiply(offered.drag, u, out=f)
        np.add(f, torque, out=f)
        friction = offered.friction
        np.add(f, friction, out=f)
        if offered.sloped:
            f += (torque + friction) * offered.rise * u
        np.subtract(offered.stall, f, out=f)
        np.abs(f, out=f)
        return np.asarray((f <= RESIDUAL_LIMIT * offered.stall) & (u > 0))

    def _go(self, u: Floats) -> None:
        """Move to propeller speeds u."""
        self.reader.go(u, self.j_per_u / u if self.moving else self.j_per_u)
        self.line.go(u)


def loads(p: Any, u: Floats) -> tuple[Floats, Floats]:
    """Torque [N m] and thrust [N] of one propeller at speeds u (N,) [rad/s], of lanes with the fields of a problem."""
    reader = reader_of("cp", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    square = p.diameter_m * u
    square = p.density_kg_m3 * p.diameter_m**2 * square * square
    torque = TORQUE_PER_CP * p.cp_scale * square * p.diameter_m * reader.value()
    return torque, THRUST_PER_CT * p.ct_scale * square * reader.other()


def imbalance(p: SpeedProblem, u: Floats) -> tuple[Floats, Floats]:
    """S - K g u - (r + b g u) I and its slope, with every branch: gear driven backwards, current fed back."""
    reader = reader_of("cp", p, u.size, Workspace())
    reader.go(u, _TWO_PI * p.airspeed_m_s / (p.diameter_m * u))
    cp, by_speed = reader.value_and_slope()
    disk = p.diameter_m * p.diameter_m
    square = TORQUE_PER_CP * p.density_kg_m3 * p.cp_scale * p.diameter_m * disk * disk * u * u
    w = p.gear_ratio * u
    no_load = line.no_load_a(p, w)
    current = line.current_a(p, square * cp, no_load)
    to_current = np.where(cp >= 0, p.gear_efficiency, 1.0 / p.gear_efficiency) * (p.gear_ratio * p.k_torque)
    slope = square * (2.0 * cp + by_speed) / to_current + p.exponent * no_load
    r = np.where(current >= 0, p.resistance_ohm, p.resistance_back_ohm)
    per_speed = -p.gear_ratio * (p.k + p.slope_ohm_s * current) - line.ohm_at(p, r, w) * slope / u
    return line.left_over_v(p, p.source_v, r, w, current), per_speed
