"""Torque roll and one motor out: moments by hand, the roll integrated step by step, and what is said."""

import math

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from support.small_aircraft import small_brief, small_train

from propmatch.aircraft.yawroll import Controls, Steered, motor_out, torque_roll
from propmatch.checks.judged import judged_trains
from propmatch.checks.placing import placing
from propmatch.checks.setting import settings
from propmatch.checks.steering import steering
from propmatch.models.liftingline import aileron_slope, roll_damping
from propmatch.records.body import Control, DiscPlace
from propmatch.train.coupling import solve

TWO = ('name = "test bird"', 'name = "test bird"\nmotor_count = 2')
PAIR = ("height_mm = 30\n", "height_mm = 30\nside_mm = 150\n")
FIN = Control(fin_area_dm2=1.5, fin_height_mm=150.0, fin_position_mm=700.0, rudder_chord_fraction=0.5,
              rudder_travel_deg=25.0)  # fmt: skip


def steered(control: Control | None = None, **changes) -> Steered:
    whole = Steered(
        names=("2S",), mass_kg=np.array([0.4]), stall_m_s=np.array([8.0]), cg_mm=np.array([200.0]), span_m=1.0,
        area_m2=0.16, density_kg_m3=1.225, controls=Controls.of(control, yaw=True),
    )  # fmt: skip
    return attrs.evolve(whole, **changes)


def torque(*values: float) -> np.ndarray:
    return np.array(values)[:, None]


def places(side_m: float) -> tuple[DiscPlace, ...]:
    return tuple(DiscPlace(position_mm=0.0, height_mm=0.0, side_mm=1e3 * side) for side in (side_m, -side_m))


# ---------------------------------------------------------------- roll


def test_the_aileron_found_gives_the_torque_back():
    control = Control(aileron_chord_fraction=0.5, aileron_span_fraction=0.5)
    (found,) = torque_roll(steered(control), torque_nm=torque(0.05, 0.04, 0.03))
    # half the chord: tau = 1/2 + 1/pi (Glauert, closed form)
    power = aileron_slope(6.25, 0.5) * (0.5 + 1.0 / math.pi)
    for speed, angle, moment in ((8.0, found.aileron_deg, 0.04), (9.6, found.aileron_fast_deg, 0.03)):
        held = 0.5 * 1.225 * speed**2 * 0.16 * 1.0 * power * math.radians(angle)
        assert held == pytest.approx(moment, rel=1e-12)
    # 0.05 N m on an arm of 0.5 m: 0.1 N, 10.2 g
    assert found.wing_tip_g == pytest.approx(0.1 / 9.80665 * 1000, rel=1e-9)


@pytest.mark.parametrize("in_wing", [False, True])
def test_the_bank_is_that_of_the_equation_of_motion(in_wing):
    (found,) = torque_roll(steered(), torque_nm=torque(0.05, 0.04, 0.03), in_wing=in_wing)
    inertia = 0.4 * ((0.34 if in_wing else 0.25) * 0.5) ** 2
    pressure = 0.5 * 1.225 * 8.0**2
    damping = pressure * 0.16 * 1.0 * roll_damping(6.25) / (2 * 8.0)
    moved = solve_ivp(lambda _, y: [y[1], (0.04 - damping * y[1]) / inertia], (0, 1), [0, 0], rtol=1e-9, atol=1e-12)
    assert math.radians(found.bank_one_second_deg) == pytest.approx(moved.y[0, -1], rel=1e-6)


def test_without_ailerons_the_wing_drops_in_words():
    control = Control(aileron_span_fraction=0.0)
    (found,) = torque_roll(steered(control), torque_nm=torque(0.05, 0.04, 0.03))
    assert math.isnan(found.aileron_deg)
    text = found.reading(Controls.of(control, yaw=False), several=False)
    assert f"the left wing drops by about {found.bank_one_second_deg:.0f} degrees" in text
    (other,) = torque_roll(steered(control), torque_nm=-torque(0.05, 0.04, 0.03))
    assert "the right wing drops" in other.reading(Controls.of(control, yaw=False), several=False)
    assert Controls.of(control, yaw=False).assumptions == ()


def test_more_than_the_travel_is_said():
    control = Control(aileron_span_fraction=0.1, aileron_travel_deg=5.0)
    (found,) = torque_roll(steered(control), torque_nm=torque(0.5, 0.4, 0.3))
    assert "beyond the 5 degrees of travel" in found.reading(Controls.of(control, yaw=False), several=False)


# ---------------------------------------------------------------- one motor out


def out_of(aircraft: Steered, side_m: float = 0.15, thrust_n: float = 2.0, speeds=(4.0, 6.0, 8.0, 9.6, 12.0, 20.0)):
    speed = np.array(speeds)[:, None]
    (found,) = motor_out(
        aircraft, places=places(side_m), airspeed_m_s=speed, thrust_n=np.full(speed.shape, thrust_n),
        diameter_m=np.array([0.127]),
    )  # fmt: skip
    return found


