"""What must hold for every power train: balances, monotony, lanes that do not disturb each other."""

import math
from typing import Any

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.oracle import Chain
from support.trains import random_train, rising_rpm_table, simple_train, smooth_table

from propmatch.coupling import POINT_FIELDS, OperatingPoint, hold_lanes, hold_thrust, solve, solve_lanes
from propmatch.models.air import Air
from propmatch.models.pack import CHEMISTRIES
from propmatch.records.parts import PowerTrain
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.lanes import train_lanes


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False, width=64)


@st.composite
def tables(draw: st.DrawFn, *, one_rpm: bool = False) -> object:
    shape = {
        "ct0": draw(number(0.06, 0.2)),
        "cp0": draw(number(0.02, 0.12)),
        "j_thrust": draw(number(0.4, 1.1)),
        "j_power": draw(number(0.5, 1.2)),
    }
    if one_rpm:
        return smooth_table(**shape)
    return rising_rpm_table(ct_growth=draw(number(0.0, 0.2)), cp_growth=draw(number(-0.2, 0.0)), **shape)


@st.composite
def trains(draw: st.DrawFn, *, one_rpm: bool = False) -> PowerTrain:
    diameter = draw(number(3.0, 12.0))
    return simple_train(
        motor={
            "kv_rpm_per_v": draw(number(400.0, 4000.0)),
            "resistance_ohm": draw(number(0.005, 0.4)),
            "no_load_current_a": draw(number(0.0, 1.5)),
            "no_load_voltage_v": 8.0,
            "no_load_exponent": draw(st.sampled_from([0.0, 0.0, 0.6, 1.0, 1.7])),
            "gear_ratio": draw(st.sampled_from([1.0, 1.0, 2.5])),
            "gear_efficiency": draw(number(0.6, 1.0)),
        },
        propeller={"diameter_in": diameter, "pitch_in": 0.6 * diameter, "table": draw(tables(one_rpm=one_rpm))},
        pack={
            "cells_series": draw(st.integers(1, 6)),
            "cells_parallel": draw(st.integers(1, 3)),
            "cell_resistance_mohm": draw(number(0.0, 60.0)),
            "lead_resistance_mohm": draw(number(0.0, 20.0)),
            "chemistry": draw(st.sampled_from(sorted(CHEMISTRIES))),
        },
        controller={"resistance_mohm": draw(number(0.0, 20.0)), "part_throttle_loss": draw(number(0.0, 0.45))},
        count=draw(st.integers(1, 4)),
        radio_current_a=draw(number(0.0, 1.5)),
    )


throttles, charges, speeds = number(0.02, 1.0), number(0.0, 1.0), st.one_of(st.just(0.0), number(0.01, 40.0))


def open_circuit_v(train: PowerTrain, charge: float) -> float:
    curve = CHEMISTRIES[str(train.pack.chemistry)]
    return train.pack.cells_series * float(np.interp(charge, curve.charge, curve.ocv_v))


def power_left(train: PowerTrain, point: OperatingPoint, charge: float) -> float:
    """E I_pack less shaft power, heat and radio and payload, relative to all that flows."""
    given_w = open_circuit_v(train, charge) * point.pack_current_a
    radio_w = point.pack_voltage_v * train.radio_current_a
    flows = abs(given_w) + abs(point.shaft_power_w) + abs(point.heat_w) + radio_w
    return abs(given_w - point.shaft_power_w - point.heat_w - radio_w) / flows


@given(trains(), throttles, charges, speeds)
def test_power_is_neither_made_nor_lost(train: PowerTrain, throttle: float, charge: float, speed: float) -> None:
    point = solve(train, throttle=throttle, charge=charge, airspeed_m_s=speed)
    if point.status is Status.OK:
        assert power_left(train, point, charge) < 1e-9
        assert point.heat_w >= 0


