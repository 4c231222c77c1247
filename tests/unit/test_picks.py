"""Picks that hold: against every combination judged by itself, what must hold, and what is said where nothing does."""

import itertools
from functools import cache

import attrs
import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import drawn, sureness
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import Brief, Variant
from propmatch.records.fields import replace
from propmatch.search.exhaustive import exhaustive, first_failures
from propmatch.search.matching import match
from propmatch.search.picks import FirstOrder, Linear, _Kept, holding, kind_of, tightened
from propmatch.search.practice import LARGE_CONTROLLER, practice_cost
from propmatch.search.ranking import ranking
from propmatch.tolerances.draws import normal_draws

SIZES = (3, 3, 4, 4)


def easier(setting, **limits):
    """The setting with some limits moved, so that more of a small catalogue passes."""
    brief = attrs.evolve(
        setting.brief, limits=attrs.evolve(setting.brief.limits, chance=0.8, rating_chance=0.9, **limits)
    )
    return attrs.evolve(setting, brief=brief)


def find(setting, shelf, order, top):
    return exhaustive(setting, shelf, order, top=top)


def every_pick(setting, shelf, order):
    """The best of each kind that holds, every combination judged by 1,024 draws of its own."""
    rows = np.array(list(itertools.product(*map(range, shelf.sizes))), dtype=np.intp)
    rows = rows[shelf.cells_fit(*rows[:, :3].T)]
    rows = rows[first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))[1]]
    best = {}
    for row in rows:
        sure = drawn(setting, [shelf.train(*row)]).each[0]
        if sure.chance_wishes >= 0.8 and sure.chance_ratings >= 0.9:
            low = float(np.quantile(order.of(sure.measured), 0.1))
            low *= 1.0 - practice_cost(TrainMeasures(setting, *shelf.combine(*row[:, None])))[0].share
            key = kind_of(shelf, row.tolist())
            best[key] = max(best.get(key, -np.inf), low)
    return rows, best


@cache
def case(number):
    """Small random cases in which something passes on paper, by number."""
    seen = 0
    for seed in range(400):
        setting, shelf = random_case(seed, SIZES)
        setting = easier(setting, min_flight_minutes=None)
        order = ranking(setting)
        found = exhaustive(setting, shelf, order, top=24)
        if found.passing and found.passing >= 8:
            seen += 1
            if seen > number:
                return setting, shelf, order, found
    raise AssertionError("too few cases")


@pytest.mark.parametrize("number", range(3))
def test_picks_are_the_best_of_all_that_hold(number):
    setting, shelf, order, found = case(number)
    picks = holding([setting], shelf, order, find, top=5, on_paper=found.combination)
    _, best = every_pick(setting, shelf, order)
    assert picks.hold is bool(best)
    if picks.hold:
        assert picks.rows[0].score_low == pytest.approx(max(best.values()), rel=0.02)
        scores = [pick.score_low for pick in picks.rows]
        assert scores == sorted(scores, reverse=True)
        kinds = [kind_of(shelf, pick.combination) for pick in picks.rows]
        assert len(set(kinds)) == len(kinds), "one row of each kind"
        for pick in picks.rows:
            assert pick.chance_wishes >= 0.8
            assert pick.chance_ratings >= 0.9
            again = sureness(setting, shelf.train(*pick.combination), draws=4096, seed=99)
            assert pick.chance_all == pytest.approx(again.chance_all_limits, abs=0.03)


def test_moved_limits_leave_out_nothing_that_holds_by_itself():
    setting, shelf, _, _ = case(0)
    tight = tightened(setting, shelf, {})[1]
    for target in (None, 400.0):
        some = attrs.evolve(setting, variant=attrs.evolve(setting.variant, target_mass_g=target))
        less = tightened(some, shelf, {})[0].variant.target_mass_g
        assert less is None if target is None else 300.0 < less < 400.0
        lighter_g = 0.0 if target is None else target - less
    loaded = attrs.evolve(
        some, brief=replace(some.brief, limits=replace(some.brief.limits, max_wing_loading_g_dm2=50.0))
    )
    less = tightened(loaded, shelf, {})[0].brief.limits.max_wing_loading_g_dm2
    assert 50.0 - less == pytest.approx(lighter_g / setting.variant.airframe.wing_area_dm2)
    assert np.array_equal(tight.ratings.controller_a, shelf.ratings.controller_a), "no spread moves no rating"
    harder = tightened(setting, shelf, {"controller_current": 0.2, "motor_power": 0.1})[1]
    assert np.allclose(harder.ratings.controller_a, shelf.ratings.controller_a * np.exp(-1.2815515655 * 0.2))
    assert np.allclose(harder.ratings.motor_w, shelf.ratings.motor_w * np.exp(-1.2815515655 * 0.1), equal_nan=True)


