"""The aircraft's own speeds: stall, glide, cruise, climb and turns, each with what it gives.

Stall V_s = sqrt(2 n W/(rho S CL_max)). Glide, motors off: sink = (D + D_p) V/W and ratio = W/(D + D_p), D_p being the
drag of the propellers (``motoroff``). Cruise: level flight through the whole power train, at least pack power, and at
least pack power over ground speed. Climb: full throttle (``flight``). Turn: r = V^2/(g tan bank) at a load factor of
1/cos bank.

Source: J. D. Anderson, Introduction to Flight, ch. 6.

No best speed lies below 1.2 times the stall speed, where a gust or a turn stalls the wing: where the optimum does, the
answer is taken there. ``*_lanes`` are array functions over lanes; ``aircraft_speeds`` takes parts.
"""

from collections.abc import Callable, Sequence

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import full_throttle_lanes, level_lanes
from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import (
    LEAST_SPEED_OVER_STALL,
    PHASE_SPEED_OVER_STALL,
    AirframeLanes,
    airframe_lanes,
    drag_n,
    least_drag_speed_m_s,
    least_speed_m_s,
    phase_airspeed_m_s,
    stall_speed_m_s,
)
from propmatch.columns import columns_of, number
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.motoroff import motor_off_notes, taken
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase
from propmatch.status import Status
from propmatch.train.coupling import as_lanes
from propmatch.train.lanes import TrainLanes
from propmatch.units import GRAVITY_M_S2, MAH_AH

__all__ = [
    "BANKS_DEG",
    "AircraftSpeeds",
    "Cruise",
    "Glide",
    "PhaseStall",
    "SpeedLanes",
    "Turn",
    "aircraft_speeds",
    "cruise_lanes",
    "glide_lanes",
    "least_over",
    "speeds_lanes",
    "turn_radius_m",
]

BANKS_DEG = (30.0, 45.0, 60.0)
CHARGE = 0.5
"""Charge of the pack at which climb, top speed and cruise are quoted."""
_POINTS, _ROUNDS = 17, 6

Curve = Callable[[Floats], Floats]
"""From airspeeds (M, N) [m/s] to a number at each (M, N)."""
Merit = Callable[[Floats, Floats], Floats]
"""From airspeeds and what a curve gives there, (M, N) each, to what should be least."""


@attrs.frozen(kw_only=True, eq=False)
class PhaseStall:
    """How near to the stall a phase is flown."""

    name: str
    load_factor: float = number(label="load factor of the phase")
    phase_stall_speed_m_s: float = number(kind="speed", label="stall speed at the load factor of the phase")
    phase_least_speed_m_s: float = number(
        kind="speed", label=f"slowest to fly the phase at, {PHASE_SPEED_OVER_STALL:g} times its stall speed"
    )
    airspeed_m_s: float = number(kind="speed", label="airspeed")


@attrs.frozen(kw_only=True, eq=False)
class Turn:
    """A level turn at a bank, at 1.2 times the stall speed in it; throttle NaN where it cannot hold its height."""

    bank_deg: float = number("bank deg", kind="deg", digits=0, label="bank of the turn")
    load_factor_in_turn: float = number("load factor", digits=2, label="load factor in the turn")
    stall_speed_in_turn_m_s: float = number("stall {unit}", kind="speed", digits=0, label="stall speed in the turn")
    turn_airspeed_m_s: float = number(
        "flown at {unit}", kind="speed", digits=0,
        label=f"airspeed in the turn, {LEAST_SPEED_OVER_STALL:g} times the stall speed in it",
    )  # fmt: skip
    turn_radius_m: float = number("radius {unit}", kind="m", label="radius of the turn at that airspeed")
    turn_throttle: float = number("throttle %", kind="%", digits=0, label="throttle that holds height in the turn")


