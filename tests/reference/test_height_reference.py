"""Flights with their height against scipy's ODE solution of the same flight: charge, height and the energies.

The equations of motion along a steady path: W h' = V (f T - D), 3600 Q q' = -I, every operating point solved anew at
its charge; scipy.integrate.solve_ivp, phase after phase, each ended by an event.
"""

from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from support.trains import random_train, simple_airframe

from propmatch import Phase, solve
from propmatch.aircraft.endurance import flight_time
from propmatch.aircraft.flight import full_throttle, level_flight
from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import airframe_lanes, drag_n, stall_speed_m_s
from propmatch.train.lanes import train_lanes

G = 9.80665
RESERVE = 0.3
MASSES = (0.30, 0.36, 0.42, 0.48, 0.54)


@cache
def able(seed):
    """A random train that climbs its aircraft at 1.5 m/s and more, not vertically, with the aircraft."""
    rng = np.random.default_rng(seed)
    mass = MASSES[seed % len(MASSES)]
    frame = simple_airframe(cd0=float(rng.uniform(0.03, 0.06)), installed_thrust=float(rng.uniform(0.85, 1.0)))
    while True:
        train = random_train(rng)
        if train.count == 1 and train.radio_current_a > 0:
            last, first = (full_throttle(train, frame, mass, charge=charge) for charge in (RESERVE, 1.0))
            if last.climb_m_s > 1.5 and first.climb_m_s < 6.0 and last.top_speed_m_s > 2.0 * last.stall_speed_m_s:
                return train, frame, mass


class Flown:
    """One aircraft flown by the ODE."""

    def __init__(self, train, frame, mass):
        self.train, self.frame, self.mass = train, frame, mass
        self.lanes, _ = airframe_lanes(frame, mass)
        self.train_lanes, _ = train_lanes([train])
        self.rho = 1.225
        self.stall = float(stall_speed_m_s(self.lanes, self.rho)[0])
        self.seconds = 0.0
        self.state = np.zeros(6)  # charge, height, energies: pack, drag, heat and radio, climb
        self.state[0] = 1.0
        self.spent = {}

    def rates(self, phase, charge, extra=0.0):
        """Charge [1/s], height [m/s] and powers [W] of a phase."""
        speed = 1.3 * self.stall if phase.airspeed_m_s is None else phase.airspeed_m_s
        drag = float(drag_n(self.lanes, self.rho, speed, phase.load_factor)[0])
        ah = self.train.pack.capacity_mah / 1000.0
        if phase.throttle is None:
            point = level_flight(self.train, self.frame, self.mass, speed, charge=charge, load_factor=phase.load_factor,
                                 climb_m_s=phase.climb_m_s + extra)  # fmt: skip
            climb = phase.climb_m_s + extra
        else:
            point = solve(self.train, airspeed_m_s=speed, throttle=phase.throttle, charge=charge)
            thrust = self.frame.installed_thrust * point.thrust_n
            if phase.throttle == 0:
                off = float(motor_off_drag(self.train_lanes, speed, self.rho).drag_n[0])
                drag, thrust = drag + off, 0.0
            climb = speed * (thrust - drag) / (self.mass * G)
        current = point.pack_current_a
        open_v = float(self.train_lanes.open_circuit_v(np.array([charge]))[0])
        thrust_w = 0.0 if phase.throttle == 0 else self.frame.installed_thrust * point.thrust_n * speed
        return np.array([
            -current / (3600.0 * ah), climb, open_v * current, drag * speed, open_v * current - thrust_w,
            self.mass * G * climb,
        ])  # fmt: skip

    def fly(self, phases, weights, event, extra=0.0):
        """Some phases as a mixture until an event of (seconds in it, state) falls through zero, or the reserve."""

        def rate(_, y):
            return sum(w * self.rates(p, y[0], extra if p.throttle is None else 0.0)
                       for p, w in zip(phases, weights, strict=True))  # fmt: skip

        def reserve(_, y):
            return y[0] - RESERVE

        events = [event, reserve]
        for each in events:
            each.terminal, each.direction = True, -1
        out = solve_ivp(rate, (0.0, 1e5), self.state, events=events, rtol=1e-5, atol=1e-7)
        for phase, weight in zip(phases, weights, strict=True):
            self.spent[phase.name] = self.spent.get(phase.name, 0.0) + weight * out.t[-1]
        self.seconds += out.t[-1]
        self.state = out.y[:, -1]
        return not out.t_events[1].size

    def closes(self):
        """Pack energy = drag work + climb work + losses."""
        _, _, pack, drag, losses, climb = self.state
        return pack == pytest.approx(drag + climb + losses, rel=1e-6)


def until(seconds):
    return lambda t, y: seconds - t


def to(height, way):
    return lambda t, y: way * (height - y[1])


@pytest.mark.parametrize("seed", range(3))
def test_climb_shares_that_pay_and_a_glide_down_against_the_ode(seed):
    train, frame, mass = able(seed)
    ode = Flown(train, frame, mass)
    cruise = Phase(name="cruise", airspeed_m_s=1.5 * ode.stall, share=0.8)
    glide = Phase(name="glide", throttle=0.0, airspeed_m_s=1.4 * ode.stall, share=0.2)
    up = Phase(name="up", throttle=1.0, to_height_m=60.0)
    down = Phase(name="down", throttle=0.0, to_height_m=5.0)
    extra = -0.2 * ode.rates(glide, 1.0)[1] / 0.8

    ode.fly([up], [1.0], to(60.0, 1))
    sink, drawn = ode.rates(down, RESERVE)[1], ode.rates(down, RESERVE)[0]
    landing = RESERVE + 55.0 / sink * drawn  # the charge that the glide down takes is left for it
    ode.fly([cruise, glide], [0.8, 0.2], lambda t, y: y[0] - landing, extra)
    ode.fly([down], [1.0], to(5.0, -1))

    found = flight_time(train, frame, mass, [up, cruise, glide, down], reserve_charge=RESERVE, cutoff_cell_v=0.0)
    assert found.paying_climb_m_s == pytest.approx(extra, rel=1e-6)
    assert found.minutes == pytest.approx(ode.seconds / 60, rel=5e-3)
    assert [p.minutes for p in found.phases] == pytest.approx([ode.spent[p.name] / 60 for p in found.phases], rel=5e-3)
    assert found.height_left_m == pytest.approx(ode.state[1], abs=1.0)
    assert found.greatest_height_m == pytest.approx(60.0, abs=1.0)
    assert ode.closes()
    assert ode.state[5] == pytest.approx(mass * G * found.height_left_m, abs=mass * G)


@pytest.mark.parametrize("seed", range(3))
def test_rounds_of_climb_and_glide_against_the_ode(seed):
    train, frame, mass = able(seed)
    ode = Flown(train, frame, mass)
    climb = Phase(name="climb", throttle=1.0, seconds=20.0)
    glide = Phase(name="glide", throttle=0.0, seconds=300.0)
    rounds = 0
    while True:
        rounds += 1
        if not ode.fly([climb], [1.0], until(20.0)):
            break
        if not ode.fly([glide], [1.0], lambda t, y: min(300.0 - t, y[1])):
            break
    found = flight_time(train, frame, mass, [climb, glide], reserve_charge=RESERVE, cutoff_cell_v=0.0)
    assert found.minutes == pytest.approx(ode.seconds / 60, rel=5e-3)
    assert found.rounds == pytest.approx(rounds, abs=1)
    assert found.height_left_m == pytest.approx(max(ode.state[1], 0.0), abs=max(1.0, 0.02 * found.greatest_height_m))
    assert ode.closes()
