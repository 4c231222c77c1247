"""Pieces of the search: tables, bounds, front, map, and how it says why."""

from functools import partial

import attrs
import numpy as np
import pytest
from support.random_cases import bursting_case, cold_case, every_lane, random_case
from support.trains import table_of

from propmatch.checks.measures import TrainMeasures
from propmatch.search.bounds import pruned
from propmatch.search.bounds import screen as screens
from propmatch.search.bounds.fullthrottle import TESTED, may_reach
from propmatch.search.bounds.lesser import lesser
from propmatch.search.bounds.pruned import COUNTED, Best, search
from propmatch.search.bounds.screen import AT_REST, Lanes, Screen
from propmatch.search.bounds.tables import PropellerTables
from propmatch.search.exhaustive import Interrupted, exhaustive, first_failures
from propmatch.search.front import front_of, may_lead_in_two, pareto, passing_map
from propmatch.search.keptrows import KeptRows
from propmatch.search.ranking import METRICS, Ranking, metric_value, ranking
from propmatch.search.shelf import Shelf

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


@pytest.mark.parametrize("seed", range(40))
def test_what_may_lead_in_time_and_thrust_is_what_no_other_surely_beats(seed):
    """Beside every pair: points that are known well, within bounds or not at all, many of the same thrust."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(0, 200))
    thrust = rng.uniform(0.2, 2.0, count) if seed % 2 else rng.integers(1, 6, count).astype(float)
    low = np.where(rng.random(count) < 0.2 * (seed % 5), -np.inf, rng.uniform(0.0, 30.0, count))
    high = np.maximum(low, 0.0) + rng.uniform(0.0, (0.0, 2.0, 20.0)[seed % 3], count)
    beaten = (thrust >= thrust[:, None]) & (low > high[:, None] * (1.0 + 1e-9))
    assert may_lead_in_two(low, high, thrust).tolist() == np.flatnonzero(~beaten.any(axis=1)).tolist()


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


SCALES = {"flight_time": 10.0, "thrust_to_weight": 0.7, "mass": 300.0, "top_speed": 15.0, "climb": 3.0, "margin": 1.0}
MIXES = (
    {"flight_time": 0.5, "climb": 0.3, "margin": 0.4},
    {"top_speed": 0.5, "mass": 0.2, "thrust_to_weight": 0.4},
    {"margin": 0.6, "mass": 0.4},
)


@pytest.mark.parametrize("weights", [*({metric: 1.0} for metric in METRICS), *MIXES], ids="+".join)
def test_the_best_are_those_of_judging_every_combination(weights):
    found = 0
    for seed in (2, 5, 6):
        setting, shelf = random_case(seed, (6, 3, 6, 6))
        order = Ranking(weights=weights, scales=SCALES)
        one, two = (how(setting, shelf, order, top=4) for how in (partial(search, count=False), exhaustive))
        np.testing.assert_array_equal(one.combination, two.combination)
        np.testing.assert_allclose(one.score, two.score, rtol=1e-12)
        found += len(two.combination)
    assert found > 6


@pytest.mark.parametrize(("case", "more"), [(random_case, (45, 53)), (bursting_case, (6, 19, 31)), (cold_case, ())])
def test_what_passes_and_what_is_left_out_are_counted_as_one_by_one(case, more):
    """Counted, and where nothing is: then nothing that passes is lost.

    In the last cases a phase is beyond a rating by little, nothing but the flight has a limit, or a later check surely
    fails where an earlier one is open.
    """
    passing = 0
    for seed in (*range(5), *more):
        setting, shelf = case(seed)
        plain = exhaustive(setting, shelf, ranking(setting), top=10**5)
        found = search(setting, shelf, ranking(setting), top=3, count=True)
        assert (found.passing, found.left_out) == (plain.passing, plain.left_out)
        screen, left = Screen(setting, shelf, counting=False), [np.empty((0, 4), dtype=np.intp)]
        for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
            lanes, bounds, _ = screen.block(drives)
            left.append(drives.combinations(lanes.drive, lanes.propeller))
            assert np.all(screen.verdicts(drives, lanes, bounds) >= 0), "nothing that surely fails is kept"
        assert set(map(tuple, plain.combination.tolist())) <= set(map(tuple, np.concatenate(left).tolist()))
        passing += plain.passing
    assert passing > 10


def test_full_throttle_at_rest_is_that_of_the_measures_also_where_torque_falls_with_speed():
    setting, shelf = random_case(3, (5, 3, 5, 4))
    falling = table_of(
        lambda _, j: 0.1 * (1 - j), lambda r, j: (0.2 * np.exp(-((r / 6000.0) ** 2)) + 1e-3) * (1.1 - j),
        rpm=np.linspace(1000, 16000, 16),
    )  # fmt: skip
    odd = attrs.evolve(shelf.propellers[0], id="odd", table=falling)
    shelf = Shelf.of(shelf.motors, shelf.controllers, shelf.packs, [*shelf.propellers, odd], **setting.train_numbers)
    assert shelf.lanes.stack.torque_falls.any()
    screen = Screen(setting, shelf, counting=False)
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = every_lane(drives, shelf)
        thrust, current = screen.at_rest(drives, lanes)
        measured = screen.measured(drives, lanes)
        np.testing.assert_allclose(thrust, measured.full(0.5).thrust_n, rtol=1e-9)
        np.testing.assert_allclose(current, measured.full(1.0).motor_current_a, rtol=1e-9)


def test_a_bound_that_may_be_tried_comes_down_to_the_value_in_five_halvings():
    """From four times it: a sixteenth of that is left, the first step being short, beside what a node of mass takes."""
    chosen = free(SETTING)
    rows = np.stack(np.meshgrid(*map(np.arange, SHELF.sizes), indexing="ij"), axis=-1).reshape(-1, 4)
    rows = rows[SHELF.cells_fit(*rows.T[:3])][::4]
    value = metric_value(TrainMeasures(chosen, *SHELF.combine(*rows.T)), "thrust_to_weight")
    rows, value = rows[value > 0.3], value[value > 0.3]
    best = Best(
        screen=Screen(chosen, SHELF, counting=False), top=1,
        ranking=Ranking(weights={"thrust_to_weight": 1.0}, scales={"thrust_to_weight": 1.0}),
    )  # fmt: skip
    best.score = np.array([0.2])
    high = np.zeros((len(rows), len(TESTED)))
    high[:, TESTED.index("thrust_to_weight")] = 4.0 * value
    nothing = np.zeros(len(rows))
    some = pruned._Some(combination=rows, lower=nothing, rest=nothing, shares=high, open=nothing > 0)
    told = best._tightened(some)
    assert told.size == len(rows) > 50
    assert np.all(told.upper >= value)
    assert np.all(told.upper <= 1.05 * value + 4.0 * value / 16.0)


def test_a_part_is_lesser_where_one_before_it_is_rated_no_lower_for_no_fewer_cells():
    shelf = random_case(3, (3, 2, 3, 3))[1]
    motor = attrs.evolve(shelf.motors[0], max_current_a=20.0, max_power_w=None, cells_min=2, cells_max=4)
    changes = ({}, {"cells_min": 1}, {"cells_min": 3}, {"cells_max": 5}, {"max_current_a": 19.0}, {"mass_g": 99.0})
    motors = [attrs.evolve(motor, id=f"m{at}", **change) for at, change in enumerate(changes)]
    whole = Shelf.of(motors, shelf.controllers, shelf.packs, shelf.propellers)
    assert lesser(whole, 1)["motor"].tolist() == [False, False, True, False, True, False]
    assert lesser(whole, 2)["motor"].tolist() == [False, False, True, False, True, False]
    assert not lesser(whole, 4)["motor"].any()


@pytest.mark.parametrize("metric", ["flight_time", "top_speed", "mass"])
def test_looking_near_the_best_out_of_turn_changes_no_answer(metric, monkeypatch):
    monkeypatch.setattr(pruned, "_WORTH_TRYING", 0)
    monkeypatch.setattr(pruned, "_SEED", 64)
    order, tried, near = Ranking(weights={metric: 1.0}, scales=SCALES), [], pruned._exchanged

    def watched(*given):
        for part in near(*given):
            tried.append(part)
            yield part

    monkeypatch.setattr(pruned, "_exchanged", watched)
    for seed in (2, 5):
        setting, shelf = random_case(seed, (8, 4, 9, 9))
        one, two = (how(setting, shelf, order, top=4) for how in (partial(search, count=False), exhaustive))
        np.testing.assert_array_equal(one.combination, two.combination)
    assert tried


@pytest.mark.parametrize("at", range(4))
def test_neighbours_of_rows_come_once_however_many_come_together(at, monkeypatch):
    """Against one row and one part after the other."""
    monkeypatch.setattr(pruned, "_POOL", 7)
    rows, others = np.random.default_rng(at).integers(0, 3, (12, 4)), np.array([0, 2, 5])
    one_by_one = {
        tuple(other if i == at else value for i, value in enumerate(row)) for row in rows.tolist() for other in others
    }
    parts = list(pruned._differing(rows, at, others))
    near = [tuple(row) for part in parts for row in part.tolist()]
    assert len(parts) > 1
    assert len(near) == len(one_by_one)
    assert set(near) == one_by_one
    assert not any(part.size for part in pruned._differing(rows, at, others[:0]))


def test_who_does_not_wait_gets_the_most_promising_of_what_was_looked_at(monkeypatch):
    """Bounds of a mass are the mass: the lightest of all that wait come first."""
    setting, shelf = random_case(2, (8, 4, 9, 9))
    order = Ranking(weights={"mass": 1.0}, scales=SCALES)
    monkeypatch.setattr(pruned, "_FIRST", 3)

    def stop(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(Best, "settle", stop)
    with pytest.raises(Interrupted) as told:
        search(setting, shelf, order, top=3, count=False)
    found, best = told.value.found, exhaustive(setting, shelf, order, top=3)
    assert len(found.combination)
    np.testing.assert_array_equal(found.combination, best.combination[: len(found.combination)])


@pytest.mark.parametrize("case", [random_case, bursting_case, cold_case])
def test_rows_that_are_kept_are_those_that_pass(case):
    passing = 0
    for seed in range(8):
        setting, shelf = case(seed)
        kept, every = KeptRows.of(setting, shelf), passing_map(setting, shelf, most=None)
        mine = set(map(tuple, every.combination[every.front].tolist()))
        if kept is not None:
            told = kept.map(setting)
            assert (told.total, set(map(tuple, told.combination[told.front].tolist()))) == (every.total, mine)
        if every.total > 6:
            some = passing_map(setting, shelf, most=6)
            marks = list(map(tuple, some.combination.tolist()))
            assert set(marks) <= set(map(tuple, every.combination.tolist()))
            assert set(map(tuple, some.combination[some.front].tolist())) == mine
            assert len(marks) == len(set(marks)) <= max(6, len(mine))
        passing += every.total
    assert passing > 10


@pytest.fixture
def computed(monkeypatch):
    """How many combinations the search has computed."""
    count = [0]

    class Counting(TrainMeasures):
        def __init__(self, setting, lanes, ratings):
            count[0] += lanes.size
            super().__init__(setting, lanes, ratings)

    for module in (pruned, screens):
        monkeypatch.setattr(module, "TrainMeasures", Counting)
    return count


@pytest.mark.parametrize(("counting", "most"), [(False, 0.05), (True, 0.12)])
def test_few_combinations_are_computed(counting, most, computed):
    """What the search is for, without a clock: bounds decide all but some hundredths of a catalogue."""
    all_of_them = 0
    for seed in range(6):
        setting, shelf = random_case(seed, (30, 6, 20, 20))
        search(setting, shelf, ranking(setting), top=20, count=counting)
        all_of_them += shelf.combinations
    assert 0 < computed[0] < most * all_of_them


@pytest.mark.parametrize(
    ("metric", "most"),
    [
        ("flight_time", 0.025), ("thrust_to_weight", 0.011), ("mass", 0.013), ("top_speed", 0.013), ("climb", 0.065),
        ("margin", 0.06),
    ],
)  # fmt: skip
def test_few_are_computed_whatever_counts(metric, most, computed):
    """Shares of two catalogues; this project's own measure with half as much again, no published source."""
    all_of_them = 0
    for seed in (2, 5):
        setting, shelf = random_case(seed, (20, 5, 14, 14))
        search(setting, shelf, Ranking(weights={metric: 1.0}, scales=SCALES), top=5, count=False)
        all_of_them += shelf.combinations
    assert 0 < computed[0] < most * all_of_them


