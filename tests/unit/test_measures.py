"""Values beside their limits, for many trains at once."""

import attrs
import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.limits import Design, run_checks
from propmatch.checks.measures import Measure, TrainMeasures
from propmatch.checks.setting import ResolvedBrief, balance_miss_mm, settings

CASES = [random_case(seed, (4, 2, 4, 4)) for seed in (2, 5, 9)]


def some(shelf, count=8, seed=0):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.integers(0, n, count) for n in shelf.sizes])


@pytest.mark.parametrize("case", range(len(CASES)))
def test_many_at_once_are_each_alone(case):
    chosen, shelf = CASES[case]
    rows = some(shelf)
    together = TrainMeasures(chosen, *shelf.combine(*rows.T))
    for lane, row in enumerate(rows):
        design = Design.of(shelf.train(*row), chosen.variant)
        for check in run_checks(design, chosen.stated):
            measure = together[check.name]
            np.testing.assert_allclose(measure.value[lane], check.value, rtol=1e-9, atol=1e-12, err_msg=check.name)
            np.testing.assert_allclose(measure.limit[lane], check.limit, rtol=1e-12, err_msg=check.name)


def test_taking_lanes_changes_nothing():
    chosen, shelf = CASES[0]
    whole = TrainMeasures(chosen, *shelf.combine(*some(shelf).T))
    part = whole.take(np.array([5, 2]))
    for name in CHECKS:
        np.testing.assert_array_equal(part[name].value, whole[name].value[[5, 2]])


def test_top_speed_and_climb_are_the_same_asked_for_together_or_alone():
    chosen, shelf = CASES[0]
    together, alone = (TrainMeasures(chosen, *shelf.combine(*some(shelf).T)) for _ in range(2))
    top = together.top
    assert np.isfinite(top.top_speed_m_s).any()
    np.testing.assert_allclose(top.top_speed_m_s, alone.top_speed_m_s, rtol=1e-9)
    np.testing.assert_allclose(top.climb_m_s, alone.climb.climb_m_s, rtol=1e-9)


def test_a_check_without_limit_passes_and_no_answer_does_not():
    upper, lower = CHECKS["motor_power"], CHECKS["flight_time"]
    nan = np.array([np.nan])
    one = np.array([1.0])
    assert Measure(value=nan, limit=nan, judged=True).passes(upper)[0]
    assert not Measure(value=nan, limit=one, judged=True).passes(upper)[0]
    assert Measure(value=one, limit=one, judged=True).passes(lower)[0]
    assert Measure(value=2.0 * one, limit=one, judged=False).passes(upper)[0]


def test_limits_that_the_brief_leaves_out():
    chosen, shelf = CASES[0]
    limits = type(chosen.brief.limits)(reserve_charge=0.2, cutoff_cell_v=3.3)
    free = attrs.evolve(chosen, brief=attrs.evolve(chosen.brief, limits=limits))
    trains = TrainMeasures(free, *shelf.combine(*some(shelf, 2).T))
    for name in ("propeller_diameter", "wing_loading", "thrust_to_weight", "hand_launch", "climb", "flight_time"):
        assert not trains.has_limit(name)
    assert trains.has_limit("motor_current_static")


def test_full_throttle_seconds_are_the_longest_stretch_or_unknown():
    chosen, _ = CASES[0]
    phase = type(chosen.phases[0])
    first, second = phase(name="a", throttle=1.0, seconds=20.0), phase(name="b", throttle=0.97, seconds=35.0)
    calm, glide = phase(name="c", throttle=0.5, share=1.0), phase(name="d", throttle=0.0, seconds=60.0)
    cases = (
        ((first, second, calm), 55.0),  # on end
        ((first, glide, second, calm), 35.0),
        ((first, calm, second), 35.0),  # the shares lie between
        ((first, glide, second), 55.0),  # no shares: the list repeats, so the last meets the first
        ((first, second), None),  # for ever
        ((first, phase(name="e", throttle=1.0, share=1.0)), None),
        ((calm,), None),
    )
    for phases, seconds in cases:
        assert attrs.evolve(chosen, brief=attrs.evolve(chosen.brief, phase=phases)).full_throttle_seconds == seconds


def test_the_settings_of_a_brief_are_its_variants():
    chosen = next(s for s, _ in (random_case(seed) for seed in range(60)) if s.stated.variant)
    both = settings(chosen.stated)
    assert [s.variant.name for s in both] == ["as designed", "heavier"]
    assert both[1].variant.airframe.bare_mass_g == pytest.approx(1.15 * both[0].variant.airframe.bare_mass_g)
    assert ResolvedBrief.of(chosen.stated).as_designed.variant.name == "as designed"


def test_no_balance_without_geometry():
    chosen, _ = CASES[0]
    bare = attrs.evolve(chosen, geometry=None, build=None)
    one = np.ones(2)
    miss, limit = balance_miss_mm(bare, motors_g=one, propellers_g=one, controllers_g=one, supply_g=one, pack_g=one)
    assert np.all(np.isnan(miss))
    assert np.all(np.isnan(limit))
