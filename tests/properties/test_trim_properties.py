"""What must hold for every aircraft: exact zeros, symmetries and monotone answers of balance, slipstream and trim."""

import attrs
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from propmatch.aircraft.balance import ballast_g, centre_of_gravity_mm, place_packs
from propmatch.aircraft.cures import trim_cures
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.thrustline import ThrottleCases, throttle_trim
from propmatch.aircraft.trim import Flown, trim
from propmatch.models.slipstream import contraction_radius_m, induced_velocity_m_s, jet_growth
from propmatch.records.layout import Balance, Tail, ThrustLine

thrusts = st.floats(0.01, 40.0)
speeds = st.floats(3.0, 40.0)
diameters = st.floats(0.07, 0.5)
heights = st.floats(-100.0, 100.0)
tilts = st.floats(-12.0, 12.0)
masses = st.floats(0.1, 3.0)


OUT = 4000.0
"""A height at which nothing meets the jet [mm]."""


def aircraft(*, height=0.0, tilt=0.0, tail_height=0.0, position=0.0, wing_height=0.0):
    return Geometry(
        wing_area_dm2=20.0,
        wing_span_mm=1100.0,
        balance=Balance(target_cg_mm=260.0, leading_edge_mm=200.0, chord_mm=190.0, wing_height_mm=wing_height),
        tail=Tail(area_dm2=3.5, span_mm=380.0, position_mm=780.0, height_mm=tail_height, elevator_chord_fraction=0.35),
        thrust_line=ThrustLine(position_mm=position, height_mm=height, tilt_deg=tilt),
    )


def trimmed(craft, **flown):
    return trim(craft, Flown(**flown))


@given(thrust=thrusts, speed=speeds, mass=masses, diameter=diameters, cg=st.floats(220.0, 300.0))
def test_thrust_through_the_centre_and_no_jet_on_the_tail_changes_nothing(thrust, speed, mass, diameter, cg):
    high = aircraft(tail_height=OUT, wing_height=OUT)
    common = {"airspeed_m_s": speed, "mass_kg": mass, "diameter_m": diameter, "cg_mm": cg}
    glide, full = trimmed(high, thrust_n=0.0, **common), trimmed(high, thrust_n=thrust, **common)
    assume(full.immersed_share == glide.immersed_share == 0)  # not so slow that the jet climbs all the way
    assert full.thrust_moment_nm == full.wing_jet_lift_n == full.wing_jet_moment_nm == 0.0
    assert full.jet_moment_nm == 0.0
    assert full.elevator_deg == glide.elevator_deg
    assert full.tail_lift_coefficient == glide.tail_lift_coefficient


@given(thrust=thrusts, height=heights, tilt=tilts, speed=speeds)
def test_moment_is_odd_in_height_and_tilt_and_linear_in_thrust(thrust, height, tilt, speed):
    common = {"airspeed_m_s": speed, "mass_kg": 0.6, "diameter_m": 0.23}
    up = trimmed(aircraft(height=height, tilt=tilt), thrust_n=thrust, **common).thrust_moment_nm
    down = trimmed(aircraft(height=-height, tilt=-tilt), thrust_n=thrust, **common).thrust_moment_nm
    twice = trimmed(aircraft(height=height, tilt=tilt), thrust_n=2 * thrust, **common).thrust_moment_nm
    assert down == pytest.approx(-up, rel=1e-12, abs=1e-15)
    assert twice == pytest.approx(2 * up, rel=1e-12)


@given(speed=speeds, mass=masses, low=st.floats(-80.0, 80.0), step=st.floats(1.0, 80.0), thrust=thrusts)
def test_higher_thrust_line_needs_more_up_elevator_with_the_tail_out_of_the_jet(speed, mass, low, step, thrust):
    common = {"airspeed_m_s": speed, "mass_kg": mass, "diameter_m": 0.2, "thrust_n": thrust}
    first = trimmed(aircraft(height=low, tail_height=OUT, wing_height=OUT), **common)
    second = trimmed(aircraft(height=low + step, tail_height=OUT, wing_height=OUT), **common)
    assume(first.immersed_share == second.immersed_share == 0)
    # The elevator works against the moment; the wing's share of it acts the same way.
    assert second.elevator_deg < first.elevator_deg


