"""How a value follows: a formula and its inputs, taken from one lane in the state that the check is judged at."""

from collections.abc import Sequence

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.states import Field, State, StatePoint, TrainStates
from propmatch.train.operating import OperatingPoint
from propmatch.units import GRAM_KG

__all__ = ["Input", "Lane", "LanePoint", "Stated", "Working"]

_SOLVED = "solved: motor torque meets propeller torque, motor and pack share one current loop"
_GIVEN = "brief or assumption"


@attrs.frozen
class Stated:
    """A number comes from a field of a part (motor, controller, pack or propeller)."""

    part: str
    field: str


@attrs.frozen
class Input:
    """One number that goes into a value.

    Attributes
    ----------
    symbol : str, as the formula has it; empty for what only stands beside it
    label : str
    value : float; unit : str
    source : str or Stated, where the number comes from
    """

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


@attrs.frozen
class LanePoint:
    """One lane of an operating point."""

    at: StatePoint
    index: int

    def field(self, symbol: str, label: str, name: str, unit: str) -> Input:
        """A field of :class:`OperatingPoint`."""
        value = float(getattr(self.at.point, name)[self.index])
        return Input(symbol, label, value, unit, f"{_SOLVED}; {self.at.words}")

    def airspeed(self, symbol: str = "") -> Input:
        """Airspeed of the point."""
        return Input(symbol, "airspeed", float(self.at.airspeed[self.index]), "m/s", self.at.words)

    def motor_voltage(self) -> Input:
        """Voltage at one motor."""
        return self.field("V_m", "motor voltage", "motor_voltage_v", "V")

    def motor_speed(self) -> Input:
        """Speed of one motor."""
        return self.field("n", "motor speed", "motor_rpm", "rpm")

    def motor_current(self) -> Input:
        """Current of one motor."""
        return self.field("I", "motor current", "motor_current_a", "A")

    def propeller_speed(self) -> Input:
        """Speed of the propeller."""
        return self.field("n", "propeller speed", "rpm", "rpm")

    def pack_voltage(self) -> Input:
        """Voltage of the pack under load."""
        return self.field("V_b", "pack voltage under load", "pack_voltage_v", "V")


@attrs.frozen
class Lane:
    """One lane of the states of N power trains, and the numbers that more than one check takes from it."""

    states: TrainStates
    index: int

    def of(self, values: NDArray[np.generic]) -> float:
        """The value of this lane."""
        return float(values[self.index])

    def worst(self, state: State, field: Field) -> LanePoint | None:
        """Where a field is largest; None without any point."""
        at = self.states.worst_point(state, field, self.index)
        return None if at is None else LanePoint(at, self.index)

    def point(self, words: str, point: OperatingPoint, airspeed: NDArray[np.float64] | None = None) -> LanePoint:
        """This lane of an operating point, at rest by default."""
        speed = np.zeros(self.states.lanes.size) if airspeed is None else airspeed
        return LanePoint(StatePoint(words=words, airspeed=speed, point=point), self.index)

    def number(self, symbol: str, label: str, values: NDArray[np.float64], unit: str, source: str | Stated) -> Input:
        """A number of this lane."""
        return Input(symbol, label, self.of(values), unit, source)

    def weight(self) -> Input:
        """Weight of everything that flies."""
        return self.number("W", "weight", self.states.frames.weight_n, "N", "all-up mass times 9.80665 m/s2")

    def installed_share(self) -> Input:
        """Share of the thrust that is left behind or ahead of the airframe."""
        return self.number("f", "share of thrust left when installed", self.states.frames.installed_thrust, "", _GIVEN)

    def stall_speed(self) -> Input:
        """Stall speed in level flight."""
        return self.number("V_s", "stall speed", self.states.stall_m_s, "m/s", "square root of 2 W/(density S cl_max)")

    def wing_area(self) -> Input:
        """Wing area."""
        return Input("S", "wing area", self.states.setting.variant.airframe.wing_area_dm2, "dm2", _GIVEN)

    def accessory_current(self) -> Input:
        """What the pack gives besides the motors."""
        return self.number("I_a", "receiver, servos and payload", self.states.lanes.accessory_a, "A", _GIVEN)

    def speed_constant(self) -> Input:
        """Motor speed over voltage behind its resistance."""
        values = 30.0 / (np.pi * self.states.lanes.k)
        return self.number("K_v", "speed constant", values, "rpm/V", Stated("motor", "kv_rpm_per_v"))

    def winding(self) -> Input:
        """Resistance of one motor."""
        values = self.states.lanes.resistance_ohm
        return self.number("R", "winding resistance", values, "ohm", Stated("motor", "resistance_ohm"))

    def diameter(self) -> Input:
        """Propeller diameter."""
        values = self.states.ratings.diameter_in
        return self.number("D", "propeller diameter", values, "in", Stated("propeller", "diameter_in"))

    def masses(self) -> Sequence[Input]:
        """Bare mass, and the sets of parts."""
        r = self.states.ratings
        bare = self.of(self.states.frames.mass_kg) / GRAM_KG - self.of(r.mass_g)
        return (
            Input("m_bare", "bare mass", bare, "g", "brief"),
            self.number("m_motors", "motors", r.motors_g, "g", Stated("motor", "mass_g")),
            self.number("m_controllers", "controllers", r.controllers_g, "g", Stated("controller", "mass_g")),
            self.number("m_propellers", "propellers", r.propellers_g, "g", Stated("propeller", "mass_g")),
            self.number("m_pack", "pack", r.pack_g, "g", Stated("pack", "mass_g")),
        )
