"""The propeller as an actuator disk: what the air does ahead of, in and behind it.

Ideal momentum theory: A = pi D^2/4, T = 2 rho A (V + v) v, disk speed V + v, fully developed jet V + 2 v.

Behind the disk the jet grows as behind a row of vortex rings, v (1 + x/sqrt(x^2 + R^2)) at the distance x: v at the
disk, 2 v far behind.

Limits: no swirl, no friction, uniform loading, no spreading by mixing. Negative thrust (windmilling) is served as long
as the jet still flows backwards, T >= -rho A V^2/2; beyond it there is no steady ideal flow and the answer is NaN.
Functions take scalars or arrays that broadcast, and leave every lane to itself: NaN in, NaN out.

Sources: H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926, ch. XV (formulas from memory, standard); jet
behind the disk: B. W. McCormick, Aerodynamics, Aeronautics and Flight Mechanics, ch. 6 (formula from memory).
"""

from typing import Any

import numpy as np

__all__ = ["contraction_radius_m", "disk_area_m2", "induced_velocity_m_s", "jet_growth"]


def disk_area_m2(diameter_m: Any) -> Any:
    """A = pi D^2/4 [m2]."""
    return np.pi * np.asarray(diameter_m, dtype=np.float64) ** 2 / 4.0


def induced_velocity_m_s(thrust_n: Any, diameter_m: Any, *, airspeed_m_s: Any = 0.0, density_kg_m3: Any = 1.225) -> Any:
    """Speed the air has gained at the disk [m/s], v = -V/2 + sqrt(V^2/4 + T/(2 rho A)).

    Parameters
    ----------
    thrust_n : array_like [N]
        Thrust of one propeller; negative when the airstream drives it.
    diameter_m : array_like [m]
        Positive.
    airspeed_m_s : array_like [m/s]
        0 or more.
    density_kg_m3 : array_like [kg/m3]
        Positive.

    Returns
    -------
    float or ndarray [m/s]
        NaN where no ideal flow exists (thrust below -rho A V^2/2) or an input is out of range.
    """
    speed = np.asarray(airspeed_m_s, dtype=np.float64)
    diameter = np.asarray(diameter_m, dtype=np.float64)
    density = np.asarray(density_kg_m3, dtype=np.float64)
    sound = (diameter > 0) & (density > 0) & (speed >= 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.asarray(thrust_n, dtype=np.float64) / (2.0 * density * disk_area_m2(diameter))
        root = np.sqrt(speed**2 / 4.0 + gain)
        # The same root as in the docstring, without the cancellation of a small thrust at speed.
        away = speed / 2.0 + root
        induced = np.where(away > 0, gain / np.where(away > 0, away, 1.0), np.where(gain == 0, 0.0, np.nan))
    return np.where(sound & np.isfinite(root), induced, np.nan)[()]


def jet_growth(behind_m: Any, diameter_m: Any) -> Any:
    """Speed gained at a distance behind the disk over that in the disk, 1 + x/sqrt(x^2 + R^2) [-]: 1 to 2.

    Parameters
    ----------
    behind_m, diameter_m : array_like [m]
        Ahead of the disk (negative) it falls to 0; infinite: 2.
    """
    radius = np.asarray(diameter_m, dtype=np.float64) / 2.0
    return (1.0 + np.sin(np.arctan2(behind_m, radius)))[()]


def contraction_radius_m(
    thrust_n: Any, diameter_m: Any, *, airspeed_m_s: Any = 0.0, density_kg_m3: Any = 1.225, behind_m: Any = np.inf
) -> Any:
    """Radius of the jet at a distance behind the disk by continuity, R sqrt((V + v)/(V + w)) [m], w as `jet_growth`.

    Far behind R/sqrt(2) standing, nearly R at speed; R where nothing moves; NaN where the jet does not flow backwards.
    Parameters as `induced_velocity_m_s`.
    """
    speed = np.asarray(airspeed_m_s, dtype=np.float64)
    induced = induced_velocity_m_s(thrust_n, diameter_m, airspeed_m_s=speed, density_kg_m3=density_kg_m3)
    radius = np.asarray(diameter_m, dtype=np.float64) / 2.0
    jet = speed + jet_growth(behind_m, diameter_m) * induced
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(jet > 0, (speed + induced) / jet, np.nan)
    still = (speed == 0) & (induced == 0)
    return (radius * np.where(still, 1.0, np.sqrt(ratio)))[()]
