"""Rolling of an unswept wing by lifting-line theory: what ailerons push and what the roll itself resists.

Circulation 2 b V sum(A_n sin n theta) with y = b/2 cos theta; the even terms alone carry a roll:

    sum A_n sin(n theta) (n mu + sin theta) = mu alpha sin theta,   mu = a_0 c/(4 b),   C_l = pi A A_2/4

Small angles, a straight wing in undisturbed air, no stall.

Source: H. Glauert, The Elements of Aerofoil and Airscrew Theory, 1926, ch. XI (formulas from memory, standard).
"""

from collections.abc import Callable

import numpy as np

from propmatch.models.arrays import Floats

__all__ = ["aileron_slope", "roll_damping"]

_TERMS, _STATIONS = 24, 400


def _plain(share: Floats) -> Floats:
    return np.ones_like(share)


def _rolling(
    aspect_ratio: float, angle: Callable[[Floats], Floats], chord: Callable[[Floats], Floats], section_slope: float
) -> float:
    """Rolling moment coefficient of a wing twisted by ``angle`` of the share of the half span, the other half by less.

    Least squares over many stations, so that the step at the end of an aileron does not ring.
    """
    theta = (np.arange(_STATIONS) + 0.5) / _STATIONS * np.pi / 2
    share = np.cos(theta)
    mean = np.mean(chord((np.arange(_STATIONS) + 0.5) / _STATIONS))
    mu = (section_slope * chord(share) / mean / (4.0 * aspect_ratio))[:, None]
    n = 2.0 * np.arange(1, _TERMS + 1)
    sine = np.sin(theta)[:, None]
    left = np.sin(n * theta[:, None]) * (n * mu + sine)
    right = (mu * sine)[:, 0] * angle(share)
    found = np.linalg.lstsq(left, right, rcond=None)[0]
    return float(np.pi * aspect_ratio * found[0] / 4.0)


def aileron_slope(
    aspect_ratio: float,
    span_fraction: float,
    *,
    chord: Callable[[Floats], Floats] = _plain,
    section_slope: float = 2.0 * np.pi,
    tip: float = 1.0,
) -> float:
    """Rolling moment coefficient for each radian by which the ailerons turn the flow, dC_l/d(tau delta) [1/rad].

    Both ailerons move by delta, one up and one down; C_l is moment over q S b.

    Parameters
    ----------
    aspect_ratio : float, above 0
    span_fraction : float, 0 to 1
        Part of each half of the wing that has an aileron, ending at ``tip``.
    chord : callable
        Chord over any scale, of the share of the half span (N,) -> (N,); default the same everywhere.
    section_slope : float [1/rad]
    tip : float
        Share of the half span at which the aileron ends.
    """
    inner = tip - span_fraction
    return _rolling(
        aspect_ratio, lambda share: np.where((share >= inner) & (share <= tip), 1.0, 0.0), chord, section_slope
    )


def roll_damping(
    aspect_ratio: float, *, chord: Callable[[Floats], Floats] = _plain, section_slope: float = 2.0 * np.pi
) -> float:
    """Rolling moment coefficient against a roll, -C_lp = -dC_l/d(p b/2V) [-], above 0; arguments as `aileron_slope`.

    pi A/(4 (A + 4)) for an elliptical wing with a section slope of 2 pi.
    """
    return _rolling(aspect_ratio, lambda share: share, chord, section_slope)