def test_the_power_check_can_fail() -> None:
    """Leave any one loss out and it does."""
    train = simple_train(motor={"gear_ratio": 2.0, "gear_efficiency": 0.9, "kv_rpm_per_v": 3000.0}, count=2)
    point = solve(train, throttle=0.6, charge=0.7)
    assert power_left(train, point, 0.7) < 1e-12
    current = point.motor_current_a
    for missing in (
        2 * current**2 * 0.12,
        2 * current**2 * 0.006,
        point.pack_current_a**2 * 0.034,
        2 * point.shaft_power_w * (1 / 0.9 - 1) / 2,
    ):
        assert power_left(train, attrs.evolve(point, heat_w=point.heat_w - missing), 0.7) > 1e-4


@given(trains(), throttles, charges, speeds)
def test_parts_of_the_answer_fit_together(train: PowerTrain, throttle: float, charge: float, speed: float) -> None:
    point = solve(train, throttle=throttle, charge=charge, airspeed_m_s=speed)
    if point.status is not Status.OK:
        return
    k = 60 / (2 * math.pi * train.motor.kv_rpm_per_v)
    w = point.motor_rpm * math.pi / 30
    assert point.motor_rpm == pytest.approx(point.rpm * train.motor.gear_ratio, rel=1e-14)
    assert point.motor_voltage_v == pytest.approx(k * w + train.motor.resistance_ohm * point.motor_current_a, rel=1e-12)
    chopper = throttle * point.pack_voltage_v - 1e-3 * train.controller.resistance_mohm * point.motor_current_a
    assert point.motor_voltage_v == pytest.approx(chopper, rel=1e-9, abs=1e-9)
    assert point.shaft_power_w == pytest.approx(train.count * point.torque_nm * point.rpm * math.pi / 30, rel=1e-12)
    assert point.cell_voltage_v * train.pack.cells_series == pytest.approx(point.pack_voltage_v, rel=1e-14)
    if point.shaft_power_w > 0:
        assert point.propeller_efficiency == pytest.approx(point.thrust_n * speed / point.shaft_power_w, rel=1e-12)
    if speed == 0:
        assert (point.propeller_efficiency, point.system_efficiency) == (0.0, 0.0)
    if not math.isnan(point.motor_efficiency) and point.torque_nm > 0:
        assert 0 < point.motor_efficiency <= 1


lanes = st.lists(st.tuples(trains(), throttles, charges, speeds), min_size=2, max_size=5)


def columns(rows: list) -> dict[str, np.ndarray]:
    return {
        "throttle": np.array([row[1] for row in rows]),
        "charge": np.array([row[2] for row in rows]),
        "airspeed_m_s": np.array([row[3] for row in rows]),
    }


def same(array: OperatingPoint, index: int, one: OperatingPoint, at: int | None = None) -> None:
    for name in POINT_FIELDS:
        value = getattr(array, name)[index]
        other = getattr(one, name) if at is None else getattr(one, name)[at]
        scale = 1e-9 * (1 + abs(float(one.shaft_power_w if at is None else one.shaft_power_w[at])))
        assert float(value) == pytest.approx(float(other), rel=1e-8, abs=scale, nan_ok=True), name


@given(lanes)
def test_a_lane_among_others_is_the_scalar_answer(rows: list) -> None:
    together = solve([row[0] for row in rows], **columns(rows))
    for i, (train, throttle, charge, speed) in enumerate(rows):
        same(together, i, solve(train, throttle=throttle, charge=charge, airspeed_m_s=speed))


@given(lanes, st.randoms(use_true_random=False))
def test_shuffled_lanes_give_shuffled_answers(rows: list, random: object) -> None:
    order = list(range(len(rows)))
    random.shuffle(order)  # type: ignore[attr-defined]
    mixed = [rows[i] for i in order]
    first = solve([row[0] for row in rows], **columns(rows))
    second = solve([row[0] for row in mixed], **columns(mixed))
    for place, i in enumerate(order):
        same(second, place, first, i)


