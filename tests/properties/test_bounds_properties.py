"""Every bound of the quick search bounds what the models compute, on random lanes."""

from copy import copy
from functools import cache

import attrs
import numpy as np
import pytest
from support.compared import case_of
from support.random_cases import bursting_case, cold_case, random_case

from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import PolarFactors, stall_speed_m_s, thrust_needed_n
from propmatch.brief import Phase
from propmatch.checks.judged import smallest_margins
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import settings
from propmatch.records.fields import replace
from propmatch.search.bounds.flighttime import _Bounds, flight_bounds
from propmatch.search.bounds.fullthrottle import _EVERY, TESTED, _asked, may_reach, wanted
from propmatch.search.bounds.groups import Groups
from propmatch.search.bounds.held import SureFlights
from propmatch.search.bounds.margins import moved_by
from propmatch.search.bounds.packs import mean_ocv_v
from propmatch.search.bounds.pruned import Best
from propmatch.search.bounds.scores import pair_bound, pair_values
from propmatch.search.bounds.screen import Lanes, Screen
from propmatch.search.bounds.tables import HELD, IMPOSSIBLE, OFF, PropellerTables
from propmatch.search.exhaustive import first_failures
from propmatch.search.ranking import METRICS, Ranking, metric_value
from propmatch.search.shelf import Shelf
from propmatch.train.coupling import solve_lanes
from propmatch.train.thrust import ThrustProblem, speed_for_thrust

SEEDS = range(8)
pytestmark = pytest.mark.filterwarnings("error")


def written(seed):
    """A setting and a shelf of a brief as a user may write it."""
    _, setting, stock = case_of(seed)
    kinds = [list(stock.parts(kind).values()) for kind in ("motors", "controllers", "packs", "propellers")]
    return (setting, Shelf.of(*kinds, **setting.train_numbers)) if all(kinds) else random_case(seed)


def climbed(seed):
    """A fair part of the charge goes into a climb before airspeeds that are held."""
    setting, shelf = random_case(seed)
    phases = (
        Phase(name="climb", throttle=1.0, airspeed_m_s=9.0, seconds=30.0 * (1 + seed % 3)),
        Phase(name="hold", airspeed_m_s=9.5, seconds=20.0),
        Phase(name="cruise", airspeed_m_s=12.0, share=0.7),
        Phase(name="dash", airspeed_m_s=15.0, share=0.3),
        Phase(name="home", airspeed_m_s=11.0, seconds=15.0),
    )
    return settings(replace(setting.stated, phase=phases))[-1], shelf


def curves_of(tables):
    """What is known of the propellers alone."""
    return getattr(tables, "curves", tables)


def lanes_of(shelf, rng, count=300):
    """Random combinations (N, 4) whose cell counts go together."""
    rows = np.column_stack([rng.integers(0, size, count) for size in shelf.sizes]).astype(np.intp)
    return rows[shelf.cells_fit(*rows[:, :3].T)]


@cache
def drawn(case, seed):
    """Setting and shelf of a case, the same for every property of them."""
    return case(seed)


@cache
def tabled(case, seed):
    return PropellerTables(*drawn(case, seed))


def made(seed, case=random_case):
    """Setting, shelf, tables and a generator."""
    return *drawn(case, seed), tabled(case, seed), np.random.default_rng(seed)


# ---------------------------------------------------------------- propellers


