"""Thrust line and trim on numbers worked out by hand, and on second paths that share no formula with the model."""

import math
import re

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, linprog

from propmatch.aircraft.clearance import Clearance
from propmatch.aircraft.cures import trim_cures
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.thrustline import ThrottleCases, throttle_trim
from propmatch.aircraft.trim import Flown, immersed_share, jet_angle_rad, thrust_moment_nm, trim
from propmatch.models.liftingsurface import elevator_effectiveness
from propmatch.records.body import Body, DiscPlace, disc_rooms
from propmatch.records.layout import Balance, Tail, ThrustLine
from propmatch.status import Status

FIELDS = (
    "thrust_moment_nm", "thrust_moment_coefficient", "jet_moment_nm", "wing_lift_coefficient", "tail_lift_n",
    "tail_lift_coefficient", "tail_local_lift_coefficient", "tail_pressure_ratio", "immersed_share",
    "wing_immersed_share", "wing_pressure_ratio", "wing_jet_lift_n", "wing_jet_moment_nm",
    "jet_speed_m_s", "jet_radius_mm", "jet_height_mm", "tail_clearance_mm", "elevator_deg", "body_angle_deg",
)  # fmt: skip


def geometry(*, line=None, tail=None, **balance):
    """With the wing high above the jet unless a test lowers it."""
    stated = {"target_cg_mm": 260.0, "leading_edge_mm": 200.0, "chord_mm": 200.0, "wing_moment_coefficient": -0.05,
              "wing_height_mm": 400.0}  # fmt: skip
    return Geometry(
        wing_area_dm2=20.0,
        wing_span_mm=1000.0,
        balance=Balance(**(stated | balance)),
        tail=Tail(**({"area_dm2": 4.0, "span_mm": 400.0, "position_mm": 760.0, "elevator_chord_fraction": 0.3}
                     | (tail or {}))),
        thrust_line=ThrustLine(**({"position_mm": 0.0, "height_mm": 30.0} | (line or {}))),
    )  # fmt: skip


def trimmed(aircraft, **flown):
    return trim(aircraft, Flown(**flown))


FLIGHT = {"thrust_n": 5.0, "airspeed_m_s": 12.0, "mass_kg": 0.6, "diameter_m": 0.2286}


def test_one_trim_digit_by_digit():
    # Calculated with a pocket calculator language (bc, 12 digits), not with this package. S 0.2 m2, c 0.2 m, A 5;
    # tail 0.04 m2, b_t 0.4 m, A_t 4; centre of gravity 10 mm behind the quarter chord, tail 500 mm behind it;
    # propeller 260 mm ahead of and 30 mm above it; T 5 N, V 12 m/s, D 0.2286 m, 0.6 kg, rho 1.225.
    found = trimmed(geometry(), **FLIGHT)
    near = {"rel": 1e-9}
    # q = 0.5 x 1.225 x 144 = 88.2 Pa; M = -5 x 0.03 = -0.15 N m; over q S c = 3.528 N m: -0.042517006802
    assert found.thrust_moment_nm == pytest.approx(-0.15, **near)
    assert found.thrust_moment_coefficient == pytest.approx(-0.042517006802, **near)
    # v = -6 + sqrt(36 + 5/(2 x 1.225 x 0.041043305806)) = 3.258697968; jet 12 + 2 v = 18.517395937; r = 2.381208002
    assert found.jet_speed_m_s == pytest.approx(18.517395937, **near)
    # R_s = 0.1143 sqrt(15.258697968/18.517395937) = 0.103756428 m
    assert found.jet_radius_mm == pytest.approx(103.756428095, **near)
    # W = 5.88399 N; wing moment 3.528 x -0.05 = -0.1764; L_t = (-0.1764 + 0.0588399 - 0.15)/0.510 = -0.524627647 N
    assert found.tail_lift_n == pytest.approx(-0.524627647, **near)
    assert found.tail_lift_coefficient == pytest.approx(-0.148703981592, **near)  # over 88.2 x 0.04
    # C_Lw = (5.88399 + 0.524627647)/17.64 = 0.363300320; a_w = 10 pi/(2 + sqrt 29) = 4.253923556;
    # alpha = 0.085403585 rad, level line 3 degrees less: 0.033043707 rad = 1.893264951 degrees
    assert found.wing_lift_coefficient == pytest.approx(0.363300320128, **near)
    assert found.body_angle_deg == pytest.approx(1.893264951, **near)
    # d eps/d alpha = 2 a_w/(5 pi) = 0.541626369; flow at the tail 0.033043707 - 0.046256833 = -0.013213126 rad;
    # jet rises 12 x -0.013213126/18.517395937 = -0.008562625 rad: at the tail 30 - 760 x 0.008562625 = 23.492405 mm
    assert found.jet_height_mm == pytest.approx(23.492405020, **near)
    # half chord of the jet sqrt(0.103756428^2 - 0.023492405^2) = 0.101061878 m; f = that over 0.2 = 0.505309392
    assert found.immersed_share == pytest.approx(0.505309392, **near)
    # a_t = 8 pi/(2 + sqrt 20) = 3.883222077; neutral tail a_t ((1 - f) -0.013213126 + f r -0.008562625) = -0.065390976
    # pressure 1 - f + f r = 1.697937376; tau(0.3) = (pi - theta + sin theta)/pi, theta = 1.982313173: 0.660745949
    assert found.tail_pressure_ratio == pytest.approx(1.697937376, **near)
    assert elevator_effectiveness(0.3) == pytest.approx(0.660745949, **near)
    # (-0.148703982 + 0.065390976)/(3.883222077 x 0.660745949 x 1.697937376) = -0.019123368 rad = -1.095688313 degrees
    assert found.elevator_deg == pytest.approx(-1.095688313, **near)
    # Glide, T = 0: L_t = -0.230510 N, C_Lw 0.346626984, flow -0.015009731 rad, elevator -0.157455533 degrees
    glide = trimmed(geometry(), **(FLIGHT | {"thrust_n": 0.0}))
    assert glide.elevator_deg == pytest.approx(-0.157455533, rel=1e-8)
    # so full throttle needs 0.938232780 degrees more up elevator than the glide.
    assert glide.elevator_deg - found.elevator_deg == pytest.approx(0.93823278, rel=1e-8)


