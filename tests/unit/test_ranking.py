"""Preferences as one score."""

import attrs
import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.brief import Prefer
from propmatch.checks.judged import smallest_margins
from propmatch.checks.limits import checks_of, closest_limit
from propmatch.checks.measures import TrainMeasures
from propmatch.search.ranking import METRICS, Ranking, metric_value, ranking

SETTING, SHELF = random_case(21, (4, 2, 4, 4))


def measured(count=30):
    rng = np.random.default_rng(0)
    return TrainMeasures(SETTING, *SHELF.combine(*(rng.integers(0, n, count) for n in SHELF.sizes)))


def test_a_score_is_the_weighted_mean_of_values_over_their_scales():
    order = Ranking(weights={"flight_time": 3.0, "mass": 1.0}, scales={"flight_time": 10.0, "mass": 400.0})
    assert order.score({"flight_time": 20.0, "mass": 500.0}) == pytest.approx((3 * 2.0 + 1 * 0.8) / 4)
    assert order.single is None
    assert Ranking(weights={"mass": 2.0}, scales={"mass": 400.0}).single == "mass"


def test_lighter_is_better_and_everything_else_the_more_the_better():
    for metric in METRICS:
        order = Ranking(weights={metric: 1.0}, scales=dict.fromkeys(METRICS, 5.0))
        more, less = order.score({metric: 2.0}), order.score({metric: 1.0})
        assert (more < less) if metric == "mass" else (more > less)


def test_no_answer_is_worst():
    trains = measured()
    order = Ranking(weights={"top_speed": 1.0}, scales={"top_speed": 15.0})
    score = order.of(trains)
    np.testing.assert_array_equal(np.isneginf(score), np.isnan(metric_value(trains, "top_speed")))


def test_scales_are_the_limits_of_the_brief_where_it_states_them():
    limits = attrs.evolve(SETTING.brief.limits, min_flight_minutes=12.0, min_thrust_to_weight=0.9, min_climb_m_s=2.5)
    brief = attrs.evolve(SETTING.brief, limits=limits, prefer=Prefer(climb=2.0))
    order = ranking(attrs.evolve(SETTING, brief=brief))
    assert order.weights == {"climb": 2.0}
    assert (order.scales["flight_time"], order.scales["thrust_to_weight"], order.scales["climb"]) == (12.0, 0.9, 2.5)


def test_the_margin_of_lanes_is_the_smallest_margin_of_their_checks():
    trains = measured(12)
    lanes = smallest_margins(trains)
    for margin, checks in zip(lanes, checks_of(trains), strict=True):
        nearest = closest_limit([c for c in checks if np.isfinite(c.margin)])
        assert margin == pytest.approx(1.0 if nearest is None else nearest.margin)