@pytest.mark.parametrize("seed", SEEDS)
def test_torque_lies_between_the_ends_of_its_cell_of_speed_and_in_flight_below_its_multiple(seed):
    _, shelf, tables, rng = made(seed, written)
    curves = curves_of(tables)
    p = rng.integers(0, len(shelf.propellers), 2000)
    u = np.exp(rng.uniform(np.log(5.0), np.log(3000.0), p.size))
    rest, cell = curves.torque(p, u), curves.cell_of(u)
    assert np.all(rest[curves.regular[p]] > 0)
    assert np.all(curves.torque_low[cell, p] <= rest * (1.0 + 1e-12))
    assert np.all(curves.torque_high[cell, p] >= rest * (1.0 - 1e-12))
    flown = curves.torque(p, u, rng.uniform(0.1, 60.0, p.size))
    assert np.all(flown <= curves.flight_ratio[p] * rest * (1.0 + 1e-12))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_propeller_exceeds_its_greatest_efficiency(seed):
    _, shelf, tables, rng = made(seed, written)
    curves = curves_of(tables)
    p = rng.integers(0, len(shelf.propellers), 4000)
    u, v = rng.uniform(20.0, 2500.0, p.size), rng.uniform(0.1, 60.0, p.size)
    torque, thrust = curves.torque(p, u, v), curves.thrust(p, u, v)
    gives = (torque > 0) & (thrust > 0)
    assert gives.sum() > 200
    assert np.all((thrust * v <= curves.efficiency[p] * torque * u)[gives])


