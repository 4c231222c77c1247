"""Published and measured numbers, row by row from the small files beside this one.

operating_points.csv
    Closed form of a motor with constant kV, R and I0 on a propeller with constant coefficients:
    w = (-K + sqrt(K^2 + 4 r kQ/K (E - r I0)))/(2 r kQ/K), kQ = CP rho D^5/(2 pi)^3, K = 1/kV; evaluated by hand for
    kV 1000 rpm/V, R 0.1 ohm, I0 0.5 A, D 0.2286 m, CT 0.10, CP 0.045, rho 1.225, and again by scipy's brentq.
    rtol is half a unit of the last digit printed.
air.csv
    ISO 2533:1975, troposphere, geopotential altitude; ambiance 1.3.1 and fluids 1.3.1 give the same digits. Viscosity
    from the same libraries.
bench_five_inch.csv
    P. Cao, J. Strawson, motor_propeller_testing, public repository, commit 7031418 (2018), MIT licence: full throttle
    at 7.4 V, five-inch propellers. kV and resistance (with controller and leads) are least-squares fits of
    V = rpm/kV + R I to these rows; no-load current cannot be recovered from them.
"""

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.trains import constant_table, simple_train

from propmatch.battery import CHEMISTRIES, resistance_factor
from propmatch.coupling import solve
from propmatch.models import controller, motor, propeller
from propmatch.models.air import Air
from propmatch.models.pack import Chemistry
from propmatch.units import GRAM_FORCE_N, INCH_M, MPH_M_S, RPM_RAD_S

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, Any]]:
    """A small file; numbers as floats, empty as None."""

    def value(text: str) -> Any:
        try:
            return float(text) if text else None
        except ValueError:
            return text

    with (HERE / name).open(encoding="utf-8") as file:
        return [{key: value(text) for key, text in row.items()} for row in csv.DictReader(file)]


def source_of(volts: float) -> Chemistry:
    """A cell that gives exactly these volts when full."""
    return Chemistry(name="bench", charge=[0, 1], ocv_v=[0.5 * volts, volts], source="a test")


def bench_train(*, open_v: float, pack_ohm: float, table: Any, diameter_in: float, **motor_numbers: Any) -> Any:
    """A motor and propeller on a source of one cell."""
    return simple_train(
        motor={"no_load_voltage_v": None, **motor_numbers},
        propeller={"diameter_in": diameter_in, "pitch_in": 0.5 * diameter_in, "table": table},
        pack={
            "cells_series": 1,
            "chemistry": source_of(open_v),
            "cell_resistance_mohm": 1e3 * pack_ohm,
            "lead_resistance_mohm": 0.0,
        },
        controller={"resistance_mohm": 0.0},
        radio_current_a=0.0,
    )


@pytest.mark.parametrize("row", rows("operating_points.csv"), ids=lambda row: row["name"])
def test_closed_form_operating_points(row: dict[str, Any]) -> None:
    train = bench_train(
        open_v=row["open_v"],
        pack_ohm=row["pack_ohm"],
        table=constant_table(ct=0.10, cp=0.045),
        diameter_in=9.0,
        kv_rpm_per_v=1000.0,
        resistance_ohm=0.1,
        no_load_current_a=0.5,
    )
    point = solve(train, air=Air(density_kg_m3=1.225))
    assert point.rpm == pytest.approx(row["rpm"], rel=1e-6 / 2)
    assert point.motor_current_a == pytest.approx(row["current_a"], rel=1e-6)
    assert point.pack_voltage_v == pytest.approx(row["terminal_v"], rel=1e-6)
    assert point.shaft_power_w == pytest.approx(row["shaft_w"], rel=row["rtol"])
    assert point.thrust_n == pytest.approx(row["thrust_n"], rel=row["rtol"])
    # and all digits of the closed form itself
    k, r = 60.0 / (2.0 * np.pi * 1000.0), 0.1 + row["pack_ohm"]
    load = 0.045 * 1.225 * 0.2286**5 / (2.0 * np.pi) ** 3 / k
    w = (-k + np.sqrt(k * k + 4.0 * r * load * (row["open_v"] - r * 0.5))) / (2.0 * r * load)
    assert point.rpm == pytest.approx(w * 60.0 / (2.0 * np.pi), rel=1e-11)


