"""Pack voltage and charge through a flight, phase by phase."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.endurance import FlightTime, flight_time
from propmatch.aircraft.flightlanes import Leg
from propmatch.aircraft.passing import minutes_along
from propmatch.checks.chances import Sureness
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase
from propmatch.sheet.bands import BAND, charge_band, shaded
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import BLUE, GREY, INK, STYLES, end_labels
from propmatch.words.chancewords import ranged
from propmatch.words.flightwords import end_text, height_words, why_not
from propmatch.words.shown import Shown, signed

__all__ = ["FlightPlan", "Stretch", "flight_chart", "stretches"]

_POINTS = 400
_LEAST_POINTS = 5
_MOST_SHADED = 60


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
    """A leg of the flight, drawn.

    Attributes
    ----------
    names : phases flown; minutes, charge, height_m : (M,)
    voltage : phase name to pack voltage (M,) while that phase is flown
    """

    names: tuple[str, ...]
    minutes: Floats
    charge: Floats
    height_m: Floats
    voltage: dict[str, Floats]


def stretches(flight: FlightTime) -> list[Stretch]:
    """The flight as it passes; none where there is no answer."""
    legs = flight.legs if flight.minutes > 0 else ()
    points = max(_LEAST_POINTS, _POINTS // max(len(legs), 1))
    return [_stretch(leg, [phase.name for phase in flight.phases], points) for leg in legs]


def _stretch(leg: Leg, names: Sequence[str], points: int) -> Stretch:
    """From one charge to the other."""
    q = np.linspace(*leg.charge, points)
    draws = [load.at(q[:, None]) for load in leg.loads]
    weights = np.array(leg.weights)
    climb = weights @ np.array([draw.climb_m_s[:, 0] for draw in draws])
    minutes = minutes_along(leg, q)
    rise = np.concatenate([[0.0], np.cumsum(0.5 * (climb[1:] + climb[:-1]) * 60.0 * np.diff(minutes))])
    height = leg.height_m[0] + rise
    height += (leg.height_m[1] - height[-1]) * (minutes - minutes[0]) / (minutes[-1] - minutes[0])
    cells = leg.loads[0].train.cells
    voltage = {names[i]: (cells * draw.cell_voltage_v)[:, 0] for i, draw in zip(leg.phases, draws, strict=True)}
    return Stretch(names=tuple(voltage), minutes=minutes, charge=q, height_m=np.maximum(height, 0.0), voltage=voltage)


def flight_chart(
    plan: FlightPlan,
    *,
    flight: FlightTime | None = None,
    shown: Shown | None = None,
    sure: Sureness | None = None,
    name: str = "flight",
) -> Picture:
    """Pack voltage, height above the field and charge, against minutes since take-off.

    ``sure``, of the same train in the same aircraft, adds a band to the charge, and ranges to time and currents.
    """
    units = shown or Shown()
    flown = flight or plan.flown()
    parts = stretches(flown)
    order = list(dict.fromkeys(name for part in parts for name in part.names))
    style = {name: STYLES[i % len(STYLES)] for i, name in enumerate(order)}
    cutoff = plan.train.pack.cells_series * flown.cutoff_cell_v
    band = None if sure is None or not parts else charge_band(sure)

    def draw(figure: Any) -> None:
        above, middle, below = figure.subplots(3, 1, sharex=True, height_ratios=(3, 1.5, 1.5))
        ends: dict[str, tuple[float, float, str, str]] = {}
        for at, part in enumerate(parts):
            if at % 2 == 0 and len(parts) <= _MOST_SHADED:
                for ax in (above, middle, below):
                    ax.axvspan(part.minutes[0], part.minutes[-1], color="#f0f0f0", lw=0)
            for label, volts in part.voltage.items():
                look = style[label]
                above.plot(part.minutes, volts, markevery=40, **look)
                ends[label] = (part.minutes[-1], float(volts[-1]), label, look["color"])
        if band is not None:
            shaded(below, band, BLUE, y=100.0)
        if parts:
            minutes = np.concatenate([part.minutes for part in parts])
            middle.plot(minutes, np.concatenate([part.height_m for part in parts]), color=INK)
            below.plot(minutes, 100 * np.concatenate([part.charge for part in parts]), color=INK)
        above.axhline(cutoff, color=INK, lw=1.1, ls=(0, (1, 1.5)))
        below.axhline(100 * plan.reserve_charge, color=INK, lw=1.1, ls=(0, (1, 1.5)))
        above.set(ylabel="pack voltage, V")
        middle.set(ylabel="height, m", ylim=(0, 1.1 * max(flown.greatest_height_m, 1.0) if parts else 1.0))
        below.set(ylabel="charge left, %", xlabel="minutes since take-off", ylim=(0, 105))
        if parts:
            below.set_xlim(0, parts[-1].minutes[-1] if band is None else band.x[-1])
        low, high = above.get_ylim()
        above.set_ylim(low - 0.08 * (high - low), high)
        end_labels(above, [*ends.values(), (flown.minutes, cutoff, "cutoff", GREY)])
        end_labels(below, [(flown.minutes, 100 * plan.reserve_charge, "reserve", GREY)])

    def ends(name: str, phase: int, value: float) -> str:
        """A number of a phase with its range."""
        if sure is None or not np.isfinite(value):
            return signed(value)
        drawn = sure.interval(getattr(sure.measured.flight, name)[phase])
        same = np.isfinite(drawn.low) and signed(drawn.low, 2) == signed(drawn.high, 2)
        return signed(value) if same else ranged(signed(value), drawn.low, drawn.high)

    rows = [
        {
            "phase": row.name,
            "minutes": ends("phase_minutes", at, row.minutes),
            f"airspeed, {units.speed_unit}": units.number(row.airspeed_m_s, "speed", 0),
            "throttle, %": _span(100 * row.throttle_from, 100 * row.throttle_to),
            "pack current, A": ends("phase_current_a", at, row.pack_current_mean_a),
            "motor current at most, A": ends("motor_current_a", at, row.motor_current_highest_a),
            "climb, m/s": signed(row.climb_mean_m_s, 1),
            "height gained, m": signed(row.gained_m, 0),
            "used, mAh": signed(row.used_mah, 0),
            "cell voltage at least, V": signed(row.cell_voltage_lowest_v, 2),
        }
        for at, row in enumerate(flown.phases)
    ]
    return Picture(
        name=name, title="Pack voltage, height and charge through the flight", summary=_words(flown, sure),
        table=Table.of(rows), draw=draw, height_in=5.2,
    )  # fmt: skip


def _span(low: float, high: float) -> str:
    if not (np.isfinite(low) and np.isfinite(high)) or round(low) == round(high):
        return signed(low, 0)
    return f"{low:.0f} to {high:.0f}"


def _words(flown: FlightTime, sure: Sureness | None) -> str:
    if not np.isfinite(flown.minutes):
        return f"No answer: {flown.status.meaning}."
    if flown.minutes == 0:
        return f"It cannot be flown: {why_not(flown)}."
    minutes = f"{flown.minutes:.1f}"
    if sure is not None:
        ends = sure.interval(sure.measured.flight.minutes)
        minutes = ranged(minutes, ends.low, ends.high)
    return " ".join([
        f"{minutes} minutes, {end_text(flown)}. Mean pack current {flown.average_current_a:.1f} A, "
        f"{flown.recharge_mah:.0f} mAh used.",
        *height_words(flown),
        *((BAND,) if sure else ()),
    ])  # fmt: skip
