"""Operating points against closed forms, an independent brentq loop and measured bench rows."""

import math

import attrs
import numpy as np
import pytest
from support.oracle import Chain, FloatTable
from support.trains import random_train, simple_motor, simple_train, smooth_table, table_of

from propmatch.coupling import POINT_FIELDS, OperatingPoint, hold_thrust, solve
from propmatch.models.air import Air
from propmatch.models.pack import Chemistry
from propmatch.records.parts import PowerTrain
from propmatch.status import Flag, Status, StatusError
from propmatch.train.coupling import full_throttle_thrust
from propmatch.train.lanes import train_lanes

# The pack's curve and resistance law, typed from their sources (PyBaMM set "Ai2020"; Chen and Rincon-Mora 2006).
SEA_LEVEL = 101325.0 / (287.05287 * 288.15)  # ISO 2533
OCV_NODES = [0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0]
OCV_V = [3.0, 3.5421, 3.6396, 3.6954, 3.7331, 3.7622, 3.7925, 3.8365, 3.9089, 3.9945, 4.0879, 4.1384, 4.2]


def chain_of(
    train: PowerTrain, *, airspeed: float, throttle: float, charge: float, density: float = SEA_LEVEL
) -> Chain:
    """The oracle for a train whose numbers are all stated; coefficients are looked up in the train's own table."""
    motor, pack, controller = train.motor, train.pack, train.controller
    table = FloatTable(train.propeller.table)
    factor = (0.1562 * math.exp(-24.37 * charge) + 0.07446) / (0.1562 * math.exp(-24.37) + 0.07446)
    cell = 1e-3 * pack.cell_resistance_mohm * factor
    return Chain(
        kv_rpm_per_v=motor.kv_rpm_per_v,
        resistance_ohm=motor.resistance_ohm,
        no_load_a=motor.no_load_current_a,
        no_load_v=motor.no_load_voltage_v or 1.0,
        exponent=motor.no_load_exponent,
        gear=motor.gear_ratio,
        gear_efficiency=motor.gear_efficiency,
        controller_ohm=1e-3 * controller.resistance_mohm,
        loss=controller.part_throttle_loss,
        pack_ohm=pack.cells_series / pack.cells_parallel * cell + 1e-3 * pack.lead_resistance_mohm,
        open_v=pack.cells_series * float(np.interp(charge, OCV_NODES, OCV_V)),
        radio_a=train.radio_current_a,
        count=train.count,
        diameter_m=0.0254 * train.propeller.diameter_in,
        density=density,
        airspeed=airspeed,
        throttle=throttle,
        ct=table.ct,
        cp=table.cp,
    )


def test_400_random_trains_against_an_independent_brentq_loop() -> None:
    rng = np.random.default_rng(20240)
    trains = [random_train(rng) for _ in range(400)]
    speeds = np.where(rng.random(400) < 0.4, 0.0, rng.uniform(1.0, 18.0, 400))
    throttles = np.where(rng.random(400) < 0.3, 1.0, rng.uniform(0.25, 1.0, 400))
    charges = rng.uniform(0.05, 1.0, 400)
    found = solve(trains, airspeed_m_s=speeds, throttle=throttles, charge=charges)
    checked = back = 0
    for i, train in enumerate(trains):
        chain = chain_of(train, airspeed=speeds[i], throttle=throttles[i], charge=charges[i])
        if found.status[i] != Status.OK:
            continue
        u = 2.0 * math.pi / 60.0 * found.rpm[i]
        expected = chain.speed(0.9 * u, 1.1 * u)
        assert u == pytest.approx(expected, rel=1e-8)
        thrust, torque = chain.propeller(expected)
        assert found.torque_nm[i] == pytest.approx(torque, rel=1e-8, abs=1e-8)
        assert found.thrust_n[i] == pytest.approx(train.count * thrust, rel=1e-8, abs=1e-8)
        assert found.motor_current_a[i] == pytest.approx(chain.motor_current(expected), rel=1e-8, abs=1e-8)
        checked += 1
        back += found.torque_nm[i] < 0
    assert checked >= 395
    assert back >= 5  # some propellers drive their motor


