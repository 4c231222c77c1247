"""The motor law against measured rows: the five-inch bench and motors on other thrust stands.

Bench: ``bench_rows.csv``, typed from P. Cao, J. Strawson, motor_propeller_testing, public repository, commit 7031418,
2018, MIT licence: four motors of seven, three propellers of eight. Its masses are from memory. The limits are those
that the whole set is held to, wider where six rows of two motors stand for it; ``benchmarks/laws.py`` reads it whole.
"""

import numpy as np
import pandas as pd
import pytest

import fit_laws
import laws

STANDS = pd.DataFrame(
    [
        (1000, 68.1, 11.68, 16.80, 8199),
        (750, 68.1, 12.42, 7.08, 7278),
        (850, 68.1, 12.37, 11.27, 7436),
        (1000, 130.0, 12.13, 26.84, 9703),
        (1250, 130.0, 12.04, 34.89, 11619),
        (700, 80.0, 11.10, 8.90, 6100),
        (780, 80.0, 11.10, 12.00, 6700),
    ],
    columns=["label", "mass", "volts", "amps", "rpm"],
).assign(full=True)
"""Full throttle, 68 to 130 g, up to 12.6 V: makers' tables of thrust tests, public figures."""


@pytest.fixture(scope="module")
def bench():
    return laws.bench(laws.TYPED)


@pytest.fixture(scope="module")
def by_label(bench):
    return {law.__name__: laws.by_label(bench, law) for law in (laws.before, laws.after)}


def bias(rows, quantity):
    error = rows[f"{quantity}_error"]
    return error.groupby(rows.motor).mean().mean() if "motor" in rows else error.mean()


@pytest.mark.parametrize("quantity", laws.QUANTITIES)
def test_label_and_mass_on_measured_propellers(by_label, quantity):
    now, old = (bias(rows[rows.nominal == 7.4], quantity) for rows in (by_label["after"], by_label["before"]))
    assert abs(now) <= laws.LEVEL[quantity]
    assert abs(now) < abs(old)


def test_intervals_cover_most_motors(by_label):
    """Of four motors an 80 % interval leaves out two or more in 18 % of draws: at least half must be inside."""
    rows = by_label["after"]
    for quantity in laws.QUANTITIES:
        assert rows[f"{quantity}_in"].groupby(rows.motor).mean().mean() >= 50.0


@pytest.mark.parametrize("quantity", laws.QUANTITIES)
def test_error_hardly_changes_with_voltage(by_label, quantity):
    now, old = (bias(laws.change(by_label[law]), quantity) for law in ("after", "before"))
    assert abs(now) <= 1.5 * laws.CHANGE[quantity]
    assert abs(now) < abs(old)


def test_constants_of_7_4_v_predict_11_1_v(bench):
    """Medians of six rows; one of the two motors misses rpm by 2 to 3 % in the whole set as well."""
    found = laws.by_low_rows(bench, laws.after)
    assert len(found) == 6
    for quantity, limit in {"rpm": 2.5, "amps": 5.0, "gf": 6.0}.items():
        assert found[f"{quantity}_error"].abs().median() <= limit


def test_current_at_held_speed(bench):
    found = laws.by_label(bench, laws.after, held=True)
    assert len(found) == 6
    assert abs(found.amps_error.mean()) <= laws.HELD["amps"]


def test_speed_at_the_current_of_other_motors():
    """Within 5 % on average; before, 8 % and more too fast. Single motors scatter by 5 % in kV alone."""
    now, old = (laws.speed_at_current(STANDS, law, 0.0).rpm_error for law in (laws.after, laws.before))
    assert abs(now.mean()) <= 5.0
    assert now.abs().max() <= 12.0
    assert old.mean() >= 8.0


def test_constants_of_one_motor_are_found_again(bench):
    """A motor 5 % off in kV and half as much again in resistance: its own rows bring the law there."""
    rows = bench[bench.full & (bench.motor == "d")]
    columns, _ = laws.of_rows(laws.after, rows)
    truth = laws.varied(columns, 1.05, 1.5, 0.8)
    w, amps = rows.rpm * laws.RPM_RAD_S, rows.amps - laws.IDLE_A
    made = rows.assign(volts=truth["k"] * w + (truth["resistance_ohm"] + truth["slope_ohm_s"] * w) * amps)
    own = laws.fitted(made, laws.after)
    assert laws.speed_at_current(made, own, laws.IDLE_A).rpm_error.abs().max() <= 0.3
    assert laws.speed_at_current(made, laws.after, laws.IDLE_A).rpm_error.abs().min() >= 1.0


def test_the_fit_finds_planted_constants():
    """Twenty motors without scatter, with torque: every constant within two of its standard deviations."""
    rng = np.random.default_rng(3)
    planted = np.array([np.log(0.93), np.log(1.3), np.log(2.2), 1.3, np.log(1.04), np.log(0.7)])
    label, mass, amps = (np.repeat(rng.uniform(*span, 20), 2) for span in ((800, 2600), (12, 90), (4, 12)))
    amps, w = amps * np.tile([1.0, 0.6], 20), np.tile([900.0, 1500.0], 20)
    m = fit_laws.columns(planted, label, mass)
    torque = m["k_torque"] * (amps - m["no_load_a"] * (w / 1571.0) ** 0.3)
    volts = m["k"] * w + (m["resistance_ohm"] + m["slope_ohm_s"] * w) * amps
    rows = pd.DataFrame(
        {"motor": np.repeat(np.arange(20), 2).astype(str), "label": label, "mass": mass, "current": amps,
         "volts": volts, "rpm": w / laws.RPM_RAD_S, "torque_nm": torque, "sd": 0.005}
    )[torque > 0]  # fmt: skip
    found, cov = fit_laws.Misses(rows).fit()
    assert np.all(np.abs(found - planted) <= 2.0 * np.sqrt(np.diag(cov)))
