"""Pieces of the search: tables, bounds, front, map, and how it says why."""

import attrs
import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.checks.measures import TrainMeasures
from propmatch.search.bounds import pruned
from propmatch.search.bounds import screen as screens
from propmatch.search.bounds.fullthrottle import may_reach
from propmatch.search.bounds.pruned import COUNTED, search
from propmatch.search.bounds.screen import Screen
from propmatch.search.bounds.tables import PropellerTables
from propmatch.search.exhaustive import exhaustive
from propmatch.search.front import front_of, pareto, passing_map
from propmatch.search.ranking import Ranking, metric_value, ranking

SETTING, SHELF = random_case(3, (6, 3, 7, 7))


def free(setting):
    """Without any limit of the brief."""
    limits = type(setting.brief.limits)(reserve_charge=0.2, cutoff_cell_v=3.0)
    return attrs.evolve(setting, brief=attrs.evolve(setting.brief, limits=limits), stated=setting.stated)


def test_small_catalogues_are_counted_unasked_and_large_ones_on_demand():
    order = ranking(SETTING)
    assert SHELF.combinations < COUNTED
    assert search(SETTING, SHELF, order).passing is not None
    assert search(SETTING, SHELF, order, count=False).passing is None


def test_tables_made_for_all_packs_serve_some():
    whole = PropellerTables(SETTING, SHELF)
    some = SHELF.with_packs(np.array([5, 0, 2]))
    order = ranking(SETTING)
    one, two = search(SETTING, some, order, tables=whole), exhaustive(SETTING, some, order)
    np.testing.assert_array_equal(one.combination, two.combination)
    assert one.left_out == two.left_out


def test_static_torque_lies_between_the_ends_of_its_cell():
    tables = PropellerTables(SETTING, SHELF)
    rng = np.random.default_rng(0)
    p = rng.integers(0, len(SHELF.propellers), 2000)
    u = np.exp(rng.uniform(2.0, 8.5, p.size))
    torque, cell = tables.curves.torque(p, u), tables.curves.cell_of(u)
    regular = tables.regular[p]
    assert regular.any()
    assert np.all((tables.curves.torque_low[cell, p] <= torque * (1 + 1e-9))[regular])
    assert np.all((tables.curves.torque_high[cell, p] >= torque * (1 - 1e-9))[regular])


@pytest.mark.parametrize("metric", ["thrust_to_weight", "top_speed"])
def test_what_cannot_reach_a_value_does_not(metric):
    chosen = free(SETTING)
    screen = Screen(chosen, SHELF, counting=False)
    rng = np.random.default_rng(4)
    rows = np.column_stack([rng.integers(0, n, 400) for n in SHELF.sizes])
    measured = TrainMeasures(chosen, *SHELF.combine(*rows.T))
    value = np.nan_to_num(metric_value(measured, metric))
    assert np.all(may_reach(screen.tables, SHELF, rows, metric, value))
    above = may_reach(screen.tables, SHELF, rows, metric, 1.2 * value + 0.5)
    assert not above.all()


def test_front_is_what_no_other_beats():
    rng = np.random.default_rng(5)
    minutes, thrust, mass = rng.integers(0, 12, (3, 400)).astype(float)
    best = pareto(minutes, thrust, mass)
    for i in range(minutes.size):
        as_good = (minutes >= minutes[i]) & (thrust >= thrust[i]) & (mass <= mass[i])
        better = as_good & ((minutes > minutes[i]) | (thrust > thrust[i]) | (mass < mass[i]))
        assert best[i] == (not better.any())


@pytest.mark.slow
def test_front_of_a_shelf_and_its_map_agree_with_every_combination():
    seen = 0
    for seed in range(40):
        setting, shelf = random_case(seed)
        every = passing_map(setting, shelf, most=None)
        found = exhaustive(setting, shelf, ranking(setting), top=10**6)
        assert set(map(tuple, every.combination.tolist())) == set(map(tuple, found.combination.tolist()))
        front = front_of(setting, shelf)
        assert front.total == every.total == found.passing
        mine = set(map(tuple, every.combination[every.front].tolist()))
        assert set(map(tuple, front.combination.tolist())) == mine
        some = passing_map(setting, shelf, most=5)
        assert mine <= set(map(tuple, some.combination.tolist()))
        assert len(some.combination) <= max(5, len(mine))
        seen += len(mine)
    assert seen > 50


def test_a_metric_that_nobody_reaches_still_ranks():
    # a brief that lets everything through ranks what has no top speed last, with the rest in order
    setting, shelf = random_case(8, (4, 2, 4, 4))
    order = Ranking(weights={"top_speed": 1.0}, scales={"top_speed": 15.0})
    for count in (True, False):
        one = search(free(setting), shelf, order, top=500, count=count)
        two = exhaustive(free(setting), shelf, order, top=500)
        np.testing.assert_array_equal(one.combination, two.combination)


@pytest.mark.parametrize(("counting", "most"), [(False, 0.05), (True, 0.12)])
def test_few_combinations_are_computed(counting, most, monkeypatch):
    """What the search is for, without a clock: bounds decide all but some hundredths of a catalogue."""
    computed, all_of_them = 0, 0

    class Counting(TrainMeasures):
        def __init__(self, setting, lanes, ratings):
            nonlocal computed
            computed += lanes.size
            super().__init__(setting, lanes, ratings)

    for module in (pruned, screens):
        monkeypatch.setattr(module, "TrainMeasures", Counting)
    for seed in range(6):
        setting, shelf = random_case(seed, (30, 6, 20, 20))
        search(setting, shelf, ranking(setting), top=20, count=counting)
        all_of_them += shelf.combinations
    assert 0 < computed < most * all_of_them
