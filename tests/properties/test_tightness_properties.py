"""Bounds of the quick search are close as well as valid: what gets wider only makes the search slower, and nobody sees.

How close they are is reasoned where a law says it; elsewhere it is this project's own measure with half as much again,
no published source.
"""

from collections import Counter
from copy import copy
from itertools import pairwise

import numpy as np
import pytest
from support.random_cases import bursting_case, cold_case, every_lane, random_case, random_parts
from support.trains import simple_controller, simple_motor, simple_pack, simple_propeller

from propmatch.brief import Aircraft, Brief, Limits, Phase, Prefer, Wing
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import settings
from propmatch.records.fields import replace
from propmatch.search.bounds.curves import PropellerCurves
from propmatch.search.bounds.flighttime import _Bounds, flight_bounds
from propmatch.search.bounds.fullthrottle import wanted
from propmatch.search.bounds.groups import LADDER, Groups, Ladder, Target
from propmatch.search.bounds.held import SureFlights
from propmatch.search.bounds.scores import pair_bound
from propmatch.search.bounds.screen import CURRENTS, Lanes, Screen
from propmatch.search.exhaustive import exhaustive, first_failures
from propmatch.search.ranking import Ranking, metric_value
from propmatch.search.shelf import Shelf

pytestmark = pytest.mark.filterwarnings("error")

UP, PART, LONG = (
    Phase(name="up", throttle=1.0, seconds=15.0),
    Phase(name="part", throttle=0.6, share=0.5),
    Phase(name="long", throttle=0.5, seconds=200.0),
)
CRUISE, ALONG, HELD, SINK, LAND = (
    Phase(name="cruise", airspeed_m_s=11.0, share=1.0),
    Phase(name="along", airspeed_m_s=11.0, seconds=60.0),
    Phase(name="held", airspeed_m_s=11.0, climb_m_s=1.0, seconds=60.0),
    Phase(name="sink", airspeed_m_s=11.0, climb_m_s=-0.1, seconds=90.0),
    Phase(name="land", airspeed_m_s=9.5, seconds=40.0),
)
GLIDE, OFF = (
    Phase(name="glide", throttle=0.0, airspeed_m_s=9.0, share=0.4),
    Phase(name="off", throttle=0.0, seconds=99.0),
)
MOTOR, DOWN = (
    Phase(name="motor", throttle=0.8, share=0.3),
    Phase(name="down", airspeed_m_s=11.0, climb_m_s=-0.1, share=0.3),
)
HIGH, LOW, STEADY = (
    Phase(name="high", throttle=0.9, to_height_m=80.0),
    Phase(name="low", throttle=0.0, to_height_m=10.0),
    Phase(name="steady", airspeed_m_s=11.0, climb_m_s=1.5, to_height_m=60.0),
)


def flown(phases, *, small=False, **limits):
    """A setting of a light aircraft, or a very light one, that hardly limits anything, and a shelf."""
    limits = {"reserve_charge": 0.2, "cutoff_cell_v": 2.5, "estimated_ratings": "warn"} | limits
    bare_g, area_dm2, radio_a = (10.0, 7.0, 0.05) if small else (150.0, 18.0, 0.2)
    brief = Brief(
        aircraft=Aircraft(name="invented", bare_mass_g=bare_g, radio_current_a=radio_a),
        wing=Wing(area_dm2=area_dm2, span_mm=1100.0, cd0=0.04, cl_max=1.1),
        limits=Limits(**limits), phase=phases, prefer=Prefer(flight_time=1.0),
    )  # fmt: skip
    setting, parts = settings(brief)[-1], random_parts(np.random.default_rng(5), (8, 4, 8, 8))
    kinds = (parts[kind] for kind in ("motors", "controllers", "packs", "propellers"))
    return setting, Shelf.of(*kinds, **setting.train_numbers)


