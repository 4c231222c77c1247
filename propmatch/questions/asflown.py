"""A flight as it is really flown: manoeuvres and gusts, cells that warm themselves, a cold first minute.

Everything stands beside the ideal flight and changes no ranking. How it is flown is one more number that nobody knows
exactly: it is drawn beside those of the power train and the aircraft, so that the minutes as flown have one range.
"""

from collections.abc import Mapping
from functools import cached_property

import attrs
import numpy as np

from propmatch.aircraft.endurance import FlightTime
from propmatch.checks.chances import SEED, Sureness, interval, sensitivity, sureness
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.ratings import rating_lanes
from propmatch.checks.setting import Setting
from propmatch.columns import Range, columns_of, drawn_of, number
from propmatch.models.arrays import Floats
from propmatch.models.pack import USUAL_C, resistance_factor
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.fields import replace
from propmatch.records.packuse import WARMEST_C, Flying
from propmatch.records.parts import PowerTrain
from propmatch.tolerances.draws import normal_draws
from propmatch.tolerances.numbers import GROUPS, NAMES
from propmatch.train.coupling import solve
from propmatch.train.lanes import train_lanes
from propmatch.units import GRAM_KG

__all__ = [
    "STYLE", "TIMER_MARGIN", "AsFlown", "FlownDraws", "as_flown", "flown_factors", "timer_minutes", "timer_within",
    "warming_k",
]  # fmt: skip

STYLE = "style of flying"
"""What the power of real flying is counted with where shares of a variance are added up."""

TIMER_MARGIN = 0.10
"""Share of the flight time that a timer keeps back at least; common practice, no published source."""
SPECIFIC_HEAT_J_KG_K = 1000.0
"""Of lithium cells: 800 to 1100, value from memory."""


def _flown_z(draws: int) -> Floats:
    """The normal number behind how each draw is flown (N,)."""
    z: Floats = normal_draws(draws, SEED, len(NAMES) + 1)[:, -1]
    return z


def flown_factors(flying: Flying, draws: int) -> Floats:
    """Power of real flying over that of the steady phases (N,); no style flies with less than steady flight.

    The range of a style is taken to hold 80 % of flights.
    """
    style = flying.taken[0]
    drawn = style.factor * np.exp(style.sd_ln * _flown_z(draws))
    return np.asarray(drawn if flying.factor is not None else np.maximum(drawn, 1.0))


def timer_within(stated_minutes: float, low_minutes: float) -> float:
    """The timer of a flight as really flown: what nine of ten reach, and at most the minutes less the usual margin."""
    return min((1.0 - TIMER_MARGIN) * stated_minutes, low_minutes)


def timer_minutes(stated_minutes: float, drawn_minutes: Floats) -> float:
    """The same, from the minutes of every draw; no timer where a tenth of them has no flight."""
    return timer_within(stated_minutes, float(np.nan_to_num(interval(drawn_minutes).low)))


