"""Out and back in wind: how long, how much of the charge, and how far one may go and still come back to the reserve.

Ground speed is V - w against the wind and V + w with it, so that a distance d out and back takes d/(V - w) + d/(V + w).
Level flight straight out and straight back; the charge comes from the same discharge as the flight time.

Source: none needed, sums of speeds.
"""

from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.aircraft.discharge import Load, Running, charge_edges, clock, load_of, lowest_charge
from propmatch.aircraft.flight import full_throttle_lanes
from propmatch.aircraft.polar import AirframeLanes, airframe_lanes
from propmatch.aircraft.speeds import CHARGE, cruise_lanes
from propmatch.columns import number
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase
from propmatch.status import Status
from propmatch.train.coupling import Asked, as_lanes
from propmatch.units import MAH_AH

__all__ = ["BEST_RANGE", "Journey", "WindTrip", "drawn_before_mah", "turn_point", "wind_trips"]

BEST_RANGE = "best range"
"""Name of the trip at the airspeeds of best range, one against the wind and another with it."""
_BISECTIONS = 50


@attrs.frozen(kw_only=True)
class Journey:
    """What is asked of a trip.

    Attributes
    ----------
    wind_m_s : wind along the way, 0 or more
    distance_m : how far out; None where only the farthest turn-around point is wanted
    drawn_mah : from the full pack before it begins
    reserve_charge : of the pack at the end
    cutoff_cell_v : cell voltage under load at which the flight ends; None for the usual one of the cells
    """

    wind_m_s: float
    distance_m: float | None = None
    drawn_mah: float = 0.0
    reserve_charge: float = 0.2
    cutoff_cell_v: float | None = None


@attrs.frozen(kw_only=True, eq=False)
class WindTrip:
    """A trip at one airspeed, or at the two of best range.

    Time and charge of the distance asked for are NaN where none was asked for, or where it cannot be flown; the charge
    also where the pack does not last. ``headway`` is False where it is not faster than the wind; the farthest
    turn-around points are 0 then, and where the airspeed cannot be held.
    """

    name: str
    airspeed_against_m_s: float = number("against {unit}", kind="speed", digits=0, label="airspeed against the wind")
    airspeed_with_m_s: float = number("with {unit}", kind="speed", digits=0, label="airspeed with the wind")
    out_and_back_minutes: float = number("min:s", kind="min", label="time out and back in the wind of the site")
    out_and_back_mah: float = number("mAh", kind="mAh", digits=0, label="charge drawn out and back")
    farthest_against_m: float = number(
        "out against it {unit}",
        kind="m",
        digits=0,
        label="farthest turn-around that keeps the reserve, out upwind",
    )
    farthest_with_m: float = number(
        "out with it {unit}",
        kind="m",
        digits=0,
        label="farthest turn-around that keeps the reserve, out downwind",
    )
    headway: bool
    status: Status = Status.OK


def wind_trips(
    train: PowerTrain,
    airframe: Airframe,
    mass_kg: float,
    phases: Sequence[Phase],
    journey: Journey,
    *,
    air: Air | None = None,
) -> tuple[WindTrip, ...]:
    """Trips at the airspeeds of best range in this wind, then at each airspeed that a phase holds.

    Parameters
    ----------
    train : PowerTrain
    airframe : Airframe
    mass_kg : float [kg], all-up mass
    phases : sequence of Phase
    journey : Journey
    air : Air, default the standard atmosphere at sea level

    Raises
    ------
    TypeError, ValueError
        As :func:`propmatch.train.coupling.solve`.
    """
    asked = as_lanes(train, air, mass_kg=mass_kg)
    frame, _ = airframe_lanes(airframe, asked["mass_kg"])
    half, wind = np.full(1, CHARGE), journey.wind_m_s
    top = full_throttle_lanes(asked.lanes, frame, half, asked.density, asked.sound, ("top_speed_m_s",)).top_speed_m_s
    against, along = (
        float(cruise_lanes(asked.lanes, frame, half, asked.density, asked.sound, fastest=top, wind=w)
              .best_range_speed_m_s[0])
        for w in (wind, -wind)
    )  # fmt: skip
    held: dict[float, str] = {}
    for phase in phases:
        if phase.throttle is None and phase.airspeed_m_s:
            held.setdefault(phase.airspeed_m_s, phase.name)
    pairs = [(BEST_RANGE, against, along), *((name, v, v) for v, name in held.items())]
    trips = [_trip(name, (v, u), asked, frame, journey) for name, v, u in pairs]
    if np.isnan(top[0]):
        trips[0] = attrs.evolve(trips[0], status=Status.CANNOT_HOLD)
    return tuple(trips)


