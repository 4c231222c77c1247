"""Stall, glide, cruise, climb and turns against cited aeroplanes, closed forms and scipy's minimiser."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from support.trains import simple_airframe, simple_train

from propmatch import Air, Phase, Status
from propmatch.aircraft.flight import full_throttle, level_flight
from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import AirframeLanes, airframe_lanes, drag_n, stall_speed_m_s
from propmatch.aircraft.speeds import aircraft_speeds, cruise_lanes, glide_lanes, least_over, turn_radius_m
from propmatch.train.lanes import train_lanes

RHO = np.array([1.225])
G = 9.80665
TRAIN, FRAME, MASS = simple_train(), simple_airframe(), 0.41


def lanes(*, weight_n, area_m2, cd0, k, cl_max=2.0):
    numbers = {"area_m2": area_m2, "cd0": cd0, "k": k, "cl_max": cl_max, "installed_thrust": 1.0}
    return AirframeLanes(mass_kg=np.array([weight_n / G]), **{n: np.array([v]) for n, v in numbers.items()})


# ---------------------------------------------------------------- glide


def test_glide_of_andersons_light_aeroplane():
    # CP-1: span 10.912 m, area 16.165 m2, weight 13127.5 N, CD0 0.025, e 0.8. Anderson, Introduction to Flight, ch. 6:
    # best lift over drag 13.62, read in a textbook companion (Scilab no. 548); the book rounds, hence 0.2 %.
    found = glide_lanes(
        lanes(weight_n=13127.5, area_m2=16.165, cd0=0.025, k=1 / (np.pi * 0.8 * 10.912**2 / 16.165)), RHO
    )
    assert found.glide_ratio[0] == pytest.approx(13.62, rel=2e-3)
    # hand calculation from the same inputs: speeds of least drag and least power, least power over weight
    assert found.best_glide_speed_m_s[0] == pytest.approx(44.147, rel=2e-5)
    assert found.least_sink_speed_m_s[0] == pytest.approx(33.544, rel=2e-5)
    assert found.sink_m_s[0] == pytest.approx(37370.7 / 13127.5, rel=1e-5)


def test_glide_of_andersons_jet():
    # CJ-1, Anderson ch. 6: span 53.3 ft, area 318 ft2, weight 19815 lb, CD0 0.02, e 0.81 (inputs from memory). The
    # check is the closed form (L/D)max = 1/(2 sqrt(k CD0)) at V = sqrt(2 W/(rho S) sqrt(k/CD0)).
    area, weight = 318 * 0.3048**2, 19815 * 4.4482216
    k = 1 / (np.pi * 0.81 * (53.3 * 0.3048) ** 2 / area)
    found = glide_lanes(lanes(weight_n=weight, area_m2=area, cd0=0.02, k=k), RHO)
    assert found.glide_ratio[0] == pytest.approx(1 / (2 * np.sqrt(k * 0.02)), rel=1e-9)
    assert found.best_glide_speed_m_s[0] == pytest.approx(
        np.sqrt(2 * weight / (1.225 * area) * np.sqrt(k / 0.02)), rel=1e-5
    )


polars = st.fixed_dictionaries(
    {"weight_n": st.floats(1.0, 40.0), "area_m2": st.floats(0.05, 0.6), "cd0": st.floats(0.01, 0.08),
     "k": st.floats(0.02, 0.15), "cl_max": st.floats(0.6, 2.0)}
)  # fmt: skip


@given(polar=polars)
def test_glide_is_the_closed_form_or_at_the_margin_over_the_stall(polar):
    """CL = sqrt(3 CD0/k) sinks least, CL = sqrt(CD0/k) glides farthest, never slower than 1.2 stall."""
    frame = lanes(**polar)
    found = glide_lanes(frame, RHO)
    least = 1.2 * float(stall_speed_m_s(frame, RHO)[0])
    for times, speed in ((3, found.least_sink_speed_m_s), (1, found.best_glide_speed_m_s)):
        cl = np.sqrt(times * polar["cd0"] / polar["k"])
        expected = max(np.sqrt(2 * polar["weight_n"] / (1.225 * polar["area_m2"] * cl)), least)
        assert speed[0] == pytest.approx(expected, rel=2e-5)
    # the sink is that of the polar at its own speed, and no other speed sinks less
    slow = found.least_sink_speed_m_s
    assert found.sink_m_s[0] == pytest.approx(
        float((slow * drag_n(frame, RHO, slow))[0]) / polar["weight_n"], rel=1e-12
    )
    others = np.linspace(least, 3 * least, 200)
    assert np.all(found.sink_m_s <= others * drag_n(frame, RHO, others) / polar["weight_n"] * (1 + 1e-9))
    assert np.all(found.glide_ratio >= polar["weight_n"] / drag_n(frame, RHO, others) * (1 - 1e-9))
    assert found.least_sink_speed_m_s <= found.best_glide_speed_m_s * (1 + 1e-9)


@given(polar=polars, more=st.floats(0.0, 0.05))
def test_drag_of_the_propellers_counts_as_drag_of_the_aircraft(polar, more):
    """A drag in proportion to q S is a larger CD0."""
    stopped = glide_lanes(lanes(**polar), RHO, lambda v: 0.5 * 1.225 * v**2 * polar["area_m2"] * more)
    rough = glide_lanes(lanes(**{**polar, "cd0": polar["cd0"] + more}), RHO)
    for name in ("sink_m_s", "glide_ratio"):
        assert getattr(stopped, name)[0] == pytest.approx(getattr(rough, name)[0], rel=1e-8)
    for name in ("least_sink_speed_m_s", "best_glide_speed_m_s"):
        assert getattr(stopped, name)[0] == pytest.approx(getattr(rough, name)[0], rel=1e-4)
    clean = glide_lanes(lanes(**polar), RHO)
    assert stopped.sink_m_s >= clean.sink_m_s * (1 - 1e-12)
    assert stopped.glide_ratio <= clean.glide_ratio * (1 + 1e-12)


@pytest.mark.parametrize("motor_off", ["stopped", "windmilling", "braked"])
def test_the_table_glides_with_the_drag_of_its_propeller(motor_off):
    train = simple_train(motor_off=motor_off)
    found = aircraft_speeds(train, FRAME, MASS)
    assert found.motor_off == motor_off
    with_air, _ = train_lanes([train])
    frames, _ = airframe_lanes(FRAME, MASS)
    for speed, power in (
        (found.least_sink_speed_m_s, MASS * G * found.sink_m_s),
        (found.best_glide_speed_m_s, MASS * G / found.glide_ratio * found.best_glide_speed_m_s),
    ):
        still = motor_off_drag(with_air, speed, RHO).drag_n[0]
        assert still > 0
        assert power / speed == pytest.approx(float(drag_n(frames, 1.225, speed)[0]) + still, rel=1e-7)
    assert any(each.text.startswith("motor off:") for each in found.assumptions)


# ---------------------------------------------------------------- cruise


def power_w(speed, mass=MASS, frame=FRAME):
    return level_flight(TRAIN, frame, mass, speed, charge=0.5).pack_power_w


def cruise(*, wind=0.0, mass=MASS, frame=FRAME, air=None):
    here = Air.standard() if air is None else air
    one = np.ones(1)
    train, _ = train_lanes([TRAIN])
    frames, _ = airframe_lanes(frame, mass)
    full = full_throttle(TRAIN, frame, mass, charge=0.5, air=here)
    found = cruise_lanes(
        train, frames, 0.5 * one, here.density_kg_m3 * one, here.speed_of_sound_m_s * one,
        fastest=np.atleast_1d(full.top_speed_m_s), wind=wind,
    )  # fmt: skip
    return found, 1.2 * full.stall_speed_m_s, full.top_speed_m_s


@pytest.mark.parametrize("wind", [-4.0, 0.0, 3.0, 7.0])
@pytest.mark.parametrize("cd0", [0.02, 0.035, 0.06])
def test_cruise_is_scipys_minimum(wind, cd0):
    frame = simple_airframe(cd0=cd0, cl_max=1.5)
    found, low, top = cruise(wind=wind, frame=frame)
    least = minimize_scalar(lambda v: power_w(v, frame=frame), bounds=(low, top), method="bounded",
                            options={"xatol": 1e-8})  # fmt: skip
    assert found.least_power_w[0] == pytest.approx(least.fun, rel=1e-6)
    assert found.least_power_speed_m_s[0] == pytest.approx(least.x, rel=2e-3)
    far = minimize_scalar(lambda v: power_w(v, frame=frame) / (v - wind), bounds=(max(low, wind + 0.1), top),
                          method="bounded", options={"xatol": 1e-8})  # fmt: skip
    speed = found.best_range_speed_m_s[0]
    assert power_w(speed, frame=frame) / (speed - wind) == pytest.approx(far.fun, rel=1e-6)
    assert speed == pytest.approx(far.x, rel=2e-3)
    point = level_flight(TRAIN, frame, MASS, speed, charge=0.5)
    assert found.best_range_power_w[0] == pytest.approx(point.pack_power_w, rel=1e-12)
    # arithmetic: A h for each km = A/(km/h)
    assert found.best_range_mah_per_km[0] == pytest.approx(1000 * point.pack_current_a / (3.6 * (speed - wind)))


@given(wind=st.floats(0.5, 6.0), mass=st.floats(0.3, 0.6), cd0=st.floats(0.02, 0.06))
def test_best_range_is_the_tangent_from_the_wind_and_faster_against_it(wind, mass, cd0):
    """dP/dV = P/(V - w): the tangent to the power curve from the wind's speed, as sailplane pilots draw it."""
    frame = simple_airframe(cd0=cd0)
    calm, low, top = cruise(mass=mass, frame=frame)
    ahead, _, _ = cruise(wind=wind, mass=mass, frame=frame)
    behind, _, _ = cruise(wind=-wind, mass=mass, frame=frame)
    slow, v, fast = (each.best_range_speed_m_s[0] for each in (behind, calm, ahead))
    tiny = 1e-4
    assert slow * (1 - tiny) <= v <= fast * (1 + tiny)
    assert calm.least_power_speed_m_s[0] <= slow * (1 + tiny)
    if low * 1.01 < fast < top * 0.99:
        step = 0.02
        slope = (power_w(fast + step, mass, frame) - power_w(fast - step, mass, frame)) / (2 * step)
        assert slope == pytest.approx(power_w(fast, mass, frame) / (fast - wind), rel=5e-3)


