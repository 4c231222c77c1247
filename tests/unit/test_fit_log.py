"""What a fit to bench readings answers; planted logs come from ``benchmarks/bench_fit.py``, made there by scipy."""

import math

import attrs
import numpy as np
import pandas as pd
import pytest

import bench_fit
import propmatch
from propmatch.bench.instruments import INSTRUMENTS, instruments_of
from propmatch.bench.logfit import LogFit
from propmatch.faults import InputFaults
from propmatch.records.motorfit import CONSTANTS

BARE, MIDDLE = ("none", 0), ("middle", 0)
FULL = bench_fit.SETS["bare + 3 propellers"]


def planted(rows=FULL, seed=11):
    """A motor of middle size whose readings are planted, and that nobody spoiled."""
    rng = np.random.default_rng(seed)
    return next(made for made in iter(lambda: bench_fit.planted(rng, rows), None) if 20 < made.motor.mass_g < 50)


def why(fit, constant):
    return next(each for each in fit.undetermined if each.constant == constant)


def test_the_constants_hold_the_planted_ones_and_the_part_carries_them():
    made = planted()
    fit = bench_fit.fitted(made)
    truth = bench_fit.truths(made, fit)
    for key, found in bench_fit.found_of(fit).items():
        if key in truth:
            wide = (found.high / found.low) ** 0.5
            assert found.low / wide < truth[key] < found.high * wide, key
    motor = fit.part()
    assert (motor.kv_kind, motor.source.kind) == ("measured", "measured")
    assert motor.source.text == "bench log log, 4 rows"
    assert motor.kv_rpm_per_v == pytest.approx(fit.constants["kv_rpm_per_v"].value)
    ohm = motor.resistance_ohm + motor.resistance_slope_ohm_s * fit.at_rpm * math.pi / 30
    assert ohm == pytest.approx(fit.constants["resistance_ohm"].value)
    assert set(fit.sd_ln) == set(CONSTANTS)
    assert fit.sd_ln["kv_rpm_per_v"] == pytest.approx(fit.constants["kv_rpm_per_v"].sd_ln)
    assert len(fit.correlations) == 10
    assert all(-1 <= r <= 1 for *_, r in fit.correlations)
    r = next(r for one, other, r in fit.correlations if (one, other) == ("resistance_ohm", "resistance_slope_ohm_s"))
    assert r < -0.5


def test_the_fitted_parts_give_the_readings_back():
    """Motor and propellers in a train on a pack of the fitted volts and no resistance turn as the row was read."""
    made = planted()
    fit = bench_fit.fitted(made)
    blades = {each.name: each for each in fit.propeller_parts()}
    gain = math.exp(fit.ln[fit.names.index("gain of volts")])
    import listing_rows

    for row in fit.rows:
        if row.propeller in blades:
            train = propmatch.PowerTrain(
                motor=fit.part(), propeller=blades[row.propeller], pack=listing_rows.SUPPLY,
                controller=listing_rows.CONTROLLER, radio_current_a=0.0,
            )  # fmt: skip
            low, high = listing_rows.SUPPLY_V
            point = propmatch.solve(train, charge=(row.fit_volts / gain - low) / (high - low))
            assert point.rpm == pytest.approx(row.fit_rpm, rel=2e-3)
            assert point.motor_current_a == pytest.approx(row.fit_amps, rel=0.05)


def test_the_same_log_gives_the_same_answer_and_more_rows_narrow_it():
    made = planted(FULL + FULL)
    few, again, many = (bench_fit.fitted(made, rows) for rows in (made.rows[:4], made.rows[:4], made.rows))
    assert few.part() == again.part()
    assert attrs.asdict(few.rows[0]) == attrs.asdict(again.rows[0])
    for key, found in few.constants.items():
        assert many.constants[key].sd_ln < found.sd_ln


# ---------------------------------------------------------------- what stays open


