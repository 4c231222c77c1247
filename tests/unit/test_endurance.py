"""Flight time against ordinary differential equations integrated by scipy, closed forms, and tiny alternating steps."""

import attrs
import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from support.trains import random_train, simple_airframe, simple_train

from propmatch import Air, Phase, Status, hold_thrust, solve
from propmatch.aircraft.discharge import load_of
from propmatch.aircraft.endurance import flight_time
from propmatch.aircraft.flightlanes import flight_time_lanes
from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import airframe_lanes
from propmatch.train.coupling import as_lanes
from propmatch.train.lanes import train_lanes

TRAIN, FRAME, MASS = simple_train(), simple_airframe(), 0.41
CAPACITY_AH = 0.85
G = 9.80665
RHO = float(Air.standard().density_kg_m3)
CRUISE = Phase(name="cruise", airspeed_m_s=11.0, load_factor=1.1, share=1.0)
GLIDE = Phase(name="glide", throttle=0.0, share=0.5)
CLIMB = Phase(name="climb out", throttle=1.0, seconds=30.0)
LANDING = Phase(name="landing", airspeed_m_s=8.0, seconds=45.0)


def drag_by_hand(speed, load=1.0):
    area, aspect = 0.16, 1.1**2 / 0.16
    q = 0.5 * RHO * speed**2 * area
    return q * 0.035 + (load * MASS * G) ** 2 / (q * np.pi * 0.8 * aspect)


def thrust_by_hand(phase):
    return drag_by_hand(phase.airspeed_m_s, phase.load_factor) + MASS * G * phase.climb_m_s / phase.airspeed_m_s


def speed_by_hand(phase):
    return 1.3 * np.sqrt(2 * MASS * G / (RHO * 0.16 * 1.1)) if phase.airspeed_m_s is None else phase.airspeed_m_s


def climb_by_hand(phase, charge, train=TRAIN):
    """Rate of climb: as held, by excess power, or the sink of airframe and propeller with the motor off."""
    if phase.throttle is None:
        return phase.climb_m_s
    speed = speed_by_hand(phase)
    drag = drag_by_hand(speed)
    if phase.throttle == 0:
        lanes = train_lanes([train])[0]
        return -speed * (drag + float(motor_off_drag(lanes, speed, RHO).drag_n[0])) / (MASS * G)
    return speed * (point_by_hand(phase, charge, train).thrust_n - drag) / (MASS * G)


def paid(phases, charge=0.2):
    """The shares with the level one climbing for what the others lose at a charge."""
    net = sum(p.share * climb_by_hand(p, charge) for p in phases)
    paying = sum(p.share for p in phases if p.throttle is None)
    return [attrs.evolve(p, climb_m_s=max(-net, 0.0) / paying) if p.throttle is None else p for p in phases]


def point_by_hand(phase, charge, train=TRAIN):
    """The phase flown at a charge, through the public operating points alone."""
    if phase.throttle is None:
        thrust = thrust_by_hand(phase)
        point = hold_thrust(train, thrust, airspeed_m_s=phase.airspeed_m_s, charge=charge)
        if point.status is Status.CANNOT_HOLD:  # only in trial steps past the event
            point = solve(train, airspeed_m_s=phase.airspeed_m_s, charge=charge)
        return point
    return solve(train, airspeed_m_s=speed_by_hand(phase), throttle=phase.throttle, charge=charge)