def test_the_wing_in_the_jet_digit_by_digit():
    # The same aircraft with the wing on the level line, 250 mm behind the disk; bc with 30 digits, not this package.
    found = trimmed(geometry(wing_height_mm=0.0), **FLIGHT)
    near = {"rel": 1e-9}
    # growth 1 + 0.25/sqrt(0.25^2 + 0.1143^2) = 1.909454824 times v = 3.258697968: w = 6.222336555 m/s;
    # radius 0.1143 sqrt(15.258697968/18.222336555) = 0.104593076 m; r_w = (18.222336555/12)^2 = 2.305927427
    # without it the level line stands at 0.033043707 rad, the jet rises 12 x that/18.222336555 = 0.021760328 rad and
    # passes 30 + 5.440082 mm high: f_w = 2 sqrt(0.104593076^2 - 0.035440082^2)/1 = 0.196811705
    assert found.wing_immersed_share == pytest.approx(0.196811704533, **near)
    assert found.wing_pressure_ratio == pytest.approx(1.257021802968, **near)
    # L_t = (-0.1764 x 1.257021803 + 0.0588399 - 0.15)/0.510 = -0.613526953 N
    assert found.tail_lift_n == pytest.approx(-0.613526953027, **near)
    assert found.wing_lift_coefficient == pytest.approx(0.368339963324, **near)
    assert found.body_angle_deg == pytest.approx(1.079874362697, **near)
    # what the jet adds at this body angle; about the centre of gravity 1.154181756 x 0.01 - 0.1764 x 0.257021803
    assert found.wing_jet_lift_n == pytest.approx(1.154181756427, **near)
    assert found.wing_jet_moment_nm == pytest.approx(-0.033796828479, **near)
    assert found.jet_height_mm == pytest.approx(16.184538277, **near)
    assert found.immersed_share == pytest.approx(0.512431875764, **near)
    assert found.elevator_deg == pytest.approx(-0.453170260527, **near)


@pytest.mark.parametrize("tilt_deg", [-3.0, 0.0, 5.0])
def test_wing_and_tail_in_the_jet_against_summed_strips(tilt_deg):
    """Second path: body and elevator angle from forces and moments about the datum, summed over strips, by lstsq."""
    aircraft = geometry(wing_height_mm=10.0, wing_incidence_deg=1.0, line={"tilt_deg": tilt_deg})
    found = trimmed(aircraft, **FLIGHT)
    tilt, speed, weight = math.radians(tilt_deg), 12.0, 0.6 * 9.80665
    wing_slope, tail_slope = 10 * math.pi / (2 + math.sqrt(29)), 8 * math.pi / (2 + math.sqrt(20))
    v = (found.jet_speed_m_s - speed) / 2
    near = v * (1 + 0.25 / math.hypot(0.25, 0.1143))
    y = (np.arange(20_000) + 0.5) / 20_000 - 0.5  # of a span
    in_wing, in_tail = (np.abs(y) < share / 2 for share in (found.wing_immersed_share, found.immersed_share))

    def left_over(angles):
        body, elevator = angles
        gained = np.where(in_wing, near, 0.0)
        angle = (speed * body + gained * tilt) / (speed + gained) + math.radians(4.0)
        strips = 0.5 * 1.225 * (speed + gained) ** 2 * 0.2
        lift, section = np.mean(strips * wing_slope * angle), np.mean(strips) * 0.2 * -0.05
        downwash = 2 * lift / (0.5 * 1.225 * speed**2 * 0.2) / (5 * math.pi)
        gained = np.where(in_tail, 2 * v, 0.0)
        angle = (speed * (body - downwash) + gained * tilt) / (speed + gained) + 0.660745949 * elevator
        tail = np.mean(0.5 * 1.225 * (speed + gained) ** 2 * 0.04 * tail_slope * angle)
        up = lift + tail - weight - 5.0 * math.sin(tilt)
        nose_up = weight * 0.260 - lift * 0.250 - tail * 0.760 - 5.0 * math.cos(tilt) * 0.030 + section
        return np.array([up, nose_up])

    none = left_over(np.zeros(2))
    effects = np.column_stack([left_over(unit) - none for unit in np.eye(2)])
    body, elevator = np.linalg.lstsq(effects, -none, rcond=None)[0]
    assert found.body_angle_deg == pytest.approx(math.degrees(body), abs=2e-3)
    assert found.elevator_deg == pytest.approx(math.degrees(elevator), abs=2e-3)