def gaps(phases, *, rough=False, **more):
    """By how much, as a share, bounds of minutes and of currents lie below and above, (6, N) of those that fly."""
    setting, shelf = flown(phases, **more)
    screen, out = Screen(setting, shelf, counting=True), []
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = every_lane(drives, shelf).take(slice(0, None, 7))
        measured = screen.measured(drives, lanes)
        good = np.logical_and.reduce([measured.passes(name) for name in CURRENTS])
        if not good.any():
            continue
        flight = measured.take(good).flight
        told = flight_bounds(screen.tables, drives, lanes.propeller[good], lanes.drive[good], rough=rough)
        each = (
            (flight.minutes, told.minutes_low, told.minutes_high),
            (np.fmax.reduce(flight.phase_current_a), told.current_low_a, told.current_high_a),
            (np.fmax.reduce(flight.phase_motor_current_a), told.motor_low_a, told.motor_high_a),
        )
        with np.errstate(all="ignore"):
            gap = np.array([gap for value, low, high in each for gap in (1.0 - low / value, high / value - 1.0)])
        out.append(gap[:, np.nan_to_num(flight.minutes) > 1.0])
    return np.concatenate(out, axis=1)


CLOSE = {
    (CRUISE,): (0.003, 0.002, 0.12, 0.13, 0.002, 0.002),
    (UP, CRUISE): (0.004, 0.005, 0.012, 0.008, 0.012, 0.008),
    (UP, CRUISE, GLIDE): (0.04, 0.05, 0.012, 0.008, 0.012, 0.008),
    (UP, PART): (0.25, 0.07, 0.012, 0.008, 0.012, 0.008),
    (UP, HELD, CRUISE, DOWN, LAND): (0.006, 0.012, 0.012, 0.008, 0.012, 0.008),
    (ALONG, CRUISE, UP): (0.012, 0.008, 0.8, 0.5, 0.7, 0.5),
    (UP, ALONG): (0.2, 0.3, 0.3, 0.25, 0.3, 0.25),
    (UP, LONG): (0.35, 0.25, np.inf, 0.25, np.inf, 0.25),
    (UP, OFF, ALONG): (0.35, 0.9, np.inf, 0.25, np.inf, 0.25),
    (HELD, ALONG, SINK): (0.2, 0.2, np.inf, 0.15, np.inf, 0.003),
    (STEADY, LOW): (0.2, 0.2, np.inf, 0.15, np.inf, 0.003),
    (STEADY, SINK): (np.inf, 0.04, np.inf, np.inf, np.inf, np.inf),
    (STEADY, CRUISE, DOWN, OFF): (np.inf, 0.015, np.inf, np.inf, np.inf, np.inf),
    (HIGH, OFF): (np.inf, 0.22, np.inf, np.inf, np.inf, np.inf),
    (HIGH, LOW): (0.45, 0.22, np.inf, 0.22, np.inf, 0.25),
    (HIGH, ALONG, LOW): (0.6, 0.75, np.inf, 0.25, np.inf, 0.3),
    (HIGH, CRUISE, GLIDE, LAND): (np.inf, 0.1, np.inf, np.inf, np.inf, np.inf),
    (HELD, HIGH, OFF): (0.95, 0.55, np.inf, 0.25, np.inf, 0.26),
    (MOTOR, GLIDE): (np.inf, 0.33, np.inf, np.inf, np.inf, np.inf),
}
"""By how much bounds of minutes, pack and motor current lie below and above, half of all at most; inf where they say
nothing. The motor current of a held thrust is the same at any charge: only the nodes of mass lie between."""
ROUGH = {
    (UP, CRUISE): (0.05, 0.03, 0.95, 2.5, 0.95, 2.5),
    (UP, HELD, CRUISE, DOWN, LAND): (0.05, 0.04, 0.95, 2.3, 0.8, 2.3),
    (ALONG, CRUISE, UP): (0.07, 0.03, 0.8, 3.0, 0.7, 3.1),
    (UP, ALONG): (0.8, 11.0, np.inf, 3.2, np.inf, 3.3),
    (UP, OFF, ALONG): (0.95, 5.6, np.inf, 3.4, np.inf, 3.6),
    (HIGH, LOW): (np.inf, 3.4, np.inf, np.inf, np.inf, np.inf),
}


def _named(value):
    return "-".join(each.name for each in value if isinstance(each, Phase)) if isinstance(value, tuple) else str(value)


@pytest.mark.parametrize(
    ("phases", "close", "rough"),
    [(*each, False) for each in CLOSE.items()] + [(*each, True) for each in ROUGH.items()], ids=_named,
)  # fmt: skip
def test_bounds_of_a_flight_hold_and_are_close(phases, close, rough):
    gap = gaps(phases, rough=rough, allow_burst=rough)  # rough bounds ask what the pack bears for long
    assert not np.any(gap < 0)
    assert np.all(np.median(np.nan_to_num(gap, nan=np.inf, posinf=np.inf), axis=1) <= close)