def seconds_by_ode(phases, start, stop, *, cutoff=None, train=TRAIN):
    """Time in which a mixture of phases takes the pack from one charge to another, and the charge at the end."""
    weights = np.array([p.share if p.share is not None else 1.0 for p in phases])
    weights /= weights.sum()

    def rate(_, charge):
        current = sum(
            w * point_by_hand(p, charge[0], train).pack_current_a for w, p in zip(weights, phases, strict=True)
        )
        return [-current / (3600 * CAPACITY_AH)]

    def reached(_, charge):
        return charge[0] - stop

    def low(_, charge):
        return min(point_by_hand(p, charge[0], train).cell_voltage_v for p in phases) - cutoff

    def lost(_, charge):
        held = [p for p in phases if p.throttle is None]
        full = [solve(train, airspeed_m_s=p.airspeed_m_s, charge=charge[0]).thrust_n - thrust_by_hand(p) for p in held]
        return min(full, default=1.0)

    events = [reached, lost] if cutoff is None else [reached, lost, low]
    for event in events:
        event.terminal, event.direction = True, -1
    out = solve_ivp(rate, (0, 1e5), [start], events=events, rtol=1e-7, atol=1e-10, max_step=120.0)
    ended = next(i for i, times in enumerate(out.t_events) if times.size)
    return out.t[-1], out.y[0, -1], ("reserve", "lost thrust", "cutoff")[ended]


def test_one_phase_against_the_ode():
    seconds, _, ended_by = seconds_by_ode([CRUISE], 1.0, 0.2)
    found = flight_time(TRAIN, FRAME, MASS, [CRUISE])
    assert (found.ended_by, found.ended_in) == (ended_by, "cruise") == ("reserve", "cruise")
    assert found.minutes == pytest.approx(seconds / 60, rel=1e-4)


def test_a_held_throttle_against_the_ode():
    phase = Phase(name="held", throttle=0.85, airspeed_m_s=11.0, share=1.0)
    seconds, _, _ = seconds_by_ode([phase], 1.0, 0.05)
    found = flight_time(TRAIN, FRAME, MASS, [phase], reserve_charge=0.05, cutoff_cell_v=3.0)
    assert found.minutes == pytest.approx(seconds / 60, rel=1e-4)


def test_mixture_against_the_ode():
    phases = [CRUISE, GLIDE, Phase(name="dash", throttle=0.9, airspeed_m_s=14.0, share=0.05)]
    flown = paid(phases)
    assert flown[0].climb_m_s > 0.05
    seconds, _, _ = seconds_by_ode(flown, 1.0, 0.2)
    found = flight_time(TRAIN, FRAME, MASS, phases)
    assert found.minutes == pytest.approx(seconds / 60, rel=1e-4)
    assert found.ended_in == "cruise + glide + dash"
    assert found.paying_climb_m_s == pytest.approx(flown[0].climb_m_s, rel=1e-4)
    assert [p.pays for p in found.phases] == [True, False, False]
    times = np.array([p.minutes for p in found.phases])
    assert times / times.sum() == pytest.approx(np.array([1.0, 0.5, 0.05]) / 1.55, rel=1e-12)


def test_a_climb_that_pays_for_a_descent_is_over_where_it_gains_no_more():
    """By quadrature of the mixture that keeps the ground, from full to where scipy finds no climb left."""

    def up(throttle):
        return Phase(name="up", throttle=throttle, airspeed_m_s=11.0, share=0.3)

    weak = brentq(lambda throttle: climb_by_hand(up(throttle), 0.5), 0.5, 0.9)
    phases = [up(weak), Phase(name="down", airspeed_m_s=11.0, climb_m_s=-0.3, share=0.7)]
    end = brentq(lambda charge: climb_by_hand(phases[0], charge), 0.3, 0.7)

    def seconds_per_charge(charge):
        gain, loss = 0.3 * climb_by_hand(phases[0], charge), 0.7 * 0.3
        assert gain < loss
        times = np.array([0.3, 0.7 * gain / loss])
        currents = [float(point_by_hand(phase, charge).pack_current_a) for phase in phases]
        return 3600.0 * CAPACITY_AH * times.sum() / (times @ currents)

    seconds, _ = quad(seconds_per_charge, end, 1.0, epsrel=1e-6)
    found = flight_time(TRAIN, FRAME, MASS, phases)
    assert (found.ended_by, found.ended_in) == ("ground", "up + down")
    assert found.charge == pytest.approx(end, abs=1e-3)
    assert found.minutes == pytest.approx(seconds / 60, rel=3e-3)


