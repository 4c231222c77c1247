"""The motor: a first-order direct-current model of a brushless outrunner.

Symbols: K [V s/rad] speed constant, K_t [N m/A] torque constant (K_t = K unless stated), R [ohm] resistance,
b [ohm s/rad] its rise with speed (the drop of commutation), I0 [A] no-load current, w [rad/s] motor speed, g gear ratio
(motor turns per propeller turn), e gear efficiency, Q [N m] propeller torque.

The motor's law is written here alone; :mod:`propmatch.train.line` puts controller and pack beside it.

Sources: M. Drela, First-Order DC Electric Motor Model, MIT Aero & Astro technical note, 2007; drop of commutation
3 w L I/pi: N. Mohan, T. M. Undeland, W. P. Robbins, Power Electronics, Wiley.
"""

import numpy as np

from propmatch.models.arrays import Number
from propmatch.units import KV_TO_K

__all__ = [
    "COPPER_PER_K",
    "current_a",
    "efficiency",
    "no_load_current_a",
    "no_load_ratio",
    "reference_speed_rad_s",
    "resistance_at_speed",
    "shaft_power_w",
    "terminal_voltage_v",
    "torque_constant",
    "warm_resistance_ohm",
]

COPPER_PER_K = 0.00393
"""Rise of the resistance of annealed copper at 20 degC [1/K]: IEC 60028."""


def torque_constant(kv_rpm_per_v: Number) -> Number:
    """K = 60/(2 pi kV) [V s/rad = N m/A] of an effective kV [rpm/V]."""
    return KV_TO_K / np.asarray(kv_rpm_per_v, dtype=np.float64)


def reference_speed_rad_s(
    k: Number,
    resistance_ohm: Number,
    no_load_current_a: Number,
    no_load_voltage_v: Number,
    slope_ohm_s: Number = 0.0,
) -> Number:
    """Speed at which the no-load current was read, wref = (V0 - R I0)/(K + b I0) [rad/s]."""
    return (no_load_voltage_v - resistance_ohm * no_load_current_a) / (k + slope_ohm_s * no_load_current_a)


def no_load_ratio(speed_ratio: Number, exponent: Number) -> Number:
    """I0(w)/I0ref = (w/wref)^x [-]; x = 0 is a constant current, a motor that turns backwards counts as at rest."""
    return np.power(np.maximum(speed_ratio, 0.0), exponent)


def no_load_current_a(w: Number, reference_a: Number, reference_rad_s: Number, exponent: Number) -> Number:
    """I0(w) = I0ref (w/wref)^x [A]."""
    return reference_a * no_load_ratio(w / reference_rad_s, exponent)


def current_a(
    torque_nm: Number, no_load_a: Number, k_torque: Number, gear_ratio: Number = 1.0, gear_efficiency: Number = 1.0
) -> Number:
    """Motor current for a propeller torque [A].

    I = Q/(g K_t e) + I0 for Q >= 0; the propeller drives the motor for Q < 0: I = Q e/(g K_t) + I0.
    """
    e = np.where(np.asarray(torque_nm) >= 0, gear_efficiency, 1.0 / np.asarray(gear_efficiency))
    return torque_nm / (gear_ratio * k_torque * e) + no_load_a


def resistance_at_speed(resistance_ohm: Number, slope_ohm_s: Number, w: Number) -> Number:
    """R(w) = R + b w [ohm]."""
    return resistance_ohm + slope_ohm_s * w


def warm_resistance_ohm(resistance_ohm: Number, above_k: Number) -> Number:
    """Copper winding so many kelvin above the temperature of R: R (1 + 0.00393 dT) [ohm], -50 to 150 K.

    Source: IEC 60028, annealed copper at 20 degC.
    """
    return resistance_ohm * (1.0 + COPPER_PER_K * above_k)


def terminal_voltage_v(w: Number, current: Number, k: Number, resistance_ohm: Number) -> Number:
    """V_m = K w + R I [V], R that at the speed."""
    return k * w + resistance_ohm * current


def shaft_power_w(w: Number, current: Number, no_load_a: Number, k_torque: Number) -> Number:
    """K_t (I - I0) w [W]."""
    return k_torque * (current - no_load_a) * w


def efficiency(
    w: Number, current: Number, no_load_a: Number, k: Number, resistance_ohm: Number, k_torque: Number | None = None
) -> Number:
    """Shaft power over motor input, K_t (I - I0) w/(V_m I) [-]; NaN unless the input is positive."""
    power = np.asarray(terminal_voltage_v(w, current, k, resistance_ohm) * current)
    shaft = shaft_power_w(w, current, no_load_a, k if k_torque is None else k_torque)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(power > 0, shaft / power, np.nan)
