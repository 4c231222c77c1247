"""A flight as it passes: when a charge is reached on a leg, and what is left when a clock runs out."""

from collections.abc import Sequence

import numpy as np

from propmatch.aircraft.flightlanes import Leg
from propmatch.models.arrays import Floats

__all__ = ["charge_after", "leg_at", "minutes_along"]

_POINTS = 65
_LEAST_CURRENT_A = 1e-9


def minutes_along(leg: Leg, charge: Floats) -> Floats:
    """Minutes since take-off (M,) at equally spaced charges from the leg's first to its last.

    t = integral of 60 Q dq/I by the trapezoidal rule, I the mean of the phases; it ends when the leg ends.

    Source: none needed, the charge drawn.
    """
    current = np.asarray(leg.weights) @ np.array([load.at(charge[:, None]).pack_current_a[:, 0] for load in leg.loads])
    slowness = 1.0 / np.maximum(current, _LEAST_CURRENT_A)
    steps = np.concatenate([[0.0], np.cumsum(0.5 * (slowness[1:] + slowness[:-1]))])
    return np.asarray(leg.minutes[0] + steps / steps[-1] * (leg.minutes[1] - leg.minutes[0]))


def leg_at(legs: Sequence[Leg], minutes: float) -> int:
    """Index of the leg flown at a time, the last one at its end and beyond."""
    return next((at for at, leg in enumerate(legs) if minutes < leg.minutes[1]), len(legs) - 1)


def charge_after(legs: Sequence[Leg], minutes: float) -> float:
    """Charge left after so many minutes."""
    leg = legs[leg_at(legs, minutes)]
    charge = np.linspace(*leg.charge, _POINTS)
    return float(np.interp(minutes, minutes_along(leg, charge), charge))