@pytest.mark.parametrize("throttle", [0.55, 0.65, 0.75])
def test_rounding_does_not_end_a_flight_that_keeps_the_ground(throttle):
    """Whatever flew until nothing paid for its descent has no climb left, by excess power."""
    phases = [Phase(name="up", throttle=throttle, airspeed_m_s=9.7, share=0.3),
              Phase(name="down", airspeed_m_s=10.8, climb_m_s=-3.9, share=0.1)]  # fmt: skip
    rng, over = np.random.default_rng(7), 0
    for train in [random_train(rng) for _ in range(60)]:
        found = flight_time(train, FRAME, MASS, phases)
        if found.ended_by == "ground" and found.minutes > 0:
            over += 1
            assert climb_by_hand(phases[0], found.charge, train) == pytest.approx(0.0, abs=0.03)
    assert over


def test_shares_that_sink_from_the_ground_are_not_flown():
    found = flight_time(TRAIN, FRAME, MASS, [GLIDE, Phase(name="down", airspeed_m_s=11.0, climb_m_s=-0.3, share=0.5)])
    assert (found.ended_by, found.minutes, found.charge) == ("ground", 0.0, 1.0)


def test_cut_off_against_the_ode():
    phases = [Phase(name="fast", airspeed_m_s=14.5, share=1.0), GLIDE]
    seconds, charge, ended_by = seconds_by_ode(paid(phases), 1.0, 0.05, cutoff=3.62)
    found = flight_time(TRAIN, FRAME, MASS, phases, reserve_charge=0.05, cutoff_cell_v=3.62)
    assert (found.ended_by, found.ended_in) == (ended_by, "fast") == ("cutoff", "fast")
    assert found.charge == pytest.approx(charge, abs=1e-4)
    assert found.minutes == pytest.approx(seconds / 60, rel=1e-3)
    assert [p.ended for p in found.phases] == [True, False]
    assert found.phases[0].cell_voltage_lowest_v == pytest.approx(3.62, abs=1e-6)


def test_lost_thrust_against_the_ode():
    phase = Phase(name="flat out", airspeed_m_s=16.3, share=1.0)
    seconds, charge, ended_by = seconds_by_ode([phase], 1.0, 0.05)
    found = flight_time(TRAIN, FRAME, MASS, [phase], reserve_charge=0.05, cutoff_cell_v=3.0)
    assert (found.ended_by, found.ended_in) == (ended_by, "flat out") == ("lost thrust", "flat out")
    assert found.charge == pytest.approx(charge, abs=1e-4)
    assert found.minutes == pytest.approx(seconds / 60, rel=1e-3)
    assert found.phases[0].throttle_to == pytest.approx(1.0, abs=1e-6)


def advance_by_ode(phase, charge, seconds):
    def rate(_, q):
        return [-point_by_hand(phase, q[0]).pack_current_a / (3600 * CAPACITY_AH)]

    return solve_ivp(rate, (0, seconds), [charge], rtol=1e-8, atol=1e-10).y[0, -1]


def test_timed_phases_before_and_after_the_shares():
    found = flight_time(TRAIN, FRAME, MASS, [CLIMB, CRUISE, LANDING])
    after_climb = advance_by_ode(CLIMB, 1.0, 30.0)
    before_landing = 0.2 + (0.2 - advance_by_ode(LANDING, 0.2, 45.0))  # nearly: refined below
    for _ in range(3):
        before_landing += 0.2 - advance_by_ode(LANDING, before_landing, 45.0)
    seconds, _, _ = seconds_by_ode([CRUISE], after_climb, before_landing)
    assert found.minutes == pytest.approx((30 + seconds + 45) / 60, rel=1e-4)
    assert [p.minutes for p in found.phases] == pytest.approx([0.5, seconds / 60, 0.75], rel=2e-4)
    assert found.phases[0].used_mah == pytest.approx(850 * (1 - after_climb), rel=1e-4)
    assert found.phases[2].used_mah == pytest.approx(850 * (before_landing - 0.2), rel=1e-4)
    assert found.charge == pytest.approx(0.2, abs=1e-9)
    assert (found.ended_by, found.ended_in) == ("reserve", "landing")


