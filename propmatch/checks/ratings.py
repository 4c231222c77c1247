"""What the parts of a power train may bear, as arrays beside :class:`propmatch.train.lanes.TrainLanes`."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Flags, Floats
from propmatch.records.estimates import BURST_SECONDS, Completed, burst_c, estimated_current_a, nominal_v, usable_c
from propmatch.records.parts import PowerTrain
from propmatch.units import MAH_AH

__all__ = ["Rating", "RatingLanes", "rating_lanes"]


@attrs.frozen(kw_only=True, eq=False)
class RatingLanes:
    """Ratings of N power trains, every array (N,); NaN where nobody states one and none is estimated.

    Attributes
    ----------
    motors_g, controllers_g, propellers_g : masses of all sets together; pack_g
    supply_g : separate supply for receiver and servos; supply_separate : 1 where one is needed, else 0
    motor_stated_a, motor_burst_a, motor_burst_s, motor_w : one motor; ``motor_w_stated`` is 0 where it is an estimate
    controller_a, controller_burst_a, controller_burst_s : one controller; ``controller_estimated`` is 1 for an estimate
    usable_a, burst_a : pack, continuous and short; half the C label, or what the cell resistance supports if lower,
        counts as the pack's own rating
    pack_nominal_v : nominal voltage; ``pack_estimated`` is 1 where the C label is an estimate
    motor_cells_least, motor_cells_most, controller_cells_least, controller_cells_most : 0 and infinity if not stated
    servo_supply_linear : 1 for a linear supply, else 0; servo_supply_v
    max_rpm, max_rpm_stated : propeller; 1 when the part brings the limit, 0 when the family's stands in; NaN where
        nobody states either
    diameter_in
    """

    motors_g: Floats
    controllers_g: Floats
    propellers_g: Floats
    pack_g: Floats
    supply_g: Floats
    supply_separate: Floats
    motor_stated_a: Floats
    motor_burst_a: Floats
    motor_burst_s: Floats
    motor_w: Floats
    motor_w_stated: Floats
    controller_a: Floats
    controller_estimated: Floats
    controller_burst_a: Floats
    controller_burst_s: Floats
    usable_a: Floats
    burst_a: Floats
    pack_nominal_v: Floats
    pack_estimated: Floats
    motor_cells_least: Floats
    motor_cells_most: Floats
    controller_cells_least: Floats
    controller_cells_most: Floats
    servo_supply_linear: Floats
    servo_supply_v: Floats
    max_rpm: Floats
    max_rpm_stated: Floats
    diameter_in: Floats

    @property
    def mass_g(self) -> Floats:
        """The whole power train."""
        return self.motors_g + self.controllers_g + self.supply_g + self.propellers_g + self.pack_g

    @property
    def cells_least(self) -> Floats:
        """Fewest cells that motor and controller both allow."""
        return np.maximum(self.motor_cells_least, self.controller_cells_least)

    @property
    def cells_most(self) -> Floats:
        """Most cells that motor and controller both allow."""
        return np.minimum(self.motor_cells_most, self.controller_cells_most)

    def take(self, index: Any) -> "RatingLanes":
        """The lanes of an index array, slice or mask."""
        return RatingLanes(**{name: getattr(self, name)[index] for name in RATING_FIELDS})

    @property
    def motor(self) -> "Rating":
        """Motor current of one motor; without a stated limit estimated at the cell count flown."""
        estimate = estimated_current_a(self.motor_w, self.pack_nominal_v, self.motor_burst_a)
        stated = np.isfinite(self.motor_stated_a)
        return Rating(np.where(stated, self.motor_stated_a, estimate), self.motor_burst_a, self.motor_burst_s, ~stated)

    @property
    def motor_power(self) -> "Rating":
        """Input power of one motor; nobody states how much it bears for short."""
        return Rating.steady(self.motor_w, self.motor_w_stated)

    @property
    def controller(self) -> "Rating":
        """Motor current that one controller carries."""
        return Rating(
            self.controller_a, self.controller_burst_a, self.controller_burst_s, self.controller_estimated > 0
        )

    @property
    def pack(self) -> "Rating":
        """Pack current; the C label has no time beside its burst rating: 10 s, common practice."""
        seconds = np.full(self.usable_a.shape, BURST_SECONDS)
        return Rating(self.usable_a, self.burst_a, seconds, self.pack_estimated > 0)

    @property
    def propeller_rpm(self) -> "Rating":
        """Speed of the propeller."""
        return Rating.steady(self.max_rpm, self.max_rpm_stated)


@attrs.frozen(eq=False)
class Rating:
    """What N parts bear (N,): for long, for a burst (NaN: none) of so many seconds, and where it is an estimate."""

    continuous: Floats
    burst: Floats
    burst_seconds: Floats
    estimated: Flags

    @classmethod
    def steady(cls, continuous: Floats, stated: Floats) -> "Rating":
        """One without a burst; ``stated`` is above 0 where the part brings it."""
        nothing = np.full(continuous.shape, np.nan)
        return cls(continuous, nothing, nothing, np.isfinite(continuous) & ~(stated > 0))

    def limit(self, seconds: Any) -> Floats:
        """For a load of this length [s], (N,) or more; None where bursts do not serve."""
        if seconds is None:
            return self.continuous
        return np.where(np.isfinite(self.burst) & (seconds <= self.burst_seconds), self.burst, self.continuous)

    def bursts(self, seconds: Any) -> Flags:
        """Where a burst rating is what a load of this length is held against."""
        return np.asarray(self.limit(seconds) > self.continuous)

    def most(self, allow_burst: bool) -> Floats:
        """The highest that any load may be held against."""
        return np.fmax(self.continuous, self.burst) if allow_burst else self.continuous


RATING_FIELDS = tuple(a.name for a in attrs.fields(RatingLanes))


def _number(value: float | None, default: float = np.nan) -> float:
    return default if value is None else float(value)


def _row(train: PowerTrain, complete: Completed) -> dict[str, float]:
    motor, controller, pack, propeller = (
        complete(part)[0] for part in (train.motor, train.controller, train.pack, train.propeller)
    )
    ampere_hours = pack.capacity_mah * MAH_AH
    return {
        "motors_g": train.count * motor.mass_g,
        "controllers_g": train.count * controller.mass_g,
        "propellers_g": train.count * propeller.mass_g,
        "pack_g": pack.mass_g,
        "supply_g": train.supply_g,
        "supply_separate": float(train.separate_supply),
        "motor_stated_a": _number(train.motor.max_current_a),
        "motor_burst_a": _number(motor.burst_current_a),
        "motor_burst_s": _number(motor.burst_seconds, BURST_SECONDS),
        "motor_w": _number(motor.max_power_w),
        "motor_w_stated": float(train.motor.max_power_w is not None),
        "controller_a": controller.max_current_a,
        "controller_estimated": float(controller.max_current_estimated),
        "controller_burst_a": _number(controller.burst_current_a),
        "controller_burst_s": _number(controller.burst_seconds, BURST_SECONDS),
        "usable_a": usable_c(pack) * ampere_hours,
        "burst_a": burst_c(pack) * ampere_hours,
        "pack_nominal_v": nominal_v(pack),
        "pack_estimated": float(pack.c_rating_estimated),
        "motor_cells_least": _number(motor.cells_min, 0.0),
        "motor_cells_most": _number(motor.cells_max, np.inf),
        "controller_cells_least": _number(controller.cells_min, 0.0),
        "controller_cells_most": _number(controller.cells_max, np.inf),
        "servo_supply_linear": float(controller.servo_supply == "linear"),
        "servo_supply_v": controller.servo_supply_v,
        "max_rpm": _number(propeller.max_rpm),
        "max_rpm_stated": float(train.propeller.max_rpm is not None),
        "diameter_in": propeller.diameter_in,
    }


def rating_lanes(trains: Sequence[PowerTrain], complete: Completed | None = None) -> RatingLanes:
    """Ratings of power trains, estimates included (they are listed by ``train_lanes``); ``complete`` as there."""
    complete = complete or Completed()
    rows = [_row(train, complete) for train in trains]
    return RatingLanes(**{name: np.array([row[name] for row in rows], dtype=np.float64) for name in RATING_FIELDS})