@given(speed=speeds, mass=masses, tilt=tilts, more=st.floats(0.5, 10.0), thrust=thrusts, height=heights)
def test_more_down_thrust_of_a_tractor_needs_more_up_elevator_out_of_the_jet(speed, mass, tilt, more, thrust, height):
    common = {"airspeed_m_s": speed, "mass_kg": mass, "diameter_m": 0.2, "thrust_n": thrust}
    craft = aircraft(height=height, tail_height=OUT, wing_height=OUT)
    first, second = (trimmed(craft, **common, tilt_deg=each) for each in (tilt, tilt + more))
    assume(first.immersed_share == second.immersed_share == 0)
    assert second.thrust_moment_nm < first.thrust_moment_nm
    assert second.elevator_deg < first.elevator_deg


@given(thrust=thrusts, speed=speeds, wing_height=heights, height=heights, tilt=tilts, incidence=st.floats(-8.0, 8.0))
def test_incidence_of_the_tail_is_an_elevator_angle_at_every_throttle(
    thrust, speed, wing_height, height, tilt, incidence
):
    common = {"airspeed_m_s": speed, "mass_kg": 0.6, "diameter_m": 0.23}
    craft = aircraft(height=height, tilt=tilt, wing_height=wing_height)
    turned = attrs.evolve(craft, tail=attrs.evolve(craft.tail, incidence_deg=incidence))
    moved = [
        trimmed(turned, thrust_n=each, **common).elevator_deg - trimmed(craft, thrust_n=each, **common).elevator_deg
        for each in (0.0, thrust)
    ]
    assert moved == pytest.approx([-incidence / craft.elevator_effectiveness] * 2, abs=1e-9)


@given(thrust=thrusts, speed=speeds, wing_height=heights, height=heights, tilt=tilts, diameter=diameters)
def test_the_wing_carries_the_same_with_less_angle_in_the_jet(thrust, speed, wing_height, height, tilt, diameter):
    common = {"airspeed_m_s": speed, "mass_kg": 0.6, "diameter_m": diameter, "thrust_n": thrust}
    inside = trimmed(aircraft(height=height, tilt=tilt, wing_height=wing_height), **common)
    outside = trimmed(aircraft(height=height, tilt=tilt, wing_height=OUT), **common)
    assert 0.0 <= inside.wing_immersed_share <= 1.0
    assert inside.wing_pressure_ratio >= 1.0
    assert outside.wing_jet_lift_n == 0.0

    # Forces: what wing and tail carry together is the same, with and without the wing in the jet.
    def carried(found):
        return found.wing_lift_coefficient * 0.5 * 1.225 * speed**2 * 0.2 + found.tail_lift_n

    assert carried(inside) == pytest.approx(carried(outside), rel=1e-9, abs=1e-9)


@given(thrust=thrusts, speed=speeds, height=heights, tail_height=heights, diameter=diameters, tilt=tilts)
def test_shares_and_pressures_stay_in_range(thrust, speed, height, tail_height, diameter, tilt):
    found = trimmed(
        aircraft(height=height, tail_height=tail_height, tilt=tilt),
        thrust_n=thrust, airspeed_m_s=speed, mass_kg=0.6, diameter_m=diameter,
    )  # fmt: skip
    assert 0.0 <= found.immersed_share <= 1.0
    assert 1.0 <= found.tail_pressure_ratio <= (found.jet_speed_m_s / speed) ** 2 * (1 + 1e-12)
    assert diameter * 500 / np.sqrt(2) <= found.jet_radius_mm * (1 + 1e-9) <= diameter * 500 * (1 + 2e-9)
    assert (found.tail_clearance_mm < 0) == (found.immersed_share > 0)