def test_a_narrow_weak_jet_adds_between_one_and_two_times_the_span_and_speed_it_has():
    """Smelt and Davies, ARC R&M 1788, 1937: extra lift lambda s C_L0 q D c with lambda 1 to 2, s the speed gained over
    the airspeed, for a jet along the flow (formula from memory); strip theory is its upper bound."""
    found = trimmed(geometry(wing_height_mm=30.0), **(FLIGHT | {"thrust_n": 0.2}), tilt_deg=0.0)
    v = -6 + math.sqrt(36 + 0.2 / (2 * 1.225 * math.pi * 0.1143**2))
    gained = v * (1 + 0.25 / math.hypot(0.25, 0.1143)) / 12
    along = 88.2 * 0.2 * found.wing_immersed_share * found.wing_lift_coefficient * gained
    assert along < found.wing_jet_lift_n < 2.05 * along


def test_the_wing_counts_only_behind_the_disk_and_at_the_height_of_the_jet():
    low = trimmed(geometry(wing_height_mm=0.0), **FLIGHT)
    assert low.wing_immersed_share > 0
    for aircraft in (geometry(wing_height_mm=0.0, line={"position_mm": 330.0}), geometry(wing_height_mm=300.0)):
        found = trimmed(aircraft, **FLIGHT)
        assert found.wing_immersed_share == found.wing_jet_lift_n == found.wing_jet_moment_nm == 0.0
    twin = trimmed(geometry(wing_height_mm=0.0, line={"side_mm": 250.0}), **FLIGHT, count=2)
    # Two jets of 2.5 N, each with its chord of the circle at the height of the wing: more span than one jet has.
    assert twin.wing_immersed_share > 1.5 * low.wing_immersed_share


def test_the_centre_of_gravity_may_stand_at_a_height_of_its_own_in_every_lane():
    lanes = trimmed(geometry(), **FLIGHT, cg_height_mm=[0.0, 20.0])
    for lane, height in enumerate((0.0, 20.0)):
        alone = trimmed(geometry(cg_height_mm=height), **FLIGHT)
        assert lanes.elevator_deg[lane] == alone.elevator_deg
        assert lanes.jet_height_mm[lane] == alone.jet_height_mm
    assert lanes.thrust_arm_mm == pytest.approx([30.0, 10.0])


def test_stated_slope_effectiveness_and_downwash_replace_the_estimates():
    # bc as above, wing out of the jet: glide with a_t = 3.0, tau = 0.5, d eps/d alpha = 0.4.
    # L_t = -0.230510 N over 3.528 N, C_Lw 0.346626984/4.253923556 = 0.081484066 rad; body 0.029124188, flow at the
    # tail 0.029124188 - 0.4 x 0.081484066 = -0.003469438; elevator (-0.065337302/3 + 0.003469438)/0.5 rad
    tail = {"lift_slope_per_rad": 3.0, "elevator_effectiveness": 0.5, "downwash_gradient": 0.4}
    aircraft = geometry(tail=tail)
    found = trimmed(aircraft, **(FLIGHT | {"thrust_n": 0.0}))
    assert found.elevator_deg == pytest.approx(-2.098138, rel=1e-5)
    assumed = {each.field for each in aircraft.assumptions}
    assert not assumed & {*tail, "elevator_chord_fraction"}
    assert set(tail) <= {each.field for each in geometry().assumptions}


def test_forces_and_moments_balance_about_the_datum():
    # Second path: add up every force at its place about the datum instead of about the centre of gravity.
    tilt = math.radians(4.0)
    found = trimmed(geometry(line={"tilt_deg": 4.0}), **FLIGHT, load_factor=1.2)
    pressure = 0.5 * 1.225 * 144.0
    wing = found.wing_lift_coefficient * pressure * 0.2
    weight = 1.2 * 0.6 * 9.80665
    assert wing + found.tail_lift_n - weight - 5.0 * math.sin(tilt) == pytest.approx(0.0, abs=1e-12)
    nose_up = (
        -wing * 0.250 - found.tail_lift_n * 0.760 + weight * 0.260
        - 5.0 * math.cos(tilt) * 0.030 + pressure * 0.2 * 0.2 * -0.05
    )  # fmt: skip
    assert nose_up == pytest.approx(0.0, abs=1e-12)


