"""Motor, controller, pack and propeller together: the operating point, and the throttle that holds a thrust.

Source: none needed, equal torques at a steady speed.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch.models.air import Air
from propmatch.models.arrays import Flags, Floats, Index, Number, Pick
from propmatch.records.estimates import Assumption
from propmatch.records.parts import PowerTrain
from propmatch.status import Flag, Status
from propmatch.train import line
from propmatch.train.kernel import chunks, solve_speed
from propmatch.train.lanes import TrainLanes, train_lanes
from propmatch.train.line import lanes_of
from propmatch.train.operating import POINT_FIELDS, Drive, OperatingPoint, point_fields
from propmatch.train.thrust import ThrustProblem, speed_for_thrust
from propmatch.train.torque import SpeedProblem, loads

__all__ = [
    "POINT_FIELDS",
    "Asked",
    "OperatingPoint",
    "as_lanes",
    "full_throttle_thrust",
    "hold_lanes",
    "hold_thrust",
    "solve",
    "solve_lanes",
]

_SEA_LEVEL = Air.standard()


def solve(
    train: PowerTrain | Sequence[PowerTrain],
    *,
    airspeed_m_s: ArrayLike = 0.0,
    throttle: ArrayLike = 1.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
) -> OperatingPoint:
    """Operating point of a power train: the one rotational speed where motor torque equals propeller torque.

    Parameters
    ----------
    train : PowerTrain or sequence of N
        N trains are lanes of shape (N,).
    airspeed_m_s : array_like [m/s], >= 0
    throttle : array_like [-], duty 0..1; 0 is motor off
    charge : array_like [-], state of charge 0..1
    air : Air, default the standard atmosphere at sea level

    Returns
    -------
    OperatingPoint
        Fields broadcast over all arguments; floats when every argument is scalar and ``train`` one train.

    Raises
    ------
    TypeError, ValueError
        Wrong types, shapes that do not broadcast, a propeller without a coefficient table. A number out of range in
        a lane gives status BAD_INPUT there and leaves the other lanes alone.

    Notes
    -----
    d E' - K w - (R(w) + R_c + count d^2 R_b/eta) I(w) = 0 with E' = E - R_b I_acc, eta = 1 - k (1 - d),
    I(w) = Q(w/g)/(g K e) + I0(w): first-order motor, averaged chopper, pack with a series resistance, as in
    :mod:`propmatch.models`. Range: the coefficient table; beyond it the answer is flagged.
    """
    numbers = {"airspeed_m_s": airspeed_m_s, "throttle": throttle, "charge": charge}
    asked = _compact(train, air, numbers)
    return asked.answer(
        solve_lanes(asked.lanes, asked["airspeed_m_s"], asked["throttle"], asked["charge"], asked.density, asked.sound)
    )


def hold_thrust(
    train: PowerTrain | Sequence[PowerTrain],
    thrust_n: ArrayLike,
    *,
    airspeed_m_s: ArrayLike = 0.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
) -> OperatingPoint:
    """Operating point at the throttle that gives a thrust; ``thrust_n`` is the whole train's, >= 0.

    The lowest propeller speed giving thrust_n/count fixes torque and current; the throttle follows in closed form
    (:func:`propmatch.models.controller.throttle_for`). Parameters, result and errors as in :func:`solve`.

    Status CANNOT_HOLD where the pack cannot deliver the power or throttle would exceed 1 by more than rounding, so that
    what full throttle gives can be held; BELOW_IDLE where less than no current is needed; OFF for no thrust at no
    airspeed.
    """
    numbers = {"thrust_n": thrust_n, "airspeed_m_s": airspeed_m_s, "charge": charge}
    asked = _compact(train, air, numbers)
    return asked.answer(
        hold_lanes(asked.lanes, asked["thrust_n"], asked["airspeed_m_s"], asked["charge"], asked.density, asked.sound)
    )


@attrs.frozen(kw_only=True, eq=False)
class Asked:
    """A question about trains as lanes: arrays (N,), or (1,) where one train or number serves every lane.

    Attributes
    ----------
    lanes : TrainLanes
    shape : of the answer; scalar : whether it is a float
    assumptions : estimates for the parts
    numbers : the arguments by name, flat
    density, sound : of the air [kg/m3], [m/s]
    """

    lanes: TrainLanes
    shape: tuple[int, ...]
    scalar: bool
    assumptions: tuple[Assumption, ...]
    numbers: dict[str, Floats]
    density: Floats
    sound: Floats

    def __getitem__(self, name: str) -> Floats:
        """An argument by name."""
        return self.numbers[name]

    def spread(self) -> "Asked":
        """Every array (N,)."""
        lanes, n = self.lanes, int(np.prod(self.shape))
        if lanes.size == 1:
            lanes = lanes.take(np.zeros(n, dtype=np.intp))

        def wide(array: Floats) -> Floats:
            return np.broadcast_to(array, (n,))

        numbers = {name: wide(x) for name, x in self.numbers.items()}
        return attrs.evolve(self, lanes=lanes, numbers=numbers, density=wide(self.density), sound=wide(self.sound))

    def answer(self, point: OperatingPoint, more: tuple[Assumption, ...] = ()) -> OperatingPoint:
        """A point of these lanes in the shape asked for; scalars become floats, a Status and a Flag."""
        made = self.assumptions + more
        asked: dict[str, Floats] = {
            name: self.numbers[name] for name in ("airspeed_m_s", "charge") if name in self.numbers
        }
        if not self.scalar:
            fields = {name: getattr(point, name).reshape(self.shape) for name in POINT_FIELDS}
            size = int(np.prod(self.shape))
            wide = {name: np.broadcast_to(x, (size,)).reshape(self.shape) for name, x in asked.items()}
            return OperatingPoint(assumptions=made, conditions=wide, **fields)
        fields = {name: float(getattr(point, name)[0]) for name in POINT_FIELDS}
        fields["status"], fields["flags"] = Status(int(point.status[0])), Flag(int(point.flags[0]))
        return OperatingPoint(assumptions=made, conditions={name: float(x[0]) for name, x in asked.items()}, **fields)


def as_lanes(train: PowerTrain | Sequence[PowerTrain], air: Air | None, **numbers: ArrayLike) -> Asked:
    """Trains, air and any numbers as lanes, every array (N,).

    Raises
    ------
    TypeError, ValueError
        As :func:`solve`.
    """
    return _compact(train, air, numbers).spread()


def _compact(train: PowerTrain | Sequence[PowerTrain], air: Air | None, numbers: dict[str, ArrayLike]) -> Asked:
    """As :func:`as_lanes`, but one train and single numbers stay one element that serves every lane."""
    one = isinstance(train, PowerTrain)
    trains: list[PowerTrain] = [train] if isinstance(train, PowerTrain) else list(train)
    wrong = [type(t).__name__ for t in trains if not isinstance(t, PowerTrain)]
    if wrong or not trains:
        raise TypeError(f"train must be a PowerTrain or a sequence of them, got {', '.join(wrong) or 'none'}")
    if not isinstance(air, Air | None):
        raise TypeError(f"air must be an Air, got {type(air).__name__}")
    here = _SEA_LEVEL if air is None else air
    arrays = {}
    for name, value in numbers.items():
        array = np.asarray(value)
        if array.dtype.kind not in "fiu":
            raise TypeError(f"{name} must be numbers, got {array.dtype}")
        arrays[name] = array.astype(np.float64)
    arrays |= {"density": np.asarray(here.density_kg_m3), "sound": np.asarray(here.speed_of_sound_m_s)}
    own = () if one else (len(trains),)
    shape = np.broadcast_shapes(own, *(x.shape for x in arrays.values()))
    flat = {n: x.reshape(1) if x.size == 1 else np.broadcast_to(x, shape).ravel() for n, x in arrays.items()}
    lanes, made = train_lanes(trains)
    if lanes.size > 1 and shape != own:
        lanes = lanes.take(np.broadcast_to(np.arange(lanes.size), shape).ravel())
    density, sound = flat.pop("density"), flat.pop("sound")
    return Asked(
        lanes=lanes, shape=shape, scalar=shape == (), assumptions=made, numbers=flat, density=density, sound=sound
    )


def solve_lanes(
    lanes: TrainLanes, airspeed: Floats, throttle: Floats, charge: Floats, density: Floats, sound: Floats
) -> OperatingPoint:
    """The array path of :func:`solve`: everything (N,), or (1,) where one train or number serves every lane."""
    return _in_chunks(_solve_chunk, lanes, airspeed, throttle, charge, density, sound)


def hold_lanes(
    lanes: TrainLanes, thrust: Floats, airspeed: Floats, charge: Floats, density: Floats, sound: Floats
) -> OperatingPoint:
    """The array path of :func:`hold_thrust`: everything (N,), or (1,) where one train or number serves every lane."""
    return _in_chunks(_hold_chunk, lanes, thrust, airspeed, charge, density, sound)


def _in_chunks(solver: Any, lanes: TrainLanes, *arguments: Floats) -> OperatingPoint:
    """Solve chunk by chunk, so that what is in work stays in the cache."""
    n = int(np.broadcast_shapes((lanes.size,), *(x.shape for x in arguments))[0])
    with np.errstate(all="ignore"):
        if n == 1:
            return OperatingPoint(**solver(lanes, n, *arguments))
        out: dict[str, Any] = {name: np.empty(n) for name in POINT_FIELDS}
        out["status"], out["flags"] = np.empty(n, dtype=np.int8), np.empty(n, dtype=np.int16)
        for part in chunks(n):
            found = solver(_some(lanes, part), part.stop - part.start, *(lanes_of(x, part) for x in arguments))
            for name, array in out.items():
                array[part] = found[name]
    return OperatingPoint(**out)


def _some(lanes: TrainLanes, index: Pick) -> TrainLanes:
    """Some lanes; one train serves every lane."""
    return lanes if lanes.size == 1 else lanes.take(index)


def _statuses(n: int, good: Flags, off: Flags) -> tuple[NDArray[np.int8], Any]:
    """Statuses before solving, and the lanes to solve: a slice when it is all of them."""
    status = np.full(n, Status.OK, dtype=np.int8)
    if good.all() and not off.any():
        return status, slice(0, n)
    status[np.broadcast_to(off, (n,))] = Status.OFF
    status[~np.broadcast_to(good, (n,))] = Status.BAD_INPUT
    run = np.flatnonzero(status == Status.OK)
    return status, run


def _solve_chunk(
    p: TrainLanes, n: int, airspeed: Floats, throttle: Floats, charge: Floats, density: Floats, sound: Floats
) -> dict[str, Any]:
    good = (
        (airspeed >= 0) & (airspeed < np.inf) & (throttle >= 0) & (throttle <= 1)
        & (charge >= 0) & (charge <= 1) & (density > 0) & (density < np.inf)
    )  # fmt: skip
    status, run = _statuses(n, good, throttle == 0)
    drive = Drive.stopped(n)
    open_v, pack_ohm = p.open_circuit_v(charge), p.pack_ohm(charge)
    if isinstance(run, slice) or run.size:
        problem = _problem(p, airspeed, throttle, open_v, pack_ohm, density)
        found = solve_speed(problem.take(run), run.size if isinstance(run, np.ndarray) else n)
        status[run] = found.status
        drive.place(run, found.speed_rad_s, found.torque_nm, found.thrust_n, found.motor_current_a)
    return point_fields(p, drive, airspeed, throttle, open_v, pack_ohm, sound, status)


def _problem(
    p: TrainLanes, airspeed: Floats, throttle: Number, open_v: Floats, pack_ohm: Floats, density: Floats
) -> SpeedProblem:
    """The torque balance at a throttle."""
    source = line.source(p, throttle, open_v, pack_ohm)
    return SpeedProblem(
        **p.columns(),
        source_v=source.volts,
        resistance_ohm=source.ohm,
        resistance_back_ohm=source.ohm_back,
        which=p.propeller,
        diameter_m=p.diameter_m,
        density_kg_m3=density,
        airspeed_m_s=airspeed,
        ct_scale=p.ct_scale,
        cp_scale=p.cp_scale,
        surfaces=p.stack,
    )


def full_throttle_thrust(p: TrainLanes, charge: Floats, density: Floats) -> Callable[[Index, Floats], Floats]:
    """Thrust of the whole train [N] at full throttle as a function of (lanes (M,), airspeeds (M,)).

    The same as ``thrust_n`` of :func:`solve_lanes`, without the rest of the operating point.
    """
    good = (charge >= 0) & (charge <= 1) & (density > 0) & (density < np.inf)
    problem = _problem(p, np.zeros(p.size), p.throttle_limit, p.open_circuit_v(charge), p.pack_ohm(charge), density)
    count = p.count

    def thrust(lanes: Index, airspeed: Floats) -> Floats:
        fit = good[lanes] & (airspeed >= 0) & (airspeed < np.inf)
        speed = np.where(fit, airspeed, 0.0)
        found = solve_speed(attrs.evolve(problem.take(lanes), airspeed_m_s=speed), lanes.size)
        return np.where(fit, count[lanes] * found.thrust_n, np.nan)

    return thrust


def _hold_chunk(
    p: TrainLanes, n: int, thrust: Floats, airspeed: Floats, charge: Floats, density: Floats, sound: Floats
) -> dict[str, Any]:
    good = (
        (airspeed >= 0) & (airspeed < np.inf) & (thrust >= 0) & (thrust < np.inf)
        & (charge >= 0) & (charge <= 1) & (density > 0) & (density < np.inf)
    )  # fmt: skip
    status, run = _statuses(n, good, (thrust == 0) & (airspeed == 0))
    drive = Drive.stopped(n)
    throttle = np.zeros(n)
    open_v, pack_ohm = p.open_circuit_v(charge), p.pack_ohm(charge)
    if isinstance(run, slice) or run.size:
        q, v, rho, e, r = (_some(p, run), *(lanes_of(x, run) for x in (airspeed, density, open_v, pack_ohm)))
        problem = ThrustProblem(
            thrust_n=lanes_of(thrust, run) / q.count,
            which=q.propeller,
            diameter_m=q.diameter_m,
            density_kg_m3=rho,
            airspeed_m_s=v,
            ct_scale=q.ct_scale,
            cp_scale=q.cp_scale,
            surfaces=q.stack,
        )
        u, found = speed_for_thrust(problem, run.size if isinstance(run, np.ndarray) else n)
        torque, pull = loads(problem, u)
        w = q.gear_ratio * u
        current = line.current_a(q, torque, line.no_load_a(q, w))
        behind = line.behind_v(q, w, current, line.fixed_ohm(q))
        d = line.held_throttle(q, behind, current, e, r)
        solved = found == Status.OK
        below = solved & (current < 0)
        beyond = solved & ~below & ~line.can_hold(d, q.throttle_limit)
        found[below], found[beyond] = Status.BELOW_IDLE, Status.CANNOT_HOLD
        status[run], throttle[run] = found, np.minimum(d, q.throttle_limit)
        drive.place(run, u, torque, pull, current)
    return point_fields(p, drive, airspeed, throttle, open_v, pack_ohm, sound, status)