@given(
    thrust=st.lists(st.one_of(st.floats(-0.2, 20.0), st.just(np.nan)), min_size=2, max_size=6), speed=speeds, tilt=tilts
)
def test_lanes_equal_single_calls(thrust, speed, tilt):
    common = {"airspeed_m_s": speed, "mass_kg": 0.6, "diameter_m": 0.23, "tilt_deg": tilt}
    together = trimmed(aircraft(height=20.0), thrust_n=thrust, **common)
    for lane, each in enumerate(thrust):
        alone = trimmed(aircraft(height=20.0), thrust_n=each, **common)
        assert together.status[lane] == alone.status
        for field in ("elevator_deg", "tail_lift_n", "immersed_share", "jet_height_mm", "thrust_moment_nm"):
            np.testing.assert_allclose(getattr(together, field)[lane], getattr(alone, field), rtol=1e-12, atol=1e-14)


@given(thrust=st.integers(1, 20), speed=st.integers(3, 30), mass=st.integers(1, 3))
def test_whole_numbers_equal_floats(thrust, speed, mass):
    whole = trimmed(aircraft(height=20.0), thrust_n=thrust, airspeed_m_s=speed, mass_kg=mass, diameter_m=1)
    real = trimmed(
        aircraft(height=20.0), thrust_n=float(thrust), airspeed_m_s=float(speed), mass_kg=float(mass), diameter_m=1.0
    )
    assert whole.elevator_deg == real.elevator_deg


@given(full=st.floats(1.0, 10.0), level=st.floats(0.2, 1.0), height=heights, tail_height=heights, speed=speeds)
def test_no_single_tilt_beats_the_advice(full, level, height, tail_height, speed):
    flown = ThrottleCases(
        names=["3S"], airspeed_m_s=[speed, 1.5 * speed],
        thrust_n={"glide": 0.0, "level flight": level, "full throttle": [[full, 0.8 * full]]},
        mass_kg=0.6, diameter_m=0.23, cg_mm=260.0,
    )  # fmt: skip
    craft = aircraft(height=height, tail_height=tail_height)
    advice = trim_cures(craft, flown).cure("tilt")
    for tilt in (-14.7, -8.0, -3.3, 0.0, 1.15, 6.0, 14.0):
        assert throttle_trim(craft, flown, tilt_deg=tilt).worst_deg >= advice.left_deg - 1e-9
    if advice.found:  # not where the best lies at the bound of the search
        ends = (advice.value_from, advice.value_to)  # NaN where only the search has set the end
        assert advice.value == np.clip(advice.value, *np.where(np.isfinite(ends), ends, (-90.0, 90.0)))


# ---------------------------------------------------------------- slipstream


@given(behind=st.floats(-2.0, 5.0), diameter=diameters)
def test_the_jet_grows_from_nothing_far_ahead_to_twice_its_speed_in_the_disk(behind, diameter):
    growth = jet_growth(behind, diameter)
    assert 0.0 <= growth <= 2.0
    # Biot-Savart: ahead of the disk it lacks what it has gained behind it.
    assert growth + jet_growth(-behind, diameter) == pytest.approx(2.0, rel=1e-12)
    assert growth == pytest.approx(1 + behind / np.sqrt(behind**2 + diameter**2 / 4), rel=1e-9, abs=1e-12)


