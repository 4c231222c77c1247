"""What motor, controller and pack offer is written once: change it there, and every answer follows."""

import math

import attrs
import numpy as np
import pytest
from scipy.optimize import brentq
from support.random_cases import random_case
from support.small_aircraft import small_brief, small_catalogue
from support.trains import constant_table, simple_airframe, simple_train

import propmatch
from propmatch.aircraft.discharge import load_of
from propmatch.aircraft.polar import airframe_lanes
from propmatch.brief import Phase
from propmatch.coupling import hold_lanes, solve_lanes
from propmatch.models import motor
from propmatch.search.bounds.pruned import search
from propmatch.search.exhaustive import exhaustive
from propmatch.search.ranking import ranking
from propmatch.train import lanes as lanes_module
from propmatch.train.lanes import train_lanes
from propmatch.train.scaling import rewound_lanes

RHO, SOUND = np.array([1.225]), np.array([340.3])
PHASES = (Phase(name="climb", throttle=1.0, seconds=20.0), Phase(name="cruise", airspeed_m_s=11.0, share=1.0))
TRAIN = simple_train(motor={"no_load_current_a": 0.8}, propeller={"table": constant_table()})


def answers(train=TRAIN):
    """What the engine says of one train, by every way there is to ask."""
    point = propmatch.solve(train, airspeed_m_s=6.0, throttle=0.8, charge=0.6)
    held = propmatch.hold_thrust(train, 1.0, airspeed_m_s=6.0)
    level = propmatch.level_flight(train, simple_airframe(), 0.4, 11.0)
    time = propmatch.flight_time(train, simple_airframe(), 0.4, PHASES)
    return {
        "solve": point.motor_current_a,
        "efficiency": point.motor_efficiency,
        "hold_thrust": held.pack_current_a,
        "level_flight": level.pack_current_a,
        "flight_time": time.minutes,
        "full throttle phase": time.phases[0].pack_current_mean_a,
    }


def doubled(ratio, exponent):
    return 2.0 * np.power(np.maximum(ratio, 0.0), exponent)


def test_the_motors_law_changed_in_its_place_moves_every_answer_as_a_motor_of_that_kind_would(monkeypatch) -> None:
    before, twice = answers(), answers(attrs.evolve(TRAIN, motor=attrs.evolve(TRAIN.motor, no_load_current_a=1.6)))
    monkeypatch.setattr(motor, "no_load_ratio", doubled)
    after = answers()
    for name, value in after.items():
        assert abs(value / before[name] - 1.0) > 1e-3, name
        assert value == pytest.approx(twice[name], rel=1e-12), name


def test_the_motors_law_changed_in_its_place_moves_match_and_both_searches(monkeypatch) -> None:
    monkeypatch.setenv("PROPMATCH_CACHE", "")  # a law changed in place is no other code
    brief, catalogue = small_brief(), small_catalogue()
    before = propmatch.match(brief, catalogue)
    monkeypatch.setattr(motor, "no_load_ratio", doubled)
    quick, plain = (propmatch.match(brief, catalogue, exhaustive=way) for way in (False, True))
    assert [row.id for row in quick.rows] == [row.id for row in plain.rows]
    assert [row.score for row in quick.rows] == [row.score for row in plain.rows]
    assert quick.left_out == plain.left_out
    assert before.best.flight_minutes > 1.01 * quick.best.flight_minutes


SLOPE, TORQUE = 3.4, 1.05
"""b/K^2 and K/K_t of the kind that five-inch motors on a bench show."""


def risen(train_motor):
    numbers = MOTOR_NUMBERS(train_motor)
    k = numbers["k"]
    return numbers | {"slope_ohm_s": SLOPE * k * k, "k_torque": k / TORQUE}


MOTOR_NUMBERS = lanes_module.motor_numbers


@pytest.mark.slow
def test_quick_and_plain_search_agree_with_a_resistance_that_rises_with_speed(monkeypatch) -> None:
    moved = 0
    for seed in range(40):
        setting, shelf = random_case(seed)
        order = ranking(setting)
        without = exhaustive(setting, shelf, order)
        with monkeypatch.context() as patch:
            patch.setattr(lanes_module, "motor_numbers", risen)
            setting, shelf = random_case(seed)
            quick, plain = search(setting, shelf, order), exhaustive(setting, shelf, order)
        np.testing.assert_array_equal(quick.combination, plain.combination)
        np.testing.assert_allclose(quick.score, plain.score, rtol=1e-12)
        assert (quick.passing, quick.left_out) == (plain.passing, plain.left_out)
        moved += plain.left_out != without.left_out or not np.array_equal(plain.score, without.score)
    assert moved >= 20


def risen_lanes(count: int):
    lanes, _ = train_lanes([TRAIN] * count)
    return attrs.evolve(lanes, slope_ohm_s=SLOPE * lanes.k**2, k_torque=lanes.k / TORQUE)


