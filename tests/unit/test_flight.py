"""Level flight, top speed and climb, against drag written out by hand, scipy's brentq and brute-force grids."""

import numpy as np
import pytest
from scipy.optimize import brentq
from support.trains import random_train, simple_airframe, simple_train

from propmatch import Air, Status, solve
from propmatch.aircraft.flight import full_throttle, full_throttle_lanes, level_flight
from propmatch.aircraft.polar import airframe_lanes, polar_speeds
from propmatch.train.lanes import train_lanes

MASS = 0.41
G = 9.80665
RHO = float(Air.standard().density_kg_m3)


def drag_by_hand(airframe, mass, speed, load_factor=1.0):
    area = airframe.wing_area_dm2 / 100
    aspect = (airframe.wing_span_mm / 1000) ** 2 / area
    q = 0.5 * RHO * speed**2
    cl = load_factor * mass * G / (q * area)
    return q * area * (airframe.cd0 + cl**2 / (np.pi * airframe.oswald * aspect))


def excess_by_hand(train, airframe, mass, speed, charge=1.0):
    thrust = solve(train, airspeed_m_s=speed, charge=charge).thrust_n
    return airframe.installed_thrust * thrust - drag_by_hand(airframe, mass, speed)


def test_stall_speed_by_hand():
    # L = W at CL_max: V = sqrt(2 x 0.41 x 9.80665/(1.225 x 0.16 x 1.1)), hand calculation.
    assert polar_speeds(simple_airframe(), MASS).stall_speed_m_s == pytest.approx(6.10721, rel=1e-5)


def test_polar_speeds_stay_at_or_above_the_stall_and_are_the_least_there():
    frame = simple_airframe()
    found = polar_speeds(frame, MASS)
    speeds = np.linspace(found.stall_speed_m_s, 30, 20001)
    drag = drag_by_hand(frame, MASS, speeds)
    assert found.least_drag_n == pytest.approx(drag.min(), rel=1e-6)
    assert found.least_power_w == pytest.approx((drag * speeds).min(), rel=1e-6)
    assert found.least_power_speed_m_s == found.stall_speed_m_s  # the optimum of this wing lies below its stall
    assert found.glide_ratio == pytest.approx(MASS * G / drag.min(), rel=1e-6)
    assert found.sink_m_s == pytest.approx((drag * speeds).min() / (MASS * G), rel=1e-6)


def test_drag_in_words_is_a_stated_assumption():
    point = level_flight(simple_train(), simple_airframe(cd0="floats"), MASS, 10.0)
    assert any(a.subject == "airframe" and a.field == "cd0" and a.value == 0.08 for a in point.assumptions)


@pytest.mark.parametrize(("climb", "load"), [(0.0, 1.0), (1.5, 1.0), (0.0, 1.3), (-0.2, 1.0)])
def test_level_flight_thrust_balances_drag_and_weight(climb, load):
    frame = simple_airframe(installed_thrust=0.9)
    point = level_flight(simple_train(), frame, MASS, 11.0, climb_m_s=climb, load_factor=load)
    needed = (drag_by_hand(frame, MASS, 11.0, load) + MASS * G * climb / 11.0) / 0.9
    assert point.status is Status.OK
    assert point.thrust_n == pytest.approx(needed, rel=1e-10)
    again = solve(simple_train(), airspeed_m_s=11.0, throttle=point.throttle)
    assert again.thrust_n == pytest.approx(needed, rel=1e-8)


def test_level_flight_says_why_there_is_no_answer():
    point = level_flight(
        simple_train(), simple_airframe(), [MASS, MASS, MASS, np.nan, MASS], [5.0, 12.0, 40.0, 12.0, 12.0],
        climb_m_s=[0.0, -3.0, 0.0, 0.0, 13.0],
    )  # fmt: skip
    assert [Status(s).name for s in point.status] == ["BELOW_STALL", "OFF", "CANNOT_HOLD", "BAD_INPUT", "BAD_INPUT"]
    assert point.pack_current_a[1] == pytest.approx(0.2)
    assert point.throttle[1] == 0
    assert np.all(np.isnan(point.pack_current_a[[0, 2, 3, 4]]))


def test_level_flight_broadcasts_trains_airframes_and_speeds():
    trains = [simple_train(), simple_train(pack={"cells_series": 3})]
    frames = [simple_airframe(), simple_airframe(cd0=0.06)]
    speeds = np.array([[9.0], [11.0], [13.0]])
    point = level_flight(trains, frames, MASS, speeds)
    assert point.thrust_n.shape == (3, 2)
    for i, speed in enumerate(speeds.ravel()):
        for j in range(2):
            one = level_flight(trains[j], frames[j], MASS, float(speed))
            assert isinstance(one.throttle, float)
            assert point.throttle[i, j] == pytest.approx(one.throttle, rel=1e-12)


def test_an_airframe_that_is_none_is_refused():
    with pytest.raises(TypeError, match="Airframe"):
        level_flight(simple_train(), ["wing"], MASS, 10.0)


