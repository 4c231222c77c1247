"""Flight time of one power train: how long, what ends it, and what each phase takes.

The rules are those of ``flightlanes``. Left out: recovery and the slow part of the voltage drop (below 0.2 %
of the time to a fixed charge for a high-rate cell), losses in charging, and the time between one phase and the next.
"""

from collections.abc import Sequence
from operator import attrgetter

import attrs
import numpy as np

from propmatch.aircraft.flightlanes import ENDED_BY, MIXTURE, FlightLanes, Leg, flight_and_legs, pays
from propmatch.aircraft.polar import airframe_lanes
from propmatch.columns import number
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.motoroff import motor_off_notes
from propmatch.records.packflight import flight_notes
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import DEFAULT_SPEED_OVER_STALL, Phase
from propmatch.status import Status
from propmatch.tablehtml import pairs_html, table_html
from propmatch.train.coupling import Asked, as_lanes

__all__ = ["FlightTime", "PhaseTime", "flight_time"]


@attrs.frozen(kw_only=True, eq=False)
class PhaseTime:
    """What one phase contributes to a flight; NaN where it is not flown.

    Attributes
    ----------
    name : str
    minutes, used_mah, pack_current_mean_a, airspeed_m_s : float
    throttle_from, throttle_to : float
        0 is motor off.
    cell_voltage_lowest_v, motor_current_mean_a, motor_current_highest_a : float
    climb_mean_m_s, gained_m : float
        Negative where height is lost.
    pays : bool
        True where it climbs for the height that others lose.
    paid : bool
        True where others climb for the height that it loses.
    cut_short : bool
        True where it was flown for less than its time or share, because its height was used up.
    ended : bool
        True where the flight ended in this phase.
    """

    name: str
    minutes: float = number(kind="min", label="time in the phase", drawn=attrgetter("phase_minutes"))
    used_mah: float = number(kind="mAh", label="charge drawn", drawn=attrgetter("phase_mah"))
    pack_current_mean_a: float = number(
        kind="A", label="mean pack current of the phase", drawn=attrgetter("phase_current_a")
    )
    airspeed_m_s: float = number(kind="speed", label="airspeed", drawn=attrgetter("airspeed_m_s"))
    throttle_from: float = number(
        kind="%", label="throttle at the first moment of the phase", drawn=attrgetter("throttle_from")
    )
    throttle_to: float = number(
        kind="%", label="throttle at the last moment of the phase", drawn=attrgetter("throttle_to")
    )
    cell_voltage_lowest_v: float = number(
        kind="V", label="lowest voltage of a cell in the phase", drawn=attrgetter("cell_voltage_v")
    )
    motor_current_mean_a: float = number(
        kind="A", label="mean current of one motor in the phase", drawn=attrgetter("phase_motor_current_a")
    )
    motor_current_highest_a: float = number(
        kind="A", label="highest current of one motor in the phase", drawn=attrgetter("motor_current_a")
    )
    climb_mean_m_s: float = number(
        kind="m/s",
        label="mean climb in the phase",
        drawn=lambda flight: mean_climb_m_s(flight),
    )
    gained_m: float = number(kind="m", label="height gained in the phase", drawn=attrgetter("phase_height_m"))
    pays: bool
    paid: bool
    cut_short: bool
    ended: bool


@attrs.frozen(kw_only=True, eq=False)
class FlightTime:
    """How long a power train flies, and what ends it; NaN where ``status`` is not OK.

    Attributes
    ----------
    minutes : float
        From the full pack to the end.
    ended_by : str or None
        ``reserve``, ``cutoff``, ``lost thrust``, ``lost climb`` (a height that full power no longer reaches) or
        ``ground`` (no height left to glide from); None where there is no answer.
    ended_in : str or None
        The phase that met the end; all shares, joined, where they reach the reserve together.
    used_mah : float
        Charge drawn from take-off to the end.
    average_current_a : float
        Mean pack current.
    charge : float
        Left in the pack, 0..1.
    height_left_m, greatest_height_m : float
        Above the field at the end, and the greatest.
    paying_climb_m_s : float
        By which level shares climb for the height that others lose.
    rounds : float
        How often a list without shares was begun; NaN with shares.
    phases : tuple of PhaseTime
    status : Status
    reserve_charge : float
    cutoff_cell_v : float [V]
        Cell voltage under load below which the flight does not go on.
    legs : tuple of Leg
        The flight as it passes.
    assumptions : tuple of Assumption
    """

    minutes: float
    ended_by: str | None
    ended_in: str | None
    used_mah: float
    average_current_a: float
    charge: float
    height_left_m: float
    greatest_height_m: float
    paying_climb_m_s: float
    rounds: float
    phases: tuple[PhaseTime, ...]
    status: Status
    reserve_charge: float
    cutoff_cell_v: float
    legs: tuple[Leg, ...] = attrs.field(repr=False)
    assumptions: tuple[Assumption, ...] = ()

    def _repr_html_(self) -> str:
        whole = {a.name: getattr(self, a.name) for a in attrs.fields(FlightTime)[:11]} | {"status": self.status.name}
        names = [a.name for a in attrs.fields(PhaseTime)]
        rows = [[getattr(phase, name) for name in names] for phase in self.phases]
        return pairs_html(whole) + table_html(names, rows)