def test_one_load_leaves_kv_and_resistance_open_and_says_the_row_that_settles_it():
    made = planted((MIDDLE, MIDDLE, MIDDLE, BARE))
    fit = bench_fit.fitted(made, made.rows[:3])
    assert fit.constants == {}
    for constant in ("kv_rpm_per_v", "resistance_ohm"):
        open_ = why(fit, constant)
        assert "all rows are at one load: kV and resistance cannot be told apart; add a bare run" in open_.why
        assert open_.row.startswith("add a bare run")
    assert "without a propeller" in why(fit, "no_load_current_a").why
    with pytest.raises(InputFaults, match="cannot be told apart"):
        fit.part()
    settled = bench_fit.fitted(made)
    assert {"kv_rpm_per_v", "resistance_ohm", "no_load_current_a"} <= set(settled.constants)


def test_one_row_two_rows_and_rows_at_one_throttle():
    made = planted((MIDDLE, MIDDLE, BARE))
    assert "there is one row" in why(bench_fit.fitted(made, made.rows[:1]), "kv_rpm_per_v").why
    assert "all rows are at one load" in why(bench_fit.fitted(made, made.rows[:2]), "kv_rpm_per_v").why
    part = [{**row, "throttle": 0.6, "volts": 1.4 * row["volts"], "amps": 0.7 * row["amps"]} for row in made.rows[:2]]
    assert bench_fit.fitted(made, part).constants == {}


def test_without_rpm_kv_stays_open():
    made = planted()
    fit = bench_fit.fitted(made, [{k: v for k, v in row.items() if k != "rpm"} for row in made.rows])
    assert "no row has rpm" in why(fit, "kv_rpm_per_v").why


def test_without_a_bare_run_the_no_load_current_stays_open():
    fit = bench_fit.fitted(planted(bench_fit.SETS["3 propellers, no bare run"]))
    assert {"kv_rpm_per_v", "resistance_ohm"} <= set(fit.constants)
    assert why(fit, "no_load_current_a").row.startswith("add a bare run")
    assert fit.part().no_load_current_a == pytest.approx(math.exp(fit.ln[4]))


def test_a_pack_at_rest_settles_its_resistance():
    made = planted((MIDDLE, MIDDLE, *FULL))
    name = made.packs[0].name
    volts = bench_fit.fitted(made).packs[name]["open_circuit_v"].value
    rest = {"cells": made.packs[0].cells_series, "throttle": 0, "volts": volts, "amps": 0, "rpm": 0}
    without, beside = (bench_fit.fitted(made, rows) for rows in (made.rows[:2], [rest, *made.rows[:2]]))
    assert without.packs[name] == {}
    assert any(
        "add the volts of the pack at rest" in each.row or "bare run" in each.row for each in without.undetermined
    )
    assert set(beside.packs[name]) == {"resistance_ohm", "open_circuit_v"}
    assert beside.rows[0].fit_volts == pytest.approx(volts, rel=5e-3)
    assert beside.rows[0].fit_rpm is None


def test_without_amps_the_reason_is_that_and_no_other():
    made = planted()
    fit = bench_fit.fitted(made, [{k: v for k, v in row.items() if k != "amps"} for row in made.rows])
    assert fit.undetermined
    for each in fit.undetermined:
        assert each.why.startswith("no row has amps")
        assert each.row == "read amps too"


def test_beside_the_smallest_propellers_no_smaller_one_is_asked_for():
    row = {"label_kv": 15000, "mass_g": 3, "cells": 1, "propeller": "1.1x0.8", "volts": 3.9, "amps": 0.9}
    fit = propmatch.fit_log([row, row])
    assert fit.undetermined
    assert not any("smaller propeller" in each.row for each in fit.undetermined)


# ---------------------------------------------------------------- what is known beside the log


def test_a_kept_motor_can_be_refitted():
    """What an earlier log made sure of is no reason to give no number for what new rows say again."""
    made = planted(FULL + FULL)
    known = bench_fit.fitted(made, made.rows[:4]).part()
    fit = propmatch.fit_log(made.rows[4:], motor=known, propellers=made.propellers, packs=made.packs)
    assert {"kv_rpm_per_v", "resistance_ohm", "no_load_current_a"} <= set(fit.constants)
    assert fit.constants["kv_rpm_per_v"].sd_ln <= known.source.sd_ln["kv_rpm_per_v"]
    again = propmatch.fit_log(made.rows[4:5], motor=known, propellers=made.propellers, packs=made.packs)
    assert again.constants == {}, "one row alone says nothing new"