@pytest.mark.parametrize("seed", SEEDS)
def test_no_power_at_rest_gives_more_thrust_than_at_the_next_node(seed):
    _, _, tables, rng = made(seed)
    curves = curves_of(tables)
    watts, thrusts = curves.thrust_of_power
    for p in np.flatnonzero(curves.regular):
        u = rng.uniform(20.0, 2500.0, 200)
        some = np.full(u.size, p)
        power, thrust = curves.torque(some, u) * u, curves.thrust(some, u, np.zeros(u.size))
        assert np.all(thrust <= np.append(thrusts[p], np.inf)[np.searchsorted(watts[p], power)] * (1.0 + 1e-12))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_drag_of_a_propeller_with_the_motor_off_lies_between_its_bounds_whatever_the_motor(seed):
    setting, shelf, tables, rng = made(seed, written)
    rows = lanes_of(shelf, rng)
    speed = rng.uniform(3.0, 30.0, len(rows))
    drag = motor_off_drag(shelf.combine(*rows.T)[0], speed, setting.air.density_kg_m3).drag_n
    low, high = curves_of(tables).off_drag_n(rows[:, 3], speed)
    assert np.all(low <= drag)
    assert np.all(drag <= high)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_thrust_falls_with_airspeed_beyond_the_advance_ratio_that_says_so(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    curves, rows = curves_of(tables), lanes_of(shelf, rng, 600)
    rows = rows[curves.regular[rows[:, 3]]]
    lanes, n = shelf.combine(*rows.T)[0], len(rows)
    air = np.full(n, setting.air.density_kg_m3), np.full(n, setting.air.speed_of_sound_m_s)
    v = rng.uniform(1.0, 30.0, n)
    points = [
        solve_lanes(lanes, speed, np.ones(n), np.full(n, 0.5), *air) for speed in (v, v * rng.uniform(1.0, 1.5, n))
    ]
    beyond = points[0].advance_ratio >= curves.falling_from[rows[:, 3]]
    known = beyond & np.isfinite(points[0].thrust_n + points[1].thrust_n)
    assert np.all((points[1].thrust_n <= points[0].thrust_n + 1e-9 * np.abs(points[0].thrust_n))[known])


# ---------------------------------------------------------------- what a mass asks for


def exact_speeds(tables, setting, shelf, rows, thrust_n, speed):
    """Lowest propeller speed for the thrust of one of the motors."""
    curves = curves_of(tables)
    problem = ThrustProblem(
        thrust_n=thrust_n / shelf.count, which=shelf.column("propeller")[rows],
        diameter_m=shelf.column("diameter_m")[rows], density_kg_m3=np.full(rows.size, setting.air.density_kg_m3),
        airspeed_m_s=np.full(rows.size, speed), surfaces=shelf.lanes.stack,
    )  # fmt: skip
    return speed_for_thrust(problem)[0], curves


@pytest.mark.parametrize("seed", SEEDS)
def test_what_a_phase_asks_for_lies_between_the_nodes_below_and_above_a_mass(seed):
    setting, shelf, tables, rng = made(seed, written)
    p = rng.integers(0, len(shelf.propellers), 300)
    drive_g = tables.mass_start_g + rng.uniform(1.0, tables.nodes - 2.0, p.size) * tables.mass_step_g
    node = tables.node_of(drive_g)
    frames = setting.airframes(drive_g + shelf.column("propellers_g")[p])
    for phase, held in zip(setting.phases, tables.held, strict=True):
        if held is None:
            continue
        speed = phase.airspeed_m_s
        stall = np.asarray(stall_speed_m_s(frames, setting.air.density_kg_m3, phase.load_factor))
        kinds = held[0].kind[p, node], held[1].kind[p, node + 1]
        assert np.all((speed < stall)[kinds[0] == IMPOSSIBLE])
        if not np.array_equal(held[0].kind, held[1].kind):
            continue  # what is paid for differs with the drive
        need = np.asarray(thrust_needed_n(frames, setting.air.density_kg_m3, speed, phase.climb_m_s, phase.load_factor))
        assert np.all((need <= 0)[(kinds[0] == OFF) & (kinds[1] == OFF)])
        if any(each.throttle is not None and each.share is not None for each in setting.phases) and phase.share:
            continue  # shares that hold a speed may pay for those that lose height
        both = (kinds[0] == HELD) & (kinds[1] == HELD) & (need > 0)
        u, _ = exact_speeds(tables, setting, shelf, p, np.where(both, need, 1.0), speed)
        assert np.all((held[0].speed[p, node] <= u * (1.0 + 1e-9))[both])
        assert np.all((held[1].speed[p, node + 1] >= u * (1.0 - 1e-9))[both])


def test_a_steep_descent_that_needs_less_the_more_it_weighs_is_not_bounded_by_nodes():
    setting, shelf = drawn(random_case, 3)
    down = Phase(name="down", airspeed_m_s=20.0, climb_m_s=-1.0, seconds=60.0)
    brief = replace(setting.stated, phase=(down, Phase(name="cruise", airspeed_m_s=12.0, share=1.0)))
    setting = settings(brief)[-1]
    tables = PropellerTables(setting, shelf)
    frames = tables.node_frames
    need = np.asarray(thrust_needed_n(frames, setting.air.density_kg_m3, 20.0, -1.0)).reshape(-1, tables.nodes)
    falls = np.diff(need, axis=1) < 0
    assert falls.any()
    assert not np.any((tables.held[0][0].kind[:, :-1] == HELD) & falls)


def test_cruise_that_pays_for_a_glide_lies_between_its_nodes_whatever_the_motor():
    """Half the time each: the cruise climbs as fast as the glide sinks, V (D + D_off)/W."""
    setting, shelf = drawn(random_case, 3)
    glide = Phase(name="glide", airspeed_m_s=9.0, throttle=0.0, share=0.5)
    phases = (glide, Phase(name="cruise", airspeed_m_s=12.0, share=0.5))
    setting = settings(replace(setting.stated, phase=phases))[-1]
    tables, rho = PropellerTables(setting, shelf), setting.air.density_kg_m3
    rows = lanes_of(shelf, np.random.default_rng(3))
    lanes, p = shelf.combine(*rows.T)[0], rows[:, 3]
    drive_g = tables.mass_start_g + (0.5 + np.arange(len(rows)) % (tables.nodes - 1)) * tables.mass_step_g
    node, frames = tables.node_of(drive_g), setting.airframes(drive_g + shelf.column("propellers_g")[p])
    speed = np.asarray(setting.airspeed_m_s(glide, frames))
    drag = thrust_needed_n(frames, rho, speed, 0.0) * frames.installed_thrust + motor_off_drag(lanes, speed, rho).drag_n
    need = np.asarray(thrust_needed_n(frames, rho, 12.0, speed * drag / frames.weight_n))
    u, _ = exact_speeds(tables, setting, shelf, p, need, 12.0)
    low, high = tables.held[1]
    both = (low.kind[p, node] == HELD) & (high.kind[p, node + 1] == HELD)
    assert both.sum() > 20
    assert np.all((low.speed[p, node] <= u * (1.0 + 1e-9))[both])
    assert np.all((high.speed[p, node + 1] >= u * (1.0 - 1e-9))[both])


def test_full_throttle_in_flight_is_judged_once_at_each_airspeed_that_is_flown_with_the_motor():
    setting, shelf = drawn(random_case, 3)
    glide = Phase(name="glide", airspeed_m_s=9.0, throttle=0.0, seconds=60.0)
    dash, again = (Phase(name=name, airspeed_m_s=15.0, throttle=1.0, seconds=9.0) for name in ("dash", "again"))
    phases = (glide, dash, Phase(name="cruise", airspeed_m_s=12.0, share=1.0), again)
    tables = PropellerTables(settings(replace(setting.stated, phase=phases))[-1], shelf)
    told = [float(np.ravel(speed)[0]) for _, speed in tables.airspeeds(np.array([300.0]))]
    assert told == [15.0, 12.0]


def test_the_mean_voltage_is_that_of_a_fine_sum():
    for seed in range(6):
        for chemistry in random_case(seed)[1].lanes.chemistries:
            for reserve in (0.0, 0.2, 0.37):
                edges = np.linspace(reserve, 1.0, 200_001)
                fine = np.mean(chemistry.cell_ocv_v(0.5 * (edges[1:] + edges[:-1])))
                assert mean_ocv_v(chemistry, reserve) == pytest.approx(fine, rel=1e-7)


# ---------------------------------------------------------------- drives


@pytest.mark.parametrize("seed", SEEDS)
def test_no_motor_within_its_limits_gives_more_power_than_its_bound(seed):
    setting, shelf, tables, _ = made(seed)
    screen = Screen(setting, shelf, counting=True, tables=tables)
    packs, propellers = np.arange(len(shelf.packs)), np.arange(len(shelf.propellers))
    greatest = Groups(screen).greatest_power_w(packs)
    for drives in screen.drives(packs, 10**6):
        bound = drives.shaft_power_w(tables)
        assert np.isfinite(bound[~drives.odd]).all()
        assert np.all((bound <= greatest[drives.pack] * (1.0 + 1e-9))[np.isfinite(bound)])
        d, p = (x.ravel() for x in np.meshgrid(np.arange(drives.size), propellers, indexing="ij"))
        rows = drives.combinations(d, p)
        lightest = screen.lightest_g[drives.pack]
        assert np.all(lightest <= drives.mass_g - shelf.column("pack_g")[drives.pack] + 1e-9)
        measured = TrainMeasures(setting, *shelf.combine(*rows.T))
        keeps = np.ones(len(rows), dtype=bool)
        for name in ("motor_current_static", "motor_current_flight", "motor_power", "controller_current", "pack_burst"):
            keeps &= measured.passes(name)
        for charge in (1.0, 0.5):
            power = measured.full(charge).shaft_power_w / shelf.count
            some = keeps & np.isfinite(power)
            assert np.all((power <= bound[d] * (1.0 + 1e-6))[some])
            assert np.all((power <= greatest[rows[:, 2]] * (1.0 + 1e-6))[some])


def test_a_drive_steps_up_where_the_check_of_linear_servo_supplies_says_so():
    told = []
    for seed in range(5):
        setting, shelf = drawn(random_case, seed)
        for drives in Screen(setting, shelf, counting=True).drives(np.arange(len(shelf.packs)), 10**6):
            rows = drives.combinations(np.arange(drives.size), np.zeros(drives.size, dtype=np.intp))
            passes = TrainMeasures(setting, *shelf.combine(*rows.T)).passes("servo_supply_voltage")
            np.testing.assert_array_equal(drives.steps_up, ~passes)
            told += drives.steps_up.tolist()
    assert 0 < sum(told) < len(told)


# ---------------------------------------------------------------- what the screen decides


class Checked(Screen):
    """A screen whose every decision is held against the measure."""

    claims = 0

    def _settle(self, name, drives, lanes, passes, fails):
        measured = self.measured(drives, lanes).passes(name)
        assert np.all(measured[passes]), name
        assert not np.any(measured[fails & ~passes]), name
        type(self).claims += int(np.count_nonzero(passes | fails))
        return super()._settle(name, drives, lanes, passes, fails)

    def _flight(self, drives, lanes):
        kept, bounds, open_ = super()._flight(drives, lanes)
        rows = drives.combinations(lanes.drive, lanes.propeller)
        if len(rows):
            failed, _, _ = first_failures(TrainMeasures(self.setting, *self.shelf.combine(*rows.T)))
            good = set(map(tuple, rows[failed < 0].tolist()))
            left = drives.combinations(kept.drive, kept.propeller)
            assert good <= set(map(tuple, left.tolist()))
            assert {tuple(row) for row in left[~open_].tolist()} <= good
        return kept, bounds, open_


@pytest.mark.parametrize("case", [random_case, written, bursting_case, cold_case])
def test_what_bounds_decide_is_what_the_measures_say(case):
    Checked.claims = 0
    for seed in range(16):
        setting, shelf = drawn(case, seed)
        screen = Checked(setting, shelf, counting=True)
        for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
            screen.block(drives)
    assert Checked.claims > 500


@pytest.mark.parametrize("case", [random_case, bursting_case, cold_case])
def test_what_surely_flies_passes_every_check_of_the_flight(case):
    claims = 0
    for seed in range(60):
        setting, shelf = drawn(case, seed)
        if not SureFlights.known(setting):
            continue
        screen = Screen(setting, shelf, counting=True)
        for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
            lanes = screen.before_flight(drives, Lanes.every(drives.size, len(shelf.propellers)))
            sure = lanes.take(SureFlights(screen.tables, drives)(lanes.propeller, lanes.drive))
            if sure.size:
                claims += sure.size
                assert screen.flown(drives.combinations(sure.drive, sure.propeller)).all()
    assert claims > 50


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written, climbed])
def test_flight_bounds_bound_the_flight_of_any_combination(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    screen = Screen(setting, shelf, counting=True, tables=tables)
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        d, p = rng.integers(0, drives.size, 200), rng.integers(0, len(shelf.propellers), 200)
        bounds = flight_bounds(tables, drives, p, d)
        measured = TrainMeasures(setting, *shelf.combine(*drives.combinations(d, p).T))
        # the nodes of mass go as far as the limits of the mass
        light = np.logical_and.reduce([measured.passes(n) for n in ("all_up_mass", "wing_loading")])
        if not light.any():
            continue
        bounds, measured = bounds.take(light), measured.take(light)
        flown = measured.flight
        minutes = np.nan_to_num(flown.minutes)
        assert np.all(bounds.minutes_low <= minutes)
        assert np.all(minutes <= bounds.minutes_high)
        for each, low, high in (
            (flown.phase_current_a, bounds.current_low_a, bounds.current_high_a),
            (flown.phase_motor_current_a, bounds.motor_low_a, bounds.motor_high_a),
        ):
            current = np.fmax.reduce(each)
            known = np.isfinite(current)
            assert np.all((low <= current)[known])
            assert np.all((current <= high)[known])
            # without any mean current there is none that could pass
            assert np.all(np.isposinf(high)[~known])


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_drawn_first_would_fly_for_as_long_as_is_said(seed):
    """The mean of 1/I from full to a charge is the time of a flight that ends there over the charge that it takes."""
    setting, shelf = random_case(seed)
    shares = [Phase(name=f"at {v}", airspeed_m_s=v, share=share) for v, share in ((11.0, 0.7), (14.0, 0.3))]
    limits = replace(setting.brief.limits, max_wing_loading_g_dm2=None)
    brief, told = (
        replace(setting.stated, aircraft=replace(setting.stated.aircraft, target_mass_g=None), phase=shares),
        0,
    )
    whole, *others = (
        settings(replace(brief, limits=replace(limits, reserve_charge=charge)))[-1] for charge in (0.2, 0.4, 0.7, 0.9)
    )
    tables = PropellerTables(whole, shelf)
    for drives in Screen(whole, shelf, counting=True, tables=tables).drives(np.arange(len(shelf.packs)), 10**6):
        d, p = (x.ravel() for x in np.meshgrid(np.arange(drives.size), np.arange(len(shelf.propellers))))
        with np.errstate(all="ignore"):
            bounds = _Bounds(tables, drives, p, d)
            mix = bounds._mixture()
        assert np.all((mix.early >= mix.least)[mix.holds])
        some = np.flatnonzero(mix.holds & ~bounds.unknown & ~bounds.impossible)
        if not some.size:
            continue
        lanes = shelf.combine(*drives.combinations(d[some], p[some]).T)
        coulombs = 3600.0 * drives.of_pack["capacity_ah"][d[some]]
        told += int(np.count_nonzero(mix.early[some] > 1.01 * mix.least[some]))
        for each in others:
            seconds = 60.0 * TrainMeasures(each, *lanes).flight.minutes
            assert np.all(seconds >= coulombs * (1.0 - each.reserve_charge) * mix.early[some])
    assert told > 5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_nothing_reaches_what_it_is_said_not_to_reach(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    rows = lanes_of(shelf, rng, 200)
    if not len(rows):
        return
    measured = TrainMeasures(setting, *shelf.combine(*rows.T))
    for metric in TESTED:
        value = metric_value(measured, metric)
        for share in (0.3, 0.999, 1.0, 1.01, 2.0):
            asked = np.where(np.isfinite(value), value, 5.0) * share
            assert not np.any((value >= asked)[~may_reach(tables, shelf, rows, metric, asked)]), metric


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_no_pack_and_propeller_give_more_than_their_bound_in_anything_that_passes(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    screen = Screen(setting, shelf, counting=True, tables=tables)
    rows = lanes_of(shelf, rng, 400)
    if not len(rows):
        return
    _, alive, survivors = first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))
    scales = {"flight_time": 10.0, "thrust_to_weight": 0.7, "mass": 300.0, "top_speed": 15.0, "climb": 3.0, "margin": 1}
    for metric in METRICS:
        order = Ranking(weights={metric: 1.0}, scales=scales)
        bound = pair_bound(screen, order, np.arange(len(shelf.packs)), np.arange(len(shelf.propellers)))
        if alive.size:
            score = order.of(survivors)
            assert np.all(score <= bound[rows[alive, 2], rows[alive, 3]] + 1e-9 * np.abs(score)), metric


# ---------------------------------------------------------------- groups


SCALES = {"flight_time": 10.0, "thrust_to_weight": 0.7, "mass": 300.0, "top_speed": 15.0, "climb": 3.0, "margin": 1.0}


def passing_lanes(setting, shelf, rng, count):
    """Random combinations (N, 4) that pass, and their measures."""
    rows = lanes_of(shelf, rng, count)
    _, alive, survivors = first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))
    return rows[alive], survivors


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_no_climb_is_missed_where_every_range_of_airspeed_says_no(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    rows = lanes_of(shelf, rng, 300)
    if not len(rows):
        return
    screen = Screen(setting, shelf, counting=False, tables=tables)
    measured = TrainMeasures(setting, *shelf.combine(*rows.T))
    light = np.logical_and.reduce([measured.passes(n) for n in ("all_up_mass", "wing_loading")])
    value = np.where(light, metric_value(measured, "climb"), np.nan)
    said_no = 0
    for climb in (0.5, 2.0, 5.0, 9.0):
        some = copy(screen)
        some.wants = (wanted(tables, "climb", climb),)
        groups = Groups(some)
        groups._least_minutes, groups._least_cells_v = 0.0, None
        may = groups._gives(
            rows[:, 0] * shelf.sizes[1] + rows[:, 1], rows[:, 3], groups._packs.take(rows[:, 2]),
            screen.pairs.mass_g[rows[:, 0] * shelf.sizes[1] + rows[:, 1]] + shelf.column("pack_g")[rows[:, 2]],
        )  # fmt: skip
        assert not np.any((value >= climb)[~may]), climb
        said_no += int(np.count_nonzero(~may & light))
    assert said_no > 0 or not light.any() or np.nanmin(value) > 0.5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_every_climb_is_reached_that_a_range_of_airspeed_surely_gives(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    falls, said, easily = tables.curves.regular & (tables.curves.falling_from <= 0), 0, 0
    for climb in (0.5, 2.0, 4.0):
        asking = settings(replace(setting.stated, limits=replace(setting.stated.limits, min_climb_m_s=climb)))[-1]
        screen, most_g = Screen(asking, shelf, counting=False, tables=tables), asking.train_mass_g(tables.mass_limit_g)
        for drives in screen.drives(np.arange(len(shelf.packs)), 40):
            lanes = Lanes.every(drives.size, falls.size).kept(rng.random((drives.size, falls.size)) < 0.5)
            if lanes.size:
                light = drives.mass_g[lanes.drive] + tables.mass_g[lanes.propeller] < most_g
                sure = screen._climbs_surely(drives, lanes)[0] & light
                value = metric_value(screen.measured(drives, lanes), "climb")
                assert np.all(value[sure] >= climb)
                easy = light & (value > 2.0 * climb + 1.0) & falls[lanes.propeller] & ~drives.odd[lanes.drive]
                said, easily = said + np.count_nonzero(easy & sure), easily + np.count_nonzero(easy)
    assert said >= 0.5 * easily or easily < 20


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_no_group_loses_a_combination_that_passes_and_reaches_what_is_asked(case, seed):
    setting, shelf, tables, rng = made(seed, case)
    rows, survivors = passing_lanes(setting, shelf, rng, 600)
    if not len(rows):
        return
    every = np.ones((shelf.sizes[2], shelf.sizes[3]), dtype=bool)
    pairs = np.ones(shelf.sizes[0] * shelf.sizes[1], dtype=bool)
    weights = [{metric: 1.0} for metric in METRICS] + [
        {"flight_time": 0.4, "top_speed": 0.4, "climb": 0.2, "mass": 0.3}
    ]
    for weight in weights:
        order = Ranking(weights=weight, scales=SCALES)
        score = order.of(survivors)
        for share in (0.0, 0.5, 1.0):
            threshold = np.quantile(score[np.isfinite(score)], share) if np.isfinite(score).any() else np.nan
            if not np.isfinite(threshold):
                continue
            screen = Screen(setting, shelf, counting=False, tables=tables)
            screen.wants = screen.limits_wanted
            best = Best(screen=screen, ranking=order, top=1)
            best.note(*pair_values(screen, order, np.arange(shelf.sizes[2]), np.arange(shelf.sizes[3])))
            best.score = np.array([threshold])
            groups = best.raised()
            reach = rows[score >= threshold]
            assert np.all(groups.may(reach)), weight
            found = [np.empty((0, 4), dtype=np.intp)]
            found += [
                drives.combinations(lanes.drive, lanes.propeller) for drives, lanes in groups.combinations(every, pairs)
            ]
            assert set(map(tuple, reach.tolist())) <= set(map(tuple, np.concatenate(found).tolist())), weight


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written])
def test_no_row_of_propellers_loses_what_a_group_may_keep(case, seed):
    setting, shelf, tables, _ = made(seed, case)
    screen = Screen(setting, shelf, counting=False, tables=tables)
    for climb in (None, 1.0, 4.0):
        screen.wants = screen.limits_wanted + (() if climb is None else (wanted(tables, "climb", climb),))
        groups = Groups(screen)
        for each in screen.classes:
            pairs, propellers = each.pairs, np.arange(shelf.sizes[3])
            top = screen.packs.grouped(each.packs, np.zeros(1, dtype=np.intp))
            limits = groups._limits(pairs, np.full(pairs.size, each.packs[0]))
            at = groups._thresholds(pairs, top, *limits)
            d, p = np.repeat(np.arange(pairs.size), propellers.size), np.tile(propellers, pairs.size)
            may = groups._may(pairs[d], p, top, (at[0][d], at[1][d]))
            left = [d * propellers.size + p for d, p in groups._rough(pairs, propellers, top, at)]
            assert np.all(np.isin(may, np.concatenate(left)))


