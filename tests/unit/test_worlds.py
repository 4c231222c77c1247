"""Samples of the world: one draw for every part, searched as exactly as ever, and as often kept as the chance says."""

import attrs
import numpy as np
import pytest
from support.bundled import SMALL_PARTS, bundled_catalogue
from support.random_cases import some_tasks

from propmatch.brief import loads_brief
from propmatch.checks.chances import sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.commands.briefs import open_brief
from propmatch.models.surface import Surfaces
from propmatch.records.brief import Variant
from propmatch.search.bounds.pruned import PropellerTables, search
from propmatch.search.exhaustive import exhaustive
from propmatch.search.sweep import Stock, Task, sweep
from propmatch.search.worlds import Worlds, sample
from propmatch.tolerances.numbers import part_tolerances

BRIEF = """
[aircraft]
name = "meadow bird"
bare_mass_g = 250
target_mass_g = 420
[wing]
area_dm2 = 14
span_mm = 900
cl_max = 1.1
cd0 = 0.04
[limits]
min_thrust_to_weight = 0.5
min_flight_minutes = 8
[[phase]]
name = "circuits"
airspeed_m_s = 10
share = 1.0
"""


@pytest.fixture(scope="module")
def tasks():
    """Random matches, something meeting each."""
    every = some_tasks(12)
    return [task for task, answer in zip(every, sweep(every), strict=True) if answer.rows][:4]


@pytest.fixture(scope="module")
def bird():
    return Task(name="bird", brief=loads_brief(BRIEF + SMALL_PARTS), stock=Stock.of(bundled_catalogue()))


def test_coefficients_of_a_scaled_table_are_those_of_its_scaled_cells():
    table = next(each.table for each in bundled_catalogue().propellers.values() if each.table is not None)
    anew, scaled = table.times(ct=1.3, cp=0.7).surfaces, table.surfaces.times(ct=1.3, cp=0.7)
    for field in attrs.fields(Surfaces):
        one, other = getattr(anew, field.name), getattr(scaled, field.name)
        assert np.allclose(one, other, rtol=1e-9, atol=1e-12), field.name


def test_a_combination_meets_a_sample_where_it_does_in_every_variant_that_must_hold(tasks):
    """A variant so heavy that nothing flies with it takes all away."""
    task, met = tasks[0], 0
    heavy = Variant(name="lead", bare_mass_g=20.0 * task.brief.aircraft.bare_mass_g)
    for must in (False, True):
        brief = attrs.evolve(task.brief, variant=(attrs.evolve(heavy, must_hold=must),))
        worlds = Worlds(attrs.evolve(task, brief=brief), seed=7)
        for number in range(3):
            first = worlds.first(number)
            met += first is not None
            assert first is None or worlds.meets(number, np.array([first])).tolist() == [not must]
    assert met


@pytest.mark.parametrize("number", range(4))
def test_search_in_a_sample_equals_judging_every_combination(tasks, number):
    for task in tasks:
        worlds = Worlds(task, seed=7)
        setting, shelf = worlds.world(number)
        plain = exhaustive(setting, shelf, worlds.order, top=8)
        quick = search(setting, shelf, worlds.order, top=8, count=False, tables=PropellerTables(setting, shelf))
        assert np.array_equal(plain.combination, quick.combination)
        assert np.array_equal(plain.score, quick.score)
        first = worlds.first(number)
        assert (first is None) == (not len(plain.combination))
        assert first is None or list(first) == plain.combination[0].tolist()
        if len(plain.combination):
            assert worlds.meets(number, plain.combination).all()