@pytest.mark.parametrize(("family", "told"), [("thin", "thin"), (None, "3 blades")])
def test_a_kind_is_motor_pack_and_family_or_number_of_blades(family, told):
    _, shelf, _, _ = case(0)
    propeller = attrs.evolve(shelf.propellers[0], family=family, blades=3)
    some = attrs.evolve(shelf, propellers=(propeller,))
    assert kind_of(some, (2, 1, 3, 0)) == (2, 3, told)


def test_a_line_keeps_a_limit_on_its_side_and_counts_among_wishes_or_ratings():
    """A value of 2 that one input moves by 1, at draws of -1, 0 and 1: from 1 to 3, at least or at most 2."""
    raw = np.array([[-1.0], [0.0], [1.0]])
    least, most = (Linear(np.array([2.0]), np.array([[1.0]]), np.array([2.0]), each) for each in (True, False))
    assert least.within(raw).tolist() == [[False, True, True]]
    assert most.within(raw).tolist() == [[True, True, False]]
    kept = _Kept.all(1, 3)
    kept.by({"flight_time": least, "motor_power": most}, raw)
    assert kept.wishes.tolist() == [[False, True, True]]
    assert kept.ratings.tolist() == [[True, True, False]]


@cache
def small_stock():
    """A case whose phases pay by shares: rounds flown over and over take every draw through each of them."""
    setting, shelf, _, _ = next(
        each
        for each in map(case, range(20))
        if any(p.share for p in each[0].phases) and each[0].brief.limits.cutoff_cell_v is None
    )
    named = {
        f"{kind}s": [attrs.evolve(part, id=f"{kind}/{at}") for at, part in enumerate(parts)]
        for kind, parts in shelf.kinds.items()
    }
    return setting.stated, Catalogue.of(**named)


def test_a_combination_is_dropped_unheard_only_where_all_checks_together_give_it_too_little_chance():
    setting, shelf = random_case(2, SIZES)
    setting = easier(setting, min_flight_minutes=None)
    rows = np.array(list(itertools.product(*map(range, shelf.sizes))), dtype=np.intp)
    rows = rows[shelf.cells_fit(*rows[:, :3].T)][72:108:3]
    order, raw = ranking(setting), normal_draws(64, 7)
    wishes, ratings = FirstOrder.of([setting], shelf, rows).chances(raw)
    hopeful = np.flatnonzero((wishes >= 0.8 - 0.15) & (ratings >= 0.9 - 0.15))
    assert 0 < hopeful.size < len(rows)
    np.testing.assert_array_equal(FirstOrder.hopeful([setting], shelf, rows, order, raw)[1], hopeful)


def test_where_nothing_holds_the_surest_is_said_and_first():
    brief, stock = small_stock()
    asked = attrs.evolve(
        brief, limits=attrs.evolve(brief.limits, chance=0.99, rating_chance=0.99, min_flight_minutes=None)
    )
    brutal: Brief = attrs.evolve(asked, uncertainty=attrs.evolve(brief.uncertainty, bare_mass=0.9, drag=0.9))
    found = match(brutal, stock, top=3)
    assert found.rows
    assert not any(found.holds.values())
    for group in found.by_cells.values():
        near = [min(row.pick.chance_wishes, row.pick.chance_ratings) for row in group]
        assert near == sorted(near, reverse=True)


def test_a_variant_that_must_hold_counts_in_the_chance():
    brief, stock = small_stock()
    heavier = Variant(name="heavier", bare_mass_g=1.15 * match(brief, stock, top=1, on_paper=True).setting.build.mass_g)
    free = match(attrs.evolve(brief, variant=(heavier,)), stock, top=5)
    bound = match(attrs.evolve(brief, variant=(attrs.evolve(heavier, must_hold=True),)), stock, top=5)
    for row in bound.rows:
        if bound.holds[row.cells]:
            there = sureness(heavier_of(bound), row.train)
            assert there.chance_wishes >= 0.8
            assert there.chance_ratings >= 0.9
    assert free.best is not None
    assert free.best.row["chance_brief"] == free.best.pick.chance_wishes
    assert free.best.chance_in.keys() == {"heavier"}


def heavier_of(found):
    return ResolvedBrief.of(found.brief).named("heavier")


def test_an_odd_controller_costs_what_the_brief_says():
    setting, shelf, _, found = case(0)
    lanes, ratings = shelf.combine(*found.combination[:1].T)
    measured = TrainMeasures(setting, lanes, ratings)
    carried = measured["controller_current"].value
    big = attrs.evolve(ratings, controller_a=carried * LARGE_CONTROLLER[1], controller_burst_a=np.full(1, np.nan))
    usual = attrs.evolve(ratings, controller_a=carried * 1.5, controller_burst_a=np.full(1, np.nan))
    cost, fine = (practice_cost(TrainMeasures(setting, lanes, each))[0] for each in (big, usual))
    assert cost.share - fine.share == pytest.approx(setting.brief.practice.large_controller)
    assert any(" A ESC for " in words for words in cost.words)
    assert not any(" A ESC for " in words for words in fine.words)
