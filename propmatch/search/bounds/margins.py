"""Limits moved by a margin: what keeps every limit with that margin keeps the moved ones.

The margin of a value v against a limit L is (L - v)/L, for a minimum (v - L)/L: it is m or more where v <= (1 - m) L,
or v >= (1 + m) L. Ratings are proportional to their columns, so those are multiplied. A phase that is held against a
burst rating because it exceeds the continuous one exceeds (1 - m) of that as well, and one that keeps to the continuous
one with the margin keeps to (1 - m) of it: the moved ratings serve the same phases. Limits that are not moved only let
more in.
"""

from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.checks.ratings import RatingLanes
from propmatch.checks.setting import Setting
from propmatch.records.fields import declared, replace
from propmatch.records.sections import Limits
from propmatch.search.shelf import Shelf

__all__ = ["moved_by"]

_LEAST = ("min_thrust_to_weight", "min_flight_minutes", "min_climb_m_s", "min_launch_thrust_to_weight")
_MOST = ("max_propeller_diameter_in", "max_wing_loading_g_dm2")
_RATINGS = (
    "motor_stated_a", "motor_burst_a", "motor_w", "controller_a", "controller_burst_a", "usable_a", "burst_a",
    "max_rpm",
)  # fmt: skip
_BAND = 1e-6
"""Share of a margin by which it is eased: above rounding."""


def moved_by(setting: Setting, shelf: Shelf, margin: float) -> tuple[Setting, Shelf]:
    """A setting and a shelf whose limits are so much narrower; ``margin`` from 0 on, eased by rounding."""
    m = margin * (1.0 - _BAND)
    less = max(1.0 - m, _BAND)
    most = {rule.name: rule.le for rule in declared(Limits)}

    def moved_limits(limits: Limits, names: Sequence[str], factor: float) -> Limits:
        stated = {name: getattr(limits, name) for name in names}
        return replace(
            limits, **{name: min(x * factor, most[name] or np.inf) for name, x in stated.items() if x is not None}
        )

    limits = moved_limits(moved_limits(setting.brief.limits, _LEAST, 1.0 + m), _MOST, less)
    # the check of the cell voltage goes by the cut-off that is stated, the flight by that of the brief
    stated = replace(setting.stated, limits=moved_limits(setting.stated.limits, ("cutoff_cell_v",), 1.0 + m))
    target = setting.variant.target_mass_g
    moved = attrs.evolve(
        setting,
        brief=replace(setting.brief, limits=limits),
        stated=stated,
        variant=attrs.evolve(setting.variant, target_mass_g=None if target is None else target * less),
    )
    ratings: RatingLanes = attrs.evolve(
        shelf.ratings, **{name: getattr(shelf.ratings, name) * less for name in _RATINGS}
    )
    return moved, attrs.evolve(shelf, ratings=ratings)