def voltage_left(p, w: float, throttle: float, charge: float) -> tuple[float, float]:
    """S - K w - (R + R_c + b w + count d^2 R_b/eta) I of one ungeared train with constant coefficients, and I."""
    diameter, cp = 0.0254 * TRAIN.propeller.diameter_in, 0.045
    torque = cp * RHO[0] * (w / (2 * math.pi)) ** 2 * diameter**5 / (2 * math.pi)
    current = torque / p.k_torque[0] + p.no_load_a[0]
    pack = p.pack_ohm(np.array([charge]))[0]
    eta = 1.0 - p.loss[0] * (1.0 - throttle)
    ohm = p.resistance_ohm[0] + p.controller_ohm[0] + p.slope_ohm_s[0] * w + p.count[0] * throttle**2 * pack / eta
    source = throttle * (p.open_circuit_v(np.array([charge]))[0] - pack * p.radio_a[0])
    return source - p.k[0] * w - ohm * current, current


@pytest.mark.parametrize(("throttle", "charge"), [(1.0, 1.0), (0.7, 0.5), (0.35, 0.2)])
def test_a_resistance_that_rises_with_speed_against_brentq(throttle, charge) -> None:
    p = risen_lanes(1)
    w = brentq(lambda w: voltage_left(p, w, throttle, charge)[0], 1.0, 5000.0, xtol=1e-12, rtol=1e-15)
    found = solve_lanes(p, np.zeros(1), np.array([throttle]), np.array([charge]), RHO, SOUND)
    assert found.rpm[0] == pytest.approx(60.0 * w / (2.0 * math.pi), rel=1e-10)
    assert found.motor_current_a[0] == pytest.approx(voltage_left(p, w, throttle, charge)[1], rel=1e-10)
    without = solve_lanes(attrs.evolve(p, slope_ohm_s=0.0 * p.k), np.zeros(1), np.array([throttle]),
                          np.array([charge]), RHO, SOUND)  # fmt: skip
    assert without.rpm[0] > 1.005 * found.rpm[0]
    # held thrust finds the same state back
    held = hold_lanes(p, found.thrust_n, np.zeros(1), np.array([charge]), RHO, SOUND)
    assert held.throttle[0] == pytest.approx(throttle, rel=1e-9)
    assert held.pack_current_a[0] == pytest.approx(found.pack_current_a[0], rel=1e-9)


def test_energy_closes_with_unequal_constants_and_a_rising_resistance() -> None:
    p = risen_lanes(6)
    throttle, charge = np.linspace(0.3, 1.0, 6), np.linspace(0.1, 1.0, 6)
    point = solve_lanes(p, np.full(6, 5.0), throttle, charge, RHO, SOUND)
    given = p.open_circuit_v(charge) * point.pack_current_a
    taken = point.shaft_power_w + point.heat_w + point.pack_voltage_v * p.radio_a
    assert given == pytest.approx(taken, rel=1e-12)
    shaft = p.k_torque * (point.motor_current_a - p.no_load_a) * point.motor_rpm * 2.0 * math.pi / 60.0
    assert point.motor_voltage_v * point.motor_current_a - shaft == pytest.approx(point.motor_heat_w, rel=1e-10)


def test_currents_over_the_discharge_at_a_held_throttle_are_those_of_solved_points() -> None:
    p = risen_lanes(1)
    frames, _ = airframe_lanes(simple_airframe(), np.array([0.4]))
    load = load_of(Phase(name="part", throttle=0.8, airspeed_m_s=8.0, share=1.0), p, frames, 0.2, RHO, SOUND)
    for charge in np.linspace(0.2, 1.0, 17):
        q = np.array([charge])
        solved = solve_lanes(p, np.array([8.0]), np.array([0.8]), q, RHO, SOUND)
        assert load.at(q).pack_current_a[0] == pytest.approx(solved.pack_current_a[0], rel=2e-5)


def test_a_motor_wound_for_another_kv_keeps_its_rise_in_units_of_k_squared() -> None:
    p = risen_lanes(1)
    wound = rewound_lanes(p, 1.5)
    assert wound.slope_ohm_s / wound.k**2 == pytest.approx(p.slope_ohm_s / p.k**2, rel=1e-14)
    assert wound.k / wound.k_torque == pytest.approx(p.k / p.k_torque, rel=1e-14)


def test_a_warm_winding_has_the_resistance_of_warm_copper_and_gives_less() -> None:
    """IEC 60028: the resistance of annealed copper rises by 0.00393 of that at 20 degC for each kelvin."""
    assert motor.warm_resistance_ohm(0.1, 80.0) == pytest.approx(0.13144, rel=1e-12)
    p, _ = train_lanes([TRAIN])
    warm = p.with_warm_windings(80.0)
    one = np.ones(1)
    cold, hot = (solve_lanes(x, 0.0 * one, one, one, RHO, SOUND) for x in (p, warm))
    assert hot.thrust_n[0] < cold.thrust_n[0]
    assert hot.motor_current_a[0] < cold.motor_current_a[0]