@attrs.frozen(kw_only=True, eq=False)
class AircraftSpeeds:
    """The speeds of one aircraft; NaN where there is none.

    Attributes
    ----------
    phases : tuple of PhaseStall
    turns : tuple of Turn
    motor_off : str
        What the propellers do in the glide: folded, stopped, windmilling or braked.
    status : Status
        OK; CANNOT_HOLD where full throttle cannot keep level flight.
    assumptions : tuple of Assumption
    """

    stall_speed_m_s: float = number(kind="speed", label="stall speed")
    least_sink_speed_m_s: float = number(kind="speed", label="airspeed of least sink, motor off")
    sink_m_s: float = number(kind="m/s", label="least sink, motor off")
    best_glide_speed_m_s: float = number(kind="speed", label="airspeed of best glide, motor off")
    glide_ratio: float = number(label="best glide, motor off: distance over height")
    least_power_speed_m_s: float = number(kind="speed", label="airspeed of least pack power in level flight")
    least_power_w: float = number(kind="W", label="least pack power in level flight")
    best_range_speed_m_s: float = number(kind="speed", label="airspeed of best range, no wind")
    best_range_power_w: float = number(kind="W", label="pack power at the airspeed of best range")
    best_range_mah_per_km: float = number(kind="mAh/km", label="charge for a kilometre at the airspeed of best range")
    top_speed_m_s: float = number(kind="speed", label="top level speed, half charge")
    climb_m_s: float = number(kind="m/s", label="best climb, half charge")
    climb_airspeed_m_s: float = number(kind="speed", label="airspeed of best climb")
    climb_angle_deg: float = number(kind="deg", label="angle of the best climb")
    steepest_deg: float = number(kind="deg", label="angle of the steepest climb, half charge")
    steepest_airspeed_m_s: float = number(kind="speed", label="airspeed of the steepest climb")
    phases: tuple[PhaseStall, ...] = ()
    turns: tuple[Turn, ...] = ()
    motor_off: str
    status: Status = Status.OK
    assumptions: tuple[Assumption, ...] = ()


def aircraft_speeds(
    train: PowerTrain,
    airframe: Airframe,
    mass_kg: float,
    phases: Sequence[Phase] = (),
    *,
    air: Air | None = None,
) -> AircraftSpeeds:
    """The table of speeds of one aircraft, full throttle and cruise at half charge.

    Parameters
    ----------
    train : PowerTrain
    airframe : Airframe
    mass_kg : float [kg], all-up mass
    phases : sequence of Phase
        Those whose stall speed is wanted.
    air : Air, default the standard atmosphere at sea level

    Returns
    -------
    AircraftSpeeds

    Raises
    ------
    TypeError, ValueError
        As :func:`propmatch.train.coupling.solve`.
    """
    asked = as_lanes(train, air, mass_kg=mass_kg)
    frame, assumed = airframe_lanes(airframe, asked["mass_kg"])
    found = speeds_lanes(asked.lanes, frame, phases, asked.density, asked.sound)

    def of_row(values: dict[str, Floats], at: int) -> dict[str, float]:
        return {name: float(each[at, 0]) for name, each in values.items()}

    return AircraftSpeeds(
        **{name: float(value[0]) for name, value in found.own.items()},
        phases=tuple(PhaseStall(name=phase.name, **of_row(found.phases, at)) for at, phase in enumerate(phases)),
        turns=tuple(Turn(**of_row(found.turns, at)) for at in range(len(BANKS_DEG))),
        motor_off=taken(train),
        status=Status(int(found.status[0])),
        assumptions=(*asked.assumptions, *assumed, *motor_off_notes(train, [_MOTOR_OFF]), _MARGIN),
    )


_MOTOR_OFF = Phase(name="glide", throttle=0.0, share=1.0)
_MARGIN = Assumption(
    "speeds", "speed_over_stall", LEAST_SPEED_OVER_STALL, "stall speed",
    f"no best speed is quoted below {LEAST_SPEED_OVER_STALL:g} times the stall speed; {PRACTICE}",
)  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class SpeedLanes:
    """The numbers of :class:`AircraftSpeeds` for N lanes, by name.

    Attributes
    ----------
    own : (N,); phases : of each phase, (P, N); turns : of each bank, (B, N)
    status : (N,)
    """

    own: dict[str, Floats]
    phases: dict[str, Floats]
    turns: dict[str, Floats]
    status: NDArray[np.int8]


