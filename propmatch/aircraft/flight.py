"""The aircraft in flight: level flight, top speed and climb on the propeller's own thrust at speed.

Thrust works along the flight path and is multiplied by ``installed_thrust``. Rate of climb = (thrust - drag) V/weight
with the drag of level flight: the usual approximation, which overstates the induced drag of a steep climb. A descent
that asks for no thrust runs its motor where the propeller of a motor that is off would hold it back more. Everything is
an array function over lanes; the functions that take parts are thin wrappers.

Source: J. D. Anderson, Introduction to Flight, ch. 6.
"""

from collections.abc import Callable, Collection, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import (
    AirframeLanes,
    airframe_lanes,
    drag_n,
    least_speed_m_s,
    named,
    stall_speed_m_s,
    thrust_needed_n,
)
from propmatch.models.air import Air
from propmatch.models.arrays import Floats, Index
from propmatch.records.estimates import Assumption
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.status import Status
from propmatch.train.coupling import (
    POINT_FIELDS,
    OperatingPoint,
    as_lanes,
    full_throttle_thrust,
    hold_lanes,
    solve_lanes,
)
from propmatch.train.lanes import TrainLanes

__all__ = [
    "FULL_THROTTLE",
    "FullThrottle",
    "full_throttle",
    "full_throttle_lanes",
    "level_flight",
    "level_lanes",
]

LEAST_THRUST = 1e-6
"""Of the weight: stands for no thrust where the motor runs."""
_GRID = 12
_CHUNK = 2048
_ROOT_STEPS = 60
_ROOT_TOLERANCE = 1e-9


# ---------------------------------------------------------------- level flight


def level_lanes(
    lanes: TrainLanes,
    airframe: AirframeLanes,
    airspeed: Floats,
    charge: Floats,
    density: Floats,
    sound: Floats,
    climb: Any = 0.0,
    load_factor: Any = 1.0,
) -> OperatingPoint:
    """The array path of :func:`level_flight`: every argument (N,)."""
    need = thrust_needed_n(airframe, density, airspeed, climb, load_factor)
    stalled = airspeed < stall_speed_m_s(airframe, density, load_factor) * (1.0 - 1e-9)
    sound_input = (airspeed > 0) & (np.abs(climb) <= airspeed) & (load_factor > 0)
    need = np.where(sound_input & ~stalled, need, np.nan)
    idle = need <= 0
    if idle.any():
        # what the propeller would hold back with the motor off is held, without thrust, by a motor that runs
        off_n = motor_off_drag(lanes, np.where(idle, airspeed, 0.0), density).drag_n
        idle &= need * airframe.installed_thrust <= -off_n
        need = np.where(idle, need, np.where(need <= 0, LEAST_THRUST * airframe.weight_n, need))
    point = hold_lanes(lanes, need, airspeed, charge, density, sound)
    if idle.any():
        off = solve_lanes(lanes, airspeed, np.zeros(lanes.size), charge, density, sound)
        fields = {name: np.where(idle, getattr(off, name), getattr(point, name)) for name in POINT_FIELDS}
        point = attrs.evolve(point, **fields)
    status = np.where(sound_input & stalled, np.int8(Status.BELOW_STALL), point.status)
    return attrs.evolve(point, status=status)


def level_flight(
    train: PowerTrain | Sequence[PowerTrain],
    airframe: Airframe | Sequence[Airframe],
    mass_kg: ArrayLike,
    airspeed_m_s: ArrayLike,
    *,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
    climb_m_s: ArrayLike = 0.0,
    load_factor: ArrayLike = 1.0,
) -> OperatingPoint:
    """Operating point that carries the airframe at an airspeed, level or with a rate of climb.

    Parameters
    ----------
    train : PowerTrain or sequence of N
    airframe : Airframe, or as many as there are trains
    mass_kg : array_like [kg], all-up mass
    airspeed_m_s : array_like [m/s]
    charge : array_like [-], 0..1
    air : Air, default the standard atmosphere at sea level
    climb_m_s : array_like [m/s], negative in a descent
    load_factor : array_like [-], lift over weight

    Returns
    -------
    OperatingPoint
        ``thrust_n`` is the propellers' own, before ``installed_thrust``. Status OFF where no thrust is needed,
        BELOW_STALL where the wing cannot carry the load, CANNOT_HOLD where the power does not suffice.

    Raises
    ------
    TypeError, ValueError
        As :func:`propmatch.train.coupling.solve`.
    """
    asked = as_lanes(
        train, air, airspeed_m_s=airspeed_m_s, mass_kg=mass_kg, charge=charge, climb_m_s=climb_m_s,
        load_factor=load_factor,
    )  # fmt: skip
    frames, assumed = _frames(airframe, asked["mass_kg"], asked.shape)
    point = level_lanes(
        asked.lanes, frames, asked["airspeed_m_s"], asked["charge"], asked.density, asked.sound, asked["climb_m_s"],
        asked["load_factor"],
    )  # fmt: skip
    return asked.answer(point, assumed)