def test_lanes_are_the_single_answers_and_one_without_level_flight_harms_none():
    train, _ = train_lanes([TRAIN] * 3)
    masses = np.array([0.35, 9.0, 0.5])
    frames, _ = airframe_lanes(FRAME, masses)
    air, one = Air.standard(), np.ones(3)
    tops = full_throttle([TRAIN] * 3, FRAME, masses, charge=0.5).top_speed_m_s
    found = cruise_lanes(train, frames, 0.5 * one, air.density_kg_m3 * one, air.speed_of_sound_m_s * one, fastest=tops)
    assert np.isnan(found.best_range_speed_m_s[1])
    assert np.isnan(found.least_power_w[1])
    for i in (0, 2):
        alone, _, _ = cruise(mass=masses[i])
        assert found.best_range_speed_m_s[i] == pytest.approx(alone.best_range_speed_m_s[0], rel=1e-6)
        assert found.least_power_w[i] == pytest.approx(alone.least_power_w[0], rel=1e-9)


def test_least_over_needs_a_range_and_a_value_for_each_merit():
    """(v - a)^2 + 1 is least at a, over v at sqrt(a^2 + 1)."""
    low, high = np.array([1.0, 3.0, 1.0]), np.array([2.0, 2.0, 5.0])
    at, value = least_over(
        lambda v: np.where(v < 4, np.nan, (v - 4.25) ** 2 + 1), (lambda _, y: y, lambda v, y: y / v), low, high
    )
    assert at.shape == value.shape == (2, 3)
    assert np.isnan([at[:, :2], value[:, :2]]).all()
    assert at[:, 2] == pytest.approx([4.25, (4.25**2 + 1) ** 0.5], abs=1e-5)
    assert value[0, 2] == pytest.approx(1.0)
    later, _ = least_over(lambda v: v**2, (lambda _, y: y,) * 2, np.array([low, low + 0.5]), high)
    assert later[:, 0] == pytest.approx([1.0, 1.5])