@pytest.mark.parametrize("airspeed_m_s", [10.0, 13.0, 16.0])
def test_bounds_hold_where_less_than_an_ampere_flies_and_some_cannot_hold_the_speed_to_the_end(airspeed_m_s):
    gap = gaps((Phase(name="fast", airspeed_m_s=airspeed_m_s, share=1.0),), small=True)
    assert not np.any(gap < 0)
    assert np.all(np.median(gap[:2], axis=1) < 0.003)


@pytest.mark.parametrize("name", ["steady", "sustained"])
def test_full_throttle_that_surely_keeps_a_rating_for_long_does_and_most_that_does_is_told(name):
    """From a table of torque in cells of speed, a few per cent wide, and how much more torque flight may take."""
    setting, shelf = flown((UP, CRUISE))
    screen, told, does = Screen(setting, shelf, counting=True), 0, 0
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = every_lane(drives, shelf)
        keeps = _Bounds(screen.tables, drives, lanes.propeller, lanes.drive, rough=True)._keeps(getattr(drives, name))
        limit = {"steady": drives.steady_a, "sustained": drives.sustained_a - setting.variant.radio_current_a}[name]
        measured = screen.measured(drives, lanes)
        current = np.fmax(measured["motor_current_static"].value, measured["motor_current_flight"].value)
        good = current <= limit[lanes.drive]
        assert np.all(good[keeps])
        told, does = told + np.count_nonzero(keeps), does + np.count_nonzero(good)
    assert does > 300
    assert told > 0.5 * does


def test_what_only_loses_height_has_no_time_by_its_bounds_either():
    setting, shelf = flown((SINK,))
    screen = Screen(setting, shelf, counting=True)
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = np.arange(drives.size)
        told = flight_bounds(screen.tables, drives, np.zeros_like(lanes), lanes)
        assert np.all(told.minutes_high[np.isfinite(told.minutes_high)] < 1e-6)
        assert np.isfinite(told.minutes_high).any()


# ---------------------------------------------------------------- what is left to the measures


class Counting(Screen):
    """A screen that counts the lanes of each check, and those that it leaves to the measures."""

    def __init__(self, *args, **more):
        super().__init__(*args, **more)
        self.asked, self.computed = Counter(), Counter()

    def _decided(self, name, drives, lanes, passes, fails):
        self.asked[name] += lanes.size
        self.computed[name] += int(np.count_nonzero(~(passes | fails)))
        return super()._decided(name, drives, lanes, passes, fails)


@pytest.mark.parametrize("counting", [False, True])
def test_bounds_decide_nearly_all_that_they_know(counting):
    """Of lanes that lie at random about a limit few lie within 1e-7 of it: what else is computed is odd."""
    asked, computed = Counter(), Counter()
    for case in (random_case, bursting_case, cold_case):
        for seed in range(7):
            setting, shelf = case(seed)
            screen = Counting(setting, shelf, counting=counting)
            for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
                screen.block(drives)
            asked += screen.asked
            computed += screen.computed
    every = asked["thrust_to_weight"]
    assert every > 2000
    for name in (
        "propeller_rpm", "thrust_to_weight", "motor_power", "controller_current", "pack_burst", "cell_voltage",
        "balance",
    ):  # fmt: skip
        assert computed[name] <= 0.01 * asked[name] + 1, name
    assert computed["climb"] <= 0.05 * asked["climb"]
    assert computed["motor_current_static"] <= 0.03 * asked["motor_current_static"]
    # where all that pass is asked for, cells of speed decide most currents
    assert counting or asked["motor_current_static"] <= 0.06 * every