@given(trains(), st.integers(1, 30))
def test_whole_numbers_are_as_good_as_floats(train: PowerTrain, speed: int) -> None:
    a = solve(train, throttle=1, charge=1, airspeed_m_s=speed)
    b = solve(train, throttle=1.0, charge=1.0, airspeed_m_s=float(speed))
    c = solve(train, throttle=np.array([1], dtype=np.int32), airspeed_m_s=np.array([speed], dtype=np.int64))
    assert a == b or all(
        getattr(a, n) == getattr(b, n) or math.isnan(getattr(a, n)) for n in POINT_FIELDS
    )  # fmt: skip
    same(c, 0, a)


@given(trains(one_rpm=True), throttles, number(0.05, 0.99))
def test_static_thrust_rises_with_charge_cells_and_density(train: PowerTrain, throttle: float, charge: float) -> None:
    fuller = solve(train, throttle=throttle, charge=[charge, min(1.0, charge + 0.01)])
    thicker = solve(train, throttle=throttle, charge=charge, air=Air(density_kg_m3=[0.9, 1.1, 1.3]))
    cells = train.pack.cells_series
    bigger = attrs.evolve(train, pack=attrs.evolve(train.pack, cells_series=cells + 1))
    more = solve([train, bigger], throttle=throttle, charge=charge)
    for found in (fuller, thicker, more):
        if (found.status == Status.OK).all():
            assert np.all(np.diff(found.thrust_n) > 0)


@given(trains(one_rpm=True), charges)
def test_static_thrust_rises_with_throttle_while_the_pack_holds_half_its_voltage(
    train: PowerTrain, charge: float
) -> None:
    throttle = np.linspace(0.02, 1.0, 50)
    found = solve(train, throttle=throttle, charge=charge)
    pack = train.pack
    factor = (0.1562 * math.exp(-24.37 * charge) + 0.07446) / (0.1562 * math.exp(-24.37) + 0.07446)
    resistance = 1e-3 * pack.cells_series / pack.cells_parallel * pack.cell_resistance_mohm * factor
    resistance += 1e-3 * pack.lead_resistance_mohm
    available = open_circuit_v(train, charge) - resistance * train.radio_current_a
    holds = (found.status == Status.OK) & (found.pack_voltage_v > 0.5 * available)
    rising = np.diff(found.thrust_n)
    assert np.all(rising[holds[1:] & holds[:-1]] > 0)


MUTANTS = {
    "gear loss the wrong way round": {"gear_efficiency": lambda e: 1 / e},
    "part-throttle loss forgotten": {"loss": lambda k: 0.0},
    "one motor on the pack instead of three": {"count": lambda n: 1},
    "radio and payload forgotten": {"radio_a": lambda a: 0.0},
    "controller resistance forgotten": {"controller_ohm": lambda r: 0.0},
    "no-load current constant": {"exponent": lambda x: 0.0},
}


@pytest.mark.parametrize("name", ["nothing", *MUTANTS])
def test_a_changed_equation_would_be_seen(name: str) -> None:
    """The brentq oracle with one term changed disagrees; unchanged it agrees."""
    numbers = {
        "kv_rpm_per_v": 2800.0, "resistance_ohm": 0.12, "no_load_a": 0.6, "no_load_v": 8.0, "exponent": 0.7,
        "gear": 2.0, "gear_efficiency": 0.9, "controller_ohm": 0.006, "loss": 0.1, "pack_ohm": 0.034, "open_v": 8.4,
        "radio_a": 0.5, "count": 3, "diameter_m": 0.1778, "density": 1.2, "throttle": 0.7,
        "ct": lambda r, j: 0.11, "cp": lambda r, j: 0.048,
    }  # fmt: skip
    for term, change in MUTANTS.get(name, {}).items():
        numbers[term] = change(numbers[term])
    train = simple_train(
        motor={"kv_rpm_per_v": 2800.0, "no_load_exponent": 0.7, "gear_ratio": 2.0, "gear_efficiency": 0.9},
        propeller={"table": smooth_table()},
        count=3,
        radio_current_a=0.5,
    )
    point = solve(train, throttle=0.7, air=Air(density_kg_m3=1.2))
    expected = Chain(**numbers).speed(100.0, 2000.0) * 30 / math.pi
    off = abs(point.rpm / expected - 1)
    assert off < 1e-11 if name == "nothing" else off > 1e-5