def drawn_before_mah(phases: Sequence[Phase], used_mah: Sequence[float]) -> float:
    """Charge that the timed phases before the shares take, such as the climb out [mAh]."""
    shares = [at for at, phase in enumerate(phases) if phase.share is not None]
    return sum(used_mah[: shares[0]]) if shares else 0.0


def _trip(name: str, speeds: tuple[float, float], asked: Asked, frame: AirframeLanes, journey: Journey) -> WindTrip:
    against, along = speeds
    ground = (against - journey.wind_m_s, along + journey.wind_m_s)
    trip = WindTrip(
        name=name, airspeed_against_m_s=against, airspeed_with_m_s=along, headway=ground[0] > 0,
        out_and_back_minutes=np.nan, out_and_back_mah=np.nan, farthest_against_m=0.0, farthest_with_m=0.0,
    )  # fmt: skip
    if not trip.headway:
        return trip
    legs, reserve = [], journey.reserve_charge
    for speed in speeds:
        phase = Phase(name=name, airspeed_m_s=speed, share=1.0)
        load = load_of(phase, asked.lanes, frame, reserve, asked.density, asked.sound)
        if load.status[0] != Status.OK:
            return attrs.evolve(trip, status=Status(int(load.status[0])))
        legs.append(_clock(load, reserve, journey.cutoff_cell_v))
    start = 1.0 - MAH_AH * journey.drawn_mah / asked.lanes.capacity_ah
    minutes = mah = np.nan
    if journey.distance_m is not None:
        seconds = [journey.distance_m / v for v in ground]
        minutes = sum(seconds) / 60.0
        charge = start
        for leg, lasts in zip(legs, seconds, strict=True):
            end = leg.to(charge) + lasts
            charge = np.where(end <= leg.end, leg.charge_at(end), np.nan)
        mah = float((start - charge)[0] * asked.lanes.capacity_ah[0] / MAH_AH)
    return attrs.evolve(
        trip,
        out_and_back_minutes=minutes,
        out_and_back_mah=mah,
        farthest_against_m=float(turn_point(legs[0], legs[1], *ground, start)[0]),
        farthest_with_m=float(turn_point(legs[1], legs[0], *ground[::-1], start)[0]),
    )


def _clock(load: Load, reserve: float, cutoff_cell_v: float | None) -> Running:
    """Seconds from full down to each charge that the leg can be flown at."""
    chemistry = load.train.chemistries[0]
    lowest, _ = lowest_charge(load, reserve, chemistry.flown_to_v(cutoff_cell_v))
    return clock(load, charge_edges(chemistry, reserve), lowest).time


def turn_point(out: Running, back: Running, out_m_s: float, back_m_s: float, start_charge: Floats) -> Floats:
    """Distance (N,) [m] out at one ground speed from which the way back at another ends where its clock does.

    The charge q at the turn, where the way out to q is as long as the way back from q to the end, by bisection.
    """

    def surplus(q: Floats) -> tuple[Floats, Floats]:
        way = out_m_s * (out.to(q) - out.to(start_charge))
        return way, way - back_m_s * (back.end - back.to(q))

    low, high = np.minimum(out.edges[-1], start_charge), start_charge
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        beyond = surplus(middle)[1] > 0
        low, high = np.where(beyond, middle, low), np.where(beyond, high, middle)
    return np.maximum(surplus(high)[0], 0.0)
