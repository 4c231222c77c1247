"""Stability in pitch by wing and tail volume: lift slopes, downwash, neutral point and static margin.

Sources: J. D. Anderson, Introduction to Flight, ch. 7 (formula from memory, standard); B. Etkin, L. D. Reid, Dynamics
of Flight, ch. 2.
"""

from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.geometry import Geometry
from propmatch.models.liftingsurface import lift_slope_per_rad
from propmatch.records.estimates import Assumption
from propmatch.units import percent

__all__ = ["Stability", "neutral_point", "stability"]

STABILITY_NOTES = (
    "Wing and tail only: a fuselage and a propeller ahead of the wing move the neutral point forward by 2 to 6 % "
    "of the chord (value from memory); the tail is taken to work in undisturbed air.",
)


_RESTS_ON = ("chord_mm", "lift_slope_per_rad", "downwash_gradient")


def neutral_point(wing_centre: Any, tail_volume: Any, tail_over_wing_slope: Any, downwash_slope: Any) -> Any:
    """Neutral point as a share of the mean chord, h_n = h_ac + V_H (a_t/a) (1 - d epsilon/d alpha) [-].

    Stick fixed. With `V_H` measured from the wing's aerodynamic centre and `a` the slope of the whole aircraft it is
    exact for two lifting surfaces; with `V_H` from the centre of gravity and the wing's slope it is the usual textbook
    estimate.
    """
    return wing_centre + tail_volume * tail_over_wing_slope * (1.0 - downwash_slope)


@attrs.frozen(kw_only=True, eq=False)
class Stability:
    """Static margin by wing and tail volume.

    Attributes
    ----------
    neutral_point_mm : float [mm]
        Aft of the datum.
    static_margin : float or ndarray [-]
        (neutral point - centre of gravity)/chord; positive is stable.
    cg_mm : float or ndarray [mm]
    chord_mm, aerodynamic_centre_mm : float [mm]
        Mean chord and its quarter point.
    tail_volume : float [-]
        S_t l/(S c) with l from the wing's quarter chord to the tail's.
    wing_slope_per_rad, tail_slope_per_rad, aircraft_slope_per_rad, downwash_gradient : float
    assumptions : tuple of Assumption
    notes : tuple of str
    """

    neutral_point_mm: float
    static_margin: Any
    cg_mm: Any
    chord_mm: float
    aerodynamic_centre_mm: float
    tail_volume: float
    wing_slope_per_rad: float
    tail_slope_per_rad: float
    aircraft_slope_per_rad: float
    downwash_gradient: float
    assumptions: tuple[Assumption, ...]
    notes: tuple[str, ...]

    def reading(self) -> str:
        """The margin in a sentence; for many centres of gravity the smallest one."""
        margins = np.asarray(self.static_margin, dtype=np.float64)
        if not np.any(np.isfinite(margins)):
            return "The static margin is unknown, because the centre of gravity or the wing's leading edge is."
        margin = float(np.nanmin(margins))
        text = f"Static margin {percent(margin)} of the mean chord (neutral point {self.neutral_point_mm:.0f} mm)"
        if margin <= 0:
            return f"{text}: unstable, move the centre of gravity forward."
        if margin < 0.05:
            return f"{text}: little; 5 to 15 % is common practice for a model without stabilisation."
        if margin > 0.25:
            return f"{text}: much; steady, but trim will change strongly with speed and throttle."
        return f"{text}: stable."


def stability(geometry: Geometry, *, cg_mm: Any = None) -> Stability:
    """Static margin at a centre of gravity (default: the target), wing and tail as two lifting surfaces.

    a = a_w + a_t (S_t/S) (1 - d epsilon/d alpha), V_H = S_t l/(S c), then `neutral_point`.

    Parameters
    ----------
    geometry : Geometry
        With a tail. Without the leading edge of the wing the margin is NaN.
    cg_mm : array_like [mm], optional

    Raises
    ------
    ValueError
        Without a tail.
    """
    if geometry.tail is None:
        raise ValueError("the static margin needs the tail geometry")
    tail, chord = geometry.tail, geometry.chord_mm
    cg = geometry.balance.target_cg_mm if cg_mm is None else np.asarray(cg_mm, dtype=np.float64)[()]
    known = geometry.balance.leading_edge_mm is not None
    centre = geometry.aerodynamic_centre_mm if known else float("nan")
    wing_slope = float(lift_slope_per_rad(geometry.aspect_ratio))
    tail_slope, gradient = geometry.tail_lift_slope_per_rad, geometry.downwash_gradient
    area_ratio = tail.area_dm2 / geometry.wing_area_dm2
    slope = wing_slope + tail_slope * area_ratio * (1.0 - gradient)
    volume = area_ratio * (tail.position_mm - centre) / chord
    share = neutral_point(0.25, volume, tail_slope / slope, gradient)
    point = centre + (share - 0.25) * chord
    return Stability(
        neutral_point_mm=point,
        static_margin=(point - cg) / chord,
        cg_mm=cg,
        chord_mm=chord,
        aerodynamic_centre_mm=centre,
        tail_volume=volume,
        wing_slope_per_rad=wing_slope,
        tail_slope_per_rad=tail_slope,
        aircraft_slope_per_rad=slope,
        downwash_gradient=gradient,
        assumptions=tuple(each for each in geometry.assumptions if each.field in _RESTS_ON),
        notes=STABILITY_NOTES if known
        else (*STABILITY_NOTES, "The leading edge of the mean chord is not given: no margin."),
    )  # fmt: skip
