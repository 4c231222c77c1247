"""The pruned search finds what judging every combination finds; its bounds bound what the models compute."""

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.compared import compare
from support.random_cases import bursting_case, cold_case, random_case
from support.written import brief_keys, stated_keys, written_brief

from propmatch.brief import Limits, Phase
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import settings
from propmatch.records.fields import replace
from propmatch.search.bounds import pruned
from propmatch.search.bounds.pruned import Best, search
from propmatch.search.bounds.scores import lane_bounds, pair_bound
from propmatch.search.bounds.screen import Screen
from propmatch.search.exhaustive import Interrupted, exhaustive
from propmatch.search.ranking import METRICS, Ranking, metric_value, ranking

GROUPS, EACH = 5, 30
seeds = st.integers(10_000, 10_000_000)
pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("error")]


def same(one, other):
    return np.array_equal(one.combination, other.combination) and np.array_equal(one.score, other.score)


def close(one, other):
    return np.array_equal(one.combination, other.combination) and np.allclose(one.score, other.score, rtol=1e-13)


def single(metric):
    scales = {"flight_time": 10.0, "thrust_to_weight": 0.7, "mass": 300.0, "top_speed": 15.0, "climb": 3.0, "margin": 1}
    return Ranking(weights={metric: 1.0}, scales=scales)


def test_every_key_of_a_brief_is_drawn():
    missing, seed = brief_keys(), 0
    while missing and seed < 1000:
        missing -= stated_keys(written_brief(np.random.default_rng(seed)))
        seed += 1
    assert not missing


@pytest.mark.parametrize("group", range(GROUPS))
def test_equals_judging_every_combination(group):
    # benchmarks/exact.py compares as many more as wanted
    each = {seed: compare(seed) for seed in range(group * EACH, (group + 1) * EACH)}
    assert {seed: found.differences for seed, found in each.items() if found.differences} == {}
    assert any(found.combinations for found in each.values())


def test_equals_judging_every_combination_with_the_chances_asked_for():
    found = [compare(seed, with_chances=True) for seed in (3, 28, 44, 59)]
    assert [each.differences for each in found] == [()] * len(found)
    assert any(each.passing for each in found)


@pytest.mark.parametrize("seed", [5392])
def test_equals_judging_every_combination_where_it_once_did_not(seed):
    assert compare(seed).differences == ()


def agree(cases):
    """Both searches on some cases: the checks that leave something out, and how many pass."""
    left, passing = {}, 0
    for number, (setting, shelf) in enumerate(cases):
        order = ranking(setting)
        plain = exhaustive(setting, shelf, order, top=12)
        counted = search(setting, shelf, order, top=12)
        # a list that repeats is flown with the lanes beside it: the last bit of its minutes may differ
        assert close(plain, counted), number
        assert (counted.passing, counted.left_out) == (plain.passing, plain.left_out), number
        assert close(plain, search(setting, shelf, order, top=12, count=False)), number
        left |= plain.left_out
        passing += plain.passing
    assert passing > 100
    return left


def test_equals_judging_every_combination_where_bursts_are_allowed():
    left = agree(map(bursting_case, range(20)))
    assert {"motor_current_phase", "motor_current_static", "controller_current"} <= set(left)


def test_equals_judging_every_combination_on_cold_mornings():
    assert "first_minute" in agree(map(cold_case, range(20)))


def test_equals_judging_every_combination_where_rounds_end_by_time_and_by_height():
    rounds = (
        Phase(name="up", throttle=1.0, seconds=60.0),
        Phase(name="along", throttle=0.0, seconds=40.0),
        Phase(name="down", throttle=0.0, to_height_m=2.0),
    )

    def case(seed):
        setting, shelf = random_case(seed)
        return settings(replace(setting.stated, phase=rounds))[-1], shelf

    agree(map(case, range(20)))


def test_equals_judging_every_combination_where_a_landing_follows_the_shares():
    def case(seed):
        setting, shelf = random_case(seed)
        rng = np.random.default_rng(seed)
        share = Phase(name="cruise", airspeed_m_s=float(rng.uniform(8.0, 16.0)), share=1.0)
        if rng.random() < 0.3:
            share = Phase(name="part throttle", throttle=float(rng.uniform(0.3, 0.9)), share=1.0)
        landing = Phase(name="landing", airspeed_m_s=float(rng.uniform(8.0, 30.0)), seconds=60.0)
        brief = replace(setting.stated, phase=(share, landing), limits=Limits(reserve_charge=0.2))
        return settings(brief)[-1], shelf

    assert "pack_sustained" in agree(map(case, range(20)))


def test_the_random_cases_are_worth_comparing():
    # enough of them let something pass, and every excluding check leaves something out somewhere
    cases = [random_case(seed) for seed in range(220)]
    found = [search(setting, shelf, ranking(setting), top=3) for setting, shelf in cases]
    assert sum(f.passing > 0 for f in found) > len(found) / 4
    left = set().union(*(f.left_out for f in found))
    assert {"all_up_mass", "motor_current_static", "motor_current_flight", "motor_power", "controller_current",
            "pack_burst", "propeller_rpm", "thrust_to_weight", "climb", "cell_voltage", "pack_sustained",
            "servo_supply_voltage", "flight_time", "propeller_clearance", "hand_launch_height",
            "takeoff_run"} <= left  # fmt: skip


