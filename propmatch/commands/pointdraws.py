"""What is asked of ``point``, and how sure the answer is: the same points solved in every draw of what is not exact."""

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np

from propmatch.checks.chances import Sureness, as_stated, interval, sureness
from propmatch.checks.setting import settings
from propmatch.columns import STATED, Range
from propmatch.commands.saying import nowhere
from propmatch.models.arrays import Floats
from propmatch.status import Status
from propmatch.tolerances.draws import DRAWS
from propmatch.train.coupling import OperatingPoint, hold_lanes, solve_lanes

if TYPE_CHECKING:
    from propmatch.records.parts import PowerTrain, TrainNumbers

__all__ = ["PointDraws", "Question"]

_MOST_LANES = 1 << 16
_LEAST_DRAWS = 64


@attrs.frozen(kw_only=True)
class Question:
    """What was asked for: lists of values, of which at most one has several.

    ``thrust_n`` is None where the throttle is given, and ``throttle`` where the thrust is. ``train_numbers`` are those
    that follow for the power train: cells as warm as the air.
    """

    throttle: list[float] | None
    thrust_n: list[float] | None
    airspeed_m_s: list[float]
    charge: list[float]
    air: Any
    train_numbers: "TrainNumbers"

    @property
    def swept(self) -> str:
        """Name of the quantity with several values; empty for one point."""
        names = ("throttle", "thrust_n", "airspeed_m_s", "charge")
        return next((name for name in names if len(getattr(self, name) or ()) > 1), "")

    @property
    def size(self) -> int:
        """How many points."""
        return len(getattr(self, self.swept)) if self.swept else 1

    def along(self, name: str) -> list[float]:
        """The values of a quantity at each point."""
        values: list[float] = getattr(self, name)
        return values if len(values) > 1 else values * self.size


@attrs.frozen(eq=False)
class PointDraws:
    """The points of a question in every draw, all in one batch; the more points, the fewer draws.

    Attributes
    ----------
    sure : Sureness, of the power train in no aircraft
    point : OperatingPoint, point by point
    count : how many points
    """

    sure: Sureness
    point: OperatingPoint
    count: int

    @classmethod
    def of(cls, train: "PowerTrain", question: Question, *, on_paper: bool = False) -> "PointDraws":
        """Solve them: 1,024 draws of up to 64 points, at least 64; on paper every number as it is stated, once."""
        count = question.size
        fits = 1 << max(_MOST_LANES // count, 1).bit_length() - 1
        here = attrs.evolve(settings(nowhere())[0], air=question.air)
        draws = min(DRAWS, max(_LEAST_DRAWS, fits))
        sure = as_stated(here, [train]).each[0] if on_paper else sureness(here, train, draws=draws)
        m = sure.measured
        draws = m.lanes.size
        every = np.tile(np.arange(draws), count)
        density = np.broadcast_to(m.setting.air.density_kg_m3, (draws,))[every]
        sound = np.full(every.size, m.setting.air.speed_of_sound_m_s)

        def along(name: str) -> Floats:
            return np.repeat(question.along(name), draws)

        solver, held = (solve_lanes, "throttle") if question.thrust_n is None else (hold_lanes, "thrust_n")
        first, airspeed = along(held), along("airspeed_m_s")
        numbers = (airspeed, first) if solver is solve_lanes else (first, airspeed)
        point = solver(m.lanes.take(every), *numbers, along("charge"), density, sound)
        return cls(sure=sure, point=point, count=count)

    def of_each(self, name: str) -> Floats:
        """A number of the operating point in all draws, (points, draws)."""
        return np.asarray(getattr(self.point, name)).reshape(self.count, -1)

    @cached_property
    def answered(self) -> Floats:
        """Share of draws in which each point exists (points,)."""
        return np.asarray((self.of_each("status") <= Status.OFF).mean(axis=1))

    def ranges(self, names: list[str]) -> list[dict[str, Range]]:
        """The range of each number, point by point."""
        return self.sure.drawn.ranges({name: self.of_each(name) for name in names})

    def said(self) -> dict[str, Floats]:
        """What the text says first, at the last point (draws,)."""
        return {"thrust": self.of_each("thrust_n")[-1], "current": self.of_each("pack_current_a")[-1]}

    @property
    def on_paper(self) -> bool:
        """Whether nothing was drawn."""
        return self.sure.drawn.on_paper

    def chance(self, name: str, limit: float) -> float:
        """Share of builds in which a load of :meth:`loads` at the first point is within a limit; NaN on paper."""
        return float("nan") if self.on_paper else float((self.loads()[name] <= limit).mean())

    def load_range(self, name: str) -> Range:
        """The range of such a load."""
        ends = interval(self.loads()[name])
        return STATED if self.on_paper else Range(ends.low, ends.high)

    def loads(self) -> Mapping[str, Floats]:
        """What the ratings of the parts are held against, at the first point (draws,)."""
        first: dict[str, Any] = {name: self.of_each(name)[0] for name in ("motor_current_a", "pack_current_a", "rpm")}
        first["motor_power_w"] = self.of_each("motor_voltage_v")[0] * first["motor_current_a"]
        return first