@pytest.mark.parametrize("row", rows("air.csv"), ids=lambda row: f"{row['altitude_m']} m, {row['offset_k']} K")
def test_standard_air(row: dict[str, Any]) -> None:
    air = Air.standard(row["altitude_m"], row["offset_k"])
    assert air.density_kg_m3 == pytest.approx(row["density_kg_m3"], abs=6e-7)
    assert air.pressure_pa == pytest.approx(row["pressure_pa"], abs=6e-4)
    assert air.temperature_k == pytest.approx(row["temperature_k"], abs=1e-9)
    if row["sound_m_s"]:
        assert air.speed_of_sound_m_s == pytest.approx(row["sound_m_s"], abs=6e-5)
    if row["viscosity_pa_s"]:
        assert air.viscosity_pa_s == pytest.approx(row["viscosity_pa_s"], rel=2e-4)


@pytest.mark.parametrize("row", rows("bench_five_inch.csv"), ids=lambda row: f"{row['motor']}{row['propeller']:.0f}")
def test_measured_speed_follows_from_volts_and_amps(row: dict[str, Any]) -> None:
    k = motor.torque_constant(row["kv_rpm_per_v"])
    asked = motor.terminal_voltage_v(row["rpm"] * RPM_RAD_S, row["current_a"], k, row["resistance_ohm"])
    rpm_off = (row["voltage_v"] - asked) * row["kv_rpm_per_v"]
    assert abs(rpm_off) <= 0.003 * row["rpm"]


@pytest.mark.parametrize("number", [1, 2, 3, 4, 6, 7, 8])
def test_a_propeller_measured_on_one_motor_predicts_the_other(number: int) -> None:
    """CP and CT from the row of motor a, rpm, amps and thrust of motor k from the whole coupled model.

    I0 is not known; taken as 0 on both motors it shifts CP, not the prediction. Bands: fits of the motors 0.3 % in
    rpm; propellers are other specimens or runs, 3 to 5 % in thrust over the set.
    """
    measured = {row["motor"]: row for row in rows("bench_five_inch.csv") if row["propeller"] == number}
    a, k = measured["a"], measured["k"]
    n, diameter, density = a["rpm"] / 60.0, 5.0 * INCH_M, 1.225
    torque = float(motor.torque_constant(a["kv_rpm_per_v"])) * a["current_a"]
    cp = torque * 2.0 * np.pi / (density * n**2 * diameter**5)
    ct = a["thrust_gf"] * GRAM_FORCE_N / (density * n**2 * diameter**4)
    train = bench_train(
        open_v=k["voltage_v"],
        pack_ohm=0.0,
        table=constant_table(ct=ct, cp=cp),
        diameter_in=5.0,
        kv_rpm_per_v=k["kv_rpm_per_v"],
        resistance_ohm=k["resistance_ohm"],
        no_load_current_a=0.0,
    )
    point = solve(train, air=Air(density_kg_m3=density))
    assert point.rpm == pytest.approx(k["rpm"], rel=0.006)
    assert point.motor_current_a == pytest.approx(k["current_a"], rel=0.035)
    assert point.thrust_n == pytest.approx(k["thrust_gf"] * GRAM_FORCE_N, rel=0.05)


@pytest.mark.parametrize("name", ["a", "k"])
def test_thrust_coefficient_of_measured_rows(name: str) -> None:
    """Propeller 2: CT 0.157 +-3.4 % over all motors, throttles and both voltages (rho 1.225, D 0.127 m)."""
    (row,) = [r for r in rows("bench_five_inch.csv") if r["motor"] == name and r["propeller"] == 2]
    thrust = propeller.thrust_n(0.157, 1.225, row["rpm"] / 60.0, 0.127)
    assert thrust == pytest.approx(row["thrust_gf"] * GRAM_FORCE_N, rel=0.05)