def test_moment_and_rudder_by_hand():
    found = out_of(steered(FIN))
    pressure = 0.5 * 1.225 * 9.6**2
    dead = pressure * 0.1 * math.pi / 4 * 0.127**2
    assert found.yaw_moment_nm == pytest.approx(0.15 * (2.0 + dead), rel=1e-9)
    # fin of aspect ratio 1.5 (Helmbold), rudder of half its chord, 0.5 m behind the centre of gravity
    slope = 2 * math.pi * 1.5 / (2 + math.sqrt(1.5**2 + 4))
    side_force = pressure * 0.015 * slope * (0.5 + 1 / math.pi) * math.radians(found.rudder_deg)
    assert side_force * 0.5 == pytest.approx(found.yaw_moment_nm, rel=1e-9)


def test_at_the_least_control_speed_the_rudder_just_suffices():
    found = out_of(steered(FIN), speeds=np.linspace(4.0, 20.0, 400))
    again = out_of(steered(FIN, stall_m_s=np.array([found.least_control_speed_m_s / 1.2])),
                   speeds=np.linspace(4.0, 20.0, 4001))  # fmt: skip
    assert again.rudder_deg == pytest.approx(25.0, rel=1e-3)
    assert math.isnan(out_of(steered(FIN), thrust_n=200.0).least_control_speed_m_s)
    assert "do not hold it at any speed" in out_of(steered(FIN), thrust_n=200.0).reading(
        Controls.of(FIN, yaw=True), show=str
    )
    assert "down to the stall" in out_of(steered(FIN), thrust_n=0.01).reading(Controls.of(FIN, yaw=True), show=str)


def test_no_rudder_beyond_its_travel_is_told():
    controls = Controls.of(FIN, yaw=True)
    small, large = out_of(steered(FIN), thrust_n=0.5), out_of(steered(FIN), thrust_n=50.0)
    assert small.rudder_deg < 25.0 < large.rudder_deg
    assert f"takes {small.rudder_deg:.0f} degrees of rudder" in small.reading(controls, show=str)
    told = large.reading(controls, show=str)
    assert "takes more than the 25 degrees of rudder there are" in told
    assert f"{large.rudder_deg:.0f} degrees" not in told


def test_without_a_fin_the_moment_alone_is_told():
    found = out_of(steered())
    assert math.isnan(found.rudder_deg)
    assert "fin_area_dm2 and fin_position_mm" in found.reading(Controls.of(None, yaw=True), show=str)


@given(side=st.floats(0.02, 1.0), further=st.floats(0.0, 0.5), thrust=st.floats(0.1, 10.0), more=st.floats(0.0, 5.0))
def test_further_out_and_more_thrust_never_yaw_less(side, further, thrust, more):
    least = out_of(steered(FIN), side, thrust)
    most = out_of(steered(FIN), side + further, thrust + more)
    assert most.yaw_moment_nm >= least.yaw_moment_nm
    assert most.rudder_deg >= least.rudder_deg


# ---------------------------------------------------------------- whole aircraft


def steering_of(*edits, count=1):
    setting = settings(small_brief(*edits))[0]
    measured, _ = judged_trains(setting, [small_train(count=count)])
    return setting, steering(measured, ["2S"], cg_mm=np.array([200.0]))


def test_the_torque_is_that_of_full_throttle_at_rest():
    setting, found = steering_of()
    point = solve(setting.flown(small_train()), air=setting.air)
    assert found.rolls[0].torque_static_nm == pytest.approx(float(point.torque_nm), rel=1e-9)
    assert found.outs == ()
    assert any("no [body]" in text for text in found.readings(show=str))


def test_a_twin_tells_one_motor_out_and_counter_rotation_cancels_the_roll():
    control = ("[thrust_line]", "[control]\nfin_area_dm2 = 1.5\nfin_position_mm = 650\n[thrust_line]")
    _, same = steering_of(TWO, PAIR, control, count=2)
    assert len(same.outs) == 1
    assert "Propellers that turn against each other would cancel it" in " ".join(same.readings(show=str))
    assert {each.field for each in same.assumptions} >= {"fin_height_mm", "rudder_travel_deg", "dead_propeller_drag"}
    both = (
        "[thrust_line]",
        '[[motor_place]]\nside_mm = 150\n[[motor_place]]\nside_mm = -150\nturns = "left"\n[thrust_line]',
    )
    _, against = steering_of(TWO, both, count=2)
    assert against.rolls[0].torque_static_nm == 0
    assert "cancel while all of them run" in " ".join(against.readings(show=str))
    assert against.outs[0].yaw_moment_nm == pytest.approx(same.outs[0].yaw_moment_nm, rel=1e-9)


def test_placing_carries_it_and_its_numbers_have_names():
    setting = settings(small_brief(("[thrust_line]", "[body]\ntop_mm = -70\n[thrust_line]")))[0]
    found = placing(setting, [small_train(), small_train()], ["2S", "again"]).steering
    assert found.data["clearance"][0]["nearest"] == "body"
    assert found.data["clearance"][0]["largest_diameter_in"] == pytest.approx(180 / 25.4)
    assert found.data["torque_roll"][0]["aileron_deg"] > 0
    assert found.data["motor_out"] == []
    # both have the same propeller: its room is told once
    assert sum("Room for a propeller" in text for text in found.readings(show=str)) == 1