def test_elevator_gives_the_lift_summed_over_strips_of_the_tail():
    # Second path: 40 000 strips of the tail span, each wholly in or out of the jet.
    aircraft = geometry(tail={"height_mm": 55.0, "incidence_deg": -1.0, "zero_lift_angle_deg": -0.5})
    found = trimmed(aircraft, **FLIGHT)
    y = (np.arange(40_000) + 0.5) / 40_000 * 0.4 - 0.2
    inside = np.hypot(y, (55.0 - found.jet_height_mm) / 1e3) < found.jet_radius_mm / 1e3
    wing_slope, tail_slope = 10 * np.pi / (2 + math.sqrt(29)), 8 * np.pi / (2 + math.sqrt(20))
    wing_alpha = found.wing_lift_coefficient / wing_slope
    flow = wing_alpha - math.radians(3.0) - 2 * wing_slope / (5 * np.pi) * wing_alpha
    angle = np.where(inside, flow * 12.0 / found.jet_speed_m_s, flow) + math.radians(-0.5)
    angle = angle + 0.660745949 * math.radians(found.elevator_deg)
    pressure = 0.5 * 1.225 * np.where(inside, found.jet_speed_m_s, 12.0) ** 2
    assert np.mean(pressure * tail_slope * angle) * 0.04 == pytest.approx(found.tail_lift_n, rel=2e-3)


def test_tilt_acts_by_component_and_arm():
    # 5 N tilted 10 degrees: 4.924 N on 30 mm height, 0.8682 N on 260 mm arm: -0.14772 - 0.22574 = -0.37346 N m.
    moment = thrust_moment_nm(5.0, 0.03, ahead_m=0.26, tilt_rad=math.radians(10.0))
    assert moment == pytest.approx(-0.37346, abs=1e-5)
    # Up thrust lifts the nose.
    assert thrust_moment_nm(5.0, 0.0, ahead_m=0.26, tilt_rad=-0.1) > 0
    # A pusher behind the centre of gravity: down thrust lifts the nose.
    assert thrust_moment_nm(5.0, 0.0, ahead_m=-0.26, tilt_rad=0.1) > 0
    # Tilted so that it points through the centre of gravity, atan(30/260) up: no moment.
    through = -math.atan(30.0 / 260.0)
    assert thrust_moment_nm(5.0, 0.03, ahead_m=0.26, tilt_rad=through) == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("fraction", [0.1, 0.25, 0.4, 0.8])
def test_elevator_effectiveness_against_the_thin_section_integral(fraction):
    # Thin section theory: zero-lift angle = -(1/pi) int dz/dx (cos t - 1) dt with dz/dx = -delta aft of the hinge.
    hinge = math.acos(1 - 2 * (1 - fraction))
    lost, _ = quad(lambda t: -(math.cos(t) - 1) / math.pi, hinge, math.pi)
    assert elevator_effectiveness(fraction) == pytest.approx(lost, rel=1e-10)


@pytest.mark.parametrize("side", [0.0, 0.05, 0.15, 0.4])
def test_immersed_share_against_counted_points(side):
    y = (np.arange(200_000) + 0.5) / 200_000 * 0.4 - 0.2
    inside = (np.hypot(y - side, 0.04) < 0.1) | (np.hypot(y + side, 0.04) < 0.1)
    assert immersed_share(0.1, 0.04, 0.4, side_m=side) == pytest.approx(inside.mean(), abs=2e-5)


def test_jet_direction_between_its_limits():
    # Standing: along the thrust line. Without thrust: along the free stream. Up-tilted thrust: downwash.
    assert jet_angle_rad(0.05, 0.1, airspeed_m_s=0.0, gained_m_s=14.0) == pytest.approx(0.1)
    assert jet_angle_rad(0.05, 0.1, airspeed_m_s=12.0, gained_m_s=0.0) == pytest.approx(0.05)
    assert jet_angle_rad(0.0, -0.1, airspeed_m_s=12.0, gained_m_s=6.0) < 0
    # 12 m/s at 0 and 6 m/s along 0.1 rad: 0.6/18 rad.
    assert jet_angle_rad(0.0, 0.1, airspeed_m_s=12.0, gained_m_s=6.0) == pytest.approx(0.6 / 18.0)


def test_tail_out_of_the_jet_in_height_and_ahead_of_a_pusher():
    high = trimmed(geometry(tail={"height_mm": 300.0}), **FLIGHT)
    assert high.immersed_share == 0.0
    assert high.tail_clearance_mm > 0
    assert high.jet_moment_nm == 0.0
    assert high.tail_pressure_ratio == 1.0
    pusher = trimmed(geometry(line={"position_mm": 900.0}), **FLIGHT)
    assert pusher.immersed_share == 0.0
    # Down thrust raises the jet behind a tractor, up thrust lowers it.
    tilted = trimmed(geometry(), **FLIGHT, tilt_deg=[-5.0, 0.0, 5.0])
    assert np.all(np.diff(tilted.jet_height_mm) > 0)