def _frames(airframe: Any, mass: Floats, shape: tuple[int, ...]) -> tuple[AirframeLanes, tuple[Assumption, ...]]:
    """Airframes spread over lanes of a shape whose last axis runs over the trains."""
    if isinstance(airframe, Airframe):
        return airframe_lanes(airframe, mass)
    each = list(airframe)
    some, assumed = airframe_lanes(each, np.ones(len(each)))
    which = np.ravel(np.broadcast_to(np.arange(len(each)), shape))
    return attrs.evolve(some.take(which), mass_kg=airframe_lanes(each[0], mass)[0].mass_kg), assumed


# ---------------------------------------------------------------- full throttle


def _sine(airframe: AirframeLanes, thrust: Any, density: Any, airspeed: Any) -> Any:
    return (airframe.installed_thrust * thrust - drag_n(airframe, density, airspeed)) / airframe.weight_n


@attrs.frozen(kw_only=True, eq=False)
class FullThrottle:
    """What full throttle gives; floats for scalar input, else arrays. NaN where there is no answer.

    Attributes
    ----------
    top_speed_m_s : fastest level flight; NaN where full throttle cannot keep level flight at any speed
    climb_m_s, climb_airspeed_m_s, climb_angle_deg : best rate of climb, its airspeed and angle; negative where it sinks
    steepest_deg, steepest_airspeed_m_s : steepest climb; 90 is vertical. Both climbs are flown at 1.2 stall or faster
    zero_thrust_speed_m_s : airspeed at which the propeller's thrust ends, from its table
    pitch_speed_m_s : rpm x pitch at no airspeed, nominal
    hand_launch_thrust_to_weight : installed thrust over weight at half the stall speed
    stall_speed_m_s : at a load factor of 1
    status : OK; CANNOT_HOLD where there is no level flight; BAD_INPUT
    assumptions : estimates that stand in for numbers nobody stated
    """

    top_speed_m_s: Any
    climb_m_s: Any
    climb_airspeed_m_s: Any
    climb_angle_deg: Any
    steepest_deg: Any
    steepest_airspeed_m_s: Any
    zero_thrust_speed_m_s: Any
    pitch_speed_m_s: Any
    hand_launch_thrust_to_weight: Any
    stall_speed_m_s: Any
    status: Any
    assumptions: tuple[Assumption, ...] = ()


FULL_THROTTLE = tuple(a.name for a in attrs.fields(FullThrottle) if a.name != "assumptions")
"""What full throttle gives, by name."""


def full_throttle(
    train: PowerTrain | Sequence[PowerTrain],
    airframe: Airframe | Sequence[Airframe],
    mass_kg: ArrayLike,
    *,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
) -> FullThrottle:
    """Top level speed, climb, speed of zero thrust and hand-launch thrust; arguments as :func:`level_flight`."""
    asked = as_lanes(train, air, mass_kg=mass_kg, charge=charge)
    frames, assumed = _frames(airframe, asked["mass_kg"], asked.shape)
    found = full_throttle_lanes(asked.lanes, frames, asked["charge"], asked.density, asked.sound)
    values = named(FullThrottle, [getattr(found, name) for name in FULL_THROTTLE], asked.shape)
    if asked.scalar:
        values["status"] = Status(int(values["status"]))
    return FullThrottle(assumptions=asked.assumptions + assumed, **values)