@pytest.mark.parametrize("seed", [5, 6])
def test_tables_of_an_airframe_that_differs_lane_by_lane_are_its_own(seed):
    """More drag asks for more, whatever was made before for the airframe as designed."""
    setting, shelf, tables, _ = made(seed)
    drag = PolarFactors(cd0=np.full(1, 2.0), k=np.ones(1), cl_max=np.ones(1), installed_thrust=np.ones(1))
    dragged = PropellerTables(attrs.evolve(setting, polar=drag), shelf)
    more = less = 0
    for own, other in zip(tables.held, dragged.held, strict=True):
        if own is not None:
            both = (own[0].kind == HELD) & (other[0].kind == HELD)
            more += np.count_nonzero(other[0].torque[both] > own[0].torque[both])
            less += np.count_nonzero(other[0].torque[both] <= own[0].torque[both])
    assert more > 0
    assert less == 0


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_wanted_is_rounded_down_by_less_than_a_millionth(seed):
    _, _, tables, _ = made(seed)
    want = wanted(tables, "thrust_to_weight", 0.7)
    least = np.full(tables.node_rows.size, 0.7 * (1.0 - 1e-6))
    with np.errstate(all="ignore"):
        asked = _asked(tables, "thrust_to_weight", least, tables.node_frames, tables.node_rows)
    looked = np.arange(least.size) % tables.nodes % _EVERY == 0
    for kept, exact in zip((want.speed[0], want.torque[0]), asked, strict=True):
        known = np.isfinite(exact)
        assert np.all(np.isfinite(kept)[known]), "a node takes what the one below that was looked at asks for"
        assert np.all(kept[known].astype(np.float64) <= exact[known])
        assert np.array_equal(np.isfinite(kept)[looked], known[looked])
        assert np.all(kept[looked & known] >= exact[looked & known] * (1.0 - 1e-6))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("case", [random_case, written, bursting_case])
def test_what_keeps_every_limit_with_a_margin_passes_where_limits_are_moved_by_it_and_the_other_way_round(case, seed):
    setting, shelf, _, rng = made(seed, case)
    rows = lanes_of(shelf, rng, 500)
    if not len(rows):
        return
    measured = TrainMeasures(setting, *shelf.combine(*rows.T))
    good = first_failures(measured)[0] < 0
    margin = np.where(good, smallest_margins(measured), -np.inf)
    for asked in (0.01, 0.1, 0.3):
        here, there = moved_by(setting, shelf, asked)
        keeps = first_failures(TrainMeasures(here, *there.combine(*rows.T)))[0] < 0
        assert np.all(keeps[margin >= asked])
        assert np.all(good[keeps])