def test_every_geometry_number_matters():
    base = trimmed(geometry(), **FLIGHT).elevator_deg
    changed = [
        geometry(line={"height_mm": 31.0}), geometry(line={"position_mm": 5.0, "tilt_deg": 1.0}),
        geometry(line={"tilt_deg": 1.0}), geometry(tail={"height_mm": 60.0}),
        geometry(tail={"incidence_deg": 1.0}), geometry(tail={"zero_lift_angle_deg": 1.0}),
        geometry(tail={"span_mm": 450.0}), geometry(tail={"area_dm2": 5.0}), geometry(tail={"position_mm": 800.0}),
        geometry(tail={"elevator_chord_fraction": 0.4}), geometry(cg_height_mm=5.0), geometry(leading_edge_mm=195.0),
        geometry(tail={"lift_slope_per_rad": 3.5}), geometry(tail={"elevator_effectiveness": 0.5}),
        geometry(tail={"downwash_gradient": 0.4}), geometry(wing_height_mm=50.0),
        geometry(chord_mm=210.0), geometry(wing_incidence_deg=2.0), geometry(wing_zero_lift_angle_deg=-4.0),
        geometry(wing_moment_coefficient=-0.06), geometry(target_cg_mm=262.0),
    ]  # fmt: skip
    angles = [trimmed(each, **FLIGHT).elevator_deg for each in changed]
    assert all(abs(angle - base) > 1e-4 for angle in angles)
    twin = trimmed(geometry(), **FLIGHT, count=2).elevator_deg
    assert twin != base
    assert trimmed(geometry(line={"side_mm": 180.0}), **FLIGHT, count=2).elevator_deg != twin
    assert trimmed(geometry(), **FLIGHT, density_kg_m3=1.1).elevator_deg != base


def test_bad_lanes_hold_nan_and_leave_the_others_untouched():
    good = trimmed(geometry(), **FLIGHT)
    mixed = trimmed(geometry(), **(FLIGHT | {"thrust_n": [5.0, np.nan, 5.0, -9.0, np.inf],
                                          "airspeed_m_s": [12.0, 12.0, 0.0, 12.0, 12.0]}))  # fmt: skip
    expected = [Status.OK, Status.BAD_INPUT, Status.BAD_INPUT, Status.NO_SOLUTION, Status.BAD_INPUT]
    np.testing.assert_array_equal(mixed.status, expected)
    assert good.status is Status.OK
    for field in FIELDS:
        assert type(getattr(good, field)) is float
        assert getattr(mixed, field)[0] == getattr(good, field)
        assert np.isnan(getattr(mixed, field)[1:]).all()


def test_missing_geometry_is_refused_in_words():
    whole = geometry()
    without = Geometry(wing_area_dm2=20.0, wing_span_mm=1000.0, balance=whole.balance, tail=whole.tail)
    with pytest.raises(ValueError, match="thrust line"):
        trimmed(without, **FLIGHT)
    with pytest.raises(ValueError, match="behind the wing"):
        trimmed(geometry(tail={"position_mm": 240.0}), **FLIGHT)
    with pytest.raises(ValueError, match="second one"):
        trimmed(geometry(line={"side_mm": 100.0}), **FLIGHT)


def test_assumptions_name_every_number_the_brief_leaves_out():
    bare = Geometry(
        wing_area_dm2=20.0, wing_span_mm=1000.0, balance=Balance(target_cg_mm=0.0),
        tail=Tail(area_dm2=4.0, span_mm=400.0, position_mm=500.0),
        thrust_line=ThrustLine(position_mm=-260.0, height_mm=30.0),
    )  # fmt: skip
    assert {each.field for each in bare.assumptions} == {
        "cg_tolerance_mm", "motor_mm", "controller_mm", "chord_mm", "leading_edge_mm", "cg_height_mm",
        "wing_incidence_deg", "wing_zero_lift_angle_deg", "wing_moment_coefficient", "height_mm",
        "incidence_deg", "zero_lift_angle_deg", "elevator_chord_fraction", "elevator_effectiveness",
        "lift_slope_per_rad", "downwash_gradient", "wing_height_mm",
    }  # fmt: skip
    # Mean chord by hand: 20 dm2 over 1 m is 200 mm.
    assert next(each.value for each in bare.assumptions if each.field == "chord_mm") == pytest.approx(200.0)
    assert np.isfinite(trimmed(bare, **FLIGHT).elevator_deg)


# ---------------------------------------------------------------- change with throttle


def thrusts(*, full=((3.5, 3.0, 2.4), (6.0, 5.0, 4.2)), level=(0.8, 0.7, 0.9)):
    return {"glide": 0.0, "level flight": level, "full throttle": full}


def cases(**changes):
    values = {
        "airspeed_m_s": [9.0, 12.0, 15.0], "thrust_n": thrusts(),
        "mass_kg": [0.6, 0.65], "diameter_m": 0.2286, "cg_mm": 260.0,
    }  # fmt: skip
    return ThrottleCases(names=["2S", "3S"], **(values | changes))