def test_knowing_less_determines_no_more():
    for seed in range(11, 17):
        made = planted(bench_fit.SETS["full throttle x 3, one propeller"], seed)
        rows = [{**row, "label_kv": made.motor.kv_rpm_per_v, "mass_g": made.motor.mass_g} for row in made.rows]
        unknown = [{k: v for k, v in row.items() if k != "mass_g"} for row in rows]
        more, less = (propmatch.fit_log(each, propellers=made.propellers, packs=made.packs) for each in (rows, unknown))
        assert set(less.constants) <= set(more.constants)


def test_a_bare_row_without_rpm_gives_the_no_load_current_at_its_own_volts():
    made = planted()
    rows = [{k: v for k, v in row.items() if k != "rpm" or row["propeller"] != "none"} for row in made.rows]
    bare = next(row for row in rows if row["propeller"] == "none")
    fit = bench_fit.fitted(made, rows)
    assert fit.no_load_voltage_v == pytest.approx(bare["volts"], rel=0.01)
    assert fit.constants["no_load_current_a"].value == pytest.approx(bare["amps"], rel=0.1)


def test_nothing_known_of_the_motor_is_said_and_widens_nothing_that_the_rows_say():
    made = planted()
    rows = [{k: v for k, v in row.items() if k not in ("label_kv", "mass_g")} for row in made.rows]
    fit = propmatch.fit_log(rows, propellers=made.propellers, packs=made.packs)
    known = bench_fit.fitted(made)
    assert {"mass_g", "kv_rpm_per_v"} <= {each.field for each in fit.assumptions}
    for key in ("kv_rpm_per_v", "resistance_ohm"):
        assert fit.constants[key].value == pytest.approx(known.constants[key].value, rel=0.05)


def test_a_bare_run_says_more_than_a_labels_no_load_current_of_unknown_voltage():
    made = planted()
    label = attrs.evolve(made.motor, no_load_current_a=2.0, no_load_voltage_v=None)
    fit = propmatch.fit_log(made.rows, motor=label, propellers=made.propellers, packs=made.packs)
    bare = next(row for row in made.rows if row["propeller"] == "none")
    assert fit.constants["no_load_current_a"].value == pytest.approx(bare["amps"], rel=0.1)


def test_rows_that_the_log_has_are_not_asked_for():
    made = planted()
    sure = attrs.evolve(made.motor.source, sd_ln={"no_load_current_a": 0.02})
    label = attrs.evolve(made.motor, no_load_current_a=0.4, no_load_voltage_v=8.2, source=sure)
    fit = propmatch.fit_log(made.rows, motor=label, propellers=made.propellers, packs=made.packs)
    assert "bare run and" not in why(fit, "no_load_current_a").why


def test_two_motors_on_the_pack_share_its_current():
    made = planted()
    twice = [{**row, "amps": 2 * row["amps"]} for row in made.rows]
    two = propmatch.fit_log(twice, motor=made.motor, propellers=made.propellers, packs=made.packs, count=2)
    one = bench_fit.fitted(made)
    for key in ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a"):
        assert two.constants[key].value == pytest.approx(one.constants[key].value, rel=0.03)


def test_better_instruments_narrow_and_a_supply_has_no_pack():
    made = planted()
    usual = bench_fit.fitted(made)
    supply = propmatch.fit_log(made.rows, motor=made.motor, propellers=made.propellers, instruments="bench supply")
    clamp = propmatch.fit_log(
        made.rows, motor=made.motor, propellers=made.propellers, packs=made.packs, instruments=["clamp"]
    )
    assert supply.packs == {}
    for key in ("resistance_ohm", "no_load_current_a"):
        assert supply.constants[key].sd_ln < usual.constants[key].sd_ln
        assert key not in clamp.constants or clamp.constants[key].sd_ln > usual.constants[key].sd_ln
    assert supply.instruments[0] == "bench supply"


