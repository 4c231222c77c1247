"""The bench protocol: its rows against an independent Monte Carlo, its ratings, its log."""

import csv
import io
import math

import numpy as np
import pytest
from scipy.optimize import brentq

from propmatch.bench.protocol import SHARES, Protocol, protocol, template_text
from propmatch.bench.readings import COLUMNS
from propmatch.checks.chances import drawn, interval
from propmatch.checks.ratings import rating_lanes
from propmatch.checks.setting import Setting, settings
from propmatch.models.tables import CoefficientTable
from propmatch.records.brief import Aircraft, Brief, Site
from propmatch.records.fields import replace
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller, Source
from propmatch.tolerances.numbers import tolerances
from propmatch.units import INCH_M

CT, CP = 0.11, 0.05
MEASURED = Source(text="planted", kind="measured")


def setting() -> Setting:
    return settings(Brief(aircraft=Aircraft(name="bench", bare_mass_g=100.0), site=Site(altitude_m=0.0)))[0]


def flat(ct: float, cp: float) -> CoefficientTable:
    """The same coefficients at every speed."""
    return CoefficientTable(
        rpm=[1000, 60000], advance_ratio=[0, 0.4, 0.8], ct=[[ct, ct, ct]] * 2, cp=[[cp, cp, cp]] * 2
    )


def propeller(diameter_in: float, **changes: object) -> Propeller:
    size = f"{diameter_in:g}x{diameter_in / 2:g}"
    numbers = {"name": size, "id": f"own/{size}", "diameter_in": diameter_in, "pitch_in": diameter_in / 2, "mass_g": 5,
               "max_rpm": 30000, "table": flat(CT, CP), "source": MEASURED}  # fmt: skip
    return Propeller(**(numbers | changes))


def train(**changes: object) -> PowerTrain:
    """Everything stated, so that the rows can be worked out by hand."""
    motor = {"name": "m", "kv_rpm_per_v": 1400, "kv_kind": "measured", "mass_g": 40, "resistance_ohm": 0.08,
             "resistance_slope_ohm_s": 2e-5, "torque_constant_ratio": 1.0, "no_load_current_a": 0.8,
             "no_load_voltage_v": 10, "max_current_a": 15, "max_power_w": 170, "source": MEASURED}  # fmt: skip
    numbers = {
        "motor": Motor(**motor),
        "controller": Controller(name="c", max_current_a=30, mass_g=20, resistance_mohm=4, part_throttle_loss=0.1),
        "pack": Pack(name="p", cells_series=3, capacity_mah=2200, c_rating=30, mass_g=170, cell_resistance_mohm=6,
                     lead_resistance_mohm=8, source=MEASURED),
        "propeller": propeller(8), "radio_current_a": 0.0,
    }  # fmt: skip
    parts = {name: replace(numbers[name], **changes.pop(name)) for name in ("motor", "controller", "pack", "propeller")
             if isinstance(changes.get(name), dict)}  # fmt: skip
    return PowerTrain(**(numbers | parts | changes))


SMALL = [propeller(diameter) for diameter in (4, 5, 5.5, 6, 6.5, 7, 7.5, 9)]


@pytest.fixture(scope="module")
def plan() -> Protocol:
    return protocol(train(), setting(), SMALL)


def test_rows_run_bare_first_then_light_to_heavy_then_another_pack_and_one_again(plan: Protocol) -> None:
    assert [row.row for row in plan.rows] == list(range(1, len(plan.rows) + 1))
    assert [row.what for row in plan.rows] == ["bare shaft", *SHARES, "the propeller", "another pack", "again"]
    bare, small, middle, own, other, again = plan.rows
    assert bare.propeller is None
    assert small.propeller.diameter_in < middle.propeller.diameter_in < own.propeller.diameter_in
    assert small.amps < middle.amps < own.amps / own.throttle
    assert other.pack.cells_series == 2
    assert (again.propeller, again.throttle) == (small.propeller, small.throttle)
    assert plan.left_out == ()