@pytest.mark.parametrize(
    ("phases", "least"), [((CRUISE,), 0.97), ((UP, CRUISE), 0.7), ((UP, CRUISE, LAND), 0.6), ((LONG, CRUISE), 0.75)]
)
def test_most_of_what_flies_is_said_to_fly_surely(phases, least):
    setting, shelf = flown(phases, cutoff_cell_v=3.2, min_flight_minutes=6.0)
    screen, surely, flies = Screen(setting, shelf, counting=True), 0, 0
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = screen.before_flight(drives, Lanes.every(drives.size, len(shelf.propellers)))
        if lanes.size:
            surely += np.count_nonzero(SureFlights(screen.tables, drives)(lanes.propeller, lanes.drive))
            flies += np.count_nonzero(screen.flown(drives.combinations(lanes.drive, lanes.propeller)))
    assert flies > 300
    assert least * flies <= surely <= flies


def test_masses_are_told_from_the_numbers_of_the_parts(monkeypatch):
    """Only what lies within rounding of its limit is measured."""
    setting, shelf = flown((CRUISE,), max_wing_loading_g_dm2=20.0)
    screen, asked, measured, kept = Screen(setting, shelf, counting=True), [], Screen.measured, 0
    monkeypatch.setattr(Screen, "measured", lambda *given: asked.append(1) or measured(*given))
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = Lanes.every(drives.size, len(shelf.propellers))
        good = screen._sizes(drives, lanes)
        every = measured(screen, drives, every_lane(drives, shelf))
        passes = every.passes("wing_loading") & every.passes("servo_supply_voltage")
        np.testing.assert_array_equal(good.ravel(), passes)
        kept += np.count_nonzero(good)
    assert not asked
    assert 0 < kept < screen.counts["wing_loading"] + kept


@pytest.mark.parametrize(("phases", "share"), [((CRUISE,), 0.0), ((UP, CRUISE), 0.05)])
def test_highest_rpm_are_told_from_two_torques_each(phases, share, monkeypatch):
    """At stated airspeeds, and least at others: the propeller is read again where an airspeed goes with the mass."""
    setting, shelf = flown(phases)
    screen, read, torque, judged = Screen(setting, shelf, counting=True), [], PropellerCurves.torque, 0
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = every_lane(drives, shelf)
        with monkeypatch.context() as watched:
            watched.setattr(PropellerCurves, "torque", lambda *given: read.append(given[1].size) or torque(*given))
            passes, fails = screen._rpm.decide(drives, lanes)
        judged += np.count_nonzero(screen._rpm.rated[lanes.propeller])
        good = screen.measured(drives, lanes).passes("propeller_rpm")
        assert np.all(good[passes])
        assert not np.any(good[fails])
    assert judged > 800
    assert sum(read) <= share * judged


def test_a_motor_without_load_turns_at_kv_and_beyond_its_zero_thrust_no_airspeed_is_tried():
    """Free at half charge: kv V/60 turns a second over the gear ratio; J of no thrust times the diameter times that."""
    setting, shelf = flown((CRUISE,), min_climb_m_s=1.0)
    screen, stack = Screen(setting, shelf, counting=True), shelf.lanes.stack
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        d, p = np.arange(drives.size), np.full(drives.size, 2)
        kv, gear = (np.array([getattr(shelf.motors[at], name) or 1.0 for at in drives.motor]) for name in _TURNING)
        turns = kv * drives.open_v(0.5) / 60.0 / gear
        advance = stack.j_thrust_zero_high[shelf.column("propeller")[2]] * shelf.propellers[2].diameter_in * 0.0254
        np.testing.assert_allclose(screen._flown_at(drives, p, d)[3], advance * turns, rtol=1e-9)


_TURNING = ("kv_rpm_per_v", "gear_ratio")


@pytest.mark.parametrize("climb_m_s", [1.0, 3.0])
def test_most_of_what_climbs_well_is_said_to_climb_surely(climb_m_s):
    """Some is decided by one range of airspeed, with an eighth of the climb to spare and half a metre a second."""
    setting, shelf = flown((CRUISE,), min_climb_m_s=climb_m_s)
    screen, surely, well = Screen(setting, shelf, counting=True), 0, 0
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = every_lane(drives, shelf)
        sure = screen._climbs_surely(drives, lanes)[0]
        climb = metric_value(screen.measured(drives, lanes), "climb")
        assert np.all(climb[sure] >= climb_m_s)
        surely += np.count_nonzero(sure)
        well += np.count_nonzero(climb >= 1.125 * climb_m_s + 0.5)
    assert well > 500
    assert surely >= 0.8 * well


