"""How a value follows: a formula, and what its symbols stand for in the state that the value is taken at."""

from collections.abc import Callable, Iterable, Mapping

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.polar import drag_n
from propmatch.checks.formula import symbols_of
from propmatch.checks.states import Field, State, StatePoint, TrainStates
from propmatch.models.motor import resistance_at_speed
from propmatch.units import GRAM_KG, MAH_AH, RPM_RAD_S

__all__ = ["GIVEN", "Input", "Lane", "Stated", "Symbol", "Working", "working"]

GIVEN = "brief or assumption"
_SOLVED = "solved: motor torque meets propeller torque, motor and pack share one current loop"


@attrs.frozen
class Stated:
    """A number comes from a field of a part (motor, controller, pack or propeller)."""

    part: str
    field: str


@attrs.frozen
class Lane:
    """One lane of the states of N power trains; ``at`` is the operating point that a value is taken at, if any."""

    states: TrainStates
    index: int
    at: StatePoint | None = None

    def of(self, values: NDArray[np.generic]) -> float:
        """The value of this lane."""
        return float(values[self.index])

    def point(self, field: str) -> float:
        """A field of the operating point."""
        return np.nan if self.at is None else self.of(getattr(self.at.point, field))

    @property
    def motor_ohm(self) -> float:
        """Resistance of the motor at the speed of the operating point [ohm]."""
        lanes = self.states.lanes
        speed = self.point("motor_rpm") * RPM_RAD_S
        return float(resistance_at_speed(self.of(lanes.resistance_ohm), self.of(lanes.slope_ohm_s), speed))

    @property
    def airspeed(self) -> float:
        """Of the operating point [m/s]."""
        return np.nan if self.at is None else self.of(self.at.airspeed)

    @property
    def drag(self) -> float:
        """Of level flight at that airspeed [N]."""
        if self.at is None:
            return np.nan
        return self.of(drag_n(self.states.frames, self.states.setting.air.density_kg_m3, self.at.airspeed))

    @property
    def drag_coefficient(self) -> float:
        """The same over dynamic pressure and wing area."""
        pressure = 0.5 * float(self.states.setting.air.density_kg_m3) * self.airspeed**2
        return self.drag / (pressure * self.of(self.states.frames.area_m2))


@attrs.frozen
class Symbol:
    """What a symbol stands for.

    Attributes
    ----------
    label : str; unit : str
    value : callable, the number of a lane
    source : str or Stated, where it comes from; None for the operating point
    """

    label: str
    unit: str
    value: Callable[[Lane], float]
    source: str | Stated | None = None


@attrs.frozen
class Input:
    """One number that goes into a value; ``symbol`` is empty for what only stands beside it."""

    symbol: str
    label: str
    value: float
    unit: str
    source: str | Stated


@attrs.frozen
class Working:
    """The arithmetic of one value: a formula that :mod:`checks.formula` reckons, and its inputs."""

    formula: str
    inputs: tuple[Input, ...] = ()