def test_the_bare_row_balances_by_hand(plan: Protocol) -> None:
    """E = K w + (R + b w + R_c + R_b) I0 with I0 constant; a full lipo cell stands at 4.2 V."""
    k = 60 / (2 * math.pi * 1400)
    pack_ohm = 3 * 0.006 + 0.008

    def left(w: float) -> float:
        return 12.6 - k * w - (0.08 + 2e-5 * w + 0.004 + pack_ohm) * 0.8

    rpm = brentq(left, 1, 5000) * 60 / (2 * math.pi)
    bare = plan.rows[0]
    assert bare.rpm == pytest.approx(rpm, rel=1e-4)
    assert bare.amps == pytest.approx(0.8, rel=1e-9)
    assert bare.volts == pytest.approx(12.6 - pack_ohm * 0.8, rel=1e-6)


def test_ranges_agree_with_an_independent_monte_carlo(plan: Protocol) -> None:
    """4,000 draws by numpy, each balanced by scipy's brentq; ends within 3 % of the width."""
    row = next(each for each in plan.rows if each.what == "middle propeller")
    made = replace(train(), propeller=row.propeller)
    sd = {each.name: each.sd for each in tolerances(made, setting().brief.uncertainty)}
    random = np.random.default_rng(3)
    n = 4000
    z = {name: random.standard_normal(n) for name in sd}
    z["cp"] = 0.8 * z["ct"] + math.sqrt(1 - 0.8**2) * z["cp"]  # the correlation that the tolerances state
    f = {name: np.exp(sd[name] * z[name]) for name in sd}
    d = row.propeller.diameter_in * INCH_M
    amps, rpm = np.empty(n), np.empty(n)
    for i in range(n):
        k = 60 / (2 * math.pi * 1400 * f["kv_rpm_per_v"][i])
        own = 0.08 * f["resistance_ohm"][i]
        b = 2e-5 * f["resistance_slope_ohm_s"][i]
        beside = 0.004 * f["resistance_mohm"][i] + 0.018 * f["cell_resistance_mohm"][i]
        beside += 0.008 * f["lead_resistance_mohm"][i]
        idle = 0.8 * f["no_load_current_a"][i]
        density, cp = 1.225 * f["air_density"][i], CP * f["cp"][i]

        def current(w: float, k_t=k * f["torque_constant_ratio"][i], cp=cp, density=density, idle=idle) -> float:
            return cp * density * (w / (2 * math.pi)) ** 2 * d**5 / (2 * math.pi) / k_t + idle

        def left(w: float, k=k, own=own, b=b, beside=beside, current=current) -> float:
            return 12.6 - k * w - (own + b * w + beside) * current(w)

        w = brentq(left, 1, 20000)
        amps[i], rpm[i] = current(w), w * 60 / (2 * math.pi)
    for name, values in (("amps", amps), ("rpm", rpm)):
        low, high = np.quantile(values, (0.1, 0.9))
        width = high - low
        assert getattr(row, f"{name}_low") == pytest.approx(low, abs=0.06 * width), name
        assert getattr(row, f"{name}_high") == pytest.approx(high, abs=0.06 * width), name