def test_an_instrument_that_nobody_knows():
    with pytest.raises(InputFaults, match="did you mean kitchen scale"):
        instruments_of("wattmeter, kitchen scales")
    assert set(instruments_of("")[1]) == {q for each in INSTRUMENTS.values() for q in each}


def test_a_thrust_reading_gives_the_thrust_coefficient():
    made = planted()
    blades = made.propellers
    rows = []
    for row in made.rows:
        if row["propeller"] != "none":
            size = blades[row["propeller"]].diameter_in * 0.0254
            force = 0.9 * bench_fit.CT0 * bench_fit.RHO * (row["rpm"] / 60) ** 2 * size**4
            row = {**row, "thrust_gf": force / 9.80665e-3}
        rows.append(row)
    fit = bench_fit.fitted(made, rows)
    for found in fit.propellers.values():
        assert found["ct0"].low < 0.9 * bench_fit.CT0 < found["ct0"].high
        assert found["ct0"].sd_ln < 0.02
    assert all("ct0" not in found for found in bench_fit.fitted(made).propellers.values())


def test_two_motors_in_a_log_are_told_apart_by_name():
    one, other = planted(seed=11), planted(seed=12)
    rows = [{**row, "motor": name} for name, made in (("left", one), ("right", other)) for row in made.rows]
    blades = one.propellers
    with pytest.raises(InputFaults, match=r"rows of 2 motors.*say which: left, right"):
        propmatch.fit_log(rows, propellers=blades)
    fit = propmatch.fit_log(rows, motor="left", propellers=blades, packs=one.packs)
    assert fit.known.name == "left"
    assert len(fit.rows) == len(one.rows)
    unnamed = [{k: v for k, v in row.items() if k != "motor"} for row in rows]
    with pytest.raises(InputFaults, match="rows of 2 motors: label kV"):
        propmatch.fit_log(unnamed, propellers=blades)


def test_a_frame_is_a_log_and_the_answer_is_public():
    made = planted()
    fit = propmatch.fit_log(pd.DataFrame(made.rows), motor=made.motor, propellers=made.propellers, packs=made.packs)
    assert isinstance(fit, LogFit)
    assert fit.constants == bench_fit.fitted(made).constants


# ---------------------------------------------------------------- what is wrong with a log


def spoiled(made, **factors):
    return [{**row, **{key: row[key] * factor for key, factor in factors.items()}} for row in made.rows]


@pytest.mark.parametrize(
    ("factors", "said"),
    [
        ({"rpm": 7}, "is 7 times what fits: counted per pole pair, as of a motor of 14 poles; divide rpm by 7"),
        ({"rpm": 1 / 7}, "is a 7th of what fits"),
        ({"amps": 0.5}, "those of one motor of a twin are written for both"),
        ({"amps": 2}, "those of both motors of a twin are written for one"),
    ],
)
def test_a_usual_mistake_is_named_and_no_number_given(factors, said):
    made = planted()
    blades = {name: attrs.evolve(each, source=attrs.evolve(each.source, uncertainty=0.08))
              for name, each in made.propellers.items()}  # fmt: skip
    fit = propmatch.fit_log(spoiled(made, **factors), motor=made.motor, propellers=blades, packs=made.packs)
    assert fit.contradicted
    assert any(said in str(fault) for fault in fit.faults), fit.faults
    assert fit.constants == {}
    assert {(row.fit_rpm, row.fit_volts, row.off_sd) for row in fit.rows} == {(None, None, None)}
    with pytest.raises(InputFaults, match="what fits"):
        fit.part()


def test_cells_filed_wrongly_are_said_and_the_rest_is_fitted():
    made = planted()
    cells = made.packs[0].cells_series
    fit = bench_fit.fitted(made, [{**row, "cells": 5 - cells} for row in made.rows])
    assert any(f"are not the volts of {5 - cells} cells: they are those of {cells} in series" in str(each)
               for each in fit.faults)  # fmt: skip
    assert fit.constants["kv_rpm_per_v"].value == pytest.approx(bench_fit.fitted(made).constants["kv_rpm_per_v"].value,
                                                                rel=0.01)  # fmt: skip