def test_change_with_throttle_is_that_of_single_trims():
    found = throttle_trim(geometry(), cases())
    assert found.more_up_deg.shape == (2, 3, 3)
    assert (found.more_up_deg[:, 0, :] == 0).all()
    single = [
        trimmed(geometry(), thrust_n=thrust, airspeed_m_s=12.0, mass_kg=0.65, diameter_m=0.2286).elevator_deg
        for thrust in (0.0, 0.7, 5.0)
    ]
    np.testing.assert_allclose(found.more_up_deg[1, :, 1], single[0] - np.array(single), rtol=1e-12, atol=1e-14)
    assert found.worst_deg == pytest.approx(np.abs(found.more_up_deg).max())
    # What the estimate leaves out, and what it assumes, travel with the result.
    assert any("swirl" in note for note in found.notes)
    assert {each.field for each in found.trim.assumptions} >= {"height_mm", "cg_height_mm"}


def test_readings_say_case_state_speed_amount_and_side():
    found = throttle_trim(geometry(), cases())
    text = found.reading(1, 1)
    amount = found.more_up_deg[1, 2, 1]
    assert text.startswith(
        f"With 3S full throttle at 12.0 m/s needs {amount:.1f} degrees more up elevator than the glide"
    )
    assert "30 mm above the centre of gravity" in text
    assert "of the tail span" in text
    low = throttle_trim(geometry(line={"height_mm": -80.0}, tail={"height_mm": 200.0}), cases())
    assert "more down elevator" in low.reading(0, 0, show=lambda v: f"{3.6 * v:.0f} km/h")
    assert "32 km/h" in low.reading(0, 0, show=lambda v: f"{3.6 * v:.0f} km/h")
    assert "below the tail" in low.reading(0, 0)
    beside = throttle_trim(geometry(line={"side_mm": 500.0}), cases(count=2))
    assert "beside the tail" in beside.reading(0, 0)
    behind = throttle_trim(geometry(line={"position_mm": 900.0}), cases())
    assert "ahead of the jet" in behind.reading(0, 0)
    level = throttle_trim(geometry(line={"height_mm": 0.0}, tail={"height_mm": 400.0}), cases())
    assert "practically the same" in level.reading(0, 0)
    assert "through the centre of gravity" in level.reading(0, 0)
    assert len(found.readings()) == 2


def test_readings_warn_of_elevator_and_tail_beyond_the_usual():
    pod = throttle_trim(
        geometry(line={"height_mm": 400.0, "position_mm": 300.0}, tail={"height_mm": -100.0}),
        cases(thrust_n=thrusts(full=9.0)),
    )
    text = pod.reading(0, 0)
    assert "beyond the usual 20 degrees" in text
    assert "lift coefficient beyond 0.8" in text


def test_case_without_answer_says_so_and_leaves_the_other():
    full = [[3.5, 3.0, 2.4], [np.nan] * 3]
    found = throttle_trim(geometry(), cases(thrust_n=thrusts(full=full)))
    assert "no answer" in found.readings()[1]
    np.testing.assert_array_equal(found.more_up_deg[0], throttle_trim(geometry(), cases()).more_up_deg[0])
    none = cases(thrust_n=thrusts(full=np.nan, level=np.nan))
    assert np.isnan(throttle_trim(geometry(), none).worst_deg)
    advice = trim_cures(geometry(), none)
    assert not any(each.found for each in advice.cures)
    assert all(np.isnan(each.left_deg) for each in advice.cures)
    assert "unknown, because no case has an answer" in advice.reading()
    assert advice.readings() == ()


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ValueError):
        cases(thrust_n=thrusts(full=[1.0, 2.0]))
    with pytest.raises(ValueError, match="two states or more"):
        cases(thrust_n={"level flight": 0.7})
    with pytest.raises(ValueError, match="throttle must name glide, level flight, full throttle"):
        cases(throttle={"glide": 0.0, "level flight": 0.4})


def test_two_named_thrusts_are_compared_with_the_first():
    found = throttle_trim(geometry(), cases(thrust_n={"1 N": 1.0, "4 N": 4.0}))
    single = [trimmed(geometry(), **(FLIGHT | {"thrust_n": t, "mass_kg": 0.65})).elevator_deg for t in (1.0, 4.0)]
    assert found.more_up_deg[1, 1, 1] == pytest.approx(single[0] - single[1], rel=1e-12)
    assert "4 N at 12.0 m/s needs" in found.reading(1, 1)
    assert "more up elevator than 1 N" in found.reading(1, 1)
    row = found.rows[-2]  # 3S, 4 N, the second of three speeds
    assert (row["name"], row["state"], row["airspeed_m_s"], row["thrust_n"]) == ("3S", "4 N", 12.0, 4.0)
    assert row["more_up_deg"] == found.more_up_deg[1, 1, 1]


# ---------------------------------------------------------------- cures


