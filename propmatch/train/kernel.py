"""The numerical heart: the propeller speed at which motor and propeller torque balance, for many lanes at once.

The balance (:mod:`train.torque`) has one unknown, the propeller speed u, and one root wherever torque rises with
speed. The start is in closed form (with CP a parabola in J the balance is quadratic in u); two Halley steps settle
nearly every lane, two more most of the rest. Lanes that then have not settled, or whose table lets torque fall with
speed, go to a bracketed search.

Bracket: at V = 0 from 0 to S/(K g). In an airstream from the smaller of no-load and windmilling speed to the larger
of S/(K g) and windmilling speed (windmilling: torque zero, u = 2 pi V/(D J0)).

Work runs in chunks that stay in the cache.

Source: steps of third order (E. Halley), as in any text on numerical analysis.
"""

from collections.abc import Iterator

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models.arrays import Flags, Floats, Pick
from propmatch.models.lookup import Workspace
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.brackets import bracketed_newton
from propmatch.train.torque import (
    RESIDUAL_LIMIT,
    THRUST_PER_CT,
    SpeedProblem,
    TorqueBalance,
    imbalance,
    loads,
)

__all__ = ["CHUNK", "ZERO_PADDING", "SpeedProblem", "Speeds", "chunks", "solve_speed"]

CHUNK = 16384
_TWO_PI = 2.0 * np.pi
ZERO_PADDING = 0.05
"""Margin on the advance ratios of zero torque and thrust, which come from the rows of the table."""


def chunks(lanes: int) -> Iterator[slice]:
    """Slices of at most ``CHUNK`` that cover the lanes."""
    return (slice(start, min(start + CHUNK, lanes)) for start in range(0, lanes, CHUNK))


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

    @classmethod
    def empty(cls, lanes: int) -> "Speeds":
        """Room for results."""
        numbers = {a.name: np.empty(lanes) for a in attrs.fields(Speeds) if a.name != "status"}
        return cls(status=np.empty(lanes, dtype=np.int8), **numbers)

    def part(self, some: Pick) -> "Speeds":
        """Some lanes: views of a slice, copies of an index."""
        return Speeds(**{a.name: getattr(self, a.name)[some] for a in attrs.fields(Speeds)})

    def put(self, some: Pick, found: "Speeds") -> None:
        """Write some lanes."""
        for field in attrs.fields(Speeds):
            getattr(self, field.name)[some] = getattr(found, field.name)


def solve_speed(problem: SpeedProblem, lanes: int | None = None) -> Speeds:
    """Speed, torque, thrust and motor current of each lane; ``lanes`` when every array has one element.

    Status: OK; CANNOT_TURN where S does not exceed r I0(0); NO_SOLUTION where the bracket holds no sign change;
    NOT_CONVERGED when the imbalance stays above 1e-12 of S.
    """
    lanes = problem.size if lanes is None else lanes
    out = Speeds.empty(lanes)
    room = Workspace()
    with np.errstate(all="ignore"):
        for part in chunks(lanes):
            _step(problem.take(part) if lanes > CHUNK else problem, room, out.part(part), first=True)
        for method in (_step_again, _step_again, _step_again, _bracket):
            rest = np.flatnonzero(out.status == Status.NOT_CONVERGED)
            if not rest.size:
                break
            for part in chunks(rest.size):
                some = rest[part]
                out.put(some, method(problem.take(some), room, out.part(some)))
        failed = out.status != Status.OK
        if failed.any():
            for result in (out.speed_rad_s, out.torque_nm, out.thrust_n, out.motor_current_a):
                result[failed] = np.nan
    return out


def _step(p: SpeedProblem, room: Workspace, out: Speeds, *, first: bool) -> Speeds:
    """Two steps for a whole chunk; lanes they do not settle are left NOT_CONVERGED with their last speed."""
    u, torque, current, thrust = out.speed_rad_s, out.torque_nm, out.motor_current_a, out.thrust_n
    balance = TorqueBalance(p, u.size, room)
    if first:
        balance.start(u)
    settled = balance.settle(u, torque, guarded=not first)
    balance.line.current_a(torque, current)
    if balance.moving:
        settled &= balance.line.roles_hold(torque, current)
    if p.surfaces.torque_falls.any():
        settled &= ~p.surfaces.torque_falls[p.which]
    np.multiply(u, u, out=thrust)
    np.multiply(thrust, balance.disk, out=thrust)
    np.multiply(thrust, THRUST_PER_CT * p.density_kg_m3 * p.ct_scale, out=thrust)
    np.multiply(thrust, balance.reader.other(), out=thrust)
    out.status[...] = Status.OK
    if not settled.all():
        out.status[~settled] = Status.NOT_CONVERGED
        out.status[~np.broadcast_to(_turns(p), u.shape)] = Status.CANNOT_TURN
    return out


def _step_again(p: SpeedProblem, room: Workspace, out: Speeds) -> Speeds:
    return _step(p, room, out, first=False)


def _turns(p: SpeedProblem) -> Flags:
    """Lanes whose voltage covers the no-load current at rest."""
    return (p.source_v > 0) & (p.source_v > p.resistance_ohm * np.where(p.exponent == 0, p.no_load_a, 0.0))


def _bracket(p: SpeedProblem, room: Workspace, out: Speeds) -> Speeds:
    """The bracketed search."""
    lanes, s, which = out.status.size, p.surfaces, p.which
    gear = p.gear_ratio * p.k
    free = p.source_v / gear
    no_load_top = line.no_load_a(p, p.gear_ratio * free)
    no_load_speed = np.maximum(line.speed_at(p, p.source_v, p.resistance_ohm, no_load_top), 0.0)
    windmill = _TWO_PI * p.airspeed_m_s / p.diameter_m
    slow = windmill / (s.j_zero_high[which] * (1 + ZERO_PADDING))
    fast = windmill / (s.j_zero_low[which] * (1 - ZERO_PADDING))
    low = np.where(p.airspeed_m_s > 0, np.minimum(no_load_speed, slow), 0.0)
    ends = (low, np.maximum(free, fast), RESIDUAL_LIMIT * p.source_v)
    low, high, limit = (np.broadcast_to(x, (lanes,)) for x in ends)
    u, status = bracketed_newton(lambda some, x: imbalance(p.take(some), x), low, high, limit, falling=True)
    torque, thrust = loads(p, u)
    return Speeds(
        speed_rad_s=u,
        torque_nm=torque,
        thrust_n=thrust,
        motor_current_a=line.current_a(p, torque, line.no_load_a(p, p.gear_ratio * u)),
        status=status,
    )