@pytest.mark.parametrize(("most", "parts"), [(1, 12), (4, 3), (7, 3), (12, 1), (99, 1)])
def test_lanes_in_parts_are_all_of_them_and_no_more_at_a_time_than_asked_for(most, parts):
    """A list by number; a grid of all propellers by whole drives, one at least."""
    listed = Lanes(propeller=np.arange(12) % 5, drive=np.arange(12) // 5)
    each = list(listed.parts(most))
    assert len(each) == -(-12 // most)
    assert max(part.size for part in each) == min(most, 12)
    np.testing.assert_array_equal(np.concatenate([part.propeller for part in each]), listed.propeller)
    grid = list(Lanes.every(3, 4).parts(most))
    assert len(grid) == min(parts, 3)
    assert all(part.propeller.shape == (1, 4) for part in grid)
    np.testing.assert_array_equal(np.concatenate([part.drive for part in grid]), np.arange(3)[:, None])


@pytest.mark.parametrize("seed", range(8))
def test_what_is_sound_at_any_mass_keeps_the_voltages_at_rest_and_loses_nothing_that_passes(seed):
    setting, shelf = (random_case, cold_case)[seed % 2](seed)
    screen = Screen(setting, shelf, counting=False)
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        every = every_lane(drives, shelf)
        lanes, _ = screen.sound(drives)
        kept = set(zip(lanes.drive.tolist(), lanes.propeller.tolist(), strict=True))
        measured = screen.measured(drives, every)
        if lanes.size:
            sound = screen.measured(drives, lanes)
            assert all(sound.passes(name).all() for name in AT_REST)
        good = every.take(first_failures(measured)[1])
        assert set(zip(good.drive.tolist(), good.propeller.tolist(), strict=True)) <= kept