def test_best_tilt_for_one_speed_against_a_root_search():
    # Second path: brentq on the change between glide and full throttle, one trim at a time. Level flight is put at no
    # thrust so that the one change can be made zero.
    one = ThrottleCases(
        names=["2S"], airspeed_m_s=12.0, thrust_n=thrusts(full=5.0, level=0.0), mass_kg=0.6, diameter_m=0.2286,
        cg_mm=260.0,
    )  # fmt: skip
    for aircraft in (geometry(), geometry(tail={"height_mm": 400.0}), geometry(line={"height_mm": -20.0}),
                     geometry(wing_height_mm=0.0)):  # fmt: skip
        glide = trimmed(aircraft, **(FLIGHT | {"thrust_n": 0.0})).elevator_deg
        root = brentq(lambda tilt: trimmed(aircraft, **FLIGHT, tilt_deg=tilt).elevator_deg - glide, -15.0, 15.0)  # noqa: B023
        tilt = trim_cures(aircraft, one).cure("tilt")
        assert tilt.value == pytest.approx(root, abs=0.0251)
        assert tilt.left_deg <= 0.05
        assert tilt.found
        height = trim_cures(aircraft, one).cure("motor height")
        roots = brentq(lambda z: trimmed(aircraft, **FLIGHT, line_height_mm=z).elevator_deg - glide, -150.0, 150.0)  # noqa: B023
        assert height.value == pytest.approx(roots, abs=0.51)


def test_best_tilt_beats_its_neighbours_and_states_its_range():
    found = trim_cures(geometry(), cases())
    tilt = found.cure("tilt")

    def worst(tilt_deg):
        return throttle_trim(geometry(), cases(), tilt_deg=tilt_deg).worst_deg

    assert tilt.left_deg == pytest.approx(worst(tilt.value))
    assert tilt.left_deg <= min(worst(tilt.value - 0.05), worst(tilt.value + 0.05)) + 1e-12
    assert tilt.left_deg < found.now.worst_deg == pytest.approx(worst(0.0))
    for end, out in ((tilt.value_from, -0.06), (tilt.value_to, 0.06)):
        if np.isfinite(end):  # an end that only the search has set is not named
            assert worst(end) <= tilt.left_deg + 1.0 + 1e-12
            assert worst(end + out) > tilt.left_deg + 1.0
    assert np.isfinite([tilt.value_from, tilt.value_to]).any()
    text = found.reading(show=lambda airspeed: f"{3.6 * airspeed:.0f} km/h")
    assert all(name in text for name in cases().names)
    assert all(f"{3.6 * airspeed:.0f} km/h" in text for airspeed in cases().airspeed_m_s)
    assert f"at most {found.now.worst_deg:.1f} degrees of elevator" in text
    assert f"Tilt the thrust line to {-tilt.value:.1f} degrees of up thrust" in tilt.reading()
    assert found.lanes_without_answer == 0


def test_tilt_out_of_reach_names_no_angle_and_missing_speeds_are_counted():
    pod = geometry(line={"height_mm": 250.0, "position_mm": 200.0}, tail={"height_mm": -100.0})
    found = trim_cures(pod, cases(thrust_n=thrusts(full=[[3.5, 3.0, np.nan], [6.0, 5.0, 4.2]])))
    tilt = found.cure("tilt")
    assert not tilt.found
    assert np.isnan([tilt.value, tilt.value_from, tilt.value_to]).all()
    assert "No tilt within 15 degrees does it" in tilt.reading()
    assert f"{tilt.left_deg:.1f} degrees of change or more are left" in tilt.reading()
    assert not re.search(r"degrees of (up|down) thrust", tilt.reading())
    assert found.cures[-1] is tilt
    assert found.lanes_without_answer == 1
    assert "left out" in found.reading()


def test_a_propeller_clear_of_the_boom_stays_clear_of_it():
    # A pusher behind the leading edge and ahead of the tail, its 114.3 mm disk 130 mm above the boom: down to 114.3.
    pod = geometry(line={"height_mm": 130.0, "position_mm": 300.0})
    height = trim_cures(pod, cases()).cure("motor height")
    assert height.found
    assert 114.3 <= height.value < 115.3
    assert "as far as the propeller clears fuselage or boom" in height.advice
    assert height.left_deg < trim_cures(pod, cases()).now.worst_deg
    # In the nose nothing is below it.
    assert trim_cures(geometry(line={"height_mm": 130.0}), cases()).cure("motor height").value < 100.0


@pytest.mark.parametrize(
    ("body", "least", "stops"),
    [
        # The 114.3 mm disk, 10 mm above a pod that ends 40 mm up; 25 mm above wheels 50 mm down; the higher of both.
        ({"top_mm": 40.0}, 164.3, True),
        ({"main_wheel_height_mm": -50.0}, 89.3, True),
        ({"top_mm": -30.0, "main_wheel_height_mm": -50.0}, 94.3, True),
        ({"top_mm": 40.0, "nose_mm": 100.0}, -np.inf, False),  # the disk stands ahead of it
    ],
)
def test_the_height_advised_leaves_the_propeller_its_gaps(body, least, stops):
    # Plane geometry by hand. In the nose nothing but [body] is near.
    high, place = geometry(line={"height_mm": 180.0}), DiscPlace(position_mm=0.0, height_mm=180.0, side_mm=0.0)
    room = Clearance(rooms=disc_rooms(Body(**body), [place]), body=Body(**body), places=(place,), tilt_deg=0.0)
    height = trim_cures(high, cases(), room).cure("motor height")
    free = trim_cures(high, cases()).cure("motor height")
    assert free.value < 80.0
    assert height.found
    assert least <= height.value < least + 1.0 if stops else height.value == free.value
    assert ("as far as the propeller keeps the gaps wanted" in height.advice) == stops
    assert not height.value_from < least