def test_one_reading_above_full_cells_is_said_and_the_pack_is_kept():
    made = planted(FULL + FULL)
    cells = made.packs[0].cells_series
    high = [{**row, "volts": 4.6 * cells} if at == 2 else row for at, row in enumerate(made.rows)]
    fit = bench_fit.fitted(made, high)
    said = [str(each) for each in fit.faults]
    assert (
        f"warning: log:3: volts: {4.6 * cells:.2f} V are more than {cells} full cells hold; check the reading" in said
    )
    assert not any("in series" in each for each in said)
    assert set(fit.packs) == {made.packs[0].name}
    low = [{**row, "volts": 2.8 * cells} if at == 2 else row for at, row in enumerate(made.rows)]
    assert not any("empty" in str(each) for each in bench_fit.fitted(made, low).faults)


def test_resting_volts_are_said():
    made = planted()
    fit = bench_fit.fitted(made, [{**row, "volts": made.rows[0]["volts"]} for row in made.rows])
    assert fit.contradicted
    assert "the volts of the resting pack are written for those of the motor" in str(fit.faults[0])


def test_a_label_that_is_another_motors():
    made = planted()
    other = attrs.evolve(made.motor, kv_rpm_per_v=0.6 * made.motor.kv_rpm_per_v)
    fit = propmatch.fit_log(made.rows, motor=other, propellers=made.propellers, packs=made.packs)
    assert "another motor, another winding, or another label" in str(fit.faults[0])
    truth = made.truth["kv_rpm_per_v"]
    assert fit.constants["kv_rpm_per_v"].value == pytest.approx(truth, rel=0.03)


def test_rows_of_two_motors_without_a_name():
    made = planted((("small", 0), ("large", 0), BARE, ("small", 0), ("large", 0), BARE))
    rows = [*made.rows[:3], *({**row, "rpm": 1.25 * row["rpm"], "amps": 1.5 * row["amps"]} for row in made.rows[3:])]
    fit = bench_fit.fitted(made, rows)
    assert fit.contradicted
    assert "the rows are of two motors: up to line 3" in str(fit.faults[0])


def test_a_hot_winding_is_said_and_gets_a_wider_interval():
    made = planted((("large", 0), BARE, ("large", 0), ("large", 0)))
    cold = bench_fit.fitted(made)
    k, load = 30 / math.pi / made.truth["kv_rpm_per_v"], [row["amps"] for row in made.rows]
    r, b = made.ohm_at
    rows = []
    for at, row in enumerate(made.rows):
        w = row["rpm"] * math.pi / 30
        more = 0.12 * at * (r + b * w) * load[at] if row["propeller"] != "none" else 0.0
        rows.append({**row, "rpm": (w - more / k) * 30 / math.pi})
    fit = bench_fit.fitted(made, rows)
    assert "the winding got hot: from repeat to repeat (lines 1 to 4)" in " ".join(map(str, fit.faults))
    assert not fit.contradicted
    assert fit.constants["resistance_ohm"].sd_ln > cold.constants["resistance_ohm"].sd_ln
    assert fit.constants["resistance_ohm"].value > cold.constants["resistance_ohm"].value


@pytest.mark.parametrize(("key", "factor"), [("amps", 1.25), ("rpm", 0.93), ("volts", 0.95)])
def test_a_wrong_reading_of_a_repeat_is_no_hot_winding(key, factor):
    made = planted((("large", 0), MIDDLE, BARE, ("large", 0), ("small", 0)))
    rows = [{**row, key: factor * row[key]} if at == 3 else row for at, row in enumerate(made.rows)]
    fit = bench_fit.fitted(made, rows)
    assert [bool(row.remark) for row in fit.rows] == [False, False, False, True, False]
    assert "the winding got hot" not in " ".join(map(str, fit.faults))