@given(thrust=thrusts, speed=st.one_of(st.just(0.0), speeds), diameter=diameters, density=st.floats(0.8, 1.4))
def test_disk_keeps_mass_momentum_and_energy(thrust, speed, diameter, density):
    # Continuity, momentum and energy of the stream tube written out, not the closed form of the module.
    v = induced_velocity_m_s(thrust, diameter, airspeed_m_s=speed, density_kg_m3=density)
    jet = speed + 2 * v
    radius = contraction_radius_m(thrust, diameter, airspeed_m_s=speed, density_kg_m3=density)
    flow = density * np.pi * (diameter / 2) ** 2 * (speed + v)
    assert density * np.pi * radius**2 * jet == pytest.approx(flow, rel=1e-12)
    assert flow * (jet - speed) == pytest.approx(thrust, rel=1e-9)
    assert flow * (jet**2 - speed**2) / 2 == pytest.approx(thrust * (speed + v), rel=1e-9)


@given(share=st.floats(0.0, 1.0 - 1e-12), speed=speeds, diameter=diameters)  # at 1 itself rounding decides
def test_windmilling_slows_the_jet_until_it_stands(share, speed, diameter):
    most = 1.225 * np.pi * diameter**2 / 4 * speed**2 / 2
    jet = speed + 2 * induced_velocity_m_s(-share * most, diameter, airspeed_m_s=speed)
    # Momentum: (V + w)/2 (w - V) rho A = T gives w = V sqrt(1 - share).
    assert jet == pytest.approx(speed * np.sqrt(1 - share), rel=1e-6, abs=1e-6 * speed)
    assert np.isnan(induced_velocity_m_s(-1.01 * most - 1e-6, diameter, airspeed_m_s=speed))


# ---------------------------------------------------------------- balance

grams = st.floats(5.0, 800.0)
places = st.floats(-200.0, 900.0)


@given(base=grams, base_cg=places, pack=grams, target=places)
def test_wanted_place_and_ballast_restore_the_target(base, base_cg, pack, target):
    wished = Balance(
        target_cg_mm=target, pack_tray_from_mm=0.0, pack_tray_to_mm=150.0, nose_ballast_mm=-300.0,
        tail_ballast_mm=1000.0,
    )  # fmt: skip
    found = place_packs(
        Geometry(wing_area_dm2=20.0, wing_span_mm=1100.0, balance=wished),
        base_mass_g=base,
        base_cg_mm=base_cg,
        pack_mass_g=pack,
    )
    assert centre_of_gravity_mm([base, pack], [base_cg, found.wanted_mm]) == pytest.approx(target, abs=1e-6)
    assert 0.0 <= found.pack_mm <= 150.0
    assert centre_of_gravity_mm([base, pack], [base_cg, found.pack_mm]) == pytest.approx(found.cg_mm, abs=1e-6)
    assert found.cg_from_mm - 1e-6 <= found.cg_mm <= found.cg_to_mm + 1e-6 or found.in_tray
    assert found.ballast_g >= 0.0
    if found.ballast_g > 0:
        weights, spots = [base, pack, found.ballast_g], [base_cg, found.pack_mm, found.ballast_mm]
        assert centre_of_gravity_mm(weights, spots) == pytest.approx(target, abs=1e-6)


@given(pack=grams, more=st.floats(1.0, 300.0), base_cg=st.floats(300.0, 600.0))
def test_heavier_pack_moves_back_under_a_tail_heavy_airframe(pack, more, base_cg):
    wished = Balance(target_cg_mm=260.0)
    found = place_packs(
        Geometry(wing_area_dm2=20.0, wing_span_mm=1100.0, balance=wished),
        base_mass_g=400.0,
        base_cg_mm=base_cg,
        pack_mass_g=[pack, pack + more],
    )
    assert found.wanted_mm[1] > found.wanted_mm[0]


@given(mass=grams, away=st.floats(0.5, 50.0), near=st.floats(20.0, 200.0), further=st.floats(1.0, 300.0))
def test_ballast_further_out_weighs_less(mass, away, near, further):
    close = ballast_g(mass, 260.0 + away, 260.0 - near, 260.0)
    far = ballast_g(mass, 260.0 + away, 260.0 - near - further, 260.0)
    assert 0 < far < close
