"""Fits to bench readings against textbook motors, plain least squares of numpy, and the five-inch bench.

Rows of textbook motors are planted by a loop of its own: the balance of volts solved by scipy's brentq.
``bench_two_voltages.csv``: full-throttle rows of three motors typed from P. Cao, J. Strawson, motor_propeller_testing,
public repository, commit 7031418, 2018, MIT licence; masses from memory. What its 7.4 V rows foretell of 11.1 V is held
to the page on accuracy (test_accuracy_page.py).
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

import accuracy
import bench_fit
from propmatch import Air, Motor, Propeller, fit_log
from propmatch.models.tables import CoefficientTable
from propmatch.records.parts import Source

RHO, CP = 1.225, 0.9
TEXTBOOK = {
    # A. E. Fitzgerald, C. Kingsley, S. D. Umans, Electric Machinery, example of a permanent-magnet motor: 50 V, 1.25 A
    # and 2100 rpm without load, 1.03 ohm (inputs seen in a solution file of the book)
    "Fitzgerald": {"volts": 50.0, "k": (50 - 1.25 * 1.03) / 220.0, "r": 1.03, "i0": 1.25, "amps": (4.0, 8.32, 14.0)},
    # Modelica Standard Library, Electrical.Machines, DCPM_withLosses: 100 V, 100 A, 0.05 ohm, 1425 rpm at 95 V, and
    # 63.66 N m without, 61.30 with friction and iron losses
    "Modelica": {"volts": 100.0, "k": 95 / (1425 * math.pi / 30), "r": 0.05, "i0": (63.66 - 61.30) / 0.6366,
                 "amps": (40.0, 100.0, 160.0)},
}  # fmt: skip


def brake(name, diameter_m):
    """A propeller of constant coefficient: any load is only a torque that grows as speed squared."""
    table = CoefficientTable(rpm=[500.0, 3000.0], advance_ratio=[0.0, 1.0], ct=[[0.1, 0.0]] * 2, cp=[[CP, 0.0]] * 2)
    source = Source(text="a brake", kind="measured", uncertainty=0.05)
    inch = diameter_m / 0.0254
    return Propeller(name=name, diameter_in=inch, pitch_in=0.5 * inch, table=table, source=source)


def planted(volts, k, r, i0, amps):
    """Rows and their brakes: each brake takes the current asked for at the speed that the balance of volts gives."""
    rows, brakes = [], {}
    for asked in (i0, *amps):
        w = brentq(lambda w, amps=asked: volts - k * w - r * amps, 1e-6, 2 * volts / k)
        name = "none"
        if asked > i0:
            name = f"brake {asked:g} A"
            torque = k * (asked - i0)
            size = (2 * math.pi * torque / (CP * RHO * (w / (2 * math.pi)) ** 2)) ** 0.2
            brakes[name] = brake(name, size)
        rows.append({"propeller": name, "volts": volts, "amps": asked, "rpm": w * 30 / math.pi})
    return rows, brakes


@pytest.mark.parametrize("name", TEXTBOOK)
def test_textbook_motors_are_recovered(name):
    """Within 1 % of kV, 3 % of R and 4 % of I0: nothing was said of the motor, so only what the rows leave of the
    priors pulls. The intervals hold each."""
    book = TEXTBOOK[name]
    rows, brakes = planted(**book)
    fit = fit_log(rows, propellers=brakes, instruments="bench supply", air=Air.standard())
    true = {"kv_rpm_per_v": 30 / math.pi / book["k"], "resistance_ohm": book["r"], "no_load_current_a": book["i0"]}
    for key, within in (("kv_rpm_per_v", 0.01), ("resistance_ohm", 0.03), ("no_load_current_a", 0.04)):
        found = fit.constants[key]
        assert found.value == pytest.approx(true[key], rel=within), key
        assert found.low < true[key] < found.high


def test_clean_rows_give_what_plain_least_squares_gives():
    """V = rpm/kV + R I by numpy.linalg.lstsq, for a motor whose resistance does not rise: within 0.5 and 1 %, what
    priors 100 times wider than the rows can pull."""
    k, r = 30 / math.pi / 1180.0, 0.062
    rows, brakes = planted(11.4, k, r, 0.7, (4.0, 8.0, 13.0))
    motor = Motor(name="m", kv_rpm_per_v=1250, kv_kind="label", mass_g=60, resistance_slope_ohm_s=0.0)
    fit = fit_log(rows, motor=motor, propellers=brakes, instruments="bench supply")
    design = np.array([[row["rpm"], row["amps"]] for row in rows])
    per_rpm, ohm = np.linalg.lstsq(design, [row["volts"] for row in rows], rcond=None)[0]
    assert fit.constants["kv_rpm_per_v"].value == pytest.approx(1 / per_rpm, rel=5e-3)
    assert fit.constants["resistance_ohm"].value == pytest.approx(ohm, rel=1e-2)


@pytest.fixture(scope="module")
def five_inch():
    return accuracy.fits_at_7_4_v()


def test_total_resistance_of_the_bench_agrees_with_plain_least_squares(five_inch):
    """kV and R of V = rpm/kV + R I lie in the intervals of each motor, to 2 %: the rise with speed, which plain least
    squares do not know, moves both a little."""
    rows, fits = five_inch
    for motor, fit in fits.items():
        own = rows[(rows.motor == motor) & (rows.nominal_v == 7.4)]
        per_rpm, ohm = np.linalg.lstsq(own[["rpm", "amps"]].to_numpy(), own.volts.to_numpy(), rcond=None)[0]
        kv, resistance = fit.constants["kv_rpm_per_v"], fit.constants["resistance_ohm"]
        assert 0.98 * kv.low < 1 / per_rpm < 1.02 * kv.high
        assert 0.98 * resistance.low < ohm < 1.02 * resistance.high


def test_intervals_hold_in_a_small_run_of_the_coverage_benchmark():
    """40 planted motors: of 90 % intervals fewer than 31 or all wrong happens in 1 of 200 draws (binomial)."""
    found = bench_fit.coverage("bare + 3 propellers", 40, 7)
    for key in ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a"):
        assert found[key]["determined_percent"] >= 95
        assert found[key]["coverage_percent"] >= 77.5
    nothing = bench_fit.coverage("full throttle x 3, one propeller", 12, 8)
    assert all(nothing[key]["determined_percent"] <= 10 for key in bench_fit.CONSTANTS)