def test_a_grid_decides_thrust_to_weight_where_motors_are_straight_lines():
    """In single precision, for motors whose friction and resistance hang on no speed."""
    setting, shelf = flown((CRUISE,), min_thrust_to_weight=0.6)
    free = [replace(propeller, max_rpm=None, family=None) for propeller in shelf.propellers]
    straight = np.flatnonzero((shelf.column("exponent") == 0) & (shelf.column("slope_ohm_s") == 0))
    motors = [shelf.motors[at] for at in straight]
    shelf = Shelf.of(motors, shelf.controllers, shelf.packs, free, **setting.train_numbers)
    screen, every = Counting(setting, shelf, counting=True), 0
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        screen.block(drives)
        every += drives.size * len(free)
    assert every > 150
    assert screen.counts["thrust_to_weight"] > 0.05 * every
    assert screen.asked["thrust_to_weight"] < 0.1 * every


def test_a_power_that_is_kept_again_at_twice_the_current_loses_nothing():
    """Behind long leads a motor that is held fast takes less than one that turns: V I falls beyond half of V_0/r."""
    setting, _ = flown((CRUISE,), cutoff_cell_v=None, allow_burst=True)
    numbers = {"resistance_ohm": 0.004, "max_current_a": 500.0, "no_load_exponent": 0.0}
    motors = [
        simple_motor(id=f"m{at}", kv_rpm_per_v=kv, max_power_w=watts, **numbers)
        for at, (kv, watts) in enumerate(((4000.0, 60.0), (6000.0, 60.0), (4000.0, 40.0), (9000.0, 70.0)))
    ]
    packs = [
        simple_pack(
            id=f"p{at}", lead_resistance_mohm=leads, cell_resistance_mohm=3.0, capacity_mah=2200.0, c_rating=100.0
        )
        for at, leads in enumerate((120.0, 200.0, 280.0))
    ]
    propellers = [
        simple_propeller(id=f"q{at}", diameter_in=each, pitch_in=0.7 * each)
        for at, each in enumerate((5.0, 7.0, 9.0, 11.0, 13.0))
    ]
    shelf = Shelf.of(motors, [simple_controller(max_current_a=500.0)], packs, propellers, **setting.train_numbers)
    good = exhaustive(setting, shelf, Ranking(weights={"mass": 1.0}, scales={"mass": 1.0}), top=1000)
    screen, left = Screen(setting, shelf, counting=False), set()
    for drives in screen.drives(np.arange(len(packs)), 10**6):
        assert drives.power_turns.any()
        lanes, _, _ = screen.block(drives)
        left |= set(map(tuple, drives.combinations(lanes.drive, lanes.propeller).tolist()))
    assert good.passing > 20
    assert set(map(tuple, good.combination.tolist())) <= left


# ---------------------------------------------------------------- packs with propellers


def passing_rows(setting, shelf, step):
    """Every so many of the combinations (N, 4), of these what passes, and its measures."""
    rows = every_row(shelf)[::step]
    _, alive, measured = first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))
    return rows[alive], measured


@pytest.mark.parametrize(
    ("metric", "phases", "close"),
    [
        ("flight_time", (CRUISE,), 1.6), ("flight_time", (UP, CRUISE, LAND), 1.65), ("flight_time", (ALONG, LAND), 1.7),
        ("flight_time", (HIGH, OFF), 3.5), ("mass", (CRUISE,), 1.02), ("thrust_to_weight", (CRUISE,), 3.5),
        ("top_speed", (CRUISE,), 2.3), ("climb", (CRUISE,), 11.0),
    ],
)  # fmt: skip
def test_a_pack_and_a_propeller_are_bounded_not_far_above_the_best_with_them(metric, phases, close):
    """For minutes motors are taken to be without loss, and lose a third; the lightest motor is known."""
    setting, shelf = flown(phases)
    rows, measured = passing_rows(setting, shelf, 3)
    order = Ranking(weights={metric: 1.0}, scales={metric: 1.0})
    bound = pair_bound(Screen(setting, shelf, counting=False), order, *(np.arange(n) for n in shelf.sizes[2:]))
    best = np.full(bound.shape, -np.inf)
    np.maximum.at(best, (rows[:, 2], rows[:, 3]), order.of(measured))
    some = best > 0
    assert some.sum() > 15
    assert 1.0 <= np.median(bound[some] / best[some]) <= close