# ---------------------------------------------------------------- the lanes of one call


def test_fields_broadcast_over_every_argument() -> None:
    trains = [simple_train(), simple_train(motor={"kv_rpm_per_v": 1800.0})]
    speeds = np.array([[0.0], [6.0], [12.0]])
    table = solve(trains, airspeed_m_s=speeds, throttle=0.8)
    assert table.rpm.shape == (3, 2)
    for i in range(3):
        for k in range(2):
            one = solve(trains[k], airspeed_m_s=float(speeds[i, 0]), throttle=0.8)
            assert table.thrust_n[i, k] == pytest.approx(one.thrust_n, rel=1e-11)


def test_scalars_in_floats_out() -> None:
    point = solve(simple_train())
    for name in POINT_FIELDS:
        if name not in ("status", "flags"):
            assert type(getattr(point, name)) is float, name
    assert point.status is Status.OK
    assert point.flags is Flag.NONE
    assert solve([simple_train()]).rpm.shape == (1,)
    assert solve(simple_train(), throttle=[1.0]).rpm.shape == (1,)
    assert solve(simple_train(), throttle=[]).rpm.shape == (0,)


def test_air_may_differ_from_lane_to_lane() -> None:
    heights = np.array([0.0, 1500.0, 3000.0])
    together = solve(simple_train(), air=Air.standard(heights))
    assert np.all(np.diff(together.thrust_n) < 0)
    for i, height in enumerate(heights):
        one = solve(simple_train(), air=Air.standard(float(height)))
        assert together.rpm[i] == pytest.approx(one.rpm, rel=1e-11)
        assert together.tip_mach[i] == pytest.approx(one.tip_mach, rel=1e-11)


def test_any_number_of_chemistries_in_one_call() -> None:
    cells = [Chemistry(name=f"c{i}", charge=[0, 1], ocv_v=[3.0, 4.0 + 0.01 * i], source="invented")
             for i in range(70)]  # fmt: skip
    trains = [simple_train(pack=attrs.evolve(simple_train().pack, chemistry=cell)) for cell in cells]
    together = solve(trains, charge=0.5).rpm
    assert together == pytest.approx([solve(train, charge=0.5).rpm for train in trains], rel=1e-12)


def test_more_lanes_than_a_chunk() -> None:
    throttle = np.linspace(0.2, 1.0, 20_001)
    found = solve(simple_train(), throttle=throttle, airspeed_m_s=7.0)
    assert (found.status == Status.OK).all()
    assert found.throttle == pytest.approx(throttle)
    for i in (0, 8191, 8192, 16384, 20_000):
        assert found.rpm[i] == pytest.approx(solve(simple_train(), throttle=throttle[i], airspeed_m_s=7.0).rpm)


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        ({"throttle": "full"}, TypeError),
        ({"throttle": True}, TypeError),
        ({"airspeed_m_s": [1 + 2j]}, TypeError),
        ({"throttle": [0.5, 0.6], "charge": [0.1, 0.2, 0.3]}, ValueError),
        ({"air": 1.225}, TypeError),
    ],
)
def test_wrong_types_and_shapes_raise(arguments: dict, error: type) -> None:
    with pytest.raises(error):
        solve(simple_train(), **arguments)


@pytest.mark.parametrize("train", [None, [], "train", [simple_train(), None], simple_motor()])
def test_what_is_no_train_raises(train: object) -> None:
    with pytest.raises(TypeError):
        solve(train)  # type: ignore[arg-type]


def test_propellers_without_a_table_are_named() -> None:
    bare = simple_train(propeller={"name": "unknown blade", "table": None})
    with pytest.raises(ValueError, match=r"without a coefficient table: unknown blade$"):
        solve([simple_train(), bare, bare])