def test_every_part_is_drawn_by_itself_and_as_far_as_its_own_uncertainty(bird):
    worlds = Worlds(bird, seed=3)
    stated = worlds.shelf
    drawn = [worlds.world(number)[1].lanes for number in range(200)]

    def logs(field, count):
        return np.array(
            [np.log(getattr(lanes, field)[:count] / getattr(stated.lanes, field)[:count]) for lanes in drawn]
        )

    motors, propellers = len(stated.motors), len(stated.propellers)
    kv = -logs("k", motors)
    sd = [next(t.sd for t in part_tolerances(m, "motor") if t.name == "kv_rpm_per_v") for m in stated.motors]
    assert np.std(kv, axis=0) == pytest.approx(np.array(sd), rel=0.25)
    assert np.mean(np.std(kv, axis=0) / sd) == pytest.approx(1.0, abs=0.02)
    between = np.corrcoef(kv.T)[np.triu_indices(motors, 1)]
    # 200 pairs of independent numbers scatter by 1/sqrt(200)
    assert np.std(between) == pytest.approx(200**-0.5, rel=0.15)
    assert np.max(np.abs(between)) < 5.5 * 200**-0.5
    cells = np.array([[t.cp_cells[0, 0] / stated.propellers[0].table.surfaces.cp_cells[0, 0],
                       t.ct_cells[0, 0] / stated.propellers[0].table.surfaces.ct_cells[0, 0]]
                      for t in (lanes.stack for lanes in drawn)])  # fmt: skip
    assert propellers > 1
    assert np.corrcoef(np.log(cells).T)[0, 1] == pytest.approx(0.8, abs=0.1)


def test_a_pick_meets_the_brief_as_often_as_its_chance(bird):
    """The shares of 256 random samples scatter by 3.1 points at most."""
    worlds = Worlds(bird, seed=11)
    rows = sweep([attrs.evolve(bird, top=4)])[0].rows
    picks = np.array([worlds.combination_of(row.id) for row in rows])
    met = np.mean([worlds.meets(number, picks) for number in range(256)], axis=0)
    setting = ResolvedBrief.of(bird.brief).as_designed
    chances = [sureness(setting, worlds.shelf.train(*pick)).chance_all_limits for pick in picks]
    assert met == pytest.approx(np.array(chances), abs=4 * 0.031)


def test_samples_are_counted(tasks):
    some, count = tasks[:1], 9
    found = sample(some, count, seed=5)
    for task, one in zip(some, found, strict=True):
        worlds = Worlds(task, 5)
        firsts = [worlds.first(number) for number in range(count)]
        assert one.nothing == firsts.count(None)
        assert [row.rank_on_paper for row in one.rows[: len(one.answer.rows)]] == [*range(1, len(one.answer.rows) + 1)]
        named = [worlds.combination_of(row.id) for row in one.rows]
        assert [row.first for row in one.rows] == [firsts.count(each) for each in named]
        meets = np.sum([worlds.meets(number, np.array(named)) for number in range(count)], axis=0)
        assert [row.meets for row in one.rows] == meets.tolist()
        assert all(row.meets >= row.first for row in one.rows)
    assert Worlds(some[0], 6).world(0)[1].lanes.k[0] != Worlds(some[0], 5).world(0)[1].lanes.k[0]


def test_a_pick_meets_the_brief_in_every_variant_that_must_hold(bird):
    """A second path: the heavier build as a brief of its own, in the same samples."""
    heavier = BRIEF.replace("bare_mass_g = 250", "bare_mass_g = 300")
    variant = '\n[[variant]]\nname = "painted"\nbare_mass_g = 300\nmust_hold = {}\n'
    light, heavy, both, either = (
        Worlds(attrs.evolve(bird, brief=loads_brief(text + SMALL_PARTS)), seed=2)
        for text in (BRIEF, heavier, BRIEF + variant.format("true"), BRIEF + variant.format("false"))
    )
    picks = np.array([light.combination_of(row.id) for row in sweep([attrs.evolve(bird, top=4)])[0].rows])
    split = 0
    for number in range(40):
        alone, painted = light.meets(number, picks), heavy.meets(number, picks)
        assert np.array_equal(both.meets(number, picks), alone & painted)
        assert np.array_equal(either.meets(number, picks), alone)
        split += int(np.sum(alone & ~painted))
    assert split


def test_the_bare_centre_of_gravity_stays_in_every_sample(bird):
    """By hand: lines all heavier by the same share have the same centre, and the share's mass."""
    worlds = Worlds(attrs.evolve(bird, brief=open_brief("club_racer")[0]), seed=2)
    stated = worlds.setting.build
    for number in range(8):
        setting, _ = worlds.world(number)
        assert setting.build.position_mm == pytest.approx(stated.position_mm)
        assert setting.build.mass_g == pytest.approx(setting.variant.airframe.bare_mass_g)
    assert setting.build.mass_g != pytest.approx(stated.mass_g)
