"""The throttle limit: the largest duty at which the loads of full throttle stay below the parts' ratings.

What a limit cures, leaves and costs is not remembered but found: every check is made again, no phase flown above it.
"""

from collections.abc import Callable
from typing import Any

import attrs
import numpy as np

from propmatch.checks.checkrules import full_throttle_loads
from propmatch.checks.judged import failing
from propmatch.checks.measures import TrainMeasures
from propmatch.columns import Column, columns_of, lanes_of, number
from propmatch.models.arrays import Flags, Floats
from propmatch.train.brackets import edge

__all__ = ["LIMIT_NOTE", "THROTTLE_LIMIT", "ThrottleLimit", "limit_columns", "throttle_limits"]

LEAST = 0.01
"""Smallest duty that is tried as a limit."""
_HALVINGS, _AT_ONCE = 20, 5
"""Of the duty: they leave a millionth; and how many of them one call answers."""

LIMIT_NOTE = (
    "Throttle is duty, not stick position. A limit set in the transmitter can be lost when the ESC is "
    "recalibrated, or with another model memory. It keeps a current below a number, no more: at part throttle a motor "
    "carries more than it draws from the pack, where the wattmeter sits, and part of the loss heats the ESC."
)


@attrs.frozen(kw_only=True, eq=False)
class _Limited:
    """N trains with a throttle limit each."""

    throttle: Floats
    at: TrainMeasures

    @property
    def motor_limit_a(self) -> Floats:
        """The lower limit of motor and controller."""
        return np.fmin(self.at["motor_current_static"].limit, self.at["controller_current"].limit)


THROTTLE_LIMIT = "largest throttle at which no load of full throttle exceeds a rating, 1 when full throttle does not"


def _limited(label: str, getter: Callable[[_Limited], Floats], kind: str = "") -> Any:
    return number("", getter, kind=kind, label=f"with the throttle limit: {label}")


@attrs.frozen(kw_only=True)
class ThrottleLimit:
    """A throttle limit of one train, and every check made again with it.

    Attributes
    ----------
    throttle : duty; 1 where full throttle stays below the ratings, NaN where there is no answer
    motor_limit_a : the lower limit of motor and controller; motor_current_a : largest, at rest and in flight
    pack_current_a, pack_power_w, thrust_n : whole train at rest on a full pack
    thrust_to_weight, climb_m_s, top_speed_m_s : at half charge
    flight_minutes : of the brief's flying, no phase above the limit
    cures, leaves, costs : tuple of str
        Checks that can exclude and fail without the limit alone, with and without it, with it alone; ``level_throttle``
        is among the last where an airspeed that was held no longer is.
    """

    throttle: float = number("", lambda w: w.throttle, kind="%", label=THROTTLE_LIMIT)
    motor_limit_a: float = _limited("lower rating of motor and ESC", lambda w: w.motor_limit_a, "A")
    motor_current_a: float = _limited(
        "largest current of one motor, at rest and in flight", lambda w: w.at["controller_current"].value, "A"
    )
    pack_current_a: float = _limited("pack current, static, full battery", lambda w: w.at.full(1.0).pack_current_a, "A")
    pack_power_w: float = _limited(
        "power from the pack, static, full battery", lambda w: w.at.full(1.0).pack_power_w, "W"
    )
    thrust_n: float = _limited("thrust, static, full battery", lambda w: w.at.full(1.0).thrust_n, "thrust")
    thrust_to_weight: float = _limited("thrust to weight, half charge", lambda w: w.at["thrust_to_weight"].value)
    climb_m_s: float = _limited("best climb, half charge", lambda w: w.at.climb.climb_m_s, "m/s")
    top_speed_m_s: float = _limited("top level speed, half charge", lambda w: w.at.top_speed_m_s, "speed")
    flight_minutes: float = _limited("flight time", lambda w: w.at["flight_time"].value, "min")
    cures: tuple[str, ...]
    leaves: tuple[str, ...]
    costs: tuple[str, ...]

    @property
    def row(self) -> dict[str, float | list[str]]:
        """As JSON and CSV have it."""
        own = columns_of(ThrottleLimit)
        numbers = {key.name: getattr(self, column.name) for key, column in zip(limit_columns(), own, strict=True)}
        names = {f"limited_{name}": list(getattr(self, name)) for name in ("cures", "leaves", "costs")}
        return {**numbers, **names}


def limit_columns() -> tuple[Column, ...]:
    """The columns of :attr:`ThrottleLimit.row`."""
    first, *others = columns_of(ThrottleLimit)
    renamed = (attrs.evolve(column, name=f"limited_{column.name}") for column in others)
    return (attrs.evolve(first, name="throttle_limit"), *renamed)


def throttle_limits(measured: TrainMeasures) -> list[ThrottleLimit]:
    """The limit of each train: the largest duty at which no load of full throttle exceeds a rating, by the checks.

    The limit of a check counts whether or not it excludes; too little duty to turn has no current and exceeds nothing.
    """

    def within(duty: Floats) -> Flags:
        trains = measured if duty.ndim == 1 else measured.again(np.tile(np.arange(n), len(duty)))
        tried = trains.limited(duty.ravel())
        loads = [tried[name] for name in names]
        return np.asarray(np.all([~(load.value > load.limit) for load in loads], axis=0)).reshape(duty.shape)

    names, n = full_throttle_loads(), measured.lanes.size
    throttle = edge(within, np.full(n, LEAST), np.ones(n), steps=_HALVINGS, at_once=_AT_ONCE)
    throttle = np.where(np.isfinite(measured.full(1.0).motor_current_a), throttle, np.nan)
    at = measured.limited(throttle)
    numbers = lanes_of(columns_of(ThrottleLimit), _Limited(throttle=throttle, at=at))
    held = (np.isfinite(each["level_throttle"].value) for each in (measured, at))
    lost = np.logical_and(next(held), ~next(held))
    out = []
    for lane, (without, with_it) in enumerate(zip(failing(measured), failing(at), strict=True)):
        costs = tuple(name for name in with_it if name not in without)
        out.append(
            ThrottleLimit(
                cures=tuple(name for name in without if name not in with_it),
                leaves=tuple(name for name in without if name in with_it),
                costs=(*costs, "level_throttle") if lost[lane] else costs,
                **numbers[lane],
            )
        )
    return out