@pytest.mark.parametrize(
    "bad",
    [
        {"throttle": 1.2}, {"throttle": -0.1}, {"throttle": np.nan}, {"throttle": np.inf}, {"charge": 1.01},
        {"charge": -0.01}, {"charge": np.nan}, {"airspeed_m_s": -1.0}, {"airspeed_m_s": np.inf},
        {"airspeed_m_s": np.nan},
    ],
)  # fmt: skip
def test_a_number_out_of_range_is_bad_input_in_its_lane_only(bad: dict[str, float]) -> None:
    (name, value), right = next(iter(bad.items())), {"throttle": 0.7, "charge": 0.6, "airspeed_m_s": 5.0}
    lanes = {key: np.array([number] * 3) for key, number in right.items()}
    lanes[name][1] = value
    found = solve(simple_train(), **lanes)
    assert found.status.tolist() == [Status.OK, Status.BAD_INPUT, Status.OK]
    alone = solve(simple_train(), **right)
    for field in POINT_FIELDS:
        column = getattr(found, field)
        if field == "status":
            continue
        assert column[1] == 0 if field == "flags" else np.isnan(column[1]), field
        assert column[[0, 2]] == pytest.approx([float(getattr(alone, field))] * 2, rel=1e-11), field
    assert solve(simple_train(), **right | bad).status is Status.BAD_INPUT


def test_every_status_in_one_call() -> None:
    trains = [
        simple_train(),
        simple_train(),
        simple_train(),
        simple_train(motor={"no_load_current_a": 50.0, "resistance_ohm": 0.2, "no_load_voltage_v": None}),
    ]
    found = solve(trains, throttle=[1.0, 0.0, 1.2, 1.0])
    assert found.status.tolist() == [Status.OK, Status.OFF, Status.BAD_INPUT, Status.CANNOT_TURN]
    assert np.isfinite(found.rpm).tolist() == [True, True, False, False]
    with pytest.raises(StatusError, match=r"lane 2: .*out of range.*lane 3: .*cannot turn"):
        found.raise_for_status()
    assert any("cannot turn" in remark for remark in found.remarks)
    frame = found.to_frame()
    assert frame["status"].tolist() == ["OK", "OFF", "BAD_INPUT", "CANNOT_TURN"]
    assert list(frame.columns) == ["airspeed_m_s", "charge", *POINT_FIELDS]
    swept = solve(simple_train(), airspeed_m_s=[[0.0], [9.0]], charge=[1.0, 0.5, 0.2]).to_frame()
    assert swept["airspeed_m_s"].tolist() == [0.0] * 3 + [9.0] * 3
    assert swept["charge"].tolist() == [1.0, 0.5, 0.2] * 2


def test_a_throttle_too_small_for_the_no_load_current() -> None:
    """d E' below (R + R_c + ...) I0."""
    train = simple_train(motor={"no_load_current_a": 2.0, "resistance_ohm": 0.5, "no_load_voltage_v": None})
    found = solve(train, throttle=[0.1, 0.3])
    assert found.status.tolist() == [Status.CANNOT_TURN, Status.OK]


def test_motor_off() -> None:
    train = simple_train(radio_current_a=0.5)
    point = solve(train, throttle=0.0, charge=1.0, airspeed_m_s=9.0)
    pack_ohm = 2 * 0.014 + 0.006
    assert point.status is Status.OFF
    assert (point.rpm, point.thrust_n, point.shaft_power_w, point.motor_current_a, point.motor_heat_w) == (0,) * 5
    assert point.pack_current_a == 0.5
    assert point.pack_voltage_v == pytest.approx(8.4 - pack_ohm * 0.5, rel=1e-14)
    assert point.pack_power_w == pytest.approx(point.pack_voltage_v * 0.5, rel=1e-14)
    assert point.heat_w == pytest.approx(pack_ohm * 0.25, rel=1e-14)
    assert math.isnan(point.motor_efficiency)
    assert math.isnan(point.advance_ratio)
    assert point.raise_for_status() is point


# ---------------------------------------------------------------- the edges of the table


def test_windmilling_feeds_current_back_and_says_so() -> None:
    train = simple_train()
    chain = chain_of(train, airspeed=30.0, throttle=0.5, charge=0.8)
    point = solve(train, airspeed_m_s=30.0, throttle=0.5, charge=0.8)
    assert Flag.REGENERATING in point.flags
    assert point.motor_current_a < 0
    assert point.pack_current_a < 0.2
    assert point.rpm * math.pi / 30 == pytest.approx(chain.speed(300, 3000), rel=1e-10)
    assert math.isnan(point.propeller_efficiency)
    assert math.isnan(point.motor_efficiency)
    assert any("flows back" in remark for remark in point.remarks)


