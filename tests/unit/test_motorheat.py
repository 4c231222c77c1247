"""Heat of the motor: watts that close, kelvin that hold what makers print, a hot winding solved again."""

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from support.small_aircraft import small_brief, small_train
from support.trains import simple_train

from propmatch import Phase
from propmatch.aircraft.endurance import FlightTime
from propmatch.aircraft.flightlanes import Leg
from propmatch.aircraft.motorheat import HOT_K, Cooling, MotorHeat, cooling_of, motor_heat, rises_k
from propmatch.checks.setting import ResolvedBrief
from propmatch.models.motor import COPPER_PER_K
from propmatch.records.estimates import completed
from propmatch.train.coupling import solve
from propmatch.words.motorheatwords import heat_head, heat_sentences


def flown(**changes: object) -> tuple[MotorHeat, FlightTime, tuple[Phase, ...]]:
    setting = ResolvedBrief.of(small_brief()).as_designed
    train = small_train(**changes)
    flight = setting.flight_time(train)
    return setting.motor_heat(train, flight), flight, setting.phases


# ---------------------------------------------------------------- watts


@pytest.mark.parametrize("throttle", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("airspeed", [0.0, 9.0])
def test_the_heat_of_a_current_is_that_of_any_operating_point_that_draws_it(airspeed, throttle):
    """At one airspeed the current fixes torque and speed, whatever charge and throttle: the point itself says."""
    train = simple_train()
    point = solve(train, airspeed_m_s=airspeed, throttle=throttle, charge=0.5)
    flight = ResolvedBrief.of(small_brief()).as_designed.flight_time(train)
    row = attrs.evolve(flight.phases[0], airspeed_m_s=airspeed, motor_current_mean_a=float(point.motor_current_a))
    heat = motor_heat(train, attrs.evolve(flight, phases=(row,), legs=()))
    motor, _ = completed(train.motor)
    winding = motor.resistance_ohm * float(point.motor_current_a) ** 2
    assert motor.resistance_slope_ohm_s in (None, 0.0)
    assert heat.phases[0].winding_heat_w == pytest.approx(winding, rel=2e-3)
    assert heat.phases[0].motor_heat_w == pytest.approx(float(point.motor_heat_w), rel=2e-3)


def test_full_throttle_at_rest_is_the_operating_point():
    heat, _, _ = flown()
    setting = ResolvedBrief.of(small_brief()).as_designed
    point = solve(small_train(), air=setting.air)
    assert heat.full_throttle.motor_heat_w == pytest.approx(float(point.motor_heat_w))


def test_of_two_motors_each_is_told_alone():
    heat, flight, _ = flown(count=2)
    assert heat.motors == 2
    assert heat_head(heat) == "Heat in each of 2 motors"
    for row, phase in zip(heat.phases, flight.phases, strict=True):
        assert row.winding_heat_w < 0.5 * 12.6 * phase.pack_current_mean_a


# ---------------------------------------------------------------- a hot winding


def test_a_hot_winding_is_a_motor_of_that_resistance():
    """R (1 + 0.00393 dT): IEC 60028, annealed copper at 20 degC; the other motor solved as if it were stated so."""
    assert COPPER_PER_K == 0.00393
    train = simple_train()
    setting = ResolvedBrief.of(small_brief()).as_designed
    heat = motor_heat(train, setting.flight_time(train))
    ohm = completed(train.motor)[0].resistance_ohm
    hot = attrs.evolve(train, motor=attrs.evolve(train.motor, resistance_ohm=ohm * (1 + 0.00393 * HOT_K)))
    one, other = solve(train), solve(hot)
    assert heat.hot_thrust_change == pytest.approx(float(other.thrust_n / one.thrust_n) - 1, rel=1e-9)
    assert heat.hot_current_change == pytest.approx(float(other.motor_current_a / one.motor_current_a) - 1, rel=1e-9)
    assert -0.2 < heat.hot_thrust_change < heat.hot_current_change < 0


# ---------------------------------------------------------------- kelvin


@pytest.mark.parametrize(
    ("mass_g", "volts", "amps", "ohm", "seconds", "rise_k"),
    [
        (68.1, 11.7, 16.8, 0.172, 15, 14.4),
        (130.0, 12.13, 26.84, 0.0632, 15, 15.5),
        (130.0, 11.74, 44.78, 0.0513, 15, 21.5),
        (80.0, 14.8, 14.0, 0.092, 600, 22.0),
        (80.0, 14.8, 14.9, 0.071, 600, 20.0),
    ],
)
def test_what_makers_print_lies_within_the_bounds(mass_g, volts, amps, ohm, seconds, rise_k):
    """Makers' surface temperatures after 15 s and 10 min at full throttle (public figures; the last two from an
    assumed 25 degC), with I^2 R of the maker's winding or of their running points and 0.4 A of no-load current."""
    low, high = cooling_of(mass_g)
    watts = ohm * amps**2 + 0.4 * volts
    assert low.after(0.0, watts, seconds) < rise_k < high.after(0.0, watts, seconds)


@given(heat=st.floats(0, 100), start=st.floats(0, 100), seconds=st.floats(0.1, 500), mass=st.floats(5, 500))
def test_one_lump_is_a_first_order_equation(heat, start, seconds, mass):
    """C dT/dt = P - T/R_th by scipy's solve_ivp."""
    cool, _ = cooling_of(mass)
    path = solve_ivp(
        lambda _, rise: (heat - rise / cool.k_per_w) / cool.j_per_k, (0, seconds), [start], rtol=1e-9, atol=1e-9
    )
    assert cool.after(start, heat, seconds) == pytest.approx(path.y[0, -1], rel=1e-5, abs=1e-5)


def legs_of(*flown: tuple[tuple[int, ...], tuple[float, ...], float]) -> list[Leg]:
    """Legs one after the other: phases, weights, seconds."""
    ends = np.concatenate([[0.0], np.cumsum([seconds / 60 for *_, seconds in flown])])
    return [
        Leg(phases=phases, loads=(), weights=weights, minutes=(ends[at], ends[at + 1]), charge=(1.0, 1.0),
            height_m=(0.0, 0.0))
        for at, (phases, weights, _) in enumerate(flown)
    ]  # fmt: skip


def test_phases_follow_each_other_shares_mix_and_a_list_repeats():
    cooling, heat = Cooling(2.0, 15.0), np.array([30.0, 0.0])
    climb, glide = ((0,), (1.0,), 20), ((1,), (1.0,), 40)
    one = rises_k(legs_of(climb, glide), heat, cooling)
    assert one == pytest.approx([cooling.after(0, 30.0, 20), cooling.after(cooling.after(0, 30.0, 20), 0.0, 40)])
    # flown seven times: walked through step by step
    rise = 0.0
    for _ in range(7):
        top = cooling.after(rise, 30.0, 20)
        rise = cooling.after(top, 0.0, 40)
    assert rises_k(legs_of(*7 * (climb, glide)), heat, cooling) == pytest.approx([top, rise])
    ends = rises_k(legs_of(((0, 1), (0.25, 0.75), 1200)), np.array([20.0, 0.0]), cooling)
    assert ends == pytest.approx([cooling.after(0, 5.0, 1200)] * 2)
    assert np.isnan(rises_k(legs_of(climb), np.array([30.0, np.nan]), cooling)[1])


def test_of_climbs_by_height_each_is_followed_by_its_glide():
    """The list walked round by round, each round as long as the mean; not all climbs on end, then all glides."""
    setting = ResolvedBrief.of(
        small_brief(
            ("seconds = 20", "to_height_m = 150"), ("airspeed_m_s = 11\nshare = 1.0", "throttle = 0\nseconds = 90")
        )
    ).as_designed
    train = small_train()
    flight = setting.flight_time(train)
    heat = setting.motor_heat(train, flight)
    assert flight.rounds > 3
    warm = cooling_of(train.motor.mass_g)[1]
    lasts = [60 * phase.minutes / flight.rounds for phase in flight.phases]
    rise = 0.0
    for _ in range(round(flight.rounds)):
        top = warm.after(rise, heat.phases[0].motor_heat_w, lasts[0])
        rise = warm.after(top, 0.0, lasts[1])
    on_end = warm.after(0.0, heat.phases[0].motor_heat_w, 60 * flight.phases[0].minutes)
    assert heat.phases[0].end_rise_high_k == pytest.approx(top, rel=0.1)
    assert heat.phases[0].end_rise_high_k < 0.8 * on_end


def test_a_smaller_motor_gets_warmer_from_the_same_heat_and_the_bounds_are_wide():
    for one, other in zip(cooling_of(20.0), cooling_of(80.0), strict=True):
        assert one.after(0, 10, 30) > other.after(0, 10, 30)
    heat, _, _ = flown()
    for row in heat.rows:
        assert row.steady_rise_high_k == pytest.approx(heat.bound_factor**2 * row.steady_rise_low_k)
    assert "no verdict" in heat_sentences(heat)[0]
    assert heat.assumption.low < heat.assumption.value < heat.assumption.high
