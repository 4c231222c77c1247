"""Heat in the motor and what it may do: watts as they follow from the currents, kelvin as a wide estimate.

Heat of one motor = R(w) I^2 in the winding and what is lost in the iron; at one airspeed it depends on the current
alone. Rise of the motor as one lump above the air, dT = P R_th (1 - exp(-t/(R_th C))), phase after phase. R_th and C
go by the motor's mass alone, with bounds: R_th as surfaces cool, m^(-2/3), C as mass. Nobody has measured them for any
motor of a catalogue, and the winding is hotter than the lump, so there is no verdict.

Sources: specific heats of steel, copper and aluminium (0.47, 0.39, 0.90 J/(g K), handbook values); nine makers' surface
temperatures after 15 s and 10 min at full throttle, motors of 68 to 130 g.
"""

from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.aircraft.endurance import FlightTime
from propmatch.aircraft.flightlanes import Leg
from propmatch.columns import number
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.estimates import Assumption
from propmatch.records.parts import PowerTrain
from propmatch.train.coupling import as_lanes, solve_lanes
from propmatch.train.operating import OperatingPoint

__all__ = ["FULL_THROTTLE", "HOT_K", "Cooling", "Heat", "MotorHeat", "cooling_of", "motor_heat", "rises_k"]

HOT_K = 80.0
"""How much warmer than its stated resistance a hot winding is taken."""
FULL_THROTTLE = "full throttle, static"
"""With a full pack."""
_K_PER_W, _AT_G = 1.1, 80.0
COOLING_FACTOR = 2.5
"""Either way of the K/W that the mass gives."""
_J_PER_G_K = (0.5, 0.33, 0.75)
_DUTIES = np.linspace(0.02, 1.0, 50)


@attrs.frozen
class Cooling:
    """A motor as one lump: K/W to the air and J/K."""

    k_per_w: float
    j_per_k: float

    def after(self, start_k: float, heat_w: float, seconds: float) -> float:
        """Rise above the air after some time at a heat [K]."""
        steady = self.k_per_w * heat_w
        return float(steady + (start_k - steady) * np.exp(-seconds / (self.k_per_w * self.j_per_k)))


def cooling_of(mass_g: float) -> tuple[Cooling, Cooling]:
    """What keeps a motor of this mass coolest and warmest of all that may be expected."""
    middle = _K_PER_W * (_AT_G / mass_g) ** (2.0 / 3.0)
    _, light, heavy = _J_PER_G_K
    return Cooling(middle / COOLING_FACTOR, heavy * mass_g), Cooling(middle * COOLING_FACTOR, light * mass_g)


@attrs.frozen(kw_only=True, eq=False)
class Heat:
    """Heat of one motor in a phase, and its estimated rise above the air; NaN where it is not flown.

    Attributes
    ----------
    name : str, the phase
    motor_heat_w, winding_heat_w, steady_rise_low_k, steady_rise_high_k, end_rise_low_k, end_rise_high_k : float
    """

    name: str
    motor_heat_w: float = number(kind="W", label="heat in one motor at the mean current of the phase")
    winding_heat_w: float = number(kind="W", label="of it in the winding")
    steady_rise_low_k: float = number(kind="K", label="motor above the air if the phase went on, at least")
    steady_rise_high_k: float = number(kind="K", label="motor above the air if the phase went on, at most")
    end_rise_low_k: float = number(kind="K", label="motor above the air at the end of the phase, at least")
    end_rise_high_k: float = number(kind="K", label="motor above the air at the end of the phase, at most")


@attrs.frozen(kw_only=True, eq=False)
class MotorHeat:
    """The heat of one motor over a flight, and what a hot winding does to full throttle, static, full battery.

    Attributes
    ----------
    phases : tuple of Heat, as flown
    full_throttle : Heat, without an end
    hot_thrust_change, hot_current_change : float
        Thrust and motor current of a winding ``HOT_K`` warmer than its stated resistance, over those at it, less 1.
    with_controller : bool
        Whether the motor's resistance, and so the heat of its winding, holds the controller's.
    assumption : Assumption, the cooling
    motors : int, each as warm as the others
    hot_k, bound_factor : float, as the module takes them
    """

    phases: tuple[Heat, ...]
    full_throttle: Heat
    hot_thrust_change: float = number(kind="%", label="thrust with a hot winding over cold, less 1")
    hot_current_change: float = number(
        kind="%", label="motor current with a hot winding over that with a cold one, less 1"
    )
    with_controller: bool
    assumption: Assumption
    motors: int
    hot_k: float = HOT_K
    bound_factor: float = COOLING_FACTOR

    @property
    def rows(self) -> tuple[Heat, ...]:
        """The phases, and full throttle."""
        return (*self.phases, self.full_throttle)