def full_throttle_lanes(
    lanes: TrainLanes,
    airframe: AirframeLanes,
    charge: Floats,
    density: Floats,
    sound: Floats,
    wanted: Collection[str] = FULL_THROTTLE,
) -> FullThrottle:
    """The array path of :func:`full_throttle`: every argument (N,); a field that is not ``wanted`` may be NaN.

    Thrust is solved at rest, at half the stall speed and at 12 speeds from the stall to beyond zero thrust. The best
    climb, at 1.2 times the stall speed or faster, is the top of a parabola through the best three of them, repeated on
    a quarter of the step. Top speed and speed of zero thrust are the highest change of sign, closed in by a bracketed
    secant. About 31 points a lane, 20 for the best climb alone, 22 for the top speed.
    """
    out: dict[str, Any] = {name: np.full(lanes.size, np.nan) for name in FULL_THROTTLE}
    out["status"] = np.full(lanes.size, Status.OK, dtype=np.int8)
    for start in range(0, lanes.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        here = lanes.take(part), airframe.take(part), charge[part], density[part], sound[part]
        found = _full_throttle(*here, wanted=frozenset(wanted))
        for name, value in found.items():
            out[name][part] = value
    return FullThrottle(**out)


Curve = Callable[[Index, Floats], Floats]


def _full_throttle(
    lanes: TrainLanes, airframe: AirframeLanes, charge: Floats, density: Floats, sound: Floats, wanted: frozenset[str]
) -> dict[str, Any]:
    thrust_at = full_throttle_thrust(lanes, charge, density)

    def sine_at(which: Index, speed: Floats) -> Floats:
        return np.asarray(_sine(airframe.take(which), thrust_at(which, speed), density[which], speed))

    everyone = np.arange(lanes.size)
    stall = np.asarray(stall_speed_m_s(airframe, density))
    free_rev_s = lanes.open_circuit_v(charge) / (2.0 * np.pi * lanes.k * lanes.gear_ratio)
    fastest = lanes.stack.j_thrust_zero_high[lanes.propeller] * lanes.diameter_m * free_rev_s
    grid = searched_speeds_m_s(stall, fastest)
    speeds = np.vstack([0.0 * stall, 0.5 * stall, grid])
    thrust = thrust_at(np.tile(everyone, len(speeds)), speeds.ravel()).reshape(speeds.shape)
    sine = _sine(airframe, thrust[2:], density, grid)

    least = np.asarray(least_speed_m_s(airframe, density))
    peak_speed, peak_sine = _peak(grid, sine, sine_at, lambda sine, speed: sine * speed, least)
    out = {"hand_launch_thrust_to_weight": airframe.thrust_to_weight(thrust[1]), "stall_speed_m_s": stall}
    if wanted & {"climb_m_s", "climb_airspeed_m_s", "climb_angle_deg"}:
        climb_speed, climb_sine = peak_speed.copy(), np.minimum(peak_sine, 1.0)
        vertical = np.flatnonzero(peak_sine > 1.0)
        if vertical.size:  # min(V, V sin) is largest where the excess thrust is just the weight
            known = np.vstack([grid, peak_speed])[:, vertical], np.vstack([sine, peak_sine])[:, vertical] - 1.0
            climb_speed[vertical] = _last_zero(*known, lambda i, v: sine_at(vertical[i], v) - 1.0)
        out |= {
            "climb_m_s": climb_speed * climb_sine,
            "climb_airspeed_m_s": climb_speed,
            "climb_angle_deg": _degrees(climb_sine),
        }
    if wanted & {"top_speed_m_s", "status"}:
        top = _last_zero(np.vstack([grid, peak_speed]), np.vstack([sine, peak_sine]), sine_at)
        status = np.where(np.isfinite(top), np.int8(Status.OK), np.int8(Status.CANNOT_HOLD))
        status[~np.isfinite(stall * charge)] = Status.BAD_INPUT
        out |= {"top_speed_m_s": top, "status": status}
    if wanted & {"steepest_deg", "steepest_airspeed_m_s"}:
        steep_speed, steep_sine = _peak(grid, sine, sine_at, lambda sine, speed: sine, least)
        out |= {"steepest_deg": _degrees(steep_sine), "steepest_airspeed_m_s": steep_speed}
    if "zero_thrust_speed_m_s" in wanted:
        out["zero_thrust_speed_m_s"] = _last_zero(speeds, thrust, thrust_at)
    if "pitch_speed_m_s" in wanted:
        rest = solve_lanes(lanes, 0.0 * stall, lanes.throttle_limit, charge, density, sound)
        out["pitch_speed_m_s"] = rest.pitch_speed_m_s
    return out


def searched_speeds_m_s(stall: Floats, no_thrust: Floats, some: slice = slice(None)) -> Floats:
    """Airspeeds (M, N) at which full throttle is solved first, from the stall to beyond that of no thrust when free.

    They are ``_GRID`` evenly spaced; ``some`` of them.
    """
    top = np.maximum(1.05 * no_thrust, 1.5 * stall)
    return np.asarray(stall + (top - stall) * np.linspace(0.0, 1.0, _GRID)[some, None])


def _degrees(sine: Floats) -> Floats:
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def _peak(
    grid: Floats, known: Floats, curve: Curve, merit: Callable[[Any, Any], Any], least: Floats
) -> tuple[Floats, Floats]:
    """Speed (N,) from ``least`` on at which merit(curve, speed) is largest on a uniform grid (M, N), and the curve."""
    everyone = np.arange(grid.shape[1])
    values = np.where(np.isfinite(known) & (grid >= least), merit(known, grid), -np.inf)
    best = np.argmax(values, axis=0)
    at, its = grid[best, everyone], known[best, everyone]
    step = grid[1] - grid[0]
    middle = np.clip(best, 1, len(grid) - 2)
    centre = grid[middle, everyone]
    three = [merit(known[middle + i, everyone], grid[middle + i, everyone]) for i in (-1, 0, 1)]
    for shrink in (4.0, None):
        centre = centre + step * _vertex(*three)
        if shrink is None:
            break
        step = step / shrink
        centre = np.clip(centre, np.maximum(grid[0] + step, least), grid[-1] - step)
        near = centre + step * np.array([[-1.0], [0.0], [1.0]])
        three = list(merit(curve(np.tile(everyone, 3), near.ravel()).reshape(near.shape), near))
    centre = np.maximum(centre, least)
    last = curve(everyone, centre)
    better = (merit(last, centre) >= merit(its, at)) | (at < least)
    return np.where(better, centre, at), np.where(better, last, its)


def _vertex(left: Floats, middle: Floats, right: Floats) -> Floats:
    """Top of the parabola through (-1, left), (0, middle), (1, right), kept within -1..1; the higher end if none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = left - 2.0 * middle + right
        top = np.where(bend < 0, 0.5 * (left - right) / bend, np.sign(right - left))
    return np.asarray(np.clip(np.nan_to_num(top), -1.0, 1.0))


def _last_zero(speeds: Floats, known: Floats, curve: Curve) -> Floats:
    """Highest speed (N,) at which a curve known at some speeds (M, N) falls through zero; NaN where it never does."""
    everyone = np.arange(speeds.shape[1])
    i = np.argmax(np.where(known > 0, speeds, -np.inf), axis=0)
    low, f_low = speeds[i, everyone], known[i, everyone]
    j = np.argmin(np.where((speeds > low) & (known <= 0), speeds, np.inf), axis=0)
    high, f_high = speeds[j, everyone], known[j, everyone]
    out = np.full(low.shape, np.nan)
    lanes = np.flatnonzero((f_low > 0) & (f_high <= 0) & (high > low))
    a, b, fa, fb = low[lanes], high[lanes], f_low[lanes], f_high[lanes]
    small = 1e-12 * (fa - fb)
    kept = np.zeros(lanes.size)  # -1: the upper end was replaced last, 1: the lower end
    for _ in range(_ROOT_STEPS):
        if not lanes.size:
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            x = b - fb * (b - a) / (fb - fa)
        x = np.where(np.isfinite(x), np.clip(x, a, b), 0.5 * (a + b))
        f = curve(lanes, x)
        side = np.where(f > 0, 1.0, -1.0)
        again = side == kept
        with np.errstate(divide="ignore", invalid="ignore"):
            eased = 1.0 - f / np.where(side > 0, fa, fb)  # of the end that stays twice: Anderson and Bjorck (1973)
        eased = np.where(again, np.where(eased > 0, eased, 0.5), 1.0)
        fa, fb = np.where(side > 0, f, eased * fa), np.where(side < 0, f, eased * fb)
        a, b = np.where(side > 0, x, a), np.where(side < 0, x, b)
        done = (np.abs(f) <= small) | (b - a <= _ROOT_TOLERANCE * b)
        out[lanes[done]] = x[done]
        go = ~done
        lanes, a, b, fa, fb, small, kept = (z[go] for z in (lanes, a, b, fa, fb, small, side))
    return out