def test_permanent_magnet_machine_of_the_modelica_library() -> None:
    """Modelica Standard Library, Electrical.Machines, example DCPM_withLosses: 100 V, 100 A, 0.05 ohm, 1425 rpm."""
    w, current, resistance = 1425.0 * RPM_RAD_S, 100.0, 0.05
    k = motor.torque_constant(1425.0 / 95.0)
    assert motor.terminal_voltage_v(w, current, k, resistance) == pytest.approx(100.0, rel=1e-12)
    assert k * current == pytest.approx(63.66, rel=1e-4)
    assert motor.current_a(63.66, 0.0, k) == pytest.approx(100.0, rel=1e-4)
    assert motor.efficiency(w, current, 0.0, k, resistance) == pytest.approx(9500.0 / 10000.0, rel=1e-12)


def test_textbook_machine_at_part_load() -> None:
    """Fitzgerald, Kingsley, Umans, Electric Machinery, permanent-magnet motor example: 48 V, 1700 rpm, 8.3166 A.

    Constants from its no-load reading 50 V, 1.25 A, 2100 rpm, 1.03 ohm: kV 43.1101 rpm/V. Three-constant efficiency
    0.6981.
    """
    k = motor.torque_constant(43.1101)
    assert pytest.approx(2100.0, rel=1e-5) == 43.1101 * (50.0 - 1.03 * 1.25)
    assert motor.reference_speed_rad_s(k, 1.03, 1.25, 50.0) == pytest.approx(2100.0 * RPM_RAD_S, rel=1e-5)
    w = 1700.0 * RPM_RAD_S
    assert motor.terminal_voltage_v(w, 8.3166, k, 1.03) == pytest.approx(48.0, abs=2e-4)
    assert motor.efficiency(w, 8.3166, 1.25, k, 1.03) == pytest.approx(0.6981, abs=1e-4)


@pytest.mark.parametrize(
    ("volts", "amps", "best", "rpm"), [(7.4, 6.08276, 0.842358, 6791.72), (11.1, 7.44983, 0.870273, 10355.02)]
)
def test_best_efficiency_lies_at_root_of_v_i0_over_r(volts: float, amps: float, best: float, rpm: float) -> None:
    """I = sqrt(V I0/R), eta = (1 - sqrt(I0 R/V))^2 for kV 1000, R 0.1, I0 0.5: differentiate the efficiency."""
    k = motor.torque_constant(1000.0)
    currents = np.linspace(0.6, 30.0, 2_940_001)
    eta = motor.efficiency((volts - 0.1 * currents) / k, currents, 0.5, k, 0.1)
    at = int(np.argmax(eta))
    assert currents[at] == pytest.approx(amps, abs=2e-3)
    assert eta[at] == pytest.approx(best, abs=1e-6)
    assert (volts - 0.1 * amps) / k / RPM_RAD_S == pytest.approx(rpm, rel=1e-6)


def test_most_shaft_power_at_half_the_free_speed() -> None:
    """MIT 2.007, Understanding D.C. Motor Characteristics: 3750 rpm and 0.0722 N m give 1875 rpm and 0.0361 N m.

    Solved as a propeller that takes 0.0361 N m at 1875 rpm on that motor, with no I0.
    """
    volts, k = 12.0, 12.0 / (3750.0 * RPM_RAD_S)
    diameter, n = 8.0 * INCH_M, 1875.0 / 60.0
    cp = 0.0361 * 2.0 * np.pi / (1.225 * n**2 * diameter**5)
    train = bench_train(
        open_v=volts,
        pack_ohm=0.0,
        table=constant_table(ct=0.1, cp=cp),
        diameter_in=8.0,
        kv_rpm_per_v=3750.0 / volts,
        resistance_ohm=volts * k / 0.0722,
        no_load_current_a=0.0,
    )
    point = solve(train, air=Air(density_kg_m3=1.225))
    assert point.rpm == pytest.approx(1875.0, rel=1e-3)
    assert point.torque_nm == pytest.approx(0.0361, rel=1e-3)
    assert point.shaft_power_w == pytest.approx(7.088, rel=1e-3)


