"""Pack voltage and charge through a flight, phase by phase."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.endurance import FlightTime, flight_time
from propmatch.aircraft.flightlanes import Leg
from propmatch.aircraft.passing import minutes_along
from propmatch.checks.chances import Sureness
from propmatch.checks.setting import Setting
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase
from propmatch.sheet.bands import BUILDS, charge_band, shaded
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import BLUE, INK, STYLES, WASH, key, level
from propmatch.words.chancewords import ranged
from propmatch.words.flightwords import end_text, height_words, why_not
from propmatch.words.shown import Shown, signed

__all__ = ["FlightPlan", "Stretch", "flight_chart", "stretches"]

_POINTS = 400
_LEAST_POINTS = 5
_MOST_SHADED = 60
_LEAST_SHARE, _TICK_SHARE = 0.1, 0.085
"""Of the time axis: least width of a leg, and how near ticks come to each other."""
_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


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

    @classmethod
    def of(cls, setting: Setting, train: PowerTrain) -> "FlightPlan":
        """Of a train in one build of the aircraft."""
        return cls(
            train=train, airframe=setting.variant.airframe, mass_kg=setting.all_up_mass_kg(train.mass_g),
            phases=setting.phases, reserve_charge=setting.reserve_charge, cutoff_cell_v=setting.cutoff_cell_v,
            air=setting.air,
        )  # fmt: skip

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
    tall = units.of(1.0, "m")
    band = None if sure is None or not parts else charge_band(sure)

    def draw(figure: Any) -> None:
        climbs = bool(parts) and flown.greatest_height_m >= 1.0
        axes = figure.subplots(3 if climbs else 2, 1, sharex=True, height_ratios=(3, 1.5, 1.8) if climbs else (3, 2))
        above, below = axes[0], axes[-1]
        if band is not None:
            shaded(below, band, BLUE, y=100.0, label=BUILDS)
        for at, part in enumerate(parts):
            if at % 2 == 0 and len(parts) <= _MOST_SHADED:
                for ax in axes:
                    ax.axvspan(part.minutes[0], part.minutes[-1], color=WASH, lw=0)
        for label in order:
            flown_in = [(part.minutes, part.voltage[label]) for part in parts if label in part.voltage]
            t, volts = (np.concatenate([[*each, np.nan] for each in lines]) for lines in zip(*flown_in, strict=True))
            above.plot(t, volts, markevery=max(len(t) // 4, 1), label=label, **style[label])
        if parts:
            minutes = np.concatenate([part.minutes for part in parts])
            below.plot(minutes, 100 * np.concatenate([part.charge for part in parts]), color=INK)
        if climbs:
            axes[1].plot(minutes, tall * np.concatenate([part.height_m for part in parts]), color=INK)
            axes[1].set(ylabel=f"height, {units.unit('m')}", ylim=(0, 1.1 * tall * flown.greatest_height_m))
        level(above, cutoff, "cutoff")
        level(below, 100 * plan.reserve_charge, "reserve")
        above.set(ylabel="pack voltage, V")
        below.set(ylabel="charge, %", xlabel="minutes since take-off", ylim=(0, 105))
        low, high = above.get_ylim()
        above.set_ylim(low - 0.08 * (high - low), high)
        if parts:
            _clock(below, [0.0, *(part.minutes[-1] for part in parts)], parts[-1].minutes[-1] if band is None
                   else band.x[-1])  # fmt: skip
            key(above, [*above.get_legend_handles_labels()[0], *below.get_legend_handles_labels()[0]])

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
            f"climb, {units.unit('m/s')}": units.number(row.climb_mean_m_s, "m/s"),
            f"height gained, {units.unit('m')}": units.number(row.gained_m, "m", 0),
            "used, mAh": signed(row.used_mah, 0),
            "cell voltage at least, V": signed(row.cell_voltage_lowest_v, 2),
        }
        for at, row in enumerate(flown.phases)
    ]
    return Picture(
        name=name, title="Pack voltage, height and charge through the flight", summary=_words(flown, sure, units),
        table=Table.of(rows), draw=draw, height_in=3.2,
    )  # fmt: skip


def _clock(ax: Any, ends: Sequence[float], last: float) -> None:
    """Time along the axis, in which every leg (from one end to the next) has a least width."""
    t = np.unique([*ends, max(last, ends[-1])])
    share = np.diff(t) / t[-1]
    least = min(_LEAST_SHARE, 0.5 / share.size)
    wide = np.maximum(share, least)
    x = np.concatenate([[0.0], np.cumsum(wide) / wide.sum()])
    ax.set_xscale("function", functions=(lambda m: np.interp(m, t, x), lambda at: np.interp(at, x, t)))
    ax.set_xlim(0.0, t[-1])
    step = next(each for each in _STEPS if t[-1] <= 8 * each or each == _STEPS[-1])
    ticks: list[float] = []
    for minute in (0.0, *ends[1:], *np.arange(step, t[-1], step)):
        if all(abs(np.interp(minute, t, x) - np.interp(other, t, x)) > _TICK_SHARE for other in ticks):
            ticks.append(float(minute))
    ax.set_xticks(ticks, [f"{minute:.1f}".removesuffix(".0") for minute in ticks])
    ax.minorticks_off()
    if share.min() < least:
        ax.set_xlabel("minutes since take-off, short phases drawn wider")


def _span(low: float, high: float) -> str:
    if not (np.isfinite(low) and np.isfinite(high)) or round(low) == round(high):
        return signed(low, 0)
    return f"{low:.0f} to {high:.0f}"


def _words(flown: FlightTime, sure: Sureness | None, shown: Shown) -> str:
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
        f"{flown.used_mah:.0f} mAh used.",
        *height_words(flown, shown),
    ])  # fmt: skip
