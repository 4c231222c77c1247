"""What makes one combination better than another: the brief's preferences as one score."""

from typing import Any

import attrs
import numpy as np

from propmatch.checks.judged import smallest_margins
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.models.arrays import Floats

__all__ = ["METRICS", "Ranking", "ranking"]


METRICS = ("flight_time", "thrust_to_weight", "mass", "top_speed", "climb", "margin")
_MINUTES, _THRUST_TO_WEIGHT, _SPEED_M_S, _CLIMB_M_S = 10.0, 0.7, 15.0, 3.0
_BARE_SHARE = 0.65


@attrs.frozen(kw_only=True)
class Ranking:
    """Weights and scales: score = sum w_i value_i/scale_i over sum w_i; for mass scale/value.

    Attributes
    ----------
    weights : dict of the metrics that count, each above 0
    scales : dict, what counts as 1 for each metric: the brief's own limit where it states one
    """

    weights: dict[str, float]
    scales: dict[str, float]

    @property
    def single(self) -> str | None:
        """The metric, when only one counts."""
        return next(iter(self.weights)) if len(self.weights) == 1 else None

    def part(self, metric: str, value: Any) -> Any:
        """One metric's share of the score for a value (or a bound of it)."""
        scale = self.scales[metric]
        return scale / value if metric == "mass" else value / scale

    def score(self, values: dict[str, Any]) -> Any:
        """Score from the values of the weighted metrics; arrays or floats."""
        total = sum(self.weights.values())
        return sum(weight * self.part(metric, values[metric]) for metric, weight in self.weights.items()) / total

    def of(self, measured: TrainMeasures) -> Floats:
        """Score of each lane; NaN counts as worst."""
        score = self.score({metric: metric_value(measured, metric) for metric in self.weights})
        return np.where(np.isnan(score), -np.inf, score)


def metric_value(measured: TrainMeasures, metric: str) -> Floats:
    """A metric of each lane: minutes, thrust over weight, all-up grams, m/s, m/s, smallest judged margin."""
    if metric == "flight_time":
        return measured["flight_time"].value
    if metric == "thrust_to_weight":
        return measured["thrust_to_weight"].value
    if metric == "mass":
        return measured["all_up_mass"].value
    if metric == "top_speed":
        return measured.top_speed_m_s
    if metric == "climb":
        return np.asarray(measured.climb.climb_m_s)
    return smallest_margins(measured)


def ranking(setting: Setting) -> Ranking:
    """The ranking a brief asks for."""
    limits, aircraft = setting.brief.limits, setting.variant
    speeds = [p.airspeed_m_s for p in setting.phases if p.airspeed_m_s]
    return Ranking(
        weights=dict(setting.brief.prefer.weights),
        scales={
            "flight_time": limits.min_flight_minutes or _MINUTES,
            "thrust_to_weight": limits.min_thrust_to_weight or _THRUST_TO_WEIGHT,
            "mass": aircraft.target_mass_g or aircraft.airframe.bare_mass_g / _BARE_SHARE,
            "top_speed": max(speeds, default=_SPEED_M_S),
            "climb": limits.min_climb_m_s or _CLIMB_M_S,
            "margin": 1.0,
        },
    )
