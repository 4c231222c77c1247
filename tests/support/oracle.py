"""The operating point written out once more, straight from the equations: one lane, plain floats, scipy's brentq.

Nothing here calls the project's models or solver. Coefficients come from callables of (rpm, J).
"""

import math
from collections.abc import Callable
from typing import Any

from scipy.optimize import brentq

Coefficient = Callable[[float, float], float]


class Chain:
    """A power train in SI units at one airspeed, throttle and open-circuit voltage."""

    def __init__(
        self,
        *,
        kv_rpm_per_v: float,
        resistance_ohm: float,
        no_load_a: float,
        no_load_v: float = 1.0,
        exponent: float = 0.0,
        slope_ohm_s: float = 0.0,
        torque_ratio: float = 1.0,
        reference_rad_s: float | None = None,
        gear: float = 1.0,
        gear_efficiency: float = 1.0,
        controller_ohm: float = 0.0,
        loss: float = 0.0,
        pack_ohm: float = 0.0,
        open_v: float,
        radio_a: float = 0.0,
        count: int = 1,
        diameter_m: float,
        density: float = 1.225,
        airspeed: float = 0.0,
        throttle: float = 1.0,
        ct: Coefficient,
        cp: Coefficient,
    ) -> None:
        self.__dict__.update({name: value for name, value in locals().items() if name != "self"})
        self.k = 60.0 / (2.0 * math.pi * kv_rpm_per_v)
        self.k_torque = self.k * torque_ratio
        self.w_ref = 1.0
        if exponent:
            at_no_load = (no_load_v - resistance_ohm * no_load_a) / (self.k + slope_ohm_s * no_load_a)
            self.w_ref = at_no_load if reference_rad_s is None else reference_rad_s

    def propeller(self, u: float) -> tuple[float, float]:
        """Thrust and torque of one propeller at u rad/s."""
        n = u / (2.0 * math.pi)
        j = self.airspeed / (n * self.diameter_m)
        ct, cp = self.ct(60.0 * n, j), self.cp(60.0 * n, j)
        power = cp * self.density * n**3 * self.diameter_m**5
        return ct * self.density * n**2 * self.diameter_m**4, power / u

    def motor_current(self, u: float) -> float:
        """Current for the propeller's torque; a propeller that drives the gear loses on the way in."""
        _, torque = self.propeller(u)
        w = self.gear * u
        no_load = self.no_load_a * (w / self.w_ref) ** self.exponent if self.exponent else self.no_load_a
        if torque >= 0:
            return torque / (self.gear * self.k_torque * self.gear_efficiency) + no_load
        return torque * self.gear_efficiency / (self.gear * self.k_torque) + no_load

    def voltage_left(self, u: float) -> float:
        """Motor-side voltage of the chopper less what the motor asks for at u rad/s."""
        current = self.motor_current(u)
        eta = 1.0 - self.loss * (1.0 - self.throttle)
        drawn = self.throttle * current / eta if current >= 0 else self.throttle * current * eta
        pack_current = self.count * drawn + self.radio_a
        terminal = self.open_v - self.pack_ohm * pack_current
        motor_side = self.throttle * terminal - self.controller_ohm * current
        return motor_side - self.behind(u, current)

    def behind(self, u: float, current: float) -> float:
        """Voltage that the motor asks for at u rad/s."""
        w = self.gear * u
        return self.k * w + (self.resistance_ohm + self.slope_ohm_s * w) * current

    def speed(self, low: float, high: float) -> float:
        """The propeller speed [rad/s] in a bracket."""
        return float(brentq(self.voltage_left, low, high, xtol=1e-13, rtol=1e-14, maxiter=500))


class FloatTable:
    """CT and CP of one propeller in plain floats, from the bicubic cells the solver reads."""

    def __init__(self, table: Any) -> None:
        s = table.surfaces
        self.ct_cells, self.cp_cells = s.ct_cells.tolist(), s.cp_cells.tolist()
        self.rows, self.columns = int(s.rows[0]), int(s.columns[0])
        self.scale, self.shift, self.j_scale = float(s.rpm_scale[0]), float(s.rpm_shift[0]), float(s.j_scale[0])

    def ct(self, rpm: float, j: float) -> float:
        return self._value(self.ct_cells, rpm, j)

    def cp(self, rpm: float, j: float) -> float:
        return self._value(self.cp_cells, rpm, j)

    def _value(self, cells: list[list[float]], rpm: float, j: float) -> float:
        x = rpm * (math.pi / 30.0) * self.scale + self.shift
        row = 0 if x < 0 else min(int(x), self.rows - 1)
        y = j * self.j_scale
        column = min(int(y), self.columns - 1)
        s, t = x - row, y - column
        c = cells[row * self.columns + column]
        return (
            (c[0] + t * (c[4] + t * (c[8] + t * c[12])))
            + s * ((c[1] + t * (c[5] + t * (c[9] + t * c[13])))
            + s * ((c[2] + t * (c[6] + t * (c[10] + t * c[14])))
            + s * (c[3] + t * (c[7] + t * (c[11] + t * c[15])))))
        )  # fmt: skip