@given(seed=seeds, metric=st.sampled_from(METRICS), top=st.integers(1, 40))
def test_every_metric_alone_and_any_number_of_rows(seed, metric, top):
    setting, shelf = random_case(seed)
    order = single(metric)
    plain = exhaustive(setting, shelf, order, top=top)
    assert same(plain, search(setting, shelf, order, top=top))
    assert same(plain, search(setting, shelf, order, top=top, count=False))


@given(seed=seeds, metric=st.sampled_from(METRICS), top=st.integers(1, 40))
def test_neighbours_of_the_best_that_are_looked_at_out_of_turn_stand_once_and_change_nothing(seed, metric, top):
    setting, shelf = random_case(seed)
    order = single(metric)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pruned, "_WORTH_TRYING", 0)
        patch.setattr(pruned, "_SEED", 1)
        found = search(setting, shelf, order, top=top, count=False)
    assert same(exhaustive(setting, shelf, order, top=top), found)


@given(seed=seeds)
def test_bounds_hold_for_everything_that_passes(seed):
    setting, shelf = random_case(seed)
    screen = Screen(setting, shelf, counting=True)
    propellers = np.arange(len(shelf.propellers))
    packs = np.arange(len(shelf.packs))
    pairs = {m: pair_bound(screen, single(m), packs, propellers) for m in METRICS}
    for drives in screen.drives(packs, 10**6):
        lanes, flight, open_ = screen.block(drives)
        rows = drives.combinations(lanes.drive, lanes.propeller)
        if not len(rows):
            continue
        measured = TrainMeasures(setting, *shelf.combine(*rows.T))
        minutes = np.nan_to_num(measured.flight.minutes)
        assert np.all(minutes <= flight.minutes_high)
        assert np.all(minutes >= flight.minutes_low)
        flown = measured.flight
        for each, low, high in (
            (flown.phase_current_a, flight.current_low_a, flight.current_high_a),
            (flown.phase_motor_current_a, flight.motor_low_a, flight.motor_high_a),
        ):
            current = np.fmax.reduce(each)
            known = np.isfinite(current)
            assert np.all((current <= high)[known])
            assert np.all((current >= low)[known])
        sure = ~open_
        for metric in METRICS:
            order = single(metric)
            lower, rest, shares = lane_bounds(screen, order, drives, lanes, flight)
            upper = rest + shares.sum(axis=1)
            score = order.of(measured)
            assert np.all(score[sure] <= upper[sure] + 1e-9), metric
            assert np.all(score[sure] >= lower[sure] - 1e-9), metric
            pair = pairs[metric][rows[:, 2], rows[:, 3]]
            assert np.all(score[sure] <= pair[sure] + 1e-9), metric
            value = metric_value(measured, metric)
            assert value.shape == score.shape


@given(seed=st.integers(0, 400), order_seed=st.integers(0, 1000))
def test_the_order_of_the_catalogue_does_not_matter(seed, order_seed):
    setting, shelf = random_case(seed)
    rng = np.random.default_rng(order_seed)
    kinds = ("motors", "controllers", "packs", "propellers")
    moved = [rng.permutation(len(getattr(shelf, kind))) for kind in kinds]
    other = type(shelf).of(
        *([getattr(shelf, kind)[i] for i in order] for kind, order in zip(kinds, moved, strict=True)),
        **shelf.like.numbers,
    )  # fmt: skip
    order = ranking(setting)
    one, two = search(setting, shelf, order, top=500), search(setting, other, order, top=500)
    assert one.passing == two.passing
    assert one.left_out == two.left_out
    np.testing.assert_allclose(one.score, two.score, rtol=1e-12)
    if one.passing <= 500:
        back = np.column_stack([order[two.combination[:, i]] for i, order in enumerate(moved)])
        assert set(map(tuple, back.tolist())) == set(map(tuple, one.combination.tolist()))


def test_equal_scores_stand_by_mass_then_by_place():
    setting, shelf = random_case(3, (2, 2, 3, 3))
    doubled = type(shelf).of(
        shelf.motors * 2, shelf.controllers, shelf.packs, shelf.propellers * 2,
        **shelf.like.numbers,
    )  # fmt: skip
    free = attrs.evolve(setting, brief=attrs.evolve(setting.brief, limits=type(setting.brief.limits)(
        reserve_charge=0.2, cutoff_cell_v=3.0)))  # fmt: skip
    for metric in ("mass", "flight_time", "thrust_to_weight"):
        order = single(metric)
        for top in (1, 3, 8):
            assert same(exhaustive(free, doubled, order, top=top), search(free, doubled, order, top=top))