def test_a_twin_entered_whole_is_said():
    """Amps and thrust of both, as of one: twice the current of the same speeds and volts."""
    made = planted()
    blades = {name: attrs.evolve(each, source=attrs.evolve(each.source, uncertainty=0.6))
              for name, each in made.propellers.items()}  # fmt: skip
    rows = spoiled(made, amps=2)
    one, two = (propmatch.fit_log(rows, motor=made.motor, propellers=blades, packs=made.packs, count=n) for n in (1, 2))
    assert "both motors of a twin" in " ".join(map(str, one.faults))
    assert not [each for each in two.faults if "twin" in str(each)]


@pytest.mark.parametrize(("kind", "alarm"), [("predicted", False), ("measured", True)])
def test_thrust_that_rises_otherwise_than_a_predicted_table_is_no_alarm(kind, alarm):
    """Planted: on a pack of a cell more CT is 8 % higher."""
    made = planted(bench_fit.SETS["bare + 2, two packs"])
    blades = {name: attrs.evolve(each, source=attrs.evolve(each.source, kind=kind, uncertainty=0.1))
              for name, each in made.propellers.items()}  # fmt: skip
    rows = []
    for row in made.rows:
        if row["propeller"] != "none":
            size = blades[row["propeller"]].diameter_in * 0.0254
            ct = bench_fit.CT0 * (1.08 if row["cells"] == made.packs[1].cells_series else 1.0)
            row = {**row, "thrust_gf": ct * bench_fit.RHO * (row["rpm"] / 60) ** 2 * size**4 / 9.80665e-3}
        rows.append(row)
    fit = propmatch.fit_log(rows, motor=made.motor, propellers=blades, packs=made.packs)
    assert bool(fit.faults) == alarm


def test_a_supply_at_its_limit_is_said_and_its_rows_left_out():
    made = planted()
    rows = [*made.rows]
    top = max(row["amps"] for row in rows)
    rows += [{**rows[1], "volts": rows[1]["volts"] * share, "amps": 1.5 * top} for share in (0.95, 0.84)]
    fit = propmatch.fit_log(rows, motor=made.motor, propellers=made.propellers, instruments="bench supply")
    last = fit.rows[-1]
    assert not last.used
    assert any("the supply is at its limit" in str(each) for each in fit.faults)


def test_a_row_that_stands_out_is_named_with_its_reading_and_kept():
    made = planted()
    at = next(n for n, row in enumerate(made.rows) if row["propeller"] == "middle")
    rows = [{**row, "rpm": 0.8 * row["rpm"]} if n == at else row for n, row in enumerate(made.rows)]
    fit = bench_fit.fitted(made, rows)
    assert [bool(row.remark) for row in fit.rows] == [n == at for n in range(len(rows))]
    assert "below the" in fit.rows[at].remark
    assert fit.rows[at].used
    good = bench_fit.fitted(made)
    assert fit.constants["kv_rpm_per_v"].value == pytest.approx(good.constants["kv_rpm_per_v"].value, rel=0.015)


def test_rows_that_say_nothing_and_unknown_propellers_are_set_aside_with_their_line():
    made = planted()
    rows = [*made.rows, {"propeller": "none", "amps": 1.0}, {"volts": 11.0, "amps": 3.0, "rpm": 9000.0},
            {"propeller": "7x", "volts": 11.0, "amps": 3.0, "rpm": 9000.0}]  # fmt: skip
    fit = bench_fit.fitted(made, rows)
    said = [str(each) for each in fit.faults]
    assert any("log:5: says neither volts nor rpm" in each for each in said)
    assert any("log:6: propeller: says no propeller" in each for each in said)
    assert any(each.startswith("log:7: propeller") for each in said)
    assert [row.used for row in fit.rows] == [True] * 4 + [False] * 3
    fit = bench_fit.fitted(made, [*made.rows, {**made.rows[1], "amps": "nine"}])
    assert (fit.rows[-1].used, fit.rows[-1].amps, fit.rows[-1].volts) == (False, None, made.rows[1]["volts"])


def test_nothing_left_to_fit():
    with pytest.raises(InputFaults, match="says volts alone"):
        propmatch.fit_log({"propeller": "none", "volts": 12.0})
    with pytest.raises(TypeError, match="a log is a path"):
        propmatch.fit_log(5)