def flight_time(
    train: PowerTrain,
    airframe: Airframe,
    mass_kg: float,
    phases: Sequence[Phase],
    *,
    reserve_charge: float = 0.2,
    cutoff_cell_v: float | None = None,
    air: Air | None = None,
    held_factor: float = 1.0,
) -> FlightTime:
    """Flight time over phases, from a full pack to the reserve, the cell cutoff or lost thrust.

    Parameters
    ----------
    train : PowerTrain
    airframe : Airframe
    mass_kg : float [kg], all-up mass
    phases : sequence of Phase
    reserve_charge : float [-], 0 to below 1
    cutoff_cell_v : float [V] under load, default the usual one of the cells; never below the least they allow
    air : Air, default the standard atmosphere at sea level
    held_factor : float [-], pack current of held airspeeds as really flown over that of steady flight

    Returns
    -------
    FlightTime
        ``minutes`` 0 and ``lost thrust`` where the first phase cannot be flown even with a full pack. Status
        BELOW_STALL and NaN where a held airspeed lies below the stall speed at its load factor.

    Raises
    ------
    TypeError, ValueError
        No phases, a timed phase between shares, reserve or cutoff out of range; else as
        :func:`propmatch.train.coupling.solve`.
    """
    asked = _one(train, mass_kg, air)
    frames, assumed = airframe_lanes(airframe, asked["mass_kg"])
    found, legs = flight_and_legs(
        asked.lanes, frames, phases, float(reserve_charge), cutoff_cell_v, asked.density, asked.sound, held_factor
    )
    by = ENDED_BY.get(int(found.ended_by[0]))
    where = int(found.ended_in[0])
    shares = [i for i, p in enumerate(phases) if p.share is not None] or list(range(len(phases)))
    ended = [] if by is None else shares if where == MIXTURE else [where]
    paying = [phase.share is not None and bool(found.paying_climb_m_s[0] > 0) for phase in phases]
    duty = ("throttle_from", "throttle_to")
    rows = tuple(
        PhaseTime(
            name=phase.name,
            ended=i in ended,
            minutes=float(found.phase_minutes[i, 0]),
            used_mah=float(found.phase_mah[i, 0]),
            pack_current_mean_a=float(found.phase_current_a[i, 0]),
            **{name: float(getattr(found, name)[i, 0]) for name in duty},
            airspeed_m_s=float(found.airspeed_m_s[i, 0]),
            cell_voltage_lowest_v=float(found.cell_voltage_v[i, 0]),
            motor_current_mean_a=float(found.phase_motor_current_a[i, 0]),
            motor_current_highest_a=float(found.motor_current_a[i, 0]),
            climb_mean_m_s=float(mean_climb_m_s(found)[i, 0]),
            gained_m=float(found.phase_height_m[i, 0]),
            pays=pays(phase) and paying[i],
            paid=not pays(phase) and paying[i] and bool(found.phase_height_m[i, 0] < 0),
            cut_short=bool(found.phase_cut[i, 0]),
        )
        for i, phase in enumerate(phases)
    )
    minutes = float(found.minutes[0])
    return FlightTime(
        minutes=minutes,
        ended_by=by,
        ended_in=" + ".join(phases[i].name for i in ended) or None,
        used_mah=float(found.used_mah[0]),
        average_current_a=float(found.average_current_a[0]),
        charge=float(found.charge[0]),
        height_left_m=float(found.height_m[0]),
        greatest_height_m=float(found.greatest_height_m[0]),
        paying_climb_m_s=float(found.paying_climb_m_s[0]),
        rounds=float(found.rounds[0]),
        legs=legs,
        phases=rows,
        status=Status(int(found.status[0])),
        reserve_charge=float(reserve_charge),
        cutoff_cell_v=float(asked.lanes.flown_to_v(cutoff_cell_v)[0]),
        assumptions=(
            *asked.assumptions,
            *assumed,
            *flight_notes(cutoff_cell_v, [train.pack]),
            *motor_off_notes(train, phases),
            *_assumptions(phases),
        ),
    )


def mean_climb_m_s(found: FlightLanes) -> Floats:
    """Mean climb of each phase, (P, N); NaN where it is not flown."""
    seconds = 60.0 * found.phase_minutes
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(seconds > 0, found.phase_height_m / seconds, np.nan)


def _one(train: PowerTrain, mass_kg: float, air: Air | None) -> Asked:
    if not isinstance(train, PowerTrain):
        raise TypeError(f"train must be a PowerTrain, got {type(train).__name__}")
    asked = as_lanes(train, air, mass_kg=mass_kg)
    if asked.shape:
        raise TypeError("mass_kg and air must be single numbers here; flight_time_lanes takes arrays")
    return asked


def _assumptions(phases: Sequence[Phase]) -> tuple[Assumption, ...]:
    made = []
    free = [p.name for p in phases if p.throttle is not None and p.airspeed_m_s is None]
    if free:
        text = f"airspeed {DEFAULT_SPEED_OVER_STALL:g} times the stall speed in {', '.join(free)}; {PRACTICE}"
        made.append(Assumption("flight time", "airspeed_m_s", DEFAULT_SPEED_OVER_STALL, "stall speed", text))
    return tuple(made)