class FlownDraws:
    """The flight of one power train in one setting, as really flown, in every draw of what nobody knows exactly.

    Attributes
    ----------
    sure : Sureness, of that train
    stated_minutes : float, as really flown with every number as it is stated
    """

    def __init__(self, sure: Sureness, stated_minutes: float) -> None:
        self.sure, self.stated_minutes = sure, stated_minutes

    @property
    def measured(self) -> TrainMeasures:
        """Measures of all draws."""
        return self.sure.measured

    @cached_property
    def factor(self) -> Floats:
        """Power of real flying over that of the steady phases (N,)."""
        return flown_factors(self.sure.drawn.setting.brief.flying, self.sure.drawn.draws.count)

    @cached_property
    def minutes(self) -> Floats:
        """Flight time as really flown (N,).

        A factor with its own uncertainty was measured on this aircraft with this power train: it holds what the draws
        do not know, and is drawn alone but for the capacity of the pack.
        """
        drawn = self.sure.drawn
        if drawn.setting.brief.flying.factor_sd is not None:
            alike = np.zeros(self.factor.size, dtype=np.intp)
            lanes, ratings = train_lanes([self.sure.train])[0].take(alike), rating_lanes([self.sure.train]).take(alike)
            capacity = self.sure.of(drawn.draws.factor("capacity_mah"))
            lanes = attrs.evolve(lanes, capacity_ah=lanes.capacity_ah * capacity)
            return TrainMeasures(drawn.setting, lanes, ratings).flight_at(self.factor).minutes
        if np.all(self.factor == 1.0):
            return self.measured.flight.minutes
        return self.measured.flight_at(self.factor).minutes

    @cached_property
    def timer_minutes(self) -> float:
        """What nine builds of ten reach as really flown, and at most those minutes less the usual margin."""
        return timer_minutes(self.stated_minutes, self.sure.of(self.minutes))

    @property
    def recharge_mah(self) -> Floats:
        """Charge that is put back after a flight to the timer (N,), at the mean current of each draw."""
        return self.at_mean_current_mah(self.measured.flight.used_mah, self.minutes)

    def at_mean_current_mah(self, used_mah: Floats | float, minutes: Floats | float) -> Floats:
        """Charge drawn until the timer runs out of flights that draw so much in so many minutes."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(used_mah * np.minimum(np.divide(self.timer_minutes, minutes), 1.0))

    def shares(self) -> dict[str, float]:
        """Share of each part, number of the aircraft and of how it is flown in the variance of the minutes."""
        raw = np.column_stack([self.sure.drawn.draws.raw, _flown_z(self.factor.size)])
        return sensitivity(self.minutes, raw, [*(GROUPS[name] for name in NAMES), STYLE])


@attrs.frozen(kw_only=True)
class AsFlown:
    """A flight as really flown; NaN where there is no flight.

    Attributes
    ----------
    factor, factor_low, factor_high : float
        Pack current of held airspeeds over that of steady flight.
    flown_minutes, flown_timer_minutes : float
        With that factor; the timer is what nine builds of ten reach, and at most the minutes less the usual margin;
        NaN on paper.
    pack_start_c, pack_rise_k : float
        Temperature of the cells at the start, and how far they warm at most: all heat stays in the pack.
    warmed_minutes : float
        The ideal flight with cells that warm all the way from the start, the other bound of the ideal minutes.
    first_minute_cell_v, first_minute_thrust_n, warm_thrust_n : float
        Full throttle, static, with a full pack at the starting temperature; and the thrust with cells near 25 degC.
    held : bool
        Whether a phase flown holds an airspeed; on others the factor does not act.
    ranges : mapping of str to Range
        80 % interval of each number that has one.
    draws : FlownDraws
    assumptions : tuple of Assumption
    """

    factor: float = number(label="power of real flying over that of the steady phases")
    factor_low: float = number(label="the same, calm end")
    factor_high: float = number(label="the same, wild end")
    flown_minutes: float = number(kind="min", label="flight time as really flown", drawn=lambda draws: draws.minutes)
    flown_timer_minutes: float = number(kind="min", label="timer setting, as really flown")
    pack_start_c: float = number(kind="degC", label="temperature of the cells at the start")
    pack_rise_k: float = number(kind="K", label="how far the cells warm themselves at most")
    warmed_minutes: float = number(kind="min", label="flight time with cells warmed from the start")
    first_minute_cell_v: float = number(
        kind="V", label="cell voltage, full throttle, static, full battery at its start",
        drawn=lambda draws: draws.measured.full(1.0).cell_voltage_v,
    )  # fmt: skip
    first_minute_thrust_n: float = number(
        kind="thrust", label="thrust, full throttle, static, full battery at its start",
        drawn=lambda draws: draws.measured.full(1.0).thrust_n,
    )  # fmt: skip
    warm_thrust_n: float = number(kind="thrust", label="thrust, full throttle, static, full battery near 25 degC")
    held: bool = True
    ranges: Mapping[str, Range]
    draws: FlownDraws
    assumptions: tuple[Assumption, ...] = ()

    @property
    def acts(self) -> bool:
        """Whether the factor changes anything."""
        return self.held and (self.factor_low, self.factor_high) != (1.0, 1.0)


def warming_k(train: PowerTrain, flight: FlightTime) -> float:
    """Rise of the cells' temperature if all their heat stayed in the pack: sum of I^2 R t over mass and heat capacity.

    I is the mean current of each phase, R the cells' resistance through a discharge at the charge left, and the mass
    the pack's. [K]
    """
    lanes = train_lanes([train])[0].sustained()
    ohm = float(lanes.cells_ohm[0] * resistance_factor(flight.charge))
    squared = sum(60.0 * p.minutes * p.pack_current_mean_a**2 for p in flight.phases if p.minutes > 0)
    return ohm * squared / (train.pack.mass_g * GRAM_KG * SPECIFIC_HEAT_J_KG_K)


def as_flown(train: PowerTrain, setting: Setting, flight: FlightTime, sure: Sureness | None = None) -> AsFlown:
    """What becomes of an ideal flight of a power train in one setting; ``sure`` is drawn where none is given."""
    sure, train = sure or sureness(setting, train), setting.flown(train)
    style, basis = setting.brief.flying.taken
    middle = flight.minutes if style.factor == 1.0 else setting.flight_time(train, style.factor).minutes
    draws = FlownDraws(sure, middle)
    (ranges,) = sure.drawn.ranges(drawn_of(columns_of(AsFlown), draws))
    start = USUAL_C if train.pack_temperature_c is None else train.pack_temperature_c
    rise = warming_k(train, flight)
    warmed = flight.minutes
    if np.isfinite(rise) and start + rise > start:
        end = float(min(start + rise, WARMEST_C))
        warmed = setting.flight_time(replace(train, pack_temperature_c=end)).minutes
    cold, warm = (solve(each, air=setting.air) for each in (train, replace(train, pack_temperature_c=USUAL_C)))
    text = f"{basis}: held airspeeds draw {style.factor:g} times the current of steady flight"
    if style.low != style.high:
        text += f", {style.low:.3g} to {style.high:.3g}"
        text += "; 80 %" if setting.brief.flying.factor else f"; {PRACTICE}"
    found = AsFlown(
        factor=style.factor, factor_low=style.low, factor_high=style.high,
        flown_minutes=middle,
        flown_timer_minutes=np.nan if sure.drawn.on_paper else draws.timer_minutes,
        pack_start_c=start, pack_rise_k=rise, warmed_minutes=warmed,
        first_minute_cell_v=float(cold.cell_voltage_v), first_minute_thrust_n=float(cold.thrust_n),
        warm_thrust_n=float(warm.thrust_n),
        ranges=ranges, draws=draws,
        held=any(p.throttle is None and row.minutes > 0 for p, row in zip(setting.phases, flight.phases, strict=True)),
    )  # fmt: skip
    stated = Assumption("flying", "factor", style.factor, "", text, style.low, style.high)
    return attrs.evolve(found, assumptions=(stated,)) if found.acts else found