def test_flags_name_what_was_held_or_continued() -> None:
    slow = solve(simple_train(), throttle=0.1)
    fast = solve(simple_train(motor={"kv_rpm_per_v": 4000.0}, propeller={"diameter_in": 4.0}))
    windy = solve(simple_train(), airspeed_m_s=45.0, throttle=0.4)
    tips = solve(simple_train(motor={"kv_rpm_per_v": 3000.0, "resistance_ohm": 0.01}, pack={"cells_series": 6}))
    assert slow.flags == Flag.RPM_BELOW_TABLE
    assert slow.rpm < 2000.0
    assert fast.flags == Flag.RPM_ABOVE_TABLE
    assert fast.rpm > 16000.0
    assert Flag.ADVANCE_RATIO_BEYOND_TABLE in windy.flags
    assert windy.advance_ratio > 1.2
    assert Flag.TIP_MACH_HIGH in tips.flags
    assert tips.tip_mach > 0.8


@pytest.mark.parametrize("speed", [0.0, 4.0, 9.0, 15.0, 25.0])
@pytest.mark.parametrize("throttle", [0.3, 1.0])
def test_torque_that_falls_with_speed_is_solved_by_bracket(speed: float, throttle: float) -> None:
    """CP that rises steeply with J: torque falls as the propeller speeds up over part of the range."""
    table = table_of(lambda r, j: 0.1 * (1 - j), lambda r, j: 0.02 + 0.5 * j**3)
    train = simple_train(propeller={"table": table})
    assert table.surfaces.torque_falls[0]
    point = solve(train, airspeed_m_s=speed, throttle=throttle)
    assert point.status is Status.OK
    chain = chain_of(train, airspeed=speed, throttle=throttle, charge=1.0)
    assert abs(chain.voltage_left(point.rpm * math.pi / 30)) <= 1e-10 * throttle * 8.4


def test_the_balance_is_kept_to_the_promise() -> None:
    """|residual| <= 1e-10 d E' in every answered lane of a wide grid."""
    train = simple_train(motor={"no_load_exponent": 0.8, "gear_ratio": 1.7, "gear_efficiency": 0.93}, count=2)
    for speed in (0.0, 0.01, 3.0, 12.0, 40.0):
        for throttle in (0.05, 0.4, 1.0):
            point = solve(train, airspeed_m_s=speed, throttle=throttle, charge=0.7)
            assert point.status is Status.OK
            chain = chain_of(train, airspeed=speed, throttle=throttle, charge=0.7)
            available = chain.open_v - chain.pack_ohm * chain.radio_a
            assert abs(chain.voltage_left(point.rpm * math.pi / 30)) <= 1e-10 * throttle * available


# ---------------------------------------------------------------- held thrust


@pytest.mark.parametrize("speed", [0.0, 8.0])
@pytest.mark.parametrize("loss", [0.0, 0.1, 0.4])
def test_holding_a_thrust_is_the_inverse_of_solving(speed: float, loss: float) -> None:
    train = simple_train(controller={"part_throttle_loss": loss}, count=2)
    asked = solve(train, throttle=np.linspace(0.3, 1.0, 15), airspeed_m_s=speed, charge=0.6)
    wanted = asked.thrust_n > 0
    held = hold_thrust(train, asked.thrust_n[wanted], airspeed_m_s=speed, charge=0.6)
    assert wanted.sum() > 5
    for name in ("throttle", "rpm", "pack_current_a", "heat_w", "pack_voltage_v"):
        assert getattr(held, name) == pytest.approx(getattr(asked, name)[wanted], rel=1e-8), name