CASES = {
    "glider": (simple_train(), simple_airframe(), MASS),
    "pylon": (simple_train(), simple_airframe(installed_thrust=0.85, cd0=0.06), MASS),
    "three cells": (simple_train(pack={"cells_series": 3}), simple_airframe(), 0.8),
    "twin": (simple_train(count=2), simple_airframe(), 0.7),
    "hardly flies": (simple_train(motor={"kv_rpm_per_v": 800.0}), simple_airframe(cd0=0.05), 0.6),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_top_speed_is_brentqs(case):
    train, frame, mass = case
    found = full_throttle(train, frame, mass)
    assert found.status is Status.OK
    speeds = np.linspace(found.stall_speed_m_s, 20.0, 200)
    strongest = speeds[np.argmax(excess_by_hand(train, frame, mass, speeds))]
    expected = brentq(lambda v: excess_by_hand(train, frame, mass, v), strongest, 60.0, xtol=1e-12)
    assert found.top_speed_m_s == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_best_climb_is_that_of_a_fine_grid(case):
    train, frame, mass = case
    found = full_throttle(train, frame, mass, charge=0.5)
    speeds = np.linspace(1.2 * found.stall_speed_m_s, 40.0, 8001)  # never quoted nearer to the stall: common practice
    sine = np.minimum(excess_by_hand(train, frame, mass, speeds, charge=0.5) / (mass * G), 1.0)
    assert found.climb_m_s == pytest.approx(np.max(speeds * sine), rel=2e-5)
    assert found.climb_m_s == pytest.approx(
        found.climb_airspeed_m_s * np.sin(np.radians(found.climb_angle_deg)), rel=1e-12
    )
    assert np.sin(np.radians(found.steepest_deg)) == pytest.approx(np.max(sine), rel=2e-4)
    assert min(found.steepest_airspeed_m_s, found.climb_airspeed_m_s) >= 1.2 * found.stall_speed_m_s * (1 - 1e-12)


def test_vertical_climb_ends_where_excess_thrust_is_the_weight():
    train, frame, mass = simple_train(pack={"cells_series": 4}), simple_airframe(), 0.25
    found = full_throttle(train, frame, mass)
    expected = brentq(lambda v: excess_by_hand(train, frame, mass, v) - mass * G, 12.0, 60.0, xtol=1e-12)
    assert found.climb_angle_deg == 90.0
    assert found.climb_m_s == pytest.approx(expected, rel=1e-8)
    assert found.steepest_deg == 90.0


def test_speed_of_zero_thrust_comes_from_the_table_and_pitch_speed_from_rest():
    train = simple_train()
    found = full_throttle(train, simple_airframe(), MASS)
    expected = brentq(lambda v: solve(train, airspeed_m_s=v).thrust_n, 5.0, 60.0, xtol=1e-12)
    assert found.zero_thrust_speed_m_s == pytest.approx(expected, rel=1e-8)
    assert found.pitch_speed_m_s == pytest.approx(solve(train).pitch_speed_m_s, rel=1e-12)


def test_hand_launch_thrust_at_half_the_stall_speed():
    frame = simple_airframe(installed_thrust=0.9)
    found = full_throttle(simple_train(), frame, MASS, charge=0.5)
    thrust = solve(simple_train(), airspeed_m_s=found.stall_speed_m_s / 2, charge=0.5).thrust_n
    assert found.hand_launch_thrust_to_weight == pytest.approx(0.9 * thrust / (MASS * G), rel=1e-10)


def test_too_heavy_to_fly_sinks_at_full_throttle_and_says_so():
    found = full_throttle(simple_train(motor={"kv_rpm_per_v": 400.0}), simple_airframe(cd0=0.1), 2.5)
    assert found.status is Status.CANNOT_HOLD
    assert np.isnan(found.top_speed_m_s)
    assert found.climb_m_s < 0


def test_lanes_are_the_single_answers_and_a_bad_lane_harms_none():
    rng = np.random.default_rng(7)
    trains = [random_train(rng) for _ in range(24)]
    masses = rng.uniform(0.2, 1.2, 24)
    masses[5], masses[11] = np.nan, -1.0
    lanes, _ = train_lanes(trains)
    frames, _ = airframe_lanes(simple_airframe(), masses)
    air = Air.standard(400)
    full = np.ones(24)
    args = (full, air.density_kg_m3 * full, air.speed_of_sound_m_s * full)
    found = full_throttle_lanes(lanes, frames, *args)
    assert [found.status[i] for i in (5, 11)] == [Status.BAD_INPUT, Status.BAD_INPUT]
    assert np.isnan(found.climb_m_s[[5, 11]]).all()
    for i in set(range(24)) - {5, 11}:
        one = full_throttle(trains[i], simple_airframe(), masses[i], air=air)
        for name in ("top_speed_m_s", "climb_m_s", "climb_airspeed_m_s", "steepest_deg", "zero_thrust_speed_m_s"):
            assert getattr(found, name)[i] == pytest.approx(getattr(one, name), rel=1e-7, nan_ok=True)
        assert one.status == found.status[i]