def test_repeated_list_against_the_ode_phase_by_phase():
    climb = Phase(name="climb", throttle=1.0, seconds=20.0)
    sink = Phase(name="sink", throttle=0.0, seconds=50.0)
    cruise = Phase(name="cruise", airspeed_m_s=11.0, seconds=40.0)
    found = flight_time(TRAIN, FRAME, MASS, [climb, sink, cruise], reserve_charge=0.5)
    charge, seconds, name = 1.0, 0.0, ""
    while charge > 0.5:
        for phase in (climb, sink, cruise):
            after = advance_by_ode(phase, charge, phase.seconds)
            if after <= 0.5:
                current = point_by_hand(phase, 0.5 * (charge + 0.5)).pack_current_a
                seconds, charge, name = seconds + (charge - 0.5) * 3600 * CAPACITY_AH / current, 0.5, phase.name
                break
            charge, seconds = after, seconds + phase.seconds
    assert found.minutes == pytest.approx(seconds / 60, rel=1e-4)
    assert found.ended_in == name
    assert not any(p.cut_short for p in found.phases)


def test_a_fine_repetition_becomes_the_mixture():
    shares = [Phase(name="uphill", throttle=0.9, airspeed_m_s=11.0, share=1.0), GLIDE]
    mixture = flight_time(TRAIN, FRAME, MASS, shares)

    def repeated(scale):
        return [Phase(name=p.name, seconds=scale * p.share, throttle=p.throttle, airspeed_m_s=p.airspeed_m_s,
                      load_factor=p.load_factor) for p in shares]  # fmt: skip

    coarse = flight_time(TRAIN, FRAME, MASS, repeated(6.0))  # still phase by phase: above 0.5 % of the pack a round
    assert coarse.minutes == pytest.approx(mixture.minutes, rel=4e-3)
    tiny = flight_time(TRAIN, FRAME, MASS, repeated(0.01))
    assert tiny.minutes == pytest.approx(mixture.minutes, rel=1e-5)
    assert tiny.rounds == pytest.approx(60 * mixture.minutes / 0.015, rel=1e-3)
    # alternating steps of 2 s and 1 s, the charge advanced with the currents at its start
    points = {q: [point_by_hand(p, q).pack_current_a for p in shares] for q in np.linspace(0.2, 1.0, 41)}
    charges = np.array(list(points))
    currents = np.array(list(points.values()))
    charge, seconds = 1.0, 0.0
    while charge > 0.2:
        for i, step in enumerate((2.0, 1.0)):
            charge -= np.interp(charge, charges, currents[:, i]) * step / (3600 * CAPACITY_AH)
            seconds += step
    assert mixture.minutes == pytest.approx(seconds / 60, rel=2e-3)


def test_motor_off_is_arithmetic():
    # 0.2 A of radio and payload in a glide of 100 m; its sink by hand.
    up = Phase(name="up", throttle=1.0, to_height_m=100.0)
    down = Phase(name="soar", throttle=0.0, share=1.0)
    found = flight_time(TRAIN, FRAME, MASS, [up, down])
    seconds = 100.0 / -climb_by_hand(down, 1.0)
    assert found.phases[1].minutes == pytest.approx(seconds / 60, rel=1e-9)
    assert found.phases[1].used_mah == pytest.approx(0.2 * seconds / 3.6, rel=1e-9)
    assert (found.ended_by, found.ended_in) == ("ground", "soar")


