"""A flight as it is really flown: manoeuvres and gusts, cells that warm themselves, a cold first minute.

Everything stands beside the ideal flight and changes no ranking.
"""

import attrs
import numpy as np

from propmatch.aircraft.endurance import TIMER_MARGIN, FlightTime
from propmatch.checks.setting import Setting
from propmatch.columns import number
from propmatch.models.pack import USUAL_C, resistance_factor
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.fields import replace
from propmatch.records.packuse import WARMEST_C
from propmatch.records.parts import PowerTrain
from propmatch.train.coupling import solve
from propmatch.train.lanes import train_lanes
from propmatch.units import GRAM_KG

__all__ = ["AsFlown", "as_flown", "warming_k"]

SPECIFIC_HEAT_J_KG_K = 1000.0
"""Of lithium cells: 800 to 1100, value from memory."""


@attrs.frozen(kw_only=True)
class AsFlown:
    """A flight as really flown; NaN where there is no flight.

    Attributes
    ----------
    factor, factor_low, factor_high : float
        Pack current of held airspeeds over that of steady flight.
    flown_minutes, flown_minutes_short, flown_minutes_long, flown_timer_minutes : float
        With that factor and at the ends of its range; the timer is the middle less the usual margin.
    pack_start_c, pack_rise_k : float
        Temperature of the cells at the start, and how far they warm at most: all heat stays in the pack.
    warmed_minutes : float
        The ideal flight with cells that warm all the way from the start, the other bound of the ideal minutes.
    first_minute_cell_v, first_minute_thrust_n, warm_thrust_n : float
        Full throttle at rest with a full pack at the starting temperature; and the thrust with cells near 25 degC.
    held : bool
        Whether a phase flown holds an airspeed; on others the factor does not act.
    assumptions : tuple of Assumption
    """

    factor: float = number(label="power of real flying over that of the steady phases")
    factor_low: float = number(label="the same, calm end")
    factor_high: float = number(label="the same, wild end")
    flown_minutes: float = number(kind="min", label="flight time as really flown")
    flown_minutes_short: float = number(kind="min", label="flight time as really flown, shortest usual")
    flown_minutes_long: float = number(kind="min", label="flight time as really flown, longest usual")
    flown_timer_minutes: float = number(kind="min", label="timer setting, 10 % early, as really flown")
    pack_start_c: float = number(kind="degC", label="temperature of the cells at the start")
    pack_rise_k: float = number(kind="K", label="how far the cells warm themselves at most")
    warmed_minutes: float = number(kind="min", label="flight time with cells warmed from the start")
    first_minute_cell_v: float = number(kind="V", label="cell voltage, full throttle at rest, full pack at its start")
    first_minute_thrust_n: float = number(kind="thrust", label="thrust, full throttle at rest, full pack at its start")
    warm_thrust_n: float = number(kind="thrust", label="thrust, full throttle at rest, full pack near 25 degC")
    held: bool = True
    assumptions: tuple[Assumption, ...] = ()

    @property
    def acts(self) -> bool:
        """Whether the factor changes anything."""
        return self.held and self.factor_high > 1.0


def warming_k(train: PowerTrain, flight: FlightTime) -> float:
    """Rise of the cells' temperature if all their heat stayed in the pack: sum of I^2 R t over mass and heat capacity.

    I is the mean current of each phase, R the cells' resistance through a discharge at the charge left, and the mass
    the pack's. [K]
    """
    lanes = train_lanes([train])[0].sustained()
    ohm = float(lanes.cells_ohm[0] * resistance_factor(flight.charge))
    squared = sum(60.0 * p.minutes * p.pack_current_mean_a**2 for p in flight.phases if p.minutes > 0)
    return ohm * squared / (train.pack.mass_g * GRAM_KG * SPECIFIC_HEAT_J_KG_K)


def as_flown(train: PowerTrain, setting: Setting, flight: FlightTime) -> AsFlown:
    """What becomes of an ideal flight of a power train in one setting."""
    train = setting.flown(train)
    style, basis = setting.brief.flying.taken
    factors = (style.factor, style.high, style.low)
    middle, short, long = (flight.minutes if f == 1.0 else setting.flight_time(train, f).minutes for f in factors)
    start = USUAL_C if train.pack_temperature_c is None else train.pack_temperature_c
    rise = warming_k(train, flight)
    warmed = flight.minutes
    if np.isfinite(rise) and start + rise > start:
        end = float(min(start + rise, WARMEST_C))
        warmed = setting.flight_time(replace(train, pack_temperature_c=end)).minutes
    cold, warm = (solve(each, air=setting.air) for each in (train, replace(train, pack_temperature_c=USUAL_C)))
    text = f"{basis}: held airspeeds draw {style.factor:g} times the current of steady flight"
    if style.low != style.high:
        text += f", {style.low:g} to {style.high:g}; {PRACTICE}"
    found = AsFlown(
        factor=style.factor, factor_low=style.low, factor_high=style.high,
        flown_minutes=middle, flown_minutes_short=short, flown_minutes_long=long,
        flown_timer_minutes=(1.0 - TIMER_MARGIN) * middle,
        pack_start_c=start, pack_rise_k=rise, warmed_minutes=warmed,
        first_minute_cell_v=float(cold.cell_voltage_v), first_minute_thrust_n=float(cold.thrust_n),
        warm_thrust_n=float(warm.thrust_n),
        held=any(p.throttle is None and row.minutes > 0 for p, row in zip(setting.phases, flight.phases, strict=True)),
    )  # fmt: skip
    stated = Assumption("flying", "factor", style.factor, "", text, style.low, style.high)
    return attrs.evolve(found, assumptions=(stated,)) if found.acts else found