# ---------------------------------------------------------------- turns, stall, climb


@given(speed=st.floats(3.0, 40.0), bank=st.floats(1.0, 85.0))
def test_turn_radius_is_that_of_the_load_factor(speed, bank):
    # Anderson, Introduction to Flight, ch. 6, level turn: R = V^2/(g sqrt(n^2 - 1)), n = 1/cos(bank)
    load = 1 / np.cos(np.radians(bank))
    assert turn_radius_m(speed, bank) == pytest.approx(speed**2 / (G * np.sqrt(load**2 - 1)), rel=1e-9)


def test_the_table_of_one_aircraft():
    phases = (
        Phase(name="circuits", airspeed_m_s=9.0, load_factor=1.44, share=0.5),
        Phase(name="glide", throttle=0.0, share=0.5),
    )
    found = aircraft_speeds(TRAIN, FRAME, MASS, phases)
    # hand calculation as in test_flight: sqrt(2 x 0.41 x 9.80665/(1.225 x 0.16 x 1.1)); in circuits sqrt(1.44) = 1.2
    assert found.stall_speed_m_s == pytest.approx(6.10721, rel=1e-5)
    assert found.phases[0].phase_stall_speed_m_s == pytest.approx(1.2 * 6.10721, rel=1e-5)
    assert found.phases[1].airspeed_m_s == pytest.approx(1.3 * 6.10721, rel=1e-5)
    full = full_throttle(TRAIN, FRAME, MASS, charge=0.5)
    for name in ("top_speed_m_s", "climb_m_s", "climb_airspeed_m_s", "steepest_deg", "steepest_airspeed_m_s"):
        assert getattr(found, name) == getattr(full, name)
    assert found.steepest_airspeed_m_s >= 1.2 * found.stall_speed_m_s * (1 - 1e-12)
    assert [turn.bank_deg for turn in found.turns] == [30, 45, 60]
    sixty = found.turns[-1]
    assert sixty.load_factor_in_turn == pytest.approx(2.0)
    assert sixty.turn_airspeed_m_s == pytest.approx(1.2 * np.sqrt(2) * 6.10721, rel=1e-5)
    held = level_flight(TRAIN, FRAME, MASS, sixty.turn_airspeed_m_s, charge=0.5, load_factor=2.0)
    assert sixty.turn_throttle == pytest.approx(held.throttle, rel=1e-9)
    assert any("1.2 times the stall speed" in each.text for each in found.assumptions)


def test_an_aircraft_too_heavy_to_fly_level_still_glides():
    found = aircraft_speeds(simple_train(motor={"kv_rpm_per_v": 400.0}), FRAME, 2.5)
    assert found.status is Status.CANNOT_HOLD
    assert np.isnan([found.top_speed_m_s, found.least_power_w, found.best_range_speed_m_s]).all()
    assert found.glide_ratio > 5
    assert np.isnan(found.turns[0].turn_throttle)
