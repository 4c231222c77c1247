"""The motor: a first-order direct-current model of a brushless outrunner.

Symbols: K [V s/rad = N m/A] torque constant, R [ohm] winding resistance, I0 [A] no-load current, w [rad/s] motor
speed, g gear ratio (motor turns per propeller turn), e gear efficiency, Q [N m] propeller torque.

Source: M. Drela, First-Order DC Electric Motor Model, MIT Aero & Astro technical note, 2007.
"""

from typing import Any

import numpy as np

from propmatch.units import KV_TO_K

__all__ = [
    "current_a",
    "efficiency",
    "no_load_current_a",
    "reference_speed_rad_s",
    "terminal_voltage_v",
    "torque_constant",
]


def torque_constant(kv_rpm_per_v: Any) -> Any:
    """K = 60/(2 pi kV) [V s/rad = N m/A] of an effective kV [rpm/V]."""
    return KV_TO_K / np.asarray(kv_rpm_per_v, dtype=np.float64)


def reference_speed_rad_s(k: Any, resistance_ohm: Any, no_load_current_a: Any, no_load_voltage_v: Any) -> Any:
    """Speed at which the no-load current was read, wref = (V0 - R I0)/K [rad/s]."""
    return (no_load_voltage_v - resistance_ohm * no_load_current_a) / k


def no_load_current_a(w: Any, reference_a: Any, reference_rad_s: Any, exponent: Any) -> Any:
    """I0(w) = I0ref (w/wref)^x [A]; x = 0 is a constant current."""
    return reference_a * np.power(w / reference_rad_s, exponent)


def current_a(torque_nm: Any, no_load_a: Any, k: Any, gear_ratio: Any = 1.0, gear_efficiency: Any = 1.0) -> Any:
    """Motor current for a propeller torque [A].

    I = Q/(g K e) + I0 for Q >= 0; the propeller drives the motor for Q < 0: I = Q e/(g K) + I0.
    """
    e = np.where(np.asarray(torque_nm) >= 0, gear_efficiency, 1.0 / np.asarray(gear_efficiency))
    return torque_nm / (gear_ratio * k * e) + no_load_a


def terminal_voltage_v(w: Any, current: Any, k: Any, resistance_ohm: Any) -> Any:
    """V_m = K w + R I [V]."""
    return k * w + resistance_ohm * current


def efficiency(w: Any, current: Any, no_load_a: Any, k: Any, resistance_ohm: Any) -> Any:
    """Shaft power over motor input, K (I - I0) w/(V_m I); NaN unless the input is positive."""
    power = np.asarray(terminal_voltage_v(w, current, k, resistance_ohm) * current)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(power > 0, k * (current - no_load_a) * w / power, np.nan)
