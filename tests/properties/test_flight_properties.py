"""What must hold for every aircraft: monotone flight times, sums that agree, optima that are optima."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from support.trains import simple_airframe, simple_train

from propmatch import Phase, Status
from propmatch.aircraft.discharge import Running, gauss_nodes
from propmatch.aircraft.endurance import flight_time
from propmatch.aircraft.flight import full_throttle, level_flight
from propmatch.aircraft.polar import airframe_lanes, drag_n, least_drag_speed_m_s, least_power_speed_m_s, polar_speeds

masses = st.floats(0.25, 0.6)
speeds = st.floats(8.0, 14.0)
charges = st.floats(0.05, 1.0)
TRAIN, FRAME = simple_train(), simple_airframe()
SLACK = 1.0 + 1e-6


def minutes(*, mass=0.4, speed=10.0, train=TRAIN, frame=FRAME, **options):
    return flight_time(train, frame, mass, [Phase(name="cruise", airspeed_m_s=speed, share=1.0)], **options).minutes


@given(first=masses, second=masses, speed=speeds)
def test_heavier_never_flies_longer_at_the_same_speed(first, second, speed):
    light, heavy = sorted((first, second))
    assert minutes(mass=heavy, speed=speed) <= minutes(mass=light, speed=speed) * SLACK


@given(first=st.floats(0.02, 0.1), second=st.floats(0.02, 0.1), speed=speeds)
def test_more_drag_never_flies_longer(first, second, speed):
    clean, rough = sorted((first, second))
    slow = minutes(speed=speed, frame=simple_airframe(cd0=rough))
    assert slow <= minutes(speed=speed, frame=simple_airframe(cd0=clean)) * SLACK


@given(first=st.floats(0.0, 0.9), second=st.floats(0.0, 0.9), speed=speeds)
def test_more_reserve_never_flies_longer(first, second, speed):
    small, large = sorted((first, second))
    assert minutes(speed=speed, reserve_charge=large) <= minutes(speed=speed, reserve_charge=small) * SLACK


@given(first=st.floats(2.8, 4.1), second=st.floats(2.8, 4.1), speed=speeds)
def test_a_higher_cut_off_never_flies_longer(first, second, speed):
    low, high = sorted((first, second))
    options = {"speed": speed, "reserve_charge": 0.02}
    assert minutes(cutoff_cell_v=high, **options) <= minutes(cutoff_cell_v=low, **options) * SLACK


@given(first=st.floats(0.0, 2.0), second=st.floats(0.0, 2.0))
def test_more_radio_current_never_flies_longer(first, second):
    few, many = (minutes(train=simple_train(radio_current_a=a)) for a in sorted((first, second)))
    assert many <= few * SLACK


@given(scale=st.floats(1.0, 4.0), speed=speeds)
def test_capacity_alone_scales_the_time(scale, speed):
    # same cell resistance, so the current depends on the charge alone: time is in proportion to capacity, exactly
    larger = simple_train(pack={"capacity_mah": 850.0 * scale})
    assert minutes(train=larger, speed=speed) == pytest.approx(scale * minutes(speed=speed), rel=1e-12)


@st.composite
def flights(draw):
    """Phases in an order the rules allow."""
    power = st.one_of(
        st.fixed_dictionaries({"airspeed_m_s": speeds, "climb_m_s": st.floats(-4.0, 1.0)}),
        st.fixed_dictionaries({"throttle": st.one_of(st.just(0.0), st.floats(0.2, 1.0))}),
    )
    length = st.one_of(st.tuples(st.just("seconds"), st.floats(1.0, 200.0)),
                       st.tuples(st.just("to_height_m"), st.floats(0.0, 150.0)))  # fmt: skip
    timed = st.lists(st.tuples(power, length), max_size=2)
    shared = draw(st.lists(st.tuples(power, st.floats(0.1, 1.0)), max_size=3))
    before, after = draw(timed), draw(timed) if shared else []
    assume(before or shared)
    rows = [(p, dict([end])) for p, end in before]
    rows += [(p, {"share": s}) for p, s in shared] + [(p, dict([end])) for p, end in after]
    rows = [(p | {"climb_m_s": 1.0} if "to_height_m" in end and p.get("climb_m_s") == 0 else p, end) for p, end in rows]
    return [Phase(name=f"phase {i}", **p, **s) for i, (p, s) in enumerate(rows)]


@given(phases=flights(), reserve=st.floats(0.0, 0.6), cutoff=st.sampled_from([0.0, 3.3, 3.6]))
def test_parts_of_a_flight_add_up(phases, reserve, cutoff):
    found = flight_time(TRAIN, FRAME, 0.4, phases, reserve_charge=reserve, cutoff_cell_v=cutoff)
    assert found.status is Status.OK
    assert found.ended_by in ("reserve", "cutoff", "lost thrust", "lost climb", "ground")
    assert sum(p.minutes for p in found.phases) == pytest.approx(found.minutes, rel=1e-9)
    assert sum(p.used_mah for p in found.phases) == pytest.approx(found.used_mah, rel=1e-9, abs=1e-9)
    assert found.used_mah == pytest.approx(850 * (1 - found.charge), rel=1e-12)
    assert found.charge >= reserve - 1e-9
    as_planned = all(p.to_height_m is None for p in phases) and not any(p.cut_short for p in found.phases)
    assert found.ended_by != "reserve" or found.charge == pytest.approx(reserve, abs=1e-6 if as_planned else 0.02)
    assert any(p.ended for p in found.phases)
    assert sum(p.gained_m for p in found.phases) == pytest.approx(found.height_left_m, rel=1e-6, abs=1e-3)
    assert 0.0 <= found.height_left_m <= found.greatest_height_m + 1e-6
    assert all(height >= 0.0 for leg in found.legs for height in leg.height_m)
    for phase, p in zip(phases, found.phases, strict=True):
        if phase.seconds is not None and any(q.share is not None for q in phases):
            assert p.minutes * 60 <= phase.seconds * SLACK
        if p.minutes > 0:
            assert p.pack_current_mean_a == pytest.approx(60 * p.used_mah / 1000 / p.minutes, rel=1e-9)
            assert p.cell_voltage_lowest_v >= cutoff - 1e-6


@given(share=st.floats(0.05, 0.95), speed=speeds)
def test_a_mixture_lies_between_its_phases(share, speed):
    fast = {"airspeed_m_s": speed + 1.5}
    slow = {"airspeed_m_s": speed}
    alone = [flight_time(TRAIN, FRAME, 0.4, [Phase(name="one", share=1.0, **p)]).minutes for p in (fast, slow)]
    both = [Phase(name="fast", share=share, **fast), Phase(name="slow", share=1 - share, **slow)]
    mixed = flight_time(TRAIN, FRAME, 0.4, both)
    assume(mixed.ended_by == "reserve")
    assert min(alone) / SLACK <= mixed.minutes <= max(alone) * SLACK


@given(mass=masses, cd0=st.floats(0.02, 0.1), load=st.floats(0.5, 3.0))
def test_speeds_of_least_drag_and_power_are_optima(mass, cd0, load):
    lanes, _ = airframe_lanes(simple_airframe(cd0=cd0), mass)
    drag_speed = float(least_drag_speed_m_s(lanes, 1.2, load)[0])
    power_speed = float(least_power_speed_m_s(lanes, 1.2, load)[0])
    for factor in (0.97, 1.03):
        assert drag_n(lanes, 1.2, factor * drag_speed, load)[0] > drag_n(lanes, 1.2, drag_speed, load)[0]
        here, there = (drag_n(lanes, 1.2, f * power_speed, load)[0] * f * power_speed for f in (1.0, factor))
        assert there > here


@given(mass=masses, charge=charges)
def test_top_speed_is_level_flight_at_full_throttle(mass, charge):
    found = full_throttle(TRAIN, FRAME, mass, charge=charge)
    assume(found.status is Status.OK)
    point = level_flight(TRAIN, FRAME, mass, found.top_speed_m_s * (1 - 1e-7), charge=charge)
    assert point.status is Status.OK
    assert point.throttle == pytest.approx(1.0, abs=1e-5)
    assert found.stall_speed_m_s < found.top_speed_m_s < found.zero_thrust_speed_m_s


@given(first=masses, second=masses, charge=charges)
def test_heavier_climbs_no_faster_and_flies_no_faster(first, second, charge):
    light, heavy = (full_throttle(TRAIN, FRAME, m, charge=charge) for m in sorted((first, second)))
    assert heavy.climb_m_s <= light.climb_m_s + 1e-4
    assert heavy.top_speed_m_s <= light.top_speed_m_s * SLACK
    assert heavy.hand_launch_thrust_to_weight <= light.hand_launch_thrust_to_weight * SLACK


@given(first=charges, second=charges, mass=masses)
def test_a_fuller_pack_climbs_and_flies_no_slower(first, second, mass):
    low, high = (full_throttle(TRAIN, FRAME, mass, charge=q) for q in sorted((first, second)))
    assert low.climb_m_s <= high.climb_m_s + 1e-4
    assert low.top_speed_m_s <= high.top_speed_m_s * SLACK


@given(mass=st.integers(1, 3), speed=st.integers(15, 25))
def test_whole_numbers_count_as_floats(mass, speed):
    whole, real = (level_flight(TRAIN, FRAME, kind(mass), kind(speed)) for kind in (int, float))
    assert whole.status == real.status
    assert whole.pack_current_a == pytest.approx(real.pack_current_a, rel=0, nan_ok=True)
    assert polar_speeds(FRAME, mass).stall_speed_m_s == polar_speeds(FRAME, float(mass)).stall_speed_m_s


@given(
    values=st.lists(st.floats(0.1, 10.0), min_size=3, max_size=8),
    where=st.floats(0.0, 1.0),
)
def test_the_clock_and_its_inverse(values, where):
    edges = np.linspace(1.0, 0.1, len(values))[:, None]
    nodes = gauss_nodes(edges)
    clock = Running.of(edges, *np.interp(nodes, edges[::-1, 0], np.array(values)[::-1]))
    charge = np.array([1.0 - 0.9 * where])
    assert clock.charge_at(clock.to(charge)) == pytest.approx(charge, abs=1e-9)
    # the integrand is linear in every segment: Gauss quadrature is the trapezium rule, exactly
    assert clock.end[0] == pytest.approx(-np.trapezoid(values, edges[:, 0]), rel=1e-12)