def speeds_lanes(
    lanes: TrainLanes,
    frame: AirframeLanes,
    phases: Sequence[Phase],
    density: Floats,
    sound: Floats,
    *,
    rounds: int = _ROUNDS,
) -> SpeedLanes:
    """The array path of :func:`aircraft_speeds`; arrays (N,), ``rounds`` as :func:`least_over`."""
    everyone, half = np.arange(lanes.size), np.full(lanes.size, CHARGE)
    own = {column.name for column in columns_of(AircraftSpeeds)}
    full = full_throttle_lanes(lanes, frame, half, density, sound, own | {"status"})

    def propeller_drag_n(speed: Floats) -> Floats:
        every = np.tile(everyone, len(speed))
        return motor_off_drag(lanes.take(every), speed.ravel(), density[every]).drag_n.reshape(speed.shape)

    glide = glide_lanes(frame, density, propeller_drag_n, rounds=rounds)
    cruise = cruise_lanes(lanes, frame, half, density, sound, fastest=full.top_speed_m_s, rounds=rounds)
    return SpeedLanes(
        own={
            each.name: getattr(source, each.name)
            for source in (full, glide, cruise)
            for each in attrs.fields(type(source)) if each.name in own
        },
        phases=_phase_stalls(phases, frame, density),
        turns=_turns(lanes, frame, half, density, sound),
        status=full.status,
    )  # fmt: skip


def _phase_stalls(phases: Sequence[Phase], frame: AirframeLanes, density: Floats) -> dict[str, Floats]:
    load = np.array([phase.load_factor for phase in phases])[:, None]
    stall = np.asarray(stall_speed_m_s(frame, density, load))
    return {
        "load_factor": np.broadcast_to(load, stall.shape),
        "phase_stall_speed_m_s": stall,
        "phase_least_speed_m_s": PHASE_SPEED_OVER_STALL * stall,
        "airspeed_m_s": np.array([phase_airspeed_m_s(phase, frame, density) for phase in phases]),
    }


def _turns(
    lanes: TrainLanes, frame: AirframeLanes, charge: Floats, density: Floats, sound: Floats
) -> dict[str, Floats]:  # fmt: skip
    shape = (len(BANKS_DEG), lanes.size)
    bank, every = np.repeat(BANKS_DEG, lanes.size), np.tile(np.arange(lanes.size), len(BANKS_DEG))
    load = 1.0 / np.cos(np.radians(bank))
    frames, rho = frame.take(every), density[every]
    speed = least_speed_m_s(frames, rho, load)
    point = level_lanes(lanes.take(every), frames, speed, charge[every], rho, sound[every], load_factor=load)
    values = (
        bank, load, stall_speed_m_s(frames, rho, load), speed, turn_radius_m(speed, bank), point.throttle,
    )  # fmt: skip
    names = [column.name for column in columns_of(Turn)]
    return {name: value.reshape(shape) for name, value in zip(names, values, strict=True)}


def turn_radius_m(airspeed_m_s: Floats, bank_deg: Floats) -> Floats:
    """r = V^2/(g tan bank) [m] of a level turn; bank above 0 and below 90 deg."""
    return np.asarray(airspeed_m_s**2 / (GRAVITY_M_S2 * np.tan(np.radians(bank_deg))))


# ---------------------------------------------------------------- over lanes


def least_over(
    curve: Curve, merits: Sequence[Merit], low: Floats, high: Floats, rounds: int = _ROUNDS
) -> tuple[Floats, Floats]:
    """Speeds (K, N) at which each of K merits of a curve is least, and these there; NaN without any value.

    The best of 17 evenly spaced speeds, then of 17 between its neighbours, six rounds in all: to 1e-6 of the range for
    a merit whose lowest valley is as wide as the first step; three rounds, to 1e-3. The curve is asked for all merits
    together.

    Parameters
    ----------
    curve : what airspeeds (M, N) give, (M, N)
    merits : of airspeeds (M, N) and what they give
    low, high : (N,), or ``low`` (K, N)
    rounds : int
    """
    low = np.broadcast_to(low, (len(merits), high.size))
    a, b = low, np.where(high >= low, high, np.nan)
    best, value = np.full((2, *low.shape), np.nan)
    for _ in range(rounds):
        speeds = a + (b - a) * np.linspace(0.0, 1.0, _POINTS)[:, None, None]
        with np.errstate(invalid="ignore", divide="ignore"):
            given = curve(speeds.reshape(-1, high.size)).reshape(speeds.shape)
            values = np.stack([merit(speeds[:, k], given[:, k]) for k, merit in enumerate(merits)], axis=1)
        at = np.argmin(np.where(np.isfinite(values), values, np.inf), axis=0)[None]
        best, value = (np.take_along_axis(each, at, axis=0)[0] for each in (speeds, values))
        step = (b - a) / (_POINTS - 1)
        a, b = np.maximum(best - step, low), np.minimum(best + step, b)
    known = np.isfinite(value)
    return np.where(known, best, np.nan), np.where(known, value, np.nan)