def test_a_descent_that_needs_no_thrust_is_motor_off():
    up = Phase(name="up", throttle=1.0, to_height_m=60.0)
    found = flight_time(TRAIN, FRAME, MASS, [up, Phase(name="down", airspeed_m_s=12.0, climb_m_s=-3.0, share=1.0)])
    assert found.phases[1].minutes * 60 == pytest.approx(20.0, rel=1e-9)
    assert found.phases[1].throttle_from == 0.0


def test_reserve_met_before_the_phases_after_it_leaves_no_time_for_the_shares():
    landing = Phase(name="long landing", airspeed_m_s=8.0, seconds=7200.0)
    found = flight_time(TRAIN, FRAME, MASS, [CLIMB, CRUISE, landing])
    assert [p.minutes > 0 for p in found.phases] == [True, False, True]
    assert (found.ended_by, found.ended_in) == ("reserve", "long landing")
    assert found.charge == pytest.approx(0.2, abs=1e-9)


def test_a_phase_after_the_shares_that_needs_a_fuller_pack_decides_the_end():
    flat_out = {"airspeed_m_s": 16.3}
    alone = flight_time(TRAIN, FRAME, MASS, [Phase(name="flat out", share=1.0, **flat_out)])
    pass_by = Phase(name="pass by", seconds=20.0, **flat_out)
    home = Phase(name="home", throttle=0.0, seconds=30.0)
    up = Phase(name="up", throttle=1.0, to_height_m=80.0)
    found = flight_time(TRAIN, FRAME, MASS, [up, CRUISE, pass_by, home])
    assert (found.ended_by, found.ended_in) == ("lost thrust", "pass by")
    assert [p.minutes * 60 for p in found.phases][2:] == pytest.approx([20.0, 30.0])
    assert found.charge == pytest.approx(alone.charge - 0.2 * 30 / 3600 / CAPACITY_AH, abs=1e-6)


def test_what_cannot_be_flown_at_all():
    fast = flight_time(TRAIN, FRAME, MASS, [Phase(name="too fast", airspeed_m_s=40.0, share=1.0)])
    assert (fast.minutes, fast.ended_by, fast.status) == (0.0, "lost thrust", Status.OK)
    slow = flight_time(TRAIN, FRAME, MASS, [CLIMB, Phase(name="too slow", airspeed_m_s=5.0, share=1.0)])
    assert (slow.ended_by, slow.ended_in, slow.status) == (None, None, Status.BELOW_STALL)
    assert np.isnan(slow.minutes)
    idle = flight_time(simple_train(radio_current_a=0.0), FRAME, MASS, [GLIDE])
    assert idle.status is Status.BAD_INPUT
    assert np.isnan(idle.minutes)
    weak = flight_time(TRAIN, FRAME, MASS, [Phase(name="idle", throttle=0.004, share=1.0)])
    assert weak.status is Status.CANNOT_TURN
    lost = flight_time(TRAIN, FRAME, np.nan, [CRUISE])
    assert lost.status is Status.BAD_INPUT


def test_a_pack_below_the_cut_off_when_full_flies_no_time():
    found = flight_time(TRAIN, FRAME, MASS, [CLIMB, CRUISE], cutoff_cell_v=4.19)
    assert (found.minutes, found.ended_by, found.ended_in) == (0.0, "cutoff", "climb out")


@pytest.mark.parametrize(
    ("phases", "options", "fault"),
    [
        ([], {}, "at least one Phase"),
        ([CRUISE, "landing"], {}, "at least one Phase"),
        ([CRUISE, CLIMB, GLIDE], {}, "between shares: climb out"),
        ([CRUISE], {"reserve_charge": 1.0}, "reserve_charge"),
        ([CRUISE], {"reserve_charge": float("nan")}, "reserve_charge"),
        ([CRUISE], {"cutoff_cell_v": -1.0}, "cutoff_cell_v"),
    ],
)
def test_faulty_input_is_refused(phases, options, fault):
    with pytest.raises((TypeError, ValueError), match=fault):
        flight_time(TRAIN, FRAME, MASS, phases, **options)


