"""What must hold of every propeller with the motor off: bounds, order, monotony, the power that a stream has."""

import attrs
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from support.random_cases import random_case
from support.trains import random_train, rising_rpm_table

from propmatch.aircraft.motoroff import (
    BRAKED,
    DISK_CD,
    FOLDED,
    STOPPED,
    WINDMILLING,
    motor_off_drag,
    motor_off_drag_bounds,
)
from propmatch.records.fields import replace
from propmatch.records.motoroff import CODES
from propmatch.records.parts import FAMILIES, MOTOR_OFF
from propmatch.train import line
from propmatch.train.lanes import train_lanes
from propmatch.units import RPM_RAD_S

LANES = 24
seeds = st.integers(0, 2**32 - 1)
speeds = st.floats(0.5, 60.0, allow_nan=False)
densities = st.floats(0.6, 1.4, allow_nan=False)


def some_lanes(seed, words=tuple(MOTOR_OFF), table=None):
    rng = np.random.default_rng(seed)
    trains = []
    for _ in range(LANES):
        made = random_train(rng, table)
        family = rng.choice([*FAMILIES, None])
        propeller = replace(made.propeller, family=family, pitch_in=made.propeller.diameter_in * rng.uniform(0.3, 1.2))
        motor = replace(made.motor, no_load_current_a=float(rng.uniform(0.0, 0.6)))
        trains.append(replace(made, propeller=propeller, motor=motor, motor_off=str(rng.choice(words))))
    return train_lanes(trains)[0]


def asking(lanes, word):
    return attrs.evolve(lanes, motor_off=np.full(lanes.size, CODES[word]))


@given(seed=seeds, airspeed=speeds, density=densities)
def test_the_drag_lies_between_its_bounds_and_never_pushes(seed, airspeed, density):
    lanes = some_lanes(seed)
    found = motor_off_drag(lanes, airspeed, density)
    low, high = motor_off_drag_bounds(lanes, airspeed, density)
    assert np.all(low >= 0)
    assert np.all(low <= found.drag_n)
    assert np.all(found.drag_n <= high)
    disk = DISK_CD * 0.125 * np.pi * density * airspeed**2 * lanes.diameter_m**2 * lanes.count
    turning = found.kind >= WINDMILLING
    assert np.all(found.drag_n[turning] <= disk[turning] * (1 + 1e-12))
    assert np.all((found.rpm > 0) == turning)


@given(seed=seeds, airspeed=speeds)
def test_the_bounds_hold_for_the_parts_of_a_catalogue(seed, airspeed):
    _, shelf = random_case(seed)
    sizes = shelf.sizes
    rng = np.random.default_rng(seed)
    lanes, _ = shelf.combine(*(rng.integers(0, size, 60) for size in sizes))
    for word in ("windmilling", "braked"):
        asked = asking(lanes, word)
        drag = motor_off_drag(asked, airspeed, 1.2).drag_n
        low, high = motor_off_drag_bounds(asked, airspeed, 1.2)
        assert np.all((low <= drag) & (drag <= high))


@given(seed=seeds, airspeed=speeds)
def test_a_brake_slows_and_does_not_start_a_propeller(seed, airspeed):
    lanes = some_lanes(seed)
    free, braked, stopped, folded = (
        motor_off_drag(asking(lanes, word), airspeed, 1.225) for word in ("windmilling", "braked", "stopped", "folded")
    )
    assert np.all(braked.rpm <= free.rpm * (1 + 1e-9))
    assert np.all(np.isin(free.kind, (WINDMILLING, STOPPED)))
    assert np.all(np.isin(braked.kind, (BRAKED, STOPPED)))
    for each in (free, braked):
        still = each.kind == STOPPED
        assert np.array_equal(each.drag_n[still], stopped.drag_n[still])
    assert np.all(stopped.kind == STOPPED)
    assert np.all(folded.kind == FOLDED)


@given(seed=seeds, slow=speeds, faster=st.floats(1.001, 3.0))
def test_faster_is_more_drag_and_more_turns_in_the_same_state(seed, slow, faster):
    """One rpm row: with coefficients that depend on the speed of the propeller nothing forbids a dip."""
    lanes = some_lanes(seed, table=rising_rpm_table(rpm=(6000.0,)))
    for word in MOTOR_OFF:
        first, second = (motor_off_drag(asking(lanes, word), v, 1.225) for v in (slow, faster * slow))
        same = first.kind == second.kind
        assert np.all(second.drag_n[same] >= first.drag_n[same])
        assert np.all(second.rpm >= first.rpm)
        # what turns in a slow stream turns in a faster one, friction being the same or growing less than the square
        turned = (first.kind == WINDMILLING) & (lanes.exponent == 0)
        assert np.all(second.kind[turned] == WINDMILLING)


@given(seed=seeds, airspeed=speeds)
def test_a_windmill_takes_no_more_than_betz_and_pays_its_friction_with_drag(seed, airspeed):
    """No windmill takes more than 16/27 of the power of its stream (A. Betz, 1920); what it takes it takes by drag.

    The second of tables whose efficiency stays below 1: here thrust ends at 0.75, torque at 0.85.
    """
    table = rising_rpm_table(ct0=0.11, cp0=0.048)
    lanes = asking(some_lanes(seed, table=table), "windmilling")
    found = motor_off_drag(lanes, airspeed, 1.225)
    turns = found.kind == WINDMILLING
    lanes = lanes.take(turns)
    u = found.rpm[turns] * RPM_RAD_S
    friction_a = line.no_load_a(lanes, lanes.gear_ratio * u)
    taken_w = lanes.gear_ratio * lanes.k_torque * friction_a * u / lanes.gear_efficiency
    stream_w = 0.125 * np.pi * lanes.diameter_m**2 * 1.225 * airspeed**3
    assert np.all(taken_w <= 16 / 27 * stream_w)
    assert np.all(found.drag_n[turns] / lanes.count * airspeed >= taken_w)


@given(seed=seeds)
def test_lanes_do_not_disturb_each_other(seed):
    lanes = some_lanes(seed)
    airspeed = np.random.default_rng(seed).uniform(0.0, 30.0, lanes.size)
    density = np.linspace(0.8, 1.3, lanes.size)
    whole = motor_off_drag(lanes, airspeed, density)
    for at in (0, 7, lanes.size - 1):
        one = motor_off_drag(lanes.take(np.array([at])), airspeed[at], density[at])
        for name in ("drag_n", "rpm", "kind", "beyond"):
            assert getattr(one, name)[0] == getattr(whole, name)[at]
