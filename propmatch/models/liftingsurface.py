"""Wing, tail and elevator as lifting surfaces: slopes, downwash, what an elevator angle is worth.

Functions take scalars or arrays that broadcast.
"""

from typing import Any

import numpy as np

__all__ = ["downwash_gradient", "elevator_effectiveness", "lift_slope_per_rad"]


def lift_slope_per_rad(aspect_ratio: Any) -> Any:
    """Lift-curve slope of an unswept wing 2 pi A/(2 + sqrt(A^2 + 4)) [1/rad].

    With a section slope of 2 pi; pi A/2 for A -> 0, 2 pi for A -> infinity. No compressibility, no sweep.

    Source: H. B. Helmbold, Der unverwundene Ellipsenfluegel als tragende Flaeche, 1942 (formula from memory, standard).
    """
    aspect = np.asarray(aspect_ratio, dtype=np.float64)
    return (2.0 * np.pi * aspect / (2.0 + np.sqrt(aspect**2 + 4.0)))[()]


def downwash_gradient(wing_lift_slope: Any, aspect_ratio: Any) -> Any:
    """d epsilon/d alpha = 2 a_w/(pi A) [-] far behind an elliptically loaded wing.

    An upper estimate close behind the wing or far above its wake, so the static margin comes out small.

    Source: lifting-line theory, as in any text on aerodynamics (formula from memory, standard).
    """
    return 2.0 * wing_lift_slope / (np.pi * aspect_ratio)


def elevator_effectiveness(chord_fraction: Any) -> Any:
    """tau = (pi - theta + sin theta)/pi with cos theta = 2 E - 1 [-]: tail angle per elevator angle.

    E is elevator chord over tail chord, 0 to 1: tau rises from 0 to 1 (all-moving).

    Source: H. Glauert, ARC R&M 1095, 1927.
    """
    theta = np.arccos(2.0 * np.asarray(chord_fraction, dtype=np.float64) - 1.0)
    return ((np.pi - theta + np.sin(theta)) / np.pi)[()]