CASES = {
    "sound": {},
    "heavy": {"propeller": {"diameter_in": 10, "pitch_in": 5}},
    "weak motor": {"motor": {"max_current_a": 6.0}},
    "weak controller": {"controller": {"max_current_a": 8.0}},
    "weak pack": {"pack": {"c_rating": 8.0}},
    "slow propeller": {"propeller": {"max_rpm": 9000}},
    "too many cells": {"motor": {"cells_min": 1, "cells_max": 2}},
    "by label": {"motor": {"kv_kind": "label", "resistance_ohm": None, "no_load_current_a": None,
                           "resistance_slope_ohm_s": None, "source": Source(text="shop", kind="label")}},
    "two motors": {"count": 2},
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_no_row_exceeds_a_rating_at_its_high_end(case: str) -> None:
    """With other draws than those it was chosen by; 2 % for the scatter of 4,096 of them."""
    where = setting()
    made = protocol(train(**dict(CASES[case])), where, SMALL)
    assert made.rows, made.left_out
    for row in made.rows:
        ratings = rating_lanes([replace(made.train, pack=row.pack)])
        assert ratings.cells_least[0] <= row.pack.cells_series <= ratings.cells_most[0]
        if row.propeller is None:
            assert row.amps_high <= ratings.motor.continuous[0]
            continue
        flown = replace(made.train, pack=row.pack, propeller=row.propeller)
        ratings = rating_lanes([flown])
        point = drawn(where, [flown], draws=4096, seed=77).measured.limited(np.full(4096, row.throttle)).full(1.0)
        high = {
            "motor": interval(point.motor_current_a).high, "controller": interval(point.motor_current_a).high,
            "pack": interval(point.pack_current_a).high, "propeller_rpm": interval(point.rpm).high,
            "motor_power": interval(point.motor_voltage_v * point.motor_current_a).high,
        }  # fmt: skip
        for name, value in high.items():
            assert value <= 1.02 * getattr(ratings, name).continuous[0], (case, row.what, name)
        assert row.amps_high <= row.stop_amps
        assert row.stop_rpm == ratings.propeller_rpm.continuous[0]


def test_a_row_that_might_exceed_says_what_and_why() -> None:
    made = protocol(train(motor={"max_current_a": 6.0}), setting(), SMALL)
    own = next(row for row in made.rows if row.what == "the propeller")
    assert own.throttle < 1
    assert "motor current could reach" in own.instead
    assert "where 6 A is allowed" in own.instead
    assert own.stop_amps <= 6 * own.throttle + 1e-9, "the pack carries the duty's share of the motor's current"
    full = next(row for row in protocol(train(), setting(), SMALL).rows if row.what == "small propeller")
    assert (full.throttle, full.instead) == (1.0, "")


def test_on_a_stronger_pack_a_smaller_propeller_is_run_rather_than_less_throttle() -> None:
    strong = train(motor={"cells_min": 3, "cells_max": 4, "max_power_w": 400})
    other = next(row for row in protocol(strong, setting(), SMALL).rows if row.what == "another pack")
    assert (other.pack.cells_series, other.throttle) == (4, 1.0)
    assert other.propeller.diameter_in < 8
    assert "instead of the propeller: motor current could reach" in other.instead


def test_a_row_that_no_setting_allows_is_left_out_and_said() -> None:
    made = protocol(train(motor={"max_current_a": 1.0}), setting(), [])
    assert [row.what for row in made.rows] in (["bare shaft"], [])
    assert any("the propeller" in text and "30 %" in text for text in made.left_out)
    assert any("none smaller" in text for text in made.left_out)


def test_fewer_cells_where_the_motor_takes_no_more() -> None:
    made = protocol(train(motor={"cells_min": 1, "cells_max": 2}), setting(), SMALL)
    assert {row.pack.cells_series for row in made.rows} == {1, 2}
    assert "2S instead of 3S" in made.rows[0].instead


def test_one_motor_of_several_is_run() -> None:
    assert protocol(train(count=2), setting(), SMALL).train.count == 1


def test_no_radio_draws_from_the_pack(plan: Protocol) -> None:
    """A fit knows no current but the motor's: a servo tester is fed before the wattmeter."""
    made = protocol(train(radio_current_a=0.5), setting(), SMALL)
    assert str([row.data for row in made.rows]) == str([row.data for row in plan.rows])


def test_the_empty_log_has_a_row_for_each(plan: Protocol) -> None:
    text = template_text(plan)
    assert template_text(plan) == text
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    read = list(csv.DictReader(io.StringIO("\n".join(lines))))
    assert list(read[0]) == [column.name for column in COLUMNS]
    assert [each["propeller"] for each in read] == [row.propeller_name for row in plan.rows]
    assert [each["cells"] for each in read] == [str(row.pack.cells_series) for row in plan.rows]
    assert read[0]["propeller"] == "none"
    assert {each["volts"] + each["amps"] + each["rpm"] for each in read} == {""}
    assert read[0]["label_kv"] == "", "its kV is measured, not printed"


def test_own_propellers_go_before_those_of_the_catalogue() -> None:
    made = protocol(train(), setting(), SMALL, [each for each in SMALL if each.diameter_in == 5])
    helping = {row.what: row for row in made.rows if row.what in SHARES}
    assert len(helping) == 2
    first, second = helping.values()
    assert (first.propeller.diameter_in, first.instead) == (5, "")
    assert second.propeller.diameter_in != 5
    assert "your own have no other" in second.instead