@pytest.mark.parametrize("seed", range(6))
def test_parts_for_which_enough_others_stand_are_set_aside_and_missed_in_no_row(seed):
    setting, shelf = random_case((3, 8, 9, 12, 21, 30)[seed], (3, 2, 4, 4))
    rng, kinds = np.random.default_rng(seed), {}
    for kind, parts in shelf.kinds.items():
        twins = [part for part in parts for _ in range(3)]
        kinds[kind] = [twins[i] for i in rng.permutation(len(twins))]
    for at, motor in enumerate(kinds["motor"]):
        if motor.max_current_a is not None and rng.random() < 0.5:
            kinds["motor"][at] = replace(motor, max_current_a=motor.max_current_a * float(rng.uniform(0.7, 1.3)))
    many = type(shelf).of(*kinds.values(), **shelf.like.numbers)
    for metric in ("flight_time", "mass", "margin"):
        for top in (1, 2):
            found = search(setting, many, single(metric), top=top, count=False)
            assert same(exhaustive(setting, many, single(metric), top=top), found)
            if found.combination.size:
                assert found.set_aside["pack"] == (3 - top) * 4
                assert found.set_aside["propeller"] == (3 - top) * 4


def test_an_interruption_brings_the_best_so_far():
    setting, shelf = random_case(9, (6, 3, 6, 6))
    order = single("mass")

    def stop(done, total):
        raise KeyboardInterrupt

    with pytest.raises(Interrupted) as caught:
        search(setting, shelf, order, top=5, progress=stop)
    found = caught.value.found
    assert 0 < len(found.combination) <= 5
    rows = set(map(tuple, found.combination.tolist()))
    every = search(setting, shelf, order, top=10**6)
    assert rows <= set(map(tuple, every.combination.tolist()))


@pytest.mark.parametrize("count", [False, True])
def test_nothing_that_was_not_looked_at_exceeds_the_bound_of_a_search_that_did_not_end(monkeypatch, count):
    monkeypatch.setattr(pruned, "_SEED", 16)  # small steps
    monkeypatch.setattr(pruned, "_BLOCK", 40)
    told = 0
    for seed, metric in ((9, "mass"), (3, "mass"), (12, "thrust_to_weight"), (21, "flight_time")):
        setting, shelf = random_case(seed, (4, 2, 6, 6))
        plain = exhaustive(setting, shelf, single(metric), top=10**6)
        for steps in (1, 2, 4):
            calls = []

            def stop(done, total, calls=calls, steps=steps):
                calls.append(done)
                if len(calls) == steps:
                    raise KeyboardInterrupt

            try:
                found = search(setting, shelf, single(metric), top=2, progress=stop, count=count)
                assert found.bound is None
                continue
            except Interrupted as caught:
                found = caught.found
            shown = set(map(tuple, found.combination.tolist()))
            worst = found.score[-1] if found.score.size == 2 else -np.inf
            others = [score for row, score in zip(plain.combination.tolist(), plain.score, strict=True)
                      if tuple(row) not in shown and score > worst]  # fmt: skip
            assert all(score <= found.bound * (1.0 + 1e-9) for score in others)
            told += bool(others) and np.isfinite(found.bound)
    assert told > 0


@pytest.mark.parametrize("count", [False, True])
def test_an_interruption_while_the_pool_is_settled_shows_no_combination_twice(monkeypatch, count):
    setting, shelf = random_case(9, (6, 3, 6, 6))
    whole = search(setting, shelf, single("mass"), top=10**6)
    monkeypatch.setattr(pruned, "_FIRST", 2)
    for name in ("_tightened", "_compute"):
        inner, calls = getattr(Best, name), []

        def stops(self, *some, inner=inner, calls=calls):
            calls.append(None)
            if len(calls) == 2:
                raise KeyboardInterrupt
            return inner(self, *some)

        with monkeypatch.context() as patched:
            patched.setattr(Best, name, stops)
            with pytest.raises(Interrupted) as caught:
                search(setting, shelf, single("mass"), top=12, count=count)
        found = caught.value.found
        rows = [tuple(row) for row in found.combination.tolist()]
        assert len(calls) >= 2
        assert len(rows) > 2
        assert len(set(rows)) == len(rows)
        assert {*rows} <= {tuple(row) for row in whole.combination.tolist()}
        assert found.passing is None


def test_equals_judging_every_combination_where_a_share_that_sinks_comes_before_a_landing():
    def case(seed):
        setting, shelf = random_case(seed)
        rng = np.random.default_rng(seed)
        speed = float(rng.uniform(8.0, 14.0))
        away, home = (Phase(name=str(s), airspeed_m_s=speed, seconds=s) for s in (30.0, 300.0))
        sink = Phase(name="sink", throttle=float(rng.uniform(0.1, 0.4)), airspeed_m_s=speed, share=1.0)
        limits = Limits(reserve_charge=0.2, min_flight_minutes=float(rng.uniform(0.3, 1.5)))
        return settings(replace(setting.stated, phase=(away, sink, home), limits=limits))[-1], shelf

    assert "flight_time" in agree(map(case, range(40)))


def test_progress_runs_up_to_the_number_of_combinations():
    setting, shelf = random_case(7, (6, 3, 6, 6))
    seen = []
    found = search(setting, shelf, single("mass"), progress=lambda done, total: seen.append((done, total)))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1] == (found.combinations, found.combinations)
