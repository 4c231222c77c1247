"""Room around a propeller's disc: how far its centre is from what is near.

Enter: places in mm, any shapes that broadcast.

Source: none needed, plane geometry.
"""

from typing import Any

import numpy as np

__all__ = ["box_distance_mm", "ground_line"]


def box_distance_mm(side_mm: Any, height_mm: Any, *, half_width_mm: Any, bottom_mm: Any, top_mm: Any) -> Any:
    """Distance of a point from a box about the centre line [mm]; below 0 inside, where it is that to the nearest face.

    A face that is infinitely far away counts for nothing: with the top alone the box is everything below it.
    """
    beside = np.abs(np.asarray(side_mm, dtype=np.float64)) - half_width_mm
    above = np.maximum(np.asarray(height_mm, dtype=np.float64) - top_mm, bottom_mm - height_mm)
    outside = np.hypot(np.maximum(beside, 0.0), np.maximum(above, 0.0))
    return (outside + np.minimum(np.maximum(beside, above), 0.0))[()]


def ground_line(
    position_mm: Any,
    *,
    wheel_mm: Any,
    wheel_height_mm: Any,
    other_mm: Any = np.inf,
    other_height_mm: Any = 0.0,
    shrink_mm: Any = 0.0,
) -> tuple[Any, Any]:
    """Height [mm] and slope dh/dx [-] of the ground under a place, in the aircraft's own coordinates.

    The line through two contacts, level through one where the other is infinitely far: h = h_1 (1 - w) + h_2 w with
    w = (x - x_1)/(x_2 - x_1). Each contact gives way by ``shrink_mm`` where that brings the ground nearer.
    """
    apart = np.asarray(other_mm, dtype=np.float64) - wheel_mm
    share = (np.asarray(position_mm, dtype=np.float64) - wheel_mm) / apart
    height = wheel_height_mm * (1.0 - share) + other_height_mm * share
    given = shrink_mm * (np.maximum(1.0 - share, 0.0) + np.maximum(share, 0.0))
    return (height + given)[()], ((other_height_mm - wheel_height_mm) / apart)[()]