def test_no_height_is_advised_where_none_leaves_the_gaps():
    place = DiscPlace(position_mm=0.0, height_mm=30.0, side_mm=0.0)
    low = Body(main_wheel_height_mm=200.0)
    room = Clearance(rooms=disc_rooms(low, [place]), body=low, places=(place,), tilt_deg=0.0)
    height = trim_cures(geometry(), cases(), room).cure("motor height")
    assert not height.found
    assert np.isnan(height.value)
    assert "leaves the propeller the gaps wanted" in height.reading()


def test_a_lowered_motor_takes_the_centre_of_gravity_along():
    # 0.12 of 0.6 kg sits on the line, so the centre of gravity follows it by a fifth. Tail and wing are out of the jet
    # and the arm alone makes the change: none is left where z = 0.2 (z - 30), -7.5 mm; without that mass at 0.
    one = {"names": ["2S"], "airspeed_m_s": 12.0, "thrust_n": thrusts(full=5.0, level=0.0), "mass_kg": 0.6,
           "diameter_m": 0.2286, "cg_mm": 260.0}  # fmt: skip
    craft = geometry(tail={"height_mm": 2000.0}, wing_height_mm=2000.0)
    assert trim_cures(craft, ThrottleCases(**one)).cure("motor height").value == pytest.approx(0.0, abs=1e-9)
    heavy = trim_cures(craft, ThrottleCases(**one, on_line_kg=0.12)).cure("motor height")
    assert heavy.value == pytest.approx(-7.5, abs=0.51)


def test_incidence_and_section_of_the_tail_centre_the_elevator_and_leave_the_change():
    found = trim_cures(geometry(tail={"incidence_deg": 2.0}), cases())
    elevator = found.now.trim.elevator_deg
    for name in ("tail incidence", "tail section"):
        cure = found.cure(name)
        assert cure.left_deg == pytest.approx(found.now.worst_deg, rel=1e-9)
        # The angle by hand: half of highest and lowest elevator, times tau = 0.660745949, to a tenth of a degree.
        turn = 0.660745949 * (elevator.max() + elevator.min()) / 2
        assert cure.value == pytest.approx(2.0 + turn if name == "tail incidence" else -turn, abs=0.051)
        assert cure.most_deg == pytest.approx((elevator.max() - elevator.min()) / 2, abs=0.051 / 0.66)
    # A parabolic mean line of camber h has its zero lift at -2 h rad (thin section theory): the words follow.
    section = found.cure("tail section")
    assert f"{100 * math.radians(abs(section.value)) / 2:.1f} % camber" in section.advice
    assert ("inverted" in section.advice) == (section.value > 0)


def test_the_mix_is_the_least_worst_line_through_the_changes():
    # Second path: linear programming, smallest r with |change - k (throttle - throttle of the glide)| <= r.
    throttle = {"glide": 0.0, "level flight": [[0.5, 0.45, 0.6]], "full throttle": 1.0}
    found = trim_cures(geometry(), cases(throttle=throttle))
    mix = found.cure("elevator mix")
    change = found.now.more_up_deg[:, 1:, :].ravel()
    by = np.broadcast_to(np.array([[0.5, 0.45, 0.6], [1.0] * 3]), (2, 2, 3)).ravel()
    sides = np.block([[by[:, None], -np.ones((12, 1))], [-by[:, None], -np.ones((12, 1))]])
    best = linprog([0.0, 1.0], A_ub=sides, b_ub=np.r_[change, -change], bounds=[(None, None), (0, None)])
    # Steps of a tenth of a degree miss the slope by half a step, and the change by no more.
    assert mix.value == pytest.approx(best.x[0], abs=0.051)
    assert best.x[1] - 1e-9 <= mix.left_deg <= best.x[1] + 0.051
    assert "elevator mix" not in [each.cure for each in trim_cures(geometry(), cases()).cures]


def test_the_best_cure_stands_first_and_each_has_a_cost():
    throttle = {"glide": 0.0, "level flight": 0.5, "full throttle": 1.0}
    found = trim_cures(geometry(), cases(throttle=throttle))
    left = [round(each.left_deg, 1) for each in found.cures if each.found]
    assert left == sorted(left)
    assert {each.cure for each in found.cures} == {"motor height", "tilt", "tail incidence", "tail section",
                                                   "elevator mix"}  # fmt: skip
    assert all(each.cost and each.row["left_deg"] == each.left_deg for each in found.cures)
    assert all("Cost: " in each.reading() for each in found.cures if each.found)
    assert f"{found.cures[0].left_deg:.1f} degrees" in found.reading()


def test_a_change_too_small_to_feel_needs_no_cure():
    calm = trim_cures(geometry(line={"height_mm": 0.0}, tail={"height_mm": 400.0}), cases())
    assert calm.now.worst_deg < 0.25
    assert "too little to need a cure" in calm.reading()
    assert calm.readings() == ()