def test_the_radio_still_draws_where_a_dive_needs_no_motor():
    """So minutes stay bounded: by the charge over what a cruise and a dive together, or one of them, draw."""
    dive = replace(SINK, climb_m_s=-3.0)
    setting, shelf = flown((HELD, dive))
    packs, propellers = (np.arange(n) for n in shelf.sizes[2:])
    order = Ranking(weights={"flight_time": 1.0}, scales={"flight_time": 1.0})
    bound = pair_bound(Screen(setting, shelf, counting=False), order, packs, propellers)
    longest = 60.0 * shelf.column("capacity_ah") * 0.8 / 0.2  # at 0.2 A, down to a reserve of a fifth
    told = bound[np.isfinite(bound)] / np.broadcast_to(longest[:, None], bound.shape)[np.isfinite(bound)]
    assert told.size > 10
    assert np.all(told <= 1.0 + 1e-5)


@pytest.mark.parametrize("phases", [(CRUISE,), (UP, CRUISE), (CRUISE, GLIDE)])
@pytest.mark.parametrize("minutes", [5.0, 12.0, 20.0])
def test_few_that_do_not_last_stay_among_those_that_may(phases, minutes):
    setting, shelf = flown(phases)
    rows, measured = passing_rows(setting, shelf, 3)
    may = Groups(Screen(setting, shelf, counting=False), least_minutes=minutes).may(rows)
    lasts = np.nan_to_num(measured.flight.minutes) >= minutes
    assert np.all(may[lasts])
    assert lasts.sum() > 100
    assert may.sum() <= 1.3 * lasts.sum()


# ---------------------------------------------------------------- groups


def every_row(shelf):
    """All combinations (N, 4) whose cell counts go together."""
    rows = np.stack(np.meshgrid(*map(np.arange, shelf.sizes), indexing="ij"), axis=-1).reshape(-1, 4)
    return rows[shelf.cells_fit(*rows.T[:3])]


def handed_over(each):
    """Combinations of drives and lanes, each once."""
    out = [tuple(row) for drives, lanes in each for row in drives.combinations(lanes.drive, lanes.propeller).tolist()]
    assert len(out) == len(set(out))
    return set(out)


@pytest.mark.parametrize("seed", range(6))
def test_what_groups_leave_over_is_what_single_combinations_do(seed):
    setting, shelf = random_case(seed, (7, 4, 9, 9))
    screen, rows = Screen(setting, shelf, counting=False), every_row(shelf)
    screen.wants = screen.limits_wanted
    groups = Groups(screen)
    left = set(map(tuple, rows[groups.may(rows)].tolist()))
    every, pairs = np.ones(shelf.sizes[2:], dtype=bool), np.ones(shelf.sizes[0] * shelf.sizes[1], dtype=bool)
    assert handed_over(groups.combinations(every, pairs)) == left
    assert handed_over(groups.listed([rows])) == left


@pytest.mark.parametrize("seed", [0, 2, 5])
@pytest.mark.parametrize(
    ("metric", "values"), [("thrust_to_weight", (0.3, 1.5)), ("top_speed", (8.0, 25.0)), ("climb", (0.5, 6.0))]
)
def test_a_ladder_ends_at_the_first_of_its_rungs_that_is_out_of_reach(seed, metric, values):
    """So a score that takes a rung is reached where full throttle gives the one below."""
    setting, shelf = random_case(seed, (7, 4, 9, 9))
    screen, rows, rungs = Screen(setting, shelf, counting=False), every_row(shelf)[::5], np.linspace(*values, LADDER)
    order, some = Ranking(weights={metric: 1.0}, scales={metric: 1.0}), copy(screen)
    ladders, reached = {metric: Ladder.of(screen.tables, metric, rungs)}, []
    for below, rung in pairwise(rungs.tolist()):
        some.wants = (wanted(screen.tables, metric, below),)
        gives = Groups(some, least_minutes=1e-6).may(rows)
        target = Target(ranking=order, score=rung * (1.0 - 1e-9), ladders=ladders)
        np.testing.assert_array_equal(Groups(screen, target=target).may(rows), gives)
        reached.append(np.count_nonzero(gives))
    assert reached[0] > reached[-1]