def test_statuses_of_held_thrust() -> None:
    """More than it has; nothing at rest; air that drives the propeller; numbers that are none."""
    gliding = simple_train(propeller={"table": smooth_table(j_thrust=1.0, j_power=0.7)})
    found = hold_thrust(simple_train(), [100.0, 0.0, -1.0, np.nan, np.inf, 1.0])
    assert found.status.tolist() == [
        Status.CANNOT_HOLD, Status.OFF, Status.BAD_INPUT, Status.BAD_INPUT, Status.BAD_INPUT, Status.OK,
    ]  # fmt: skip
    assert np.isnan(found.throttle).tolist() == [True, False, True, True, True, False]
    assert found.throttle[1] == 0.0
    assert hold_thrust(gliding, 0.01, airspeed_m_s=20.0).status is Status.BELOW_IDLE
    assert hold_thrust(simple_train(), 0.0, airspeed_m_s=10.0).status is Status.OK
    with pytest.raises(StatusError, match="cannot hold"):
        hold_thrust(simple_train(), 50.0).raise_for_status()


def test_a_pack_that_cannot_give_the_power() -> None:
    """Thrust whose power exceeds E'^2/(4 R_b): the radicand is negative."""
    weak = simple_train(pack={"cell_resistance_mohm": 1500.0})
    assert solve(weak).status is Status.OK
    assert hold_thrust(weak, 6.0).status is Status.CANNOT_HOLD


def test_the_lowest_speed_is_taken_where_thrust_falls_again() -> None:
    """CT that falls steeply with rpm: thrust has a maximum over speed; the answer lies below it."""
    table = table_of(
        lambda r, j: 0.2 * np.exp(-((r / 6000.0) ** 2)) + 1e-3, lambda r, j: 0.05, rpm=np.linspace(1000, 16000, 16)
    )
    train = simple_train(propeller={"table": table})
    assert table.surfaces.thrust_falls[0]
    rpm = np.linspace(500.0, 16000.0, 4000)
    thrust = table.lookup(rpm, 0.0).ct * SEA_LEVEL * (rpm / 60.0) ** 2 * (7 * 0.0254) ** 4
    asked = 0.6 * thrust[: int(np.argmax(thrust[rpm < 9000]))].max()
    held = hold_thrust(train, asked)
    assert held.rpm == pytest.approx(np.interp(asked, thrust[rpm < 5500], rpm[rpm < 5500]), rel=1e-4)


# ---------------------------------------------------------------- assumptions


def test_a_result_names_the_numbers_nobody_stated() -> None:
    bare = simple_train(
        motor={"resistance_ohm": None, "no_load_current_a": None, "no_load_voltage_v": None},
        pack={"cell_resistance_mohm": None},
    )
    named = {(a.subject, a.field) for a in solve(bare).assumptions}
    assert {("test motor", "resistance_ohm"), ("test pack", "cell_resistance_mohm")} <= named
    assert isinstance(solve(bare), OperatingPoint)


@pytest.mark.parametrize("ct", [0.0, -0.02])
def test_a_propeller_that_never_pulls(ct: float) -> None:
    train = simple_train(propeller={"table": table_of(lambda r, j: ct - 0.01 * j, lambda r, j: 0.05 - 0.02 * j)})
    assert solve(train).thrust_n == pytest.approx(0.0 if ct == 0 else solve(train).thrust_n)
    assert solve(train, airspeed_m_s=5.0).thrust_n < 0
    assert hold_thrust(train, 0.5).status is Status.NO_SOLUTION
    assert hold_thrust(train, 0.5, airspeed_m_s=5.0).status is Status.NO_SOLUTION


@pytest.mark.parametrize("charge", [0.0, 1.0])
@pytest.mark.parametrize("speed", [0.0, 9.0])
def test_full_throttle_thrust_is_that_of_the_operating_point_to_the_ends_of_its_ranges(
    charge: float, speed: float
) -> None:
    train = simple_train(count=2)
    lanes, _ = train_lanes([train])
    at = np.array([0])
    thrust = full_throttle_thrust(lanes, np.array([charge]), np.array([SEA_LEVEL]))
    found = thrust(at, np.array([speed]))
    assert found[0] > 0
    assert found == pytest.approx(solve(train, airspeed_m_s=speed, charge=charge).thrust_n, rel=1e-6)
    assert np.isnan(thrust(at, np.array([-1e-9])))
    assert np.isnan(full_throttle_thrust(lanes, np.array([-1e-9]), np.array([SEA_LEVEL]))(at, np.array([speed])))