@given(trains(), number(0.02, 0.999))
def test_at_part_throttle_a_motor_carries_more_than_it_draws(train: PowerTrain, throttle: float) -> None:
    """I > I_b = d I/(1 - k (1 - d)) for every d < 1: what the texts about a throttle limit say."""
    point = solve(train, throttle=throttle)
    if point.status is Status.OK:
        assert point.motor_current_a > (point.pack_current_a - train.radio_current_a) / train.count


# ---------------------------------------------------------------- what was just given can be held


def refused(count: int, hold: Any = hold_lanes) -> list[Any]:
    """Statuses with which ``hold`` answers thrusts that the solver gave, over random trains, airspeeds and charges.

    Blades whose power ends before their thrust would pull and drive the motor at once; none do.
    """
    rng = np.random.default_rng(8)
    pulls = [
        rising_rpm_table(ct0=ct, cp0=cp, j_thrust=j, j_power=1.15 * j)
        for ct, cp, j in rng.uniform((0.06, 0.02, 0.5), (0.2, 0.1, 1.1), (40, 3))
    ]
    lanes, _ = train_lanes([random_train(rng, pulls[i % len(pulls)]) for i in range(count)])
    rho, sound, out = np.full(count, 1.225), np.full(count, 340.3), []
    for airspeed in (np.zeros(count), np.full(count, 5.0), rng.uniform(0, 20, count)):
        for throttle in (np.ones(count), rng.uniform(0.05, 1, count)):
            charge = rng.uniform(0, 1, count)
            given = solve_lanes(lanes, airspeed, throttle, charge, rho, sound)
            pulling = np.flatnonzero((given.status == Status.OK) & (given.thrust_n > 0))
            limited = attrs.evolve(lanes, throttle_limit=throttle)  # the largest duty is the one it was solved with
            for train in (lanes, limited):
                some = (x[pulling] for x in (given.thrust_n, airspeed, charge, rho, sound))
                held = hold(train.take(pulling), *some)
                lower = held.throttle <= throttle[pulling] * (1 + 1e-6)
                out += [Status(int(s)) for s in held.status[held.status != Status.OK]]
                assert np.all(lower | (held.status != Status.OK))
    return out


def test_what_the_solver_gives_can_be_held() -> None:
    assert refused(3000) == []


def test_a_duty_beyond_by_a_billionth_of_a_percent_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without room for rounding some of the same thrusts are refused."""
    monkeypatch.setattr(line, "can_hold", lambda throttle, limit: (throttle > 0) & (throttle <= limit + 1e-12))
    assert set(refused(3000)) == {Status.CANNOT_HOLD}


@given(trains(), charges, speeds, number(1.0001, 2.0))
def test_more_than_full_throttle_gives_cannot_be_held(
    train: PowerTrain, charge: float, speed: float, more: float
) -> None:
    """While the pack keeps half its voltage, thrust rises with duty; beyond full throttle there is none."""
    point = solve(train, airspeed_m_s=speed, charge=charge)
    pulls = point.status == Status.OK and point.thrust_n > 0 and point.motor_current_a > 0
    if pulls and point.pack_voltage_v > 0.55 * open_circuit_v(train, charge):
        held = hold_thrust(train, more * point.thrust_n, airspeed_m_s=speed, charge=charge)
        assert held.status == Status.CANNOT_HOLD