@pytest.mark.parametrize(
    ("cells", "open_v", "pack_ohm", "watts", "amps", "terminal"),
    [(3, 11.4, 0.030, 200.0, 18.43854, 10.84684), (2, 7.6, 0.020, 120.0, 16.50648, 7.26987)],
)
def test_constant_power_from_a_pack_with_resistance(
    cells: int, open_v: float, pack_ohm: float, watts: float, amps: float, terminal: float
) -> None:
    """I = (U - sqrt(U^2 - 4 R P))/(2 R): a lossless chopper that feeds a motor of that power draws this current."""
    behind = 0.6 * open_v
    current = watts / behind
    throttle = controller.throttle_for(behind, current, open_v, pack_ohm, 0.0)
    pack_current = controller.pack_current_per_motor_a(current, throttle, 0.0)
    assert pack_current == pytest.approx(amps, rel=1e-6)
    assert open_v - pack_ohm * pack_current == pytest.approx(terminal, rel=1e-6)
    most = open_v**2 / (4.0 * pack_ohm)
    assert np.isnan(controller.throttle_for(behind, 1.001 * most / behind, open_v, pack_ohm, 0.0))


def test_pouch_cell_voltages() -> None:
    """PyBaMM parameter set "Ai2020" (Ai et al., J. Electrochem. Soc. 167, 2020): 3.6954, 3.7925, 3.9945 V."""
    found = CHEMISTRIES["lipo"].cell_ocv_v(np.array([0.2, 0.5, 0.8, 1.0]))
    assert found == pytest.approx([3.6954, 3.7925, 3.9945, 4.2000], abs=1e-4)


@pytest.mark.parametrize(("charge", "ratio"), [(1.0, 1.0), (0.2, 1.016), (0.1, 1.183), (0.0, 3.098)])
def test_cell_resistance_over_charge(charge: float, ratio: float) -> None:
    """Rs(s)/Rs(1), Rs = 0.1562 exp(-24.37 s) + 0.07446: Chen and Rincon-Mora, IEEE Trans. Energy Conv. 21 (2006)."""
    assert resistance_factor(charge) == pytest.approx(ratio, abs=6e-4)


def test_measured_propeller_efficiency() -> None:
    """Sinnige et al. 2018: CT 0.0953, CP 0.1025 at J 0.7963, D 0.237 m, V 40 m/s; 16.546 N, 893.94 W, 0.74036."""
    n = 40.0 / (0.7963 * 0.237)
    assert propeller.advance_ratio(40.0, n, 0.237) == pytest.approx(0.7963, rel=1e-12)
    thrust = propeller.thrust_n(0.0953, 1.225, n, 0.237)
    power = propeller.torque_nm(0.1025, 1.225, n, 0.237) * 2.0 * np.pi * n
    assert (thrust, power) == (pytest.approx(16.546, rel=5e-5), pytest.approx(893.94, rel=2e-5))
    assert propeller.efficiency(thrust, 40.0, power) == pytest.approx(0.74036, abs=2e-5)


def test_tip_mach_and_pitch_speed() -> None:
    """A home-builders' article: 86 in at 2800 rpm is 716.4 mph, Mach 0.942 at 760.9 mph. rpm x pitch/1056 in mph."""
    mach = propeller.tip_mach(2800.0 / 60.0, 86.0 * INCH_M, 0.0, 760.9 * MPH_M_S)
    assert mach == pytest.approx(716.4 / 760.9, rel=1e-3)
    assert propeller.pitch_speed_m_s(10000.0, 7.0) == pytest.approx(66.29 * MPH_M_S, rel=1e-4)


def test_drive_efficiency_falls_at_part_throttle() -> None:
    """Motor and controller at half the rpm have 0.5 to 0.95 of their full-throttle efficiency (0.67 in the median).

    Band of 12 outrunners with 8 propellers at 7.4 V, same measurements as above; the propeller is one of constant CP.
    """
    train = bench_train(
        open_v=7.4,
        pack_ohm=0.0,
        table=constant_table(ct=0.157, cp=0.09),
        diameter_in=5.0,
        kv_rpm_per_v=2394.0,
        resistance_ohm=0.0975,
        no_load_current_a=1.2,
    )
    throttle = np.linspace(0.2, 1.0, 81)
    point = solve(train, throttle=throttle)
    relative = (point.shaft_power_w / point.pack_power_w) / (point.shaft_power_w / point.pack_power_w)[-1]
    half = np.interp(0.5, point.rpm / point.rpm[-1], relative)
    assert 0.5 < half < 0.95