def test_one_train_and_one_mass_only():
    with pytest.raises(TypeError, match="PowerTrain"):
        flight_time([TRAIN], FRAME, MASS, [CRUISE])
    with pytest.raises(TypeError, match="flight_time_lanes"):
        flight_time(TRAIN, FRAME, [0.4, 0.5], [CRUISE])


def test_assumptions_name_the_airspeed():
    found = flight_time(TRAIN, FRAME, MASS, [CLIMB, CRUISE])
    texts = {a.field: a.text for a in found.assumptions if a.subject == "flight time"}
    assert set(texts) == {"airspeed_m_s"}
    assert "climb out" in texts["airspeed_m_s"]


def test_lanes_are_the_single_answers_whatever_their_company():
    rng = np.random.default_rng(11)
    trains = [random_train(rng) for _ in range(20)]
    trains += [simple_train(pack={"chemistry": kind}) for kind in ("liion", "lihv", "lipo")]
    masses = rng.uniform(0.2, 0.5, len(trains))
    masses[3] = np.nan
    air = Air.standard(300)
    full = np.ones(len(trains))
    lanes, _ = train_lanes(trains)
    frames, _ = airframe_lanes(FRAME, masses)
    timed = [Phase(name=p.name, seconds=s, throttle=p.throttle, airspeed_m_s=p.airspeed_m_s)
             for p, s in ((CLIMB, 9.0), (CRUISE, 25.0))]  # fmt: skip
    for phases in ([CLIMB, CRUISE, GLIDE, LANDING], timed):
        found = flight_time_lanes(
            lanes, frames, phases, 0.2, None, air.density_kg_m3 * full, air.speed_of_sound_m_s * full
        )
        assert np.isnan(found.minutes[3])
        assert found.status[3] == Status.BAD_INPUT
        for i in set(range(len(trains))) - {3}:
            one = flight_time(trains[i], FRAME, masses[i], phases, air=air)
            assert found.minutes[i] == pytest.approx(one.minutes, rel=1e-9, nan_ok=True)
            assert found.used_mah[i] == pytest.approx(one.used_mah, rel=1e-9, nan_ok=True)
            for j, phase in enumerate(one.phases):
                assert found.phase_mah[j, i] == pytest.approx(phase.used_mah, rel=1e-8, abs=1e-9, nan_ok=True)
                assert found.throttle_to[j, i] == pytest.approx(phase.throttle_to, rel=1e-8, nan_ok=True)


def drawn(phase, charge, reserve=0.2):
    """What a phase draws at charges, (M,), as flight time and the chart of the flight ask for it."""
    asked = as_lanes(TRAIN, None, mass_kg=MASS)
    frames, _ = airframe_lanes(FRAME, asked["mass_kg"])
    load = load_of(phase, asked.lanes, frames, reserve, asked.density, asked.sound)
    return load.at(np.array(charge)[:, None])


def test_a_held_airspeed_draws_what_its_operating_points_draw():
    charges = np.linspace(1.0, 0.2, 9)
    found = drawn(CRUISE, charges)
    for i, charge in enumerate(charges):
        point = point_by_hand(CRUISE, charge)
        for name in ("pack_current_a", "cell_voltage_v", "throttle", "motor_current_a"):
            assert getattr(found, name)[i, 0] == pytest.approx(getattr(point, name), rel=1e-9)


def test_a_held_throttle_draws_what_the_solver_says():
    phase, charges = Phase(name="half", throttle=0.5, airspeed_m_s=10.0, seconds=60.0), np.linspace(1.0, 0.05, 11)
    found = drawn(phase, charges, 0.05)
    for i, charge in enumerate(charges):
        point = point_by_hand(phase, charge)
        assert found.pack_current_a[i, 0] == pytest.approx(point.pack_current_a, rel=2e-4)
        assert found.cell_voltage_v[i, 0] == pytest.approx(point.cell_voltage_v, rel=1e-5)
