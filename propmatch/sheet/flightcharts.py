"""Pack voltage and charge through a flight, phase by phase."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.discharge import Load, load_of
from propmatch.aircraft.endurance import FlightTime, flight_time
from propmatch.aircraft.polar import airframe_lanes
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import GREY, INK, STYLES, end_labels
from propmatch.train.coupling import as_lanes
from propmatch.words.shown import Shown, signed

__all__ = ["FlightPlan", "Stretch", "flight_chart", "stretches"]

_POINTS = 201
_MOST_STRETCHES = 60


@attrs.frozen(kw_only=True, eq=False)
class FlightPlan:
    """What is drawn: the arguments of ``flight_time``."""

    train: PowerTrain
    airframe: Airframe
    mass_kg: float
    phases: Sequence[Phase]
    reserve_charge: float = 0.2
    cutoff_cell_v: float | None = None
    air: Air | None = None

    def flown(self) -> FlightTime:
        return flight_time(
            self.train, self.airframe, self.mass_kg, self.phases, reserve_charge=self.reserve_charge,
            cutoff_cell_v=self.cutoff_cell_v, air=self.air,
        )  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class Stretch:
    """A part of the flight: one timed phase, or all shares flown as a fine mixture.

    Attributes
    ----------
    names : phases flown, minutes : (M,), charge : (M,)
    voltage : phase name to pack voltage (M,) while that phase is flown
    """

    names: tuple[str, ...]
    minutes: Floats
    charge: Floats
    voltage: dict[str, Floats]


def stretches(plan: FlightPlan, flight: FlightTime) -> list[Stretch]:
    """The flight as it passes, laid out in time from the minutes that ``flight`` found for each phase.

    Without shares the list of phases repeats; more than 60 stretches are drawn as one mixture.
    """
    asked = as_lanes(plan.train, plan.air, mass_kg=plan.mass_kg)
    frames, _ = airframe_lanes(plan.airframe, asked["mass_kg"])
    phases, rho, sound = plan.phases, asked.density, asked.sound
    loads = [load_of(phase, asked.lanes, frames, plan.reserve_charge, rho, sound) for phase in phases]
    flown = [row.minutes for row in flight.phases]
    shares = [i for i, phase in enumerate(phases) if phase.share is not None]
    if shares:
        timed = [([i], flown[i]) for i in range(shares[0])]
        mixture = [(shares, sum(flown[i] for i in shares))]
        order = timed + mixture + [([i], flown[i]) for i in range(shares[-1] + 1, len(phases))]
    else:
        order = _rounds(phases, flight.minutes)
    found: list[Stretch] = []
    charge, clock = 1.0, 0.0
    for group, minutes in order:
        if not minutes > 0:
            continue
        weights = np.array([max(flown[i], 1e-12) for i in group])
        one = _stretch(plan, [(i, loads[i]) for i in group], weights / weights.sum(), charge, clock, minutes)
        found.append(one)
        charge, clock = float(one.charge[-1]), float(one.minutes[-1])
    return found


def _rounds(phases: Sequence[Phase], minutes: float) -> list[tuple[list[int], float]]:
    plan: list[tuple[list[int], float]] = []
    clock = 0.0
    while clock < minutes * (1 - 1e-9):
        if len(plan) >= _MOST_STRETCHES:
            return [(list(range(len(phases))), minutes)]
        index = len(plan) % len(phases)
        length = min((phases[index].seconds or 0.0) / 60.0, minutes - clock)
        plan.append(([index], length))
        clock += length
    return plan


def _stretch(
    plan: FlightPlan, group: Sequence[tuple[int, Load]], weights: Floats, charge: float, clock: float, minutes: float
) -> Stretch:
    """From a charge on: t = integral of 60 Q dq/I, by the trapezoidal rule on a fine grid."""
    q = np.linspace(charge, min(charge, max(0.0, plan.reserve_charge * 0.999)), _POINTS)
    draws = [load.at(q[:, None]) for _, load in group]
    current = sum(w * draw.pack_current_a[:, 0] for w, draw in zip(weights, draws, strict=True))
    slowness = 60.0 * group[0][1].train.capacity_ah / np.maximum(current, 1e-9)
    steps = 0.5 * (slowness[1:] + slowness[:-1]) * -np.diff(q)
    elapsed = np.concatenate([[0.0], np.cumsum(np.nan_to_num(steps, nan=np.inf))])
    time = np.linspace(0.0, minutes, _POINTS)
    at = np.interp(time, elapsed, q)
    voltage = {
        plan.phases[i].name: plan.train.pack.cells_series * np.asarray(load.at(at[:, None]).cell_voltage_v[:, 0])
        for i, load in group
    }
    return Stretch(names=tuple(voltage), minutes=clock + time, charge=at, voltage=voltage)


def flight_chart(
    plan: FlightPlan, *, flight: FlightTime | None = None, shown: Shown | None = None, name: str = "flight"
) -> Picture:
    """Pack voltage above and charge below, against minutes since take-off."""
    units = shown or Shown()
    flown = flight or plan.flown()
    answered = np.isfinite(flown.minutes) and flown.minutes > 0
    parts = stretches(plan, flown) if answered else []
    order = list(dict.fromkeys(name for part in parts for name in part.names))
    style = {name: STYLES[i % len(STYLES)] for i, name in enumerate(order)}
    cutoff = plan.train.pack.cells_series * flown.cutoff_cell_v

    def draw(figure: Any) -> None:
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        ends: dict[str, tuple[float, float, str, str]] = {}
        for at, part in enumerate(parts):
            if at % 2 == 0:
                for ax in (above, below):
                    ax.axvspan(part.minutes[0], part.minutes[-1], color="#f0f0f0", lw=0)
            for label, volts in part.voltage.items():
                look = style[label]
                above.plot(part.minutes, volts, markevery=40, **look)
                ends[label] = (part.minutes[-1], float(volts[-1]), label, look["color"])
            below.plot(part.minutes, 100 * part.charge, color=INK)
        above.axhline(cutoff, color=INK, lw=1.1, ls=(0, (1, 1.5)))
        below.axhline(100 * plan.reserve_charge, color=INK, lw=1.1, ls=(0, (1, 1.5)))
        above.set(ylabel="pack voltage, V")
        below.set(ylabel="charge left, %", xlabel="minutes since take-off", ylim=(0, 105))
        if parts:
            below.set_xlim(0, parts[-1].minutes[-1])
        low, high = above.get_ylim()
        above.set_ylim(low - 0.08 * (high - low), high)
        end_labels(above, [*ends.values(), (flown.minutes, cutoff, "cut-off", GREY)])
        end_labels(below, [(flown.minutes, 100 * plan.reserve_charge, "reserve", GREY)])

    rows = [
        {
            "phase": row.name,
            "minutes": signed(row.minutes, 1),
            f"airspeed, {units.speed_unit}": signed(units.speed_of(row.airspeed_m_s), 0),
            "throttle, %": _span(100 * row.throttle_from, 100 * row.throttle_to),
            "pack current, A": signed(row.pack_current_mean_a, 1),
            "motor current at most, A": signed(row.motor_current_highest_a, 1),
            "used, mAh": signed(row.used_mah, 0),
            "cell voltage at least, V": signed(row.cell_voltage_lowest_v, 2),
        }
        for row in flown.phases
    ]
    return Picture(
        name=name, title="Pack voltage and charge through the flight", summary=_words(flown, cutoff),
        table=Table.of(rows), draw=draw, height_in=4.2,
    )  # fmt: skip


def _span(low: float, high: float) -> str:
    if not (np.isfinite(low) and np.isfinite(high)) or round(low) == round(high):
        return signed(low, 0)
    return f"{low:.0f} to {high:.0f}"


def _words(flown: FlightTime, cutoff_v: float) -> str:
    if not np.isfinite(flown.minutes):
        return f"No answer: {flown.status.meaning}."
    if flown.minutes == 0:
        return f"It cannot be flown: {flown.ended_in} needs more thrust than there is, even with a full pack."
    ends = {
        "reserve": "the charge reaches the reserve",
        "cut-off": f"the pack falls to its cut-off of {cutoff_v:.1f} V",
        "lost thrust": f"{flown.ended_in} can no longer be held",
    }
    return (
        f"{flown.minutes:.1f} minutes, until {ends.get(flown.ended_by or '', 'the end')}. Mean pack current "
        f"{flown.average_current_a:.1f} A, {flown.recharge_mah:.0f} mAh used."
    )
