"""The propeller: similarity laws and momentum theory around the coefficient table.

n [rev/s] propeller speed, D [m] diameter, V [m/s] airspeed: J = V/(n D), T = CT rho n^2 D^4, P = CP rho n^3 D^5,
Q = P/(2 pi n).

Source: the usual definitions, H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926, ch. XV-XVI.
"""

import numpy as np

from propmatch.models.arrays import Number
from propmatch.units import INCH_M

__all__ = ["advance_ratio", "efficiency", "pitch_speed_m_s", "thrust_n", "tip_mach", "torque_nm"]


def advance_ratio(airspeed_m_s: Number, rev_s: Number, diameter_m: Number) -> Number:
    """J = V/(n D) [-]."""
    return airspeed_m_s / (rev_s * diameter_m)


def thrust_n(ct: Number, density_kg_m3: Number, rev_s: Number, diameter_m: Number) -> Number:
    """T = CT rho n^2 D^4 [N]."""
    return ct * density_kg_m3 * rev_s**2 * diameter_m**4


def torque_nm(cp: Number, density_kg_m3: Number, rev_s: Number, diameter_m: Number) -> Number:
    """Q = CP rho n^2 D^5/(2 pi) [N m]."""
    return cp * density_kg_m3 * rev_s**2 * diameter_m**5 / (2.0 * np.pi)


def efficiency(thrust: Number, airspeed_m_s: Number, shaft_power_w: Number) -> Number:
    """T V/P [-]; 0 at V = 0, NaN unless the shaft power is positive."""
    power = np.asarray(shaft_power_w)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(power > 0, thrust * airspeed_m_s / power, np.nan)


def tip_mach(rev_s: Number, diameter_m: Number, airspeed_m_s: Number, speed_of_sound_m_s: Number) -> Number:
    """Helical tip Mach number sqrt((pi n D)^2 + V^2)/a [-]."""
    return np.hypot(np.pi * rev_s * diameter_m, airspeed_m_s) / speed_of_sound_m_s


def pitch_speed_m_s(rpm: Number, pitch_in: Number) -> Number:
    """rpm x pitch [m/s]."""
    return rpm / 60.0 * pitch_in * INCH_M