_POLAR = "drag polar of the airframe at this airspeed"
SYMBOLS: dict[str, Symbol] = {
    "V_m": Symbol("motor voltage", "V", lambda lane: lane.point("motor_voltage_v")),
    "I": Symbol("motor current", "A", lambda lane: lane.point("motor_current_a")),
    "n_m": Symbol("motor speed", "rpm", lambda lane: lane.point("motor_rpm")),
    "n": Symbol("propeller speed", "rpm", lambda lane: lane.point("rpm")),
    "T": Symbol("thrust", "N", lambda lane: lane.point("thrust_n")),
    "V_b": Symbol("pack voltage under load", "V", lambda lane: lane.point("pack_voltage_v")),
    "V": Symbol("airspeed", "m/s", lambda lane: lane.airspeed),
    "D": Symbol("drag", "N", lambda lane: lane.drag, _POLAR),
    "C_D": Symbol("drag coefficient", "", lambda lane: lane.drag_coefficient, _POLAR),
    "K_v": Symbol(
        "speed constant", "rpm/V", lambda lane: 30.0 / np.pi / lane.of(lane.states.lanes.k),
        Stated("motor", "kv_rpm_per_v"),
    ),
    "R": Symbol(
        "resistance of the motor at this speed", "ohm", lambda lane: lane.motor_ohm,
        Stated("motor", "resistance_ohm"),
    ),
    "g": Symbol(
        "gear ratio", "", lambda lane: lane.of(lane.states.lanes.gear_ratio), Stated("motor", "gear_ratio"),
    ),
    "R_c": Symbol(
        "controller resistance", "ohm", lambda lane: lane.of(lane.states.lanes.controller_ohm),
        Stated("controller", "resistance_mohm"),
    ),
    "d": Symbol(
        "propeller diameter", "in", lambda lane: lane.of(lane.states.ratings.diameter_in),
        Stated("propeller", "diameter_in"),
    ),
    "p": Symbol("pitch", "in", lambda lane: lane.of(lane.states.lanes.pitch_in), Stated("propeller", "pitch_in")),
    "N_c": Symbol(
        "cells in series", "", lambda lane: lane.of(lane.states.lanes.cells), Stated("pack", "cells_series")
    ),
    "C": Symbol(
        "capacity", "mAh", lambda lane: lane.of(lane.states.lanes.capacity_ah) / MAH_AH, Stated("pack", "capacity_mah")
    ),
    "N_m": Symbol("motors", "", lambda lane: lane.of(lane.states.lanes.count), GIVEN),
    "I_a": Symbol("receiver, servos and payload", "A", lambda lane: lane.of(lane.states.lanes.radio_a), GIVEN),
    "m_bare": Symbol("bare mass", "g", lambda lane: lane.states.setting.variant.airframe.bare_mass_g, "brief"),
    "m_motors": Symbol("motors", "g", lambda lane: lane.of(lane.states.ratings.motors_g), Stated("motor", "mass_g")),
    "m_controllers": Symbol(
        "controllers", "g", lambda lane: lane.of(lane.states.ratings.controllers_g), Stated("controller", "mass_g")
    ),
    "m_supply": Symbol(
        "separate supply for receiver and servos", "g", lambda lane: lane.of(lane.states.ratings.supply_g), GIVEN
    ),
    "m_propellers": Symbol(
        "propellers", "g", lambda lane: lane.of(lane.states.ratings.propellers_g), Stated("propeller", "mass_g")
    ),
    "m_pack": Symbol("pack", "g", lambda lane: lane.of(lane.states.ratings.pack_g), Stated("pack", "mass_g")),
    "m": Symbol(
        "all-up mass", "g", lambda lane: lane.of(lane.states.frames.mass_kg) / GRAM_KG, "bare mass and power train"
    ),
    "W": Symbol("weight", "N", lambda lane: lane.of(lane.states.frames.weight_n), "all-up mass times 9.80665 m/s2"),
    "S": Symbol("wing area", "dm2", lambda lane: lane.states.setting.variant.airframe.wing_area_dm2, GIVEN),
    "f": Symbol(
        "share of thrust left when installed", "", lambda lane: lane.of(lane.states.frames.installed_thrust), GIVEN
    ),
    "V_s": Symbol(
        "stall speed", "m/s", lambda lane: lane.of(lane.states.stall_m_s), "square root of 2 W/(density S cl_max)"
    ),
    "rho": Symbol(
        "air density", "kg/m3", lambda lane: float(lane.states.setting.air.density_kg_m3),
        "field height and temperature of the brief",
    ),
    "a": Symbol(
        "speed of sound", "m/s", lambda lane: float(lane.states.setting.air.speed_of_sound_m_s),
        "temperature of the brief",
    ),
}  # fmt: skip
"""What formulas may speak of; a check brings symbols that are its own."""


def working(
    states: TrainStates,
    index: int,
    formula: str,
    state: State,
    *,
    field: Field | None = None,
    own: Mapping[str, Symbol] | None = None,
    beside: Callable[[Lane], Iterable[Input]] | None = None,
) -> Working:
    """How a value of one lane follows.

    Parameters
    ----------
    states : TrainStates; index : int, the lane
    formula : str
    state : State
        Its operating points; of several the one where ``field`` is largest.
    field : callable, optional
    own : mapping of str to Symbol, optional
        Symbols besides ``SYMBOLS``.
    beside : callable, optional
        More numbers that are worth knowing.
    """
    at = states.worst_point(state, field, index) if field else next(iter(states.points(state)), None)
    lane = Lane(states, index, at)
    known = {**SYMBOLS, **(own or {})}
    from_point = "" if at is None else f"{_SOLVED}; {at.words}"
    found = symbols_of(formula)
    if at is not None and "V" not in found and np.any(at.airspeed > 0):
        found = (*found, "V")
    inputs = [
        Input(name if name in symbols_of(formula) else "", s.label, s.value(lane), s.unit, s.source or from_point)
        for name, s in ((name, known[name]) for name in found)
    ]
    return Working(formula, (*inputs, *(beside(lane) if beside else ())))