def motor_heat(train: PowerTrain, flight: FlightTime, air: Air | None = None) -> MotorHeat:
    """Heat of one motor in each phase of a flight, at its mean current, and at full throttle.

    Parameters
    ----------
    train : PowerTrain
    flight : FlightTime
    air : Air, default the standard atmosphere at sea level
    """
    cold = as_lanes(train, air, airspeed_m_s=0.0, throttle=1.0, charge=1.0)
    full, hot = (
        solve_lanes(lanes, cold["airspeed_m_s"], lanes.throttle_limit, cold["charge"], cold.density, cold.sound)
        for lanes in (cold.lanes, cold.lanes.with_warm_windings(HOT_K))
    )
    heat = np.array([_heat_w(train, air, row.airspeed_m_s, row.motor_current_mean_a) for row in flight.phases])
    both = cooling_of(train.motor.mass_g)
    ends = [rises_k(flight.legs, heat[:, 0], each) for each in both]
    rows = tuple(
        _row(row.name, heat[i], both, (ends[0][i], ends[1][i])) for i, row in enumerate(flight.phases)
    )  # fmt: skip
    static = np.array([full.motor_heat_w[0], _winding_w(full, cold.lanes.k)[0]])
    return MotorHeat(
        phases=rows,
        full_throttle=_row(FULL_THROTTLE, static, both, (np.nan, np.nan)),
        hot_thrust_change=float(hot.thrust_n[0] / full.thrust_n[0] - 1.0),
        hot_current_change=float(hot.motor_current_a[0] / full.motor_current_a[0] - 1.0),
        with_controller=not cold.lanes.alone[0],
        assumption=_assumption(train, both),
        motors=train.count,
    )


def _row(name: str, heat_w: Floats, both: Sequence[Cooling], ends: Sequence[float]) -> Heat:
    heat, winding = map(float, heat_w)
    low, high = (each.k_per_w * heat for each in both)
    return Heat(
        name=name, motor_heat_w=heat, winding_heat_w=winding, steady_rise_low_k=low, steady_rise_high_k=high,
        end_rise_low_k=ends[0], end_rise_high_k=ends[1],
    )  # fmt: skip


def _assumption(train: PowerTrain, both: tuple[Cooling, Cooling]) -> Assumption:
    cool, warm = both
    middle = cool.k_per_w * COOLING_FACTOR
    text = (
        f"{middle:.1f} K for each watt of heat, {cool.k_per_w:.1f} to {warm.k_per_w:.1f}, and "
        f"{warm.j_per_k:.0f} to {cool.j_per_k:.0f} J/K, from {train.motor.mass_g:g} g; after nine surface temperatures "
        "that makers print, none of this motor"
    )
    return Assumption(train.motor.name, "k_per_w", middle, "K/W", text, cool.k_per_w, warm.k_per_w)


def _winding_w(point: OperatingPoint, k: Floats) -> Floats:
    """(V_m - K w) I = R(w) I^2 [W] of one motor."""
    behind = np.asarray(point.motor_voltage_v) - k * np.asarray(point.motor_rpm) * np.pi / 30.0
    return np.asarray(behind * np.asarray(point.motor_current_a))


def _heat_w(train: PowerTrain, air: Air | None, airspeed: float, current_a: float) -> tuple[float, float]:
    """Heat of one motor [W] that carries a current at an airspeed, and the winding's part."""
    if not np.isfinite(airspeed + current_a):
        return np.nan, np.nan
    if current_a <= 0:
        return 0.0, 0.0
    asked = as_lanes(train, air, airspeed_m_s=airspeed, throttle=_DUTIES, charge=1.0)
    point = solve_lanes(
        asked.lanes, asked["airspeed_m_s"], asked["throttle"], asked["charge"], asked.density, asked.sound
    )
    winding_w = _winding_w(point, asked.lanes.k)
    known = np.array([point.motor_current_a, point.motor_heat_w - winding_w, winding_w])
    known = known[:, np.isfinite(known[0])]
    if not known.size:
        return np.nan, np.nan
    current, iron_w, winding_w = known[:, np.argmin(known[0]) :]  # below it the airstream drives the propeller
    iron = np.interp(current_a, current, iron_w)
    winding = np.interp(current_a, current, winding_w / current**2) * current_a**2
    return float(iron + winding), float(winding)


def rises_k(legs: Sequence[Leg], heat_w: Floats, cooling: Cooling) -> list[float]:
    """Rise above the air at the last end of each phase [K], from a motor as warm as the air; NaN where not flown.

    Phases flown as a mixture warm as their mean.
    """
    ends = [np.nan] * len(heat_w)
    rise = 0.0
    for leg in legs:
        mean_w = sum(weight * heat_w[i] for i, weight in zip(leg.phases, leg.weights, strict=True) if weight > 0)
        rise = cooling.after(rise, float(mean_w), 60.0 * (leg.minutes[1] - leg.minutes[0]))
        for i, weight in zip(leg.phases, leg.weights, strict=True):
            if weight > 0:
                ends[i] = rise
    return ends
