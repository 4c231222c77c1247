import math

import numpy as np
import pytest
from scipy.optimize import brentq

from propmatch.faults import InputFaults
from propmatch.models.tables import CoefficientTable
from propmatch.records.listing import ListedMotor, motor_from_listing
from propmatch.records.parts import Propeller

DENSITY, DIAMETER_M = 1.225, 5 * 0.0254


def five_inch(*, ct: float = 0.141, cp: float = 0.08) -> Propeller:
    table = CoefficientTable(
        rpm=[15000.0], advance_ratio=[0.0, 0.5, 1.0], ct=[[ct, ct / 2, 0.0]], cp=[[cp, cp * 0.7, cp * 0.2]]
    )
    return Propeller(name="5x4.5", diameter_in=5, pitch_in=4.5, table=table)


def listed(**row: object) -> ListedMotor:
    numbers = {"name": "m", "kv_rpm_per_v": 2600, "mass_g": 22, "volts": 7.182, "amps": 8.991}
    return motor_from_listing(propeller=five_inch(), **(numbers | row))


def operating_point(found: ListedMotor, volts: float, controller_ohm: float, cp: float) -> tuple[float, float]:
    """Speed and current of a motor on the same propeller, by scipy's brentq and the equations alone."""
    k = 60 / (2 * math.pi * found.motor.kv_rpm_per_v)
    torque = cp * DENSITY * DIAMETER_M**5 / (2 * math.pi) ** 3

    def current(w: float) -> float:
        return torque * w**2 / k + found.motor.no_load_current_a

    w = brentq(
        lambda w: volts - k * w - (found.motor.resistance_ohm + controller_ohm) * current(w), 1, volts / k, xtol=1e-10
    )
    return w * 60 / (2 * math.pi), current(w)


@pytest.mark.parametrize(
    "row",
    [
        {"thrust_gf": 298.6},
        {"rpm": 15095},
        {"rpm": 15095, "thrust_gf": 298.6},
        {},
        {"thrust_gf": 298.6, "no_load_current_a": 0.9},
        {"kv_rpm_per_v": 2400, "kv_kind": "effective", "rpm": 15095},
    ],
)
def test_the_constants_reproduce_the_row(row: dict[str, object]) -> None:
    found = listed(**row, controller_resistance_mohm=10)
    rpm, amps = operating_point(found, 7.182, 0.010, 0.08)
    assert amps == pytest.approx(8.991, rel=1e-5)
    assert rpm == pytest.approx(found.rpm, rel=1e-5)
    if "rpm" in row:
        assert rpm == pytest.approx(15095, rel=1e-5)
    elif "thrust_gf" in row:
        thrust = 0.141 * DENSITY * (rpm / 60) ** 2 * DIAMETER_M**4 / 9.80665e-3
        assert thrust == pytest.approx(298.6, rel=1e-5)
    assert found.efficiency == pytest.approx(found.torque_nm * rpm * 2 * math.pi / 60 / (7.182 * 8.991), rel=1e-5)
    assert found.motor.kv_kind == "effective"


def test_a_measured_row_gives_constants_near_the_fit_of_all_rows() -> None:
    # Cao and Strawson, motor_propeller_testing (2018), motor a, propeller 6, 7.4 V: 298.6 gf, 7.182 V, 8.991 A,
    # 15095 rpm; fit over all propellers: kV 2394 and 97.5 mohm with controller and leads; CT 0.141 +/- 3.3 %.
    # CP was not measured; 0.08 is an assumed value for such a propeller.
    found = listed(thrust_gf=298.6, controller_resistance_mohm=0)
    assert found.rpm == pytest.approx(15095, rel=0.02)
    assert found.motor.kv_rpm_per_v == pytest.approx(2394, rel=0.02)
    read = listed(rpm=15095, controller_resistance_mohm=0)
    assert read.motor.resistance_ohm == pytest.approx(0.0975, rel=0.25)


def test_constants_are_stated_as_assumptions() -> None:
    found = listed(thrust_gf=298.6)
    stated = {each.field: each.value for each in found.assumptions}
    assert stated["kv_rpm_per_v"] == found.motor.kv_rpm_per_v
    assert stated["resistance_ohm"] == found.motor.resistance_ohm
    assert stated["no_load_current_a"] == found.motor.no_load_current_a
    assert stated["resistance_mohm"] == 8, "the controller of the row is estimated as any other"
    assert "7.182 V, 8.991 A, 5x4.5" in found.motor.source.text


def test_controller_resistance_is_taken_off() -> None:
    low, high = (listed(rpm=15095, controller_resistance_mohm=mohm).motor for mohm in (0, 20))
    # the sum stays within what the fit may trade between kV and resistance
    assert low.resistance_ohm > high.resistance_ohm


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"thrust_gf": 298.6, "amps": 4}, "more than the 28.7 W that go in"),
        ({"thrust_gf": 900}, "more than the"),
        ({"rpm": 16000, "kv_rpm_per_v": 2100, "amps": 12}, "faster than"),
        ({"rpm": 12000, "kv_rpm_per_v": 4900, "amps": 4.5}, "more torque than"),
        ({"thrust_gf": 90000}, "static thrust"),
        # of 60.33 W the propeller takes 60.3 W, and 8 mohm of the controller 0.56 W: nothing is left for the motor
        ({"rpm": 15900, "kv_rpm_per_v": 2500, "amps": 8.4}, "both that speed and that torque"),
    ],
)
def test_rows_that_no_motor_can_make(row: dict[str, object], words: str) -> None:
    with pytest.raises(InputFaults, match=words) as caught:
        listed(**row)
    assert len(caught.value.faults) == 1


def test_every_bad_number_at_once() -> None:
    bare = Propeller(name="6x4", diameter_in=6, pitch_in=4)
    with pytest.raises(InputFaults) as caught:
        motor_from_listing(propeller=bare, where="row 4", name="m", kv_rpm_per_v=2600, mas_g=22, volts=-7, amps=np.nan)
    assert [fault.key for fault in caught.value.faults] == ["mas_g", "volts", "amps", "propeller"]
    assert {fault.where for fault in caught.value.faults} == {"row 4"}
    with pytest.raises(InputFaults, match="without load"):
        listed(rpm=20000)
    with pytest.raises(InputFaults, match="must be below amps"):
        listed(no_load_current_a=9)


def test_odd_rows_are_remarked() -> None:
    slow = listed(amps=4)  # no thrust, no speed: a motor of ten times the usual resistance would do
    assert [fault.kind for fault in slow.warnings] == ["warning"]
    assert "winding resistance" in slow.warnings[0].rule
    both = listed(rpm=15095, thrust_gf=400)
    assert any(fault.key == "thrust_gf" for fault in both.warnings)
    assert both.rpm == 15095
    assert listed(rpm=15095, thrust_gf=300).warnings == ()