@attrs.frozen(kw_only=True, eq=False)
class Glide:
    """The glide with the motors off; arrays (N,)."""

    least_sink_speed_m_s: Floats
    sink_m_s: Floats
    best_glide_speed_m_s: Floats
    glide_ratio: Floats


def glide_lanes(
    airframe: AirframeLanes, density: Floats, propeller_drag_n: Curve | None = None, *, rounds: int = _ROUNDS
) -> Glide:
    """Least sink and best glide of airframes (N,), the drag of the propellers added to theirs.

    Drag is that of level flight, which overstates the sink by 4 % where the best glide is 5 to 1, by 1 % at 10 to 1.
    """

    def drag(speed: Floats) -> Floats:
        own = drag_n(airframe, density, speed)
        return np.asarray(own if propeller_drag_n is None else own + propeller_drag_n(speed))

    low = np.asarray(least_speed_m_s(airframe, density))
    high = np.maximum(1.1 * least_drag_speed_m_s(airframe, density), low)  # drag of the propellers makes both slower
    merits: tuple[Merit, ...] = (lambda v, d: v * d, lambda _, d: d)
    (slow, far), (power, least) = least_over(drag, merits, low, high, rounds)
    return Glide(
        least_sink_speed_m_s=slow,
        sink_m_s=power / airframe.weight_n,
        best_glide_speed_m_s=far,
        glide_ratio=airframe.weight_n / least,
    )


@attrs.frozen(kw_only=True, eq=False)
class Cruise:
    """Level flight through the whole power train at its two best airspeeds; arrays (N,), NaN without level flight."""

    least_power_speed_m_s: Floats
    least_power_w: Floats
    best_range_speed_m_s: Floats
    best_range_power_w: Floats
    best_range_mah_per_km: Floats


def cruise_lanes(
    lanes: TrainLanes,
    airframe: AirframeLanes,
    charge: Floats,
    density: Floats,
    sound: Floats,
    *,
    fastest: Floats,
    wind: float = 0.0,
    rounds: int = _ROUNDS,
) -> Cruise:
    """Airspeeds of least pack power P(V), and of least P(V)/(V - wind), up to ``fastest``; every array (N,) [m/s].

    ``wind`` is from ahead, below 0 from behind; best range has no answer where it is ``fastest`` or more. Best range
    satisfies dP/dV = P/(V - wind), so that it is faster against the wind. Cells have the resistance of a whole flight.
    """
    lasting = lanes.sustained()

    def drawn(speed: Floats) -> tuple[Floats, Floats]:
        """Pack power and current at airspeeds (M, N)."""
        every = np.tile(np.arange(lasting.size), len(speed))
        point = level_lanes(
            lasting.take(every), airframe.take(every), speed.ravel(), charge[every], density[every], sound[every]
        )
        return point.pack_power_w.reshape(speed.shape), point.pack_current_a.reshape(speed.shape)

    low = np.asarray(least_speed_m_s(airframe, density))
    merits: tuple[Merit, ...] = (lambda _, p: p, lambda v, p: np.where(v > wind, p / (v - wind), np.nan))
    least = np.array([low, np.maximum(low, wind)])
    (slow, far), (power, _) = least_over(lambda v: drawn(v)[0], merits, least, fastest, rounds)
    watts, current = (each[0] for each in drawn(far[None, :]))
    with np.errstate(divide="ignore", invalid="ignore"):
        each_km = current / (far - wind) / 3.6 / MAH_AH
    return Cruise(
        least_power_speed_m_s=slow,
        least_power_w=power,
        best_range_speed_m_s=far,
        best_range_power_w=watts,
        best_range_mah_per_km=each_km,
    )
